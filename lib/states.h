/* The posterior as predictions see it: the hypotheses of the shortlist, each spread over all worlds.
 *
 * A world is a joint anatomical variant with a depth of partial loss, whether or not this exam can tell it
 * from others. Most states do the same to any one target; the distinct effects on each target are worked out
 * once, and every prediction then goes effect by effect and world by world.
 *
 * Invariants: a state's place is its place among the resolved hypotheses, most probable first; the weights of
 * all states in all worlds sum to 1 (1e-12); `covers` says how much of the posterior they held before they
 * were scaled to that. */
#ifndef RW_STATES_H
#define RW_STATES_H

#include "arena.h"
#include "likelihood.h"
#include "posterior.h"
#include "sites.h"

enum { RW_MAX_STATES = 514, RW_DEPTHS = 2 };

struct rw_localise_result;

struct rw_state {
    struct rw_sites partial, complete; /* the injured sites */
    bool outside;                      /* not a lesion of these nerves: targets follow the `outside` tables */
    double weight[RW_MAX_WORLDS];      /* by world */
};

/* What states do to a target, by world. */
struct rw_effect {
    double left[RW_MAX_WORLDS];    /* intact fraction, as rw_intact_fraction */
    uint8_t spread[RW_MAX_WORLDS]; /* enum rw_spread */
    bool outside, alike;           /* alike: the same in every world */
};
struct rw_effects {
    size_t count; /* no two alike */
    const struct rw_effect *list;
    const uint16_t *of; /* by state */
};

struct rw_states {
    const struct rw_state *list;
    const struct rw_effects *effects; /* by target */
    size_t count, world_count;
    double covers;
};

/* Worlds are numbered variant by variant, the mild depth first. */
static inline size_t rw_world_of(size_t variant, size_t depth) {
    return RW_DEPTHS * variant + depth;
}

/* All hypotheses of a result, each split over the worlds in proportion to what these explain. Everything
 * lives in the arena; false when that is too small. */
bool rw_states_make(const struct rw_localise_result *result, struct rw_arena *arena, struct rw_states *out);

/* Works out the effects of a list of states, whatever their weights. False: arena too small. */
bool rw_states_see(struct rw_states *states, struct rw_arena *arena);

/* Weight of each effect in each world, of the states from the given place on. */
void rw_effect_weights(const struct rw_states *states, size_t from, const struct rw_effects *effects,
                       double weight[][RW_MAX_WORLDS]);

/* P(observation | effect) for every observation of a table; `p` has room for all. */
void rw_effect_predict(const struct rw_table *table, double ready, const struct rw_effect *effect,
                       size_t world, double *p);

/* P(finding of the term | effect). */
double rw_term_probability(const struct rw_term *term, const struct rw_effect *effect, size_t world);

/* ---- states by what they injure ---- */

/* States sorted by their lesions within a set of sites. */
struct rw_groups {
    size_t count;
    uint16_t of[RW_MAX_STATES]; /* group by state */
    struct rw_state_group {
        struct rw_sites partial, complete; /* within the set */
        bool outside;
        uint16_t example; /* its first state */
    } list[RW_MAX_STATES];
};
void rw_group(const struct rw_states *states, struct rw_sites within, struct rw_groups *out);

/* Weight of each group in each world. */
void rw_group_weights(const struct rw_states *states, const struct rw_groups *groups,
                      double weight[][RW_MAX_WORLDS]);

#endif
