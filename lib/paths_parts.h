/* Private to the sums over paths (paths.c, paths_seen.c, paths_marginals.c): one set of lesions at work. */
#ifndef RW_PATHS_PARTS_H
#define RW_PATHS_PARTS_H

#include "paths.h"

/* A state x numbers the severities of all lesions, stride by stride; the last one
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

/* Depth at the first visit and at the day. */
static inline uint8_t rw_depth_at_first(size_t depths) {
    return depths == RW_DEPTHS_MILD ? 0 : 1;
}
static inline uint8_t rw_depth_of_day(size_t depths) {
    return depths == RW_DEPTHS_SEVERE ? 1 : 0;
}

/* One place more than there are lots of variants: the last one holds what is alike in all. */
static inline double *rw_emissions(const struct rw_paths *paths, size_t visit, size_t lot, size_t depths,
                                   size_t manner) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t lots = visit * (paths->variant_count + 1) + lot;
    return s->emission + ((lots * RW_DEPTHS_COUNT + depths) * s->manner_count + manner) * s->states;
}

static inline double *rw_path_of(const struct rw_paths *paths, size_t visit, size_t variant, size_t manner,
                                 size_t depths) {
    struct rw_paths_scratch *s = paths->scratch;
    return s->path +
           (((visit * paths->variant_count + variant) * s->manner_count + manner) * RW_DEPTHS_COUNT +
            depths) *
               s->states;
}

/* Which lesions touch the target, and what they leave of it. False: none does. */
bool rw_paths_look(const struct rw_paths *paths, const struct rw_watched *w);

/* Which severities the target sees in each state: what regrows is seen once it has arrived. */
const uint16_t *rw_paths_see(const struct rw_paths *paths, size_t watched, size_t visit, size_t manner);

/* P(what came back of the lesions came back to a target as well | its readings of a later visit, what it sees in
 * a state, depths). */
double rw_paths_back(const struct rw_paths *paths, const struct rw_watched *w, size_t visit, size_t kind,
                     size_t depths, size_t state);

/* P(the depth of partial loss does not ease) in a step. */
static inline double rw_stays_severe(const struct rw_paths_scratch *s, const struct rw_healing *h) {
    return s->eases ? h->partial_stays : 1.0;
}

#endif
