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
    /* earliest 49 + 60 / 3 = 69 days, latest 84 + 60 / 1 = 144 days after onset; the middle 9 / 10 of the 75
     * days between: 72.75 to 140.25 */
    const double fast = rw_fact_value("rate_high_mm_per_day"), slow = rw_fact_value("rate_low_mm_per_day"),
                 earliest = rw_fact_value("latency_low_days") + mm / fast,
                 latest = rw_fact_value("latency_high_days") + mm / slow,
                 cut = 0.5 * (1.0 - rw_fact_value("first_sign_share")) * (latest - earliest);
    cr_assert_eq(deltoid.first_sign[0], day(earliest + cut));
    cr_assert_eq(deltoid.first_sign[1], ONSET + (int32_t)ceil(latest - cut));
    cr_assert_eq(deltoid.site_count, 1);
    cr_assert_eq(deltoid.sites[0].site, site_of("axillary_main"));
    cr_assert_float_eq(deltoid.sites[0].probability, 1.0, EXACT);
    cr_assert_float_eq(deltoid.sites[0].distance_mm, mm, 1e-9);
    cr_assert_eq(deltoid.sites[0].first_sign[0], day(earliest));
    cr_assert_eq(deltoid.sites[0].first_sign[1], ONSET + (int32_t)ceil(latest));
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
    cr_assert_float_eq(deltoid.p_never, 1.0, EXACT);
    cr_assert_eq(deltoid.sites[0].first_sign[0], RW_NO_DAY);
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
    cr_assert_eq(deltoid.block_clears_by, RW_NO_DAY);
    cr_assert_eq(deltoid.sites[0].first_sign[0], RW_NO_DAY);
    cr_assert_eq(s.recovery.decide_by, RW_NO_DAY);
    cr_assert_not_null(strstr(s.recovery.decide_because, "onset"));
    cr_assert_eq(s.recovery.front_count, 0);
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

/* ---- mixtures over sites and degrees ---- */

struct weighed {
    double value, weight;
};

static int by_value(const void *a, const void *b) {
    const double x = ((const struct weighed *)a)->value, y = ((const struct weighed *)b)->value;
    return (x > y) - (x < y);
}

enum { GRID = 20000 };

/* Brute force: every span laid out on a fine grid, the values sorted, the weights counted off. */
static double counted_quantile(double (*spans)[3], size_t count, double share) {
    struct weighed *all = calloc(count * GRID, sizeof *all);
    double total = 0.0, sum = 0.0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < GRID; k++) {
            const double at = ((double)k + 0.5) / GRID;
            all[i * GRID + k] = (struct weighed){spans[i][1] + at * (spans[i][2] - spans[i][1]), spans[i][0]};
            total += spans[i][0];
        }
    qsort(all, count * GRID, sizeof *all, by_value);
    size_t n = 0;
    while (sum < share * total)
        sum += all[n++].weight;
    const double value = all[n - 1].value;
    free(all);
    return value;
}

Test(recovery, first_sign_is_the_middle_of_the_mixture_over_sites) {
    static const char *const sites[3] = {"axillary_main", "posterior_cord_proximal", "upper_trunk_proximal"};
    static const double weights[3] = {0.5, 0.3, 0.2};
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET); /* no silence yet */
    give_motor(exam, "deltoid=0");
    struct rw_case cases[3];
    double spans[3][3];
    /* at onset a nerve comes back with 0.55, cords and trunks with 0.4; all of teres minor's way is near enough */
    const double chance[3] = {rw_fact_value("unaided_complete_nerve"),
                              rw_fact_value("unaided_complete_trunk_cord"),
                              rw_fact_value("unaided_complete_trunk_cord")};
    for (size_t i = 0; i < 3; i++) {
        cases[i] = complete_at(weights[i], sites[i]);
        const double mm = rw_motor_point_mm(muscle_of("teres_minor")) - site_mm(sites[i]);
        spans[i][0] = weights[i] * chance[i];
        spans[i][1] = rw_fact_value("latency_low_days") + mm / rw_fact_value("rate_high_mm_per_day");
        spans[i][2] = rw_fact_value("latency_high_days") + mm / rw_fact_value("rate_low_mm_per_day");
    }
    const struct setting s = recovery_of(exam, cases, 3);
    const struct rw_muscle_recovery m = muscle_of_recovery(&s.recovery, "teres_minor");
    const double low = counted_quantile(spans, 3, 0.05), high = counted_quantile(spans, 3, 0.95);
    cr_assert_float_eq(rw_fact_value("first_sign_share"), 0.9, EXACT);
    cr_assert_float_eq(m.first_sign[0] - ONSET, floor(low), 1.0 - EXACT); /* the grid is 0.01 days fine */
    cr_assert_float_eq(m.first_sign[1] - ONSET, ceil(high), 1.0 - EXACT);
    /* wider than the likeliest site's own middle, narrower than all */
    cr_assert_gt(m.first_sign[1], ONSET + (int32_t)ceil(spans[0][2]));
    cr_assert_lt(m.first_sign[1], ONSET + (int32_t)floor(spans[2][2]));
    cr_assert_eq(m.site_count, 3);
    for (size_t i = 0; i < 3; i++) {
        cr_assert_eq(m.sites[i].site, site_of(sites[i]));
        cr_assert_float_eq(m.sites[i].probability, weights[i], 1e-9);
    }
    free(exam);
}

Test(recovery, unlikely_sites_are_not_named_and_four_at_most) {
    static const char *const sites[6] = {"axillary_main",        "posterior_cord_proximal",
                                         "upper_trunk_proximal", "upper_trunk_distal",
                                         "upper_posterior",      "posterior_cord_distal"};
    static const double weights[6] = {0.1, 0.3, 0.04, 0.16, 0.12, 0.28};
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 50);
    give_motor(exam, "deltoid=0");
    struct rw_case cases[6];
    for (size_t i = 0; i < 6; i++)
        cases[i] = complete_at(weights[i], sites[i]);
    const struct setting s = recovery_of(exam, cases, 6);
    const struct rw_muscle_recovery m = muscle_of_recovery(&s.recovery, "teres_minor");
    cr_assert_eq(m.site_count, 4);
    const size_t order[4] = {1, 5, 3, 4};
    for (size_t i = 0; i < 4; i++)
        cr_assert_eq(m.sites[i].site, site_of(sites[order[i]]), "place %zu", i);
    free(exam);
}

Test(recovery, block_regrowth_and_never_by_worked_arithmetic) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_DISLOCATION, ONSET, ONSET);
    give_motor(exam, "deltoid=0");
    const struct rw_case c = complete_at(1.0, "axillary_main");
    const struct setting at_once = recovery_of(exam, &c, 1);
    const struct rw_muscle_recovery m = muscle_of_recovery(&at_once.recovery, "deltoid_lateral");
    /* 0.8 come back after a dislocation, half of these as blocks */
    const double back = rw_fact_value("unaided_complete_dislocation"),
                 share = rw_fact_value("recovery_block_share_dislocation");
    cr_assert_float_eq(m.p_block, back * share, 1e-9);
    cr_assert_float_eq(m.p_regrows, back * (1.0 - share), 1e-9);
    cr_assert_float_eq(m.p_never, 1.0 - back, 1e-9);
    cr_assert_eq(m.block_clears_by, day(rw_fact_value("block_clears_days")));
    /* 50 days on, without a sign */
    exam->examined_day = ONSET + 50;
    const struct setting later = recovery_of(exam, &c, 1);
    const struct rw_muscle_recovery n = muscle_of_recovery(&later.recovery, "deltoid_lateral");
    const double silent =
        pow(1.0 - rw_fact_value("recovery_sign_share"), 50.0 / rw_fact_value("recovery_sign_days"));
    const double still = back * silent / (back * silent + 1.0 - back);
    const double block = share * pow(0.5, 50.0 / rw_fact_value("recovery_block_half_days")),
                 grows = (1.0 - share) * silent;
    cr_assert_float_eq(n.p_block, still * block / (block + grows), 1e-9);
    cr_assert_float_eq(n.p_regrows, still * grows / (block + grows), 1e-9);
    cr_assert_lt(n.p_block, m.p_block);
    cr_assert_gt(n.p_never, m.p_never);
    /* a blade leaves no block to hope for */
    exam->mechanism = RW_MECHANISM_LACERATION;
    const struct setting cut = recovery_of(exam, &c, 1);
    cr_assert_float_eq(muscle_of_recovery(&cut.recovery, "deltoid_lateral").p_block, 0.0, EXACT);
    cr_assert_eq(muscle_of_recovery(&cut.recovery, "deltoid_lateral").block_clears_by, RW_NO_DAY);
    free(exam);
}

Test(recovery, too_far_to_arrive_in_time_by_worked_arithmetic) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET);
    give_motor(exam, "first_dorsal_interosseous=0");
    const struct rw_case c = complete_at(1.0, "ulnar_arm");
    const struct setting s = recovery_of(exam, &c, 1);
    const struct rw_muscle_recovery m = muscle_of_recovery(&s.recovery, "first_dorsal_interosseous");
    /* 220 to 750 mm: 175 mm at 1 to 3, 255 at 1 to 2, 100 at 1 to 1.5 mm a day: 302 to 614 days, window 548 */
    const double elbow = rw_fact_value("elbow_mm"), wrist = rw_fact_value("wrist_mm"),
                 from = site_mm("ulnar_arm"), to = rw_motor_point_mm(muscle_of("first_dorsal_interosseous"));
    const double earliest = rw_fact_value("latency_low_days") +
                            (elbow - from) / rw_fact_value("rate_high_mm_per_day") +
                            (wrist - elbow) / rw_fact_value("rate_high_forearm_mm_per_day") +
                            (to - wrist) / rw_fact_value("rate_high_hand_mm_per_day");
    const double latest =
        rw_fact_value("latency_high_days") + (to - from) / rw_fact_value("rate_low_mm_per_day");
    const double window = rw_fact_value("window_days"), reaches = (window - earliest) / (latest - earliest);
    cr_assert(reaches > 0.0 && reaches < 1.0, "%g", reaches);
    const double back = rw_fact_value("unaided_complete_nerve"),
                 share = rw_fact_value("recovery_block_share");
    cr_assert_float_eq(m.p_regrows, back * (1.0 - share) * reaches, 1e-9);
    cr_assert_float_eq(m.p_block, back * share, 1e-9);
    cr_assert_eq(m.first_sign[0], day(earliest + 0.05 * (window - earliest)));
    cr_assert_leq(m.first_sign[1], m.window_closes);
    cr_assert_gt(m.sites[0].first_sign[1], m.window_closes, "the site's own interval is not cut");
    /* what partial lesions took is in time, with what they left */
    struct rw_case partial = c;
    partial.severity[site_of("ulnar_arm")] = RW_PARTIAL;
    partial.depth = 1;
    const struct setting p = recovery_of(exam, &partial, 1);
    cr_assert_float_eq(muscle_of_recovery(&p.recovery, "first_dorsal_interosseous").p_never,
                       1.0 - rw_fact_value("unaided_partial"), 1e-9);
    free(exam);
}

Test(recovery, the_further_out_the_injury_the_sooner_the_sign) {
    static const char *const sites[] = {"posterior_cord_proximal", "posterior_cord_distal", "radial_axilla",
                                        "radial_groove", "radial_elbow"};
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 30);
    give_motor(exam, "extensor_indicis=0");
    int32_t last[2] = {INT32_MAX, INT32_MAX};
    double never = 1.0;
    for (size_t i = 0; i < sizeof sites / sizeof *sites; i++) {
        const struct rw_case c = complete_at(1.0, sites[i]);
        const struct setting s = recovery_of(exam, &c, 1);
        const struct rw_muscle_recovery m = muscle_of_recovery(&s.recovery, "extensor_indicis");
        for (size_t k = 0; k < 2; k++) {
            cr_assert_lt(m.first_sign[k], last[k], "%s", sites[i]);
            last[k] = m.first_sign[k];
        }
        cr_assert_leq(m.p_never, never + EXACT);
        never = m.p_never;
    }
    free(exam);
}

Test(recovery, a_muscle_that_moves_has_no_first_sign_to_come) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 20000, 20100);
    give_motor(exam, "deltoid_lateral=1 deltoid_anterior=0");
    const struct rw_recovery recovery = recovery_from(exam, "axillary_main");
    size_t seen = 0;
    for (size_t i = 0; i < recovery.muscle_count; i++) {
        const struct rw_muscle_recovery *m = &recovery.muscles[i];
        const char *id = rw_model()->targets[m->muscle].id;
        if (strcmp(id, "deltoid_lateral") == 0)
            seen += m->moves && m->first_sign[0] == RW_NO_DAY;
        if (strcmp(id, "deltoid_anterior") == 0)
            seen += !m->moves && m->first_sign[0] != RW_NO_DAY;
    }
    cr_assert_eq(seen, 2);
}
