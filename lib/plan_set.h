/* The set of steps that a search grows and shrinks, one step at a time. */
#ifndef RW_PLAN_SET_H
#define RW_PLAN_SET_H

#include "plan.h"

struct rw_plan_set {
    const struct rw_plan_problem *problem;
    size_t count, held[RW_PLAN_STAGES];
    uint16_t steps[RW_MAX_STEPS]; /* in the order they were put in */
    uint64_t donors, recipients, barred[RW_PLAN_WORDS], chosen[RW_PLAN_WORDS];
    double worth, kept[RW_PLAN_GOALS], missed[RW_PLAN_GOALS]; /* Π (1 − takes), Π (1 − gives) */
};

/* What changes when a step is put in, to be put back. */
struct rw_plan_undo {
    uint64_t barred[RW_PLAN_WORDS];
    double worth, kept[RW_PLAN_EFFECTS], missed[RW_PLAN_EFFECTS];
};

void rw_plan_set_clear(struct rw_plan_set *set, const struct rw_plan_problem *problem);
void rw_plan_set_put(struct rw_plan_set *set, size_t step, struct rw_plan_undo *undo);
void rw_plan_set_take_back(struct rw_plan_set *set, const struct rw_plan_undo *undo); /* the last one */

/* Whether there is room for a step and nothing of the set excludes it, whatever it needs. */
bool rw_plan_set_fits(const struct rw_plan_set *set, size_t step);
/* What the step would add to the worth. */
double rw_plan_set_adds(const struct rw_plan_set *set, size_t step);
/* Whether something that the step needs is among these, or it needs nothing. */
bool rw_plan_supported(const struct rw_plan_step *step, const uint64_t chosen[RW_PLAN_WORDS]);

#endif
