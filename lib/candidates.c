#include "candidates.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "deficits.h"
#include "recovery.h"
#include "transfers.h"

enum { BECAUSE = 160 };

static bool lost_function(const struct rw_function_deficit *f) {
    return f->p_useful < 0.5 && f->p_recovers_unaided < 0.5;
}

void rw_patient_init(struct rw_patient *patient, const struct rw_exam *exam, const struct rw_states *states,
                     const struct rw_losses *losses, const struct rw_deficits *deficits,
                     const struct rw_recovery *recovery, const struct rw_donor_status *donors) {
    const bool onset = exam->onset_day != RW_NO_DAY;
    *patient = (struct rw_patient){
        .exam = exam,
        .states = states,
        .deficits = deficits,
        .recovery = recovery,
        .donors = donors,
        .operation_day = exam->examined_day + (int32_t)lround(rw_fact_value("decision_margin_days")),
    };
    patient->delay_days = onset ? (double)patient->operation_day - exam->onset_day : (double)NAN;
    rw_site_distances(patient->site_mm);
    rw_donor_parts(patient->parts);
    rw_transfer_bars(patient->bars);
    for (size_t i = 0; i < deficits->muscle_count; i++) {
        const struct rw_muscle_state *state = &deficits->muscles[i];
        const struct rw_loss *loss = rw_loss_of(losses, state->muscle);
        patient->returns[i] = 1.0;
        if (state->p_m3 >= 0.5 || loss->denervated <= 0.5)
            continue;
        patient->returns[i] = state->p_m3 + (1.0 - state->p_m3) * loss->mean_returns;
        if (patient->returns[i] >= 0.5)
            continue;
        const double mm = rw_regrowth_mm(loss);
        patient->injury_mm[i] = isnan(mm) ? (double)INFINITY : mm;
        patient->lost_muscles |= UINT64_C(1) << i;
    }
    for (size_t i = 0; i < deficits->function_count; i++) {
        patient->priority[i] = rw_function_priority(deficits->functions[i].function);
        if (lost_function(&deficits->functions[i]))
            patient->lost_functions |= UINT64_C(1) << i;
    }
}

/* ---- one reason each; true: rejected, and `because` is written ---- */

static bool serves_lost(const struct rw_patient *p, const struct rw_transfer *t) {
    for (size_t i = 0; i < t->function_count; i++) {
        const struct rw_function_deficit *f = rw_function_deficit_of(p->deficits, t->functions[i]);
        if (f != NULL && (p->lost_functions >> (f - p->deficits->functions) & 1u) != 0)
            return true;
    }
    return false;
}

static bool not_planned(const struct rw_patient *p, const struct rw_transfer *t, char *because) {
    if (strcmp(t->kind, "late") == 0)
        snprintf(because, BECAUSE, "%s",
                 serves_lost(p, t) ? "late option: named for discussion, not planned"
                                   : "late option: no function that it serves is lost for good");
    else if (strcmp(t->kind, "sensory") == 0)
        snprintf(because, BECAUSE, "motor plan first: discuss sensory transfer to %s separately",
                 t->recipient);
    else if (t->memory)
        snprintf(because, BECAUSE,
                 "known from memory only: no published series was seen, so it is not planned");
    else
        return false;
    return true;
}

static bool donor_closed(const struct rw_patient *p, const struct rw_transfer *t, char *because) {
    const struct rw_model *m = rw_model();
    const struct rw_donor_status *donor = &p->donors[t->donor];
    const uint64_t barred = p->bars[t - m->transfers].donors;
    if (donor->state != RW_DONOR_USABLE) {
        snprintf(because, BECAUSE, "donor not usable: %.140s", donor->because);
        return true;
    }
    for (size_t i = 0; i < m->donor_count; i++)
        if (p->exam->used[i] && (barred >> i & 1u) != 0) {
            snprintf(because, BECAUSE, "conflict: already used: %s", m->donors[i].label);
            return true;
        }
    return false;
}

/* Fills the lost muscles; of those kept, the weakest explains a rejection. */
static bool nothing_to_restore(const struct rw_patient *p, const struct rw_transfer *t, uint64_t *muscles,
                               char *because) {
    const struct rw_model *m = rw_model();
    const struct rw_muscle_state *weakest = NULL;
    *muscles = 0;
    for (size_t i = 0; i < t->muscle_count; i++) {
        const struct rw_muscle_state *state = rw_muscle_state_of(p->deficits, t->muscles[i]);
        if (state == NULL)
            continue;
        *muscles |= p->lost_muscles & (UINT64_C(1) << (state - p->deficits->muscles));
        if (weakest == NULL || state->p_m3 < weakest->p_m3)
            weakest = state;
    }
    if (*muscles != 0)
        return false;
    if (weakest == NULL) {
        snprintf(because, BECAUSE, "nothing known of its muscles");
        return true;
    }
    const char *label = m->targets[weakest->muscle].label;
    const double returns = p->returns[weakest - p->deficits->muscles];
    if (weakest->p_m3 >= 0.5)
        snprintf(because, BECAUSE, "recipient not lost: %s is M3 or better with probability %.2f", label,
                 weakest->p_m3);
    else if (returns >= 1.0)
        snprintf(because, BECAUSE, "%s is weak, but a lesion on the way to it is unlikely", label);
    else
        snprintf(because, BECAUSE, "%s reaches M3 without surgery with probability %.2f", label, returns);
    return true;
}

/* What a transfer reaches of a function: the share of its strength that lies in the muscles, their mean
 * chance to come back alone, and whether a prime mover is among them. */
struct reach {
    double share, returns;
    bool prime;
};

static struct reach reach_of(const struct rw_patient *p, uint16_t function, uint64_t muscles) {
    const struct rw_model *m = rw_model();
    struct reach reach = {0};
    for (size_t i = 0; i < m->member_count; i++) {
        const struct rw_member *member = &m->members[i];
        const struct rw_muscle_state *state =
            member->owner == function ? rw_muscle_state_of(p->deficits, member->muscle) : NULL;
        if (state == NULL || (muscles >> (state - p->deficits->muscles) & 1u) == 0)
            continue;
        reach.share += member->share;
        reach.returns += member->share * p->returns[state - p->deficits->muscles];
        reach.prime |= strcmp(member->role, "prime") == 0;
    }
    if (reach.share > 0.0)
        reach.returns /= reach.share;
    return reach;
}

/* Sorts the functions of an open transfer into lost and weakened ones; false when it has neither. */
static bool find_gain(const struct rw_patient *p, const struct rw_transfer *t, struct rw_candidate *c) {
    for (size_t i = 0; i < t->function_count; i++) {
        const struct rw_function_deficit *f = rw_function_deficit_of(p->deficits, t->functions[i]);
        if (f == NULL)
            continue;
        const uint64_t bit = UINT64_C(1) << (f - p->deficits->functions);
        const struct reach reach = reach_of(p, t->functions[i], c->muscles);
        if ((p->lost_functions & bit) != 0)
            c->functions |= reach.prime ? bit : 0;
        else if (f->p_useful >= 0.5)
            c->strength += p->priority[f - p->deficits->functions] * rw_fact_value("plan_strength_weight") *
                           reach.share * (c->step.p_useful - reach.returns);
    }
    return c->functions != 0 || c->strength > 0.0;
}

static bool nothing_to_gain(const struct rw_patient *p, const struct rw_transfer *t, struct rw_candidate *c,
                            char *because) {
    const struct rw_function_deficit *weakest = NULL;
    if (find_gain(p, t, c))
        return false;
    for (size_t i = 0; i < t->function_count; i++) {
        const struct rw_function_deficit *f = rw_function_deficit_of(p->deficits, t->functions[i]);
        if (f != NULL && (weakest == NULL || f->p_recovers_unaided < weakest->p_recovers_unaided))
            weakest = f;
    }
    if (weakest == NULL) {
        snprintf(because, BECAUSE, "serves no function of the limb: discuss it separately");
        return true;
    }
    const char *label = rw_model()->targets[weakest->function].label;
    if (weakest->p_useful >= 0.5)
        snprintf(because, BECAUSE, "not lost: %s is M3 or better with probability %.2f", label,
                 weakest->p_useful);
    else if (weakest->p_recovers_unaided >= 0.5)
        snprintf(because, BECAUSE, "%s reaches M3 without surgery with probability %.2f", label,
                 weakest->p_recovers_unaided);
    else
        snprintf(because, BECAUSE, "reaches no prime mover of %s", label);
    return true;
}

/* Sites further out than `suture_mm` on the way to any of the muscles, in one variant. */
static struct rw_sites sites_beyond(const struct rw_patient *p, uint64_t muscles, size_t variant,
                                    double suture_mm) {
    struct rw_sites way = {{0}}, beyond = {{0}};
    for (size_t k = 0; k < p->deficits->muscle_count; k++)
        if ((muscles >> k & 1u) != 0)
            way = rw_sites_either(way, rw_sites_to(variant, p->deficits->muscles[k].muscle));
    for (uint8_t s = 0; s < rw_model()->site_count; s++)
        if (rw_sites_hold(way, s) && p->site_mm[s] > suture_mm)
            rw_sites_add(&beyond, s);
    return beyond;
}

/* P(a complete lesion between suture and some restored muscle). */
static double beyond_suture(const struct rw_patient *p, const struct rw_transfer *t, uint64_t muscles) {
    double suture_mm = (double)INFINITY, blocked = 0.0;
    for (size_t i = 0; i < t->muscle_count; i++)
        suture_mm = fmin(suture_mm, rw_motor_point_mm(t->muscles[i]));
    suture_mm -= rw_transfer_mm(t);
    for (size_t v = 0; v < rw_model()->variant_count; v++) {
        const struct rw_sites beyond = sites_beyond(p, muscles, v, suture_mm);
        for (size_t i = 0; i < p->states->count; i++) {
            const struct rw_state *s = &p->states->list[i];
            if (!s->outside && rw_sites_meet(s->complete, beyond))
                blocked += s->weight[rw_world_of(v, 0)] + s->weight[rw_world_of(v, 1)];
        }
    }
    return blocked;
}

/* Whether the injury itself, if repaired, lies as near to each muscle as the suture would. */
static bool no_nearer(const struct rw_patient *p, const struct rw_transfer *t, uint64_t muscles,
                      char *because) {
    const double transfer_mm = rw_transfer_mm(t);
    double injury_mm = 0.0;
    for (size_t i = 0; i < p->deficits->muscle_count; i++)
        if ((muscles >> i & 1u) != 0)
            injury_mm = fmax(injury_mm, p->injury_mm[i]);
    if (injury_mm > transfer_mm)
        return false;
    snprintf(because, BECAUSE,
             "no nearer than repair or graft at the injury: %.0f mm to the muscle against %.0f", transfer_mm,
             injury_mm);
    return true;
}

static bool out_of_reach(const struct rw_patient *p, const struct rw_transfer *t, uint64_t muscles,
                         struct rw_step *step, char *because) {
    const double blocked = t->graft ? 0.0 : beyond_suture(p, t, muscles);
    const double window = rw_fact_value("window_days");
    double days[2];
    if (blocked > 0.5) {
        snprintf(because, BECAUSE, "a complete lesion lies beyond the suture with probability %.2f", blocked);
        return true;
    }
    rw_growth_days(p->recovery->rate_mm_per_day, rw_transfer_mm(t), days);
    step->reinnervation[0] = p->operation_day + (int32_t)floor(days[0]);
    step->reinnervation[1] = p->operation_day + (int32_t)ceil(days[1]);
    if (isnan(p->delay_days) || p->delay_days + days[0] <= window)
        return false;
    snprintf(
        because, BECAUSE,
        "beyond the window: operation %.0f days after onset + %.0f to reach the muscle = %.0f, window %.0f",
        p->delay_days, days[0], p->delay_days + days[0], window);
    return true;
}

bool rw_candidate_screen(const struct rw_patient *patient, uint16_t transfer, struct rw_candidate *out,
                         char because[BECAUSE]) {
    const struct rw_transfer *t = &rw_model()->transfers[transfer];
    *out = (struct rw_candidate){.step = {.transfer = transfer}};
    if (not_planned(patient, t, because) || donor_closed(patient, t, because) ||
        nothing_to_restore(patient, t, &out->muscles, because))
        return false;
    rw_transfer_chance(t, patient->delay_days, patient->exam->age_years, &out->step.p_useful,
                       out->step.interval);
    if (nothing_to_gain(patient, t, out, because) || no_nearer(patient, t, out->muscles, because) ||
        out_of_reach(patient, t, out->muscles, &out->step, because))
        return false;
    out->parts = patient->parts[t->donor];
    return true;
}
