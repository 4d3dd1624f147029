/* What is asked of the plan changes the plan, and nothing else. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client.h"

static const char *with_options(const char *options) {
    const char *demo = file_text("schema/examples/demo.json", NULL);
    const size_t size = strcspn(demo, "{") + 1;
    return text_of("{%s%s%s%s", options ? "\"plan_options\":" : "", options ? options : "",
                   options ? "," : "", demo + size);
}

static const json_t *answer_to(const struct service *s, const char *key, const char *options) {
    struct reply reply = http_post(s, "/v1/assessments", key, with_options(options));
    cr_assert_eq(reply.status, 201, "%s", reply.body);
    return json_of(&reply);
}

static const json_t *plans_of(const json_t *answer) {
    return json_object_get(json_object_get(answer, "transfers"), "plans");
}

static const char *text_at(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    cr_assert(text, "no %s", key);
    return text;
}

static const json_t *first_plan(const json_t *answer) {
    const json_t *plan = json_array_get(plans_of(answer), 0);
    cr_assert(plan, "the demo has a plan");
    return plan;
}

/* The step of a plan with this text, or NULL. */
static const json_t *step_with(const json_t *plan, const char *key, const char *text) {
    const json_t *step;
    size_t i;
    json_array_foreach(json_object_get(plan, "steps"), i, step) {
        if (strcmp(text_at(step, key), text) == 0)
            return step;
    }
    return NULL;
}

static size_t plans_spending(const json_t *answer, const char *donor) {
    const json_t *plan;
    size_t i, count = 0;
    json_array_foreach(plans_of(answer), i, plan) {
        count += step_with(plan, "donor", donor) != NULL;
    }
    return count;
}

static bool restores(const json_t *step, const char *function) {
    const json_t *id;
    size_t i;
    json_array_foreach(json_object_get(step, "restores"), i, id) {
        if (strcmp(json_string_value(id), function) == 0)
            return true;
    }
    return false;
}

/* Share of the plan's gain that hangs on the steps for a function. */
static double share_for(const json_t *plan, const char *function) {
    const json_t *step;
    size_t i;
    double sum = 0;
    json_array_foreach(json_object_get(plan, "steps"), i, step) {
        if (restores(step, function))
            sum += json_number_value(json_object_get(step, "gain"));
    }
    return sum / json_number_value(json_object_get(plan, "expected_gain"));
}

static const json_t *donor_status(const json_t *answer, const char *donor) {
    const json_t *status;
    size_t i;
    json_array_foreach(json_object_get(json_object_get(answer, "transfers"), "donors"), i, status) {
        if (strcmp(text_at(status, "donor"), donor) == 0)
            return status;
    }
    cr_assert_fail("no donor %s", donor);
    return NULL;
}

SERVICE_TEST(plan_options, donor_fixed_is_spent_by_every_plan) {
    const char *key = service_key(s, "clinician");
    cr_assert_lt(plans_spending(answer_to(s, key, NULL), "intercostals"), 3, "or the test shows nothing");
    const json_t *answer = answer_to(s, key, "{\"donors_fixed\":[\"intercostals\"]}");
    cr_assert_gt(json_array_size(plans_of(answer)), 0);
    cr_assert_eq(plans_spending(answer, "intercostals"), json_array_size(plans_of(answer)));
}

SERVICE_TEST(plan_options, donor_fixed_in_vain_leaves_no_plan) {
    const json_t *answer = answer_to(s, service_key(s, "clinician"),
                                     "{\"donors_fixed\":[\"phrenic\"]}"); /* declined in the demo */
    cr_assert_eq(json_array_size(plans_of(answer)), 0);
    cr_assert_not_null(
        strstr(text_at(json_object_get(answer, "transfers"), "no_plan"), "every donor that was asked for"));
}

SERVICE_TEST(plan_options, donor_excluded_is_spent_by_none) {
    const char *key = service_key(s, "clinician");
    const json_t *before = first_plan(answer_to(s, key, NULL)), *step;
    size_t i;
    json_array_foreach(json_object_get(before, "steps"), i, step) {
        const char *donor = text_at(step, "donor");
        const json_t *answer = answer_to(s, key, text_of("{\"donors_excluded\":[\"%s\"]}", donor));
        cr_expect_eq(plans_spending(answer, donor), 0, "%s", donor);
        const json_t *status = donor_status(answer, donor);
        cr_expect_str_eq(text_at(status, "state"), "excluded");
        cr_expect_not_null(strstr(text_at(status, "because"), "as asked"));
        cr_expect_leq(json_number_value(json_object_get(first_plan(answer), "expected_gain")),
                      json_number_value(json_object_get(before, "expected_gain")),
                      "a plan that may use less gains no more");
    }
    cr_assert_gt(i, 0);
}

SERVICE_TEST(plan_options, priority_weighs_more) {
    static const char function[] = "shoulder_external_rotation";
    const char *key = service_key(s, "clinician");
    const double before = share_for(first_plan(answer_to(s, key, NULL)), function),
                 after = share_for(
                     first_plan(answer_to(s, key, text_of("{\"priorities\":[\"%s\"]}", function))), function);
    cr_assert_gt(after, before * 1.05, "%g, then %g", before, after);
}

SERVICE_TEST(plan_options, surgery_date_moves_the_dates) {
    const char *key = service_key(s, "clinician");
    const json_t *april = first_plan(answer_to(s, key, "{\"surgery_date\":\"2026-04-30\"}")),
                 *may = first_plan(answer_to(s, key, "{\"surgery_date\":\"2026-05-01\"}")), *step;
    size_t i, moved = 0;
    cr_assert_str_eq(json_string_value(json_array_get(json_object_get(april, "operations"), 0)),
                     "2026-04-30");
    cr_assert_str_eq(json_string_value(json_array_get(json_object_get(may, "operations"), 0)), "2026-05-01");
    json_array_foreach(json_object_get(april, "steps"), i, step) {
        const json_t *same = step_with(may, "transfer", text_at(step, "transfer"));
        if (!same)
            continue;
        const json_t *earlier = json_object_get(step, "reinnervation_expected"),
                     *later = json_object_get(same, "reinnervation_expected");
        cr_assert_lt(strcmp(json_string_value(json_array_get(earlier, 0)),
                            json_string_value(json_array_get(later, 0))),
                     0);
        moved++;
    }
    cr_assert_gt(moved, 0);
    const json_t *late = answer_to(s, key, "{\"surgery_date\":\"2030-03-02\"}");
    cr_assert_eq(json_array_size(plans_of(late)), 0, "four years after the injury no muscle can be reached");
}

/* The lesion is where it is, whatever is asked of the plan. */
SERVICE_TEST(plan_options, leave_the_rest_of_the_answer_alone) {
    static const char *const parts[] = {"localisation", "deficits", "recovery",
                                        "referral",     "urgent",   "not_examined"};
    const char *key = service_key(s, "integration");
    const json_t *plain = answer_to(s, key, NULL),
                 *asked = answer_to(
                     s, key,
                     "{\"donors_fixed\":[\"intercostals\"],\"donors_excluded\":[\"ulnar_fascicle\"],"
                     "\"priorities\":[\"shoulder_external_rotation\"],\"surgery_date\":\"2026-05-01\"}");
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        cr_expect(json_equal(json_object_get(plain, parts[i]), json_object_get(asked, parts[i])), "%s",
                  parts[i]);
    cr_expect_not(json_equal(json_object_get(plain, "transfers"), json_object_get(asked, "transfers")));
    cr_expect_str_neq(text_at(plain, "exam_digest"), text_at(asked, "exam_digest"), "it is another record");
}

SERVICE_TEST(plan_options, faults_are_told_with_their_places) {
    struct reply reply =
        http_post(s, "/v1/assessments", service_key(s, "clinician"),
                  with_options("{\"donors_fixed\":[\"phrenic\",\"leg\"],\"donors_excluded\":[\"phrenic\"],"
                               "\"priorities\":[\"walking\"],\"surgery_date\":\"2026-03-01\",\"budget\":1}"));
    const json_t *errors = json_object_get(assert_problem(&reply, 422, "plan options"), "errors"), *error;
    static const char *const places[] = {"/plan_options/donors_fixed/1", "/plan_options/priorities/0",
                                         "/plan_options/surgery_date", "/plan_options/budget",
                                         "/plan_options"};
    size_t i;
    cr_assert_eq(json_array_size(errors), sizeof places / sizeof places[0]);
    json_array_foreach(errors, i, error) {
        cr_expect_str_eq(text_at(error, "pointer"), places[i]);
    }
}
