#include "likelihood.h"

#include <math.h>
#include <string.h>

#include "exp.h"
#include "posterior.h"

const uint8_t rw_root_class[RW_ENTRY_PRE + 1][RW_ROOT_STATES] = {
    [RW_ENTRY_NONE] = {0, 0, 0, 0, 0, 0, 0, 0},     [RW_ENTRY_ALL] = {0, 1, 2, 1, 2, 1, 2, 2},
    [RW_ENTRY_PROXIMAL] = {0, 1, 2, 1, 2, 0, 0, 2}, [RW_ENTRY_POST] = {0, 0, 0, 1, 2, 1, 2, 2},
    [RW_ENTRY_PRE] = {0, 1, 2, 0, 0, 0, 0, 2},
};

static const uint8_t pattern_digit[RW_PLEXUS_ROOTS] = {1, 3, 9, 27, 81};

static void term_init(struct rw_term *term, const struct rw_finding *finding, size_t index, double ready) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[finding->check];
    const struct rw_table *table = &m->tables[check->table];
    const struct rw_value *value = &m->scales[check->scale].values[finding->value];
    const double filled = finding->filled_in ? table->filled_outlier : 0.0;
    term->finding = (uint16_t)index;
    term->target = check->target;
    term->entry = (uint8_t)m->targets[check->target].entry;
    term->ready = ready;
    term->outside = 0.0;
    for (size_t i = 0; i < value->count; i++)
        term->outside += value->weight[i] * table->outside[value->observation[i]];
    for (size_t spread = 0; spread < RW_SPREAD_COUNT; spread++)
        for (size_t g = 0; g < RW_GRID; g++) {
            double p = 0.0, spared = 0.0;
            for (size_t i = 0; i < value->count; i++) {
                const double *column = table->probability + value->observation[i];
                p += value->weight[i] * column[(spread * RW_GRID + g) * table->observation_count];
                spared += value->weight[i] * column[(RW_GRID - 1) * (size_t)table->observation_count];
            }
            p = ready * p + (1.0 - ready) * spared;
            term->grid[spread][g] = (1.0 - filled) * p + filled * term->outside;
        }
}

size_t rw_terms_init(const struct rw_exam *exam, struct rw_term *terms, uint16_t *too_early,
                     size_t *too_early_count) {
    const struct rw_model *m = rw_model();
    size_t count = 0;
    *too_early_count = 0;
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->target == RW_NONE)
            continue;
        const double ready = rw_table_ready(&m->tables[check->table], exam);
        if (ready > 0.0)
            term_init(&terms[count++], &exam->findings[i], i, ready);
        else
            too_early[(*too_early_count)++] = exam->findings[i].check;
    }
    return count;
}

double rw_term_most(const struct rw_term *term) {
    double most = 0.0;
    for (size_t spread = 0; spread < RW_SPREAD_COUNT; spread++)
        for (size_t g = 0; g < RW_GRID; g++)
            most = term->grid[spread][g] > most ? term->grid[spread][g] : most;
    return most;
}

static bool same_bundles(uint16_t target, size_t a, size_t b) {
    const struct rw_model *m = rw_model();
    const struct rw_range *ra = &m->ranges[a * m->target_count + target];
    const struct rw_range *rb = &m->ranges[b * m->target_count + target];
    return ra->first == rb->first && ra->count == rb->count;
}

static bool same_anatomy(const struct rw_term *terms, size_t term_count, size_t a, size_t b) {
    for (size_t i = 0; i < term_count; i++)
        if (!same_bundles(terms[i].target, a, b))
            return false;
    return true;
}

bool rw_view_shared(const struct rw_term *term, const struct rw_world *a, const struct rw_world *b) {
    return a->depth == b->depth && same_bundles(term->target, a->variant, b->variant);
}

size_t rw_worlds_init(const struct rw_term *terms, size_t term_count, struct rw_world worlds[RW_MAX_WORLDS]) {
    const struct rw_model *m = rw_model();
    const double mild = rw_fact_value("partial_share_mild");
    double prevalence[RW_MAX_WORLDS / 2];
    uint16_t variant[RW_MAX_WORLDS / 2];
    size_t kinds = 0;
    for (size_t v = 0; v < m->variant_count; v++) {
        size_t k = 0;
        while (k < kinds && !same_anatomy(terms, term_count, variant[k], v))
            k++;
        if (k == kinds) {
            variant[kinds] = (uint16_t)v;
            prevalence[kinds++] = 0.0;
        }
        prevalence[k] += m->variants[v].prevalence;
    }
    size_t count = 0;
    for (size_t k = 0; k < kinds; k++)
        for (uint8_t depth = 0; depth < 2; depth++)
            worlds[count++] =
                (struct rw_world){.variant = variant[k],
                                  .depth = depth,
                                  .partial_left = 1.0 - rw_site_loss(RW_PARTIAL, depth),
                                  .log_weight = log(prevalence[k] * (depth == 0 ? mild : 1.0 - mild))};
    return count;
}

/* The class of a partial lesion of these bundles; that of a complete one is the next. */
static uint8_t class_find(struct rw_view *view, uint64_t bundles) {
    for (size_t c = 1; c < view->class_count; c += 2)
        if (view->classes[c].bundles == bundles)
            return (uint8_t)c;
    const size_t c = view->class_count;
    view->classes[c] = (struct rw_class){.bundles = bundles, .severity = RW_PARTIAL};
    view->classes[c + 1] = (struct rw_class){.bundles = bundles, .severity = RW_COMPLETE};
    view->class_count += 2;
    return (uint8_t)c;
}

void rw_view_init(struct rw_view *view, const struct rw_term *term, const struct rw_world *world,
                  const struct rw_space *space) {
    const struct rw_model *m = rw_model();
    const struct rw_range range = m->ranges[(size_t)world->variant * m->target_count + term->target];
    uint64_t touched[RW_MAX_FURTHER] = {0};
    view->term = term;
    view->partial_left = world->partial_left;
    view->bundle_count = range.count;
    view->class_count = 1;
    view->classes[0] = (struct rw_class){0, RW_INTACT};
    view->roots = 0;
    for (size_t i = 0; i < range.count; i++) {
        const struct rw_bundle *b = &m->bundles[range.first + i];
        view->weight[i] = b->weight;
        view->root[i] = b->entry == RW_ENTRY_NONE ? 5 : (uint8_t)(b->segment - RW_SEGMENT_C5);
        if (view->root[i] < RW_PLEXUS_ROOTS)
            view->roots |= 1u << view->root[i];
        for (size_t k = 0; k < b->site_count; k++)
            if (space->further_of_site[b->sites[k]] != 0xff)
                touched[space->further_of_site[b->sites[k]]] |= (uint64_t)1 << i;
    }
    for (size_t a = 0; a < space->further_count; a++) {
        const uint8_t class = touched[a] != 0 ? class_find(view, touched[a]) : 0;
        view->class_of[2 * a] = class;
        view->class_of[2 * a + 1] = class != 0 ? class + 1 : 0;
    }
}

static inline double probability(const double *grid, double fraction, int32_t spread) {
    const double x = fraction * (RW_GRID - 1); /* a sum of shares: >= 0, above 1 by rounding alone */
    const int32_t point = (int32_t)x, left = point < RW_GRID - 2 ? point : RW_GRID - 2;
    const double low = grid[spread + left], high = grid[spread + left + 1];
    return low + (x - (double)left) * (high - low);
}

RW_VECTOR void rw_term_probabilities(const struct rw_term *term, size_t count,
                                     const double *restrict fraction, const int32_t *restrict spread,
                                     double *restrict out) {
    const double *restrict grid = term->grid[0];
    for (size_t i = 0; i < count; i++)
        out[i] = probability(grid, fraction[i], spread[i]);
}

RW_VECTOR void rw_term_logs(const struct rw_term *term, size_t count, const double *restrict fraction,
                            const int32_t *restrict spread, double *restrict out) {
    const double *restrict grid = term->grid[0];
    for (size_t i = 0; i < count; i++)
        out[i] = rw_log(probability(grid, fraction[i], spread[i]));
}

double rw_flow_log(const struct rw_view *view, const struct rw_flow *flow, size_t pattern) {
    const double left[3] = {1.0, view->partial_left, 0.0};
    double fraction = flow->fixed;
    bool uneven = flow->uneven;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        const size_t class = pattern / pattern_digit[i] % 3;
        fraction += flow->root[i] * left[class];
        uneven = uneven || (class == RW_PARTIAL && (view->roots >> i & 1u) != 0);
    }
    const double x = fraction <= 0.0 ? 0.0 : fraction >= 1.0 ? RW_GRID - 1 : fraction * (RW_GRID - 1);
    const size_t g = x >= RW_GRID - 2 ? RW_GRID - 2 : (size_t)x;
    const double *p = view->term->grid[uneven ? RW_SPREAD_UNEVEN : RW_SPREAD_SHARP] + g;
    return log(p[0] + (x - (double)g) * (p[1] - p[0]));
}
