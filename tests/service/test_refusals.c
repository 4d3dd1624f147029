/* What the service does not take: a clear problem document for each, an entry in the audit, and nothing of
 * the record anywhere. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "client.h"

#define ASSESSMENTS "/v1/assessments"
#define CHECK       "/v1/records/check"
#define COUNT(list) (sizeof(list) / sizeof(list)[0])
#define CANARY      "canary-7f3a"
/* A good record that lacks its last brace. */
#define OPEN                                                                                                 \
    "{\"subject\":\"" CANARY                                                                                 \
    "\",\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"reflexes\":{\"biceps\":\"absent\"}"
#define GOOD OPEN "}"

static const char *const record_routes[] = {ASSESSMENTS, CHECK};

/* Nothing of any record was kept or logged, and the chain holds. */
static void assert_nothing_kept(const struct service *s) {
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 0);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM idempotency"), 0);
    cr_assert_not(service_data_holds(s, CANARY), "the database holds something of a refused record");
    cr_assert_null(strstr(file_text(s->log, NULL), CANARY), "%s", file_text(s->log, NULL));
    service_verify(s);
}

static int64_t entries(const struct service *s) {
    return service_count(s, "SELECT count(*) FROM audit WHERE outcome = 'refused' AND answer_digest = ''");
}

/* ---- records ---- */

static const struct {
    const char *name, *body;
    long status;
    const char *pointer; /* of the first fault */
} bad_records[] = {
    {"empty body", "", 400, ""},
    {"no JSON", "side: left", 400, ""},
    {"cut off", OPEN, 400, ""},
    {"trailing bytes", GOOD " x", 400, ""},
    {"two records", GOOD GOOD, 400, ""},
    {"a list", "[" GOOD "]", 422, ""},
    {"a number", "5", 400, ""},
    {"UTF-8 that is none", OPEN ",\"examiner\":\"a\xff\"}", 400, ""},
    {"overlong UTF-8", OPEN ",\"examiner\":\"a\xc0\xaf\"}", 400, ""},
    {"a surrogate in UTF-8", OPEN ",\"examiner\":\"a\xed\xa0\x80\"}", 400, ""},
    {"a lone surrogate escape", OPEN ",\"examiner\":\"\\ud800\"}", 400, ""},
    {"byte order mark", "\xef\xbb\xbf" GOOD, 400, ""},
    {"NaN", OPEN ",\"age_years\":NaN}", 400, ""},
    {"Infinity", OPEN ",\"age_years\":-Infinity}", 400, ""},
    {"a number beyond double", OPEN ",\"age_years\":1e999}", 400, ""},
    {"a comment", OPEN " /* */ }", 400, ""},
    {"single quotes", "{'side':'left'}", 400, ""},
    {"member twice", OPEN ",\"side\":\"right\"}", 400, "/side"},
    {"member twice by an escape", OPEN ",\"s\\u0069de\":\"right\"}", 400, ""},
    {"finding twice", OPEN ",\"motor\":{\"trapezius\":\"5\",\"trapezius\":\"0\"}}", 400, "/motor/trapezius"},
    {"unknown member", OPEN ",\"patient_name\":\"" CANARY "\"}", 422, "/patient_name"},
    {"unknown member with odd signs", OPEN ",\"a/b~c\":1}", 422, "/a~1b~0c"},
    {"unknown finding", OPEN ",\"motor\":{\"biceps\":\"4\"}}", 422, "/motor/biceps"},
    {"grade outside the scale", OPEN ",\"motor\":{\"trapezius\":6}}", 422, "/motor/trapezius"},
    {"grade that is none", OPEN ",\"motor\":{\"trapezius\":\"" CANARY "\"}}", 422, "/motor/trapezius"},
    {"null for a finding", OPEN ",\"motor\":{\"trapezius\":null}}", 422, "/motor/trapezius"},
    {"wrong side word",
     "{\"side\":\"both\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"signs\":{\"ptosis\":true}}", 422,
     "/side"},
    {"no side", "{\"examined_at\":\"2026-03-02T09:40:00Z\",\"signs\":{\"ptosis\":true}}", 422, "/side"},
    {"no time", "{\"side\":\"left\",\"signs\":{\"ptosis\":true}}", 422, "/examined_at"},
    {"time without zone",
     "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00\",\"signs\":{\"ptosis\":true}}", 422,
     "/examined_at"},
    {"far future", "{\"side\":\"left\",\"examined_at\":\"2999-03-02T09:40:00Z\",\"signs\":{\"ptosis\":true}}",
     422, "/examined_at"},
    {"no finding", "{\"subject\":\"" CANARY "\",\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\"}",
     422, ""},
    {"onset after the exam", OPEN ",\"onset_at\":\"2026-03-03\"}", 422, "/onset_at"},
    {"no such day", OPEN ",\"onset_at\":\"2026-02-30\"}", 422, "/onset_at"},
    {"a name as subject",
     "{\"subject\":\"Canary " CANARY "\",\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\","
     "\"signs\":{\"ptosis\":true}}",
     422, "/subject"},
};

SERVICE_TEST(refusals, bad_records) {
    const char *key = service_key(s, "clinician");
    for (size_t i = 0; i < COUNT(bad_records); i++)
        for (size_t r = 0; r < COUNT(record_routes); r++) {
            const char *name = text_of("%s to %s", bad_records[i].name, record_routes[r]);
            int64_t before = entries(s);
            struct reply reply = http_post(s, record_routes[r], key, bad_records[i].body);
            const json_t *problem = assert_problem(&reply, bad_records[i].status, name);
            const json_t *first = json_array_get(json_object_get(problem, "errors"), 0);
            cr_assert_not_null(first, "%s: no errors in %s", name, reply.body);
            cr_assert_str_eq(json_string_value(json_object_get(first, "pointer")), bad_records[i].pointer,
                             "%s: %s", name, reply.body);
            cr_assert_null(strstr(reply.body, CANARY), "%s: the answer repeats what was sent", name);
            cr_assert_eq(entries(s), before + 1, "%s: no audit entry of the refusal", name);
            service_verify(s);
        }
    assert_nothing_kept(s);
}

/* Each fault of schema/examples/bad.json, in document order. */
static const char *const faults_of_bad[] = {"/subject",
                                            "/side",
                                            "/examined_at",
                                            "/onset_at",
                                            "/age_years",
                                            "/mechanism",
                                            "/motor/biceps",
                                            "/motor/deltoid_lateral",
                                            "/motor/rhomboids",
                                            "/sensation/roots/C9",
                                            "/sensation/nerves/axillary",
                                            "/reflexes/biceps",
                                            "/signs/ptosis",
                                            "/investigations/emg/supraspinatus",
                                            "/investigations/emg/deltoid/denervation",
                                            "/investigations/emg/deltoid/fibrillation",
                                            "/investigations/imaging/pseudomeningocele/C4",
                                            "/otherwise_normal/1",
                                            "/otherwise_normal/2",
                                            "/donor_limits/rib_fractures",
                                            "/donor_limits/declined/0",
                                            "/patient_name"};

SERVICE_TEST(refusals, all_faults_at_once) {
    const char *key = service_key(s, "clinician"), *bad = file_text("schema/examples/bad.json", NULL);
    for (size_t r = 0; r < COUNT(record_routes); r++) {
        struct reply reply = http_post(s, record_routes[r], key, bad);
        const json_t *errors = json_object_get(assert_problem(&reply, 422, record_routes[r]), "errors");
        for (size_t i = 0; i < COUNT(faults_of_bad); i++) {
            const json_t *error = json_array_get(errors, i);
            const char *pointer = json_string_value(json_object_get(error, "pointer"));
            const char *detail = json_string_value(json_object_get(error, "detail"));
            cr_assert(pointer && strcmp(pointer, faults_of_bad[i]) == 0, "error %zu is not %s: %s", i,
                      faults_of_bad[i], reply.body);
            cr_assert(detail && detail[0], "%s has no detail", faults_of_bad[i]);
        }
        cr_assert_eq(json_array_size(errors), COUNT(faults_of_bad), "%s", reply.body);
    }
    struct ran cli = run(NULL, "assess", "schema/examples/bad.json", NULL);
    cr_assert_eq(cli.code, 2);
    cr_assert_str_eq(cli.out, "");
    cr_assert_eq(json_array_size(json_object_get(json_text(cli.err, strlen(cli.err)), "errors")),
                 COUNT(faults_of_bad));
    assert_nothing_kept(s);
}

/* A record of exactly this many bytes: blanks behind a good one. */
static char *record_of_size(size_t size) {
    char *body = keep(malloc(size + 1));
    memset(body, ' ', size);
    memcpy(body, GOOD, strlen(GOOD));
    body[size] = '\0';
    return body;
}

/* A record of which the member "a" makes it this deep, the record itself counted. */
static char *record_of_depth(size_t depth) {
    char *body = keep(calloc(1, strlen(OPEN) + 8 + 2 * depth)), *end = stpcpy(body, OPEN ",\"a\":");
    memset(end, '[', depth - 1);
    memset(end + depth - 1, ']', depth - 1);
    end[2 * (depth - 1)] = '}';
    return body;
}

SERVICE_TEST(refusals, size_and_depth_at_their_edges) {
    enum { MOST = 256 * 1024, DEPTH = 16 };
    const char *key = service_key(s, "clinician");
    struct reply fits = http_post(s, CHECK, key, record_of_size(MOST));
    cr_assert_eq(fits.status, 200, "%s", fits.body);
    for (size_t r = 0; r < COUNT(record_routes); r++) {
        int64_t before = entries(s);
        struct reply large = http_post(s, record_routes[r], key, record_of_size(MOST + 1));
        assert_problem(&large, 413, "one byte too many");
        struct reply deep = http_post(s, record_routes[r], key, record_of_depth(DEPTH + 1));
        assert_problem(&deep, 400, "17 deep");
        struct reply shallow = http_post(s, record_routes[r], key, record_of_depth(DEPTH));
        assert_problem(&shallow, 422, "16 deep: read, but no member of a record");
        cr_assert_eq(entries(s), before + 3);
    }
    struct reply huge = http_post(s, ASSESSMENTS, key, record_of_size(4 << 20));
    assert_problem(&huge, 413, "4 MiB");
    assert_alive(s, "4 MiB");
}

/* ---- requests ---- */

static const struct {
    const char *name, *method, *path, *type, *header, *body;
    long status;
    const char *allow;
} bad_requests[] = {
    {"plain text", "POST", ASSESSMENTS, "text/plain", NULL, GOOD, 415, NULL},
    {"no type", "POST", ASSESSMENTS, "", NULL, GOOD, 415, NULL},
    {"form", "POST", CHECK, "application/x-www-form-urlencoded", NULL, GOOD, 415, NULL},
    {"type that only begins so", "POST", CHECK, "application/jsonx", NULL, GOOD, 415, NULL},
    {"latin 1", "POST", ASSESSMENTS, "application/json; charset=iso-8859-1", NULL, GOOD, 415, NULL},
    {"compressed", "POST", ASSESSMENTS, NULL, "Content-Encoding: gzip", GOOD, 415, NULL},
    {"wants a page", "POST", ASSESSMENTS, NULL, "Accept: text/html", GOOD, 406, NULL},
    {"unknown path", "GET", "/v1/nothing", NULL, NULL, NULL, 404, NULL},
    {"unknown path, posted", "POST", "/v1/nothing", NULL, NULL, GOOD, 404, NULL},
    {"path behind a path", "GET", "/v1/model/x", NULL, NULL, NULL, 404, NULL},
    {"slash behind a path", "GET", "/v1/model/", NULL, NULL, NULL, 404, NULL},
    {"upper case path", "GET", "/V1/model", NULL, NULL, NULL, 404, NULL},
    {"no id", "GET", ASSESSMENTS "/", NULL, NULL, NULL, 404, NULL},
    {"id that is none", "GET", ASSESSMENTS "/1", NULL, NULL, NULL, 404, NULL},
    {"unknown id", "GET", ASSESSMENTS "/00000000000000000000000000000000", NULL, NULL, NULL, 404, NULL},
    {"list of all", "GET", ASSESSMENTS, NULL, NULL, NULL, 405, "POST"},
    {"HEAD of a POST", "HEAD", ASSESSMENTS, NULL, NULL, NULL, 405, "POST"},
    {"delete", "DELETE", ASSESSMENTS "/00000000000000000000000000000000", NULL, NULL, NULL, 405, "GET, HEAD"},
    {"trace", "TRACE", "/v1/model", NULL, NULL, NULL, 405, "GET, HEAD"},
    {"options", "OPTIONS", CHECK, NULL, NULL, NULL, 405, "POST"},
    {"post to a page", "POST", "/style.css", NULL, NULL, GOOD, 405, "GET, HEAD"},
    {"query", "GET", "/v1/model?x=1", NULL, NULL, NULL, 400, NULL},
};

SERVICE_TEST(refusals, bad_requests) {
    const char *key = service_key(s, "clinician");
    for (size_t i = 0; i < COUNT(bad_requests); i++) {
        const struct ask ask = {.key = key,
                                .type = bad_requests[i].type,
                                .body = bad_requests[i].body,
                                .headers = {bad_requests[i].header}};
        struct reply reply = http(s, bad_requests[i].method, bad_requests[i].path, &ask);
        if (strcmp(bad_requests[i].method, "HEAD") == 0)
            cr_assert_eq(reply.status, bad_requests[i].status, "%s: %ld", bad_requests[i].name, reply.status);
        else
            assert_problem(&reply, bad_requests[i].status, bad_requests[i].name);
        if (bad_requests[i].allow)
            cr_assert_str_eq(header_of(&reply, "Allow"), bad_requests[i].allow, "%s", bad_requests[i].name);
        service_verify(s);
    }
    assert_nothing_kept(s);
}

SERVICE_TEST(refusals, no_key_or_a_wrong_one) {
    const char *key = service_key(s, "clinician");
    char *other_end = keep(strdup(key)), *other_id = keep(strdup(key));
    size_t last = strlen(key) - 1;
    other_end[last] = key[last] == '0' ? '1' : '0';
    other_id[4] = key[4] == '0' ? '1' : '0';
    const char *const headers[] = {NULL,
                                   "Authorization;", /* so libcurl sends it without a value */
                                   "Authorization: Bearer",
                                   text_of("Authorization: Basic %s", key),
                                   text_of("Authorization: %s", key),
                                   text_of("Authorization: Bearer %s", other_end),
                                   text_of("Authorization: Bearer %s", other_id),
                                   text_of("Authorization: Bearer %s0", key),
                                   text_of("Authorization: Bearer %.*s", (int)last, key),
                                   text_of("Cookie: rootward_session=%064d", 0)};
    for (size_t i = 0; i < COUNT(headers); i++)
        for (size_t r = 0; r < COUNT(record_routes); r++) {
            const char *name = headers[i] ? headers[i] : "no key";
            struct reply reply =
                http(s, "POST", record_routes[r], &(struct ask){.body = GOOD, .headers = {headers[i]}});
            assert_problem(&reply, 401, name);
            cr_assert(strncmp(header_of(&reply, "WWW-Authenticate"), "Bearer", 6) == 0, "%s", name);
        }
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE outcome='unauthenticated'"),
                 2 * COUNT(headers));
    cr_assert_not(service_data_holds(s, key), "the database holds a secret");
    cr_assert_null(strstr(file_text(s->log, NULL), key + 16), "the log holds a secret");
    assert_nothing_kept(s);
}

SERVICE_TEST(refusals, role_outside_its_rights) {
    struct reply posted = http_post(s, ASSESSMENTS, service_key(s, "auditor"), GOOD);
    assert_problem(&posted, 403, "auditor assesses");
    struct reply read =
        http_get(s, ASSESSMENTS "/00000000000000000000000000000000", service_key(s, "integration"));
    assert_problem(&read, 403, "integration reads");
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE outcome='forbidden'"), 2);
    assert_nothing_kept(s);
}

/* ---- a corpus of JSON texts, good and bad, none of them a record ---- */

Test(refusals, json_corpus, .fini = service_sweep) {
    const char *folder = getenv("RW_JSON_CORPUS");
    struct file_list files = list_files(folder ? folder : "../shared/corpora/json-parsing");
    if (files.count == 0)
        cr_skip_test("no corpus of JSON texts; RW_JSON_CORPUS names its folder");
    struct service *s = service_new();
    service_start(s, NULL);
    const char *key = service_key(s, "clinician");
    for (size_t i = 0; i < files.count; i++)
        for (size_t r = 0; r < COUNT(record_routes); r++) {
            struct ask ask = {.key = key};
            ask.body = file_text(files.paths[i], &ask.size);
            struct reply reply = http(s, "POST", record_routes[r], &ask);
            cr_assert(reply.status == 400 || reply.status == 422, "%s: %ld", files.paths[i], reply.status);
            assert_problem(&reply, reply.status, files.paths[i]);
        }
    assert_alive(s, "all files");
    assert_nothing_kept(s);
    service_stop(s);
}
