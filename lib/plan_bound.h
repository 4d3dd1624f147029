/* The order in which plan.c decides, and how much any set can still become worth.
 *
 * Steps that share their lowest recipient never go together: they make a group, of which a set takes at most
 * one. A step without recipients is a group of its own. */
#ifndef RW_PLAN_BOUND_H
#define RW_PLAN_BOUND_H

#include "plan_set.h"

enum { RW_PLAN_RESOURCES = RW_PLAN_STAGES + 64 }; /* the operations and the donors */

struct rw_plan_group {
    size_t count;
    uint16_t steps[RW_PLAN_STEPS];
    double promise; /* the most that one of them adds to the empty set */
};
struct rw_plan_bound {
    size_t group_count;
    struct rw_plan_group groups[RW_PLAN_STEPS];
    /* From a group on: the lowest products of 1 − takes and 1 − gives of each goal. */
    double least_kept[RW_PLAN_STEPS + 1][RW_PLAN_GOALS], least_missed[RW_PLAN_STEPS + 1][RW_PLAN_GOALS];
    bool free[RW_PLAN_STEPS]; /* no other step needs it, and no donor of it must be spent */
    double price[RW_PLAN_RESOURCES];
    size_t left[RW_PLAN_RESOURCES];   /* how much of it open steps can still use */
    size_t wanted[RW_PLAN_RESOURCES]; /* by the best steps of the groups */
    double net[RW_PLAN_STEPS]; /* of a step: the most that it can add, less the prices of what it uses */
};

/* Groups by promise, steps of a group likewise. */
void rw_plan_bound_init(struct rw_plan_bound *bound, const struct rw_plan_problem *problem);

/* No plan that adds steps of the groups from `from` on to this set is worth more; −INFINITY: there is
 * none. Stops early when it falls below `enough`. Leaves `net` of these steps as the bound has it: with a step
 * of group g taken, or none, it is lower by what the best net of g, or 0, lies above that one's. */
double rw_plan_bound(struct rw_plan_bound *bound, const struct rw_plan_set *set, size_t from, double enough);

#endif
