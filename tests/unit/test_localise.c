/* Properties of the localiser that hold whatever the facts say. */
#include "hand_made.h"

#define SUMS_TO_ONE 1e-10 /* a few thousand roundings */

static void upper_palsy(struct rw_exam *exam) {
    give(exam, RW_SECTION_MOTOR, "deltoid_lateral", "0");
    give(exam, RW_SECTION_MOTOR, "biceps_brachii", "0");
    give(exam, RW_SECTION_MOTOR, "infraspinatus", "1");
    give(exam, RW_SECTION_MOTOR, "triceps_long_head", "5");
    give(exam, RW_SECTION_MOTOR, "first_dorsal_interosseous", "5");
    give(exam, RW_SECTION_REFLEX, "biceps", "absent");
}

Test(localise, posterior_is_a_distribution) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    upper_palsy(exam);
    struct rw_assessment *a = assess(exam);
    const struct rw_localisation *l = &a->localisation;
    double sum = l->no_lesion + l->outside_plexus;
    for (size_t i = 0; i < RW_LEVEL_COUNT; i++)
        sum += l->levels[i];
    cr_assert_float_eq(sum, 1.0, SUMS_TO_ONE, "levels, none and outside sum to %.17g", sum);
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        const struct rw_root_posterior *r = &l->roots[i];
        cr_assert_float_eq(r->p_intact + r->p_preganglionic + r->p_postganglionic, 1.0, SUMS_TO_ONE);
    }
    cr_assert_lt(l->left_out, 1e-12);
    free(a);
    free(exam);
}

Test(localise, order_of_findings_changes_nothing_that_matters) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    upper_palsy(exam);
    struct rw_assessment *a = assess(exam);
    for (size_t i = 0; i < exam->finding_count / 2; i++) {
        const struct rw_finding f = exam->findings[i];
        exam->findings[i] = exam->findings[exam->finding_count - 1 - i];
        exam->findings[exam->finding_count - 1 - i] = f;
    }
    struct rw_assessment *b = assess(exam);
    for (size_t i = 0; i < rw_model()->site_count; i++)
        cr_assert_float_eq(a->localisation.sites[i].p_injured, b->localisation.sites[i].p_injured,
                           SUMS_TO_ONE);
    free(b);
    free(a);
    free(exam);
}

Test(localise, same_exam_same_bytes) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    upper_palsy(exam);
    struct rw_assessment *a = assess(exam), *b = assess(exam);
    cr_assert_eq(memcmp(a, b, sizeof *a), 0);
    free(b);
    free(a);
    free(exam);
}

Test(localise, an_exam_without_findings_is_not_informative) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    struct rw_assessment *a = assess(exam);
    const struct rw_prior *prior = &rw_model()->priors[RW_MECHANISM_TRACTION];
    cr_assert_not(a->localisation.informative);
    cr_assert_float_eq(a->localisation.no_lesion, prior->kind[RW_PRIOR_NONE], 1e-9);
    cr_assert_float_eq(a->localisation.log_evidence, 0.0, 1e-9, "the prior must sum to 1");
    free(a);
    free(exam);
}

Test(localise, findings_too_early_say_nothing_and_are_named) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    exam->onset_day = exam->examined_day - 3;
    give(exam, RW_SECTION_WASTING, "deltoid_lateral", "true");
    struct rw_assessment *a = assess(exam);
    cr_assert_eq(a->localisation.too_early_count, 1);
    cr_assert_not(a->localisation.informative);
    free(a);
    free(exam);
}

Test(localise, the_largest_exam_fits_the_workspace) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->check_count; i++)
        exam->findings[exam->finding_count++] =
            (struct rw_finding){.check = (uint16_t)i, .value = m->scales[m->checks[i].scale].normal};
    struct rw_assessment *a = assess(exam);
    cr_assert_gt(a->localisation.no_lesion, 0.5, "all normal is no lesion, not %.3f",
                 a->localisation.no_lesion);
    free(a);
    free(exam);
}

Test(localise, refuses_what_breaks_its_contract) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    struct rw_assessment *out = calloc(1, sizeof *out);
    struct rw_error error;
    void *workspace = malloc(rw_workspace_size());
    cr_assert_eq(rw_assess(exam, workspace, 1000, out, &error), RW_ENOSPACE);
    upper_palsy(exam);
    exam->findings[exam->finding_count++] = exam->findings[0];
    cr_assert_eq(rw_assess(exam, workspace, rw_workspace_size(), out, &error), RW_EINVAL);
    cr_assert_str_eq(error.pointer, "/motor/deltoid_lateral");
    free(workspace);
    free(out);
    free(exam);
}
