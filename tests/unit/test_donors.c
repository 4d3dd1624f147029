/* Donors over hand-made posteriors and exams. */
#include "planning.h"

static void states_of(const struct rw_exam *exam, const struct rw_case *c, struct rw_donor_status *out) {
    struct hand_made *h = states_from(exam, c, 1);
    struct rw_deficits deficits;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &deficits));
    rw_donor_states(exam, &h->states, &h->losses, &deficits, out);
    free_states(h);
}

Test(donors, power_decides) {
    static const struct {
        const char *motor, *donor;
        enum rw_donor_state state;
        const char *because;
    } rows[] = {
        {"trapezius=5", "spinal_accessory", RW_DONOR_USABLE, "graded M4 or better"},
        {"trapezius=4", "spinal_accessory", RW_DONOR_USABLE, "graded M4 or better"},
        {"trapezius=4-", "spinal_accessory", RW_DONOR_WEAK, "4-"},
        {"trapezius=3", "spinal_accessory", RW_DONOR_WEAK, "M4 or better is needed"},
        {"biceps_brachii=0", "spinal_accessory", RW_DONOR_UNKNOWN, "not examined: examine trapezius"},
        {"biceps_brachii=0", "brachialis", RW_DONOR_WEAK, "biceps brachii"},
        {"triceps_brachii=5", "triceps_long_head_branch", RW_DONOR_USABLE, "graded M4 or better"},
        {"triceps_brachii=3", "triceps_long_head_branch", RW_DONOR_WEAK, "is 3"},
        {"flexor_carpi_ulnaris=5 first_dorsal_interosseous=2", "ulnar_fascicle", RW_DONOR_WEAK, "is 2"},
        {"trapezius=5", "axillary_posterior_branch", RW_DONOR_INVOLVED, "likely injured"},
        {"trapezius=5", "intercostals", RW_DONOR_USABLE, "stimulate"},
        {"trapezius=5", "third_web_median", RW_DONOR_UNKNOWN, "not examined: examine"},
        {"trapezius=5", "intercostobrachial", RW_DONOR_UNKNOWN, "test the skin"},
    };
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
        give_motor(exam, rows[i].motor);
        states_of(exam, &c, out);
        const struct rw_donor_status *d = &out[donor_of(rows[i].donor)];
        cr_assert_eq(d->state, rows[i].state, "%s, %s: state %d, %s", rows[i].motor, rows[i].donor,
                     (int)d->state, d->because);
        cr_assert_not_null(strstr(d->because, rows[i].because), "%s, %s: %s", rows[i].motor, rows[i].donor,
                           d->because);
        free(exam);
    }
}

Test(donors, the_diaphragm_is_read_from_its_own_finding) {
    static const struct {
        const char *word;
        enum rw_donor_state state;
    } rows[] = {{"normal", RW_DONOR_USABLE}, {"reduced", RW_DONOR_WEAK}, {"paralysed", RW_DONOR_WEAK}};
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
        give(exam, RW_SECTION_HEMIDIAPHRAGM, "", rows[i].word);
        states_of(exam, &c, out);
        cr_assert_eq(out[donor_of("phrenic")].state, rows[i].state, "%s: %s", rows[i].word,
                     out[donor_of("phrenic")].because);
        free(exam);
    }
}

Test(donors, what_was_used_or_declined_closes_all_that_shares_it) {
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = upper_palsy(ONSET + 100);
    exam->declined[donor_of("ulnar_fascicle")] = true;
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("ulnar_fascicle")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("double_fascicular")].state, RW_DONOR_EXCLUDED,
                 "it takes the declined fascicle");
    cr_assert_eq(out[donor_of("median_fascicle")].state, RW_DONOR_USABLE);
    memset(exam->declined, 0, sizeof exam->declined);
    exam->declined[donor_of("double_fascicular")] =
        true; /* both together declined: one alone is still open */
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("double_fascicular")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("ulnar_fascicle")].state, RW_DONOR_USABLE);
    memset(exam->declined, 0, sizeof exam->declined);
    exam->used[donor_of("double_fascicular")] = true; /* used: neither is left */
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("ulnar_fascicle")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("median_fascicle")].state, RW_DONOR_EXCLUDED);
    cr_assert_not_null(strstr(out[donor_of("ulnar_fascicle")].because, "already used"));
    memset(exam->used, 0, sizeof exam->used);
    exam->declined[donor_of("pronator_quadratus_branch")] = true; /* another name of the same nerve */
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("anterior_interosseous_pq")].state, RW_DONOR_EXCLUDED);
    free(exam);
}

Test(donors, the_chest_comes_first) {
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = upper_palsy(ONSET + 100);
    give(exam, RW_SECTION_HEMIDIAPHRAGM, "", "normal");
    exam->rib_fractures = true;
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("intercostals")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("phrenic")].state, RW_DONOR_USABLE);
    exam->rib_fractures = false;
    give(exam, RW_SECTION_SIGN, "breathless", "true");
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("intercostals")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("phrenic")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("spinal_accessory")].state, RW_DONOR_USABLE);
    free(exam);
}

Test(donors, what_is_asked_to_be_left_out_is) {
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = upper_palsy(ONSET + 100);
    exam->options.excluded[donor_of("ulnar_fascicle")] = true;
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("ulnar_fascicle")].state, RW_DONOR_EXCLUDED);
    cr_assert_eq(out[donor_of("double_fascicular")].state, RW_DONOR_EXCLUDED);
    cr_assert_not_null(strstr(out[donor_of("ulnar_fascicle")].because, "as asked"));
    free(exam);
}

Test(donors, the_check_that_decides_is_named) {
    const struct rw_case c = complete_at(1.0, "upper_trunk_proximal");
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 100);
    give_motor(exam, "biceps_brachii=0 flexor_carpi_ulnaris=5");
    states_of(exam, &c, out);
    cr_assert_eq(out[donor_of("spinal_accessory")].decided_by, rw_check_find(RW_SECTION_MOTOR, "trapezius"));
    cr_assert_eq(out[donor_of("phrenic")].decided_by, rw_check_find(RW_SECTION_HEMIDIAPHRAGM, ""));
    cr_assert_eq(out[donor_of("axillary_posterior_branch")].decided_by, RW_NONE,
                 "involved: nothing to decide");
    free(exam);
}

Test(donors, a_stump_is_there_when_the_root_is_divided_and_not_torn) {
    static const struct {
        const char *sites;
        bool c5, c6;
    } rows[] = {{"c5_distal c6_distal", true, true},
                {"c5_preganglionic c6_distal", false, true},
                {"c5_preganglionic c6_preganglionic upper_trunk_proximal", false, false},
                {"upper_trunk_proximal", true, true},
                {"axillary_main", false, false}};
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = upper_palsy(ONSET + 100);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct rw_case c = complete_at(1.0, rows[i].sites);
        states_of(exam, &c, out);
        const struct rw_donor_status *c5 = &out[donor_of("c5_stump")], *c6 = &out[donor_of("c6_stump")];
        cr_assert_float_eq(c5->p_strong, rows[i].c5 ? rw_fact_value("stump_usable") : 0.0, EXACT, "%s",
                           rows[i].sites);
        cr_assert_float_eq(c6->p_strong, rows[i].c6 ? rw_fact_value("stump_usable") : 0.0, EXACT, "%s",
                           rows[i].sites);
        cr_assert_eq(c5->state, rows[i].c5 ? RW_DONOR_UNKNOWN : RW_DONOR_INVOLVED);
        cr_assert(!rows[i].c5 || c5->decided_by == rw_check_find(RW_SECTION_ROOT_AVULSION, "C5"));
    }
    free(exam);
}

Test(donors, a_strong_donor_from_an_injured_nerve_says_so) {
    const struct rw_case cases[] = {complete_at(0.7, "upper_trunk_proximal"),
                                    complete_at(0.3, "upper_trunk_proximal middle_trunk")};
    struct rw_donor_status out[RW_MAX_DONORS];
    struct rw_exam *exam = upper_palsy(ONSET + 100);
    struct hand_made *h = states_from(exam, cases, 2);
    struct rw_deficits deficits;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &deficits));
    rw_donor_states(exam, &h->states, &h->losses, &deficits, out);
    const struct rw_donor_status *triceps = &out[donor_of("triceps_long_head_branch")];
    cr_assert_eq(triceps->state, RW_DONOR_USABLE);
    cr_assert_gt(triceps->share_lost, rw_fact_value("donor_involved_named"));
    cr_assert_not_null(strstr(triceps->because, "come through the injury"), "%s", triceps->because);
    free_states(h);
    free(exam);
}
