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
    give_motor(exam, "biceps_brachii=0 brachialis=0 brachioradialis=5");
    const struct rw_case c = complete_at(1.0, "musculocutaneous_high");
    struct rw_deficits d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->p_useful, 0.0, EXACT);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->expected_grade, 0.0, EXACT);
    give(exam, RW_SECTION_MOVEMENT, "elbow_flexion", "4"); /* the movement as a whole was graded: it stands */
    d = deficits_of(exam, &c, 1);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->p_useful, 1.0, EXACT);
    cr_assert_float_eq(function_in(&d, "elbow_flexion")->expected_grade, 4.0, EXACT);
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
