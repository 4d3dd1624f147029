#include "transfers.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "candidates.h"
#include "chances.h"

struct planner {
    struct rw_patient patient;
    struct rw_plan_problem problem;
    struct {
        uint16_t candidate;
        uint8_t stage;
    } of[RW_PLAN_STEPS]; /* by step of the problem */
    struct rw_open_transfer candidates[RW_MAX_TRANSFERS];
    size_t count;
    uint16_t family[RW_MAX_TRANSFERS]; /* the first transfer of the same */
    struct rw_plan_choice choices[RW_MAX_PLANS];
    void *scratch; /* of rw_plan_solve */
};

static void reject(const struct planner *p, struct rw_transfers *out, uint16_t transfer,
                   const char *because) {
    struct rw_rejection *r = &out->rejected[out->rejected_count++];
    r->transfer = transfer;
    r->serves_lost = rw_serves_lost(&p->patient, &rw_model()->transfers[transfer]);
    snprintf(r->because, sizeof r->because, "%s", because);
}

/* ---- the problem ---- */

static uint16_t transfer_of(const struct planner *p, size_t step) {
    return p->candidates[p->of[step].candidate].step[p->of[step].stage].transfer;
}

/* The weight of the most important function that a transfer is made for, of those that are lost if any is. */
static double core_of(const struct planner *p, const struct rw_open_transfer *c) {
    const struct rw_deficits *d = p->patient.deficits;
    const struct rw_transfer *t = &rw_model()->transfers[c->step[c->open[0] ? 0 : 1].transfer];
    double most = 0.0;
    for (size_t i = 0; i < d->function_count; i++)
        for (size_t k = 0; k < t->function_count; k++)
            if (d->functions[i].function == t->functions[k] &&
                (c->functions == 0 || (c->functions >> i & 1u) != 0))
                most = fmax(most, p->patient.goals.weight[i]);
    for (size_t i = 0; i < d->area_count; i++)
        for (size_t k = 0; k < t->area_count; k++)
            if (d->areas[i].area == t->areas[k])
                most = fmax(most, p->patient.goals.weight[d->function_count + i]);
    return most;
}

/* Of each transfer the first of its family. */
static void find_families(uint16_t family[RW_MAX_TRANSFERS]) {
    const struct rw_model *m = rw_model();
    for (uint16_t i = 0; i < m->transfer_count; i++) {
        family[i] = 0;
        while (strcmp(m->transfers[family[i]].family, m->transfers[i].family) != 0)
            family[i]++;
    }
}

static bool names(const char *list, const char *word) {
    const size_t size = strlen(word);
    for (const char *at = list; (at = strstr(at, word)) != NULL; at += size)
        if ((at == list || at[-1] == ' ') && (at[size] == '\0' || at[size] == ' '))
            return true;
    return false;
}

/* Plans are told apart by the steps that serve what matters most in this patient. */
static void add_steps(struct planner *p) {
    struct rw_plan_problem *problem = &p->problem;
    double core = 0.0;
    for (size_t i = 0; i < p->count; i++)
        core = fmax(core, core_of(p, &p->candidates[i]));
    core *= rw_fact_value("plan_core_share");
    for (size_t stage = 0; stage < RW_PLAN_STAGES; stage++)
        for (size_t i = 0; i < p->count && problem->step_count < RW_PLAN_STEPS; i++) {
            if (!p->candidates[i].open[stage])
                continue;
            const size_t k = problem->step_count++;
            p->of[k].candidate = (uint16_t)i;
            p->of[k].stage = (uint8_t)stage;
            problem->steps[k] = p->candidates[i].plan[stage];
            problem->steps[k].family = core_of(p, &p->candidates[i]) >= core
                                           ? p->family[p->candidates[i].step[stage].transfer]
                                           : RW_NONE;
        }
}

static bool bars(const struct rw_bars *bars, uint16_t transfer) {
    return (bars->transfers[transfer / 64] >> (transfer % 64) & 1u) != 0 ||
           (bars->donors >> rw_model()->transfers[transfer].donor & 1u) != 0;
}

/* What a step excludes; and, when its donor has to be given back first, what gives it. */
static void tie(struct planner *p) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < p->problem.step_count; i++) {
        struct rw_plan_step *step = &p->problem.steps[i];
        const uint16_t a = transfer_of(p, i);
        for (size_t k = 0; k < p->problem.step_count; k++) {
            const uint16_t b = transfer_of(p, k);
            if (i != k && (a == b || bars(&p->patient.bars[a], b) || bars(&p->patient.bars[b], a)))
                step->bars[k / 64] |= UINT64_C(1) << (k % 64);
            if (p->candidates[p->of[i].candidate].given_back && p->problem.steps[k].stage == 0 &&
                names(m->transfers[a].after, m->transfers[b].family))
                step->needs[k / 64] |= UINT64_C(1) << (k % 64);
        }
    }
}

/* Chance that an earlier step gives a candidate its donor: of the surest that is open. */
static double given_chance(const struct planner *p, const struct rw_open_transfer *c) {
    const char *after = rw_model()->transfers[c->step[1].transfer].after;
    double best = 0.0;
    for (size_t k = 0; k < p->count; k++) {
        const struct rw_step *giver = &p->candidates[k].step[0];
        if (p->candidates[k].open[0] && names(after, rw_model()->transfers[giver->transfer].family))
            best = fmax(best, giver->p_useful * giver->p_donor);
    }
    return best;
}

/* A step whose donor an earlier one gives hangs on that one, and is out where that is too unsure. */
static void settle_given_back(struct planner *p, struct rw_transfers *out) {
    for (size_t i = p->count; i-- > 0;) {
        struct rw_open_transfer *c = &p->candidates[i];
        if (!c->given_back)
            continue;
        const double chance = given_chance(p, c);
        c->step[1].p_donor *= chance;
        for (size_t e = 0; e < c->plan[1].effect_count; e++)
            c->plan[1].effects[e].gives *= chance;
        if (c->step[1].p_donor >= rw_fact_value("given_back_least"))
            continue;
        char because[160];
        snprintf(because, sizeof because, "donor not usable, and no step surely gives it back: %.100s",
                 p->patient.donors[rw_model()->transfers[c->step[1].transfer].donor].because);
        reject(p, out, c->step[1].transfer, because);
        memmove(c, c + 1, (--p->count - i) * sizeof *c);
    }
}

static void set_problem(struct planner *p, const struct rw_exam *exam) {
    struct rw_plan_problem *problem = &p->problem;
    const long room = lround(rw_fact_value("plan_room"));
    for (size_t stage = 0; stage < RW_PLAN_STAGES; stage++)
        problem->room[stage] =
            room < RW_MAX_STEPS / RW_PLAN_STAGES ? (size_t)room : RW_MAX_STEPS / RW_PLAN_STAGES;
    problem->goal_count = p->patient.goals.count;
    memcpy(problem->weight, p->patient.goals.weight, sizeof problem->weight);
    memcpy(problem->unaided, p->patient.goals.unaided, sizeof problem->unaided);
    for (size_t d = 0; d < rw_model()->donor_count; d++)
        if (exam->options.fixed[d])
            problem->must_spend |= p->patient.parts[d];
    find_families(p->family);
    add_steps(p);
    tie(p);
}

/* ---- the answer ---- */

static void fill_alternatives(const struct planner *p, size_t step, struct rw_step *out) {
    const uint16_t family = p->family[out->transfer];
    for (size_t k = 0; k < p->problem.step_count; k++)
        if (k != step && p->family[transfer_of(p, k)] == family && p->of[k].stage == out->stage &&
            out->alternative_count < sizeof out->alternatives / sizeof *out->alternatives)
            out->alternatives[out->alternative_count++] = transfer_of(p, k);
}

/* Grades that giving up a donor takes from functions that bear it. */
static void add_losses(const struct planner *p, uint16_t donor, struct rw_plan *plan) {
    const struct rw_deficits *d = p->patient.deficits;
    const struct rw_donor *of = &rw_model()->donors[donor];
    for (size_t i = 0; i < d->function_count && of->spend_count > 0; i++) {
        struct rw_function_power left;
        rw_function_power(d, d->functions[i].function, of->spends, of->spend_count, &left);
        const double loss = p->patient.goals.muscles[i].power.grade - left.grade;
        if (loss >= rw_fact_value("donor_loss_named") &&
            plan->loss_count < sizeof plan->losses / sizeof *plan->losses)
            plan->losses[plan->loss_count++] =
                (struct rw_donor_loss){.donor = donor, .function = d->functions[i].function, .grade = loss};
    }
}

/* Lost functions that no step of the plan is made for and that stay lost with it all the same: more likely than
 * not less than useful. */
static void fill_not_restored(const struct planner *p, const struct rw_plan_choice *choice, uint64_t served,
                              struct rw_plan *plan) {
    const struct rw_deficits *d = p->patient.deficits;
    for (size_t i = 0; i < d->function_count; i++) {
        double kept = 1.0, missed = 1.0;
        if ((p->patient.lost_functions >> i & 1u) == 0 || (served >> i & 1u) != 0)
            continue;
        for (size_t k = 0; k < choice->count; k++) {
            const struct rw_plan_step *step = &p->problem.steps[choice->steps[k]];
            for (size_t e = 0; e < step->effect_count; e++)
                if (step->effects[e].goal == i) {
                    kept *= 1.0 - step->effects[e].takes;
                    missed *= 1.0 - step->effects[e].gives;
                }
        }
        if (1.0 - (1.0 - p->problem.unaided[i] * kept) * missed < 0.5)
            plan->not_restored[plan->not_restored_count++] = d->functions[i].function;
    }
}

static void fill_plan(const struct planner *p, const struct rw_plan_choice *choice, struct rw_plan *plan) {
    uint64_t served = 0;
    bool second = false;
    plan->expected_gain = choice->worth;
    for (size_t i = 0; i < choice->count; i++) {
        uint16_t others[RW_MAX_STEPS];
        size_t count = 0;
        for (size_t k = 0; k < choice->count; k++)
            if (k != i)
                others[count++] = choice->steps[k];
        const struct rw_open_transfer *c = &p->candidates[p->of[choice->steps[i]].candidate];
        struct rw_step *step = &plan->steps[plan->step_count++];
        *step = c->step[p->of[choice->steps[i]].stage];
        step->gain = choice->worth - rw_plan_worth(&p->problem, others, count);
        fill_alternatives(p, choice->steps[i], step);
        add_losses(p, rw_model()->transfers[step->transfer].donor, plan);
        served |= c->functions;
        second = second || step->stage == 1;
    }
    plan->operation_day[0] = p->patient.operation_day[0];
    plan->operation_day[1] = second ? p->patient.operation_day[1] : RW_NO_DAY;
    fill_not_restored(p, choice, served, plan);
}

static bool in_some_plan(const struct rw_transfers *out, uint16_t transfer) {
    for (size_t i = 0; i < out->plan_count; i++)
        for (size_t k = 0; k < out->plans[i].step_count; k++)
            if (out->plans[i].steps[k].transfer == transfer)
                return true;
    return false;
}

/* The step of the best plan that leaves no room for a candidate, and in what; RW_NONE when there is room. */
static uint16_t rival(const struct planner *p, const struct rw_plan_step *own, uint16_t transfer,
                      const char **what) {
    const struct rw_plan_choice *best = &p->choices[0];
    for (size_t i = 0; i < best->count; i++) {
        const struct rw_plan_step *chosen = &p->problem.steps[best->steps[i]];
        const uint16_t other = transfer_of(p, best->steps[i]);
        if ((chosen->donors & own->donors) != 0)
            *what = "its donor is spent on";
        else if ((chosen->recipients & own->recipients) != 0)
            *what = "its muscle is reached by";
        else if (bars(&p->patient.bars[transfer], other) || bars(&p->patient.bars[other], transfer))
            *what = "does not go together with";
        else
            continue;
        return other;
    }
    return RW_NONE;
}

static void reject_rest(const struct planner *p, struct rw_transfers *out) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < p->count; i++) {
        const struct rw_open_transfer *c = &p->candidates[i];
        const size_t stage = c->open[0] ? 0 : 1;
        const uint16_t transfer = c->step[stage].transfer;
        const char *what = NULL;
        char because[160];
        if (in_some_plan(out, transfer))
            continue;
        const uint16_t other = rival(p, &c->plan[stage], transfer, &what);
        if (other != RW_NONE)
            snprintf(because, sizeof because, "%s: %.100s", what, m->transfers[other].label);
        else
            snprintf(because, sizeof because, "it would give less than it costs beside the plan");
        reject(p, out, transfer, because);
    }
}

/* P(some site of these nerves is injured). */
static double lesion_probability(const struct rw_states *states) {
    double p = 0.0;
    for (size_t i = 0; i < states->count; i++) {
        const struct rw_state *s = &states->list[i];
        if (s->outside || !rw_sites_any(rw_sites_either(s->partial, s->complete)))
            continue;
        for (size_t w = 0; w < states->world_count; w++)
            p += s->weight[w];
    }
    return p;
}

static void make_plans(struct planner *p, const struct rw_exam *exam, struct rw_transfers *out) {
    for (uint16_t i = 0; i < rw_model()->transfer_count; i++) {
        char because[160];
        if (rw_candidate_screen(&p->patient, i, &p->candidates[p->count], because))
            p->count++;
        else
            reject(p, out, i, because);
    }
    settle_given_back(p, out);
    set_problem(p, exam);
    const size_t found = rw_plan_solve(&p->problem, p->scratch, p->choices, RW_MAX_PLANS);
    for (size_t i = 0; i < found && p->choices[i].count > 0; i++)
        fill_plan(p, &p->choices[i], &out->plans[out->plan_count++]);
    if (found == 0)
        out->no_plan = "no plan spends every donor that was asked for";
    else if (out->plan_count == 0)
        out->no_plan = p->count > 0 ? "no transfer gives more than it costs" : "no transfer is open";
    reject_rest(p, out);
}

bool rw_transfers(const struct rw_exam *exam, const struct rw_states *states, const struct rw_losses *losses,
                  const struct rw_deficits *deficits, const struct rw_recovery *recovery,
                  struct rw_arena *arena, struct rw_transfers *out) {
    memset(out, 0, sizeof *out);
    if (!recovery->available)
        out->because = recovery->because;
    else if (lesion_probability(states) < 0.5)
        out->because = "no lesion of these nerves is likely";
    if (out->because != NULL)
        return true;
    struct planner *planner = rw_arena_take(arena, 1, sizeof *planner);
    void *scratch = rw_arena_take(arena, 1, rw_plan_scratch());
    if (planner == NULL || scratch == NULL)
        return false;
    memset(planner, 0, sizeof *planner);
    planner->scratch = scratch;
    out->available = true;
    rw_donor_states(exam, states, losses, deficits, out->donors);
    out->donor_count = rw_model()->donor_count;
    rw_patient_init(&planner->patient, exam, states, losses, deficits, recovery, out->donors);
    make_plans(planner, exam, out);
    return true;
}
