/* The search: sums the posterior weight of every hypothesis, in three parts that share one state.
 *   roots.c  all 32768 root configurations, alone and with any one further site
 *   sets.c   two further sites with at most one injured root, and three further sites
 *   scattered.c  four to six further sites at once, for mechanisms that scatter
 * Weights are relative to exp(reference). Nothing is skipped: a weight below e^−700 of the reference rounds
 * to 0, and RW_LEAST_WEIGHT times the number summed bounds what that can leave out. */
#ifndef RW_SEARCH_H
#define RW_SEARCH_H

#include "arena.h"
#include "likelihood.h"

#define RW_LEAST_WEIGHT 1e-304 /* e^−700 */
#define RW_HEADROOM     600.0  /* nats that a weight may stand above the reference */
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

/* Per world, summed over terms: how the log likelihood depends on the roots and on one further atom. */
struct rw_root_tables {
    double base[RW_ENTRY_PRE + 1][RW_ROOT_PATTERNS];
    double constant; /* terms without plexus roots, nothing injured */
    /* Change by each further atom, for targets of the three entries that further sites can touch. */
    double change[2 * RW_MAX_FURTHER][3][RW_ROOT_PATTERNS];
    double change_constant[2 * RW_MAX_FURTHER];
};

struct rw_search {
    const struct rw_space *space;
    const struct rw_prior_terms *prior;
    const struct rw_world *worlds;
    size_t world_count;
    double most;                        /* ln Π over terms of the largest P(finding): no ln L exceeds it */
    double reference;                   /* ln */
    double total, summed;               /* relative weight; number of hypothesis-worlds */
    double further[2 * RW_MAX_FURTHER]; /* weight by further atom */
    double root_state[RW_PLEXUS_ROOTS][RW_ROOT_STATES];
    double level[RW_LEVEL_COUNT];
    bool altered[2 * RW_MAX_FURTHER][3]; /* atom changes a target of entry all, proximal, post */
    struct rw_shortlist shortlist;
};

/* Offers a hypothesis to the shortlist; ties go to the smaller (config, atoms). */
void rw_shortlist_offer(struct rw_shortlist *list, const struct rw_candidate *candidate);
/* The weight that a candidate must beat. */
double rw_shortlist_floor(const struct rw_shortlist *list);
/* Sorts heaviest first. */
void rw_shortlist_sort(struct rw_shortlist *list);

/* Adds one term's view to the root tables of the `count` worlds that share it. */
void rw_roots_add(struct rw_root_tables *const *tables, size_t count, struct rw_search *search,
                  const struct rw_view *view);
/* Runs the root search over all worlds. `arena` gives scratch; false when it is too small. */
bool rw_roots_search(struct rw_search *search, const struct rw_root_tables *const *tables,
                     struct rw_arena *arena);

/* Sets: dense sums over the current world, then totals over worlds. */
struct rw_sets;
struct rw_sets *rw_sets_new(const struct rw_space *space, struct rw_arena *arena); /* NULL: arena too small */
void rw_sets_begin(struct rw_sets *sets);
void rw_sets_add(struct rw_sets *sets, const struct rw_view *view);
void rw_sets_close_world(struct rw_sets *sets, struct rw_search *search, size_t world);
void rw_sets_finish(struct rw_sets *sets, struct rw_search *search);

/* Scattered sets, all worlds; nothing to do where the mechanism never scatters. False: arena too small. */
bool rw_scattered_search(struct rw_search *search, const struct rw_term *terms, size_t term_count,
                         struct rw_arena *arena);

#endif
