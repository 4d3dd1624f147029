#include "plan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan_bound.h"

#define TIE 1e-12 /* worths this near are equal: rounding */

struct search {
    const struct rw_plan_problem *problem;
    struct rw_plan_choice *plans;
    size_t most, found;
    double slack; /* rounding of a bound */
    struct rw_plan_set set;
    struct rw_plan_bound bound;
};

double rw_plan_worth(const struct rw_plan_problem *problem, const uint16_t *steps, size_t count) {
    double kept[RW_PLAN_GOALS], missed[RW_PLAN_GOALS], worth = 0.0;
    for (size_t g = 0; g < problem->goal_count; g++)
        kept[g] = missed[g] = 1.0;
    for (size_t i = 0; i < count; i++) {
        const struct rw_plan_step *step = &problem->steps[steps[i]];
        worth -= step->cost;
        for (size_t e = 0; e < step->effect_count; e++) {
            kept[step->effects[e].goal] *= 1.0 - step->effects[e].takes;
            missed[step->effects[e].goal] *= 1.0 - step->effects[e].gives;
        }
    }
    for (size_t g = 0; g < problem->goal_count; g++)
        worth += problem->weight[g] *
                 (1.0 - (1.0 - problem->unaided[g] * kept[g]) * missed[g] - problem->unaided[g]);
    return worth;
}

/* ---- plans ---- */

static int by_number(const void *a, const void *b) {
    const uint16_t x = *(const uint16_t *)a, y = *(const uint16_t *)b;
    return (x > y) - (x < y);
}

static bool in_families(const struct rw_plan_problem *p, const struct rw_plan_choice *plan, uint16_t family) {
    for (size_t i = 0; i < plan->count; i++)
        if (p->steps[plan->steps[i]].family == family)
            return true;
    return false;
}

static bool families_within(const struct rw_plan_problem *p, const struct rw_plan_choice *a,
                            const struct rw_plan_choice *b) {
    for (size_t i = 0; i < a->count; i++) {
        const uint16_t family = p->steps[a->steps[i]].family;
        if (family != RW_NONE && !in_families(p, b, family))
            return false;
    }
    return true;
}

static bool same_families(const struct rw_plan_problem *p, const struct rw_plan_choice *a,
                          const struct rw_plan_choice *b) {
    return families_within(p, a, b) && families_within(p, b, a);
}

/* Worthier; among equals the one with the earlier steps. */
static bool before(const struct rw_plan_choice *a, const struct rw_plan_choice *b) {
    if (fabs(a->worth - b->worth) > TIE)
        return a->worth > b->worth;
    for (size_t i = 0; i < a->count && i < b->count; i++)
        if (a->steps[i] != b->steps[i])
            return a->steps[i] < b->steps[i];
    return a->count < b->count;
}

static void keep(struct search *s, const struct rw_plan_choice *plan) {
    size_t place = 0;
    while (place < s->found && !same_families(s->problem, plan, &s->plans[place]))
        place++;
    if (place < s->found && !before(plan, &s->plans[place]))
        return;
    if (place == s->found && s->found < s->most)
        s->found++;
    else if (place == s->found && !before(plan, &s->plans[--place]))
        return;
    for (; place > 0 && before(plan, &s->plans[place - 1]); place--)
        s->plans[place] = s->plans[place - 1];
    s->plans[place] = *plan;
}

static bool allowed(const struct rw_plan_set *set) {
    bool yes = (set->problem->must_spend & ~set->donors) == 0;
    for (size_t k = 0; k < set->count && yes; k++)
        yes = rw_plan_supported(&set->problem->steps[set->steps[k]], set->chosen);
    return yes;
}

/* What one more step adds to the worth; −INFINITY: it can't be added. */
static double gain(const struct rw_plan_set *set, size_t step) {
    if (!rw_plan_set_fits(set, step) || !rw_plan_supported(&set->problem->steps[step], set->chosen))
        return -(double)INFINITY;
    return rw_plan_set_adds(set, step);
}

/* No step can be added, and none left out, so that the worth rises. */
static bool settled(const struct rw_plan_set *set) {
    for (size_t i = 0; i < set->problem->step_count; i++)
        if (gain(set, i) > TIE)
            return false;
    for (size_t k = 0; k < set->count; k++) {
        struct rw_plan_set rest;
        struct rw_plan_undo undo;
        rw_plan_set_clear(&rest, set->problem);
        for (size_t i = 0; i < set->count; i++)
            if (i != k)
                rw_plan_set_put(&rest, set->steps[i], &undo);
        if (rest.worth > set->worth + TIE && allowed(&rest))
            return false;
    }
    return true;
}

/* ---- the search ---- */

static double enough(const struct search *s) {
    return s->found == s->most ? s->plans[s->most - 1].worth - s->slack : -(double)INFINITY;
}

static void arrive(struct search *s) {
    const struct rw_plan_set *set = &s->set;
    if (set->worth < enough(s) || !allowed(set) || !settled(set))
        return;
    struct rw_plan_choice plan = {.count = set->count};
    memcpy(plan.steps, set->steps, set->count * sizeof set->steps[0]);
    qsort(plan.steps, plan.count, sizeof plan.steps[0], by_number);
    plan.worth = rw_plan_worth(s->problem, plan.steps, plan.count); /* whatever the order they came in */
    keep(s, &plan);
}

/* A first list: always the step that adds most, one of them (or RW_PLAN_STEPS: none) never. */
static void add_greedily(struct search *s, size_t never) {
    struct rw_plan_undo undo;
    rw_plan_set_clear(&s->set, s->problem);
    for (size_t next = 0; next < RW_PLAN_STEPS;) {
        double most = TIE;
        next = RW_PLAN_STEPS;
        for (size_t i = 0; i < s->problem->step_count; i++) {
            const double adds = i == never ? 0.0 : gain(&s->set, i);
            if (adds > most) {
                most = adds;
                next = i;
            }
        }
        if (next < RW_PLAN_STEPS)
            rw_plan_set_put(&s->set, next, &undo);
    }
    arrive(s);
}

static void seed(struct search *s) {
    add_greedily(s, RW_PLAN_STEPS);
    const struct rw_plan_set first = s->set;
    for (size_t k = 0; k < first.count; k++)
        add_greedily(s, first.steps[k]);
    rw_plan_set_clear(&s->set, s->problem);
}

/* The step of a group with the highest net of those not tried; RW_PLAN_STEPS: none of them. */
static size_t choose(const struct rw_plan_group *group, const double *net, bool none_tried, double *highest) {
    size_t best = RW_PLAN_STEPS;
    *highest = none_tried ? -(double)INFINITY : 0.0;
    for (size_t k = 0; k < group->count; k++)
        if (net[group->steps[k]] > *highest) {
            best = group->steps[k];
            *highest = net[best];
        }
    return best;
}

/* Decides a group: each of its steps, or none, those first that the bound leaves most. Only plans enter the list
 * and the worth of its last never falls, so what can't reach that worth can't enter, whatever its families. The
 * depth is at most the number of groups. */
static void visit(struct search *s, size_t from) {
    if (from == s->bound.group_count) {
        arrive(s);
        return;
    }
    const double most = rw_plan_bound(&s->bound, &s->set, from, enough(s));
    if (most < enough(s) || most <= -(double)INFINITY)
        return;
    const struct rw_plan_group *group = &s->bound.groups[from];
    double *net = s->bound.net, best, highest;
    bool none_tried = false;
    size_t next = choose(group, net, none_tried, &best);
    for (highest = best; highest > -(double)INFINITY && most - best + highest >= enough(s);
         next = choose(group, net, none_tried, &highest)) {
        if (next == RW_PLAN_STEPS) {
            none_tried = true;
            visit(s, from + 1);
            continue;
        }
        struct rw_plan_undo undo;
        net[next] = -(double)INFINITY;
        rw_plan_set_put(&s->set, next, &undo);
        visit(s, from + 1);
        rw_plan_set_take_back(&s->set, &undo);
    }
}

size_t rw_plan_solve(const struct rw_plan_problem *problem, void *scratch, struct rw_plan_choice *plans,
                     size_t most) {
    struct search *s = scratch;
    if (most == 0)
        return 0;
    memset(s, 0, sizeof *s);
    s->problem = problem;
    s->plans = plans;
    s->most = most;
    s->slack = TIE;
    for (size_t g = 0; g < problem->goal_count; g++)
        s->slack += TIE * problem->weight[g];
    for (size_t i = 0; i < problem->step_count; i++)
        s->slack += TIE * problem->steps[i].cost;
    rw_plan_bound_init(&s->bound, problem);
    seed(s);
    visit(s, 0);
    return s->found;
}

size_t rw_plan_scratch(void) {
    return sizeof(struct search);
}
