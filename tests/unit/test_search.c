/* The search at the edges of its range: exams of every check, and what its arithmetic takes for granted. */
#include <criterion/criterion.h>
#include <criterion/parameterized.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "posterior.h"
#include "search.h"

#define NATS 1e-9

/* roots.c keeps what targets of these entries say as plain numbers: together they must not tell too much. */
Test(search, few_findings_bear_on_root_entries_alone) {
    const struct rw_model *m = rw_model();
    double span = 0.0;
    for (size_t i = 0; i < m->check_count; i++) {
        const struct rw_check *check = &m->checks[i];
        if (check->target == RW_NONE || m->targets[check->target].entry == RW_ENTRY_NONE ||
            m->targets[check->target].entry == RW_ENTRY_ALL)
            continue;
        const struct rw_table *table = &m->tables[check->table];
        const struct rw_scale *scale = &m->scales[check->scale];
        double widest = 0.0;
        for (size_t v = 0; v < scale->value_count; v++) {
            double least = 1.0, most = 0.0;
            for (size_t g = 0; g < (size_t)RW_SPREAD_COUNT * RW_GRID; g++) {
                double p = 0.0;
                for (size_t k = 0; k < scale->values[v].count; k++)
                    p += scale->values[v].weight[k] *
                         table->probability[g * table->observation_count + scale->values[v].observation[k]];
                least = fmin(least, p);
                most = fmax(most, p);
            }
            widest = fmax(widest, log(most / least));
        }
        span += widest;
    }
    cr_assert_leq(span, RW_REST_SPAN, "%.1f nats", span);
}

/* ln Σ over worlds of P(exam | what a listed hypothesis injures), finding by finding. */
static double plain_log_likelihood(const struct rw_exam *exam, const struct rw_hypothesis *h) {
    const struct rw_model *m = rw_model();
    double log_world[2 * RW_MAX_WORLDS], top = -(double)INFINITY, sum = 0.0;
    size_t worlds = 0;
    for (size_t variant = 0; variant < m->variant_count; variant++)
        for (uint8_t depth = 0; depth < 2; depth++) {
            struct rw_case c = {
                .variant = (uint16_t)variant, .depth = depth, .outside = h->kind == RW_PRIOR_OUTSIDE};
            for (size_t i = 0; i < h->lesion_count; i++)
                c.severity[h->lesions[i].site] = h->lesions[i].severity;
            const double mild = rw_fact_value("partial_share_mild");
            double l = log(m->variants[variant].prevalence * (depth == 0 ? mild : 1.0 - mild));
            for (size_t i = 0; i < exam->finding_count; i++)
                if (m->checks[exam->findings[i].check].target != RW_NONE)
                    l += log(rw_finding_probability(&c, &exam->findings[i], 1.0));
            top = fmax(top, l);
            log_world[worlds++] = l;
        }
    for (size_t w = 0; w < worlds; w++)
        sum += exp(log_world[w] - top);
    return top + log(sum);
}

enum style { NORMAL, LOST, MIXED, BY_SECTION, STYLES };

/* Every check at once: the values least like each other that a scale has, as the style says. */
static struct rw_exam *whole_exam(enum style style) {
    const struct rw_model *m = rw_model();
    struct rw_exam *exam = calloc(1, sizeof *exam);
    exam->mechanism = RW_MECHANISM_TRACTION;
    exam->examined_day = 20000;
    exam->onset_day = RW_NO_DAY;
    exam->age_years = 30;
    for (size_t i = 0; i < m->check_count; i++) {
        const struct rw_scale *scale = &m->scales[m->checks[i].scale];
        const uint8_t lost = scale->normal == 0 ? (uint8_t)(scale->value_count - 1) : 0;
        const bool normal = style == NORMAL || (style == MIXED && i % 2 == 0) ||
                            (style == BY_SECTION && m->checks[i].section % 2 == 1);
        exam->findings[exam->finding_count++] =
            (struct rw_finding){.check = (uint16_t)i, .value = normal ? scale->normal : lost};
    }
    return exam;
}

ParameterizedTestParameters(search, exams_of_every_check_stay_in_range) {
    static enum style styles[STYLES] = {NORMAL, LOST, MIXED, BY_SECTION};
    return cr_make_param_array(enum style, styles, STYLES);
}

ParameterizedTest(enum style *style, search, exams_of_every_check_stay_in_range) {
    struct rw_exam *exam = whole_exam(*style);
    struct rw_assessment *a = calloc(1, sizeof *a);
    struct rw_error error;
    void *workspace = malloc(rw_workspace_size());
    cr_assert_eq(rw_assess(exam, workspace, rw_workspace_size(), a, &error), RW_OK, "%s", error.message);
    const struct rw_localisation *l = &a->localisation;
    double sum = l->no_lesion + l->outside_plexus;
    for (size_t i = 0; i < RW_LEVEL_COUNT; i++)
        sum += l->levels[i];
    cr_expect_float_eq(sum, 1.0, 1e-12, "levels, none and outside sum to %.17g", sum);
    cr_expect_lt(l->left_out, 1e-12);
    for (size_t i = 0; i < l->hypothesis_count; i++) {
        const double plain = plain_log_likelihood(exam, &l->hypotheses[i]);
        cr_expect_float_eq(l->hypotheses[i].log_likelihood, plain, NATS, "%zu: %.15g, plainly %.15g", i,
                           l->hypotheses[i].log_likelihood, plain);
    }
    free(workspace);
    free(a);
    free(exam);
}

/* ---- sets by products and by logarithms ---- */

struct setting {
    struct rw_space space;
    struct rw_prior_terms prior;
    struct rw_world worlds[RW_MAX_WORLDS];
    struct rw_term terms[RW_MAX_CHECKS];
    struct rw_view view;
    struct rw_search search;
    double roots[RW_ROOT_CONFIGS];
};

/* Sums the sets of an exam alone, rows above a bound by logarithms. */
static struct setting *sum_sets(const struct rw_exam *exam, double product_bound) {
    struct setting *s = calloc(1, sizeof *s);
    struct rw_arena arena = {.base = malloc(rw_workspace_size()), .size = rw_workspace_size()};
    uint16_t too_early[RW_MAX_CHECKS];
    size_t too_early_count;
    s->prior.roots = s->roots;
    rw_space_init(&s->space);
    rw_prior_init(&s->prior, &s->space, exam->mechanism);
    const size_t terms = rw_terms_init(exam, s->terms, too_early, &too_early_count);
    const size_t worlds = rw_worlds_init(s->terms, terms, s->worlds);
    struct rw_sets *sets = rw_sets_new(&s->space, worlds, &arena);
    for (size_t i = 0; i < terms; i++)
        for (size_t w = 0; w < worlds; w++) {
            rw_view_init(&s->view, &s->terms[i], &s->worlds[w], &s->space);
            cr_assert(rw_sets_add(sets, &s->view, (uint32_t)1 << w, &arena));
        }
    s->search = (struct rw_search){.space = &s->space,
                                   .prior = &s->prior,
                                   .worlds = s->worlds,
                                   .world_count = worlds,
                                   .reference = -40.0,
                                   .least = -RW_DEPTH,
                                   .product_bound = product_bound};
    rw_sets_search(sets, &s->search);
    free(arena.base);
    return s;
}

static void expect_alike(const char *what, double a, double b) {
    cr_expect_float_eq(a, b, 1e-12 * fabs(a), "%s: %.17g by products, %.17g by logarithms", what, a, b);
}

Test(search, sets_come_to_the_same_by_products_and_by_logarithms) {
    const struct rw_model *m = rw_model();
    struct rw_exam *exam = calloc(1, sizeof *exam);
    exam->mechanism = RW_MECHANISM_TRACTION;
    exam->examined_day = 20000;
    exam->onset_day = RW_NO_DAY;
    for (size_t i = 0; i < m->check_count; i += 11) {
        const struct rw_scale *scale = &m->scales[m->checks[i].scale];
        exam->findings[exam->finding_count++] = (struct rw_finding){
            .check = (uint16_t)i, .value = (uint8_t)(i % 2 == 0 ? scale->normal : i % scale->value_count)};
    }
    struct setting *products = sum_sets(exam, RW_PRODUCT_BOUND), *logs = sum_sets(exam, -(double)INFINITY);
    const struct rw_search *a = &products->search, *b = &logs->search;
    cr_assert_gt(a->total, 0.0);
    expect_alike("total", a->total, b->total);
    for (size_t i = 0; i < 2 * products->space.further_count; i++)
        expect_alike("a further atom", a->further[i], b->further[i]);
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        for (size_t state = 0; state < RW_ROOT_STATES; state++)
            expect_alike("a root state", a->root_state[i][state], b->root_state[i][state]);
    for (size_t i = 0; i < RW_LEVEL_COUNT; i++)
        expect_alike("a level", a->level[i], b->level[i]);
    cr_assert_eq(a->summed, b->summed);
    free(products);
    free(logs);
    free(exam);
}
