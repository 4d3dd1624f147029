/* Several visits of one injury: what must hold of any course, what changed, and how recovery keeps its time. */
#include "localise.h"
#include "visits.h"

static const struct rw_change *change_of(const struct rw_course *c, const char *muscle) {
    const uint16_t check = rw_check_find(RW_SECTION_MOTOR, muscle);
    for (size_t i = 0; i < c->change_count; i++)
        if (c->changes[i].check == check)
            return &c->changes[i];
    cr_assert_fail("no change of %s", muscle);
    return NULL;
}

static const struct rw_muscle_pace *pace_of(const struct rw_course *c, const char *muscle) {
    for (size_t i = 0; i < c->muscle_count; i++)
        if (c->muscles[i].muscle == muscle_of(muscle))
            return &c->muscles[i];
    cr_assert_fail("no pace of %s", muscle);
    return NULL;
}

#define UPPER_GONE                                                                                           \
    "supraspinatus=0 infraspinatus=0 deltoid_lateral=0 biceps_brachii=0 brachioradialis=0 rhomboids=5 "      \
    "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5"
#define UPPER_WHOLE                                                                                          \
    "supraspinatus=5 infraspinatus=5 deltoid_lateral=5 biceps_brachii=5 brachioradialis=5 rhomboids=5 "      \
    "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5"
#define UPPER_BACK                                                                                           \
    "supraspinatus=4 infraspinatus=4 deltoid_lateral=4 biceps_brachii=4 brachioradialis=3 rhomboids=5 "      \
    "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5"

/* ---- one visit ---- */

Test(course, one_visit_is_its_own_posterior_over_the_list) {
    struct visits visits = {0};
    add(&visits, 60, UPPER_GONE);
    struct rw_course *c = course_of(&visits);
    struct rw_arena arena = {.size = rw_workspace_size(), .base = malloc(rw_workspace_size())};
    struct rw_localisation *l = malloc(sizeof *l);
    struct rw_localise_result result;
    cr_assert_eq(rw_localise(visits.exams[0], &arena, l, &result), RW_OK);
    double held = 0.0;
    for (size_t i = 0; i < result.hypothesis_count; i++)
        held += result.hypotheses[i].shown.probability;
    cr_assert_float_eq(c->covers, held, AGREES);
    cr_assert_gt(c->hypothesis_count, 9);
    for (size_t i = 0; i < c->hypothesis_count; i++) {
        const struct rw_hypothesis *h = &c->hypotheses[i].first, *own = &result.hypotheses[i].shown;
        cr_assert_float_eq(h->probability, own->probability / held, AGREES);
        cr_assert_float_eq(c->hypotheses[i].p_alone, own->probability, AGREES);
        cr_assert_float_eq(h->log_likelihood, own->log_likelihood, AGREES);
    }
    cr_assert_eq(c->change_count, 0);
    free(l);
    free(arena.base);
    free(c);
    release(&visits);
}

/* ---- what must hold ---- */

Test(course, a_visit_without_findings_changes_nothing) {
    struct visits two = {0}, three = {0};
    add(&two, 40, UPPER_GONE);
    add(&two, 200, UPPER_BACK);
    add(&three, 40, UPPER_GONE);
    three.exams[three.count++] = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 97);
    add(&three, 200, UPPER_BACK);
    struct rw_course *a = course_of(&two), *b = course_of(&three);
    for (size_t i = 0; i < 10; i++) {
        const struct rw_hypothesis *x = &a->hypotheses[i].first, *y = &b->hypotheses[i].first;
        cr_assert_eq(memcmp(x->lesions, y->lesions, sizeof x->lesions), 0);
        cr_assert_float_eq(x->log_likelihood, y->log_likelihood, AGREES);
    }
    free(a);
    free(b);
    release(&two);
    release(&three);
}

Test(course, the_same_findings_again_sharpen_and_are_no_recovery) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE);
    add(&visits, 60, UPPER_GONE);
    struct rw_course *c = course_of(&visits);
    cr_assert_gt(c->hypotheses[0].first.probability, c->hypotheses[0].p_alone);
    cr_assert_lt(c->entropy, c->visits[0].entropy_alone);
    for (size_t i = 0; i < c->change_count; i++) {
        cr_assert_eq(c->changes[i].direction, RW_CHANGE_SAME);
        cr_assert_lt(c->changes[i].p_recovered, 0.1);
    }
    for (size_t i = 0; i < c->muscle_count; i++)
        cr_assert_eq(c->muscles[i].pace, RW_PACE_TOO_SOON);
    free(c);
    release(&visits);
}

/* Imaging says that C6 is torn; the muscles come back all the same. */
Test(course, recovery_clears_a_root_of_being_torn) {
    struct visits visits = {0};
    add(&visits, 60, UPPER_GONE);
    give(visits.exams[0], RW_SECTION_PSEUDOMENINGOCELE, "C6", "true");
    struct rw_course *before = course_of(&visits);
    add(&visits, 300, UPPER_WHOLE);
    struct rw_course *after = course_of(&visits);
    const double doubt = before->visits[0].roots[1].p_preganglionic,
                 left = after->visits[0].roots[1].p_preganglionic;
    cr_assert_gt(doubt, 0.2, "the test needs a doubt: %g", doubt);
    cr_assert_lt(left, 0.25 * doubt, "%g of %g is left", left, doubt);
    free(before);
    free(after);
    release(&visits);
}

Test(course, torn_roots_never_recover) {
    struct visits visits = {0};
    add(&visits, 60, UPPER_GONE);
    give(visits.exams[0], RW_SECTION_ROOT_AVULSION, "C5", "true");
    give(visits.exams[0], RW_SECTION_ROOT_AVULSION, "C6", "true");
    add(&visits, 300, UPPER_BACK);
    struct rw_course *c = course_of(&visits);
    bool some = false;
    for (size_t i = 0; i < c->hypothesis_count; i++)
        for (size_t k = 0; k < c->hypotheses[i].first.lesion_count; k++) {
            const struct rw_lesion *l = &c->hypotheses[i].first.lesions[k];
            if (!is_torn_site(l->site))
                continue;
            some = true;
            cr_assert_float_eq(c->hypotheses[i].now[k][l->severity], 1.0, EXACT);
        }
    cr_assert(some);
    for (size_t s = 0; s < rw_model()->site_count; s++)
        if (is_torn_site(s))
            cr_assert_float_eq(c->visits[1].sites[s].p_recovered, 0.0, EXACT);
    free(c);
    release(&visits);
}

Test(course, nothing_is_worse_later_and_marginals_add_up) {
    struct visits visits = {0};
    add(&visits, 30, UPPER_GONE);
    add(&visits, 170, UPPER_GONE);
    add(&visits, 330, UPPER_BACK);
    struct rw_course *c = course_of(&visits);
    for (size_t v = 0; v < 3; v++)
        for (size_t s = 0; s < rw_model()->site_count; s++) {
            const struct rw_course_site *now = &c->visits[v].sites[s],
                                        *then = &c->visits[v > 0 ? v - 1 : 0].sites[s];
            cr_assert(now->p_complete <= now->p_injured + EXACT && now->p_injured <= 1.0 + EXACT);
            cr_assert(now->p_injured <= then->p_injured + EXACT &&
                      now->p_complete <= then->p_complete + EXACT);
            cr_assert(now->p_recovered >= then->p_recovered - EXACT);
            cr_assert(v > 0 || now->p_recovered <= 0.0);
        }
    for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++)
        cr_assert_float_eq(c->visits[0].roots[r].p_preganglionic, c->visits[2].roots[r].p_preganglionic,
                           EXACT);
    free(c);
    release(&visits);
}

Test(course, visits_are_taken_by_date_in_whatever_order_they_come) {
    struct visits given = {0}, ordered = {0};
    add(&given, 200, UPPER_BACK);
    add(&given, 40, UPPER_GONE);
    add(&ordered, 40, UPPER_GONE);
    add(&ordered, 200, UPPER_BACK);
    struct rw_course *a = course_of(&given), *b = course_of(&ordered);
    cr_assert_eq(a->visits[0].exam, 1);
    cr_assert_eq(a->visits[1].exam, 0);
    a->visits[0].exam = 0;
    a->visits[1].exam = 1;
    cr_assert_eq(memcmp(a, b, sizeof *a), 0);
    free(a);
    free(b);
    release(&given);
    release(&ordered);
}

Test(course, what_one_visit_leaves_out_another_says) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE)->onset_day = RW_NO_DAY;
    add(&visits, 60, UPPER_GONE);
    visits.exams[0]->mechanism = RW_MECHANISM_UNKNOWN;
    struct rw_course *c = course_of(&visits);
    cr_assert_eq(c->mechanism, RW_MECHANISM_TRACTION);
    cr_assert_not(c->mechanisms_differ);
    cr_assert_null(c->no_pace);
    free(c);
    visits.exams[0]->mechanism = RW_MECHANISM_GUNSHOT;
    visits.exams[1]->onset_day = RW_NO_DAY;
    c = course_of(&visits);
    cr_assert_eq(c->mechanism, RW_MECHANISM_GUNSHOT);
    cr_assert(c->mechanisms_differ);
    cr_assert_not_null(c->no_pace);
    free(c);
    release(&visits);
}

/* ---- changes ---- */

Test(course, a_step_of_one_grade_in_one_muscle_is_not_called_recovery) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE);
    add(&visits, 60,
        "supraspinatus=0 infraspinatus=0 deltoid_lateral=0 biceps_brachii=1 brachioradialis=0 rhomboids=5 "
        "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5");
    struct rw_course *c = course_of(&visits);
    const struct rw_change *biceps = change_of(c, "biceps_brachii");
    cr_assert_eq(biceps->direction, RW_CHANGE_BETTER);
    cr_assert_lt(biceps->p_recovered, 0.3, "%g", biceps->p_recovered);
    free(c);
    release(&visits);
}

Test(course, recovery_of_many_muscles_is_called_so) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE);
    add(&visits, 300, UPPER_BACK);
    struct rw_course *c = course_of(&visits);
    cr_assert_gt(change_of(c, "biceps_brachii")->p_recovered, 0.9);
    cr_assert_eq(change_of(c, "rhomboids")->direction, RW_CHANGE_SAME);
    cr_assert_eq(c->changes[0].direction, RW_CHANGE_BETTER, "what matters comes first");
    free(c);
    release(&visits);
}

Test(course, a_fall_beyond_chance_is_named_and_a_small_one_is_not) {
    struct visits visits = {0};
    add(&visits, 40, "triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5 biceps_brachii=5");
    add(&visits, 60, "triceps_long_head=1 extensor_digitorum=4 first_dorsal_interosseous=5 biceps_brachii=5");
    struct rw_course *c = course_of(&visits);
    const struct rw_change *triceps = change_of(c, "triceps_long_head"),
                           *digits = change_of(c, "extensor_digitorum");
    cr_assert_eq(triceps->direction, RW_CHANGE_WORSE);
    cr_assert(triceps->beyond_chance, "%g", triceps->p_chance);
    cr_assert_eq(digits->direction, RW_CHANGE_WORSE);
    cr_assert_not(digits->beyond_chance, "%g", digits->p_chance);
    cr_assert_eq(&c->changes[0], triceps);
    free(c);
    release(&visits);
}

Test(course, signs_that_were_not_due_and_percussion_are_neither_better_nor_worse) {
    struct visits visits = {0};
    add(&visits, 5, "deltoid_lateral=0");
    give(visits.exams[0], RW_SECTION_WASTING, "deltoid_lateral", "false");
    give(visits.exams[0], RW_SECTION_PERCUSSION, "infraclavicular", "none");
    give(visits.exams[0], RW_SECTION_SIGN, "long_tract_signs", "false");
    add(&visits, 60, "deltoid_lateral=0");
    give(visits.exams[1], RW_SECTION_WASTING, "deltoid_lateral", "true");
    give(visits.exams[1], RW_SECTION_PERCUSSION, "infraclavicular", "radiating");
    give(visits.exams[1], RW_SECTION_SIGN, "long_tract_signs", "true");
    struct rw_course *c = course_of(&visits);
    cr_assert_eq(c->change_count, 4);
    for (size_t i = 0; i < c->change_count; i++) {
        const enum rw_section section = rw_model()->checks[c->changes[i].check].section;
        cr_assert_eq(c->changes[i].direction, section == RW_SECTION_SIGN    ? RW_CHANGE_WORSE
                                              : section == RW_SECTION_MOTOR ? RW_CHANGE_SAME
                                                                            : RW_CHANGE_OTHER);
    }
    cr_assert(c->changes[0].beyond_chance, "a red flag that is new");
    cr_assert(isnan(c->changes[0].p_recovered), "and has no part in the inference");
    free(c);
    release(&visits);
}

/* ---- pace ---- */

#define AXILLARY(grade)                                                                                      \
    "deltoid_lateral=" grade " deltoid_posterior=" grade " teres_minor=" grade                               \
    " biceps_brachii=5 infraspinatus=5 triceps_long_head=5 supraspinatus=5"

static enum rw_pace deltoid_pace(int32_t second, const char *grades, int32_t third,
                                 const char *third_grades) {
    struct visits visits = {0};
    add(&visits, 10, AXILLARY("0"));
    add(&visits, second, grades);
    if (third > 0)
        add(&visits, third, third_grades);
    struct rw_course *c = course_of(&visits);
    const enum rw_pace pace = pace_of(c, "deltoid_lateral")->pace;
    free(c);
    release(&visits);
    return pace;
}

/* An axillary lesion: first sign expected 69 to 144 days after onset with today's facts. */
Test(course, pace_goes_by_the_dates_of_the_first_sign) {
    cr_assert_eq(deltoid_pace(40, AXILLARY("3"), 0, NULL), RW_PACE_EARLIER);
    cr_assert_eq(deltoid_pace(120, AXILLARY("3"), 0, NULL), RW_PACE_AS_EXPECTED);
    cr_assert_eq(deltoid_pace(60, AXILLARY("0"), 0, NULL), RW_PACE_TOO_SOON);
    cr_assert_eq(deltoid_pace(250, AXILLARY("0"), 0, NULL), RW_PACE_LATER);
    cr_assert_eq(deltoid_pace(200, AXILLARY("0"), 300, AXILLARY("3")), RW_PACE_LATER);
    cr_assert_eq(deltoid_pace(120, AXILLARY("3"), 300, AXILLARY("5")), RW_PACE_RECOVERED);
}

/* Some of the muscles of an upper trunk lesion come back, in time, and others do not yet. */
Test(course, muscles_of_one_lesion_may_come_back_apart) {
    struct visits visits = {0};
    add(&visits, 50, UPPER_GONE " deltoid_anterior=0 deltoid_posterior=0 extensor_carpi_radialis_longus=2");
    add(&visits, 203,
        "supraspinatus=3 infraspinatus=3 deltoid_lateral=0 biceps_brachii=3 brachioradialis=0 rhomboids=5 "
        "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5 "
        "deltoid_anterior=0 deltoid_posterior=0 extensor_carpi_radialis_longus=2");
    for (size_t v = 0; v < 2; v++)
        give(visits.exams[v], RW_SECTION_MOVEMENT, "elbow_flexion", v == 0 ? "0" : "3");
    struct rw_course *c = course_of(&visits);
    static const char *const risen[] = {"supraspinatus", "infraspinatus", "biceps_brachii"};
    for (size_t i = 0; i < sizeof risen / sizeof *risen; i++) {
        const struct rw_muscle_pace *pace = pace_of(c, risen[i]);
        cr_expect_gt(pace->p_recovered, 0.8, "%s: %.3f", risen[i], pace->p_recovered);
        cr_expect(pace->pace == RW_PACE_AS_EXPECTED || pace->pace == RW_PACE_EARLIER, "%s: %d", risen[i],
                  (int)pace->pace);
    }
    cr_expect_lt(pace_of(c, "deltoid_lateral")->p_recovered, 0.2);
    free(c);
    release(&visits);
}

/* Something may have come back that does not show yet: that is no sign. */
Test(course, a_muscle_graded_as_at_first_shows_no_sign) {
    struct visits visits = {0};
    add(&visits, 50,
        "supraspinatus=0 infraspinatus=0 deltoid=0 biceps_brachii=0 brachioradialis=0 rhomboids=5 "
        "serratus_anterior=5 triceps_brachii=5 first_dorsal_interosseous=5");
    add(&visits, 200,
        "supraspinatus=3 infraspinatus=2 deltoid=0 biceps_brachii=3 brachioradialis=1 rhomboids=5 "
        "serratus_anterior=5 triceps_brachii=5 first_dorsal_interosseous=5");
    struct rw_course *c = course_of(&visits);
    cr_expect_eq(pace_of(c, "deltoid_posterior")->pace, RW_PACE_TOO_SOON);
    cr_expect_eq(pace_of(c, "biceps_brachii")->pace, RW_PACE_AS_EXPECTED);
    free(c);
    release(&visits);
}

/* A group that fell is no sign of its parts, and nothing that fell beyond chance is called recovered. */
Test(course, a_fall_is_no_recovery) {
    struct visits visits = {0};
    add(&visits, 20,
        "deltoid=4 biceps_brachii=4 infraspinatus=4 triceps_brachii=5 rhomboids=5 "
        "extensor_digitorum=5 first_dorsal_interosseous=5");
    add(&visits, 120,
        "deltoid=2 biceps_brachii=2 infraspinatus=4 triceps_brachii=5 rhomboids=5 "
        "extensor_digitorum=5 first_dorsal_interosseous=5");
    struct rw_course *c = course_of(&visits);
    for (size_t i = 0; i < c->muscle_count; i++)
        cr_expect(c->muscles[i].pace != RW_PACE_EARLIER && c->muscles[i].pace != RW_PACE_AS_EXPECTED,
                  "%s: %d", rw_model()->targets[c->muscles[i].muscle].id, (int)c->muscles[i].pace);
    cr_expect_lt(change_of(c, "deltoid")->p_recovered, 0.3);
    cr_expect_lt(change_of(c, "biceps_brachii")->p_recovered, 0.3);
    cr_expect(change_of(c, "biceps_brachii")->beyond_chance);
    free(c);
    release(&visits);
}

/* A group's sign is the sign of its parts. */
Test(course, parts_go_by_the_group_that_was_graded) {
    struct visits visits = {0};
    add(&visits, 30, "deltoid=0 teres_minor=0 biceps_brachii=5 infraspinatus=5 triceps_brachii=5");
    add(&visits, 150, "deltoid=3 teres_minor=2 biceps_brachii=5 infraspinatus=5 triceps_brachii=5");
    struct rw_course *c = course_of(&visits);
    const struct rw_muscle_pace *part = pace_of(c, "deltoid_lateral");
    cr_expect_float_eq(part->p_recovered, change_of(c, "deltoid")->p_recovered, AGREES);
    cr_expect_gt(part->p_recovered, 0.8);
    cr_expect_neq(part->pace, RW_PACE_LATER);
    free(c);
    release(&visits);
}

Test(course, nothing_is_expected_of_torn_roots) {
    struct visits visits = {0};
    for (size_t v = 0; v < 2; v++) {
        add(&visits, 60 + 200 * (int32_t)v, UPPER_GONE);
        for (size_t root = 0; root < 2; root++) {
            give(visits.exams[v], RW_SECTION_ROOT_AVULSION, root == 0 ? "C5" : "C6", "true");
            give(visits.exams[v], RW_SECTION_PSEUDOMENINGOCELE, root == 0 ? "C5" : "C6", "true");
        }
    }
    struct rw_course *c = course_of(&visits);
    cr_assert_eq(pace_of(c, "biceps_brachii")->pace, RW_PACE_NOT_EXPECTED);
    free(c);
    release(&visits);
}

Test(course, children_get_no_dates) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE)->age_years = 4;
    add(&visits, 90, UPPER_GONE)->age_years = 4;
    struct rw_course *c = course_of(&visits);
    cr_assert_not_null(c->no_pace);
    cr_assert_eq(c->muscle_count, 0);
    free(c);
    release(&visits);
}

/* ---- which visits go together ---- */

Test(course, visits_go_together_by_side_and_onset) {
    static const struct rw_visit_key visits[] = {
        {RW_SIDE_LEFT, 200, 100},       /* 1: a later injury of the left */
        {RW_SIDE_LEFT, 50, 10},         /* 0: the first */
        {RW_SIDE_RIGHT, 120, 100},      /* 2: the other side on the same day */
        {RW_SIDE_LEFT, 150, RW_NO_DAY}, /* 1: began by then */
        {RW_SIDE_LEFT, 60, RW_NO_DAY},  /* 0 */
        {RW_SIDE_RIGHT, 90, RW_NO_DAY}, /* none began by then: its own, and first */
    };
    static const size_t expected[] = {2, 1, 3, 2, 1, 0};
    size_t injury[6];
    rw_course_injuries(visits, 6, injury);
    for (size_t i = 0; i < 6; i++)
        cr_assert_eq(injury[i], expected[i], "visit %zu is of injury %zu", i, injury[i]);
}

Test(course, refuses_what_is_not_one_injury) {
    struct visits visits = {0};
    struct rw_course *out = malloc(sizeof *out);
    struct rw_error error;
    const size_t size = rw_course_workspace_size();
    void *workspace = malloc(size);
    for (size_t v = 0; v <= RW_MAX_VISITS; v++)
        add(&visits, 40, "deltoid_lateral=0");
    const struct rw_exam *exams[RW_MAX_VISITS + 1];
    for (size_t v = 0; v <= RW_MAX_VISITS; v++)
        exams[v] = visits.exams[v];
    cr_assert_eq(rw_course(exams, 0, workspace, size, out, &error), RW_EINVAL);
    cr_assert_eq(rw_course(exams, RW_MAX_VISITS + 1, workspace, size, out, &error), RW_EINVAL);
    cr_assert_eq(rw_course(exams, 2, workspace, size - 1, out, &error), RW_ENOSPACE);
    visits.exams[1]->side = RW_SIDE_RIGHT;
    cr_assert_eq(rw_course(exams, 2, workspace, size, out, &error), RW_EINVAL);
    visits.exams[1]->side = visits.exams[0]->side;
    visits.exams[1]->onset_day--;
    cr_assert_eq(rw_course(exams, 2, workspace, size, out, &error), RW_EINVAL);
    visits.exams[1]->onset_day++;
    visits.exams[1]->findings[0].value = 200;
    cr_assert_eq(rw_course(exams, 2, workspace, size, out, &error), RW_EINVAL);
    free(workspace);
    free(out);
    release(&visits);
}

Test(course, the_largest_course_fits_the_workspace) {
    const struct rw_model *m = rw_model();
    struct visits visits = {0};
    while (visits.count < RW_MAX_VISITS) {
        struct rw_exam *exam = add(&visits, 40 + 30 * (int32_t)visits.count, "");
        for (size_t i = 0; i < m->check_count; i++)
            exam->findings[exam->finding_count++] =
                (struct rw_finding){.check = (uint16_t)i,
                                    .value = (uint8_t)((m->scales[m->checks[i].scale].normal + visits.count) %
                                                       m->scales[m->checks[i].scale].value_count)};
    }
    struct rw_course *c = course_of(&visits);
    cr_assert_gt(c->change_count, 7 * (m->check_count - 1));
    free(c);
    release(&visits);
}
