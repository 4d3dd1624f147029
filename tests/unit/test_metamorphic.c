/* Laws that tie the answers to related exams together, whatever the facts say. */
#include "hand_made.h"

#include <jansson.h>

#include "records.h"

#define ROUNDING 1e-9

/* The same posterior: marginals and the list. */
static void expect_same(const struct rw_assessment *a, const struct rw_assessment *b, double tolerance) {
    const struct rw_localisation *x = &a->localisation, *y = &b->localisation;
    for (size_t i = 0; i < rw_model()->site_count; i++) {
        cr_expect_float_eq(x->sites[i].p_injured, y->sites[i].p_injured, tolerance);
        cr_expect_float_eq(x->sites[i].p_complete, y->sites[i].p_complete, tolerance);
    }
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        cr_expect_float_eq(x->roots[i].p_preganglionic, y->roots[i].p_preganglionic, tolerance);
    cr_expect_float_eq(x->no_lesion, y->no_lesion, tolerance);
    cr_expect_eq(x->hypothesis_count, y->hypothesis_count);
    for (size_t i = 0; i < x->hypothesis_count; i++)
        cr_expect_float_eq(x->hypotheses[i].probability, y->hypotheses[i].probability, tolerance);
    for (size_t i = 0; i < a->deficits.muscle_count; i++)
        cr_expect_float_eq(a->deficits.muscles[i].expected_grade, b->deficits.muscles[i].expected_grade,
                           tolerance);
}

enum { EXAMS = 3 };

/* A torn upper plexus, a radial palsy of the arm, a neuritis. */
static struct rw_exam *sample(size_t which) {
    static const enum rw_mechanism mechanisms[EXAMS] = {RW_MECHANISM_TRACTION, RW_MECHANISM_FRACTURE,
                                                        RW_MECHANISM_INFLAMMATORY};
    static const char *const grades[EXAMS] = {
        "deltoid_lateral=0 biceps_brachii=1 infraspinatus=0 triceps_long_head=4 first_dorsal_interosseous=5",
        "extensor_carpi_radialis_longus=0 extensor_digitorum=1 triceps_lateral_head=5 deltoid_lateral=5",
        "serratus_anterior=2 infraspinatus=3 biceps_brachii=5 flexor_pollicis_longus=1"};
    struct rw_exam *exam = new_exam(mechanisms[which], 19900, 20000);
    give_motor(exam, grades[which]);
    give(exam, RW_SECTION_SKIN_NERVE, "superficial_radial", which == 1 ? "absent" : "normal");
    give(exam, RW_SECTION_REFLEX, "biceps", which == 0 ? "absent" : "normal");
    return exam;
}

Test(metamorphic, the_other_side_is_no_other_injury) {
    for (size_t i = 0; i < EXAMS; i++) {
        struct rw_exam *exam = sample(i);
        exam->side = RW_SIDE_LEFT;
        struct rw_assessment *left = assess(exam);
        exam->side = RW_SIDE_RIGHT;
        struct rw_assessment *right = assess(exam);
        expect_same(left, right, 0.0);
        free(left);
        free(right);
        free(exam);
    }
}

Test(metamorphic, the_order_of_findings_says_nothing) {
    for (size_t i = 0; i < EXAMS; i++) {
        struct rw_exam *exam = sample(i);
        struct rw_assessment *one = assess(exam);
        for (size_t k = 0; k < exam->finding_count / 2; k++) {
            const struct rw_finding f = exam->findings[k];
            exam->findings[k] = exam->findings[exam->finding_count - 1 - k];
            exam->findings[exam->finding_count - 1 - k] = f;
        }
        struct rw_assessment *other = assess(exam);
        expect_same(one, other, ROUNDING);
        free(one);
        free(other);
        free(exam);
    }
}

static struct rw_exam *parse(const char *body) {
    struct rw_exam *exam = calloc(1, sizeof *exam);
    struct rw_issues issues = {0};
    json_t *record = NULL;
    cr_assert_eq(rw_record_parse(body, strlen(body), 30000, exam, &record, &issues), 0);
    json_decref(record);
    rw_issues_release(&issues);
    return exam;
}

Test(metamorphic, untestable_is_absent_and_members_have_no_order) {
    struct rw_exam *plain = parse("{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"mechanism\":"
                                  "\"traction\",\"motor\":{\"deltoid\":\"0\",\"biceps_brachii\":2}}");
    struct rw_exam *other = parse("{\"motor\":{\"biceps_brachii\":\"2\",\"subscapularis\":\"untestable\","
                                  "\"deltoid\":0},\"mechanism\":\"traction\",\"examined_at\":"
                                  "\"2026-03-02T09:40:00Z\",\"side\":\"left\"}");
    struct rw_assessment *a = assess(plain), *b = assess(other);
    cr_expect_eq(plain->finding_count, other->finding_count);
    expect_same(a, b, ROUNDING);
    free(a);
    free(b);
    free(plain);
    free(other);
}

/* The same JSON with the members of each object the other way round. */
static json_t *reversed(const json_t *value) {
    if (!json_is_object(value))
        return json_deep_copy(value);
    const char *names[64], *name;
    json_t *member, *out = json_object(), *source = json_deep_copy(value);
    size_t count = 0;
    json_object_foreach(source, name, member) names[count++] = name;
    while (count-- > 0)
        json_object_set_new(out, names[count], reversed(json_object_get(source, names[count])));
    json_decref(source);
    return out;
}

/* The bytes of the answer to a record. */
static char *answer_to(const json_t *record) {
    char *body = json_dumps(record, 0), *answer;
    struct rw_exam *exam = parse(body);
    struct rw_assessment *a = assess(exam);
    answer = rw_answer_json(record, exam, a, NULL, NULL, NULL);
    free(a);
    free(exam);
    free(body);
    return answer;
}

/* One digest, one answer: rounding must not break ties by the order of members. */
Test(metamorphic, the_order_of_members_changes_no_byte) {
    static const char *const paths[] = {"schema/examples/demo.json", "schema/examples/partial.json"};
    for (size_t i = 0; i < sizeof paths / sizeof *paths; i++) {
        json_t *record = json_load_file(paths[i], 0, NULL), *other = reversed(record);
        cr_assert_not_null(record);
        char *one = answer_to(record), *two = answer_to(other);
        cr_expect_str_eq(one, two, "%s", paths[i]);
        free(one);
        free(two);
        json_decref(record);
        json_decref(other);
    }
}

Test(metamorphic, a_sign_that_comes_too_early_changes_nothing) {
    struct rw_exam *exam = sample(0);
    exam->onset_day = exam->examined_day - 5;
    struct rw_assessment *without = assess(exam);
    give(exam, RW_SECTION_WASTING, "deltoid_lateral", "true");
    struct rw_assessment *with = assess(exam);
    expect_same(without, with, 0.0);
    cr_expect_eq(with->localisation.too_early_count, without->localisation.too_early_count + 1);
    free(without);
    free(with);
    free(exam);
}

/* Before a check is made, what is expected of the answer after it is the answer now: P(values) sum to 1 and
 * the posterior is a martingale. The leader rises by what it predicts better than all the others do. */
static void expect_martingale(struct rw_exam *exam, const struct rw_assessment *now, uint16_t check,
                              double *worst_fall) {
    const struct rw_localisation *l = &now->localisation;
    uint8_t values[UINT8_MAX];
    const size_t count = pure_values(check, values), sites = rw_model()->site_count;
    double p_sum = 0.0, injured[RW_MAX_SITES] = {0}, most = 0.0, fall = 0.0;
    for (size_t i = 0; i < count; i++) {
        exam->findings[exam->finding_count++] = (struct rw_finding){.check = check, .value = values[i]};
        struct rw_assessment *then = assess(exam);
        const double p = exp(then->localisation.log_evidence - l->log_evidence);
        const double leader = probability_of(then, &l->hypotheses[0]);
        p_sum += p;
        for (size_t s = 0; s < sites; s++)
            injured[s] += p * then->localisation.sites[s].p_injured;
        const double by_leader = p * leader / l->hypotheses[0].probability; /* P(value | leader) */
        if (by_leader > most) {
            most = by_leader;
            fall = 1.0 - leader / l->hypotheses[0].probability;
        }
        exam->finding_count--;
        free(then);
    }
    cr_expect_float_eq(p_sum, 1.0, ROUNDING);
    for (size_t s = 0; s < sites; s++)
        cr_expect_float_eq(injured[s], l->sites[s].p_injured, ROUNDING);
    *worst_fall = fall > *worst_fall ? fall : *worst_fall;
}

/* A value that the leader predicts lowers it only where the rivals predict it still better; never by much. */
#define GREATEST_FALL 0.15

Test(metamorphic, no_answer_is_foreseen) {
    static const char *const muscles[] = {"rhomboids", "brachioradialis", "extensor_pollicis_longus"};
    double worst_fall = 0.0;
    for (size_t i = 0; i < EXAMS; i++) {
        struct rw_exam *exam = sample(i);
        struct rw_assessment *now = assess(exam);
        for (size_t k = 0; k < sizeof muscles / sizeof *muscles; k++)
            expect_martingale(exam, now, rw_check_find(RW_SECTION_MOTOR, muscles[k]), &worst_fall);
        expect_martingale(exam, now, rw_check_find(RW_SECTION_SNAP, "superficial_radial"), &worst_fall);
        expect_martingale(exam, now, rw_check_find(RW_SECTION_SKIN_ROOT, "C6"), &worst_fall);
        free(now);
        free(exam);
    }
    cr_expect_lt(worst_fall, GREATEST_FALL, "an expected value lowers the leader by %.3f", worst_fall);
}

static double axillary(const char *grades) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_DISLOCATION, 19900, 20000);
    give_motor(exam, grades);
    give(exam, RW_SECTION_SKIN_NERVE, "axillary", "reduced");
    struct rw_assessment *a = assess(exam);
    const double p = a->localisation.sites[site_of("axillary_main")].p_injured;
    free(a);
    free(exam);
    return p;
}

Test(metamorphic, a_group_moves_the_answer_as_its_parts_do) {
    const double before = axillary("biceps_brachii=5");
    cr_expect_gt(axillary("biceps_brachii=5 deltoid=0"), before);
    cr_expect_gt(axillary("biceps_brachii=5 deltoid_anterior=0 deltoid_lateral=0 deltoid_posterior=0"),
                 before);
    cr_expect_lt(axillary("biceps_brachii=5 deltoid=5"), before);
    cr_expect_lt(axillary("biceps_brachii=5 deltoid_anterior=5 deltoid_lateral=5 deltoid_posterior=5"),
                 before);
}
