/* The search: sums the posterior weight of every hypothesis, in three parts that share one state.
 *   roots.c  all 32768 root configurations, alone and with any one further site
 *   sets.c   two further sites with at most one injured root, and three further sites
 *   scattered.c  four to six further sites at once, for mechanisms that scatter
 * Weights are relative to exp(reference), which some hypothesis reaches unless RW_HEADROOM keeps it higher. A
 * weight below exp(least) may be left out of the sums; exp(least) times the number summed bounds what that
 * can come to. */
#ifndef RW_SEARCH_H
#define RW_SEARCH_H

#include "arena.h"
#include "exp.h"
#include "likelihood.h"

#define RW_DEPTH     50.0  /* nats below a known hypothesis at which a weight no longer counts */
#define RW_REST_SPAN 250.0 /* nats that targets of entry proximal, post and pre can tell together */
/* Nats that a weight may stand above the reference, and the lowest `least`: see roots.c for the rest. */
#define RW_HEADROOM (-RW_LEAST_EXPONENT - RW_REST_SPAN)
#define RW_LEAST    (RW_LEAST_EXPONENT + RW_REST_SPAN)
/* Nats that a row of sets may reach and still be made of products: what falls out of their range stands 700
 * nats lower, which is below `least`, however low that is. Higher rows are made by logarithms. */
#define RW_PRODUCT_BOUND (RW_LEAST - RW_LEAST_EXPONENT)
enum { RW_SHORTLIST = 512 };

/* The heaviest hypotheses met, kept as a heap with the lightest at the top. */
struct rw_candidate {
    double weight;
    uint32_t config;
    uint8_t atoms[RW_MAX_SCATTER], atom_count; /* rising; unused ones 0 */
};
struct rw_shortlist {
    size_t count;
    struct rw_candidate items[RW_SHORTLIST];
};

struct rw_search {
    const struct rw_space *space;
    const struct rw_prior_terms *prior;
    const struct rw_world *worlds;
    size_t world_count;
    double most;                        /* ln Π over terms of the largest P(finding): no ln L exceeds it */
    double reference, least;            /* ln; least is relative to the reference */
    double product_bound;               /* RW_PRODUCT_BOUND */
    double total, summed;               /* relative weight; number of hypothesis-worlds */
    double further[2 * RW_MAX_FURTHER]; /* weight by further atom */
    double root_state[RW_PLEXUS_ROOTS][RW_ROOT_STATES];
    double level[RW_LEVEL_COUNT];
    struct rw_shortlist shortlist;
};

/* Offers a hypothesis to the shortlist; ties go to the smaller (config, atoms). */
void rw_shortlist_offer(struct rw_shortlist *list, const struct rw_candidate *candidate);
/* The weight that a candidate must beat. */
static inline double rw_shortlist_floor(const struct rw_shortlist *list) {
    return list->count < RW_SHORTLIST ? 0.0 : list->items[0].weight;
}
/* Sorts heaviest first. */
void rw_shortlist_sort(struct rw_shortlist *list);

/* Both parts are filled view by view, each view with the mask of the worlds that share it, then searched over
 * all worlds. NULL and false: the arena is too small. The root search comes first: it sets the reference. */
struct rw_roots;
struct rw_roots *rw_roots_new(const struct rw_space *space, size_t world_count, struct rw_arena *arena);
bool rw_roots_add(struct rw_roots *roots, const struct rw_view *view, uint32_t worlds,
                  struct rw_arena *arena);
bool rw_roots_search(struct rw_roots *roots, struct rw_search *search, struct rw_arena *arena);

struct rw_sets;
struct rw_sets *rw_sets_new(const struct rw_space *space, size_t world_count, struct rw_arena *arena);
bool rw_sets_add(struct rw_sets *sets, const struct rw_view *view, uint32_t worlds, struct rw_arena *arena);
void rw_sets_search(struct rw_sets *sets, struct rw_search *search);

/* Scattered sets, all worlds; nothing to do where the mechanism never scatters. False: arena too small. */
bool rw_scattered_search(struct rw_search *search, const struct rw_term *terms, size_t term_count,
                         struct rw_arena *arena);

#endif
