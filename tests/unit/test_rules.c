/* Rules beside the model: each condition of the grammar, and which referral wins. */
#include "hand_made.h"

#include "rules.h"

static struct rw_assessment *raise(const struct rw_exam *exam, double lesion) {
    struct rw_assessment *a = calloc(1, sizeof *a);
    a->localisation.informative = true;
    a->localisation.no_lesion = 1.0 - lesion;
    rw_rules(exam, &a->localisation, a);
    return a;
}

static bool urgent(const struct rw_assessment *a, const char *id, const char *pointer) {
    for (size_t i = 0; i < a->urgent_count; i++) {
        char text[96] = "";
        if (strcmp(rw_model()->rules[a->urgent[i].rule].id, id) != 0)
            continue;
        if (a->urgent[i].because_count > 0)
            rw_check_pointer(a->urgent[i].because[0], text, sizeof text);
        return strcmp(text, pointer) == 0;
    }
    return false;
}

static const char *referral(const struct rw_assessment *a) {
    return a->referral.rule == RW_NONE ? "none" : rw_model()->rules[a->referral.rule].id;
}

Test(rules, a_recorded_sign_raises_its_matter_with_its_finding) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 10);
    give(exam, RW_SECTION_SIGN, "arm_pulse_absent", "true");
    struct rw_assessment *a = raise(exam, 0.0);
    cr_assert(urgent(a, "pulse_absent", "/signs/arm_pulse_absent"));
    cr_assert_eq(a->urgent_count, 1);
    free(a);
    exam->findings[0].value = (uint8_t)rw_value_find(exam->findings[0].check, "false");
    a = raise(exam, 0.0);
    cr_assert_eq(a->urgent_count, 0, "recorded as not present");
    cr_assert_str_eq(referral(a), "none");
    free(a);
    free(exam);
}

Test(rules, all_conditions_must_hold_and_one_word_of_each_is_enough) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_LACERATION, 0, 10);
    give(exam, RW_SECTION_SIGN, "open_wound", "true");
    struct rw_assessment *a = raise(exam, 0.0);
    cr_assert(urgent(a, "open_sharp", "/signs/open_wound"));
    cr_assert_not(urgent(a, "open_gunshot", "/signs/open_wound"));
    free(a);
    exam->mechanism = RW_MECHANISM_DISLOCATION; /* second word of open_other's list */
    a = raise(exam, 0.0);
    cr_assert(urgent(a, "open_other", "/signs/open_wound"));
    cr_assert_not(urgent(a, "open_sharp", "/signs/open_wound"));
    free(a);
    give(exam, RW_SECTION_SIGN, "breathless", "true");
    a = raise(exam, 0.0);
    cr_assert_not(urgent(a, "breathless_diaphragm", "/signs/breathless"));
    free(a);
    give(exam, RW_SECTION_HEMIDIAPHRAGM, "", "paralysed");
    a = raise(exam, 0.0);
    cr_assert(urgent(a, "breathless_diaphragm", "/signs/breathless"));
    free(a);
    free(exam);
}

/* A list of one hypothesis with one lesion more. */
static void add_lesion(struct rw_assessment *a, const char *site, enum rw_severity severity) {
    struct rw_hypothesis *h = &a->localisation.hypotheses[0];
    a->localisation.hypothesis_count = 1;
    h->probability = 0.6;
    h->lesions[h->lesion_count++] = (struct rw_lesion){.site = site_of(site), .severity = (uint8_t)severity};
}

Test(rules, the_soonest_referral_wins) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 10);
    struct rw_assessment *a = raise(exam, 0.4);
    cr_assert_str_eq(referral(a), "none", "no lesion is likely");
    a->localisation.no_lesion = 0.1;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_closed"); /* weeks, before routine */
    add_lesion(a, "upper_trunk_proximal", RW_COMPLETE);
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_traction_complete"); /* days */
    add_lesion(a, "c6_preganglionic", RW_PARTIAL);
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_avulsion"); /* days too: the first in the knowledge */
    give(exam, RW_SECTION_SIGN, "open_wound", "true");
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_open"); /* immediate */
    free(a);
    free(exam);
}

Test(rules, delay_counts_from_a_known_onset) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_DISLOCATION, 1000, 1090);
    struct rw_assessment *a = raise(exam, 0.9);
    add_lesion(a, "axillary_main", RW_COMPLETE);
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_closed", "90 days is not over 90");
    exam->examined_day = 1091;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_late_complete");
    exam->onset_day = RW_NO_DAY;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_closed");
    free(a);
    free(exam);
}

Test(rules, an_exam_that_says_nothing_shows_no_lesion) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_LACERATION, 0, 10);
    struct rw_assessment *a = calloc(1, sizeof *a);
    rw_rules(exam, &a->localisation, a); /* not informative: the prior alone refers nobody */
    cr_assert_str_eq(referral(a), "none");
    free(a);
    free(exam);
}

/* An ulnar palsy of which nothing tells the level: that it is complete is sure all the same. */
Test(rules, doubt_about_the_place_is_no_doubt_about_the_severity) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_IATROGENIC, 1000, 1040);
    give_motor(exam, "first_dorsal_interosseous=0 abductor_digiti_minimi=0");
    give(exam, RW_SECTION_SKIN_NERVE, "ulnar_digital", "absent");
    struct rw_assessment *a = assess(exam);
    for (size_t i = 0; i < rw_model()->site_count; i++)
        cr_assert_lt(a->localisation.sites[i].p_complete, 0.5, "the place is no longer in doubt");
    cr_assert_str_eq(referral(a), "refer_iatrogenic_complete");
    free(a);
    free(exam);
}

Test(rules, a_brisk_reflex_in_an_arm_with_loss_points_to_the_cord) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 0, 10);
    give(exam, RW_SECTION_REFLEX, "triceps", "brisk");
    struct rw_assessment *a = raise(exam, 0.4);
    cr_assert_not(urgent(a, "brisk_reflex", "/reflexes/triceps"), "no lesion is likely");
    a->localisation.no_lesion = 0.1;
    rw_rules(exam, &a->localisation, a);
    cr_assert(urgent(a, "brisk_reflex", "/reflexes/triceps"));
    exam->findings[0].value = (uint8_t)rw_value_find(exam->findings[0].check, "reduced");
    rw_rules(exam, &a->localisation, a);
    cr_assert_eq(a->urgent_count, 0);
    free(a);
    free(exam);
}
