/* The front of regrowth along the radial nerve after an injury in the spiral groove, by worked arithmetic:
 * injury 290 mm from the foramen, elbow at 395 mm; points tapped at 290 (groove), 430 (forearm), 690 mm (web). */
#include "hand_made.h"

#include <stdio.h>

enum { ONSET = 20000 };

static struct rw_recovery percussed(int32_t days, const char *site, const char *points) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_FRACTURE, ONSET, ONSET + days);
    give_motor(exam, "extensor_digitorum=0");
    char text[256];
    char *rest = NULL;
    snprintf(text, sizeof text, "%s", points);
    for (char *word = strtok_r(text, " ", &rest); word != NULL; word = strtok_r(NULL, " ", &rest)) {
        char *equals = strchr(word, '=');
        *equals = '\0';
        give(exam, RW_SECTION_PERCUSSION, word, equals + 1);
    }
    return recovery_from(exam, site);
}

static struct rw_front radial(int32_t days, const char *points) {
    const struct rw_recovery r = percussed(days, "radial_groove", points);
    cr_assert_eq(r.front_count, 1);
    cr_assert_eq(r.fronts[0].course, RW_COURSE_RADIAL);
    return r.fronts[0];
}

static uint16_t point(const char *id) {
    return rw_check_find(RW_SECTION_PERCUSSION, id);
}

Test(front, way_grown_by_worked_arithmetic) {
    const struct rw_front f = radial(128, "");
    /* slowest: 128 − 28 = 100 days at 1 mm = 100 mm; fastest: 128 − 21 = 107 days, 105 mm to the elbow at 3 mm take
     * 35 of them, the other 72 at 2 mm give 144: 249 mm; the middle 9 / 10 of 100 to 249 */
    const double slow = (128.0 - rw_fact_value("sprouts_high_days")) * rw_fact_value("rate_low_mm_per_day");
    const double to_elbow = rw_fact_value("elbow_mm") - 290.0,
                 left = 128.0 - rw_fact_value("sprouts_low_days") -
                        to_elbow / rw_fact_value("rate_high_mm_per_day");
    const double fast = to_elbow + left * rw_fact_value("rate_high_forearm_mm_per_day");
    cr_assert_float_eq(f.expected_mm[0], slow + 0.05 * (fast - slow), 1e-3);
    cr_assert_float_eq(f.expected_mm[1], fast - 0.05 * (fast - slow), 1e-3);
    cr_assert_eq(f.site, site_of("radial_groove"));
    cr_assert_eq(f.found_at, RW_NONE);
    cr_assert_eq(f.state, RW_FRONT_NOT_PERCUSSED);
}

Test(front, compared_with_what_was_tapped) {
    /* on day 200 even the slowest, 172 + 0.05 · 221 mm grown, is past the forearm point at 430 by more than 30 mm less
     * the wrist; the fastest, 393 mm, is at 683: the web at 690 may be reached */
    static const struct {
        int32_t days;
        const char *points;
        enum rw_front_state state;
        const char *found;
    } rows[] = {
        {200, "forearm_radial=radiating first_web=none", RW_FRONT_AS_EXPECTED, "forearm_radial"},
        {200, "spiral_groove=none first_web=radiating", RW_FRONT_AS_EXPECTED, "first_web"},
        {200, "spiral_groove=radiating forearm_radial=none first_web=none", RW_FRONT_BEHIND, "spiral_groove"},
        {200, "spiral_groove=none forearm_radial=local", RW_FRONT_BEHIND, NULL},
        {200, "spiral_groove=radiating", RW_FRONT_NOT_PERCUSSED, "spiral_groove"},
        {200, "elbow_ulnar=none", RW_FRONT_NOT_PERCUSSED, NULL},
        {100, "forearm_radial=none first_web=radiating", RW_FRONT_AHEAD, "first_web"},
        {14, "spiral_groove=none forearm_radial=none", RW_FRONT_AS_EXPECTED, NULL},
        {14, "forearm_radial=radiating", RW_FRONT_AHEAD, "forearm_radial"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct rw_front f = radial(rows[i].days, rows[i].points);
        cr_assert_eq(f.state, rows[i].state, "row %zu: %s", i,
                     rw_front_state_name((enum rw_front_state)f.state));
        cr_assert_eq(f.found_at, rows[i].found != NULL ? point(rows[i].found) : RW_NONE, "row %zu", i);
    }
}

Test(front, points_long_passed_do_not_count) {
    /* from the axilla (190 mm) in 320 days: 300 mm at least, past the groove at 290 and the forearm at 430 */
    const struct rw_recovery behind =
        percussed(320, "radial_axilla", "spiral_groove=radiating forearm_radial=none first_web=none");
    cr_assert_eq(behind.fronts[0].state, RW_FRONT_BEHIND);
    cr_assert_eq(behind.fronts[0].expected_at[0], point("forearm_radial"));
    const struct rw_recovery there =
        percussed(320, "radial_axilla", "spiral_groove=none forearm_radial=radiating first_web=none");
    cr_assert_eq(there.fronts[0].state, RW_FRONT_AS_EXPECTED);
}

Test(front, a_front_that_stands_at_the_neck_is_behind) {
    /* from the upper trunk (45 mm) in 91 days: 63 to 210 mm grown; below the collar bone lies within reach of most */
    const struct rw_recovery standing =
        percussed(91, "upper_trunk_proximal",
                  "supraclavicular_upper=radiating infraclavicular=none axilla_median=none");
    cr_assert_gt(standing.front_count, 0);
    cr_assert_eq(standing.fronts[0].state, RW_FRONT_BEHIND);
}

Test(front, points_move_out_with_the_days_and_never_past_the_last) {
    double last = -1.0;
    size_t seen_forearm = 0, seen_web = 0;
    for (int32_t days = 0; days <= 1000; days += 25) {
        const struct rw_front f = radial(days, "");
        cr_assert_geq(f.expected_mm[0], last);
        cr_assert_leq(f.expected_mm[1], rw_fact_value("front_mm.radial.first_web") - 290.0 + 1e-3);
        last = f.expected_mm[0];
        for (size_t i = 0; i < f.expected_count; i++) {
            cr_assert_neq(f.expected_at[i], point("spiral_groove"), "the injury itself is no sign of growth");
            seen_forearm += f.expected_at[i] == point("forearm_radial");
            seen_web += f.expected_at[i] == point("first_web");
        }
        cr_assert(days < 50    ? f.expected_count == 0
                  : days > 150 ? f.expected_count > 0
                               : true,
                  "day %d", days);
    }
    cr_assert_gt(seen_forearm, 0);
    cr_assert_gt(seen_web, 0);
}

Test(front, feeling_fibres_of_a_torn_root_stay_whole) {
    const struct rw_recovery r = percussed(
        200, "c5_preganglionic c6_preganglionic c7_preganglionic c8_preganglionic t1_preganglionic", "");
    cr_assert_eq(r.front_count, 0);
    const struct rw_recovery ruptured =
        percussed(200, "c5_distal c6_distal c7_distal c8_distal t1_distal", "");
    cr_assert_eq(ruptured.front_count, 3);
}

Test(front, every_point_of_the_facts_is_a_check_and_beyond_the_last) {
    const struct rw_model *m = rw_model();
    size_t points = 0;
    for (size_t i = 0; i < m->fact_count; i++) {
        if (strncmp(m->facts[i].id, "front_mm.", 9) != 0)
            continue;
        const char *item = strchr(m->facts[i].id + 9, '.');
        cr_assert_not_null(item);
        cr_assert_neq(point(item + 1), RW_NONE, "%s", m->facts[i].id);
        points++;
    }
    /* every percussion point but the one of the axillary nerve, those above the arm for several nerves */
    bool named[RW_MAX_CHECKS] = {false};
    for (size_t c = 0; c < m->check_count; c++)
        if (m->checks[c].section == RW_SECTION_PERCUSSION)
            for (size_t i = 0; i < m->fact_count; i++) {
                const char *dot = strrchr(m->facts[i].id, '.');
                named[c] |=
                    strncmp(m->facts[i].id, "front_mm.", 9) == 0 && strcmp(dot + 1, m->checks[c].item) == 0;
            }
    for (size_t c = 0; c < m->check_count; c++)
        if (m->checks[c].section == RW_SECTION_PERCUSSION)
            cr_assert(named[c] || strcmp(m->checks[c].item, "quadrilateral_space") == 0, "%s",
                      m->checks[c].item);
    cr_assert_geq(points, 15);
}
