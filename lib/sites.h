/* Sets of sites, and the sites on the way to a target. */
#ifndef RW_SITES_H
#define RW_SITES_H

#include "likelihood.h"
#include "rootward.h"

struct rw_sites {
    uint64_t word[2];
};
_Static_assert(RW_MAX_SITES <= 128, "one bit for each site");

static inline void rw_sites_add(struct rw_sites *set, size_t site) {
    set->word[site / 64] |= UINT64_C(1) << (site % 64);
}
static inline bool rw_sites_hold(struct rw_sites set, size_t site) {
    return (set.word[site / 64] >> (site % 64) & 1u) != 0;
}
static inline struct rw_sites rw_sites_both(struct rw_sites a, struct rw_sites b) {
    return (struct rw_sites){{a.word[0] & b.word[0], a.word[1] & b.word[1]}};
}
static inline struct rw_sites rw_sites_either(struct rw_sites a, struct rw_sites b) {
    return (struct rw_sites){{a.word[0] | b.word[0], a.word[1] | b.word[1]}};
}
static inline bool rw_sites_same(struct rw_sites a, struct rw_sites b) {
    return a.word[0] == b.word[0] && a.word[1] == b.word[1];
}
static inline bool rw_sites_any(struct rw_sites set) {
    return (set.word[0] | set.word[1]) != 0;
}
static inline bool rw_sites_meet(struct rw_sites a, struct rw_sites b) {
    return rw_sites_any(rw_sites_both(a, b));
}

/* What lesions leave of a bundle: Π (1 − loss) over its sites. */
static inline double rw_bundle_left(struct rw_sites partial, struct rw_sites complete, double partial_left) {
    double left = rw_sites_any(complete) ? 0.0 : 1.0;
    for (size_t k = 0; k < 2; k++)
        for (uint64_t rest = partial.word[k]; rest != 0; rest &= rest - 1)
            left *= partial_left;
    return left;
}

/* One bundle, with the sites that it runs through. */
struct rw_strand {
    struct rw_sites sites;
    const struct rw_bundle *bundle;
};
/* The bundles of a target in one variant; `list` has room for RW_MAX_VIEW_BUNDLES. Returns their number. */
size_t rw_strands_of(size_t variant, uint16_t target, struct rw_strand *list);

/* Every site on the way to a target, in one variant and in any. */
struct rw_sites rw_sites_to(size_t variant, uint16_t target);
struct rw_sites rw_sites_to_any(uint16_t target);

/* The first variant with the same bundles to this target. */
size_t rw_variant_like(size_t variant, uint16_t target);

/* The preganglionic sites of the roots. */
struct rw_sites rw_sites_preganglionic(void);

#endif
