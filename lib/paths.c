#include "paths_parts.h"

#include <math.h>
#include <string.h>

bool rw_paths_scratch_new(struct rw_paths *paths, struct rw_arena *arena) {
    paths->scratch = rw_arena_take(arena, 1, sizeof *paths->scratch);
    return paths->scratch != NULL;
}

size_t rw_paths_scratch_size(void) {
    return sizeof(struct rw_paths_scratch);
}

/* Whole sums when only one manner is looked at: then nothing heals and all are alike. */
static double manner_weight(const struct rw_paths *paths, size_t manner) {
    return paths->scratch->manner_count == 1 ? 1.0 : paths->manner_weight[manner];
}

/* ---- the set ---- */

/* False: more states than there is room for. */
static bool shape(const struct rw_paths *paths, const uint8_t *severity) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_sites preganglionic = rw_sites_preganglionic();
    bool torn_partial = false, heals = false;
    s->lesion_count = 0;
    s->states = 1;
    for (size_t site = 0; site < rw_model()->site_count; site++) {
        if (severity[site] == RW_INTACT)
            continue;
        const size_t i = s->lesion_count++;
        s->site[i] = (uint8_t)site;
        s->first[i] = severity[site];
        s->torn[i] = rw_sites_hold(preganglionic, site);
        s->radix[i] = s->torn[i] || paths->visit_count == 1 ? 1 : (uint8_t)(severity[site] + 1);
        s->stride[i] = s->states;
        s->states *= s->radix[i];
        torn_partial |= s->torn[i] && severity[site] == RW_PARTIAL;
        heals |= s->radix[i] > 1;
        if (s->states > RW_MAX_VECTORS || s->lesion_count == RW_MAX_LESIONS)
            return false;
    }
    s->eases = heals && !torn_partial;
    s->manner_count = heals ? RW_MANNER_COUNT : 1;
    for (size_t x = 0; x < s->states; x++)
        for (size_t i = 0; i < s->lesion_count; i++)
            s->digit[x][i] = (uint8_t)(s->radix[i] == 1 ? s->first[i] : x / s->stride[i] % s->radix[i]);
    return true;
}

/* P(readings of a visit | seen state), each for itself. */
static double alone(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind,
                    size_t depth, size_t state) {
    const struct rw_paths_scratch *s = paths->scratch;
    const enum rw_spread spread = (enum rw_spread)s->spread[kind][depth][state];
    double p = 1.0;
    for (size_t r = w->first[visit]; r < w->first[visit] + w->count[visit]; r++)
        p *= rw_on_grid(paths->readings[r].grid[spread], s->fraction[kind][depth][state]);
    return p;
}

/* P(readings of a visit | seen state, the readings before, the fraction at the first visit). */
static double again(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind,
                    size_t depth, size_t state, double first) {
    const struct rw_paths_scratch *s = paths->scratch;
    const enum rw_spread spread = (enum rw_spread)s->spread[kind][depth][state];
    const double fraction = s->fraction[kind][depth][state];
    double p = 1.0;
    for (size_t r = w->first[visit]; r < w->first[visit] + w->count[visit]; r++)
        p *= rw_reading_again(paths, &paths->readings[r], spread, fraction, fabs(fraction - first));
    return p;
}

/* Nothing came back to the target yet. */
static double as_at_first(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind,
                          size_t depth) {
    const size_t last = paths->scratch->seen_states - 1;
    return again(paths, w, visit, kind, depth, last, paths->scratch->fraction[kind][depth][last]);
}

/* As what came back of the lesions did to the target as well. */
static double as_lesions(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind,
                         size_t depths, size_t state) {
    const struct rw_paths_scratch *s = paths->scratch;
    return again(paths, w, visit, kind, rw_depth_of_day(depths), state,
                 s->fraction[kind][rw_depth_at_first(depths)][s->seen_states - 1]);
}

double rw_paths_back(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind,
                     size_t depths, size_t state) {
    const double shows = paths->shows[state == 0],
                 back = shows * as_lesions(paths, w, visit, kind, depths, state),
                 not_yet = (1.0 - shows) * as_at_first(paths, w, visit, kind, rw_depth_at_first(depths));
    return back / (back + not_yet);
}

/* ---- P(findings | state) ---- */

/* ln P(readings of a visit | what the target sees, depths) less that of nothing lost, in one kind of anatomy.
 * Depths differ only where something is partial. */
static void weigh_kind(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t last = s->seen_states - 1;
    const double not_yet[2] = {as_at_first(paths, w, visit, kind, 0), as_at_first(paths, w, visit, kind, 1)};
    for (size_t state = visit == 0 ? last : 0; state < s->seen_states; state++) {
        const bool same =
            s->spread[kind][0][state] == RW_SPREAD_SHARP && s->spread[kind][0][last] == RW_SPREAD_SHARP;
        const double shows = paths->shows[state == 0];
        for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
            s->change[kind][d][state] = same && d > 0
                                            ? s->change[kind][0][state]
                                            : log(shows * as_lesions(paths, w, visit, kind, d, state) +
                                                  (1.0 - shows) * not_yet[rw_depth_at_first(d)]) -
                                                  w->none_again[visit];
    }
    for (size_t depth = 0; depth < 2; depth++) {
        const double own = log(alone(paths, w, visit, kind, depth, last)) - w->none[visit];
        for (size_t a = 0; a < paths->variant_count; a++)
            s->alone[visit][a][depth] += w->kind_of[a] == kind ? own : 0.0;
    }
}

/* What the readings of one target at one visit do to the emissions. */
static void add_readings(const struct rw_paths *paths, size_t watched, size_t visit) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_watched *w = &paths->watched[watched];
    const size_t first = w->kind_count == 1 ? paths->variant_count : 0,
                 end = w->kind_count == 1 ? paths->variant_count + 1 : paths->variant_count,
                 depths = s->eases ? RW_DEPTHS_COUNT : RW_DEPTHS_EASED; /* without easing the last never is */
    for (size_t kind = 0; kind < w->kind_count; kind++)
        weigh_kind(paths, w, visit, kind);
    for (size_t manner = 0; manner < s->manner_count; manner++) {
        const uint16_t *seen_of = rw_paths_see(paths, watched, visit, manner);
        for (size_t lot = first; lot < end; lot++)
            for (size_t d = 0; d < depths; d++) {
                double *e = rw_emissions(paths, visit, lot, d, manner);
                const double *change = s->change[lot < paths->variant_count ? w->kind_of[lot] : 0][d];
                for (size_t x = visit == 0 ? s->states - 1 : 0; x < s->states; x++)
                    e[x] += change[seen_of[x]];
            }
    }
}

static size_t lot_size(const struct rw_paths_scratch *s) {
    return RW_DEPTHS_COUNT * s->manner_count * s->states;
}

static void start_emissions(const struct rw_paths *paths) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t each = lot_size(s);
    for (size_t v = 0; v < paths->visit_count; v++) {
        double *e = rw_emissions(paths, v, 0, 0, 0),
               *alike = rw_emissions(paths, v, paths->variant_count, 0, 0);
        memset(e, 0, paths->variant_count * each * sizeof *e);
        for (size_t i = 0; i < each; i++)
            alike[i] = paths->log_none_again[v];
        for (size_t a = 0; a < paths->variant_count; a++)
            for (size_t depth = 0; depth < 2; depth++)
                s->alone[v][a][depth] = paths->log_none[v];
    }
}

/* ln → numbers around 1. Only the last state is meant at the first visit. */
static void scale_emissions(const struct rw_paths *paths) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t each = lot_size(s);
    for (size_t v = 0; v < paths->visit_count; v++) {
        double *e = rw_emissions(paths, v, 0, 0, 0);
        const double *alike = rw_emissions(paths, v, paths->variant_count, 0, 0);
        const size_t step = v == 0 ? s->states : 1, from = step - 1;
        double top = -(double)INFINITY;
        for (size_t a = 0; a < paths->variant_count; a++)
            for (size_t i = from; i < each; i += step) {
                e[a * each + i] += alike[i];
                top = fmax(top, e[a * each + i]);
            }
        for (size_t i = from; i < paths->variant_count * each; i += step)
            e[i] = exp(e[i] - top);
        s->top[v] = top;
    }
}

static void emit(const struct rw_paths *paths) {
    start_emissions(paths);
    for (size_t i = 0; i < paths->watched_count; i++) {
        const struct rw_watched *w = &paths->watched[i];
        bool read = false;
        for (size_t v = 0; v < paths->visit_count; v++)
            read |= w->count[v] > 0;
        if (!read || !rw_paths_look(paths, w))
            continue;
        for (size_t v = 0; v < paths->visit_count; v++)
            if (w->count[v] > 0)
                add_readings(paths, i, v);
    }
    scale_emissions(paths);
}

/* ---- forward ---- */

static void heal(const struct rw_paths_scratch *s, const struct rw_healing *h, double *p) {
    for (size_t i = 0; i < s->lesion_count; i++) {
        const size_t stride = s->stride[i], block = stride * s->radix[i];
        const double stays = h->stays[s->site[i]], to_partial = h->to_partial[s->site[i]];
        for (size_t x = 0; x < s->states && s->radix[i] == 2; x += block)
            for (double *q = p + x; q < p + x + stride; q++) {
                q[0] += q[stride] * (1.0 - h->partial_stays);
                q[stride] *= h->partial_stays;
            }
        const double whole = fmax(0.0, 1.0 - stays - to_partial);
        for (size_t x = 0; x < s->states && s->radix[i] == 3; x += block)
            for (double *q = p + x; q < p + x + stride; q++) {
                q[0] += q[stride] * (1.0 - h->onward_stays) + q[2 * stride] * whole;
                q[stride] = q[stride] * h->onward_stays + q[2 * stride] * to_partial;
                q[2 * stride] *= stays;
            }
    }
}

/* Takes a visit's findings in; the sums are brought back to 1. Returns ln of what they came to. */
static double take_findings(const struct rw_paths *paths, size_t visit, size_t variant, size_t manner) {
    const struct rw_paths_scratch *s = paths->scratch;
    double sum = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        const double *e = rw_emissions(paths, visit, variant, d, manner);
        double *p = rw_path_of(paths, visit, variant, manner, d);
        for (size_t x = 0; x < s->states; x++)
            sum += p[x] *= e[x];
    }
    for (size_t d = 0; d < RW_DEPTHS_COUNT && sum > 0.0; d++) {
        double *p = rw_path_of(paths, visit, variant, manner, d);
        for (size_t x = 0; x < s->states; x++)
            p[x] /= sum;
    }
    return log(sum) + s->top[visit];
}

/* ln P(findings of all visits | variant, manner). */
static double forward(const struct rw_paths *paths, size_t variant, size_t manner) {
    const struct rw_paths_scratch *s = paths->scratch;
    const size_t all = RW_DEPTHS_COUNT * s->states;
    double *start = rw_path_of(paths, 0, variant, manner, 0);
    memset(start, 0, all * sizeof *start);
    for (size_t depth = 0; depth < 2; depth++) /* MILD and SEVERE */
        rw_path_of(paths, 0, variant, manner, depth)[s->states - 1] = paths->depth_weight[depth];
    double sum = take_findings(paths, 0, variant, manner);
    for (size_t v = 1; v < paths->visit_count; v++) {
        const struct rw_healing *h = &paths->healing[manner][v];
        const double stays = rw_stays_severe(s, h);
        double *p = rw_path_of(paths, v, variant, manner, 0);
        memcpy(p, rw_path_of(paths, v - 1, variant, manner, 0), all * sizeof *p);
        double *severe = p + RW_DEPTHS_SEVERE * s->states, *eased = p + RW_DEPTHS_EASED * s->states;
        for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
            heal(s, h, p + d * s->states);
        for (size_t x = 0; x < s->states; x++) {
            eased[x] += severe[x] * (1.0 - stays);
            severe[x] *= stays;
        }
        sum += take_findings(paths, v, variant, manner);
    }
    return sum;
}

static double log_sum(const double *terms, size_t count) {
    double top = -(double)INFINITY, sum = 0.0;
    for (size_t i = 0; i < count; i++)
        top = terms[i] > top ? terms[i] : top;
    for (size_t i = 0; i < count && isfinite(top); i++)
        sum += exp(terms[i] - top);
    return sum > 0.0 ? top + log(sum) : top;
}

double rw_paths_weigh(const struct rw_paths *paths, const uint8_t *severity, double alone[RW_MAX_VISITS]) {
    struct rw_paths_scratch *s = paths->scratch;
    double terms[RW_MAX_VARIANTS * RW_MANNER_COUNT];
    size_t count = 0;
    for (size_t v = 0; v < paths->visit_count; v++)
        alone[v] = -(double)INFINITY;
    if (!shape(paths, severity))
        return -(double)INFINITY;
    emit(paths);
    for (size_t v = 0; v < paths->visit_count; v++, count = 0) {
        for (size_t a = 0; a < paths->variant_count; a++)
            for (size_t depth = 0; depth < 2; depth++)
                terms[count++] =
                    s->alone[v][a][depth] + log(paths->variant_weight[a] * paths->depth_weight[depth]);
        alone[v] = log_sum(terms, count);
    }
    for (size_t a = 0; a < paths->variant_count; a++)
        for (size_t manner = 0; manner < s->manner_count; manner++)
            terms[count++] = s->log_world[a][manner] =
                log(paths->variant_weight[a] * manner_weight(paths, manner)) + forward(paths, a, manner);
    return log_sum(terms, count);
}

double rw_paths_weigh_outside(const struct rw_paths *paths, double alone[RW_MAX_VISITS]) {
    double sum = 0.0;
    for (size_t v = 0; v < paths->visit_count; v++) {
        sum += paths->log_outside_again[v];
        alone[v] = paths->log_outside[v];
    }
    return sum;
}
