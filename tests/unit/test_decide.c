/* How long waiting is safe, over hand-made posteriors. */
#include "hand_made.h"

enum { ONSET = 20000 };

static struct rw_recovery decision(enum rw_mechanism mechanism, int32_t examined, const char *grades,
                                   const char *sites) {
    struct rw_exam *exam = new_exam(mechanism, ONSET, examined);
    give_motor(exam, grades);
    return recovery_from(exam, sites);
}

static int32_t day(double days) {
    return ONSET + (int32_t)floor(days);
}

/* The latest day for a transfer over so many mm. */
static double in_time(double mm) {
    return rw_fact_value("window_days") - rw_fact_value("decision_margin_days") -
           rw_fact_value("latency_high_days") - mm / rw_fact_value("rate_low_mm_per_day");
}

Test(decide, by_rule_and_later_after_gunshot_and_neuritis) {
    static const struct {
        enum rw_mechanism mechanism;
        const char *extra, *word;
    } rows[] = {{RW_MECHANISM_TRACTION, NULL, "without recovery"},
                {RW_MECHANISM_GUNSHOT, "wait_gunshot_extra_days", "gunshot"},
                {RW_MECHANISM_INFLAMMATORY, "wait_inflammatory_extra_days", "neuritis"}};
    int32_t last = 0;
    for (size_t i = 0; i < 3; i++) {
        const struct rw_recovery r =
            decision(rows[i].mechanism, ONSET + 100, "deltoid=0 teres_minor=0", "axillary_main");
        const double extra = rows[i].extra != NULL ? rw_fact_value(rows[i].extra) : 0.0;
        /* deltoid is reached over 44.5 mm: 548 − 42 − 84 − 44.5 / 1 = 377.5 days; the rule says 183 (213, 273) */
        cr_assert_eq(r.decide_by, day(fmin(in_time(44.5), rw_fact_value("decide_late_days") + extra)));
        cr_assert_not_null(strstr(r.decide_because, rows[i].word), "%s", r.decide_because);
        cr_assert_gt(r.decide_by, last);
        last = r.decide_by;
    }
}

Test(decide, early_where_roots_are_torn) {
    const char *torn = "c5_preganglionic c6_preganglionic c7_preganglionic";
    struct rw_recovery r = decision(RW_MECHANISM_TRACTION, ONSET + 40, "deltoid=0", torn);
    cr_assert_eq(r.decide_by, day(rw_fact_value("decide_early_days"))); /* 91 */
    cr_assert_not_null(strstr(r.decide_because, "torn roots"));
    /* whatever tore them: a gunshot earns no wait there */
    r = decision(RW_MECHANISM_GUNSHOT, ONSET + 40, "deltoid=0", torn);
    cr_assert_eq(r.decide_by, day(rw_fact_value("decide_early_days")));
}

Test(decide, at_once_after_a_blade_even_where_no_transfer_reaches) {
    const struct rw_recovery r =
        decision(RW_MECHANISM_LACERATION, ONSET + 2, "teres_major=0", "lower_subscapular");
    cr_assert_eq(r.decide_by, day(rw_fact_value("decide_sharp_days")));
    cr_assert_not_null(strstr(r.decide_because, "sharp"));
}

Test(decide, a_rule_that_has_passed_means_now) {
    const struct rw_recovery r =
        decision(RW_MECHANISM_TRACTION, ONSET + 250, "deltoid=0 teres_minor=0", "axillary_main");
    cr_assert_eq(r.decide_by, ONSET + 250);
    cr_assert_not_null(strstr(r.decide_because, "passed"));
}

Test(decide, past_the_window_the_day_stands_and_the_reason_says_so) {
    const struct rw_recovery r =
        decision(RW_MECHANISM_TRACTION, ONSET + 500, "deltoid=0 teres_minor=0", "axillary_main");
    /* the least over deltoid (44.5 mm) and teres minor (20 mm) */
    cr_assert_eq(r.decide_by, day(in_time(44.5)));
    cr_assert_lt(r.decide_by, ONSET + 500);
    cr_assert_not_null(strstr(r.decide_because, "too late"));
    cr_assert_not_null(strstr(r.decide_because, "passed"));
}

Test(decide, the_window_binds_before_a_long_wait) {
    /* first dorsal interosseous is reached over 110 mm at least: the window leaves 548 − 42 − 84 − 110 = 312
     * days or less; neuritis would be waited for 273 */
    const struct rw_recovery r =
        decision(RW_MECHANISM_INFLAMMATORY, ONSET + 300, "first_dorsal_interosseous=0", "ulnar_wrist");
    const double latest = r.decide_by - ONSET;
    cr_assert_leq(latest, fmax(300.0, rw_fact_value("decide_late_days") +
                                          rw_fact_value("wait_inflammatory_extra_days")));
    cr_assert_leq(latest, in_time(40.0));
}

Test(decide, muscles_without_a_transfer_set_no_date) {
    const struct rw_recovery r =
        decision(RW_MECHANISM_TRACTION, ONSET + 100, "teres_major=0", "lower_subscapular");
    cr_assert_eq(r.muscle_count, 1);
    cr_assert_eq(r.decide_by, RW_NO_DAY);
    cr_assert_not_null(strstr(r.decide_because, "no muscle"));
}
