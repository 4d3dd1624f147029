/* POST /v1/assessments and GET /v1/assessments/{id}. */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../log.h"
#include "record_body.h"
#include "routes.h"

enum { KEY_MOST = 128 };

/* The draft standard quotes the key, most clients don't: both are taken. False: not a usable key. */
static bool read_key(const char *header, char key[KEY_MOST + 1], bool *present) {
    *present = header != NULL;
    if (!header)
        return true;
    size_t length = strlen(header);
    if (length >= 2 && header[0] == '"' && header[length - 1] == '"') {
        header++;
        length -= 2;
    }
    if (length > KEY_MOST)
        return false;
    memcpy(key, header, length);
    key[length] = '\0';
    return rw_is_word(key, KEY_MOST, "._~:+/=-");
}

/* The answer's bytes, malloc'd; NULL when the engine or memory failed (the reply says so). */
static char *compute(struct rw_service *service, struct rw_request *request, const struct rw_exam *exam,
                     const json_t *record, const char *id, const char *created, size_t *size) {
    struct rw_error error = {0};
    char *answer = NULL;
    struct rw_bench *bench = rw_pool_take(service->pool);
    enum rw_status status = rw_bench_assess(bench, exam, &error);
    if (status == RW_OK)
        answer = rw_answer_json(record, exam, bench->assessment, id, created, size);
    rw_pool_give(service->pool, bench);
    if (!answer) {
        rw_log_event("engine_failed", error.message);
        rw_refuse(request, RW_PROBLEM_INTERNAL, NULL, NULL);
    }
    return answer;
}

/* 201 with the answer's bytes, or without them when the client asked for that. Takes `answer` over. */
static void reply_created(struct rw_request *request, const char *id, char *answer, size_t size) {
    char location[64];
    snprintf(location, sizeof location, "/v1/assessments/%s", id);
    if (rw_framing_prefers_minimal(request)) {
        free(answer);
        rw_reply_empty(request, 201);
        rw_reply_header(request, "Preference-Applied", "return=minimal");
    } else {
        rw_reply_owned(request, 201, RW_JSON, answer, size);
    }
    rw_reply_header(request, "Location", location);
}

/* What was not stored now: it came before, under this key, or it can't be stored. */
static void reply_not_new(struct rw_request *request, enum rw_stored_status status,
                          struct rw_stored *earlier) {
    request->answer_digest[0] = '\0';
    if (status == RW_STORED_REPLAY) {
        request->outcome = "replayed";
        rw_digest_text(earlier->answer, earlier->size, request->answer_digest);
        reply_created(request, earlier->id, earlier->answer, earlier->size);
    } else {
        free(earlier->answer);
        rw_refuse(request, status == RW_STORED_CONFLICT ? RW_PROBLEM_KEY_REUSED : RW_PROBLEM_AUDIT, NULL,
                  NULL);
    }
}

/* A retry costs no computation. Two equal requests at once are told apart when they are stored. */
static bool came_before(struct rw_service *service, struct rw_request *request, const char *key) {
    char digest[RW_DIGEST_TEXT];
    struct rw_stored earlier = {0};
    const struct rw_event event = rw_request_event(request, digest);
    enum rw_stored_status status = rw_archive_find(service->database, &event, key, &earlier);
    if (status == RW_STORED_NEW)
        return false;
    reply_not_new(request, status, &earlier);
    return true;
}

/* Takes `answer`, which is submission->answer, over. */
static void store(struct rw_service *service, struct rw_request *request,
                  const struct rw_submission *submission, char *answer) {
    char digest[RW_DIGEST_TEXT];
    struct rw_stored earlier = {0};
    rw_digest_text(answer, submission->answer_size, request->answer_digest);
    request->outcome = RW_OUTCOME_CREATED;
    const struct rw_event event = rw_request_event(request, digest);
    enum rw_stored_status status = rw_archive_add(service->database, &event, submission, &earlier);
    request->outcome = NULL;
    if (status == RW_STORED_NEW) {
        request->audited = true;
        reply_created(request, submission->id, answer, submission->answer_size);
    } else {
        free(answer);
        reply_not_new(request, status, &earlier);
    }
}

static void compute_and_store(struct rw_service *service, struct rw_request *request,
                              const struct rw_exam *exam, const json_t *record, const char *key) {
    char id[RW_ID_TEXT], created[RW_TIME_TEXT];
    size_t size = 0;
    rw_random_hex(id, (RW_ID_TEXT - 1) / 2);
    rw_time_text(rw_clock_ms(), created);
    char *answer = compute(service, request, exam, record, id, created, &size);
    if (!answer)
        return;
    const struct rw_submission submission = {
        .id = id,
        .created = created,
        .key = key,
        .record = request->body,
        .record_size = request->body_size,
        .answer = answer,
        .answer_size = size,
    };
    store(service, request, &submission, answer);
}

void rw_route_assess(struct rw_service *service, struct rw_request *request) {
    struct rw_exam exam;
    json_t *record = NULL;
    bool keyed = false;
    char key[KEY_MOST + 1];
    if (!read_key(request->headers[RW_HEADER_IDEMPOTENCY_KEY], key, &keyed)) {
        rw_refuse(request, RW_PROBLEM_MALFORMED, "Idempotency-Key: 1 to 128 of A-Z a-z 0-9 and ._~:+/=-",
                  NULL);
        return;
    }
    if (!rw_record_body(request, &exam, &record))
        return;
    if (!keyed || !came_before(service, request, key))
        compute_and_store(service, request, &exam, record, keyed ? key : NULL);
    json_decref(record);
}

void rw_route_assessment(struct rw_service *service, struct rw_request *request) {
    struct rw_stored stored = {0};
    rw_copy(request->detail, sizeof request->detail, request->path_id);
    switch (rw_archive_read(service->database, request->path_id, &stored)) {
    case RW_STORED_NEW:
        rw_digest_text(stored.answer, stored.size, request->answer_digest);
        rw_reply_owned(request, 200, RW_JSON, stored.answer, stored.size);
        break;
    case RW_STORED_MISSING:
        rw_refuse(request, RW_PROBLEM_NOT_FOUND, NULL, NULL);
        break;
    case RW_STORED_REPLAY:
    case RW_STORED_CONFLICT:
    case RW_STORED_FAILED:
        free(stored.answer);
        rw_refuse(request, RW_PROBLEM_AUDIT, "The database can't be read", NULL);
        break;
    }
}
