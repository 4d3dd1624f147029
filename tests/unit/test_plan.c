/* The planner against plain enumeration of all subsets, written from the definition in plan.h. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan.h"

enum { MOST_STEPS = 14, MOST_SETS = 1 << MOST_STEPS };

/* ---- random problems ---- */

static uint64_t draw(uint64_t *state) {
    *state += UINT64_C(0x9e3779b97f4a7c15); /* splitmix64 */
    uint64_t z = *state;
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static size_t below(uint64_t *state, size_t count) {
    return (size_t)(draw(state) % count);
}

static bool chance(uint64_t *state, size_t percent) {
    return below(state, 100) < percent;
}

/* In twentieths: equal worths are common then. */
static double coarse(uint64_t *state) {
    return (double)below(state, 21) / 20.0;
}

static double fine(uint64_t *state) {
    return (double)(draw(state) >> 11) * 0x1p-53;
}

static void draw_effects(uint64_t *state, bool ties, size_t goals, struct rw_plan_step *step) {
    for (uint8_t g = 0; g < goals; g++) {
        if (!chance(state, 50))
            continue;
        struct rw_plan_effect *effect = &step->effects[step->effect_count++];
        effect->goal = g;
        if (chance(state, 70))
            effect->gives = ties ? coarse(state) : fine(state);
        if (chance(state, 40))
            effect->takes = ties ? coarse(state) : fine(state);
    }
}

static void draw_problem(uint64_t *state, struct rw_plan_problem *p) {
    const bool ties = chance(state, 30);
    memset(p, 0, sizeof *p);
    p->step_count = below(state, MOST_STEPS + 1);
    p->goal_count = 1 + below(state, 6);
    for (size_t stage = 0; stage < RW_PLAN_STAGES; stage++)
        p->room[stage] = below(state, 5);
    for (size_t g = 0; g < p->goal_count; g++) {
        p->weight[g] = ties ? (double)below(state, 3) : 2.0 * fine(state);
        p->unaided[g] = chance(state, 50) ? 0.0 : ties ? coarse(state) : fine(state);
    }
    for (size_t i = 0; i < p->step_count; i++) {
        struct rw_plan_step *step = &p->steps[i];
        step->stage = (uint8_t)below(state, RW_PLAN_STAGES);
        step->family = chance(state, 20) ? RW_NONE : (uint16_t)below(state, 1 + p->step_count);
        step->cost = chance(state, 30) ? 0.0 : (ties ? coarse(state) : fine(state)) / 4.0;
        for (size_t k = below(state, 3); k > 0; k--)
            step->donors |= UINT64_C(1) << (chance(state, 10) ? 63 : below(state, 8));
        for (size_t k = below(state, 3); k > 0; k--)
            step->recipients |= UINT64_C(1) << (chance(state, 10) ? 63 : below(state, 8));
        if (chance(state, 25))
            step->bars[0] |= UINT64_C(1) << below(state, p->step_count);
        for (size_t k = chance(state, 20) ? 1 + below(state, 2) : 0; k > 0; k--)
            step->needs[0] |= UINT64_C(1) << below(state, p->step_count);
        draw_effects(state, ties, p->goal_count, step);
    }
    while (chance(state, 25))
        p->must_spend |= UINT64_C(1) << below(state, 8);
    if (p->step_count > 2 && chance(state, 30)) { /* one step again, for the other operation */
        p->steps[p->step_count - 1] = p->steps[0];
        p->steps[p->step_count - 1].stage ^= 1u;
    }
    for (size_t i = 0; i < p->step_count; i++) { /* others only */
        p->steps[i].bars[0] &= ~(UINT64_C(1) << i);
        p->steps[i].needs[0] &= ~(UINT64_C(1) << i);
    }
}

/* ---- enumeration ---- */

static double worth_of(const struct rw_plan_problem *p, uint32_t set) {
    double worth = 0.0;
    for (size_t g = 0; g < p->goal_count; g++) {
        double kept = p->unaided[g], missed = 1.0;
        for (size_t i = 0; i < p->step_count; i++)
            for (size_t e = 0; (set >> i & 1u) != 0 && e < p->steps[i].effect_count; e++)
                if (p->steps[i].effects[e].goal == g) {
                    kept *= 1.0 - p->steps[i].effects[e].takes;
                    missed *= 1.0 - p->steps[i].effects[e].gives;
                }
        worth += p->weight[g] * (1.0 - (1.0 - kept) * missed - p->unaided[g]);
    }
    for (size_t i = 0; i < p->step_count; i++)
        worth -= (set >> i & 1u) != 0 ? p->steps[i].cost : 0.0;
    return worth;
}

/* But for the donors that must be spent. */
static bool compatible(const struct rw_plan_problem *p, uint32_t set) {
    size_t held[RW_PLAN_STAGES] = {0};
    for (size_t i = 0; i < p->step_count; i++) {
        const struct rw_plan_step *a = &p->steps[i];
        if ((set >> i & 1u) == 0)
            continue;
        if (++held[a->stage] > p->room[a->stage] || (a->bars[0] & set) != 0 ||
            (a->needs[0] != 0 && (a->needs[0] & set) == 0))
            return false;
        for (size_t k = 0; k < i; k++) {
            const struct rw_plan_step *b = &p->steps[k];
            if ((set >> k & 1u) != 0 &&
                ((a->donors & b->donors) != 0 || (a->recipients & b->recipients) != 0))
                return false;
        }
    }
    return true;
}

static bool spends(const struct rw_plan_problem *p, uint32_t set) {
    uint64_t spent = 0;
    for (size_t i = 0; i < p->step_count; i++)
        spent |= (set >> i & 1u) != 0 ? p->steps[i].donors : 0;
    return (p->must_spend & ~spent) == 0;
}

struct table {
    bool compatible[MOST_SETS], plan[MOST_SETS];
    double worth[MOST_SETS];
};

static void enumerate(const struct rw_plan_problem *p, struct table *t) {
    const uint32_t sets = UINT32_C(1) << p->step_count;
    for (uint32_t set = 0; set < sets; set++) {
        t->compatible[set] = compatible(p, set);
        t->worth[set] = t->compatible[set] ? worth_of(p, set) : 0.0;
    }
    for (uint32_t set = 0; set < sets; set++) {
        t->plan[set] = t->compatible[set] && spends(p, set);
        for (size_t i = 0; i < p->step_count && t->plan[set]; i++) {
            const uint32_t other = set ^ UINT32_C(1) << i; /* with it, or without */
            if (t->compatible[other] && spends(p, other) && t->worth[other] > t->worth[set] + 1e-12)
                t->plan[set] = false;
        }
    }
}

static uint32_t families(const struct rw_plan_problem *p, uint32_t set) {
    uint32_t all = 0;
    for (size_t i = 0; i < p->step_count; i++)
        if ((set >> i & 1u) != 0 && p->steps[i].family != RW_NONE)
            all |= UINT32_C(1) << p->steps[i].family;
    return all;
}

/* Rising lists of steps, the end before any step. */
static bool earlier(uint32_t a, uint32_t b) {
    while (a != 0 && b != 0) {
        const int x = __builtin_ctz(a), y = __builtin_ctz(b);
        if (x != y)
            return x < y;
        a &= a - 1;
        b &= b - 1;
    }
    return a == 0 && b != 0;
}

/* The best set that is a plan and whose families are not those of the sets given. */
static bool best_plan(const struct rw_plan_problem *p, const struct table *t, const uint32_t *taken,
                      size_t count, uint32_t *best) {
    bool any = false;
    for (uint32_t set = 0; set < UINT32_C(1) << p->step_count; set++) {
        bool other = t->plan[set];
        for (size_t k = 0; k < count && other; k++)
            other = families(p, taken[k]) != families(p, set);
        if (!other)
            continue;
        const double more = any ? t->worth[set] - t->worth[*best] : 1.0;
        if (more > 1e-12 || (more >= -1e-12 && earlier(set, *best)))
            *best = set;
        any = true;
    }
    return any;
}

static uint32_t set_of(const struct rw_plan_choice *plan) {
    uint32_t set = 0;
    for (size_t i = 0; i < plan->count; i++) {
        cr_assert(i == 0 || plan->steps[i] > plan->steps[i - 1], "steps do not rise");
        set |= UINT32_C(1) << plan->steps[i];
    }
    return set;
}

static size_t solve(const struct rw_plan_problem *p, struct rw_plan_choice *plans, size_t most) {
    void *scratch = malloc(rw_plan_scratch()); /* not cleared; and AddressSanitizer sees its end */
    cr_assert_not_null(scratch);
    memset(scratch, 0xa5, rw_plan_scratch());
    const size_t found = rw_plan_solve(p, scratch, plans, most);
    free(scratch);
    return found;
}

/* Returns the number of plans. */
static size_t compare(const struct rw_plan_problem *p, struct table *t, size_t most, unsigned number) {
    struct rw_plan_choice plans[RW_MAX_PLANS];
    uint32_t expected[RW_MAX_PLANS];
    enumerate(p, t);
    const size_t found = solve(p, plans, most);
    size_t count = 0;
    while (count < most && best_plan(p, t, expected, count, &expected[count]))
        count++;
    cr_assert_eq(found, count, "problem %u: %zu plans, not %zu", number, found, count);
    for (size_t k = 0; k < found; k++) {
        cr_assert_eq(set_of(&plans[k]), expected[k],
                     "problem %u, plan %zu: %x, worth %.17g, not %x, worth %.17g", number, k,
                     set_of(&plans[k]), plans[k].worth, expected[k], t->worth[expected[k]]);
        cr_assert_float_eq(plans[k].worth, t->worth[expected[k]], 1e-12);
        cr_assert_float_eq(rw_plan_worth(p, plans[k].steps, plans[k].count), plans[k].worth, 1e-15);
    }
    return found;
}

Test(planner, equals_enumeration_of_all_subsets) {
    struct table *t = malloc(sizeof *t);
    size_t by_count[RW_MAX_PLANS + 1] = {0};
    for (unsigned number = 0; number < 2000; number++) {
        static struct rw_plan_problem p;
        uint64_t state = number;
        draw_problem(&state, &p);
        by_count[compare(&p, t, RW_MAX_PLANS, number)]++;
        compare(&p, t, 1 + number % RW_MAX_PLANS, number);
    }
    for (size_t k = 0; k <= RW_MAX_PLANS; k++)
        cr_assert_gt(by_count[k], 50, "hardly any problem has %zu plans", k);
    free(t);
}

/* ---- by hand ---- */

/* Steps with one donor and one recipient of their own, a family each, that give to one goal. */
static struct rw_plan_problem *plain(size_t steps, size_t goals) {
    struct rw_plan_problem *p = calloc(1, sizeof *p);
    cr_assert_not_null(p);
    p->step_count = steps;
    p->goal_count = goals;
    p->room[0] = RW_MAX_STEPS;
    for (size_t g = 0; g < goals; g++)
        p->weight[g] = 1.0;
    for (size_t i = 0; i < steps; i++) {
        p->steps[i].donors = p->steps[i].recipients = UINT64_C(1) << i;
        p->steps[i].family = (uint16_t)i;
        p->steps[i].effect_count = 1;
        p->steps[i].effects[0] = (struct rw_plan_effect){.goal = (uint8_t)(i % goals), .gives = 0.5};
    }
    return p;
}

static void assert_plan(const struct rw_plan_choice *plan, double worth, size_t count,
                        const uint16_t *steps) {
    cr_assert_float_eq(plan->worth, worth, 1e-12, "worth %.17g, not %.17g", plan->worth, worth);
    cr_assert_eq(plan->count, count);
    for (size_t i = 0; i < count; i++)
        cr_assert_eq(plan->steps[i], steps[i]);
}

/* Two goals of weight 2 and 1, 0.4 and 0.5 unaided. Step 0 gives 0.5 to the first, takes 0.2 of it and of the
 * second, and costs 0.1; step 1 gives 0.25 to the first and costs 0.05.
 *   first   1 − (1 − 0.4 · 0.8) · 0.5 · 0.75 = 1 − 0.68 · 0.375 = 0.745, gain 0.345
 *   second  0.5 · 0.8 = 0.4, gain −0.1
 *   both    2 · 0.345 − 0.1 − 0.15 = 0.44
 *   step 0  2 · (1 − 0.68 · 0.5 − 0.4) − 0.1 − 0.1 = 2 · 0.26 − 0.2 = 0.32
 *   step 1  2 · (1 − 0.6 · 0.75 − 0.4) − 0.05 = 2 · 0.15 − 0.05 = 0.25 */
Test(planner, worth_by_hand) {
    struct rw_plan_problem *p = plain(2, 2);
    const uint16_t both[] = {0, 1};
    struct rw_plan_choice plan;
    p->weight[0] = 2.0;
    p->unaided[0] = 0.4;
    p->unaided[1] = 0.5;
    p->steps[0].cost = 0.1;
    p->steps[0].effects[0].takes = 0.2;
    p->steps[0].effects[1] = (struct rw_plan_effect){.goal = 1, .takes = 0.2};
    p->steps[0].effect_count = 2;
    p->steps[1].cost = 0.05;
    p->steps[1].effects[0] = (struct rw_plan_effect){.goal = 0, .gives = 0.25};
    cr_assert_float_eq(rw_plan_worth(p, both, 2), 0.44, 1e-15);
    cr_assert_float_eq(rw_plan_worth(p, both, 1), 0.32, 1e-15);
    cr_assert_float_eq(rw_plan_worth(p, both + 1, 1), 0.25, 1e-15);
    cr_assert_float_eq(rw_plan_worth(p, both, 0), 0.0, 1e-15);
    cr_assert_eq(solve(p, &plan, 1), 1);
    assert_plan(&plan, 0.44, 2, both);
    free(p);
}

Test(planner, nothing_to_do) {
    struct rw_plan_problem *p = plain(0, 1);
    struct rw_plan_choice plans[RW_MAX_PLANS];
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 1, "no steps: the empty plan");
    assert_plan(&plans[0], 0.0, 0, NULL);
    p->must_spend = 1;
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 0);
    free(p);

    p = plain(2, 1);
    p->steps[0].cost = p->steps[1].cost = 0.75;
    cr_assert_eq(solve(p, plans, 1), 1, "no step pays: the empty plan comes first");
    assert_plan(&plans[0], 0.0, 0, NULL);
    free(p);

    p = plain(2, 1);
    p->room[0] = 0;
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 1, "no room");
    assert_plan(&plans[0], 0.0, 0, NULL);
    p->must_spend = 1;
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 0);
    free(p);
}

/* What must be spent is spent though it costs more than it gives, and two that can't be spent together are no
 * plan. */
Test(planner, what_must_be_spent) {
    struct rw_plan_problem *p = plain(3, 1);
    struct rw_plan_choice plan;
    p->steps[2].cost = 2.0;
    p->must_spend = 4;
    cr_assert_eq(solve(p, &plan, 1), 1);
    assert_plan(&plan, 0.875 - 2.0, 3, (const uint16_t[]){0, 1, 2});
    p->must_spend = 5;
    p->steps[0].bars[0] = 4;
    cr_assert_eq(solve(p, &plan, 1), 0);
    p->must_spend = UINT64_C(1) << 63;
    cr_assert_eq(solve(p, &plan, 1), 0, "no step spends it");
    free(p);
}

Test(planner, ties_go_to_the_earlier_steps) {
    struct rw_plan_problem *p = plain(4, 4);
    struct rw_plan_choice plans[RW_MAX_PLANS];
    p->room[0] = 2;
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 3);
    assert_plan(&plans[0], 1.0, 2, (const uint16_t[]){0, 1});
    assert_plan(&plans[1], 1.0, 2, (const uint16_t[]){0, 2});
    assert_plan(&plans[2], 1.0, 2, (const uint16_t[]){0, 3});
    free(p);
}

/* The worthiest of one set of families stands for them all. */
Test(planner, families_merge) {
    struct rw_plan_problem *p = plain(4, 1);
    struct rw_plan_choice plans[RW_MAX_PLANS];
    p->room[0] = 1;
    for (size_t i = 0; i < 4; i++)
        p->steps[i].effects[0].gives = 0.2 + 0.1 * (double)i;
    p->steps[2].family = p->steps[3].family = 7;
    p->steps[0].family = p->steps[1].family = 8;
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 2);
    assert_plan(&plans[0], 0.5, 1, (const uint16_t[]){3});
    assert_plan(&plans[1], 0.3, 1, (const uint16_t[]){1});
    free(p);
}

/* Two steps to one muscle, one for each operation: what the first can't hold stands in the second. */
Test(planner, room_of_each_operation) {
    struct rw_plan_problem *p = plain(3, 3);
    struct rw_plan_choice plan;
    for (size_t i = 0; i < 3; i++) {
        p->steps[3 + i] = p->steps[i];
        p->steps[3 + i].stage = 1;
        p->steps[3 + i].effects[0].gives = 0.4 - 0.1 * (double)i;
    }
    p->step_count = 6;
    p->room[0] = 2;
    p->room[1] = 1;
    cr_assert_eq(solve(p, &plan, 1), 1);
    assert_plan(&plan, 1.4, 3, (const uint16_t[]){1, 2, 3});
    p->room[1] = 0;
    cr_assert_eq(solve(p, &plan, 1), 1);
    assert_plan(&plan, 1.0, 2, (const uint16_t[]){0, 1});
    free(p);
}

/* The second step needs the first, which alone gives less than it costs. */
Test(planner, needs_and_bars) {
    struct rw_plan_problem *p = plain(3, 1);
    struct rw_plan_choice plan;
    p->steps[0].effects[0].gives = 0.0;
    p->steps[0].cost = 0.1;
    p->steps[1].needs[0] = 1;
    p->steps[1].effects[0].gives = 0.9;
    p->steps[2].bars[0] = 2;
    cr_assert_eq(solve(p, &plan, 1), 1);
    assert_plan(&plan, 0.8, 2, (const uint16_t[]){0, 1});
    p->steps[0].cost = 0.45;
    cr_assert_eq(solve(p, &plan, 1), 1);
    assert_plan(&plan, 0.5, 1, (const uint16_t[]){2});
    free(p);
}

/* Step 0 alone takes 0.5 of the first goal and can give nothing to the second, which is whole. Beside step 1, which
 * must be taken, which makes the second goal nothing and gives 0.9 to the first, it is worth its place:
 *   step 1   0 − 1 = −1
 *   both     −(1 − 0.5) · 0.1 + 0.2 − 1 = −0.85 */
Test(planner, what_harms_alone_may_gain_beside_another) {
    struct rw_plan_problem *p = plain(2, 2);
    struct rw_plan_choice plan;
    p->unaided[0] = p->unaided[1] = 1.0;
    p->steps[0].effects[0] = (struct rw_plan_effect){.goal = 0, .takes = 0.5};
    p->steps[0].effects[1] = (struct rw_plan_effect){.goal = 1, .gives = 0.2};
    p->steps[1].effects[0] = (struct rw_plan_effect){.goal = 0, .gives = 0.9};
    p->steps[1].effects[1] = (struct rw_plan_effect){.goal = 1, .takes = 1.0};
    p->steps[0].effect_count = p->steps[1].effect_count = 2;
    p->must_spend = 2;
    cr_assert_eq(solve(p, &plan, 1), 1);
    assert_plan(&plan, -0.85, 2, (const uint16_t[]){0, 1});
    free(p);
}

/* A set to which a step could be added is no plan, however worthy; nor is one with a step that costs more than
 * it adds. */
Test(planner, what_a_single_step_betters_is_no_plan) {
    struct rw_plan_problem *p = plain(3, 3);
    struct rw_plan_choice plans[RW_MAX_PLANS];
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 1);
    assert_plan(&plans[0], 1.5, 3, (const uint16_t[]){0, 1, 2});
    p->steps[1].cost = 0.75;
    cr_assert_eq(solve(p, plans, RW_MAX_PLANS), 1);
    assert_plan(&plans[0], 1.0, 2, (const uint16_t[]){0, 2});
    free(p);
}

Test(planner, writes_no_more_than_asked) {
    struct rw_plan_problem *p = plain(4, 4);
    p->room[0] = 2;
    for (size_t most = 0; most < RW_MAX_PLANS; most++) {
        struct rw_plan_choice plans[RW_MAX_PLANS + 1], before[RW_MAX_PLANS + 1];
        memset(plans, 0x5a, sizeof plans);
        memcpy(before, plans, sizeof plans);
        cr_assert_eq(solve(p, plans, most), most);
        cr_assert_arr_eq(&plans[most], &before[most], (RW_MAX_PLANS + 1 - most) * sizeof plans[0]);
    }
    free(p);
}

/* Every step, effect and word that a problem can hold. */
Test(planner, the_largest_problem) {
    struct rw_plan_problem *p = calloc(1, sizeof *p);
    struct rw_plan_choice plan;
    p->step_count = RW_PLAN_STEPS;
    p->goal_count = RW_PLAN_GOALS;
    p->room[0] = p->room[1] = RW_MAX_STEPS / RW_PLAN_STAGES;
    for (size_t g = 0; g < RW_PLAN_GOALS; g++)
        p->weight[g] = 1.0;
    for (size_t i = 0; i < RW_PLAN_STEPS; i++) {
        struct rw_plan_step *step = &p->steps[i];
        step->donors = step->recipients = UINT64_C(1) << (i % 64);
        step->family = (uint16_t)i;
        step->stage = (uint8_t)(i % RW_PLAN_STAGES);
        step->effect_count = RW_PLAN_EFFECTS;
        step->cost = 0.5 + (double)i / 4.0;
        for (size_t e = 0; e < RW_PLAN_EFFECTS; e++)
            step->effects[e] = (struct rw_plan_effect){.goal = (uint8_t)((i * 7 + e) % 64), .gives = 0.5};
    }
    p->steps[RW_PLAN_STEPS - 1].cost = 0.0;
    for (size_t w = 0; w < RW_PLAN_WORDS; w++)
        p->steps[RW_PLAN_STEPS - 1].bars[w] = UINT64_MAX >> (w == RW_PLAN_WORDS - 1);
    cr_assert_eq(solve(p, &plan, 1), 1);
    cr_assert_gt(plan.worth, 0.5 * RW_PLAN_EFFECTS - 1e-12); /* what the last step gives alone */
    free(p);
}
