/* Rules beside the model: what raises each of them and what just does not, and which referral wins. */
#include "hand_made.h"

#include "rules.h"

/* ---- made exams ---- */

enum { UNDATED = -1 };

/* An exam and what the model is taken to hold of it. */
struct made {
    const char *findings; /* "sign:ptosis no_sign:miosis hemidiaphragm:reduced reflex:brisk", or NULL */
    const char *lesion;   /* the one likely lesion: a site, with ~ in front when it is partial; or NULL */
    enum rw_mechanism mechanism;
    int32_t delay; /* days from onset to exam */
    int still;     /* per cent of the arm's muscles that do not move */
    bool useless_elbow;
};

static void give_words(struct rw_exam *exam, const char *words) {
    char text[256];
    cr_assert_lt(strlen(words), sizeof text);
    memcpy(text, words, strlen(words) + 1);
    char *rest = NULL;
    for (char *word = strtok_r(text, " ", &rest); word != NULL; word = strtok_r(NULL, " ", &rest)) {
        char *value = strchr(word, ':');
        *value++ = '\0';
        if (strcmp(word, "sign") == 0)
            give(exam, RW_SECTION_SIGN, value, "true");
        else if (strcmp(word, "no_sign") == 0)
            give(exam, RW_SECTION_SIGN, value, "false");
        else if (strcmp(word, "hemidiaphragm") == 0)
            give(exam, RW_SECTION_HEMIDIAPHRAGM, "", value);
        else if (strcmp(word, "reflex") == 0)
            give(exam, RW_SECTION_REFLEX, "triceps", value);
        else
            cr_assert_fail("no such word: %s", word);
    }
}

/* The share of the arm's muscles without movement, in whole muscles and never more than asked for. */
static void hold_still(struct rw_deficits *d, int percent) {
    const struct rw_model *m = rw_model();
    for (uint16_t t = 0; t < m->target_count; t++)
        if (m->targets[t].kind == RW_TARGET_MUSCLE)
            d->muscles[d->muscle_count++] = (struct rw_muscle_state){.muscle = t, .grade = {[5] = 1.0}};
    size_t arm = 0, still = 0;
    for (size_t i = 0; i < d->muscle_count; i++)
        arm += m->targets[d->muscles[i].muscle].entry == RW_ENTRY_ALL;
    for (size_t i = 0; i < d->muscle_count; i++)
        if (m->targets[d->muscles[i].muscle].entry == RW_ENTRY_ALL &&
            100 * (still + 1) <= (size_t)percent * arm) {
            d->muscles[i].grade[5] = 0.4;
            d->muscles[i].grade[still++ % 2] = 0.6; /* M0 or M1 */
        }
}

/* One more likely lesion in the one listed hypothesis. */
static void add_lesion(struct rw_assessment *a, const char *site, enum rw_severity severity) {
    struct rw_hypothesis *h = &a->localisation.hypotheses[0];
    a->localisation.hypothesis_count = 1;
    h->probability = 0.6;
    h->lesions[h->lesion_count++] = (struct rw_lesion){.site = site_of(site), .severity = (uint8_t)severity};
}

static struct rw_assessment *raise(const struct made *made) {
    struct rw_exam *exam = new_exam(made->mechanism, 1000, 1000 + made->delay);
    struct rw_assessment *a = calloc(1, sizeof *a);
    if (made->delay == UNDATED)
        exam->onset_day = RW_NO_DAY;
    exam->age_years = NAN;
    if (made->findings)
        give_words(exam, made->findings);
    a->localisation.informative = true;
    a->localisation.no_lesion = made->lesion ? 0.1 : 0.6;
    if (made->lesion) {
        give(exam, RW_SECTION_MOTOR, "deltoid", "0");
        const bool partial = made->lesion[0] == '~';
        add_lesion(a, made->lesion + partial, partial ? RW_PARTIAL : RW_COMPLETE);
    }
    hold_still(&a->deficits, made->still);
    a->deficits.functions[a->deficits.function_count++] =
        (struct rw_function_deficit){.function = rw_target_find(RW_TARGET_FUNCTION, "elbow_flexion"),
                                     .p_useful = made->useless_elbow ? 0.4 : 0.6};
    rw_rules(exam, &a->localisation, a);
    free(exam);
    return a;
}

static const char *id_of(uint16_t rule) {
    return rule == RW_NONE ? "none" : rw_model()->rules[rule].id;
}

static const char *referral(const struct rw_assessment *a) {
    return id_of(a->referral.rule);
}

static const struct rw_raised_rule *urgent(const struct rw_assessment *a, const char *id) {
    for (size_t i = 0; i < a->urgent_count; i++)
        if (strcmp(id_of(a->urgent[i].rule), id) == 0)
            return &a->urgent[i];
    return NULL;
}

/* ---- each rule: one exam that raises it, one that just does not ---- */

#define M(name)  RW_MECHANISM_##name
#define NERVE    "radial_groove"
#define PARTIAL  "~radial_groove"
#define SHOULDER "axillary_main"
#define TORN     "c6_preganglionic"
#define MADE(words, site, kind, days)                                                                        \
    { .findings = (words), .lesion = (site), .mechanism = M(kind), .delay = (days) }
#define STILL(site, kind, days, percent)                                                                     \
    { .lesion = (site), .mechanism = M(kind), .delay = (days), .still = (percent) }
#define ELBOW(site, kind, days)                                                                              \
    { .lesion = (site), .mechanism = M(kind), .delay = (days), .useless_elbow = true }

/* A referral counts as raised when it wins. */
static const struct {
    const char *rule;
    struct made raises, misses;
} pairs[] = {
    {"pulse_absent", MADE("sign:arm_pulse_absent", NULL, TRACTION, 1),
     MADE("no_sign:arm_pulse_absent", NULL, TRACTION, 1)},
    {"expanding_swelling", MADE("sign:expanding_swelling", NULL, IATROGENIC, 1),
     MADE("sign:open_wound", NULL, IATROGENIC, 1)},
    {"long_tracts", MADE("sign:long_tract_signs", NULL, TRACTION, 900),
     MADE("no_sign:long_tract_signs", NULL, TRACTION, 900)},
    {"open_sharp", MADE("sign:open_wound", NULL, LACERATION, 1), MADE("sign:open_wound", NULL, GUNSHOT, 1)},
    {"open_gunshot", MADE("sign:open_wound", NULL, GUNSHOT, 1), MADE("sign:open_wound", NULL, LACERATION, 1)},
    {"open_fracture", MADE("sign:open_wound", NULL, FRACTURE, 1),
     MADE("no_sign:open_wound", NULL, FRACTURE, 1)},
    {"open_other", MADE("sign:open_wound", NULL, UNKNOWN, 1), MADE("sign:open_wound", NULL, DISLOCATION, 1)},
    {"breathless_diaphragm", MADE("sign:breathless hemidiaphragm:paralysed", NULL, TRACTION, 1),
     MADE("sign:breathless hemidiaphragm:reduced", NULL, TRACTION, 1)},
    {"breathless_injury", MADE("sign:breathless", NULL, IATROGENIC, 1),
     MADE("sign:breathless", NULL, INFLAMMATORY, 1)},
    {"breathless_no_injury", MADE("sign:breathless", NULL, INFLAMMATORY, 1),
     MADE("sign:breathless", NULL, GUNSHOT, 1)},
    {"birth_breathless", MADE("sign:breathless", NULL, BIRTH, 1), MADE("no_sign:breathless", NULL, BIRTH, 1)},
    {"birth_diaphragm", MADE("hemidiaphragm:paralysed", NULL, BIRTH, 9),
     MADE("hemidiaphragm:reduced", NULL, BIRTH, 9)},
    {"flail_injury", STILL(NERVE, TRACTION, 14, 100), STILL(NERVE, TRACTION, 14, 80)},
    {"flail_no_injury", STILL(NULL, UNKNOWN, 14, 100), STILL(NULL, UNKNOWN, 15, 100)},
    {"reduce_first", MADE(NULL, NERVE, FRACTURE, 14), MADE(NULL, PARTIAL, FRACTURE, 14)},
    {"operation_early", MADE(NULL, NERVE, IATROGENIC, 7), MADE(NULL, NERVE, IATROGENIC, 8)},
    {"brisk_reflex", MADE("reflex:brisk", PARTIAL, TRACTION, 9),
     MADE("reflex:reduced", PARTIAL, TRACTION, 9)},
    {"horner_without_injury", MADE("sign:miosis", NULL, UNKNOWN, 9),
     MADE("no_sign:miosis", NULL, UNKNOWN, 9)},
    {"horner_injury", MADE("sign:ptosis", NULL, TRACTION, 30), MADE("sign:ptosis", NULL, TRACTION, 31)},
    {"diaphragm_other_side", MADE("hemidiaphragm:paralysed", NULL, TRACTION, 9),
     MADE("hemidiaphragm:paralysed", NULL, BIRTH, 9)},
    {"birth_flail", STILL(NERVE, BIRTH, 365, 100), STILL(NERVE, BIRTH, 366, 100)},
    {"birth_horner", MADE("sign:ptosis", NULL, BIRTH, 9), MADE("sign:ptosis", NULL, TRACTION, 9)},

    {"refer_vessel", MADE("sign:expanding_swelling", NULL, TRACTION, 9),
     MADE("sign:breathless", NULL, TRACTION, 9)},
    {"refer_open", MADE("sign:open_wound", PARTIAL, FRACTURE, 9), MADE("sign:open_wound", NULL, FRACTURE, 9)},
    {"refer_sharp", MADE(NULL, PARTIAL, LACERATION, 28), MADE(NULL, PARTIAL, LACERATION, 29)},
    {"refer_undated", MADE(NULL, NERVE, TRACTION, UNDATED), MADE(NULL, PARTIAL, TRACTION, UNDATED)},
    {"refer_avulsion", MADE(NULL, TORN, TRACTION, 365), MADE(NULL, TORN, TRACTION, 366)},
    {"refer_flail", STILL(NERVE, DISLOCATION, 91, 100), STILL(NERVE, DISLOCATION, 91, 80)},
    {"refer_traction", MADE(NULL, NERVE, TRACTION, 91), MADE(NULL, PARTIAL, TRACTION, 91)},
    {"refer_fracture_shoulder", MADE(NULL, SHOULDER, FRACTURE, 91), MADE(NULL, NERVE, FRACTURE, 91)},
    {"refer_operation", MADE(NULL, NERVE, IATROGENIC, 91), MADE(NULL, NERVE, IATROGENIC, 92)},
    {"refer_gunshot", MADE(NULL, PARTIAL, GUNSHOT, 91), MADE(NULL, PARTIAL, GUNSHOT, 92)},
    {"refer_laceration", MADE(NULL, PARTIAL, LACERATION, 29), MADE(NULL, PARTIAL, LACERATION, 366)},
    {"refer_over_3_months", MADE(NULL, NERVE, DISLOCATION, 92), MADE(NULL, NERVE, DISLOCATION, 91)},
    {"refer_over_6_months", MADE(NULL, NERVE, TRACTION, 184), MADE(NULL, NERVE, TRACTION, 183)},
    {"refer_tumour", MADE(NULL, PARTIAL, TUMOUR, 900), MADE(NULL, PARTIAL, RADIATION, 900)},
    {"refer_birth_flail", STILL(NERVE, BIRTH, 20, 100), STILL(NERVE, BIRTH, 20, 80)},
    {"refer_birth_horner", MADE("sign:ptosis", PARTIAL, BIRTH, 20), MADE("sign:ptosis", PARTIAL, BIRTH, 366)},
    {"refer_birth_elbow", ELBOW(PARTIAL, BIRTH, 92), ELBOW(PARTIAL, BIRTH, 91)},
    {"refer_12_to_18_months", MADE(NULL, NERVE, LACERATION, 548), MADE(NULL, NERVE, LACERATION, 549)},
    {"refer_partial_late", MADE(NULL, PARTIAL, FRACTURE, 184), MADE(NULL, PARTIAL, FRACTURE, 183)},
    {"refer_undated_partial", MADE(NULL, PARTIAL, FRACTURE, UNDATED), MADE(NULL, PARTIAL, FRACTURE, 90)},
    {"refer_closed_bone", MADE(NULL, NERVE, FRACTURE, 91), MADE(NULL, SHOULDER, FRACTURE, 91)},
    {"refer_partial", MADE(NULL, PARTIAL, TRACTION, 10), MADE(NULL, NULL, TRACTION, 10)},
    {"refer_operation_partial", MADE(NULL, PARTIAL, IATROGENIC, 10), MADE(NULL, NERVE, IATROGENIC, 10)},
    {"refer_birth_late", MADE(NULL, PARTIAL, BIRTH, 366), MADE(NULL, PARTIAL, BIRTH, 365)},
    {"refer_birth", MADE(NULL, PARTIAL, BIRTH, 92), ELBOW(PARTIAL, BIRTH, 92)},
    {"refer_inflammatory_late", MADE(NULL, NERVE, INFLAMMATORY, 184), MADE(NULL, PARTIAL, INFLAMMATORY, 184)},
    {"refer_inflammatory", MADE(NULL, NERVE, INFLAMMATORY, 183), MADE(NULL, NERVE, INFLAMMATORY, 184)},
    {"refer_radiation", MADE(NULL, PARTIAL, RADIATION, 9), MADE(NULL, NULL, RADIATION, 9)},
    {"refer_compression", MADE(NULL, NERVE, COMPRESSION, 900), MADE(NULL, PARTIAL, COMPRESSION, 900)},
    {"refer_unknown", MADE(NULL, PARTIAL, UNKNOWN, 9), MADE(NULL, NULL, UNKNOWN, 9)},
    {"refer_over_18_months", MADE(NULL, NERVE, TRACTION, 549), MADE(NULL, NERVE, TRACTION, 548)},
    {"refer_routine", MADE(NULL, PARTIAL, COMPRESSION, 900), MADE(NULL, NERVE, COMPRESSION, 900)},
};

static bool raises(const char *rule, const struct made *made) {
    struct rw_assessment *a = raise(made);
    const bool raised = urgent(a, rule) != NULL || strcmp(referral(a), rule) == 0;
    free(a);
    return raised;
}

Test(rules, each_is_raised_by_what_it_names_and_not_by_what_nearly_is_so) {
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        cr_expect(raises(pairs[i].rule, &pairs[i].raises), "%s is not raised", pairs[i].rule);
        cr_expect_not(raises(pairs[i].rule, &pairs[i].misses), "%s is raised", pairs[i].rule);
    }
}

Test(rules, each_has_a_pair_of_exams_above) {
    for (size_t r = 0; r < rw_model()->rule_count; r++) {
        bool found = strcmp(rw_model()->rules[r].kind, "caution") == 0;
        for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++)
            found = found || strcmp(pairs[i].rule, rw_model()->rules[r].id) == 0;
        cr_expect(found, "%s is not tried", rw_model()->rules[r].id);
    }
}

/* ---- what holds for all of them ---- */

Test(rules, a_matter_is_raised_with_every_finding_behind_it) {
    struct rw_assessment *a =
        raise(&(struct made)MADE("sign:miosis no_sign:anhidrosis sign:ptosis", NULL, TUMOUR, 9));
    const struct rw_raised_rule *horner = urgent(a, "horner_without_injury");
    char first[96], second[96];
    cr_assert_not_null(horner);
    cr_assert_eq(horner->because_count, 2);
    rw_check_pointer(horner->because[0], first, sizeof first);
    rw_check_pointer(horner->because[1], second, sizeof second);
    cr_assert_str_eq(first, "/signs/ptosis");
    cr_assert_str_eq(second, "/signs/miosis");
    cr_assert_eq(a->urgent_count, 1);
    free(a);
}

Test(rules, the_soonest_referral_wins_and_the_first_among_equals) {
    struct made made = MADE(NULL, PARTIAL, TRACTION, 10);
    const char *const lesions[] = {PARTIAL, NERVE, TORN};
    const char *const expected[] = {"refer_partial", "refer_traction", "refer_avulsion"};
    for (size_t i = 0; i < 3; i++) { /* weeks; days; days too, and earlier in the knowledge */
        made.lesion = lesions[i];
        struct rw_assessment *a = raise(&made);
        cr_assert_str_eq(referral(a), expected[i]);
        free(a);
    }
    made.findings = "sign:open_wound";
    struct rw_assessment *a = raise(&made);
    cr_assert_str_eq(referral(a), "refer_open"); /* immediate */
    free(a);
}

/* The longer ago, the less there is to gain by speed; until six months it is the other way about. */
Test(rules, a_closed_complete_injury_is_referred_by_its_age) {
    static const struct {
        int32_t delay;
        enum rw_how_soon dislocation, traction;
    } ages[] = {{10, RW_SOON_WEEKS, RW_SOON_DAYS},
                {100, RW_SOON_DAYS, RW_SOON_DAYS},
                {300, RW_SOON_DAYS, RW_SOON_DAYS},
                {400, RW_SOON_WEEKS, RW_SOON_WEEKS},
                {600, RW_SOON_ROUTINE, RW_SOON_ROUTINE}};
    for (size_t i = 0; i < sizeof ages / sizeof *ages; i++) {
        struct rw_assessment *a = raise(&(struct made)MADE(NULL, SHOULDER, DISLOCATION, ages[i].delay));
        struct rw_assessment *b = raise(&(struct made)MADE(NULL, SHOULDER, TRACTION, ages[i].delay));
        cr_expect_eq(rw_model()->rules[a->referral.rule].how_soon, ages[i].dislocation, "%d", ages[i].delay);
        cr_expect_eq(rw_model()->rules[b->referral.rule].how_soon, ages[i].traction, "%d", ages[i].delay);
        free(a);
        free(b);
    }
}

/* Nobody waits longer because a date is missing, whatever the mechanism and the lesion. */
Test(rules, an_unknown_onset_is_never_referred_later_than_a_fresh_one) {
    const char *const lesions[] = {PARTIAL, NERVE, SHOULDER, TORN};
    for (enum rw_mechanism m = 0; m < RW_MECHANISM_COUNT; m++)
        for (size_t i = 0; i < 4; i++) {
            struct rw_assessment *fresh =
                                     raise(&(struct made){.lesion = lesions[i], .mechanism = m, .delay = 10}),
                                 *undated = raise(
                                     &(struct made){.lesion = lesions[i], .mechanism = m, .delay = UNDATED});
            cr_expect_leq(rw_model()->rules[undated->referral.rule].how_soon,
                          rw_model()->rules[fresh->referral.rule].how_soon, "%s %s", rw_mechanism_name(m),
                          lesions[i]);
            free(fresh);
            free(undated);
        }
}

Test(rules, a_birth_palsy_without_an_onset_dates_from_birth) {
    struct rw_exam *exam = new_exam(M(BIRTH), RW_NO_DAY, 5000);
    struct rw_assessment *a = calloc(1, sizeof *a);
    give_motor(exam, "deltoid=0");
    a->localisation.informative = true;
    exam->age_years = 6;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_birth_late");
    exam->age_years = 0.1;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_birth");
    exam->age_years = NAN;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_birth");
    free(a);
    free(exam);
}

/* In doubt between two places, neither of them alone is likely; that one of them is hurt is. */
Test(rules, doubt_between_two_regions_is_no_doubt_that_one_is_hurt) {
    struct rw_exam *exam = new_exam(M(FRACTURE), 1000, 1020);
    struct rw_assessment *a = calloc(1, sizeof *a);
    const char *const sites[] = {"upper_trunk_proximal", "axillary_main", "radial_groove"};
    const double probability[] = {0.3, 0.3, 0.4};
    give_motor(exam, "deltoid=0");
    a->localisation.informative = true;
    a->localisation.hypothesis_count = 3;
    for (size_t i = 0; i < 3; i++) {
        struct rw_hypothesis *h = &a->localisation.hypotheses[i];
        h->probability = probability[i];
        h->lesion_count = 1;
        h->lesions[0] = (struct rw_lesion){.site = site_of(sites[i]), .severity = RW_COMPLETE};
    }
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_fracture_shoulder");
    a->localisation.hypotheses[0].probability = 0.05;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_closed_bone");
    free(a);
    free(exam);
}

Test(rules, an_exam_that_says_nothing_shows_no_lesion) {
    struct rw_exam *exam = new_exam(M(LACERATION), 0, 10);
    struct rw_assessment *a = calloc(1, sizeof *a);
    give_motor(exam, "deltoid=0");
    rw_rules(exam, &a->localisation, a); /* not informative: the prior alone refers nobody */
    cr_assert_str_eq(referral(a), "none");
    a->localisation.informative = true;
    rw_rules(exam, &a->localisation, a);
    cr_assert_str_eq(referral(a), "refer_sharp");
    exam->findings[0].value = (uint8_t)rw_value_find(exam->findings[0].check, "5");
    rw_rules(exam, &a->localisation, a); /* nothing found: nor does the prior here */
    cr_assert_str_eq(referral(a), "none");
    free(a);
    free(exam);
}

/* ---- with the engine's own answer ---- */

/* An ulnar palsy of which nothing tells the level: that it is complete is sure all the same. */
Test(rules, doubt_about_the_place_is_no_doubt_about_the_severity) {
    struct rw_exam *exam = new_exam(M(IATROGENIC), 1000, 1040);
    give_motor(exam, "first_dorsal_interosseous=0 abductor_digiti_minimi=0");
    give(exam, RW_SECTION_SKIN_NERVE, "ulnar_digital", "absent");
    struct rw_assessment *a = assess(exam);
    for (size_t i = 0; i < rw_model()->site_count; i++)
        cr_assert_lt(a->localisation.sites[i].p_complete, 0.5, "the place is no longer in doubt");
    cr_assert_str_eq(referral(a), "refer_operation");
    free(a);
    free(exam);
}

/* A flail arm under every kind of injury is seen within days, and it is looked over for what else is hurt. */
Test(rules, a_flail_arm_never_waits_weeks) {
    static const enum rw_mechanism kinds[] = {M(TRACTION), M(DISLOCATION), M(FRACTURE), M(GUNSHOT),
                                              M(UNKNOWN)};
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        struct rw_exam *exam = new_exam(kinds[i], 1000, 1005);
        give_motor(exam, "deltoid=0 infraspinatus=0 biceps_brachii=0 triceps_brachii=0 extensor_digitorum=0 "
                         "flexor_digitorum_profundus=0 thenar=0 hand_intrinsics_ulnar=0");
        struct rw_assessment *a = assess(exam);
        const struct rw_raised_rule *flail =
            urgent(a, kinds[i] == M(UNKNOWN) ? "flail_no_injury" : "flail_injury");
        cr_expect_eq(rw_model()->rules[a->referral.rule].how_soon, RW_SOON_DAYS, "%s", referral(a));
        cr_assert_not_null(flail, "%s", rw_mechanism_name(kinds[i]));
        cr_expect_eq(flail->because_count, 4);
        free(a);
        free(exam);
    }
}
