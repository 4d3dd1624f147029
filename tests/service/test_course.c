/* The course of one pseudonym: its visits in order, what changed, and who may read it. */
#include <string.h>

#include "client.h"

#define ASSESSMENTS  "/v1/assessments"
#define COURSE(name) "/v1/subjects/" name "/assessments"
#define COUNT(list)  (sizeof(list) / sizeof(list)[0])
#define HEAD(name)   "{\"subject\":\"" name "\",\"mechanism\":\"traction\",\"age_years\":30,"
#define RIGHT(name)  HEAD(name) "\"side\":\"right\",\"onset_at\":\"2026-01-11\","
#define AT(day)      "\"examined_at\":\"" day "T09:40:00Z\","
#define ONE_FINDING  "\"reflexes\":{\"biceps\":\"absent\"}}"

/* Power alone, then the same muscles on their way back, with skin and reflexes. */
#define FIRST                                                                                                \
    RIGHT("p-1")                                                                                             \
    AT("2026-02-20")                                                                                         \
    "\"pain_0_10\":7,\"motor\":{\"supraspinatus\":\"0\",\"deltoid_lateral\":\"0\",\"biceps_brachii\":\"0\"," \
    "\"triceps_long_head\":\"5\",\"first_dorsal_interosseous\":\"5\"}}"
#define SECOND                                                                                               \
    RIGHT("p-1")                                                                                             \
    AT("2026-09-20")                                                                                         \
    "\"pain_0_10\":2,\"daily_routine\":\"some_help\",\"motor\":{\"supraspinatus\":\"4\","                    \
    "\"deltoid_lateral\":\"3\",\"biceps_brachii\":\"3\",\"rhomboids\":\"5\",\"serratus_anterior\":\"5\","    \
    "\"triceps_long_head\":\"5\",\"first_dorsal_interosseous\":\"1\"},"                                      \
    "\"sensation\":{\"roots\":{\"C5\":\"reduced\",\"C6\":\"reduced\",\"C8\":\"normal\"}},"                   \
    "\"reflexes\":{\"biceps\":\"absent\",\"triceps\":\"normal\"}}"

/* Posts a record; its id. */
static const char *post(const struct service *s, const char *key, const char *record) {
    struct reply reply = http_post(s, ASSESSMENTS, key, record);
    cr_assert_eq(reply.status, 201, "%s", reply.body);
    return json_string_value(json_object_get(json_of(&reply), "id"));
}

static const json_t *read_course(const struct service *s, const char *key, const char *path) {
    struct reply reply = http_get(s, path, key);
    cr_assert_eq(reply.status, 200, "%s", reply.body);
    cr_assert_str_eq(header_of(&reply, "Content-Type"), "application/json");
    cr_assert_str_eq(header_of(&reply, "Cache-Control"), "no-store");
    return json_of(&reply);
}

static const char *text_at(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

static double number_at(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    cr_assert(json_is_number(value), "no number %s", key);
    return json_number_value(value);
}

static const json_t *item(const json_t *object, const char *list, size_t index) {
    const json_t *found = json_array_get(json_object_get(object, list), index);
    cr_assert(found, "no %s/%zu", list, index);
    return found;
}

static size_t length(const json_t *object, const char *list) {
    const json_t *array = json_object_get(object, list);
    cr_assert(json_is_array(array), "no list %s", list);
    return json_array_size(array);
}

static const json_t *find(const json_t *object, const char *list, const char *key, const char *value) {
    for (size_t i = 0; i < length(object, list); i++)
        if (strcmp(text_at(item(object, list, i), key), value) == 0)
            return item(object, list, i);
    cr_assert_fail("no %s with %s %s", list, key, value);
    return NULL;
}

static bool cautioned(const json_t *course, const char *words) {
    for (size_t i = 0; i < length(course, "cautions"); i++)
        if (strstr(json_string_value(item(course, "cautions", i)), words))
            return true;
    return false;
}

/* ---- two visits of one injury ---- */

SERVICE_TEST(course, visits_stand_in_order_of_examination) {
    const char *key = service_key(s, "clinician");
    const char *second = post(s, key, SECOND), *first = post(s, service_key(s, "integration"), FIRST);
    const json_t *course = read_course(s, key, COURSE("p-1"));
    cr_assert_str_eq(text_at(course, "subject"), "p-1");
    cr_assert_eq(length(course, "visits"), 2);
    const json_t *one = item(course, "visits", 0), *two = item(course, "visits", 1);
    cr_assert_str_eq(text_at(one, "id"), first);
    cr_assert_str_eq(text_at(two, "id"), second);
    cr_assert_str_eq(text_at(one, "examined_at"), "2026-02-20T09:40:00Z");
    cr_assert_str_eq(text_at(one, "onset_at"), "2026-01-11");
    cr_assert_str_eq(text_at(two, "side"), "right");
    cr_assert_eq(number_at(one, "pain_0_10"), 7);
    cr_assert_str_eq(text_at(two, "daily_routine"), "some_help");
    cr_assert_null(json_object_get(one, "daily_routine"));

    cr_assert_eq(length(course, "injuries"), 1);
    const json_t *injury = item(course, "injuries", 0);
    cr_assert_str_eq(json_string_value(item(injury, "visits", 0)), first);
    cr_assert_str_eq(json_string_value(item(injury, "visits", 1)), second);
    cr_assert_eq(length(injury, "pain"), 2);
    cr_assert_eq(number_at(item(injury, "pain", 1), "pain_0_10"), 2);
    cr_assert_eq(length(injury, "daily_routine"), 1);
    cr_assert(cautioned(course, "Surgery between visits is not known"));
    cr_assert(cautioned(course, "never replaces"));
}

SERVICE_TEST(course, tells_what_changed) {
    const char *key = service_key(s, "clinician");
    const char *second = post(s, key, SECOND), *first = post(s, key, FIRST);
    const json_t *injury = item(read_course(s, key, COURSE("p-1")), "injuries", 0);
    cr_assert_eq(length(injury, "changes"), 5, "each check that both visits recorded");
    const json_t *biceps = find(injury, "changes", "pointer", "/motor/biceps_brachii");
    cr_assert_str_eq(text_at(biceps, "from"), "0");
    cr_assert_str_eq(text_at(biceps, "to"), "3");
    cr_assert_str_eq(text_at(biceps, "direction"), "better");
    cr_assert_str_eq(json_string_value(item(biceps, "between", 0)), first);
    cr_assert_str_eq(json_string_value(item(biceps, "between", 1)), second);
    cr_assert_gt(number_at(biceps, "p_recovered"), 0.5);
    cr_assert_null(json_object_get(biceps, "beyond_chance"));
    cr_assert_str_eq(text_at(find(injury, "changes", "pointer", "/motor/triceps_long_head"), "direction"),
                     "same");

    const json_t *hand = find(injury, "changes", "pointer", "/motor/first_dorsal_interosseous");
    cr_assert_str_eq(text_at(hand, "direction"), "worse");
    cr_assert(json_is_true(json_object_get(hand, "beyond_chance")));
    cr_assert_eq(length(injury, "worsening"), 1);
    cr_assert_str_eq(json_string_value(item(injury, "worsening", 0)), "/motor/first_dorsal_interosseous");

    const json_t *pace = find(injury, "pace", "muscle", "supraspinatus");
    cr_assert_str_eq(text_at(pace, "pace"), "recovered");
    cr_assert_gt(number_at(pace, "p_recovered"), 0.5);
    cr_assert_null(json_object_get(injury, "no_pace"));
}

SERVICE_TEST(course, visits_together_say_more_than_each_alone) {
    const char *key = service_key(s, "clinician");
    post(s, key, SECOND);
    post(s, key, FIRST);
    const json_t *course = read_course(s, key, COURSE("p-1"));
    const json_t *joint = json_object_get(item(course, "injuries", 0), "joint");
    cr_assert_eq(length(joint, "by_visit"), 2);
    for (size_t i = 0; i < 2; i++) {
        const json_t *visit = item(joint, "by_visit", i),
                     *leader = json_object_get(item(course, "visits", i), "leader");
        cr_assert_lt(number_at(joint, "entropy_bits"), number_at(visit, "entropy_alone_bits"), "visit %zu",
                     i);
        cr_assert_str_eq(text_at(visit, "id"), text_at(item(course, "visits", i), "id"));
        cr_assert_str_eq(text_at(visit, "leader_alone"), text_at(leader, "summary"));
        cr_assert(number_at(leader, "probability") > 0 && number_at(leader, "probability") <= 1);
    }
    double last = 1, sum = 0;
    cr_assert_geq(length(joint, "hypotheses"), 10);
    for (size_t i = 0; i < length(joint, "hypotheses"); i++) {
        const json_t *h = item(joint, "hypotheses", i);
        cr_assert_leq(number_at(h, "probability"), last, "hypothesis %zu", i);
        last = number_at(h, "probability");
        sum += last;
        cr_assert(strlen(text_at(h, "summary")) > 0 && number_at(h, "p_alone") >= 0);
        for (size_t k = 0; k < length(h, "lesions"); k++)
            cr_assert(strlen(text_at(item(h, "lesions", k), "severity")) > 0);
    }
    cr_assert_leq(sum, 1 + 1e-4);
    cr_assert_eq(length(joint, "roots"), 5);
    cr_assert_gt(length(joint, "sites"), 20);
    for (size_t i = 0; i < length(joint, "sites"); i++) {
        const json_t *site = item(joint, "sites", i);
        cr_assert_leq(number_at(site, "p_complete"), number_at(site, "p_injured") + 1e-6);
        cr_assert_leq(number_at(site, "p_recovered"), 1);
    }
}

SERVICE_TEST(course, same_visits_same_bytes) {
    const char *key = service_key(s, "clinician");
    post(s, key, FIRST);
    post(s, key, SECOND);
    struct reply one = http_get(s, COURSE("p-1"), key);
    service_stop(s);
    service_start(s, NULL);
    struct reply two = http_get(s, COURSE("p-1"), key);
    cr_assert_eq(one.status, 200);
    cr_assert_str_eq(one.body, two.body);
}

/* ---- what belongs together ---- */

SERVICE_TEST(course, subjects_and_sides_are_kept_apart) {
    const char *key = service_key(s, "clinician");
    const char *right = post(s, key, RIGHT("p-1") AT("2026-02-20") ONE_FINDING);
    const char *left = post(s, key, HEAD("p-1") "\"side\":\"left\"," AT("2026-02-21") ONE_FINDING);
    const char *other = post(s, key, RIGHT("p-10") AT("2026-02-22") ONE_FINDING);
    post(s, key, "{\"side\":\"left\"," AT("2026-02-23") ONE_FINDING);
    const json_t *course = read_course(s, key, COURSE("p-1"));
    cr_assert_eq(length(course, "visits"), 2);
    cr_assert_eq(length(course, "injuries"), 2);
    const char *const sides[] = {"right", "left"}, *const ids[] = {right, left};
    for (size_t i = 0; i < 2; i++) {
        const json_t *injury = find(course, "injuries", "side", sides[i]);
        cr_assert_eq(length(injury, "visits"), 1);
        cr_assert_str_eq(json_string_value(item(injury, "visits", 0)), ids[i]);
        cr_assert_eq(length(injury, "changes"), 0);
    }
    cr_assert_str_eq(text_at(find(course, "injuries", "side", "left"), "no_pace"), "the onset is not given");

    const json_t *tenth = read_course(s, key, COURSE("p-10"));
    cr_assert_eq(length(tenth, "visits"), 1);
    cr_assert_str_eq(text_at(item(tenth, "visits", 0), "id"), other);
}

SERVICE_TEST(course, record_sent_twice_counts_once) {
    const char *key = service_key(s, "clinician");
    const char *first = post(s, key, FIRST), *again = post(s, key, FIRST);
    const json_t *course = read_course(s, key, COURSE("p-1")), *injury = item(course, "injuries", 0);
    cr_assert_eq(length(course, "visits"), 2);
    cr_assert_str_eq(text_at(find(course, "visits", "id", again), "repeats"), first);
    cr_assert_eq(length(injury, "visits"), 1);
    cr_assert_eq(length(injury, "changes"), 0);
    cr_assert_eq(length(injury, "pain"), 1);
}

SERVICE_TEST(course, visit_without_an_onset_is_told) {
    const char *key = service_key(s, "clinician");
    post(s, key, RIGHT("p-1") AT("2026-02-20") ONE_FINDING);
    cr_assert_not(cautioned(read_course(s, key, COURSE("p-1")), "without an onset"));
    post(s, key, HEAD("p-1") "\"side\":\"right\"," AT("2026-03-20") ONE_FINDING);
    const json_t *course = read_course(s, key, COURSE("p-1"));
    cr_assert_eq(length(course, "injuries"), 1);
    cr_assert(cautioned(course, "Visits without an onset: 1."));
}

/* Nine visits, of which eight are joined: the second is left out. */
SERVICE_TEST(course, what_got_worse_is_cautioned_against) {
    const char *key = service_key(s, "clinician");
    static const char *const grades[] = {"5", "4", "1"};
    for (size_t i = 0; i < COUNT(grades); i++) {
        post(s, key,
             text_of(
                 RIGHT(
                     "p-1") "\"examined_at\":\"2026-0%zu-20T09:40:00Z\",\"motor\":{\"biceps_brachii\":\"%s\","
                            "\"deltoid_lateral\":\"%s\",\"rhomboids\":\"5\"}}",
                 i + 2, grades[i], grades[i]));
        cr_assert_eq(cautioned(read_course(s, key, COURSE("p-1")), "worse than before"), i == 2, "visit %zu",
                     i);
    }
}

SERVICE_TEST(course, more_visits_than_can_be_joined) {
    const char *key = service_key(s, "clinician"), *ids[9];
    for (size_t i = 0; i < COUNT(ids); i++)
        ids[i] = post(s, key,
                      text_of(RIGHT("p-1") "\"examined_at\":\"2026-0%zu-20T09:40:00Z\"," ONE_FINDING, i + 1));
    const json_t *course = read_course(s, key, COURSE("p-1"));
    const json_t *injury = item(course, "injuries", 0), *joint = json_object_get(injury, "joint");
    cr_assert_eq(length(course, "visits"), 9);
    cr_assert_eq(length(injury, "visits"), 9);
    cr_assert_eq(length(joint, "by_visit"), 8);
    for (size_t i = 0; i < COUNT(ids); i++) {
        cr_assert_str_eq(text_at(item(course, "visits", i), "id"), ids[i]);
        cr_assert_eq(json_is_null(json_object_get(item(course, "visits", i), "leader")), i == 1, "visit %zu",
                     i);
        if (i != 1)
            cr_assert_str_eq(text_at(item(joint, "by_visit", i ? i - 1 : 0), "id"), ids[i]);
    }
    cr_assert(cautioned(course, "Visits outside the joint view: 1."));
}

/* ---- who, and the log ---- */

SERVICE_TEST(course, clinicians_alone_may_read_it) {
    const char *clinician = service_key(s, "clinician");
    post(s, clinician, FIRST);
    const char *const others[] = {service_key(s, "integration"), service_key(s, "auditor")};
    for (size_t i = 0; i < COUNT(others); i++) {
        struct reply reply = http_get(s, COURSE("p-1"), others[i]);
        assert_problem(&reply, 403, "another role");
    }
    struct reply nobody = http_get(s, COURSE("p-1"), NULL);
    assert_problem(&nobody, 401, "no key");
    struct reply unknown_to_nobody = http_get(s, COURSE("p-2"), NULL);
    assert_problem(&unknown_to_nobody, 401, "no key, and no such subject");
    struct reply posted = http_post(s, COURSE("p-1"), clinician, FIRST);
    assert_problem(&posted, 405, "POST");
    cr_assert_str_eq(header_of(&posted, "Allow"), "GET, HEAD");
    struct reply head = http(s, "HEAD", COURSE("p-1"), &(struct ask){.key = clinician});
    cr_assert_eq(head.status, 200);
    cr_assert_eq(head.size, 0);
}

SERVICE_TEST(course, no_such_subject) {
    const char *key = service_key(s, "clinician");
    post(s, key, RIGHT("p-1") AT("2026-02-20") ONE_FINDING);
    const char *longest = text_of("%064d", 0), *too_long = text_of("%065d", 0);
    const char *const paths[] = {COURSE("p-2"),
                                 COURSE("P-1"),
                                 COURSE("p"),
                                 COURSE("p-1/p-1"),
                                 COURSE(""),
                                 "/v1/subjects",
                                 "/v1/subjects/p-1",
                                 "/v1/subjects/p-1/",
                                 COURSE("p-1") "/",
                                 text_of(COURSE("%s"), longest),
                                 text_of(COURSE("%s"), too_long)};
    for (size_t i = 0; i < COUNT(paths); i++) {
        struct reply reply = http_get(s, paths[i], key);
        assert_problem(&reply, 404, paths[i]);
    }
    post(s, key, text_of("{\"subject\":\"%s\",\"side\":\"left\"," AT("2026-02-20") ONE_FINDING, longest));
    read_course(s, key, text_of(COURSE("%s"), longest));
}

SERVICE_TEST(course, reading_is_in_the_audit_and_stores_nothing) {
    const char *key = service_key(s, "clinician");
    post(s, key, RIGHT("canary-subject") AT("2026-02-20") ONE_FINDING);
    read_course(s, key, COURSE("canary-subject"));
    http_get(s, COURSE("canary-none"), key);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE action='read' AND outcome='ok' AND "
                                  "subject='canary-subject' AND answer_digest LIKE 'sha256:%' AND "
                                  "route='/v1/subjects/{subject}/assessments'"),
                 1);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE action='read' AND outcome='refused' AND "
                                  "subject='canary-none' AND answer_digest=''"),
                 1);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 1);
    service_verify(s);
    service_stop(s); /* a request's line is written after its answer has left */
    const char *log = file_text(s->log, NULL);
    cr_assert_null(strstr(log, "canary"), "%s", log);
    cr_assert_not_null(strstr(log, "\"route\":\"/v1/subjects/{subject}/assessments\""), "%s", log);
}
