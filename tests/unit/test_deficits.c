/* Deficits over hand-made posteriors: what was graded stands, what was not is a weighted mean of the tables.
 */
#include "hand_made.h"

static struct rw_deficits deficits_of(const struct rw_exam *exam, const struct rw_case *cases, size_t count) {
    struct hand_made *h = states_from(exam, cases, count);
    struct rw_deficits d;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &d));
    free_states(h);
    return d;
}

/* P(M3 or better) of a table in a sharp lesion, summed by hand over its words. */
static double m3_of(const char *table, double fraction) {
    const struct rw_table *t = table_of(table);
    double p = 0.0;
    for (unsigned o = 0; o < t->observation_count; o++)
        if (t->observations[o][0] >= '3')
            p += rw_table_probability(t, RW_SPREAD_SHARP, fraction, o);
    return p;
}

Test(deficits, a_graded_muscle_stands_as_graded) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "biceps_brachii=4-");
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    const struct rw_muscle_state *biceps = muscle_in(&d, "biceps_brachii");
    /* the scale reads 4- as two thirds a 4, one third a 3: mean 0.67 · 4 + 0.33 · 3 = 3.67 */
    cr_assert_float_eq(biceps->grade[4], 0.67, EXACT);
    cr_assert_float_eq(biceps->grade[3], 0.33, EXACT);
    cr_assert_float_eq(biceps->expected_grade, 3.67, EXACT);
    cr_assert_float_eq(biceps->p_m3, 1.0, EXACT);
    cr_assert_float_eq(biceps->p_m4, 0.67, EXACT);
    free(exam);
}

Test(deficits, a_group_speaks_for_its_parts_only_at_none_and_full) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "deltoid=0 triceps_brachii=5 pectoralis_major=3");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(muscle_in(&d, "deltoid_posterior")->grade[0], 1.0, EXACT);
    cr_assert_float_eq(muscle_in(&d, "triceps_long_head")->grade[5], 1.0, EXACT);
    /* M3 of the whole says nothing sure of a part: predicted as for an intact nerve */
    cr_assert_float_eq(muscle_in(&d, "pectoralis_major_sternal")->p_m3, m3_of("motor_muscle", 1.0), 1e-9);
    free(exam);
}

Test(deficits, a_part_graded_itself_is_not_overruled_by_its_group) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "deltoid_posterior=2 deltoid=0");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(muscle_in(&d, "deltoid_posterior")->grade[2], 1.0, EXACT);
    cr_assert_float_eq(muscle_in(&d, "deltoid_lateral")->grade[0], 1.0, EXACT);
    free(exam);
}

Test(deficits, a_filled_in_muscle_is_predicted_not_taken) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "biceps_brachii=5");
    exam->findings[0].filled_in = true;
    const struct rw_case c = complete_at(1.0, "musculocutaneous_high");
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_lt(muscle_in(&d, "biceps_brachii")->p_m3, 0.1);
    free(exam);
}

Test(deficits, an_ungraded_muscle_is_the_weighted_mean_over_cases) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case cases[] = {complete_at(0.75, "axillary_main"), complete_at(0.25, "ulnar_elbow")};
    const struct rw_deficits d = deficits_of(exam, cases, 2);
    /* teres minor hangs on the axillary nerve alone: nothing left in the one case, all in the other */
    const double hand = 0.75 * m3_of("motor_muscle", 0.0) + 0.25 * m3_of("motor_muscle", 1.0);
    cr_assert_float_eq(muscle_in(&d, "teres_minor")->p_m3, hand, 1e-9);
    double sum = 0.0;
    for (size_t g = 0; g < RW_GRADES; g++)
        sum += muscle_in(&d, "teres_minor")->grade[g];
    cr_assert_float_eq(sum, 1.0, 1e-9);
    free(exam);
}

Test(deficits, outside_these_nerves_follows_the_outside_distribution) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case c = {.weight = 1.0, .variant = usual_variant(), .outside = true};
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    const struct rw_table *motor = table_of("motor_muscle");
    for (unsigned o = 0; o < motor->observation_count; o++)
        cr_assert_float_eq(muscle_in(&d, "deltoid_lateral")->grade[motor->observations[o][0] - '0'],
                           motor->outside[o], EXACT);
    free(exam);
}

Test(deficits, no_function_is_stronger_than_its_prime_movers) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "biceps_brachii=0 brachialis=0 brachioradialis=0 pronator_teres=5 "
                     "extensor_carpi_radialis_longus=5");
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->p_useful, 0.0, EXACT);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->expected_grade, 0.0, EXACT);
    give(exam, RW_SECTION_MOVEMENT, "elbow_flexion", "4"); /* the movement as a whole was graded: it stands */
    d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->p_useful, 1.0, EXACT);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->p_strong, 1.0, EXACT);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->expected_grade, 4.0, EXACT);
    free(exam);
}

/* Movement shoulder_elevation and function scapular_elevation are one action: a shrug. */
Test(deficits, a_movement_in_the_words_of_a_function_stands_for_it) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "trapezius=0 levator_scapulae=0");
    give(exam, RW_SECTION_MOVEMENT, "shoulder_elevation", "4");
    const struct rw_case c = complete_at(1.0, "spinal_accessory_high");
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(function_in(&d, "scapular_elevation")->expected_grade, 4.0, EXACT);
    cr_assert_float_eq(function_in(&d, "scapular_elevation")->p_strong, 1.0, EXACT);
    free(exam);
}

Test(deficits, a_graded_muscle_has_the_fraction_whose_mean_grade_that_is) {
    static const char *const grades[] = {"0", "1", "2", "3", "4", "5"};
    const struct rw_table *motor = table_of("motor_muscle");
    double before = -1.0;
    for (size_t g = 0; g < 6; g++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
        give(exam, RW_SECTION_MOTOR, "serratus_anterior", grades[g]);
        const struct rw_case c = complete_at(1.0, "long_thoracic");
        const struct rw_deficits d = deficits_of(exam, &c, 1);
        const double intact = muscle_in(&d, "serratus_anterior")->intact;
        double mean = 0.0;
        for (unsigned o = 0; o < motor->observation_count; o++)
            mean +=
                (motor->observations[o][0] - '0') * rw_table_probability(motor, RW_SPREAD_SHARP, intact, o);
        cr_assert_gt(intact, before);
        before = intact;
        if (g == 0 || g == 5) /* beyond the ends of the table */
            cr_assert_float_eq(intact, g == 0 ? 0.0 : 1.0, EXACT);
        else
            cr_assert_float_eq(mean, (double)g, 1e-9);
        /* the push test is the test of serratus anterior alone: its grade is the function's, never above */
        const struct rw_function_deficit *f = function_in(&d, "scapular_protraction");
        cr_assert_leq(f->expected_grade, (double)g + EXACT);
        cr_assert_geq(f->expected_grade, (double)g - 0.75);
        cr_assert(g >= 3 || f->p_useful < EXACT);
        free(exam);
    }
}

Test(deficits, a_muscle_that_was_not_graded_keeps_what_the_cases_leave) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case cases[] = {complete_at(0.3, "long_thoracic"), complete_at(0.7, "ulnar_elbow")};
    const struct rw_deficits d = deficits_of(exam, cases, 2);
    cr_assert_float_eq(muscle_in(&d, "serratus_anterior")->intact, 0.7, EXACT);
    free(exam);
}

Test(deficits, torn_roots_give_nothing_back) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, RW_NO_DAY, 100);
    const struct rw_case c = complete_at(
        1.0, "c5_preganglionic c6_preganglionic c7_preganglionic c8_preganglionic t1_preganglionic");
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    const struct rw_function_deficit *f = function_in(&d, "elbow_flexion");
    /* what is useful now counts as kept; of the rest nothing returns: P = p + (1 − p) · 0 */
    cr_assert_float_eq(f->p_recovers_unaided, f->p_useful, EXACT);
    cr_assert_lt(f->p_useful, 0.2);
    free(exam);
}

Test(deficits, recovery_unaided_follows_lesion_mechanism_and_silence) {
    static const struct {
        enum rw_mechanism mechanism;
        const char *fact;
    } rows[] = {{RW_MECHANISM_TRACTION, "unaided_complete_nerve"},
                {RW_MECHANISM_LACERATION, "unaided_complete_laceration"}};
    const struct rw_case c = complete_at(1.0, "long_thoracic");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double u = rw_fact_value(rows[i].fact);
        struct rw_exam *exam = new_exam(rows[i].mechanism, RW_NO_DAY, 183);
        give_motor(exam, "serratus_anterior=0");
        /* onset not known: nothing is known of silence either, so P = 0 + 1 · u */
        struct rw_deficits d = deficits_of(exam, &c, 1);
        cr_assert_float_eq(function_in(&d, "scapular_protraction")->p_recovers_unaided, u, 1e-9);
        /* 183 days without a sign, when 0.906 of those who recover show one by then: s = 0.094,
         * u' = u·s / (u·s + 1 − u); for 0.55: 0.0517 / 0.5017 = 0.103 */
        exam->onset_day = 0;
        exam->examined_day = (int32_t)rw_fact_value("recovery_sign_days");
        d = deficits_of(exam, &c, 1);
        const double s = 1.0 - rw_fact_value("recovery_sign_share");
        cr_assert_float_eq(function_in(&d, "scapular_protraction")->p_recovers_unaided,
                           u * s / (u * s + 1.0 - u), 1e-9);
        free(exam);
    }
}

Test(deficits, strength_unaided_asks_for_more_than_useful_power) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, RW_NO_DAY, 183);
    give_motor(exam, "serratus_anterior=0");
    const struct rw_case c = complete_at(1.0, "long_thoracic");
    const struct rw_deficits d = deficits_of(exam, &c, 1);
    /* no power now: P(M4) = u · P(M4 | it came back) */
    cr_assert_float_eq(function_in(&d, "scapular_protraction")->p_strong_unaided,
                       rw_fact_value("unaided_complete_nerve") * rw_fact_value("unaided_m4_given_m3"), 1e-9);
    free(exam);
}

Test(deficits, chances_by_12_and_24_months_follow_the_losses) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "serratus_anterior=0");
    const struct rw_case c = complete_at(1.0, "long_thoracic");
    struct hand_made *h = states_from(exam, &c, 1);
    struct rw_deficits d;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &d));
    const struct rw_function_deficit *f = function_in(&d, "scapular_protraction");
    const struct rw_loss *loss = rw_loss_of(&h->losses, muscle_of("serratus_anterior"));
    const double strong = rw_fact_value("unaided_m4_given_m3");
    /* a single muscle without power: P = 0 + 1 · its own chance */
    cr_assert_float_eq(f->months_12.p_useful, loss->mean_returns[RW_HORIZON_12], 1e-9);
    cr_assert_float_eq(f->months_24.p_strong, loss->mean_returns[RW_HORIZON_24] * strong, 1e-9);
    cr_assert_lt(f->months_12.p_useful, f->p_recovers_unaided);
    free_states(h);
    free(exam);
}

/* Of every function: what can be done later can be done ever, strong power is useful power, and the mean grade
 * lies where P(M3) and P(M4) leave room for it. */
static void check_coherent(const struct rw_deficits *d) {
    for (size_t i = 0; i < d->function_count; i++) {
        const struct rw_function_deficit *f = &d->functions[i];
        const char *id = rw_model()->targets[f->function].id;
        cr_assert_leq(f->p_strong, f->p_useful + EXACT, "%s", id);
        cr_assert_geq(f->expected_grade, 3.0 * f->p_useful + f->p_strong - 1e-9, "%s", id);
        cr_assert_leq(f->expected_grade, 2.0 + f->p_useful + 2.0 * f->p_strong + 1e-9, "%s", id);
        cr_assert_leq(f->p_useful, f->months_12.p_useful + 1e-9, "%s", id);
        cr_assert_leq(f->months_12.p_useful, f->months_24.p_useful + 1e-9, "%s", id);
        cr_assert_leq(f->months_24.p_useful, f->p_recovers_unaided + 1e-9, "%s", id);
        cr_assert_leq(f->months_24.p_strong, f->months_24.p_useful + 1e-9, "%s", id);
        cr_assert_leq(f->p_strong_unaided, f->p_recovers_unaided + 1e-9, "%s", id);
    }
}

Test(deficits, grade_and_chances_of_a_function_agree) {
    const struct rw_case cases[] = {complete_at(0.5, "upper_trunk_proximal"),
                                    complete_at(0.3, "c5_preganglionic c6_distal"),
                                    {.weight = 0.2, .variant = usual_variant(), .outside = true}};
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 50);
    struct rw_deficits d = deficits_of(exam, cases, 3);
    check_coherent(&d);
    give_motor(exam, "deltoid=0 biceps_brachii=1 pectoralis_major_clavicular=2 triceps_brachii=4+ "
                     "supraspinatus=0 flexor_carpi_radialis=3 extensor_digitorum=4-");
    d = deficits_of(exam, cases, 3);
    check_coherent(&d);
    free(exam);
}

Test(deficits, a_time_that_has_passed_or_is_not_known_has_no_chance) {
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    static const struct {
        int32_t onset, examined;
        bool twelve, twenty_four;
    } rows[] = {
        {0, 100, true, true}, {0, 400, false, true}, {0, 800, false, false}, {RW_NO_DAY, 100, false, false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, rows[i].onset, rows[i].examined);
        const struct rw_deficits d = deficits_of(exam, &c, 1);
        for (size_t k = 0; k < d.function_count; k++) {
            cr_assert_eq(isfinite(d.functions[k].months_12.p_useful) != 0, rows[i].twelve);
            cr_assert_eq(isfinite(d.functions[k].months_12.p_strong) != 0, rows[i].twelve);
            cr_assert_eq(isfinite(d.functions[k].months_24.p_useful) != 0, rows[i].twenty_four);
            cr_assert(isfinite(d.functions[k].p_recovers_unaided));
        }
        free(exam);
    }
}

static const struct rw_area_deficit *area_in(const struct rw_deficits *d, const char *id) {
    const uint16_t area = rw_target_find(RW_TARGET_SKIN_NERVE, id);
    for (size_t i = 0; i < d->area_count; i++)
        if (d->areas[i].area == area)
            return &d->areas[i];
    cr_assert_fail("no area %s", id);
    return NULL;
}

Test(deficits, skin_is_predicted_unless_it_was_tested) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct rw_table *skin = table_of("skin_nerve");
    double lost = 0.0;
    for (unsigned o = 0; o < skin->observation_count; o++)
        if (strcmp(skin->observations[o], "reduced") == 0 || strcmp(skin->observations[o], "absent") == 0)
            lost += rw_table_probability(skin, RW_SPREAD_SHARP, 0.0, o);
    struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(area_in(&d, "axillary")->p_lost, lost, 1e-9);
    cr_assert_not(area_in(&d, "axillary")->protective);
    cr_assert(area_in(&d, "superficial_radial")->protective);
    cr_assert_eq(d.area_count, 16, "eleven nerves and five roots, not %zu", d.area_count);
    give(exam, RW_SECTION_SKIN_NERVE, "axillary", "normal");
    d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(area_in(&d, "axillary")->p_lost, 0.0, EXACT);
    free(exam);
}

Test(deficits, feeling_comes_back_as_the_worst_site_on_its_way_allows) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, RW_NO_DAY, 100);
    const double u = rw_fact_value("unaided_complete_nerve"), dull = rw_fact_value("protective_when_reduced");
    const struct rw_case main_stem = complete_at(1.0, "axillary_main");
    const struct rw_table *skin = table_of("skin_nerve");
    double now = 0.0; /* predicted: what is neither absent nor reduced, and its share of the reduced */
    for (unsigned o = 0; o < skin->observation_count; o++) {
        const double p = rw_table_probability(skin, RW_SPREAD_SHARP, 0.0, o);
        if (strcmp(skin->observations[o], "reduced") == 0)
            now += dull * p;
        else if (strcmp(skin->observations[o], "absent") != 0)
            now += p;
    }
    struct rw_deficits d = deficits_of(exam, &main_stem, 1);
    cr_assert_float_eq(area_in(&d, "axillary")->p_recovers_unaided, now + (1.0 - now) * u, 1e-9);
    const struct {
        const char *word;
        double lost, now;
    } rows[] = {{"absent", 1.0, 0.0}, {"reduced", 1.0, dull}, {"normal", 0.0, 1.0}};
    give(exam, RW_SECTION_SKIN_NERVE, "axillary", "absent");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        exam->findings[0].value = (uint8_t)rw_value_find(exam->findings[0].check, rows[i].word);
        d = deficits_of(exam, &main_stem, 1);
        const struct rw_area_deficit *area = area_in(&d, "axillary");
        cr_assert_float_eq(area->p_lost, rows[i].lost, EXACT);
        cr_assert_eq(area->protective, rows[i].now > 0.5);
        cr_assert_float_eq(area->p_recovers_unaided, rows[i].now + (1.0 - rows[i].now) * u, 1e-9);
    }
    free(exam);
}

Test(deficits, torn_roots_give_no_feeling_back_and_other_causes_their_own) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, RW_NO_DAY, 100);
    give(exam, RW_SECTION_SKIN_NERVE, "axillary", "absent");
    struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic c7_preganglionic "
                                        "c8_preganglionic t1_preganglionic");
    struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(area_in(&d, "axillary")->p_recovers_unaided, 0.0, 1e-9);
    c.severity[site_of("axillary_main")] = RW_PARTIAL; /* a second, milder site changes nothing */
    d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(area_in(&d, "axillary")->p_recovers_unaided, 0.0, 1e-9);
    c = (struct rw_case){.weight = 1.0, .variant = usual_variant(), .outside = true};
    d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(area_in(&d, "axillary")->p_recovers_unaided, rw_fact_value("unaided_other_cause"),
                       1e-9);
    free(exam);
}

Test(deficits, sympathetic_loss_is_one_less_what_is_left) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case cases[] = {complete_at(0.4, "t1_preganglionic"), complete_at(0.6, "axillary_main")};
    enum rw_spread spread;
    const uint16_t horner = rw_target_find(RW_TARGET_SIGN, "horner");
    cr_assert_neq(horner, RW_NONE);
    const double left = rw_intact_fraction(&cases[0], horner, &spread);
    const struct rw_deficits d = deficits_of(exam, cases, 2);
    cr_assert_lt(left, 0.6, "most of the outflow runs through T1");
    cr_assert_float_eq(d.p_sympathetic_lost, 0.4 * (1.0 - left), 1e-9);
    free(exam);
}

Test(deficits, a_group_of_one_nerve_speaks_for_its_parts_at_any_grade) {
    static const struct {
        const char *group, *part;
        bool speaks;
    } rows[] = {
        {"hand_intrinsics_ulnar", "adductor_pollicis", true},
        {"deltoid", "deltoid_posterior", true},
        {"triceps_brachii", "triceps_medial_head", true},
        {"flexor_digitorum_profundus", "flexor_digitorum_profundus_ulnar", false}, /* median and ulnar */
        {"pectoralis_major", "pectoralis_major_sternal", false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 20000, 20100);
        struct rw_measured measured;
        give(exam, RW_SECTION_MOTOR, rows[i].group, "2");
        rw_measure(exam, rw_target_find(RW_TARGET_MUSCLE, rows[i].part), &measured);
        cr_assert_eq(measured.given, rows[i].speaks, "%s", rows[i].group);
        cr_assert(measured.examined);
        free(exam);
    }
}
