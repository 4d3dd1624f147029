#include "support.h"

#include "localise.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double tolerance = 1e-9;

/* splitmix64: Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA 2014 */
static uint64_t next(struct random *random) {
    uint64_t z = random->state += 0x9e3779b97f4a7c15u;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

uint64_t random_below(struct random *random, uint64_t limit) {
    return next(random) % limit;
}

bool random_chance(struct random *random, double probability) {
    return (double)(next(random) >> 11) * 0x1p-53 < probability;
}

void *take(size_t size) {
    void *memory = calloc(1, size);
    cr_assert_not_null(memory);
    return memory;
}

static void random_dates(struct random *random, struct rw_exam *exam) {
    exam->examined_day = 20000 + (int32_t)random_below(random, 1000);
    exam->onset_day = exam->examined_day - (int32_t)random_below(random, 60); /* around every first day */
    if (random_chance(random, 0.2))
        exam->onset_day = exam->examined_day - 200;
    else if (random_chance(random, 0.2))
        exam->onset_day = RW_NO_DAY;
}

/* Whether a target is fed through a site in the first variant. */
static bool runs_through(uint16_t target, uint64_t site) {
    const struct rw_model *model = rw_model();
    const struct rw_range range = model->ranges[target];
    for (size_t b = range.first; b < range.first + range.count; b++)
        for (size_t s = 0; s < model->bundles[b].site_count; s++)
            if (model->bundles[b].sites[s] == site)
                return true;
    return false;
}

void random_exam(struct random *random, size_t least, size_t most, struct rw_exam *exam) {
    enum { AT_WILL, MOSTLY_NORMAL, ONE_SITE, STYLES };
    const struct rw_model *model = rw_model();
    const uint64_t style = random_below(random, STYLES), site = random_below(random, model->site_count);
    bool used[RW_MAX_CHECKS] = {false};
    *exam = (struct rw_exam){.side = random_chance(random, 0.5) ? RW_SIDE_LEFT : RW_SIDE_RIGHT,
                             .mechanism = (enum rw_mechanism)random_below(random, RW_MECHANISM_COUNT),
                             .age_years = (double)NAN};
    random_dates(random, exam);
    const size_t count = least + (size_t)random_below(random, most - least + 1);
    while (exam->finding_count < count) {
        const uint64_t check = random_below(random, model->check_count);
        if (used[check])
            continue;
        used[check] = true;
        const struct rw_scale *scale = &model->scales[model->checks[check].scale];
        const uint16_t target = model->checks[check].target;
        bool normal = style == MOSTLY_NORMAL && random_chance(random, 0.8);
        normal |= style == ONE_SITE && target != RW_NONE && !runs_through(target, site);
        exam->findings[exam->finding_count++] = (struct rw_finding){
            .check = (uint16_t)check,
            .value = normal ? scale->normal : (uint8_t)random_below(random, scale->value_count),
            .filled_in = random_chance(random, 0.2)};
    }
}

struct rw_localisation *engine_localise(const struct rw_exam *exam) {
    struct rw_arena arena = {.size = rw_workspace_size()};
    struct rw_localise_result result;
    struct rw_localisation *localisation = take(sizeof *localisation);
    arena.base = take(arena.size);
    cr_assert_eq(rw_localise(exam, &arena, localisation, &result), RW_OK);
    free(arena.base);
    return localisation;
}

void compare(struct comparison *comparison, const char *what, double engine, double oracle) {
    comparison->count++;
    if (fabs(engine - oracle) <= tolerance)
        return;
    if (comparison->differing++ > 0)
        return;
    snprintf(comparison->what, sizeof comparison->what, "%s", what);
    comparison->engine = engine;
    comparison->oracle = oracle;
}

static void compare_marginals(struct comparison *c, const struct rw_localisation *engine,
                              const struct oracle_result *oracle) {
    const struct rw_model *model = rw_model();
    compare(c, "log evidence", engine->log_evidence, oracle->log_evidence);
    compare(c, "no lesion", engine->no_lesion, oracle->no_lesion);
    compare(c, "outside", engine->outside_plexus, oracle->outside);
    for (size_t i = 0; i < model->site_count; i++) {
        compare(c, model->sites[i].id, engine->sites[i].p_injured, oracle->sites[i].p_injured);
        compare(c, model->sites[i].id, engine->sites[i].p_complete, oracle->sites[i].p_complete);
    }
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        const char *root = rw_segment_name((enum rw_segment)(RW_SEGMENT_C5 + i));
        compare(c, root, engine->roots[i].p_intact, oracle->roots[i].p_intact);
        compare(c, root, engine->roots[i].p_preganglionic, oracle->roots[i].p_preganglionic);
        compare(c, root, engine->roots[i].p_postganglionic, oracle->roots[i].p_postganglionic);
    }
    for (size_t i = 0; i < RW_LEVEL_COUNT; i++)
        compare(c, rw_level_name((enum rw_level)i), engine->levels[i], oracle->levels[i]);
}

/* Each listed probability is right, and no hypothesis that is not listed is heavier than one that is. */
static void compare_list(struct comparison *c, const struct rw_localisation *engine,
                         const struct oracle *oracle, const struct oracle_result *result) {
    cr_assert_gt(engine->hypothesis_count, 0u);
    cr_assert_leq(engine->hypothesis_count, result->heaviest_count);
    for (size_t i = 0; i < engine->hypothesis_count; i++) {
        const struct rw_hypothesis *listed = &engine->hypotheses[i];
        struct oracle_hypothesis h;
        cr_assert(oracle_from_lesions(oracle, listed->lesions, listed->lesion_count, &h));
        h.outside = listed->kind == RW_PRIOR_OUTSIDE;
        const double likelihood = oracle_likelihood(oracle, &h);
        const double probability = oracle_prior(oracle, &h) * likelihood / exp(result->log_evidence);
        compare(c, "a listed probability", listed->probability, probability);
        compare(c, "a log likelihood", listed->log_likelihood, log(likelihood));
        compare(c, "the order of the list", listed->probability, result->heaviest[i]);
    }
}

void compare_posterior(struct comparison *comparison, const struct rw_localisation *engine,
                       const struct oracle *oracle, const struct oracle_result *result) {
    compare_marginals(comparison, engine, result);
    compare_list(comparison, engine, oracle, result);
}

void expect_agreement(const struct comparison *comparison, const struct rw_exam *exam) {
    cr_expect(comparison->count > 0 && comparison->differing == 0,
              "seed %zu, exam %zu (%s, %zu findings): %zu of %zu figures differ, first %s: "
              "engine %.15g, oracle %.15g",
              comparison->seed, comparison->number, rw_mechanism_name(exam->mechanism), exam->finding_count,
              comparison->differing, comparison->count, comparison->what, comparison->engine,
              comparison->oracle);
}
