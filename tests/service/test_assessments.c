/* Records in, assessments out: what is answered, what is kept, and that both are the same. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "client.h"

#define ASSESSMENTS "/v1/assessments"
#define ONE                                                                                                  \
    "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"reflexes\":{\"biceps\":\"absent\"}}"

static const char *demo(void) {
    return file_text("schema/examples/demo.json", NULL);
}

static struct reply created(const struct service *s, const char *key, const char *record) {
    struct reply reply = http_post(s, ASSESSMENTS, key, record);
    cr_assert_eq(reply.status, 201, "%s", reply.body);
    return reply;
}

/* The answer without the members that may differ between equal answers. */
static char *without_stamps(const char *answer) {
    static const char *const stamps[] = {"\"id\":\"", "\"computed_at\":\""};
    char *text = keep(strdup(answer));
    for (size_t i = 0; i < sizeof stamps / sizeof stamps[0]; i++) {
        char *from = strstr(text, stamps[i]);
        char *to = from ? strstr(from + strlen(stamps[i]), "\",") : NULL;
        cr_assert(to, "no %s in %.200s", stamps[i], answer);
        memmove(from, to + 2, strlen(to + 2) + 1);
    }
    return text;
}

/* ---- the answer ---- */

SERVICE_TEST(assessments, answer_is_kept_byte_for_byte) {
    const char *clinician = service_key(s, "clinician"), *auditor = service_key(s, "auditor");
    struct reply posted = created(s, clinician, demo());
    const char *location = header_of(&posted, "Location");
    const char *id = json_string_value(json_object_get(json_of(&posted), "id"));
    cr_assert_str_eq(location, text_of(ASSESSMENTS "/%s", id));
    cr_assert_str_eq(header_of(&posted, "Content-Type"), "application/json");
    cr_assert_str_eq(header_of(&posted, "Cache-Control"), "no-store");

    const char *readers[] = {clinician, auditor};
    for (size_t i = 0; i < 2; i++) {
        struct reply read = http_get(s, location, readers[i]);
        cr_assert_eq(read.status, 200);
        cr_assert_eq(read.size, posted.size);
        cr_assert_arr_eq(read.body, posted.body, posted.size);
    }
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 1);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE action='assess' AND outcome='created'"),
                 1);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE action='read' AND outcome='ok'"), 2);
    service_verify(s);
}

/* Members of the contract's assessment, lists by their first item where the demo must have one. */
static const char *const members[] = {
    "id",
    "exam_digest",
    "engine/version",
    "engine/knowledge",
    "computed_at",
    "localisation/hypotheses/0/probability",
    "localisation/hypotheses/0/summary",
    "localisation/hypotheses/0/lesions/0/site",
    "localisation/hypotheses/0/lesions/0/level",
    "localisation/hypotheses/0/lesions/0/name",
    "localisation/hypotheses/0/lesions/0/part",
    "localisation/hypotheses/0/lesions/0/relation",
    "localisation/hypotheses/0/lesions/0/severity",
    "localisation/hypotheses/9/probability",
    "localisation/sites/0/site",
    "localisation/sites/0/p_injured",
    "localisation/sites/0/p_complete",
    "localisation/roots/0/root",
    "localisation/roots/0/p_intact",
    "localisation/roots/0/p_preganglionic",
    "localisation/roots/0/p_postganglionic",
    "localisation/levels/root",
    "localisation/levels/trunk",
    "localisation/levels/division",
    "localisation/levels/cord",
    "localisation/levels/nerve",
    "localisation/no_lesion",
    "localisation/outside_plexus",
    "localisation/fit/surprise",
    "localisation/fit/unexplained",
    "localisation/evidence/0/pointer",
    "localisation/evidence/0/log10_odds",
    "localisation/evidence/0/for",
    "localisation/evidence/0/against",
    "localisation/next_checks/0/finding",
    "localisation/next_checks/0/bits",
    "localisation/next_checks/0/separates/1",
    "deficits/functions/0/function",
    "deficits/functions/0/expected_grade",
    "deficits/functions/0/p_useful",
    "deficits/functions/0/p_recovers_unaided",
    "deficits/functions/0/muscles/0",
    "deficits/sensation/0/area",
    "deficits/sensation/0/p_lost",
    "deficits/sensation/0/protective",
    "deficits/sympathetic/p_lost",
    "recovery/rate_mm_per_day/1",
    "recovery/muscles/0/muscle",
    "recovery/muscles/0/distance_mm",
    "recovery/muscles/0/first_sign_expected/1",
    "recovery/muscles/0/window_closes",
    "recovery/decide_by",
    "transfers/plans/0/rank",
    "transfers/plans/0/expected_gain",
    "transfers/plans/0/steps/0/transfer",
    "transfers/plans/0/steps/0/donor",
    "transfers/plans/0/steps/0/recipient",
    "transfers/plans/0/steps/0/restores/0",
    "transfers/plans/0/steps/0/p_useful",
    "transfers/plans/0/steps/0/interval/1",
    "transfers/plans/0/steps/0/patients",
    "transfers/plans/0/steps/0/reinnervation_expected/1",
    "transfers/plans/0/steps/0/sources/0",
    "transfers/plans/0/donor_cost/0/function",
    "transfers/plans/0/donor_cost/0/loss",
    "transfers/plans/0/not_restored",
    "transfers/donors/0/donor",
    "transfers/donors/0/state",
    "transfers/donors/0/because",
    "transfers/donors/0/p_strong",
    "transfers/rejected/0/transfer",
    "transfers/rejected/0/because",
    "referral/how_soon",
    "referral/because",
    "referral/source",
    "urgent",
    "cautions/0",
    "filled_in",
    "not_examined/0",
};

static const json_t *member_at(const json_t *value, const char *path) {
    char *rest = keep(strdup(path));
    for (char *part; value && (part = strsep(&rest, "/"));)
        value = json_is_array(value) ? json_array_get(value, strtoul(part, NULL, 10))
                                     : json_object_get(value, part);
    return value;
}

SERVICE_TEST(assessments, answer_has_every_member_of_the_contract) {
    struct reply posted = created(s, service_key(s, "integration"), demo());
    const json_t *answer = json_of(&posted);
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++)
        cr_expect(member_at(answer, members[i]), "no %s", members[i]);
}

SERVICE_TEST(assessments, probabilities_hold_together) {
    struct reply posted = created(s, service_key(s, "clinician"), demo());
    const json_t *localisation = json_object_get(json_of(&posted), "localisation"), *item;
    double listed = 0, last = 1;
    size_t i, count = json_array_size(json_object_get(localisation, "hypotheses"));
    json_array_foreach(json_object_get(localisation, "hypotheses"), i, item) {
        double p = json_number_value(json_object_get(item, "probability"));
        cr_assert(p <= last && p >= 0, "hypothesis %zu: %g after %g", i, p, last);
        listed += p;
        last = p;
    }
    cr_assert(count >= 10 && count <= 100, "%zu hypotheses", count);
    cr_assert(listed <= 1 + 1e-4 && (count == 100 || listed >= 0.95 - 1e-4), "%zu hold %g", count, listed);
    json_array_foreach(json_object_get(localisation, "roots"), i, item) {
        double sum = json_number_value(json_object_get(item, "p_intact")) +
                     json_number_value(json_object_get(item, "p_preganglionic")) +
                     json_number_value(json_object_get(item, "p_postganglionic"));
        cr_assert_float_eq(sum, 1, 1e-4, "root %zu: %g", i, sum);
    }
}

SERVICE_TEST(assessments, same_record_same_bytes) {
    const char *key = service_key(s, "clinician");
    struct reply one = created(s, key, demo()), two = created(s, key, demo());
    cr_assert_str_neq(header_of(&one, "Location"), header_of(&two, "Location"));
    cr_assert_str_eq(without_stamps(one.body), without_stamps(two.body));

    struct ran cli = run(NULL, "assess", "schema/examples/demo.json", NULL);
    cr_assert_eq(cli.code, 0, "%s", cli.err);
    cr_assert_str_eq(text_of("%s\n", without_stamps(one.body)), cli.out);
}

SERVICE_TEST(assessments, order_and_blanks_of_the_record_do_not_matter) {
    const char *key = service_key(s, "clinician");
    const char *spread =
        "\n{ \"reflexes\" : {\"biceps\":\"absent\"},\t\"examined_at\":\"2026-03-02T09:40:00Z\" ,"
        "\"\\u0073ide\":\"left\" }\r\n";
    struct reply one = created(s, key, ONE), two = created(s, key, spread);
    cr_assert_str_eq(without_stamps(one.body), without_stamps(two.body));
}

/* ---- repeats ---- */

SERVICE_TEST(assessments, repeat_with_a_key_is_answered_from_the_first) {
    const char *key = service_key(s, "clinician");
    const struct ask ask = {.key = key, .body = ONE, .headers = {"Idempotency-Key: visit-1"}};
    struct reply one = http(s, "POST", ASSESSMENTS, &ask), two = http(s, "POST", ASSESSMENTS, &ask);
    cr_assert_eq(one.status, 201);
    cr_assert_eq(two.status, 201);
    cr_assert_str_eq(one.body, two.body);
    cr_assert_str_eq(header_of(&one, "Location"), header_of(&two, "Location"));
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE outcome='replayed'"), 1);

    const struct ask other_body = {.key = key,
                                   .body = file_text("schema/examples/partial.json", NULL),
                                   .headers = {"Idempotency-Key: visit-1"}};
    struct reply conflict = http(s, "POST", ASSESSMENTS, &other_body);
    assert_problem(&conflict, 422, "same key, other body");
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 1);

    /* Another caller's key of the same name is another key. */
    const struct ask other_caller = {
        .key = service_key(s, "integration"), .body = ONE, .headers = {"Idempotency-Key: visit-1"}};
    struct reply third = http(s, "POST", ASSESSMENTS, &other_caller);
    cr_assert_eq(third.status, 201);
    cr_assert_str_neq(header_of(&one, "Location"), header_of(&third, "Location"));

    /* And it outlives a restart. */
    service_stop(s);
    service_start(s, NULL);
    struct reply later = http(s, "POST", ASSESSMENTS, &ask);
    cr_assert_str_eq(one.body, later.body);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 2);
}

SERVICE_TEST(assessments, unusable_idempotency_key_is_refused) {
    const char *key = service_key(s, "clinician");
    char *longest = text_of("Idempotency-Key: %0129d", 7);
    const char *const bad[] = {"Idempotency-Key: with blank", "Idempotency-Key: \"\"", longest};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct reply reply =
            http(s, "POST", ASSESSMENTS, &(struct ask){.key = key, .body = ONE, .headers = {bad[i]}});
        assert_problem(&reply, 400, bad[i]);
    }
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 0);
}

Test(assessments, parallel_repeats_make_one_record, .fini = service_sweep) {
    enum { REPEATS = 20 };
    int fds[REPEATS];
    struct service *s = service_new();
    service_start(s, "--workers", "8", NULL);
    const char *post =
        wire_fill(s, service_key(s, "clinician"),
                  "POST " ASSESSMENTS " HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {key}\r\n"
                  "Content-Type: application/json\r\nIdempotency-Key: \"once\"\r\n"
                  "Connection: close\r\n");
    const char *request = text_of("%sContent-Length: %zu\r\n\r\n" ONE, post, strlen(ONE));
    /* All but the last byte first, so that all are under way when they become whole. */
    size_t most = strlen(request) - 1;
    for (size_t i = 0; i < REPEATS; i++) {
        fds[i] = wire_open(s);
        wire_send(fds[i], request, most);
    }
    for (size_t i = 0; i < REPEATS; i++)
        wire_send(fds[i], request + most, 1);

    const char *first = NULL;
    for (size_t i = 0; i < REPEATS; i++) {
        size_t size = 0;
        const char *answer = wire_read_all(fds[i], 120000, &size);
        cr_assert(strncmp(answer, "HTTP/1.1 201 ", 13) == 0, "repeat %zu: %.300s", i, answer);
        const char *body = strstr(answer, "\r\n\r\n");
        first = first ? first : body;
        cr_assert_str_eq(body, first, "repeat %zu", i);
    }
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 1);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE outcome='replayed'"), REPEATS - 1);
    service_verify(s);
    service_stop(s);
}

SERVICE_TEST(assessments, minimal_answer_on_request) {
    const char *key = service_key(s, "clinician");
    struct reply posted =
        http(s, "POST", ASSESSMENTS,
             &(struct ask){.key = key, .body = ONE, .headers = {"Prefer: wait=5, return=minimal"}});
    cr_assert_eq(posted.status, 201);
    cr_assert_eq(posted.size, 0);
    cr_assert_str_eq(header_of(&posted, "Preference-Applied"), "return=minimal");
    struct reply read = http_get(s, header_of(&posted, "Location"), key);
    cr_assert_eq(read.status, 200);
    cr_assert_not_null(json_object_get(json_of(&read), "localisation"));
}

/* ---- what the answer admits ---- */

static bool lists(const json_t *list, const char *text) {
    const json_t *item;
    size_t i;
    json_array_foreach(list, i, item) {
        if (strcmp(json_string_value(item), text) == 0)
            return true;
    }
    return false;
}

/* partial.json: wrist and finger extension weak, elbow extension full, motor and reflexes otherwise normal.
 */
SERVICE_TEST(assessments, otherwise_normal_is_filled_in_and_told) {
    struct reply posted =
        created(s, service_key(s, "clinician"), file_text("schema/examples/partial.json", NULL));
    const json_t *filled = json_object_get(json_of(&posted), "filled_in");
    cr_assert(lists(filled, "/motor/biceps_brachii"));
    cr_assert(lists(filled, "/reflexes/triceps"));
    static const char *const left_out[] = {"/motor/extensor_carpi_radialis_longus",
                                           "/motor/extensor_carpi_ulnaris",
                                           "/motor/extensor_digitorum",
                                           "/sensation/roots/C5",
                                           "/signs/ptosis",
                                           "/signs/wrist_drop"};
    for (size_t i = 0; i < sizeof left_out / sizeof left_out[0]; i++)
        cr_assert_not(lists(filled, left_out[i]), "%s", left_out[i]);
    cr_assert(lists(json_object_get(json_of(&posted), "not_examined"), "/sensation/roots/C5"));
}

SERVICE_TEST(assessments, nothing_is_filled_in_unasked) {
    struct reply posted = created(s, service_key(s, "clinician"), ONE);
    const json_t *answer = json_of(&posted);
    cr_assert_eq(json_array_size(json_object_get(answer, "filled_in")), 0);
    cr_assert(lists(json_object_get(answer, "not_examined"), "/reflexes/triceps"));
    cr_assert_not(lists(json_object_get(answer, "not_examined"), "/reflexes/biceps"));
}

SERVICE_TEST(assessments, untestable_findings_alone_say_nothing) {
    struct reply posted =
        created(s, service_key(s, "clinician"),
                "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"motor\":{\"biceps_brachii\":"
                "\"untestable\","
                "\"deltoid_lateral\":\"untestable\"},\"sensation\":{\"roots\":{\"C5\":\"untestable\"}}}");
    const json_t *answer = json_of(&posted), *item;
    size_t i;
    bool said = false;
    json_array_foreach(json_object_get(answer, "cautions"), i, item) {
        said = said || strstr(json_string_value(item), "Nothing in this examination");
    }
    cr_assert(said, "no caution says that nothing was learnt");
    cr_assert_eq(json_array_size(json_object_get(json_object_get(answer, "localisation"), "evidence")), 0);
    cr_assert_eq(json_array_size(json_object_get(json_object_get(answer, "transfers"), "plans")), 0);
}

/* ---- the log ---- */

SERVICE_TEST(assessments, log_holds_nothing_of_the_record) {
    const char *key = service_key(s, "clinician");
    struct reply posted =
        created(s, key,
                "{\"subject\":\"canary-subject\",\"examiner\":\"canary-examiner\",\"side\":\"left\","
                "\"examined_at\":\"2026-03-02T09:40:00Z\",\"reflexes\":{\"biceps\":\"absent\"}}");
    http_get(s, header_of(&posted, "Location"), key);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE subject='canary-subject'"), 1);
    service_stop(s); /* a request's line is written after its answer has left */
    const char *log = file_text(s->log, NULL);
    cr_assert_null(strstr(log, "canary"), "%s", log);
    cr_assert_null(strstr(log, "biceps"), "%s", log);
    cr_assert_null(strstr(log, key), "%s", log);
    cr_assert_not_null(strstr(log, "\"route\":\"" ASSESSMENTS "/{id}\""), "%s", log);
}
