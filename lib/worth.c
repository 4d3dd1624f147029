#include "worth.h"

#include <math.h>
#include <string.h>

#include "chances.h"
#include "donors.h"

static double or_zero(double value) {
    return isnan(value) ? 0.0 : value;
}

/* `full`: the part of full strength that is there. */
static double utility(const struct rw_goals *goals, double useful, double strong, double full) {
    return (1.0 - goals->strength_share - goals->reserve_share) * useful + goals->strength_share * strong +
           goals->reserve_share * full;
}

/* ---- goals ---- */

static void find_muscles(const struct rw_losses *losses, struct rw_goals *goals) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->member_count; i++) {
        const struct rw_member *member = &m->members[i];
        const struct rw_function_deficit *f = rw_function_deficit_of(goals->deficits, member->owner);
        const struct rw_muscle_state *state = rw_muscle_state_of(goals->deficits, member->muscle);
        if (f == NULL || state == NULL)
            continue;
        struct rw_goal_muscles *of = &goals->muscles[f - goals->deficits->functions];
        if (of->count == RW_GOAL_MUSCLES)
            continue; /* the tests hold every function to fewer */
        const double alone = rw_loss_of(losses, member->muscle)->mean_returns[RW_HORIZON_EVER];
        of->place[of->count] = (uint8_t)(state - goals->deficits->muscles);
        of->mask |= UINT64_C(1) << of->place[of->count];
        of->share[of->count] = member->share;
        of->strength += member->share * state->intact;
        of->regained += member->share * (1.0 - state->intact) * alone;
        of->regains[of->count++] = member->share * (1.0 - state->intact) * alone;
    }
}

/* Functions that the surgeon named come first, in that order; the others keep a share of their weight. */
static void ask_priorities(const struct rw_exam *exam, struct rw_goals *goals) {
    const struct rw_plan_options *options = &exam->options;
    const double step = rw_fact_value("plan_priority_step");
    double weight = 1.0;
    bool named[RW_PLAN_GOALS] = {false};
    for (size_t i = 0; i < options->priority_count; i++) {
        const struct rw_function_deficit *f = rw_function_deficit_of(goals->deficits, options->priorities[i]);
        if (f == NULL)
            continue;
        const size_t goal = (size_t)(f - goals->deficits->functions);
        named[goal] = true;
        goals->weight[goal] = weight;
        weight *= step;
    }
    for (size_t i = 0; options->priority_count > 0 && i < goals->count; i++)
        if (!named[i])
            goals->weight[i] *= rw_fact_value("plan_unnamed_share");
}

static void find_costs(struct rw_goals *goals) {
    const struct rw_model *m = rw_model();
    uint64_t parts[RW_MAX_DONORS];
    double own[RW_MAX_DONORS];
    rw_donor_parts(parts);
    for (size_t d = 0; d < m->donor_count; d++)
        own[d] = rw_fact_for("donor_cost", m->donors[d].id);
    for (size_t d = 0; d < m->donor_count; d++) {
        goals->donor_cost[d] = or_zero(own[d]);
        for (size_t i = 0; isnan(own[d]) && i < m->donor_count; i++)
            if ((parts[d] >> i & 1u) != 0)
                goals->donor_cost[d] += or_zero(own[i]);
    }
}

void rw_goals_of(const struct rw_exam *exam, const struct rw_losses *losses,
                 const struct rw_deficits *deficits, struct rw_goals *out) {
    const struct rw_model *m = rw_model();
    const size_t functions = deficits->function_count;
    memset(out, 0, sizeof *out);
    out->deficits = deficits;
    out->count = functions + deficits->area_count;
    out->strength_share = rw_fact_value("strength_share");
    out->reserve_share = rw_fact_value("reserve_share");
    out->m4_given_m3 = rw_fact_value("m4_given_m3");
    out->useful_share = rw_fact_value("useful_share");
    out->step_cost = rw_fact_value("plan_step_cost");
    out->graft_cost = rw_fact_value("plan_graft_cost");
    for (size_t i = 0; i < functions; i++) {
        out->weight[i] = or_zero(rw_fact_for("priority", m->targets[deficits->functions[i].function].id));
    }
    for (size_t i = 0; i < deficits->area_count; i++) {
        const struct rw_area_deficit *area = &deficits->areas[i];
        out->weight[functions + i] = or_zero(rw_fact_for("priority_area", m->targets[area->area].id));
        out->unaided[functions + i] = area->p_recovers_unaided;
    }
    find_muscles(losses, out);
    for (size_t i = 0; i < functions; i++) {
        const struct rw_function_deficit *f = &deficits->functions[i];
        struct rw_goal_muscles *of = &out->muscles[i];
        rw_function_power(deficits, f->function, NULL, 0, &of->power);
        of->now = utility(out, f->p_useful, f->p_strong, fmin(1.0, of->strength));
        out->unaided[i] =
            utility(out, f->p_recovers_unaided, f->p_strong_unaided, fmin(1.0, of->strength + of->regained));
    }
    find_costs(out);
    ask_priorities(exam, out);
}

/* ---- steps ---- */

static uint64_t mask_of(const struct rw_goals *goals, const struct rw_spend *spends, size_t count) {
    uint64_t muscles = 0;
    for (size_t i = 0; i < count; i++) {
        const struct rw_muscle_state *state = rw_muscle_state_of(goals->deficits, spends[i].muscle);
        if (state != NULL)
            muscles |= UINT64_C(1) << (state - goals->deficits->muscles);
    }
    return muscles;
}

/* The part of a function's strength that lies in the fibres given up. */
static double given_up(const struct rw_goals *goals, const struct rw_goal_muscles *of,
                       const struct rw_spend *spends, size_t count) {
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < of->count; k++) {
            const struct rw_muscle_state *state = &goals->deficits->muscles[of->place[k]];
            if (state->muscle == spends[i].muscle)
                sum += of->share[k] * spends[i].share * state->intact;
        }
    return sum;
}

/* Share of what a function is worth now that lies in some fibres. */
static double spent_of(const struct rw_goals *goals, size_t goal, const struct rw_spend *spends,
                       size_t count) {
    const struct rw_goal_muscles *of = &goals->muscles[goal];
    struct rw_function_power left;
    rw_function_power(goals->deficits, goals->deficits->functions[goal].function, spends, count, &left);
    const double full = fmin(1.0, of->strength),
                 before = utility(goals, of->power.p_useful, of->power.p_strong, full),
                 after = utility(goals, left.p_useful, left.p_strong,
                                 fmax(0.0, full - given_up(goals, of, spends, count)));
    return before > 0.0 ? fmin(1.0, fmax(0.0, 1.0 - after / before)) : 0.0;
}

/* What dividing some muscles takes from a function, as a share of what it would be worth unaided: of what it is
 * worth now by the function model, of what it would regain by the share of that which lies in them. */
static double cut_of(const struct rw_goals *goals, size_t goal, const struct rw_spend *cut, size_t count) {
    const struct rw_goal_muscles *of = &goals->muscles[goal];
    const double unaided = goals->unaided[goal], regained = fmax(0.0, unaided - of->now);
    double there = 0.0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < of->count; k++)
            if (goals->deficits->muscles[of->place[k]].muscle == cut[i].muscle)
                there += of->regains[k];
    const double lost = of->regained > 0.0 ? regained * there / of->regained : 0.0;
    return unaided > 0.0
               ? fmin(1.0, (fmin(of->now, unaided) * spent_of(goals, goal, cut, count) + lost) / unaided)
               : 0.0;
}

static double strength_in(const struct rw_goal_muscles *of, uint64_t muscles) {
    double sum = 0.0;
    for (size_t k = 0; k < of->count; k++)
        if ((muscles >> of->place[k] & 1u) != 0)
            sum += of->share[k];
    return sum;
}

/* How surely a function is useful when the muscles reached are. */
static double reach_of(const struct rw_goals *goals, const struct rw_transfer *t, uint16_t function,
                       double strength) {
    if (strength > 0.0 && t->function_count > 0 && t->functions[0] == function)
        return 1.0;
    return fmin(1.0, strength / goals->useful_share);
}

/* Effects too small to tell are left out. */
static void add_effect(struct rw_plan_step *step, size_t goal, double gives, double takes) {
    const double least = 1e-4;
    if ((gives > least || takes > least) && step->effect_count < RW_PLAN_EFFECTS)
        step->effects[step->effect_count++] =
            (struct rw_plan_effect){.goal = (uint8_t)goal, .gives = gives, .takes = takes};
}

void rw_step_worth(const struct rw_goals *goals, const struct rw_transfer *transfer, uint64_t muscles,
                   uint64_t areas, double success, struct rw_plan_step *step) {
    const struct rw_deficits *d = goals->deficits;
    const struct rw_donor *donor = &rw_model()->donors[transfer->donor];
    struct rw_spend divided[sizeof transfer->muscles / sizeof *transfer->muscles];
    const size_t count = transfer->cuts ? transfer->muscle_count : 0;
    for (size_t i = 0; i < count; i++)
        divided[i] = (struct rw_spend){.muscle = transfer->muscles[i], .share = 1.0};
    const uint64_t cut = mask_of(goals, divided, count),
                   spent = mask_of(goals, donor->spends, donor->spend_count);
    const double own = rw_fact_for("m4_given_m3", transfer->id),
                 strong = isnan(own) ? goals->m4_given_m3 : own,
                 worth = success * utility(goals, 1.0, strong, strong);
    step->effect_count = 0;
    step->cost =
        goals->step_cost + goals->donor_cost[transfer->donor] + (transfer->graft ? goals->graft_cost : 0.0);
    for (size_t i = 0; i < d->function_count; i++) {
        const struct rw_goal_muscles *of = &goals->muscles[i];
        if ((of->mask & (cut | spent | muscles)) == 0)
            continue;
        const uint16_t function = d->functions[i].function;
        const double reach = reach_of(goals, transfer, function, strength_in(of, muscles)),
                     lost = (of->mask & cut) != 0 ? cut_of(goals, i, divided, count) : 0.0,
                     gone = (of->mask & spent) != 0 ? spent_of(goals, i, donor->spends, donor->spend_count)
                                                    : 0.0;
        add_effect(step, i, worth * reach, 1.0 - (1.0 - lost) * (1.0 - gone));
    }
    for (size_t i = 0; i < d->area_count; i++)
        if ((areas >> i & 1u) != 0)
            add_effect(step, d->function_count + i, success, 0.0);
}
