#include "paths.h"

#include <math.h>
#include <string.h>

/* Fractions this close are equal: rounding alone separates them. */
#define SAME_FRACTION 1e-9

/* One set of lesions at work. A state x numbers the severities of all lesions, stride by stride; the last one
 * is the set as it was at the first visit. */
struct rw_paths_scratch {
    size_t lesion_count, states, manner_count;
    uint8_t site[RW_MAX_LESIONS], first[RW_MAX_LESIONS], radix[RW_MAX_LESIONS];
    size_t stride[RW_MAX_LESIONS];
    uint8_t digit[RW_MAX_VECTORS][RW_MAX_LESIONS];
    bool torn[RW_MAX_LESIONS], eases;                /* what can't heal has radix 1 */
    double alone[RW_MAX_VISITS][RW_MAX_VARIANTS][2]; /* ln P(findings of a visit | the set as it was) */
    double top[RW_MAX_VISITS];                       /* ln, taken out of the emissions of a visit */
    double log_world[RW_MAX_VARIANTS][RW_MANNER_COUNT];
    /* P(findings | state), by visit, variant, depths, manner, state; first as ln. */
    double
        emission[RW_MAX_VISITS * (RW_MAX_VARIANTS + 1) * RW_DEPTHS_COUNT * RW_MANNER_COUNT * RW_MAX_VECTORS];
    /* By visit, variant, manner, depths, state: forward sums, then P(state | all findings) in its world. */
    double path[RW_MAX_VISITS * RW_MAX_VARIANTS * RW_MANNER_COUNT * RW_DEPTHS_COUNT * RW_MAX_VECTORS];
    double ahead[RW_DEPTHS_COUNT * RW_MAX_VECTORS], marginal[RW_DEPTHS_COUNT][RW_MAX_VECTORS];
    /* One target: its fraction by kind of variants, depth and severities of the lesions that it sees. */
    size_t seen_count, seen_states;
    uint8_t seen[RW_MAX_LESIONS];
    double fraction[RW_MAX_VARIANTS][2][RW_MAX_VECTORS],
        change[RW_MAX_VARIANTS][RW_DEPTHS_COUNT][RW_MAX_VECTORS];
    uint8_t spread[RW_MAX_VARIANTS][2][RW_MAX_VECTORS];
    /* By manner: state → severities that the target sees, while it waits for these lesions (a bit each). */
    uint16_t seen_of[RW_MANNER_COUNT][RW_MAX_VECTORS];
    uint32_t waiting[RW_MANNER_COUNT];
};

static const uint8_t depth_at_first[RW_DEPTHS_COUNT] = {0, 1, 1}, depth_of_day[RW_DEPTHS_COUNT] = {0, 1, 0};

bool rw_paths_scratch_new(struct rw_paths *paths, struct rw_arena *arena) {
    paths->scratch = rw_arena_take(arena, 1, sizeof *paths->scratch);
    return paths->scratch != NULL;
}

size_t rw_paths_scratch_size(void) {
    return sizeof(struct rw_paths_scratch);
}

/* One place more than there are lots of variants: the last one holds what is alike in all. */
static double *emissions(const struct rw_paths *paths, size_t visit, size_t lot, size_t depths,
                         size_t manner) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t lots = visit * (paths->variant_count + 1) + lot;
    return s->emission + ((lots * RW_DEPTHS_COUNT + depths) * s->manner_count + manner) * s->states;
}

static double *path_of(const struct rw_paths *paths, size_t visit, size_t variant, size_t manner,
                       size_t depths) {
    struct rw_paths_scratch *s = paths->scratch;
    return s->path +
           (((visit * paths->variant_count + variant) * s->manner_count + manner) * RW_DEPTHS_COUNT +
            depths) *
               s->states;
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
        s->radix[i] = (uint8_t)(s->torn[i] || paths->visit_count == 1 ? 1 : severity[site] + 1);
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

/* ---- one target ---- */

/* Shares of a target by which of the seen lesions lie on the way: a bit each. */
struct shares {
    size_t count;
    uint32_t mask[RW_MAX_VIEW_BUNDLES];
    double weight[RW_MAX_VIEW_BUNDLES];
};

static void add_share(struct shares *shares, uint32_t mask, double weight) {
    size_t i = 0;
    while (i < shares->count && shares->mask[i] != mask)
        i++;
    if (i == shares->count) {
        shares->mask[i] = mask;
        shares->weight[shares->count++] = 0.0;
    }
    shares->weight[i] += weight;
}

static void find_shares(const struct rw_paths_scratch *s, uint16_t target, uint16_t variant,
                        struct shares *shares) {
    struct rw_strand strands[RW_MAX_VIEW_BUNDLES];
    const size_t count = rw_strands_of(variant, target, strands);
    shares->count = 0;
    for (size_t i = 0; i < count; i++) {
        uint32_t mask = 0;
        for (size_t j = 0; j < s->seen_count; j++)
            mask |= rw_sites_hold(strands[i].sites, s->site[s->seen[j]]) ? 1u << j : 0;
        add_share(shares, mask, strands[i].bundle->weight);
    }
}

/* As rw_intact_fraction. `severity`: of the seen lesions, in their order. */
static double fraction_of(const struct shares *shares, const uint8_t *severity, size_t count, uint8_t depth,
                          uint8_t *spread) {
    double fraction = 0.0;
    uint32_t partial = 0;
    for (size_t j = 0; j < count; j++)
        partial |= severity[j] == RW_PARTIAL ? 1u << j : 0;
    *spread = RW_SPREAD_SHARP;
    for (size_t i = 0; i < shares->count; i++) {
        double left = shares->weight[i];
        for (size_t j = 0; j < count; j++)
            if ((shares->mask[i] >> j & 1u) != 0)
                left *= 1.0 - rw_site_loss(severity[j], depth);
        fraction += left;
        if ((shares->mask[i] & partial) != 0)
            *spread = RW_SPREAD_UNEVEN;
    }
    return fraction;
}

/* The target's fraction, in one kind of anatomy, for all severities of the seen lesions. */
static void look_at_kind(struct rw_paths_scratch *s, const struct shares *shares, size_t kind) {
    for (size_t state = 0; state < s->seen_states; state++) {
        uint8_t severity[RW_MAX_LESIONS];
        size_t rest = state;
        for (size_t j = 0; j < s->seen_count; j++) {
            const size_t i = s->seen[j];
            severity[j] = (uint8_t)(s->radix[i] == 1 ? s->first[i] : rest % s->radix[i]);
            rest /= s->radix[i];
        }
        for (uint8_t depth = 0; depth < 2; depth++)
            s->fraction[kind][depth][state] =
                fraction_of(shares, severity, s->seen_count, depth, &s->spread[kind][depth][state]);
    }
}

/* Which lesions touch the target, and what they leave of it. False: none does. */
static bool look(const struct rw_paths *paths, const struct rw_watched *w) {
    struct rw_paths_scratch *s = paths->scratch;
    struct shares shares;
    memset(s->waiting, 0xff, sizeof s->waiting); /* not seen yet */
    s->seen_count = 0;
    s->seen_states = 1;
    for (size_t i = 0; i < s->lesion_count; i++)
        if (rw_sites_hold(w->sites, s->site[i])) {
            s->seen[s->seen_count++] = (uint8_t)i;
            s->seen_states *= s->radix[i];
        }
    for (size_t kind = 0; kind < w->kind_count && s->seen_count > 0; kind++) {
        find_shares(s, w->target, paths->variant[w->kind_variant[kind]], &shares);
        look_at_kind(s, &shares, kind);
    }
    return s->seen_count > 0;
}

/* Which severities the target sees in each state: what regrows is seen once it has arrived. */
static const uint16_t *see(const struct rw_paths *paths, size_t watched, size_t visit, size_t manner) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_exam *exam = &paths->exams[visit];
    const double days = (double)exam->examined_day - exam->onset_day;
    uint16_t *seen_of = s->seen_of[manner];
    uint32_t waiting = 0;
    for (size_t j = 0; j < s->seen_count; j++) {
        const size_t i = s->seen[j];
        if (s->first[i] == RW_COMPLETE &&
            days < rw_paths_waits(paths, watched, s->site[i], (enum rw_manner)manner))
            waiting |= 1u << j;
    }
    if (waiting == s->waiting[manner])
        return seen_of;
    s->waiting[manner] = waiting;
    for (size_t x = 0; x < s->states; x++) {
        size_t state = 0, stride = 1;
        for (size_t j = 0; j < s->seen_count; j++) {
            const size_t i = s->seen[j];
            if (s->radix[i] > 1)
                state += stride * ((waiting >> j & 1u) != 0 ? s->first[i] : s->digit[x][i]);
            stride *= s->radix[i];
        }
        seen_of[x] = (uint16_t)state;
    }
    return seen_of;
}

/* ln P(readings of a visit | seen state): each for itself, or given the readings before and the fraction at
 * the first visit. */
static double log_readings(const struct rw_paths *paths, const struct rw_watched *w, size_t visit,
                           size_t kind, size_t depth, size_t state, const double *first) {
    const struct rw_paths_scratch *s = paths->scratch;
    const enum rw_spread spread = (enum rw_spread)s->spread[kind][depth][state];
    const double fraction = s->fraction[kind][depth][state];
    double p = 1.0;
    for (size_t r = w->first[visit]; r < w->first[visit] + w->count[visit]; r++)
        p *= first != NULL
                 ? rw_reading_again(paths, &paths->readings[r], spread, fraction, fabs(fraction - *first))
                 : rw_on_grid(paths->readings[r].grid[spread], fraction);
    return log(p);
}

/* ---- P(findings | state) ---- */

/* ln P(readings of a visit | what the target sees, depths) less that of nothing lost, in one kind of anatomy.
 * Depths differ only where something is partial. */
static void weigh_kind(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t last = s->seen_states - 1;
    for (size_t state = visit == 0 ? last : 0; state < s->seen_states; state++) {
        const bool same =
            s->spread[kind][0][state] == RW_SPREAD_SHARP && s->spread[kind][0][last] == RW_SPREAD_SHARP;
        for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
            s->change[kind][d][state] = same && d > 0
                                            ? s->change[kind][0][state]
                                            : log_readings(paths, w, visit, kind, depth_of_day[d], state,
                                                           &s->fraction[kind][depth_at_first[d]][last]) -
                                                  w->none_again[visit];
    }
    for (size_t depth = 0; depth < 2; depth++) {
        const double alone = log_readings(paths, w, visit, kind, depth, last, NULL) - w->none[visit];
        for (size_t a = 0; a < paths->variant_count; a++)
            s->alone[visit][a][depth] += w->kind_of[a] == kind ? alone : 0.0;
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
        const uint16_t *seen_of = see(paths, watched, visit, manner);
        for (size_t lot = first; lot < end; lot++)
            for (size_t d = 0; d < depths; d++) {
                double *e = emissions(paths, visit, lot, d, manner);
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
        double *e = emissions(paths, v, 0, 0, 0), *alike = emissions(paths, v, paths->variant_count, 0, 0);
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
        double *e = emissions(paths, v, 0, 0, 0);
        const double *alike = emissions(paths, v, paths->variant_count, 0, 0);
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
        if (!read || !look(paths, w))
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

static double stays_severe(const struct rw_paths_scratch *s, const struct rw_healing *h) {
    return s->eases ? h->partial_stays : 1.0;
}

/* Takes a visit's findings in; the sums are brought back to 1. Returns ln of what they came to. */
static double take_findings(const struct rw_paths *paths, size_t visit, size_t variant, size_t manner) {
    const struct rw_paths_scratch *s = paths->scratch;
    double sum = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        const double *e = emissions(paths, visit, variant, d, manner);
        double *p = path_of(paths, visit, variant, manner, d);
        for (size_t x = 0; x < s->states; x++)
            sum += p[x] *= e[x];
    }
    for (size_t d = 0; d < RW_DEPTHS_COUNT && sum > 0.0; d++) {
        double *p = path_of(paths, visit, variant, manner, d);
        for (size_t x = 0; x < s->states; x++)
            p[x] /= sum;
    }
    return log(sum) + s->top[visit];
}

/* ln P(findings of all visits | variant, manner). */
static double forward(const struct rw_paths *paths, size_t variant, size_t manner) {
    const struct rw_paths_scratch *s = paths->scratch;
    const size_t all = RW_DEPTHS_COUNT * s->states;
    double *start = path_of(paths, 0, variant, manner, 0);
    memset(start, 0, all * sizeof *start);
    for (size_t depth = 0; depth < 2; depth++) /* MILD and SEVERE */
        path_of(paths, 0, variant, manner, depth)[s->states - 1] = paths->depth_weight[depth];
    double sum = take_findings(paths, 0, variant, manner);
    for (size_t v = 1; v < paths->visit_count; v++) {
        const struct rw_healing *h = &paths->healing[manner][v];
        const double stays = stays_severe(s, h);
        double *p = path_of(paths, v, variant, manner, 0);
        memcpy(p, path_of(paths, v - 1, variant, manner, 0), all * sizeof *p);
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

/* ---- backward ---- */

/* What lies ahead, one visit earlier: the same steps the other way round. */
static void heal_back(const struct rw_paths_scratch *s, const struct rw_healing *h, double *p) {
    for (size_t i = 0; i < s->lesion_count; i++) {
        const size_t stride = s->stride[i], block = stride * s->radix[i];
        const double stays = h->stays[s->site[i]], to_partial = h->to_partial[s->site[i]];
        for (size_t x = 0; x < s->states && s->radix[i] == 2; x += block)
            for (double *q = p + x; q < p + x + stride; q++)
                q[stride] = q[stride] * h->partial_stays + q[0] * (1.0 - h->partial_stays);
        const double whole = fmax(0.0, 1.0 - stays - to_partial);
        for (size_t x = 0; x < s->states && s->radix[i] == 3; x += block)
            for (double *q = p + x; q < p + x + stride; q++) {
                q[2 * stride] = q[2 * stride] * stays + q[stride] * to_partial + q[0] * whole;
                q[stride] = q[stride] * h->onward_stays + q[0] * (1.0 - h->onward_stays);
            }
    }
}

/* From what lies ahead of `visit` to what lies ahead of the one before. */
static void step_back(const struct rw_paths *paths, size_t visit, size_t variant, size_t manner) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_healing *h = &paths->healing[manner][visit];
    const double stays = stays_severe(s, h);
    double *severe = s->ahead + RW_DEPTHS_SEVERE * s->states;
    const double *eased = s->ahead + RW_DEPTHS_EASED * s->states;
    double top = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        const double *e = emissions(paths, visit, variant, d, manner);
        for (size_t x = 0; x < s->states; x++)
            s->ahead[d * s->states + x] *= e[x];
    }
    for (size_t x = 0; x < s->states; x++)
        severe[x] = stays * severe[x] + (1.0 - stays) * eased[x];
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
        heal_back(s, h, s->ahead + d * s->states);
    for (size_t i = 0; i < RW_DEPTHS_COUNT * s->states; i++)
        top = fmax(top, s->ahead[i]);
    for (size_t i = 0; i < RW_DEPTHS_COUNT * s->states && top > 0.0; i++)
        s->ahead[i] /= top;
}

/* Forward sums → P(world, state of each visit | all findings, set). */
static void smooth(const struct rw_paths *paths, size_t variant, size_t manner, double weight) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t all = RW_DEPTHS_COUNT * s->states;
    for (size_t i = 0; i < all; i++)
        s->ahead[i] = 1.0;
    for (size_t v = paths->visit_count; v-- > 0;) {
        double *p = path_of(paths, v, variant, manner, 0), sum = 0.0;
        for (size_t i = 0; i < all; i++)
            sum += p[i] *= s->ahead[i];
        for (size_t i = 0; i < all; i++)
            p[i] = sum > 0.0 ? p[i] * weight / sum : 0.0;
        if (v > 0)
            step_back(paths, v, variant, manner);
    }
}

/* ---- marginals ---- */

static void sum_worlds(const struct rw_paths *paths, double weight, struct rw_sums *sums) {
    const struct rw_paths_scratch *s = paths->scratch;
    double block = 0.0;
    memset(sums->world, 0, sizeof sums->world);
    for (size_t a = 0; a < paths->variant_count; a++)
        for (size_t manner = 0; manner < s->manner_count; manner++)
            for (size_t depth = 0; depth < 2; depth++) {
                const double p = path_of(paths, 0, a, manner, depth)[s->states - 1];
                sums->world[a][depth] += p;
                block += manner == RW_MANNER_BLOCK ? p : 0.0;
            }
    sums->block += weight * (s->manner_count == 1 ? paths->manner_weight[RW_MANNER_BLOCK] : block);
}

/* P(state, depths) at one visit, over all worlds. */
static void sum_states(const struct rw_paths *paths, size_t visit) {
    struct rw_paths_scratch *s = paths->scratch;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        memset(s->marginal[d], 0, s->states * sizeof s->marginal[d][0]);
        for (size_t a = 0; a < paths->variant_count; a++)
            for (size_t manner = 0; manner < s->manner_count; manner++) {
                const double *p = path_of(paths, visit, a, manner, d);
                for (size_t x = 0; x < s->states; x++)
                    s->marginal[d][x] += p[x];
            }
    }
}

/* P(severity of a lesion) at the visit of sum_states; *recovered: less is lost there than at first. */
static void lesion_now(const struct rw_paths_scratch *s, size_t lesion, double now[3], double *recovered) {
    now[0] = now[1] = now[2] = *recovered = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
        for (size_t x = 0; x < s->states; x++) {
            const uint8_t severity = s->digit[x][lesion];
            now[severity] += s->marginal[d][x];
            if (severity < s->first[lesion] || (severity == RW_PARTIAL && d == RW_DEPTHS_EASED))
                *recovered += s->marginal[d][x];
        }
}

static void sum_root(const struct rw_paths_scratch *s, uint8_t root, double weight, double sums[2]) {
    bool torn = false;
    double injured = 0.0;
    for (size_t i = 0; i < s->lesion_count; i++)
        torn |= s->torn[i] && rw_model()->sites[s->site[i]].root == root;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
        for (size_t x = 0; x < s->states; x++) {
            bool any = false;
            for (size_t i = 0; i < s->lesion_count; i++)
                any |= rw_model()->sites[s->site[i]].root == root && s->digit[x][i] != RW_INTACT;
            injured += any ? s->marginal[d][x] : 0.0;
        }
    sums[torn ? 0 : 1] += weight * injured;
}

static void sum_sites(const struct rw_paths *paths, double weight, struct rw_sums *sums) {
    const struct rw_paths_scratch *s = paths->scratch;
    for (size_t v = 0; v < paths->visit_count; v++) {
        sum_states(paths, v);
        for (size_t i = 0; i < s->lesion_count; i++) {
            double *site = sums->site[v][s->site[i]], recovered;
            lesion_now(s, i, sums->now[i], &recovered);
            site[0] += weight * (sums->now[i][RW_PARTIAL] + sums->now[i][RW_COMPLETE]);
            site[1] += weight * sums->now[i][RW_COMPLETE];
            site[2] += weight * recovered;
        }
        for (uint8_t root = 0; root < RW_PLEXUS_ROOTS; root++)
            sum_root(s, root, weight, sums->root[v][root]);
    }
}

/* P(the target's fraction is higher at a visit than at the first). */
static double recovered(const struct rw_paths *paths, size_t watched, size_t visit) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_watched *w = &paths->watched[watched];
    double sum = 0.0;
    for (size_t manner = 0; manner < s->manner_count; manner++) {
        const uint16_t *seen_of = see(paths, watched, visit, manner);
        for (size_t a = 0; a < paths->variant_count; a++)
            for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
                const double *p = path_of(paths, visit, a, manner, d);
                const double *now = s->fraction[w->kind_of[a]][depth_of_day[d]];
                const double first = s->fraction[w->kind_of[a]][depth_at_first[d]][s->seen_states - 1];
                for (size_t x = 0; x < s->states; x++)
                    sum += now[seen_of[x]] > first + SAME_FRACTION ? p[x] : 0.0;
            }
    }
    return sum;
}

/* By depth at first: P(world) and, at one of the probe's visits, P(world, word so far off). */
static void probe_visit(const struct rw_paths *paths, const struct rw_probe *probe, size_t end,
                        size_t variant, size_t manner, double world[2], double off[2]) {
    const struct rw_paths_scratch *s = paths->scratch;
    const uint16_t *seen_of = see(paths, probe->watched, probe->visit[end], manner);
    const uint8_t kind = paths->watched[probe->watched].kind_of[variant];
    world[0] = world[1] = off[0] = off[1] = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        const double *p = path_of(paths, probe->visit[end], variant, manner, d);
        const uint8_t depth = depth_of_day[d];
        for (size_t x = 0; x < s->states; x++) {
            const size_t seen = seen_of[x];
            world[depth_at_first[d]] += p[x];
            if (p[x] > 0.0)
                off[depth_at_first[d]] += p[x] * rw_on_grid(probe->grid[end][s->spread[kind][depth][seen]],
                                                            s->fraction[kind][depth][seen]);
        }
    }
}

static double probe_chance(const struct rw_paths *paths, const struct rw_probe *probe) {
    const struct rw_paths_scratch *s = paths->scratch;
    double chance = 0.0, world[2], off[2][2];
    for (size_t manner = 0; manner < s->manner_count; manner++)
        for (size_t a = 0; a < paths->variant_count; a++) {
            for (size_t end = 0; end < 2; end++)
                probe_visit(paths, probe, end, a, manner, world, off[end]);
            for (size_t depth = 0; depth < 2; depth++)
                chance += world[depth] > 0.0 ? off[0][depth] * off[1][depth] / world[depth] : 0.0;
        }
    return chance;
}

void rw_paths_trace(const struct rw_paths *paths, const uint8_t *severity, double weight,
                    struct rw_sums *sums, struct rw_probe *probes, size_t probe_count) {
    struct rw_paths_scratch *s = paths->scratch;
    double alone[RW_MAX_VISITS];
    const double total = rw_paths_weigh(paths, severity, alone);
    for (size_t a = 0; a < paths->variant_count; a++)
        for (size_t manner = 0; manner < s->manner_count; manner++)
            smooth(paths, a, manner, exp(s->log_world[a][manner] - total));
    sums->total += weight;
    sum_worlds(paths, weight, sums);
    sum_sites(paths, weight, sums);
    for (size_t i = 0; i < paths->watched_count; i++) {
        const bool seen = look(paths, &paths->watched[i]);
        for (size_t v = 1; v < paths->visit_count && seen; v++)
            sums->recovered[v][i] += weight * recovered(paths, i, v);
        for (size_t k = 0; k < probe_count; k++)
            if (probes[k].watched == i)
                probes[k].chance += weight * probes[k].anew *
                                    (seen ? probe_chance(paths, &probes[k])
                                          : probes[k].grid[0][RW_SPREAD_SHARP][RW_GRID - 1] *
                                                probes[k].grid[1][RW_SPREAD_SHARP][RW_GRID - 1]);
    }
}

void rw_paths_trace_outside(const struct rw_paths *paths, double weight, struct rw_sums *sums,
                            struct rw_probe *probes, size_t probe_count) {
    sums->total += weight;
    sums->block += weight * paths->manner_weight[RW_MANNER_BLOCK];
    memset(sums->world, 0, sizeof sums->world);
    sums->world[0][0] = 1.0; /* in which world does not matter to it */
    for (size_t k = 0; k < probe_count; k++)
        probes[k].chance += weight * probes[k].anew * probes[k].outside[0] * probes[k].outside[1];
}
