/* Localisation: the exact posterior over the hypothesis space of hypotheses.h.
 *
 *   P(h | exam) ∝ P(h) · Σ over worlds P(world) · Π over findings P(finding | intact fraction of its target)
 *
 * Findings are independent given the hypothesis and the world. Under "not a lesion of these nerves" each
 * finding follows its table's `outside` distribution. What is too light to count in the sum is left out of
 * it, and the bound of all that is reported as left_out. */
#ifndef RW_LOCALISE_H
#define RW_LOCALISE_H

#include "posterior.h"
#include "search.h"

/* A hypothesis of the shortlist, resolved. */
struct rw_resolved {
    struct rw_hypothesis shown;
    uint8_t severity[RW_MAX_SITES];
};

struct rw_localise_result {
    const struct rw_term *terms;
    size_t term_count;
    const struct rw_resolved *hypotheses; /* heaviest first */
    size_t hypothesis_count;
};

/* Fills `out` but for evidence, fit and next checks, and `result`, whose arrays live in the arena. */
enum rw_status rw_localise(const struct rw_exam *exam, struct rw_arena *arena, struct rw_localisation *out,
                           struct rw_localise_result *result);

#endif
