/* Worth: what a transfer gives to the functions of a patient and what it takes from them.
 *
 * The goals of a plan are the functions and the skin areas of the deficits, each worth its fact
 * priority_<function> or priority_area_<area>. What a function is worth as it stands is P(M4 or better) by
 * strength_share, the expected part of its full strength by reserve_share, and P(M3 or better) by the rest. A
 * transfer
 *   gives a function of its muscles P(useful) · P(donor) · reach · (1 − k + k · m4), k the two shares, m4 the fact
 *     m4_given_m3 or m4_given_m3_<transfer>,
 *     with reach 1 for the first function of its row, which its series measured, and for others the share of
 *     the function's strength in the muscles reached over useful_share, at most 1;
 *   takes from every function       the share of it that the spent fibres of the donor bear (deficits.h, the
 *     same function model), and, where it divides its recipient, what the muscles cut off bear of it now, and
 *     the part of what would have come back unaided that lies in them.
 * donor_cost_<donor>, plan_step_cost, plan_graft_cost and, in a second operation, plan_second_cost are added for
 * what no function counts. */
#ifndef RW_WORTH_H
#define RW_WORTH_H

#include "deficits.h"
#include "plan.h"

enum { RW_GOAL_MUSCLES = 20 };

struct rw_goals {
    const struct rw_deficits *deficits;
    size_t count; /* functions, then areas, in the order of the deficits */
    double weight[RW_PLAN_GOALS], unaided[RW_PLAN_GOALS];
    struct rw_goal_muscles { /* of a function */
        size_t count;
        uint64_t mask;
        uint8_t place[RW_GOAL_MUSCLES]; /* in the deficits */
        double share[RW_GOAL_MUSCLES];
        double strength, regained; /* parts of full strength: now, and what comes back unaided; may pass 1 */
        struct rw_function_power power;  /* as it stands, by the function model */
        double now;                      /* what the function is worth as it stands */
        double regains[RW_GOAL_MUSCLES]; /* parts of `regained` */
    } muscles[RW_MAX_FUNCTIONS];
    double strength_share, reserve_share, m4_given_m3, useful_share, step_cost,
        graft_cost; /* facts, read once */
    double donor_cost[RW_MAX_DONORS];
};
void rw_goals_of(const struct rw_exam *exam, const struct rw_losses *losses,
                 const struct rw_deficits *deficits, struct rw_goals *out);

/* Fills cost and effects of a step, for a transfer that reaches the muscles and areas given as masks by place
 * in the deficits; `success` is P(useful) · P(donor). */
void rw_step_worth(const struct rw_goals *goals, const struct rw_transfer *transfer, uint64_t muscles,
                   uint64_t areas, double success, struct rw_plan_step *step);

#endif
