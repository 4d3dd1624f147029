/* Recovery over hand-made posteriors: dates by worked arithmetic. The comments give today's figures; the
 * assertions read them from the model, so that a changed fact does not break a test. */
#include "hand_made.h"

enum { ONSET = 20000 };

struct setting {
    struct rw_deficits deficits;
    struct rw_recovery recovery;
};

static struct setting recovery_of(const struct rw_exam *exam, const struct rw_case *cases, size_t count) {
    struct hand_made *h = states_from(exam, cases, count);
    struct setting s;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &s.deficits));
    rw_recovery(exam, &h->losses, &s.deficits, &s.recovery);
    free_states(h);
    return s;
}

static double site_mm(const char *site) {
    double mm[RW_MAX_SITES];
    rw_site_distances(mm);
    return mm[site_of(site)];
}

static const struct rw_muscle_recovery *listed(const struct rw_recovery *r, const char *id) {
    for (size_t i = 0; i < r->muscle_count; i++)
        if (r->muscles[i].muscle == muscle_of(id))
            return &r->muscles[i];
    return NULL;
}

static struct rw_muscle_recovery muscle_of_recovery(const struct rw_recovery *r, const char *id) {
    const struct rw_muscle_recovery *found = listed(r, id);
    cr_assert_not_null(found, "%s is not listed", id);
    return found != NULL ? *found : (struct rw_muscle_recovery){0};
}

static int32_t day(double days) {
    return ONSET + (int32_t)floor(days);
}

Test(recovery, dates_of_an_axillary_lesion) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "deltoid=0 teres_minor=0");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct setting s = recovery_of(exam, &c, 1);
    const struct rw_muscle_recovery deltoid = muscle_of_recovery(&s.recovery, "deltoid_lateral");
    /* motor point 230 mm from the foramen, lesion 170 mm: 60 mm to grow */
    const double mm = rw_motor_point_mm(muscle_of("deltoid_lateral")) - site_mm("axillary_main");
    cr_assert_float_eq(deltoid.distance_mm, mm, 1e-9);
    /* earliest 49 + 60 / 3 = 69 days, latest 84 + 60 / 1 = 144 days after onset */
    const double fast = rw_fact_value("rate_high_mm_per_day"), slow = rw_fact_value("rate_low_mm_per_day");
    cr_assert_eq(deltoid.first_sign[0], day(rw_fact_value("latency_low_days") + mm / fast));
    cr_assert_eq(deltoid.first_sign[1],
                 ONSET + (int32_t)ceil(rw_fact_value("latency_high_days") + mm / slow));
    cr_assert_eq(deltoid.window_closes, day(rw_fact_value("window_days"))); /* 548 days after onset */
    cr_assert_eq(s.recovery.muscle_count, 4, "three parts of deltoid and teres minor, nothing else");
    free(exam);
}

Test(recovery, growth_is_slower_in_old_age) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "deltoid=0");
    exam->age_years = rw_fact_value("old_age_years") + 1.0;
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct setting s = recovery_of(exam, &c, 1);
    const double factor = rw_fact_value("old_rate_factor");
    /* 0.75 · 1 … 0.75 · 3 mm a day */
    cr_assert_float_eq(s.recovery.rate_mm_per_day[0], factor * rw_fact_value("rate_low_mm_per_day"), EXACT);
    cr_assert_float_eq(s.recovery.rate_mm_per_day[1], factor * rw_fact_value("rate_high_mm_per_day"), EXACT);
    free(exam);
}

Test(recovery, the_site_is_the_mean_over_cases_by_what_is_lost) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "deltoid=0");
    const struct rw_case cases[] = {complete_at(0.5, "axillary_main"),
                                    complete_at(0.5, "posterior_cord_proximal")};
    const struct setting s = recovery_of(exam, cases, 2);
    /* everything lost in both cases: half of 170 mm and half of 95 mm, 230 − 132.5 = 97.5 mm to grow */
    const double site = 0.5 * site_mm("axillary_main") + 0.5 * site_mm("posterior_cord_proximal");
    cr_assert_float_eq(muscle_of_recovery(&s.recovery, "deltoid_lateral").distance_mm,
                       rw_motor_point_mm(muscle_of("deltoid_lateral")) - site, 1e-9);
    free(exam);
}

Test(recovery, the_most_proximal_of_two_sites_counts) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "deltoid=0");
    const struct rw_case c = complete_at(1.0, "axillary_main posterior_cord_proximal");
    const struct setting s = recovery_of(exam, &c, 1);
    cr_assert_float_eq(muscle_of_recovery(&s.recovery, "deltoid_lateral").distance_mm,
                       rw_motor_point_mm(muscle_of("deltoid_lateral")) - site_mm("posterior_cord_proximal"),
                       1e-9);
    free(exam);
}

Test(recovery, nothing_grows_from_torn_roots) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "deltoid=0");
    const struct rw_case c = complete_at(1.0, "c5_preganglionic c6_preganglionic c7_preganglionic");
    const struct setting s = recovery_of(exam, &c, 1);
    const struct rw_muscle_recovery deltoid = muscle_of_recovery(&s.recovery, "deltoid_lateral");
    cr_assert_eq(deltoid.first_sign[0], RW_NO_DAY);
    cr_assert_eq(deltoid.first_sign[1], RW_NO_DAY);
    cr_assert_eq(deltoid.window_closes, day(rw_fact_value("window_days")));
    free(exam);
}

Test(recovery, without_onset_there_are_distances_and_no_dates) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, RW_NO_DAY, ONSET);
    give_motor(exam, "deltoid=0");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct setting s = recovery_of(exam, &c, 1);
    const struct rw_muscle_recovery deltoid = muscle_of_recovery(&s.recovery, "deltoid_lateral");
    cr_assert(s.recovery.available);
    cr_assert_gt(deltoid.distance_mm, 0.0);
    cr_assert_eq(deltoid.first_sign[0], RW_NO_DAY);
    cr_assert_eq(deltoid.window_closes, RW_NO_DAY);
    cr_assert_eq(s.recovery.decide_by, RW_NO_DAY);
    free(exam);
}

Test(recovery, children_and_birth_injuries_get_the_reason) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_BIRTH, ONSET, ONSET + 100);
    give_motor(exam, "deltoid=0");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    struct setting s = recovery_of(exam, &c, 1);
    cr_assert_not(s.recovery.available);
    cr_assert_not_null(strstr(s.recovery.because, "birth"));
    cr_assert_eq(s.recovery.muscle_count, 0);
    exam->mechanism = RW_MECHANISM_TRACTION;
    exam->age_years = rw_fact_value("child_age_years") - 0.1;
    s = recovery_of(exam, &c, 1);
    cr_assert_not(s.recovery.available);
    cr_assert_not_null(strstr(s.recovery.because, "child"));
    exam->age_years = (double)NAN; /* not known: the adult figures, as for most patients */
    s = recovery_of(exam, &c, 1);
    cr_assert(s.recovery.available);
    free(exam);
}

Test(recovery, weak_but_not_denervated_is_not_listed) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "biceps_brachii=2 deltoid=0");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct setting s = recovery_of(exam, &c, 1);
    cr_assert_null(listed(&s.recovery, "biceps_brachii"));
    cr_assert_not_null(listed(&s.recovery, "deltoid_lateral"));
    free(exam);
}

Test(recovery, decide_by_is_the_earlier_of_arithmetic_and_rule) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "deltoid=0 teres_minor=0");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    struct setting s = recovery_of(exam, &c, 1);
    /* deltoid is reached over 44.5 mm: 548 − 42 − 84 − 44.5 / 1 = 377.5 days; the rule says 183 days: earlier
     */
    const double rest = rw_fact_value("window_days") - rw_fact_value("decision_margin_days") -
                        rw_fact_value("latency_high_days") - 44.5 / rw_fact_value("rate_low_mm_per_day");
    cr_assert_eq(s.recovery.decide_by, day(fmin(rest, rw_fact_value("decide_late_days"))));
    exam->mechanism = RW_MECHANISM_GUNSHOT; /* 183 + 30 */
    s = recovery_of(exam, &c, 1);
    cr_assert_eq(s.recovery.decide_by, day(fmin(rest, rw_fact_value("decide_late_days") +
                                                          rw_fact_value("wait_gunshot_extra_days"))));
    free(exam);
}

Test(recovery, muscles_without_a_transfer_set_no_date) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "teres_major=0");
    const struct rw_case c = complete_at(1.0, "lower_subscapular");
    const struct setting s = recovery_of(exam, &c, 1);
    cr_assert_not_null(listed(&s.recovery, "teres_major"));
    cr_assert_eq(s.recovery.decide_by, RW_NO_DAY);
    free(exam);
}
