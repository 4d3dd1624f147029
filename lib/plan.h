/* The plan: which steps to take, chosen exactly.
 *
 * Knows nothing of nerves. A problem holds steps, and goals (functions) that they give to or take from.
 * Over a set x of steps the value of a goal is
 *   U(x) = 1 - (1 - unaided · Π (1 - takes)) · Π (1 - gives)      products over the steps of x,
 * so what comes back unaided and what several steps give are taken to be independent, and a step can spend a
 * donor or divide a recipient that the goal would have lived on. The worth of a set is
 *   Σ weight · (U(x) - U(none)) - Σ cost.
 *
 * A set is allowed when no two of its steps share a donor or a recipient, none bars another, every step that
 * needs others has at least one of them in the set, no operation holds more steps than its room, and every
 * donor that must be spent is.
 *
 * Of the allowed sets those are plans whose worth no single step raises, neither by being added nor by being
 * left out (where the set stays allowed). Plans that consist of the same families are one, whatever steps
 * without a family they hold: the worthiest stands for it. rw_plan_solve gives the worthiest, best first, by
 * branch and bound. Worths within 1e-12 count as equal. */
#ifndef RW_PLAN_H
#define RW_PLAN_H

#include "rootward.h"

enum {
    RW_PLAN_STEPS = 256, /* of a problem: every transfer in both operations */
    RW_PLAN_GOALS = 64,
    RW_PLAN_EFFECTS = 40, /* of a step */
    RW_PLAN_WORDS = RW_PLAN_STEPS / 64,
    RW_PLAN_STAGES = 2
};

_Static_assert(RW_PLAN_STEPS >= RW_PLAN_STAGES * RW_MAX_TRANSFERS, "none is left out");

struct rw_plan_effect {
    uint8_t goal;
    double gives, takes; /* each in [0, 1] */
};
struct rw_plan_step {
    uint64_t donors, recipients;   /* steps that share a bit of either are never taken together */
    uint64_t bars[RW_PLAN_WORDS];  /* other steps that it excludes; either side may say so */
    uint64_t needs[RW_PLAN_WORDS]; /* one of these others must stand in the set; all 0: none needed */
    double cost;                   /* ≥ 0 */
    uint16_t family;               /* RW_NONE: makes no plan another one */
    uint8_t stage;                 /* below RW_PLAN_STAGES */
    uint8_t effect_count;
    struct rw_plan_effect effects[RW_PLAN_EFFECTS]; /* each goal at most once */
};
struct rw_plan_problem {
    size_t step_count, goal_count;
    size_t room[RW_PLAN_STAGES]; /* most steps of each operation; at most RW_MAX_STEPS in all */
    uint64_t must_spend;         /* donors */
    double weight[RW_PLAN_GOALS], unaided[RW_PLAN_GOALS]; /* ≥ 0; in [0, 1] */
    struct rw_plan_step steps[RW_PLAN_STEPS];
};
struct rw_plan_choice {
    double worth;
    size_t count;
    uint16_t steps[RW_MAX_STEPS]; /* rising */
};

/* The worth of a set, whether or not it is allowed. */
double rw_plan_worth(const struct rw_plan_problem *problem, const uint16_t *steps, size_t count);

/* Fills at most `most` (≤ RW_MAX_PLANS) plans, best first; ties go to the earlier steps. Returns their number:
 * 0 when no set is allowed. Where no step pays, the empty set is the one plan, unless a donor must be spent.
 * Exact up to rounding; no allocation; `scratch` holds rw_plan_scratch() bytes, aligned for any type. */
size_t rw_plan_solve(const struct rw_plan_problem *problem, void *scratch, struct rw_plan_choice *plans,
                     size_t most);
size_t rw_plan_scratch(void);

#endif
