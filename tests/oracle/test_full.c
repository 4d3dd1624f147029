/* Engine against oracle on the real nerve graph: single hypotheses of large exams, the whole sum of a small
 * one. */
#include "support.h"

#include <criterion/criterion.h>
#include <criterion/parameterized.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BATCHES = 2, EXAMS = 10, LEAST_FINDINGS = 5, MOST_FINDINGS = 40, DRAWN = 200 };
static const double tolerance = 1e-9;

struct trial {
    struct rw_exam exam;
    struct oracle oracle;
    struct rw_localisation *engine;
    size_t known_count; /* hypotheses met, the listed ones first */
    uint8_t known[RW_MAX_HYPOTHESES + DRAWN][RW_MAX_SITES];
    double known_probability;
};

static double probability(const struct trial *trial, const struct oracle_hypothesis *h) {
    return exp(log(oracle_prior(&trial->oracle, h)) + log(oracle_likelihood(&trial->oracle, h)) -
               trial->engine->log_evidence);
}

/* ---- drawing hypotheses ---- */

static uint8_t random_severity(struct random *random) {
    return random_chance(random, 0.5) ? RW_PARTIAL : RW_COMPLETE;
}

static bool has_site(const struct oracle_hypothesis *h, uint8_t site) {
    for (size_t i = 0; i < h->further_count; i++)
        if (h->further[i].site == site)
            return true;
    return false;
}

static void add_further(struct random *random, const struct oracle *oracle, struct oracle_hypothesis *h) {
    const bool scatter = oracle->scatter_count > 0 && random_chance(random, 0.7);
    const uint8_t site = scatter ? oracle->scatter_sites[random_below(random, oracle->scatter_count)]
                                 : oracle->further_sites[random_below(random, oracle->further_count)];
    if (h->further_count < ORACLE_MAX_FURTHER && !has_site(h, site))
        h->further[h->further_count++] = (struct rw_lesion){site, random_severity(random)};
}

/* Any shape: up to five injured roots and up to six further sites. */
static void draw_afresh(struct random *random, const struct oracle *oracle, struct oracle_hypothesis *h) {
    const uint64_t mask = random_below(random, 1u << RW_PLEXUS_ROOTS);
    const uint64_t further = random_below(random, ORACLE_MAX_FURTHER + 1);
    const bool no_root = random_chance(random, 0.5);
    *h = (struct oracle_hypothesis){0};
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        if (!no_root && (mask >> root & 1u) != 0)
            h->states[root] = (uint8_t)(1 + random_below(random, RW_ROOT_STATES - 1));
    for (size_t i = 0; i < further; i++)
        add_further(random, oracle, h);
}

/* A step away from a listed one, so that its probability is worth comparing. */
static void draw_near(struct random *random, const struct trial *trial, struct oracle_hypothesis *h) {
    const uint64_t pick = random_below(random, trial->engine->hypothesis_count);
    const struct rw_hypothesis *listed = &trial->engine->hypotheses[pick];
    cr_assert(oracle_from_lesions(&trial->oracle, listed->lesions, listed->lesion_count, h));
    const bool remove = h->further_count > 0 && random_chance(random, 0.3);
    if (h->further_count > 0 && random_chance(random, 0.3))
        h->further[random_below(random, h->further_count)].severity = random_severity(random);
    if (remove)
        h->further_count--;
    if (random_chance(random, 0.4))
        add_further(random, &trial->oracle, h);
    if (random_chance(random, 0.5))
        h->states[random_below(random, RW_PLEXUS_ROOTS)] = (uint8_t)random_below(random, RW_ROOT_STATES);
}

/* Remembers a hypothesis; false when it was met before. "Outside" is kept apart by the caller. */
static bool is_new(struct trial *trial, const struct oracle_hypothesis *h) {
    uint8_t *severity = trial->known[trial->known_count];
    oracle_severities(&trial->oracle, h, severity);
    for (size_t i = 0; i < trial->known_count; i++)
        if (memcmp(trial->known[i], severity, RW_MAX_SITES) == 0)
            return false;
    trial->known_count++;
    return true;
}

/* ---- checks ---- */

static void check_listed(struct trial *trial, struct comparison *comparison) {
    for (size_t i = 0; i < trial->engine->hypothesis_count; i++) {
        const struct rw_hypothesis *listed = &trial->engine->hypotheses[i];
        struct oracle_hypothesis h;
        cr_assert(oracle_from_lesions(&trial->oracle, listed->lesions, listed->lesion_count, &h));
        h.outside = listed->kind == RW_PRIOR_OUTSIDE;
        compare(comparison, "a listed probability", listed->probability, probability(trial, &h));
        compare(comparison, "a log likelihood", listed->log_likelihood,
                log(oracle_likelihood(&trial->oracle, &h)));
        trial->known_probability += listed->probability;
        cr_expect(h.outside || is_new(trial, &h), "hypothesis %zu is listed twice", i);
    }
}

/* A hypothesis that is not listed weighs no more than those that are, nor than the marginals of its sites. */
static void check_unlisted(const struct trial *trial, const struct oracle_hypothesis *h, double p) {
    const struct rw_localisation *engine = trial->engine;
    const double least = engine->hypotheses[engine->hypothesis_count - 1].probability;
    uint8_t severity[RW_MAX_SITES];
    oracle_severities(&trial->oracle, h, severity);
    cr_expect_leq(p, least * (1 + tolerance));
    for (size_t site = 0; site < rw_model()->site_count; site++) {
        if (severity[site] != RW_INTACT)
            cr_expect_leq(p, engine->sites[site].p_injured * (1 + tolerance));
        if (severity[site] == RW_COMPLETE)
            cr_expect_leq(p, engine->sites[site].p_complete * (1 + tolerance));
    }
}

static void check_drawn(struct trial *trial, struct random *random) {
    for (size_t drawn = 0; drawn < DRAWN;) {
        struct oracle_hypothesis h;
        if (drawn % 2 == 0)
            draw_afresh(random, &trial->oracle, &h);
        else
            draw_near(random, trial, &h);
        if (!oracle_in_space(&trial->oracle, &h))
            continue;
        drawn++;
        if (!is_new(trial, &h))
            continue;
        const double p = probability(trial, &h);
        check_unlisted(trial, &h, p);
        trial->known_probability += p;
    }
    cr_expect_leq(trial->known_probability, 1 + tolerance);
}

static struct trial *begin(struct random *random, size_t least, size_t most) {
    struct trial *trial = take(sizeof *trial);
    random_exam(random, least, most, &trial->exam);
    trial->engine = engine_localise(&trial->exam);
    oracle_prepare(&trial->oracle, &trial->exam);
    cr_assert_gt(trial->engine->hypothesis_count, 0u);
    return trial;
}

static void end(struct trial *trial, const struct comparison *comparison) {
    expect_agreement(comparison, &trial->exam);
    free(trial->engine);
    free(trial);
}

ParameterizedTestParameters(oracle, full) {
    static size_t seeds[BATCHES] = {5, 6};
    return cr_make_param_array(size_t, seeds, BATCHES);
}

ParameterizedTest(size_t *seed, oracle, full) {
    struct random random = {.state = *seed};
    for (size_t number = 0; number < EXAMS; number++) {
        struct comparison comparison = {.seed = *seed, .number = number};
        struct trial *trial = begin(&random, LEAST_FINDINGS, MOST_FINDINGS);
        check_listed(trial, &comparison);
        check_drawn(trial, &random);
        end(trial, &comparison);
    }
}

/* Four million hypotheses, so a small exam. */
Test(oracle, full_sum) {
    struct random random = {.state = 7};
    struct comparison comparison = {.seed = random.state};
    struct oracle_result *result = take(sizeof *result);
    struct trial *trial = begin(&random, LEAST_FINDINGS, LEAST_FINDINGS);
    oracle_posterior(&trial->oracle, result);
    compare_posterior(&comparison, trial->engine, &trial->oracle, result);
    free(result);
    end(trial, &comparison);
}
