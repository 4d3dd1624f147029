#include "transfers.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "beta.h"
#include "candidates.h"

/* ---- the chance of one transfer ---- */

#define DAYS_IN_3_MONTHS (365.25 / 4.0)

static double fact_for(const char *stem, const char *id) {
    char name[96];
    snprintf(name, sizeof name, "%s_%s", stem, id);
    return rw_fact_value(name);
}

static double moved(double p, double shift) {
    const double logit = log(p / (1.0 - p)) + shift;
    return 1.0 / (1.0 + exp(-logit));
}

double rw_function_priority(uint16_t function) {
    return fact_for("priority", rw_model()->targets[function].id);
}

static double age_shift(const struct rw_transfer *t, double age_years) {
    if (!(age_years > rw_fact_value("age_over_years"))) /* also when the age is not known */
        return 0.0;
    const char *function = t->function_count > 0 ? rw_model()->targets[t->functions[0]].id : "";
    const double own = fact_for("age_over_50_odds_factor", function);
    return log(isnan(own) ? rw_fact_value("age_over_50_odds_factor") : own);
}

void rw_transfer_chance(const struct rw_transfer *transfer, double delay_days, double age_years, double *mean,
                        double interval[2]) {
    const double a = rw_fact_value("outcome_prior_successes") + transfer->effective_successes;
    const double b = rw_fact_value("outcome_prior_failures") + transfer->effective_patients -
                     transfer->effective_successes;
    double shift = age_shift(transfer, age_years);
    if (!isnan(delay_days))
        shift += log(rw_fact_value("delay_odds_factor_per_3_months")) *
                 (delay_days - rw_fact_value("delay_reference_days")) / DAYS_IN_3_MONTHS;
    *mean = moved(a / (a + b), shift);
    interval[0] = moved(rw_beta_quantile(0.05, a, b), shift);
    interval[1] = moved(rw_beta_quantile(0.95, a, b), shift);
}

/* ---- the plan ---- */

struct planner {
    struct rw_patient patient;
    struct rw_candidate candidates[RW_MAX_TRANSFERS];
    size_t count;
    double donor_cost[RW_MAX_DONORS];
    bool taken[RW_MAX_TRANSFERS];     /* by candidate */
    double reached[RW_MAX_FUNCTIONS]; /* P(M3) of a function with the steps so far */
    uint64_t served;                  /* functions that some step serves */
    struct rw_plan *plan;
};

static bool bars(const struct rw_bars *bars, uint16_t transfer) {
    return (bars->transfers[transfer / 64] >> (transfer % 64) & 1u) != 0 ||
           (bars->donors >> rw_model()->transfers[transfer].donor & 1u) != 0;
}

static bool conflict(const struct planner *p, uint16_t a, uint16_t b) {
    return bars(&p->patient.bars[a], b) || bars(&p->patient.bars[b], a);
}

/* The step of the plan that leaves no room for a candidate, and in what; NULL when there is room. */
static const struct rw_candidate *rival(const struct planner *p, const struct rw_candidate *c,
                                        const char **what) {
    for (size_t i = 0; i < p->count; i++) {
        const struct rw_candidate *chosen = &p->candidates[i];
        if (!p->taken[i])
            continue;
        if ((chosen->parts & c->parts) != 0)
            *what = "its donor is spent on";
        else if ((chosen->muscles & c->muscles) != 0)
            *what = "its muscle is reached by";
        else if (conflict(p, chosen->step.transfer, c->step.transfer))
            *what = "does not go together with";
        else
            continue;
        return chosen;
    }
    return NULL;
}

static double function_gain(const struct planner *p, size_t function, double p_useful) {
    const double priority = p->patient.priority[function];
    const double before = p->reached[function];
    if ((p->served >> function & 1u) != 0)
        return priority * (1.0 - before) * p_useful;
    return priority * (p_useful - before);
}

/* What giving up each donor costs: its own fact, else the sum over the donors that it is made of. */
static void find_costs(struct planner *p) {
    const struct rw_model *m = rw_model();
    double own[RW_MAX_DONORS];
    for (size_t d = 0; d < m->donor_count; d++)
        own[d] = fact_for("donor_cost", m->donors[d].id);
    for (size_t d = 0; d < m->donor_count; d++) {
        p->donor_cost[d] = isnan(own[d]) ? 0.0 : own[d];
        for (size_t i = 0; isnan(own[d]) && i < m->donor_count; i++)
            if ((p->patient.parts[d] >> i & 1u) != 0 && !isnan(own[i]))
                p->donor_cost[d] += own[i];
    }
}

static double gain_of(const struct planner *p, const struct rw_candidate *c) {
    double gain = c->strength - p->donor_cost[rw_model()->transfers[c->step.transfer].donor];
    for (size_t i = 0; i < p->patient.deficits->function_count; i++)
        if ((c->functions >> i & 1u) != 0)
            gain += function_gain(p, i, c->step.p_useful);
    return gain;
}

static void take(struct planner *p, size_t candidate, double gain) {
    struct rw_candidate *c = &p->candidates[candidate];
    c->step.gain = gain;
    for (size_t i = 0; i < p->patient.deficits->function_count; i++) {
        if ((c->functions >> i & 1u) == 0)
            continue;
        const bool again = (p->served >> i & 1u) != 0;
        p->reached[i] = again ? 1.0 - (1.0 - p->reached[i]) * (1.0 - c->step.p_useful) : c->step.p_useful;
    }
    p->served |= c->functions;
    p->taken[candidate] = true;
    p->plan->expected_gain += gain;
    p->plan->steps[p->plan->step_count++] = c->step;
}

static size_t most_steps(void) {
    const long most = lround(rw_fact_value("plan_most_steps"));
    return most < RW_MAX_STEPS ? (size_t)most : RW_MAX_STEPS;
}

static void build_plan(struct planner *p) {
    const struct rw_deficits *deficits = p->patient.deficits;
    const size_t most = most_steps();
    for (size_t i = 0; i < deficits->function_count; i++)
        p->reached[i] = deficits->functions[i].p_recovers_unaided;
    while (p->plan->step_count < most) {
        double best = rw_fact_value("plan_least_gain");
        size_t choice = p->count;
        for (size_t i = 0; i < p->count; i++) {
            const char *what = NULL;
            if (p->taken[i] || rival(p, &p->candidates[i], &what) != NULL)
                continue;
            const double gain = gain_of(p, &p->candidates[i]);
            if (gain > best) {
                best = gain;
                choice = i;
            }
        }
        if (choice == p->count)
            break;
        take(p, choice, best);
    }
    for (size_t i = 0; i < deficits->function_count; i++)
        if ((p->patient.lost_functions >> i & 1u) != 0 && (p->served >> i & 1u) == 0)
            p->plan->not_restored[p->plan->not_restored_count++] = deficits->functions[i].function;
}

/* ---- the answer ---- */

static void reject(struct rw_transfers *out, uint16_t transfer, const char *because) {
    struct rw_rejection *r = &out->rejected[out->rejected_count++];
    r->transfer = transfer;
    snprintf(r->because, sizeof r->because, "%s", because);
}

static void reject_rest(const struct planner *p, struct rw_transfers *out) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < p->count; i++) {
        const struct rw_candidate *c = &p->candidates[i];
        char because[160];
        const char *what = NULL;
        if (p->taken[i])
            continue;
        const struct rw_candidate *chosen = rival(p, c, &what);
        const double gain = gain_of(p, c);
        if (chosen != NULL)
            snprintf(because, sizeof because, "%s: %s", what, m->transfers[chosen->step.transfer].label);
        else if (gain <= rw_fact_value("plan_least_gain"))
            snprintf(because, sizeof because, "expected gain %.2f: too little beside the plan", gain);
        else
            snprintf(because, sizeof because, "the plan already holds %zu steps", p->plan->step_count);
        reject(out, c->step.transfer, because);
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

void rw_transfers(const struct rw_exam *exam, const struct rw_states *states, const struct rw_losses *losses,
                  const struct rw_deficits *deficits, const struct rw_recovery *recovery,
                  struct rw_transfers *out) {
    const struct rw_model *m = rw_model();
    struct planner planner = {.plan = &out->plans[0]};
    memset(out, 0, sizeof *out);
    if (!recovery->available)
        out->because = recovery->because;
    else if (lesion_probability(states) < 0.5)
        out->because = "no lesion of these nerves is likely";
    if (out->because != NULL)
        return;
    out->available = true;
    rw_donor_states(exam, deficits, out->donors);
    out->donor_count = m->donor_count;
    rw_patient_init(&planner.patient, exam, states, losses, deficits, recovery, out->donors);
    for (uint16_t i = 0; i < m->transfer_count; i++) {
        char because[160];
        if (rw_candidate_screen(&planner.patient, i, &planner.candidates[planner.count], because))
            planner.count++;
        else
            reject(out, i, because);
    }
    find_costs(&planner);
    build_plan(&planner);
    out->plan_count = planner.plan->step_count > 0 ? 1 : 0;
    reject_rest(&planner, out);
}
