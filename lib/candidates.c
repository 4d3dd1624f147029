#include "candidates.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chances.h"
#include "recovery.h"

#define DAYS_IN_MONTH (365.25 / 12.0)
enum { BECAUSE = 160 };

static bool lost_function(const struct rw_function_deficit *f) {
    return f->p_useful < 0.5 && f->p_recovers_unaided < 0.5;
}

static void find_days(struct rw_patient *p) {
    const struct rw_exam *exam = p->exam;
    p->operation_day[0] = exam->options.surgery_day != 0
                              ? exam->options.surgery_day
                              : exam->examined_day + (int32_t)lround(rw_fact_value("decision_margin_days"));
    p->operation_day[1] = p->operation_day[0] + (int32_t)lround(rw_fact_value("second_stage_gap_days"));
    for (size_t stage = 0; stage < RW_PLAN_STAGES; stage++)
        p->delay_days[stage] =
            exam->onset_day == RW_NO_DAY ? (double)NAN : (double)p->operation_day[stage] - exam->onset_day;
}

void rw_patient_init(struct rw_patient *patient, const struct rw_exam *exam, const struct rw_states *states,
                     const struct rw_losses *losses, const struct rw_deficits *deficits,
                     const struct rw_recovery *recovery, const struct rw_donor_status *donors) {
    *patient = (struct rw_patient){
        .exam = exam,
        .states = states,
        .deficits = deficits,
        .recovery = recovery,
        .donors = donors,
    };
    find_days(patient);
    rw_goals_of(exam, losses, deficits, &patient->goals);
    rw_site_distances(patient->site_mm);
    rw_donor_parts(patient->parts);
    rw_transfer_bars(patient->bars);
    for (size_t i = 0; i < deficits->muscle_count; i++) {
        const struct rw_muscle_state *state = &deficits->muscles[i];
        const struct rw_loss *loss = rw_loss_of(losses, state->muscle);
        patient->returns[i] = 1.0;
        if (state->p_m3 >= 0.5 || loss->denervated <= 0.5)
            continue;
        patient->returns[i] = state->p_m3 + (1.0 - state->p_m3) * loss->mean_returns[RW_HORIZON_EVER];
        const double mm = rw_regrowth_mm(loss);
        patient->injury_mm[i] = isnan(mm) ? (double)INFINITY : mm;
        if (patient->returns[i] < rw_fact_value("augment_returns_most"))
            patient->weak_muscles |= UINT64_C(1) << i;
        if (patient->returns[i] >= 0.5)
            continue;
        patient->lost_muscles |= UINT64_C(1) << i;
    }
    for (size_t i = 0; i < deficits->function_count; i++) {
        if (lost_function(&deficits->functions[i]))
            patient->lost_functions |= UINT64_C(1) << i;
    }
    for (size_t i = 0; i < deficits->area_count; i++)
        if (deficits->areas[i].p_lost >= 0.5 && deficits->areas[i].p_recovers_unaided < 0.5)
            patient->lost_areas |= UINT64_C(1) << i;
}

/* ---- one reason each; true: rejected, and `because` is written ---- */

static bool is_kind(const struct rw_transfer *t, const char *kind) {
    return strcmp(t->kind, kind) == 0;
}

/* A muscle that a late option moves and that is probably below M4; NULL: none. */
static const char *weak_need(const struct rw_patient *p, const struct rw_transfer *t) {
    for (size_t i = 0; i < t->need_count; i++) {
        const struct rw_muscle_state *state = rw_muscle_state_of(p->deficits, t->needs[i]);
        if (state != NULL && state->p_m4 < 0.5)
            return rw_model()->targets[t->needs[i]].label;
    }
    return NULL;
}

bool rw_serves_lost(const struct rw_patient *p, const struct rw_transfer *t) {
    if (weak_need(p, t) != NULL)
        return false;
    for (size_t i = 0; i < t->function_count; i++) {
        const struct rw_function_deficit *f = rw_function_deficit_of(p->deficits, t->functions[i]);
        if (f != NULL && (p->lost_functions >> (f - p->deficits->functions) & 1u) != 0)
            return true;
    }
    return false;
}

static bool not_planned(const struct rw_patient *p, const struct rw_transfer *t, char *because) {
    const bool late = p->delay_days[0] > rw_fact_value("delay_beyond_days"); /* false when not known */
    const char *weak = is_kind(t, "late") ? weak_need(p, t) : NULL;
    if (weak != NULL)
        snprintf(because, BECAUSE, "late option: not here, as %s is weak", weak);
    else if (is_kind(t, "late"))
        snprintf(because, BECAUSE, "%s",
                 !rw_serves_lost(p, t) ? "late option: no function that it serves is lost for good"
                 : late                ? "late option: to discuss first, as nerve surgery does less so late"
                                       : "late option: named for discussion, not planned");
    else if (t->memory)
        snprintf(because, BECAUSE,
                 "known from memory only: no published series was seen, so it is not planned");
    else
        return false;
    return true;
}

/* Fills P(donor), and whether it comes from an earlier step. */
static bool donor_closed(const struct rw_patient *p, const struct rw_transfer *t, struct rw_open_transfer *c,
                         double *p_donor, char *because) {
    const struct rw_model *m = rw_model();
    const struct rw_donor_status *donor = &p->donors[t->donor];
    const uint64_t barred = p->bars[t - m->transfers].donors;
    const bool asked = p->exam->options.fixed[t->donor] && donor->state == RW_DONOR_INVOLVED;
    *p_donor = donor->p_strong;
    if (donor->state != RW_DONOR_USABLE && donor->state != RW_DONOR_UNKNOWN && !asked) {
        c->given_back = t->after[0] != '\0' && donor->state != RW_DONOR_EXCLUDED;
        *p_donor = rw_fact_value("m4_given_m3"); /* given that the earlier step worked */
        if (!c->given_back) {
            snprintf(because, BECAUSE, "donor not usable: %.140s", donor->because);
            return true;
        }
    }
    for (size_t i = 0; i < m->donor_count; i++)
        if (p->exam->used[i] && (barred >> i & 1u) != 0) {
            snprintf(because, BECAUSE, "conflict: already used: %s", m->donors[i].label);
            return true;
        }
    return false;
}

/* Fills the lost muscles; of those kept, the weakest explains a rejection. */
static bool no_muscle_lost(const struct rw_patient *p, const struct rw_transfer *t, uint64_t *muscles,
                           char *because) {
    const struct rw_model *m = rw_model();
    const struct rw_muscle_state *weakest = NULL;
    for (size_t i = 0; i < t->muscle_count; i++) {
        const struct rw_muscle_state *state = rw_muscle_state_of(p->deficits, t->muscles[i]);
        if (state == NULL)
            continue;
        *muscles |=
            (t->cuts ? p->lost_muscles : p->weak_muscles) & (UINT64_C(1) << (state - p->deficits->muscles));
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
                 rw_told(weakest->p_m3));
    else if (returns >= 1.0)
        snprintf(because, BECAUSE, "%s is weak, but a lesion on the way to it is unlikely", label);
    else
        snprintf(because, BECAUSE, "%s reaches M3 without surgery with probability %.2f", label,
                 rw_told(returns));
    return true;
}

/* Graded so that it moves. */
static bool moves_now(const struct rw_exam *exam, uint16_t muscle, const char **word) {
    const size_t least = (size_t)rw_fact_value("moving_grade");
    struct rw_measured measured;
    double p = 0.0;
    rw_measure(exam, muscle, &measured);
    for (size_t g = least; measured.given && g < RW_GRADES; g++)
        p += measured.grade[g];
    *word = measured.word;
    return p >= 0.5;
}

/* Motor units under the will, on needle EMG. */
static bool units_seen(const struct rw_exam *exam, uint16_t muscle) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->section == RW_SECTION_EMG_RECRUITMENT && check->target == muscle)
            return strcmp(m->scales[check->scale].values[exam->findings[i].value].text, "none") != 0;
    }
    return false;
}

/* Nothing that works is cut off for what does not; nor, within the year, what moves and may go on improving. */
static bool divides_working(const struct rw_patient *p, const struct rw_transfer *t, char *because) {
    const double sure = rw_fact_value("strong_donor_probability");
    const bool early = !(p->delay_days[0] > rw_fact_value("delay_beyond_days")); /* also when not known */
    const char *word = NULL;
    for (size_t i = 0; t->cuts && early && i < t->muscle_count; i++) {
        const char *label = rw_model()->targets[t->muscles[i]].label;
        if (moves_now(p->exam, t->muscles[i], &word))
            snprintf(because, BECAUSE,
                     "it would divide the nerve to %s, which moves (%s) and may go on improving", label,
                     word);
        else if (units_seen(p->exam, t->muscles[i]))
            snprintf(because, BECAUSE,
                     "it would divide the nerve to %s, in which needle EMG sees units: wait", label);
        else
            continue;
        return true;
    }
    for (size_t i = 0; t->cuts && i < t->muscle_count; i++) {
        const struct rw_muscle_state *state = rw_muscle_state_of(p->deficits, t->muscles[i]);
        if (state == NULL || state->p_m3 < sure)
            continue;
        snprintf(because, BECAUSE,
                 "it would divide the nerve to %s, which is M3 or better with probability %.2f",
                 rw_model()->targets[t->muscles[i]].label, rw_told(state->p_m3));
        return true;
    }
    return false;
}

static bool no_area_lost(const struct rw_patient *p, const struct rw_transfer *t, uint64_t *areas,
                         char *because) {
    const struct rw_deficits *d = p->deficits;
    double most = 0.0;
    for (size_t i = 0; i < d->area_count; i++)
        for (size_t k = 0; k < t->area_count; k++)
            if (d->areas[i].area == t->areas[k]) {
                *areas |= p->lost_areas & (UINT64_C(1) << i);
                most = fmax(most, fmin(d->areas[i].p_lost, 1.0 - d->areas[i].p_recovers_unaided));
            }
    if (*areas != 0)
        return false;
    snprintf(because, BECAUSE, "feeling there is lost for good with a probability of %.2f only",
             rw_told(most));
    return true;
}

/* Whether a prime mover of the function is among the muscles. */
static bool moves(const struct rw_patient *p, uint16_t function, uint64_t muscles) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->member_count; i++) {
        const struct rw_member *member = &m->members[i];
        const struct rw_muscle_state *state =
            member->owner == function ? rw_muscle_state_of(p->deficits, member->muscle) : NULL;
        if (state != NULL && (muscles >> (state - p->deficits->muscles) & 1u) != 0 &&
            strcmp(member->role, "prime") == 0)
            return true;
    }
    return false;
}

/* Fills the lost functions of which it reaches a prime mover; open also when it strengthens a weak one. */
static bool nothing_to_gain(const struct rw_patient *p, const struct rw_transfer *t, uint64_t muscles,
                            uint64_t *functions, char *because) {
    const struct rw_function_deficit *weakest = NULL;
    bool strengthens = false;
    for (size_t i = 0; i < t->function_count; i++) {
        const struct rw_function_deficit *f = rw_function_deficit_of(p->deficits, t->functions[i]);
        if (f == NULL || !moves(p, t->functions[i], muscles))
            continue;
        const uint64_t bit = UINT64_C(1) << (f - p->deficits->functions);
        *functions |= p->lost_functions & bit;
        strengthens = strengthens || f->expected_grade < rw_fact_value("weak_function_grade");
        if (weakest == NULL || f->p_recovers_unaided < weakest->p_recovers_unaided)
            weakest = f;
    }
    if (*functions != 0 || strengthens)
        return false;
    if (weakest == NULL) {
        snprintf(because, BECAUSE, "reaches no prime mover of a function of the limb");
        return true;
    }
    const char *label = rw_model()->targets[weakest->function].label;
    if (weakest->p_useful >= 0.5)
        snprintf(because, BECAUSE, "not lost: %s is M3 or better with probability %.2f", label,
                 rw_told(weakest->p_useful));
    else
        snprintf(because, BECAUSE, "%s reaches M3 without surgery with probability %.2f", label,
                 rw_told(weakest->p_recovers_unaided));
    return true;
}

/* Sites further out than `suture_mm` on the way to what a transfer reaches, in one variant. */
static struct rw_sites sites_beyond(const struct rw_patient *p, const struct rw_transfer *t, uint64_t muscles,
                                    size_t variant, double suture_mm) {
    struct rw_sites way = {{0}}, beyond = {{0}};
    for (size_t k = 0; k < p->deficits->muscle_count; k++)
        if ((muscles >> k & 1u) != 0)
            way = rw_sites_either(way, rw_sites_to(variant, p->deficits->muscles[k].muscle));
    for (size_t k = 0; k < t->area_count && muscles == 0; k++)
        way = rw_sites_either(way, rw_sites_to(variant, t->areas[k]));
    for (uint8_t s = 0; s < rw_model()->site_count; s++)
        if (rw_sites_hold(way, s) && p->site_mm[s] > suture_mm + rw_fact_value("suture_slack_mm"))
            rw_sites_add(&beyond, s);
    return beyond;
}

/* Where the suture lies, from the foramen. */
static double suture_mm(const struct rw_transfer *t) {
    double end_mm = is_kind(t, "sensory") ? rw_fact_value("hand_skin_mm") : (double)INFINITY;
    for (size_t i = 0; i < t->muscle_count && !is_kind(t, "sensory"); i++)
        end_mm = fmin(end_mm, rw_motor_point_mm(t->muscles[i]));
    return end_mm - rw_transfer_mm(t);
}

/* P(a complete lesion between the suture and what is restored). */
static double beyond_suture(const struct rw_patient *p, const struct rw_transfer *t, uint64_t muscles) {
    const double from_mm = suture_mm(t);
    double blocked = 0.0;
    for (size_t v = 0; v < rw_model()->variant_count; v++) {
        const struct rw_sites beyond = sites_beyond(p, t, muscles, v, from_mm);
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
    if (!is_kind(t, "motor") || injury_mm + rw_fact_value("suture_slack_mm") > transfer_mm)
        return false;
    snprintf(because, BECAUSE,
             "no nearer than repair or graft at the injury: %.0f mm to the muscle against %.0f", transfer_mm,
             injury_mm);
    return true;
}

static bool cut_off_beyond(const struct rw_patient *p, const struct rw_transfer *t, uint64_t muscles,
                           double *p_blocked, char *because) {
    *p_blocked = t->graft ? 0.0 : beyond_suture(p, t, muscles);
    if (*p_blocked <= 0.5)
        return false;
    snprintf(because, BECAUSE, "a complete lesion lies beyond the suture with probability %.2f",
             rw_told(*p_blocked));
    return true;
}

/* Fills the dates of a step. Feeling comes back years later too. */
static bool out_of_reach(const struct rw_patient *p, const struct rw_transfer *t, size_t stage,
                         struct rw_step *step, char *because) {
    const double window = rw_fact_value("window_days");
    double days[2];
    rw_growth_days(p->recovery->rate_mm_per_day, rw_transfer_mm(t), days);
    step->reinnervation[0] = p->operation_day[stage] + (int32_t)floor(days[0]);
    step->reinnervation[1] = p->operation_day[stage] + (int32_t)ceil(days[1]);
    if (is_kind(t, "sensory") || isnan(p->delay_days[stage]) || p->delay_days[stage] + days[0] <= window)
        return false;
    snprintf(
        because, BECAUSE,
        "beyond the window: operation %.0f days after onset + %.0f to reach the muscle = %.0f, window %.0f",
        p->delay_days[stage], days[0], p->delay_days[stage] + days[0], window);
    return true;
}

/* ---- an open transfer ---- */

/* What a transfer reaches in this patient, whenever it is done. */
struct reached {
    uint64_t muscles, areas, recipients; /* lost ones by place in the deficits; all that it lands on */
    double p_donor, p_blocked;
};

/* Muscles by their place in the deficits, skin nerves after them. */
static uint64_t recipients_of(const struct rw_deficits *d, const struct rw_transfer *t) {
    uint64_t bits = 0;
    size_t place = d->muscle_count;
    for (size_t i = 0; i < t->muscle_count; i++) {
        const struct rw_muscle_state *state = rw_muscle_state_of(d, t->muscles[i]);
        if (state != NULL)
            bits |= UINT64_C(1) << (state - d->muscles);
    }
    for (size_t i = 0; i < d->area_count && place < 64; i++) {
        if (rw_model()->targets[d->areas[i].area].kind != RW_TARGET_SKIN_NERVE)
            continue;
        for (size_t k = 0; k < t->area_count; k++)
            if (d->areas[i].area == t->areas[k])
                bits |= UINT64_C(1) << place;
        place++;
    }
    return bits;
}

/* What the weakest of the muscles that a donor is taken from lacks, given how it was graded. */
static double weakness(const struct rw_deficits *d, uint16_t donor) {
    const struct rw_donor *of = &rw_model()->donors[donor];
    double most = 0.0;
    for (size_t i = 0; i < of->spend_count; i++) {
        const struct rw_muscle_state *state = rw_muscle_state_of(d, of->spends[i].muscle);
        if (state != NULL)
            most = fmax(most, 1.0 - state->intact);
    }
    return most;
}

static void fill_stage(const struct rw_patient *p, const struct rw_transfer *t, size_t stage,
                       const struct reached *reached, struct rw_open_transfer *c) {
    struct rw_step *step = &c->step[stage];
    struct rw_plan_step *plan = &c->plan[stage];
    const double lowered =
        1.0 - weakness(p->deficits, t->donor) * (1.0 - rw_fact_value("donor_involved_factor"));
    step->transfer = (uint16_t)(t - rw_model()->transfers);
    step->stage = plan->stage = (uint8_t)stage;
    step->p_donor = reached->p_donor;
    step->late = p->delay_days[stage] > t->latest_months * DAYS_IN_MONTH; /* false when either is not known */
    rw_transfer_chance(t, p->delay_days[stage], p->exam->age_years, &step->p_useful, step->interval);
    plan->donors = p->parts[t->donor];
    plan->recipients = reached->recipients;
    rw_step_worth(&p->goals, t, reached->muscles, reached->areas,
                  step->p_useful * reached->p_donor * lowered * (1.0 - reached->p_blocked), plan);
    plan->cost += stage > 0 ? rw_fact_value("plan_second_cost") : 0.0;
}

bool rw_candidate_screen(const struct rw_patient *patient, uint16_t transfer, struct rw_open_transfer *out,
                         char because[BECAUSE]) {
    const struct rw_transfer *t = &rw_model()->transfers[transfer];
    struct reached reached = {.recipients = recipients_of(patient->deficits, t)};
    memset(out, 0, sizeof *out);
    if (not_planned(patient, t, because) || donor_closed(patient, t, out, &reached.p_donor, because))
        return false;
    if (is_kind(t, "sensory")
            ? no_area_lost(patient, t, &reached.areas, because) ||
                  cut_off_beyond(patient, t, 0, &reached.p_blocked, because)
            : no_muscle_lost(patient, t, &reached.muscles, because) || divides_working(patient, t, because) ||
                  nothing_to_gain(patient, t, reached.muscles, &out->functions, because) ||
                  no_nearer(patient, t, reached.muscles, because) ||
                  cut_off_beyond(patient, t, reached.muscles, &reached.p_blocked, because))
        return false;
    for (size_t stage = RW_PLAN_STAGES; stage-- > 0;) {
        if ((stage == 0 && out->given_back) || out_of_reach(patient, t, stage, &out->step[stage], because))
            continue;
        out->open[stage] = true;
        fill_stage(patient, t, stage, &reached, out);
    }
    return out->open[0] || out->open[1];
}
