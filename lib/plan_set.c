#include "plan_set.h"

#include <string.h>

static bool has(const uint64_t *words, size_t i) {
    return (words[i / 64] >> (i % 64) & 1u) != 0;
}

static bool meet(const uint64_t *a, const uint64_t *b) {
    bool any = false;
    for (size_t w = 0; w < RW_PLAN_WORDS; w++)
        any = any || (a[w] & b[w]) != 0;
    return any;
}

void rw_plan_set_clear(struct rw_plan_set *set, const struct rw_plan_problem *problem) {
    memset(set, 0, sizeof *set);
    set->problem = problem;
    for (size_t g = 0; g < problem->goal_count; g++)
        set->kept[g] = set->missed[g] = 1.0;
}

bool rw_plan_set_fits(const struct rw_plan_set *set, size_t i) {
    const struct rw_plan_step *step = &set->problem->steps[i];
    return set->held[step->stage] < set->problem->room[step->stage] && set->count < RW_MAX_STEPS &&
           (step->donors & set->donors) == 0 && (step->recipients & set->recipients) == 0 &&
           !has(set->chosen, i) && !has(set->barred, i) && !meet(step->bars, set->chosen);
}

double rw_plan_set_adds(const struct rw_plan_set *set, size_t i) {
    const struct rw_plan_step *step = &set->problem->steps[i];
    double sum = -step->cost;
    for (size_t e = 0; e < step->effect_count; e++) {
        const struct rw_plan_effect *effect = &step->effects[e];
        const double left = set->problem->unaided[effect->goal] * set->kept[effect->goal];
        sum += set->problem->weight[effect->goal] * set->missed[effect->goal] *
               (effect->gives * (1.0 - left) - left * effect->takes * (1.0 - effect->gives));
    }
    return sum;
}

void rw_plan_set_put(struct rw_plan_set *set, size_t i, struct rw_plan_undo *undo) {
    const struct rw_plan_step *step = &set->problem->steps[i];
    memcpy(undo->barred, set->barred, sizeof set->barred);
    undo->worth = set->worth;
    set->worth += rw_plan_set_adds(set, i);
    set->steps[set->count++] = (uint16_t)i;
    set->held[step->stage]++;
    set->donors |= step->donors;
    set->recipients |= step->recipients;
    set->chosen[i / 64] |= UINT64_C(1) << (i % 64);
    for (size_t w = 0; w < RW_PLAN_WORDS; w++)
        set->barred[w] |= step->bars[w];
    for (size_t e = 0; e < step->effect_count; e++) {
        const uint8_t goal = step->effects[e].goal;
        undo->kept[e] = set->kept[goal];
        undo->missed[e] = set->missed[goal];
        set->kept[goal] *= 1.0 - step->effects[e].takes;
        set->missed[goal] *= 1.0 - step->effects[e].gives;
    }
}

void rw_plan_set_take_back(struct rw_plan_set *set, const struct rw_plan_undo *undo) {
    const size_t i = set->steps[--set->count];
    const struct rw_plan_step *step = &set->problem->steps[i];
    for (size_t e = 0; e < step->effect_count; e++) {
        set->kept[step->effects[e].goal] = undo->kept[e];
        set->missed[step->effects[e].goal] = undo->missed[e];
    }
    memcpy(set->barred, undo->barred, sizeof set->barred);
    set->worth = undo->worth;
    set->held[step->stage]--;
    set->donors &= ~step->donors;
    set->recipients &= ~step->recipients;
    set->chosen[i / 64] &= ~(UINT64_C(1) << (i % 64));
}

bool rw_plan_supported(const struct rw_plan_step *step, const uint64_t chosen[RW_PLAN_WORDS]) {
    return !meet(step->needs, step->needs) || meet(step->needs, chosen);
}
