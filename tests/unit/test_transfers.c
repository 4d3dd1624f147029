/* Donors, chances and plans over hand-made posteriors and exams. */
#include "hand_made.h"

#include "beta.h"
#include "donors.h"
#include "transfers.h"

enum { ONSET = 20000 };

struct setting {
    struct rw_deficits deficits;
    struct rw_recovery recovery;
    struct rw_transfers transfers;
};

static struct setting *plan_of(const struct rw_exam *exam, const struct rw_case *cases, size_t count) {
    struct hand_made *h = states_from(exam, cases, count);
    struct setting *s = malloc(sizeof *s);
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &s->deficits));
    rw_recovery(exam, &h->losses, &s->deficits, &s->recovery);
    rw_transfers(exam, &h->states, &h->losses, &s->deficits, &s->recovery, &s->transfers);
    free_states(h);
    return s;
}

static uint16_t donor_of(const char *id) {
    for (uint16_t i = 0; i < rw_model()->donor_count; i++)
        if (strcmp(rw_model()->donors[i].id, id) == 0)
            return i;
    cr_assert_fail("no donor %s", id);
    return RW_NONE;
}

static uint16_t transfer_of(const char *id) {
    for (uint16_t i = 0; i < rw_model()->transfer_count; i++)
        if (strcmp(rw_model()->transfers[i].id, id) == 0)
            return i;
    cr_assert_fail("no transfer %s", id);
    return RW_NONE;
}

static const struct rw_step *step_in(const struct setting *s, const char *id) {
    const uint16_t transfer = transfer_of(id);
    for (size_t i = 0; s->transfers.plan_count > 0 && i < s->transfers.plans[0].step_count; i++)
        if (s->transfers.plans[0].steps[i].transfer == transfer)
            return &s->transfers.plans[0].steps[i];
    return NULL;
}

static const char *refusal_in(const struct setting *s, const char *id) {
    const uint16_t transfer = transfer_of(id);
    for (size_t i = 0; i < s->transfers.rejected_count; i++)
        if (s->transfers.rejected[i].transfer == transfer)
            return s->transfers.rejected[i].because;
    return "not rejected";
}

static void assert_refused(const struct setting *s, const char *id, const char *why) {
    cr_assert_not_null(strstr(refusal_in(s, id), why), "%s: %s", id, refusal_in(s, id));
}

/* C5 and C6 out, everything else graded strong. */
static struct rw_exam *upper_palsy(int32_t examined) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, examined);
    give_motor(exam, "deltoid=0 supraspinatus=0 infraspinatus=0 teres_minor=0 biceps_brachii=0 brachialis=0 "
                     "brachioradialis=0 triceps_brachii=5 rhomboids=5 serratus_anterior=5 trapezius=5 "
                     "latissimus_dorsi=5 flexor_carpi_ulnaris=5 flexor_carpi_radialis=5 "
                     "flexor_digitorum_superficialis=5 first_dorsal_interosseous=5");
    return exam;
}

/* Everything below the shoulder blade out. */
static struct rw_exam *whole_palsy(int32_t examined) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, examined);
    give_motor(exam,
               "deltoid=0 supraspinatus=0 infraspinatus=0 biceps_brachii=0 brachialis=0 triceps_brachii=0 "
               "pectoralis_major=0 latissimus_dorsi=0 flexor_carpi_ulnaris=0 flexor_carpi_radialis=0 "
               "flexor_digitorum_superficialis=0 first_dorsal_interosseous=0 trapezius=5");
    give(exam, RW_SECTION_HEMIDIAPHRAGM, "", "normal");
    return exam;
}

static struct rw_case whole_avulsion(void) {
    return complete_at(
        1.0, "c5_preganglionic c6_preganglionic c7_preganglionic c8_preganglionic t1_preganglionic");
}

/* ---- the Beta distribution ---- */

Test(beta, agrees_with_closed_forms) {
    for (double x = 0.05; x < 1.0; x += 0.05) {
        cr_assert_float_eq(rw_beta_cdf(x, 1.0, 1.0), x, EXACT);
        cr_assert_float_eq(rw_beta_cdf(x, 3.0, 1.0), x * x * x, EXACT);
        cr_assert_float_eq(rw_beta_cdf(x, 1.0, 2.5), 1.0 - pow(1.0 - x, 2.5), EXACT);
        cr_assert_float_eq(rw_beta_cdf(x, 40.0, 7.5) + rw_beta_cdf(1.0 - x, 7.5, 40.0), 1.0, EXACT);
        cr_assert_float_eq(rw_beta_quantile(x, 2.0, 1.0), sqrt(x), 1e-11);
    }
    /* I_0.4(2, 3) = P(at least 2 of 4 at 0.4) = 1 − 0.6^4 − 4 · 0.4 · 0.6^3 = 1 − 0.1296 − 0.3456 */
    cr_assert_float_eq(rw_beta_cdf(0.4, 2.0, 3.0), 0.5248, EXACT);
    cr_assert_float_eq(rw_beta_quantile(0.5, 5.0, 5.0), 0.5, 1e-11);
}

/* ---- the chance of one transfer ---- */

Test(chance, is_the_pooled_rate_by_hand) {
    const struct rw_transfer *t = &rw_model()->transfers[transfer_of("ulnar_fascicle__to__biceps")];
    cr_assert_float_eq(t->patients, 207, EXACT); /* 190 of 207 reached M3 (Sneiders 2019) */
    cr_assert_float_eq(t->successes, 190, EXACT);
    double mean, interval[2];
    rw_transfer_chance(t, rw_fact_value("delay_reference_days"), 30.0, &mean, interval);
    /* a = 1 + 0.5 · 190 = 96, b = 1.5 + 0.5 · 17 = 10: mean 96 / 106 = 0.9057 */
    const double k = rw_fact_value("outcome_weight");
    const double a = rw_fact_value("outcome_prior_successes") + k * 190.0;
    const double b = rw_fact_value("outcome_prior_failures") + k * 17.0;
    cr_assert_float_eq(mean, a / (a + b), 1e-9);
    cr_assert_float_eq(rw_beta_cdf(interval[0], a, b), 0.05, 1e-9);
    cr_assert_float_eq(rw_beta_cdf(interval[1], a, b), 0.95, 1e-9);
}

Test(chance, series_add_up) {
    /* 9 of 10, 12 of 30 and 7 of 17 */
    const struct rw_transfer *t = &rw_model()->transfers[transfer_of("intercostals__to__musculocutaneous")];
    cr_assert_float_eq(t->patients, 57, EXACT);
    cr_assert_float_eq(t->successes, 28, EXACT);
}

static double odds(double p) {
    return p / (1.0 - p);
}

Test(chance, falls_with_delay_and_age_by_the_published_odds) {
    const struct rw_transfer *biceps = &rw_model()->transfers[transfer_of("ulnar_fascicle__to__biceps")];
    const struct rw_transfer *shoulder =
        &rw_model()->transfers[transfer_of("spinal_accessory__to__suprascapular_anterior")];
    const double reference = rw_fact_value("delay_reference_days");
    double at, later, old, interval[2];
    rw_transfer_chance(biceps, reference, 30.0, &at, interval);
    rw_transfer_chance(biceps, reference + 365.25 / 4.0, 30.0, &later, interval); /* three months later */
    cr_assert_float_eq(odds(later) / odds(at), rw_fact_value("delay_odds_factor_per_3_months"), 1e-9);
    cr_assert(interval[0] < later && later < interval[1]);
    rw_transfer_chance(biceps, reference, 55.0, &old, interval);
    cr_assert_float_eq(odds(old) / odds(at), rw_fact_value("age_over_50_odds_factor"), 1e-9);
    rw_transfer_chance(shoulder, reference, 30.0, &at, interval);
    rw_transfer_chance(shoulder, reference, 55.0, &old, interval);
    cr_assert_float_eq(odds(old) / odds(at), rw_fact_value("age_over_50_odds_factor_shoulder_abduction"),
                       1e-9);
    rw_transfer_chance(shoulder, (double)NAN, (double)NAN, &old,
                       interval); /* neither known: as in the series */
    cr_assert_float_eq(old, at, 1e-9);
}

Test(chance, a_large_series_is_surer_than_a_small_one) {
    double mean, large[2], small[2];
    rw_transfer_chance(&rw_model()->transfers[transfer_of("ulnar_fascicle__to__biceps")], (double)NAN, 30.0,
                       &mean, large);
    rw_transfer_chance(&rw_model()->transfers[transfer_of("teres_minor_branch__to__triceps")], (double)NAN,
                       30.0, &mean, small);
    cr_assert_lt(large[1] - large[0], 0.5 * (small[1] - small[0]));
}

/* ---- donors ---- */

static void states_of(const struct rw_exam *exam, const struct rw_case *c, struct rw_donor_status *out) {
    struct hand_made *h = states_from(exam, c, 1);
    struct rw_deficits deficits;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &deficits));
    free_states(h);
    rw_donor_states(exam, &deficits, out);
}

Test(donors, power_decides) {
    static const struct {
        const char *motor, *donor;
        enum rw_donor_state state;
        const char *because;
    } rows[] = {
        {"trapezius=5", "spinal_accessory", RW_DONOR_USABLE, "graded M4 or better"},
        {"trapezius=4", "spinal_accessory", RW_DONOR_USABLE, "graded M4 or better"},
        {"trapezius=4-", "spinal_accessory", RW_DONOR_WEAK, "4-"},
        {"trapezius=3", "spinal_accessory", RW_DONOR_WEAK, "M4 or better is needed"},
        {"biceps_brachii=0", "spinal_accessory", RW_DONOR_UNKNOWN, "not examined: examine trapezius"},
        {"biceps_brachii=0", "brachialis", RW_DONOR_WEAK, "biceps brachii"},
        {"triceps_brachii=5", "triceps_long_head_branch", RW_DONOR_USABLE, "graded M4 or better"},
        {"triceps_brachii=3", "triceps_long_head_branch", RW_DONOR_USABLE,
         "likely"}, /* C5, C6 out: predicted strong */
        {"flexor_carpi_ulnaris=5 first_dorsal_interosseous=2", "ulnar_fascicle", RW_DONOR_WEAK, "is 2"},
        {"trapezius=5", "axillary_posterior_branch", RW_DONOR_INVOLVED, "likely injured"},
        {"trapezius=5", "intercostals", RW_DONOR_USABLE, "stimulate"},
        {"trapezius=5", "third_web_median", RW_DONOR_UNKNOWN, "test the skin"},
    };
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
        give_motor(exam, rows[i].motor);
        states_of(exam, &c, out);
        const struct rw_donor_status *d = &out[donor_of(rows[i].donor)];
        cr_assert_eq(d->state, rows[i].state, "%s, %s: state %d, %s", rows[i].motor, rows[i].donor,
                     (int)d->state, d->because);
        cr_assert_not_null(strstr(d->because, rows[i].because), "%s, %s: %s", rows[i].motor, rows[i].donor,
                           d->because);
        free(exam);
    }
}

Test(donors, the_diaphragm_is_read_from_its_own_finding) {
    static const struct {
        const char *word;
        enum rw_donor_state state;
    } rows[] = {{"normal", RW_DONOR_USABLE}, {"reduced", RW_DONOR_WEAK}, {"paralysed", RW_DONOR_WEAK}};
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
        give(exam, RW_SECTION_HEMIDIAPHRAGM, "", rows[i].word);
        states_of(exam, &c, out);
        cr_assert_eq(out[donor_of("phrenic")].state, rows[i].state, "%s: %s", rows[i].word,
                     out[donor_of("phrenic")].because);
        free(exam);
    }
}

Test(donors, what_was_used_or_declined_closes_all_that_shares_it) {
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = upper_palsy(ONSET + 100);
    exam->declined[donor_of("ulnar_fascicle")] = true;
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("ulnar_fascicle")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("double_fascicular")].state, RW_DONOR_EXCLUDED,
                 "it takes the declined fascicle");
    cr_assert_eq(out[donor_of("median_fascicle")].state, RW_DONOR_USABLE);
    memset(exam->declined, 0, sizeof exam->declined);
    exam->declined[donor_of("double_fascicular")] =
        true; /* both together declined: one alone is still open */
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("double_fascicular")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("ulnar_fascicle")].state, RW_DONOR_USABLE);
    memset(exam->declined, 0, sizeof exam->declined);
    exam->used[donor_of("double_fascicular")] = true; /* used: neither is left */
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("ulnar_fascicle")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("median_fascicle")].state, RW_DONOR_EXCLUDED);
    cr_assert_not_null(strstr(out[donor_of("ulnar_fascicle")].because, "already used"));
    memset(exam->used, 0, sizeof exam->used);
    exam->declined[donor_of("pronator_quadratus_branch")] = true; /* another name of the same nerve */
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("anterior_interosseous_pq")].state, RW_DONOR_EXCLUDED);
    free(exam);
}

Test(donors, the_chest_comes_first) {
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = upper_palsy(ONSET + 100);
    give(exam, RW_SECTION_HEMIDIAPHRAGM, "", "normal");
    exam->rib_fractures = true;
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("intercostals")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("phrenic")].state, RW_DONOR_USABLE);
    exam->rib_fractures = false;
    give(exam, RW_SECTION_SIGN, "breathless", "true");
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("intercostals")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("phrenic")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("spinal_accessory")].state, RW_DONOR_USABLE);
    free(exam);
}

/* ---- plans ---- */

/* Each donor once, each muscle once, conflicts kept, usable donors, and every transfer answered once. */
static void assert_sound(const struct setting *s) {
    const struct rw_model *m = rw_model();
    const struct rw_plan *plan = &s->transfers.plans[0];
    const size_t steps = s->transfers.plan_count > 0 ? plan->step_count : 0;
    double gain = 0.0;
    uint64_t parts[RW_MAX_DONORS];
    rw_donor_parts(parts);
    for (size_t i = 0; i < steps; i++) {
        const struct rw_transfer *a = &m->transfers[plan->steps[i].transfer];
        gain += plan->steps[i].gain;
        cr_assert_str_eq(a->kind, "motor");
        cr_assert_not(a->memory);
        cr_assert_eq(s->transfers.donors[a->donor].state, RW_DONOR_USABLE);
        cr_assert(plan->steps[i].interval[0] < plan->steps[i].p_useful &&
                  plan->steps[i].p_useful < plan->steps[i].interval[1]);
        for (size_t k = i + 1; k < steps; k++) {
            const struct rw_transfer *b = &m->transfers[plan->steps[k].transfer];
            cr_assert_eq(parts[a->donor] & parts[b->donor], 0, "%s and %s", a->id, b->id);
            cr_assert_null(strstr(a->conflicts, m->donors[b->donor].id), "%s and %s", a->id, b->id);
            cr_assert_null(strstr(b->conflicts, m->donors[a->donor].id), "%s and %s", a->id, b->id);
            for (size_t x = 0; x < a->muscle_count; x++)
                for (size_t y = 0; y < b->muscle_count; y++)
                    cr_assert(a->muscles[x] != b->muscles[y] ||
                                  rw_muscle_state_of(&s->deficits, a->muscles[x])->p_m3 >= 0.5,
                              "%s and %s reach one muscle", a->id, b->id);
        }
    }
    cr_assert_float_eq(gain, steps > 0 ? plan->expected_gain : 0.0, EXACT);
    cr_assert_eq(steps + s->transfers.rejected_count, m->transfer_count);
    bool answered[RW_MAX_TRANSFERS] = {false};
    for (size_t i = 0; i < s->transfers.rejected_count; i++) {
        cr_assert_not(answered[s->transfers.rejected[i].transfer]);
        cr_assert_gt(strlen(s->transfers.rejected[i].because), 10);
        answered[s->transfers.rejected[i].transfer] = true;
    }
}

Test(plan, upper_palsy_gets_elbow_and_two_shoulder_transfers) {
    struct rw_exam *exam = upper_palsy(ONSET + 120);
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_not_null(step_in(s, "double_fascicular__to__biceps_brachialis"));
    cr_assert(step_in(s, "spinal_accessory__to__suprascapular_anterior") ||
              step_in(s, "spinal_accessory__to__suprascapular_posterior"));
    cr_assert_not_null(step_in(s, "triceps_long_head_branch__to__axillary_anterior"));
    assert_refused(s, "ulnar_fascicle__to__biceps", "its donor is spent on");
    assert_refused(s, "thoracodorsal__to__axillary", "its muscle is reached by");
    assert_refused(s, "ulnar_fascicle__to__triceps", "recipient not lost");
    assert_refused(s, "shoulder_arthrodesis", "late option");
    assert_refused(s, "third_web_median__to__first_web_median", "discuss sensory transfer to");
    assert_refused(s, "lower_subscapular__to__axillary", "memory");
    free(s);
    free(exam);
}

Test(plan, the_first_gain_is_priority_times_what_the_transfer_adds) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_LACERATION, ONSET, ONSET + 120);
    give_motor(exam, "serratus_anterior=0 latissimus_dorsi=5");
    const struct rw_case c = complete_at(1.0, "long_thoracic");
    struct setting *s = plan_of(exam, &c, 1);
    const struct rw_step *step = step_in(s, "thoracodorsal__to__long_thoracic");
    cr_assert_not_null(step, "%s", refusal_in(s, "thoracodorsal__to__long_thoracic"));
    /* only protraction is lost, and serratus has no share in the other two functions: 0.5 · (p − r) − 0.1 */
    const double r = function_in(&s->deficits, "scapular_protraction")->p_recovers_unaided;
    const double hand = rw_fact_value("priority_scapular_protraction") * (step->p_useful - r) -
                        rw_fact_value("donor_cost_thoracodorsal");
    cr_assert_float_eq(step->gain, hand, 1e-9);
    free(s);
    free(exam);
}

Test(plan, a_second_nerve_to_a_function_adds_where_the_first_fails) {
    struct rw_exam *exam = upper_palsy(ONSET + 120);
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic");
    struct setting *s = plan_of(exam, &c, 1);
    const struct rw_step *first = step_in(s, "spinal_accessory__to__suprascapular_anterior");
    const struct rw_step *second = step_in(s, "triceps_long_head_branch__to__axillary_anterior");
    cr_assert(first && second);
    /* abduction: 0.8 · (1 − p1) · p2. What else the second step adds comes from flexion and extension. */
    const double abduction =
        rw_fact_value("priority_shoulder_abduction") * (1.0 - first->p_useful) * second->p_useful;
    const double most = abduction + (rw_fact_value("priority_shoulder_flexion") +
                                     rw_fact_value("priority_shoulder_extension")) *
                                        second->p_useful;
    cr_assert(abduction < second->gain && second->gain < most, "%g < %g < %g", abduction, second->gain, most);
    free(s);
    free(exam);
}

Test(plan, phrenic_and_intercostals_never_stand_together) {
    struct rw_exam *exam = whole_palsy(ONSET + 90);
    const struct rw_case c = whole_avulsion();
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_eq(s->transfers.donors[donor_of("phrenic")].state, RW_DONOR_USABLE);
    cr_assert_not_null(step_in(s, "intercostals__to__musculocutaneous"));
    assert_refused(s, "phrenic__to__musculocutaneous", "its muscle is reached by");
    free(s);
    exam->used[donor_of("phrenic")] = true; /* taken before: the intercostals are not added to it */
    s = plan_of(exam, &c, 1);
    assert_sound(s);
    assert_refused(s, "intercostals__to__musculocutaneous", "conflict: already used: phrenic");
    free(s);
    exam->used[donor_of("phrenic")] = false;
    exam->declined[donor_of("phrenic")] = true; /* declined: no reason against the intercostals */
    s = plan_of(exam, &c, 1);
    cr_assert_not_null(step_in(s, "intercostals__to__musculocutaneous"));
    free(s);
    free(exam);
}

Test(plan, nothing_is_planned_beyond_the_window) {
    const int32_t late = ONSET + (int32_t)rw_fact_value("window_days") - 60;
    struct rw_exam *exam = upper_palsy(late);
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_eq(s->transfers.plan_count, 0);
    /* operation 488 + 42 = 530 days after onset + 49 + 40 / 3 = 62 to reach the muscle = 592, window 548 */
    assert_refused(s, "double_fascicular__to__biceps_brachialis", "beyond the window: operation 530 days");
    assert_refused(s, "double_fascicular__to__biceps_brachialis", "= 592, window 548");
    assert_refused(s, "free_gracilis_intercostal__elbow_flexion", "named for discussion");
    free(s);
    exam->onset_day = RW_NO_DAY; /* not known: the window cannot speak */
    s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_null(strstr(refusal_in(s, "double_fascicular__to__biceps_brachialis"), "window"));
    free(s);
    free(exam);
}

Test(plan, reinnervation_dates_by_hand) {
    struct rw_exam *exam = upper_palsy(ONSET + 120);
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct setting *s = plan_of(exam, &c, 1);
    const struct rw_step *step = step_in(s, "triceps_long_head_branch__to__axillary_anterior");
    cr_assert_not_null(step);
    /* operation 120 + 42 = 162; earliest 162 + floor(49 + 44.5 / 3 = 63.8), latest 162 + ceil(84 + 44.5 =
     * 128.5) */
    const int32_t operation = ONSET + 120 + (int32_t)rw_fact_value("decision_margin_days");
    cr_assert_eq(step->reinnervation[0],
                 operation + (int32_t)floor(rw_fact_value("latency_low_days") +
                                            44.5 / rw_fact_value("rate_high_mm_per_day")));
    cr_assert_eq(step->reinnervation[1],
                 operation + (int32_t)ceil(rw_fact_value("latency_high_days") +
                                           44.5 / rw_fact_value("rate_low_mm_per_day")));
    free(s);
    free(exam);
}

Test(plan, what_recovers_alone_costs_no_donor) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_FRACTURE, ONSET, ONSET + 20);
    give_motor(exam,
               "extensor_carpi_radialis_longus=0 extensor_carpi_radialis_brevis=0 extensor_carpi_ulnaris=0 "
               "extensor_digitorum=0 flexor_carpi_radialis=5 flexor_carpi_ulnaris=5 pronator_teres=5 "
               "pronator_quadratus=5");
    const struct rw_case c = complete_at(1.0, "radial_groove");
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_eq(s->transfers.plan_count, 0);
    assert_refused(s, "pronator_teres_branch__to__ecrb", "without surgery with probability");
    free(s);
    exam->examined_day = ONSET + 200; /* half a year of silence: the same lesion is now worth a donor */
    s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_not_null(step_in(s, "pronator_teres_branch__to__ecrb"));
    cr_assert_not_null(step_in(s, "fcr_branch__to__posterior_interosseous"));
    free(s);
    free(exam);
}

Test(plan, a_muscle_that_returns_alone_is_no_target_though_its_function_is_kept) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_DISLOCATION, ONSET, ONSET + 10);
    give_motor(exam, "deltoid=0 supraspinatus=5 infraspinatus=5 triceps_brachii=5");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    struct setting *s = plan_of(exam, &c, 1);
    cr_assert_gt(function_in(&s->deficits, "shoulder_abduction")->p_useful, 0.5);
    assert_refused(s, "triceps_long_head_branch__to__axillary_anterior", "without surgery with probability");
    free(s);
    exam->examined_day = ONSET + 200; /* silence: now it is worth a triceps branch, for strength */
    s = plan_of(exam, &c, 1);
    cr_assert_not_null(step_in(s, "triceps_long_head_branch__to__axillary_anterior"));
    free(s);
    free(exam);
}

Test(plan, a_lesion_beyond_the_suture_blocks_it) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_LACERATION, ONSET, ONSET + 120);
    give_motor(exam, "hand_intrinsics_ulnar=0 pronator_quadratus=5 pronator_teres=5");
    const struct rw_case elbow = complete_at(1.0, "ulnar_elbow");
    struct setting *s = plan_of(exam, &elbow, 1);
    assert_sound(s);
    cr_assert_not_null(step_in(s, "anterior_interosseous_pq__to__deep_ulnar_end_to_end"));
    free(s);
    const struct rw_case both = complete_at(1.0, "ulnar_elbow ulnar_wrist");
    s = plan_of(exam, &both, 1);
    assert_refused(s, "anterior_interosseous_pq__to__deep_ulnar_end_to_end", "beyond the suture");
    free(s);
    const struct rw_case wrist = complete_at(1.0, "ulnar_wrist"); /* the injury is as near as any transfer */
    s = plan_of(exam, &wrist, 1);
    assert_refused(s, "anterior_interosseous_pq__to__deep_ulnar_end_to_end", "no nearer than repair");
    free(s);
    free(exam);
}

Test(plan, no_answer_for_children_or_without_a_lesion) {
    struct rw_exam *exam = upper_palsy(ONSET + 120);
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    exam->age_years = 4;
    struct setting *s = plan_of(exam, &c, 1);
    cr_assert_not(s->transfers.available);
    cr_assert_not_null(strstr(s->transfers.because, "child"));
    cr_assert_eq(s->transfers.plan_count, 0);
    free(s);
    exam->age_years = 30;
    const struct rw_case unlikely[] = {complete_at(0.4, "upper_trunk_proximal"), complete_at(0.6, "")};
    s = plan_of(exam, unlikely, 2);
    cr_assert_not(s->transfers.available);
    cr_assert_not_null(strstr(s->transfers.because, "no lesion"));
    free(s);
    free(exam);
}

Test(plan, holds_its_rules_for_every_single_complete_lesion) {
    const struct rw_model *m = rw_model();
    for (size_t site = 0; site < m->site_count; site++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 150);
        struct rw_case c = {.weight = 1.0, .variant = usual_variant()};
        enum rw_spread spread;
        c.severity[site] = RW_COMPLETE;
        for (uint16_t i = 0; i < m->check_count; i++) /* grade every muscle as the lesion leaves it */
            if (m->checks[i].section == RW_SECTION_MOTOR &&
                m->targets[m->checks[i].target].kind == RW_TARGET_MUSCLE)
                give(exam, RW_SECTION_MOTOR, m->checks[i].item,
                     rw_intact_fraction(&c, m->checks[i].target, &spread) < 0.2 ? "0" : "5");
        struct setting *s = plan_of(exam, &c, 1);
        cr_assert(s->transfers.available);
        assert_sound(s);
        free(s);
        free(exam);
    }
}
