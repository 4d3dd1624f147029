/* The functions of the limb: what classic palsies take and leave, published nerve blocks, spent donors. */
#include "hand_made.h"

#include <stdio.h>

static struct rw_deficits deficits_of(const struct rw_exam *exam, const struct rw_case *c) {
    struct hand_made *h = states_from(exam, c, 1);
    struct rw_deficits d;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &d));
    free_states(h);
    return d;
}

/* ---- classic palsies ---- */

/* Complete lesions, nothing graded. Lost: M3 less likely than not; kept: M4 likelier than not. Common practice
 * where no source stands beside a row. */
static const struct {
    const char *sites, *lost, *kept;
} palsies[] = {
    {"c5_preganglionic c6_preganglionic",
     "shoulder_abduction shoulder_flexion overhead_reach shoulder_external_rotation elbow_flexion "
     "forearm_supination",
     "scapular_elevation shoulder_adduction elbow_extension forearm_pronation wrist_flexion finger_extension "
     "finger_flexion_radial finger_flexion_ulnar thumb_flexion thumb_opposition key_pinch tip_pinch grip "
     "finger_abduction"},
    {"upper_trunk_proximal",
     "shoulder_abduction shoulder_flexion overhead_reach shoulder_external_rotation elbow_flexion "
     "forearm_supination",
     "scapular_protraction scapular_retraction elbow_extension finger_extension grip"},
    {"c5_preganglionic c6_preganglionic c7_preganglionic",
     "scapular_protraction shoulder_abduction shoulder_flexion overhead_reach shoulder_extension "
     "shoulder_external_rotation elbow_flexion forearm_supination wrist_extension",
     "finger_flexion_radial finger_flexion_ulnar thumb_flexion thumb_opposition finger_abduction "
     "finger_adduction"},
    {"c8_preganglionic t1_preganglionic",
     "finger_flexion_radial finger_flexion_ulnar thumb_flexion thumb_opposition thumb_adduction key_pinch "
     "tip_pinch grip finger_abduction finger_adduction finger_mcp_flexion finger_interphalangeal_extension",
     "shoulder_abduction shoulder_external_rotation elbow_flexion forearm_supination forearm_pronation "
     "wrist_extension"},
    /* deltoid alone: the arm still rises, by supraspinatus */
    {"axillary_main", "", "shoulder_abduction shoulder_flexion shoulder_external_rotation elbow_flexion"},
    {"axillary_main suprascapular_notch", "shoulder_abduction overhead_reach shoulder_external_rotation",
     "shoulder_internal_rotation shoulder_adduction"},
    {"suprascapular_notch", "", "shoulder_abduction shoulder_flexion shoulder_internal_rotation"},
    {"long_thoracic", "scapular_protraction overhead_reach",
     "shoulder_abduction shoulder_flexion elbow_flexion"},
    /* levator scapulae still shrugs, weakly */
    {"spinal_accessory_high", "", "scapular_elevation shoulder_abduction shoulder_flexion"},
    {"radial_axilla", "elbow_extension wrist_extension finger_extension thumb_extension",
     "elbow_flexion forearm_supination finger_flexion_radial finger_abduction"},
    {"radial_groove", "wrist_extension finger_extension thumb_extension", "elbow_extension"},
    /* the wrist extends towards the radial side */
    {"posterior_interosseous", "finger_extension thumb_extension",
     "wrist_extension finger_interphalangeal_extension"},
    /* pronation M4 in 10 of 11, wrist flexion M5, opposition nearly normal (PMID:26710729) */
    {"median_arm", "finger_flexion_radial thumb_flexion tip_pinch",
     "forearm_pronation wrist_flexion finger_flexion_ulnar key_pinch finger_abduction"},
    /* no round O between thumb and index finger */
    {"anterior_interosseous", "thumb_flexion tip_pinch", "thumb_opposition finger_abduction wrist_flexion"},
    {"ulnar_elbow",
     "thumb_adduction finger_abduction finger_adduction finger_mcp_flexion finger_interphalangeal_extension",
     "thumb_flexion thumb_opposition finger_flexion_radial wrist_flexion grip"},
    {"ulnar_wrist median_wrist",
     "thumb_opposition thumb_adduction finger_abduction finger_adduction finger_mcp_flexion "
     "finger_interphalangeal_extension",
     "finger_flexion_radial finger_flexion_ulnar thumb_flexion finger_extension wrist_extension"},
};

static bool names(const char *list, const char *id) {
    const size_t length = strlen(id);
    for (const char *at = strstr(list, id); at != NULL; at = strstr(at + 1, id))
        if ((at == list || at[-1] == ' ') && (at[length] == ' ' || at[length] == '\0'))
            return true;
    return false;
}

static size_t words_in(const char *list) {
    size_t count = *list != '\0';
    for (; *list != '\0'; list++)
        count += *list == ' ';
    return count;
}

Test(functions, classic_palsies_take_and_leave_what_they_are_known_for) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    for (size_t i = 0; i < sizeof palsies / sizeof palsies[0]; i++) {
        const struct rw_case c = complete_at(1.0, palsies[i].sites);
        const struct rw_deficits d = deficits_of(exam, &c);
        size_t seen = 0;
        for (size_t k = 0; k < d.function_count; k++) {
            const struct rw_function_deficit *f = &d.functions[k];
            const char *id = rw_model()->targets[f->function].id;
            const bool lost = names(palsies[i].lost, id), kept = names(palsies[i].kept, id);
            seen += (size_t)lost + kept;
            if (lost)
                cr_expect_lt(f->p_useful, 0.5, "%s: %s is lost", palsies[i].sites, id);
            if (kept)
                cr_expect_gt(f->p_strong, 0.5, "%s: %s is kept, %.2f", palsies[i].sites, id, f->p_strong);
        }
        cr_assert_eq(seen, words_in(palsies[i].lost) + words_in(palsies[i].kept), "%s", palsies[i].sites);
    }
    free(exam);
}

Test(functions, a_complete_palsy_takes_all_that_the_plexus_moves) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic c7_preganglionic "
                                              "c8_preganglionic t1_preganglionic");
    const struct rw_deficits d = deficits_of(exam, &c);
    for (size_t k = 0; k < d.function_count; k++) {
        const char *id = rw_model()->targets[d.functions[k].function].id;
        if (strcmp(id, "scapular_elevation") != 0 && strcmp(id, "scapular_retraction") != 0)
            cr_expect_lt(d.functions[k].p_useful, 0.25, "%s", id);
    }
    free(exam);
}

/* C5-C6 palsy with a flicker beyond gravity in the clavicular pectoralis: the arm does not come forwards
 * (common practice). */
Test(functions, a_trace_in_a_small_prime_mover_does_not_lift_the_arm) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 50);
    give_motor(exam, "trapezius=5 serratus_anterior=5 deltoid=0 supraspinatus=0 biceps_brachii=0 "
                     "pectoralis_major_clavicular=2");
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    const struct rw_deficits d = deficits_of(exam, &c);
    cr_assert_lt(function_in(&d, "shoulder_flexion")->expected_grade, 1.0);
    cr_assert_lt(function_in(&d, "shoulder_flexion")->p_useful, EXACT);
    free(exam);
}

/* Musculocutaneous palsy: brachioradialis still bends the elbow, weakly (common practice). */
Test(functions, brachioradialis_bends_the_elbow_alone) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "biceps_brachii=0 brachialis=0 brachioradialis=5");
    const struct rw_case c = complete_at(1.0, "musculocutaneous_high");
    const struct rw_deficits d = deficits_of(exam, &c);
    cr_assert_gt(function_in(&d, "elbow_flexion")->p_useful, 0.5);
    cr_assert_lt(function_in(&d, "elbow_flexion")->p_strong, 0.6);
    free(exam);
}

/* ---- strength against published nerve blocks ---- */

static double strength_left(const char *function, const char *site) {
    const uint16_t owner = rw_target_find(RW_TARGET_FUNCTION, function);
    const struct rw_case c = complete_at(1.0, site);
    const double reaches[RW_GRADES] = {1.0};
    struct rw_strength strength = rw_strength_none();
    enum rw_spread spread;
    for (size_t i = 0; i < rw_model()->member_count; i++) {
        const struct rw_member *m = &rw_model()->members[i];
        if (m->owner == owner)
            rw_strength_add(&strength, rw_is_prime(m), m->share, rw_intact_fraction(&c, m->muscle, &spread),
                            reaches);
    }
    return rw_strength_fraction(&strength);
}

Test(functions, strength_left_is_near_what_nerve_blocks_and_palsies_left) {
    static const struct {
        const char *function, *site;
        double left, off; /* off: half the spread between studies, or a tenth of full strength */
    } rows[] = {
        /* ulnar block, n=25 (PMID:28655474) */
        {"grip", "ulnar_wrist", 0.73, 0.1},
        {"key_pinch", "ulnar_wrist", 0.42, 0.1},
        {"tip_pinch", "ulnar_wrist", 0.42, 0.1},
        /* median block at the wrist, n=29 (PMID:27979334): pinch -20 to -40 %, grip unchanged */
        {"thumb_abduction", "median_wrist", 0.29, 0.1},
        {"tip_pinch", "median_wrist", 0.70, 0.1},
        {"key_pinch", "median_wrist", 0.70, 0.2},
        {"grip", "median_wrist", 1.0, 0.1},
        /* radial block, n=10 (J Hand Surg Am, apparent weakness of median and ulnar motors in radial nerve palsy) */
        {"grip", "radial_groove", 0.23, 0.1},
        {"key_pinch", "radial_groove", 0.67, 0.1},
        {"thumb_abduction", "radial_groove", 0.47, 0.1},
        /* 11 high median lesions: grip 43 % and pinch 36 % of the other side (PMID:26710729) */
        {"grip", "median_arm", 0.43, 0.2},
        {"key_pinch", "median_arm", 0.36, 0.2},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double left = strength_left(rows[i].function, rows[i].site);
        cr_expect_float_eq(left, rows[i].left, rows[i].off, "%s, %s: %.2f, published %.2f", rows[i].function,
                           rows[i].site, left, rows[i].left);
    }
}

Test(functions, strength_by_hand) {
    const double sure[RW_GRADES] = {1.0, 1.0, 1.0, 1.0, 0.5, 0.2}, none[RW_GRADES] = {1.0};
    struct rw_strength s = rw_strength_none();
    cr_assert_float_eq(rw_strength_fraction(&s), 0.0, EXACT, "no prime mover, no strength");
    rw_strength_add(&s, true, 0.5, 0.2, sure);
    rw_strength_add(&s, true, 0.3, 0.0, none);
    rw_strength_add(&s, false, 0.2, 0.5, none);
    rw_strength_add(&s, false, 0.9, 0.0, none);
    /* (0.5 · 0.2 + 0.3 · 0) / 0.8 · (1 − 0.2 · 0.5) · (1 − 0.9) = 0.125 · 0.9 · 0.1 */
    cr_assert_float_eq(rw_strength_fraction(&s), 0.01125, EXACT);
    double grade[RW_GRADES] = {0.0, 0.0, 0.0, 0.1, 0.2, 0.7};
    rw_strength_cap(&s, grade);
    /* P(M5) 0.7 is cut to 0.2, P(M4 or better) 0.9 to 0.5; P(M3 or better) 1 stands */
    cr_assert_float_eq(grade[5], 0.2, EXACT);
    cr_assert_float_eq(grade[4], 0.3, EXACT);
    cr_assert_float_eq(grade[3], 0.5, EXACT);
    cr_assert_float_eq(grade[2], 0.0, EXACT);
}

/* ---- the rows ---- */

Test(functions, every_function_has_words_a_prime_mover_and_a_priority) {
    const struct rw_model *m = rw_model();
    size_t count = 0;
    for (uint16_t t = 0; t < m->target_count; t++) {
        if (m->targets[t].kind != RW_TARGET_FUNCTION)
            continue;
        count++;
        const char *id = m->targets[t].id, *cannot = m->targets[t].help;
        char fact[96];
        double shares = 0.0, primes = 0.0;
        cr_assert_not_null(cannot, "%s", id);
        cr_expect(cannot[0] >= 'a' && cannot[0] <= 'z', "%s: goes on after \"cannot\"", id);
        cr_expect_neq(cannot[strlen(cannot) - 1], '.', "%s", id);
        for (uint16_t other = 0; other < t; other++)
            cr_expect(m->targets[other].help == NULL || strcmp(m->targets[other].help, cannot) != 0, "%s",
                      id);
        for (size_t i = 0; i < m->member_count; i++)
            if (m->members[i].owner == t) {
                shares += strcmp(m->members[i].role, "steady") == 0 ? 0.0 : m->members[i].share;
                primes += rw_is_prime(&m->members[i]) ? m->members[i].share : 0.0;
            }
        cr_expect_float_eq(shares, 1.0, 1e-9, "%s", id);
        cr_expect_geq(primes, 0.5, "%s", id);
        snprintf(fact, sizeof fact, "priority_%s", id);
        cr_expect(rw_fact_value(fact) > 0.0, "%s", fact);
    }
    cr_assert_eq(count, 31, "%zu functions", count);
}

/* ---- spent donors ---- */

static struct rw_function_power power_of(const struct rw_deficits *d, const char *function,
                                         const char *muscle, double share) {
    const struct rw_spend spend = {.muscle = muscle_of(muscle), .share = share};
    struct rw_function_power power;
    rw_function_power(d, rw_target_find(RW_TARGET_FUNCTION, function), &spend, 1, &power);
    return power;
}

Test(functions, nothing_spent_is_what_the_deficits_say) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case c = complete_at(1.0, "radial_groove ulnar_elbow");
    const struct rw_deficits d = deficits_of(exam, &c);
    for (size_t i = 0; i < d.function_count; i++) { /* one sharp case: the mean fraction is the fraction */
        const struct rw_function_deficit *f = &d.functions[i];
        struct rw_function_power power;
        rw_function_power(&d, f->function, NULL, 0, &power);
        cr_assert_float_eq(power.grade, f->expected_grade, 1e-9);
        cr_assert_float_eq(power.p_useful, f->p_useful, 1e-9);
        cr_assert_float_eq(power.p_strong, f->p_strong, 1e-9);
    }
    free(exam);
}

Test(functions, what_is_spent_weakens_what_it_moves_or_steadies_and_nothing_else) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    give_motor(exam, "trapezius=5 serratus_anterior=5 triceps_long_head=5");
    const struct rw_case c = complete_at(1.0, "musculocutaneous_high");
    const struct rw_deficits d = deficits_of(exam, &c);
    static const char *const touched[] = {"scapular_elevation", "scapular_retraction", "overhead_reach"};
    for (size_t i = 0; i < sizeof touched / sizeof touched[0]; i++) {
        double before = power_of(&d, touched[i], "trapezius", 0.0).grade;
        for (double share = 0.25; share <= 1.0; share += 0.25) {
            const double grade = power_of(&d, touched[i], "trapezius", share).grade;
            cr_assert_lt(grade, before, "%s, %.2f", touched[i], share);
            before = grade;
        }
    }
    cr_assert_float_eq(power_of(&d, "elbow_extension", "trapezius", 1.0).grade,
                       power_of(&d, "elbow_extension", "trapezius", 0.0).grade, EXACT);
    /* two heads of triceps are enough to straighten the elbow (common practice) */
    cr_assert_gt(power_of(&d, "elbow_extension", "triceps_long_head", 1.0).p_strong, 0.8);
    cr_assert_lt(power_of(&d, "overhead_reach", "trapezius", 1.0).p_useful, 0.5);
    free(exam);
}

Test(functions, shares_of_one_muscle_spent_twice_multiply) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 100);
    const struct rw_case c = complete_at(1.0, "musculocutaneous_high");
    const struct rw_deficits d = deficits_of(exam, &c);
    const struct rw_spend twice[] = {{muscle_of("flexor_carpi_ulnaris"), 0.5},
                                     {muscle_of("flexor_carpi_ulnaris"), 0.5}};
    struct rw_function_power power;
    rw_function_power(&d, rw_target_find(RW_TARGET_FUNCTION, "wrist_flexion"), twice, 2, &power);
    cr_assert_float_eq(power.grade, power_of(&d, "wrist_flexion", "flexor_carpi_ulnaris", 0.75).grade, EXACT);
    free(exam);
}
