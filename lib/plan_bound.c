#include "plan_bound.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define HARM 1e-11 /* beyond rounding */

/* ---- the order ---- */

static uint64_t lowest(uint64_t bits) {
    return bits & (~bits + 1);
}

static void add_to_group(struct rw_plan_bound *b, const struct rw_plan_set *empty, size_t i) {
    const struct rw_plan_step *steps = empty->problem->steps;
    const uint64_t recipient = lowest(steps[i].recipients);
    size_t g = 0;
    while (g < b->group_count &&
           (recipient == 0 || lowest(steps[b->groups[g].steps[0]].recipients) != recipient))
        g++;
    if (g == b->group_count)
        b->groups[b->group_count++] = (struct rw_plan_group){.promise = -(double)INFINITY};
    struct rw_plan_group *group = &b->groups[g];
    const double promise = rw_plan_set_adds(empty, i);
    size_t place = group->count++;
    for (; place > 0 && rw_plan_set_adds(empty, group->steps[place - 1]) < promise; place--)
        group->steps[place] = group->steps[place - 1];
    group->steps[place] = (uint16_t)i;
    group->promise = fmax(group->promise, promise);
}

static int by_promise(const void *a, const void *b) {
    const struct rw_plan_group *x = a, *y = b;
    if (x->promise < y->promise || x->promise > y->promise)
        return x->promise > y->promise ? -1 : 1;
    return (x->steps[0] > y->steps[0]) - (x->steps[0] < y->steps[0]);
}

static void look_ahead(struct rw_plan_bound *b, const struct rw_plan_problem *problem) {
    for (size_t goal = 0; goal < RW_PLAN_GOALS; goal++)
        b->least_kept[b->group_count][goal] = b->least_missed[b->group_count][goal] = 1.0;
    for (size_t g = b->group_count; g-- > 0;) {
        double kept[RW_PLAN_GOALS], missed[RW_PLAN_GOALS];
        for (size_t goal = 0; goal < RW_PLAN_GOALS; goal++)
            kept[goal] = missed[goal] = 1.0;
        for (size_t k = 0; k < b->groups[g].count; k++) {
            const struct rw_plan_step *step = &problem->steps[b->groups[g].steps[k]];
            for (size_t e = 0; e < step->effect_count; e++) {
                const uint8_t goal = step->effects[e].goal;
                kept[goal] = fmin(kept[goal], 1.0 - step->effects[e].takes);
                missed[goal] = fmin(missed[goal], 1.0 - step->effects[e].gives);
            }
        }
        for (size_t goal = 0; goal < RW_PLAN_GOALS; goal++) {
            b->least_kept[g][goal] = b->least_kept[g + 1][goal] * kept[goal];
            b->least_missed[g][goal] = b->least_missed[g + 1][goal] * missed[goal];
        }
    }
}

void rw_plan_bound_init(struct rw_plan_bound *bound, const struct rw_plan_problem *problem) {
    struct rw_plan_set empty;
    memset(bound, 0, sizeof *bound);
    rw_plan_set_clear(&empty, problem);
    for (size_t i = 0; i < problem->step_count; i++)
        add_to_group(bound, &empty, i);
    qsort(bound->groups, bound->group_count, sizeof bound->groups[0], by_promise);
    look_ahead(bound, problem);
    for (size_t i = 0; i < problem->step_count; i++) {
        bound->free[i] = (problem->steps[i].donors & problem->must_spend) == 0;
        for (size_t k = 0; k < problem->step_count; k++)
            if ((problem->steps[k].needs[i / 64] >> (i % 64) & 1u) != 0)
                bound->free[i] = false;
    }
}

/* ---- the bound ---- */

/* What a step counts for in the bound. Steps added to a set with products A and B (kept, missed), whose own
 * products are T and P, change the value of a goal, u unaided, by
 *   B · ((1 − u A) · (1 − P) − u A · (1 − T) · P).
 * 1 − P is at most the sum of their gives. 1 − T is at least the sum of their takes times the lowest T that the
 * groups from `from` on can make, and P is at least their lowest P. So the sum over the steps of the expression
 * below is no less than the change. */
static double at_most(const struct rw_plan_bound *b, const struct rw_plan_set *set, size_t i, size_t from) {
    const struct rw_plan_step *step = &set->problem->steps[i];
    double sum = -step->cost;
    for (size_t e = 0; e < step->effect_count; e++) {
        const struct rw_plan_effect *effect = &step->effects[e];
        const size_t goal = effect->goal;
        const double left = set->problem->unaided[goal] * set->kept[goal];
        sum += set->problem->weight[goal] * set->missed[goal] *
               (effect->gives * (1.0 - left) -
                effect->takes * left * b->least_kept[from][goal] * b->least_missed[from][goal]);
    }
    return sum;
}

/* Whether a step would lower the worth whatever steps of the groups from `from` on stand beside it. With products
 * A and B of the others a goal changes by B · (q (1 − u A) − u A t (1 − q)), q gives, t takes. The bracket is largest
 * at the lowest A; a positive one at the B of now, a negative one at the lowest B. */
static bool harms(const struct rw_plan_bound *b, const struct rw_plan_set *set, size_t i, size_t from) {
    const struct rw_plan_step *step = &set->problem->steps[i];
    double sum = -step->cost;
    for (size_t e = 0; e < step->effect_count; e++) {
        const struct rw_plan_effect *effect = &step->effects[e];
        const size_t goal = effect->goal;
        const double left = set->problem->unaided[goal] * set->kept[goal] * b->least_kept[from][goal];
        const double bracket = effect->gives * (1.0 - left) - left * effect->takes * (1.0 - effect->gives);
        sum += set->problem->weight[goal] * set->missed[goal] * bracket *
               (bracket > 0.0 ? 1.0 : b->least_missed[from][goal]);
    }
    return sum < -HARM;
}

static bool uses(const struct rw_plan_step *step, size_t resource) {
    return resource < RW_PLAN_STAGES ? step->stage == resource
                                     : (step->donors >> (resource - RW_PLAN_STAGES) & 1u) != 0;
}

/* Whether the set can still come to stand, and spend what it must. Steps that no longer can are closed. */
static bool set_net(struct rw_plan_bound *b, const struct rw_plan_set *set, size_t from) {
    const struct rw_plan_step *steps = set->problem->steps;
    uint64_t hope[RW_PLAN_WORDS], donors = 0; /* the set and every step that is open */
    memcpy(hope, set->chosen, sizeof hope);
    memset(b->left, 0, sizeof b->left);
    for (size_t g = from; g < b->group_count; g++)
        for (size_t k = 0; k < b->groups[g].count; k++) {
            const size_t i = b->groups[g].steps[k], stage = steps[i].stage;
            b->net[i] = -(double)INFINITY;
            if (!rw_plan_set_fits(set, i))
                continue;
            const double most = at_most(b, set, i, from);
            if (most <= 0.0 && b->free[i] && harms(b, set, i, from))
                continue;
            hope[i / 64] |= UINT64_C(1) << (i % 64);
            donors |= steps[i].donors;
            if (b->left[stage] < set->problem->room[stage] - set->held[stage])
                b->left[stage]++;
            b->net[i] = most - b->price[stage];
            for (uint64_t d = steps[i].donors; d != 0; d &= d - 1)
                b->net[i] -= b->price[RW_PLAN_STAGES + (size_t)__builtin_ctzll(d)];
        }
    for (uint64_t d = donors; d != 0; d &= d - 1)
        b->left[RW_PLAN_STAGES + (size_t)__builtin_ctzll(d)] = 1;
    for (size_t g = from; g < b->group_count; g++)
        for (size_t k = 0; k < b->groups[g].count; k++)
            if (!rw_plan_supported(&steps[b->groups[g].steps[k]], hope))
                b->net[b->groups[g].steps[k]] = -(double)INFINITY;
    for (size_t k = 0; k < set->count; k++)
        if (!rw_plan_supported(&steps[set->steps[k]], hope))
            return false;
    return (set->problem->must_spend & ~(set->donors | donors)) == 0;
}

/* Whatever the prices, all ≥ 0: a set pays for what it uses and no more than for all there is left. */
static double priced(struct rw_plan_bound *b, const struct rw_plan_set *set, size_t from) {
    double sum = set->worth;
    for (size_t r = 0; r < RW_PLAN_RESOURCES; r++)
        sum += (double)b->left[r] * b->price[r];
    memset(b->wanted, 0, sizeof b->wanted);
    for (size_t g = from; g < b->group_count; g++) {
        const struct rw_plan_step *best = NULL;
        double most = 0.0;
        for (size_t k = 0; k < b->groups[g].count; k++)
            if (b->net[b->groups[g].steps[k]] > most) {
                best = &set->problem->steps[b->groups[g].steps[k]];
                most = b->net[b->groups[g].steps[k]];
            }
        if (best == NULL)
            continue;
        sum += most;
        b->wanted[best->stage]++;
        for (uint64_t d = best->donors; d != 0; d &= d - 1)
            b->wanted[RW_PLAN_STAGES + (size_t)__builtin_ctzll(d)]++;
    }
    return sum;
}

static double larger(double a, double b) {
    return a > b ? a : b;
}

/* The price of a resource that makes the bound lowest, the others as they are: where only as many groups want
 * it as there is of it. */
static double best_price(const struct rw_plan_bound *b, const struct rw_plan_set *set, size_t from,
                         size_t r) {
    const size_t left = b->left[r];
    double wanted[RW_MAX_STEPS + 2]; /* the largest left + 1 margins over what the group takes otherwise */
    size_t count = 0;
    for (size_t g = from; g < b->group_count; g++) {
        double with = -(double)INFINITY, without = 0.0;
        for (size_t k = 0; k < b->groups[g].count; k++) {
            const size_t i = b->groups[g].steps[k];
            if (uses(&set->problem->steps[i], r))
                with = larger(with, b->net[i] + b->price[r]);
            else
                without = larger(without, b->net[i]);
        }
        if (with <= without)
            continue;
        size_t place = count;
        for (; place > 0 && wanted[place - 1] < with - without; place--)
            wanted[place] = wanted[place - 1];
        wanted[place] = with - without;
        if (count <= left)
            count++;
    }
    return count > left ? wanted[left] : 0.0;
}

static void reprice(struct rw_plan_bound *b, const struct rw_plan_set *set, size_t from) {
    for (size_t r = 0; r < RW_PLAN_RESOURCES; r++) {
        if (b->left[r] == 0 ||
            (b->price[r] <= 0.0 && b->wanted[r] <= b->left[r])) /* enough of it for nothing */
            continue;
        const double price = best_price(b, set, from, r), rise = price - b->price[r];
        b->price[r] = price;
        for (size_t g = from; g < b->group_count && rise != 0.0; g++)
            for (size_t k = 0; k < b->groups[g].count; k++)
                if (uses(&set->problem->steps[b->groups[g].steps[k]], r))
                    b->net[b->groups[g].steps[k]] -= rise;
    }
}

double rw_plan_bound(struct rw_plan_bound *b, const struct rw_plan_set *set, size_t from, double enough) {
    if (!set_net(b, set, from))
        return -(double)INFINITY;
    double least = priced(b, set, from);
    for (int sweep = 0; sweep < (from == 0 ? 3 : 1) && least >= enough; sweep++) {
        reprice(b, set, from);
        least = priced(b, set, from);
    }
    return least;
}
