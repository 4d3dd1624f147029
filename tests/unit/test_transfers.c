/* Plans over hand-made posteriors and exams. */
#include "planning.h"

#include "chances.h"

/* Whether a list of words holds one. */
static bool names(const char *list, const char *word) {
    const size_t size = strlen(word);
    for (const char *at = list; (at = strstr(at, word)) != NULL; at += size)
        if ((at == list || at[-1] == ' ') && (at[size] == '\0' || at[size] == ' '))
            return true;
    return false;
}

/* Of every plan: each donor once, each muscle once, conflicts kept, no donor that is weak or excluded; and every
 * transfer is answered once, in a plan or as rejected. */
static void assert_plan_sound(const struct setting *s, const struct rw_plan *plan,
                              const uint64_t parts[RW_MAX_DONORS]) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < plan->step_count; i++) {
        const struct rw_step *step = &plan->steps[i];
        const struct rw_transfer *a = &m->transfers[step->transfer];
        const enum rw_donor_state state = s->transfers.donors[a->donor].state;
        cr_assert_str_neq(a->kind, "late");
        cr_assert_not(a->memory);
        cr_assert(a->after[0] != '\0' || state == RW_DONOR_USABLE || state == RW_DONOR_UNKNOWN, "%s", a->id);
        cr_assert(step->interval[0] < step->p_useful && step->p_useful < step->interval[1]);
        cr_assert_gt(step->gain, 0.0);
        for (size_t x = 0; x < a->muscle_count; x++)
            cr_assert(rw_muscle_state_of(&s->deficits, a->muscles[x])->p_m3 < 0.5 || a->muscle_count > 1,
                      "%s goes to a muscle that works", a->id);
        for (size_t k = i + 1; k < plan->step_count; k++) {
            const struct rw_transfer *b = &m->transfers[plan->steps[k].transfer];
            cr_assert_eq(parts[a->donor] & parts[b->donor], 0, "%s and %s", a->id, b->id);
            cr_assert_not(names(a->conflicts, m->donors[b->donor].id), "%s and %s", a->id, b->id);
            cr_assert_not(names(b->conflicts, m->donors[a->donor].id), "%s and %s", a->id, b->id);
            for (size_t x = 0; x < a->muscle_count; x++)
                for (size_t y = 0; y < b->muscle_count; y++)
                    cr_assert(a->muscles[x] != b->muscles[y], "%s and %s reach one muscle", a->id, b->id);
        }
    }
}

static void assert_sound(const struct setting *s) {
    const struct rw_model *m = rw_model();
    bool planned[RW_MAX_TRANSFERS] = {false}, answered[RW_MAX_TRANSFERS] = {false};
    uint64_t parts[RW_MAX_DONORS];
    rw_donor_parts(parts);
    for (size_t i = 0; i < s->transfers.plan_count; i++) {
        assert_plan_sound(s, &s->transfers.plans[i], parts);
        for (size_t k = 0; k < s->transfers.plans[i].step_count; k++)
            planned[s->transfers.plans[i].steps[k].transfer] = true;
    }
    cr_assert(s->transfers.plan_count > 0 || s->transfers.no_plan != NULL);
    for (size_t i = 0; i < s->transfers.rejected_count; i++) {
        cr_assert_not(answered[s->transfers.rejected[i].transfer]);
        cr_assert_gt(strlen(s->transfers.rejected[i].because), 10);
        answered[s->transfers.rejected[i].transfer] = true;
    }
    for (size_t t = 0; t < m->transfer_count; t++)
        cr_assert_neq(planned[t], answered[t], "%s", m->transfers[t].id);
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
    assert_refused(s, "median_fascicle__to__biceps", "its donor is spent on");
    assert_refused(s, "thoracodorsal__to__axillary", "its muscle is reached by");
    assert_refused(s, "ulnar_fascicle__to__triceps", "recipient not lost");
    assert_refused(s, "shoulder_arthrodesis", "late option");
    assert_refused(s, "third_web_median__to__ulnar_digital", "feeling there is lost for good");
    assert_refused(s, "lower_subscapular__to__axillary", "memory");
    free(s);
    free(exam);
}

Test(plan, gain_by_hand) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_LACERATION, ONSET, ONSET + 120);
    give_motor(exam, "serratus_anterior=0 latissimus_dorsi=5");
    const struct rw_case c = complete_at(1.0, "long_thoracic");
    struct setting *s = plan_of(exam, &c, 1);
    cr_assert_eq(s->transfers.plans[0].step_count, 1);
    const struct rw_step *step = &s->transfers.plans[0].steps[0];
    /* protraction: serratus is all of it, cut off and reached: w · (q − unaided); other functions add less than
     * their weight, and the donor costs less than all it moves */
    const double k = rw_fact_value("strength_share") + rw_fact_value("reserve_share");
    const struct rw_function_deficit *f = function_in(&s->deficits, "scapular_protraction");
    const double unaided = (1.0 - k) * f->p_recovers_unaided + k * f->p_strong_unaided;
    const double q = step->p_useful * step->p_donor * (1.0 - k + k * rw_fact_value("m4_given_m3"));
    const double own = rw_fact_value("priority_scapular_protraction") * (q - unaided);
    const double most =
        own + rw_fact_value("priority_shoulder_flexion") + rw_fact_value("priority_shoulder_abduction");
    cr_assert(own - 0.2 < step->gain && step->gain < most, "%g < %g < %g", own - 0.2, step->gain, most);
    free(s);
    free(exam);
}

Test(plan, three_plans_differ_in_more_than_approach_and_fall_in_worth) {
    struct rw_exam *exam = upper_palsy(ONSET + 120);
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic");
    struct setting *s = plan_of(exam, &c, 1);
    cr_assert_eq(s->transfers.plan_count, 3);
    for (size_t i = 0; i + 1 < s->transfers.plan_count; i++) {
        const struct rw_plan *a = &s->transfers.plans[i], *b = &s->transfers.plans[i + 1];
        bool differ = a->step_count != b->step_count;
        cr_assert_geq(a->expected_gain, b->expected_gain);
        for (size_t x = 0; x < a->step_count && !differ; x++) {
            bool both = false;
            for (size_t y = 0; y < b->step_count; y++)
                both = both || strcmp(rw_model()->transfers[a->steps[x].transfer].family,
                                      rw_model()->transfers[b->steps[y].transfer].family) == 0;
            differ = !both;
        }
        cr_assert(differ, "plans %zu and %zu are one", i, i + 1);
    }
    free(s);
    free(exam);
}

Test(plan, a_donor_that_was_not_examined_may_stand_in_it) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 120);
    give_motor(exam, "deltoid=0 supraspinatus=0 infraspinatus=0 biceps_brachii=0 brachialis=0");
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    const struct rw_step *step = step_in(s, "ulnar_fascicle__to__biceps");
    cr_assert_not_null(step, "%s", refusal_in(s, "ulnar_fascicle__to__biceps"));
    const struct rw_donor_status *donor = &s->transfers.donors[donor_of("ulnar_fascicle")];
    cr_assert_eq(donor->state, RW_DONOR_UNKNOWN);
    cr_assert_neq(donor->decided_by, RW_NONE);
    cr_assert_lt(step->p_donor, 1.0);
    free(s);
    free(exam);
}

Test(plan, what_is_asked_for_is_done) {
    struct rw_exam *exam = upper_palsy(ONSET + 120);
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic");
    struct setting *s = plan_of(exam, &c, 1);
    const double best = s->transfers.plans[0].expected_gain;
    const int32_t first = step_in(s, "double_fascicular__to__biceps_brachialis")->reinnervation[0];
    free(s);
    exam->options.fixed[donor_of("intercostals")] = true;
    s = plan_of(exam, &c, 1);
    assert_sound(s);
    for (size_t i = 0; i < s->transfers.plan_count; i++) {
        bool spent = false;
        for (size_t k = 0; k < s->transfers.plans[i].step_count; k++)
            spent = spent || rw_model()->transfers[s->transfers.plans[i].steps[k].transfer].donor ==
                                 donor_of("intercostals");
        cr_assert(spent);
    }
    cr_assert_lt(s->transfers.plans[0].expected_gain, best);
    free(s);
    exam->rib_fractures = true; /* then the donor that was asked for is closed */
    s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_eq(s->transfers.plan_count, 0);
    cr_assert_not_null(strstr(s->transfers.no_plan, "asked for"));
    free(s);
    exam->rib_fractures = false;
    memset(&exam->options, 0, sizeof exam->options);
    exam->options.surgery_day = ONSET + 120 + 142; /* a hundred days later than six weeks from the exam */
    s = plan_of(exam, &c, 1);
    cr_assert_eq(step_in(s, "double_fascicular__to__biceps_brachialis")->reinnervation[0], first + 100);
    cr_assert_eq(s->transfers.plans[0].operation_day[0], ONSET + 262);
    cr_assert_lt(s->transfers.plans[0].expected_gain, best);
    free(s);
    free(exam);
}

Test(plan, priorities_change_what_a_scarce_donor_serves) {
    struct rw_exam *exam = whole_palsy(ONSET + 90);
    exam->declined[donor_of("phrenic")] = exam->declined[donor_of("contralateral_c7")] = true;
    const struct rw_case c = whole_avulsion();
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_not_null(step_in(s, "intercostals__to__musculocutaneous"));
    free(s);
    exam->options.priority_count = 1;
    exam->options.priorities[0] = rw_target_find(RW_TARGET_FUNCTION, "elbow_extension");
    s = plan_of(exam, &c, 1);
    assert_sound(s);
    cr_assert_not_null(step_in(s, "intercostals__to__triceps_long_head"));
    free(s);
    exam->options.priorities[0] = rw_target_find(RW_TARGET_FUNCTION, "elbow_flexion");
    s = plan_of(exam, &c, 1);
    const uint16_t flexion = exam->options.priorities[0];
    for (size_t i = 0; i < s->transfers.plans[0].not_restored_count; i++)
        cr_assert_neq(s->transfers.plans[0].not_restored[i], flexion, "what was named first is left out");
    free(s);
    free(exam);
}

Test(plan, what_one_operation_cannot_hold_goes_into_a_second) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 60);
    give_motor(exam,
               "deltoid=0 supraspinatus=0 infraspinatus=0 biceps_brachii=0 brachialis=0 triceps_brachii=0 "
               "extensor_carpi_radialis_longus=0 extensor_carpi_radialis_brevis=0 pronator_teres=0 "
               "serratus_anterior=0 trapezius=5 pectoralis_major=4 flexor_carpi_ulnaris=5 "
               "flexor_digitorum_superficialis=5 flexor_digitorum_profundus=5 pronator_quadratus=5 "
               "first_dorsal_interosseous=5");
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic c7_preganglionic");
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    const struct rw_plan *plan = &s->transfers.plans[0];
    size_t held[2] = {0, 0};
    for (size_t i = 0; i < plan->step_count; i++)
        held[plan->steps[i].stage]++;
    cr_assert_eq(held[0], (size_t)rw_fact_value("plan_room"));
    cr_assert_gt(held[1], 0);
    cr_assert_eq(plan->operation_day[1] - plan->operation_day[0],
                 (int32_t)rw_fact_value("second_stage_gap_days"));
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
    assert_refused(s, "free_gracilis_intercostal__elbow_flexion", "discuss first");
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
    exam->mechanism = RW_MECHANISM_TRACTION;
    exam->examined_day = ONSET + 200; /* silence: now it is worth an operation, for strength */
    s = plan_of(exam, &c, 1);
    cr_assert_gt(s->transfers.plan_count, 0);
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
    assert_refused(s, "anterior_interosseous_pq__to__deep_ulnar_end_to_end", "beyond the suture");
    free(s);
    free(exam);
}

Test(plan, what_moves_or_shows_units_is_not_cut_off_within_the_year) {
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic");
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 120);
    give_motor(
        exam,
        "biceps_brachii=2 brachialis=0 deltoid=0 supraspinatus=0 infraspinatus=0 triceps_brachii=5 "
        "trapezius=5 flexor_carpi_ulnaris=5 first_dorsal_interosseous=5 flexor_digitorum_superficialis=5");
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    assert_refused(s, "ulnar_fascicle__to__biceps", "moves (2)");
    cr_assert_null(step_in(s, "double_fascicular__to__biceps_brachialis"));
    free(s);
    exam->examined_day = ONSET + 400; /* a year without more than that: the muscle is worth a nerve */
    s = plan_of(exam, &c, 1);
    cr_assert_null(strstr(refusal_in(s, "ulnar_fascicle__to__biceps"), "moves"));
    free(s);
    free(exam);
    exam = upper_palsy(ONSET + 120);
    give(exam, RW_SECTION_EMG_RECRUITMENT, "supraspinatus", "reduced");
    s = plan_of(exam, &c, 1);
    assert_sound(s);
    assert_refused(s, "spinal_accessory__to__suprascapular_anterior", "needle EMG sees units");
    free(s);
    free(exam);
}

Test(plan, late_options_need_what_they_move) {
    struct rw_exam *exam = whole_palsy(ONSET + 90);
    const struct rw_case c = whole_avulsion();
    struct setting *s = plan_of(exam, &c, 1);
    assert_refused(s, "latissimus_pedicled__elbow_flexion", "not here, as latissimus dorsi is weak");
    assert_refused(s, "free_gracilis_intercostal__elbow_flexion", "named for discussion");
    free(s);
    free(exam);
}

Test(plan, nothing_that_works_is_cut_off) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 150);
    give_motor(exam,
               "biceps_brachii=0 brachialis=4 brachioradialis=0 deltoid=0 supraspinatus=0 infraspinatus=0 "
               "triceps_brachii=5 trapezius=5 flexor_carpi_ulnaris=5 first_dorsal_interosseous=5");
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic");
    struct setting *s = plan_of(exam, &c, 1);
    assert_sound(s);
    assert_refused(s, "intercostals__to__musculocutaneous", "it would divide the nerve to brachialis");
    free(s);
    free(exam);
}

Test(plan, a_function_that_steps_restore_together_is_not_told_as_left) {
    struct rw_exam *exam = upper_palsy(ONSET + 60);
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic");
    struct setting *s = plan_of(exam, &c, 1);
    const struct rw_plan *plan = &s->transfers.plans[0];
    const uint16_t overhead = rw_target_find(RW_TARGET_FUNCTION, "overhead_reach");
    cr_assert_lt(function_in(&s->deficits, "overhead_reach")->p_recovers_unaided, 0.5);
    for (size_t i = 0; i < plan->not_restored_count; i++)
        cr_assert_neq(plan->not_restored[i], overhead, "deltoid and supraspinatus are both reached");
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
