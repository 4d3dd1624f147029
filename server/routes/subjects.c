/* GET /v1/subjects/{subject}/assessments: computed anew from the stored records each time, and not stored. */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../answer_course.h"
#include "../log.h"
#include "routes.h"

/* Nobody is examined this often; it bounds what one request may cost. */
enum { VISITS_MOST = 64 };

/* All that one request holds. */
struct reading {
    size_t record_count;
    struct rw_stored_record records[VISITS_MOST];
    struct rw_visit visits[VISITS_MOST];
    struct rw_injury injuries[VISITS_MOST];
    struct rw_subject subject;
};

static void release(struct reading *reading) {
    if (!reading)
        return;
    for (size_t i = 0; i < reading->record_count; i++)
        free(reading->records[i].bytes);
    for (size_t i = 0; i < reading->subject.visit_count; i++)
        json_decref(reading->visits[i].record);
    for (size_t i = 0; i < reading->subject.injury_count; i++)
        free(reading->injuries[i].course);
    free(reading);
}

/* ---- visits ---- */

/* By the calendar day, as the engine counts, then by the clock. */
static bool comes_after(const struct rw_visit *a, const struct rw_visit *b) {
    return a->at.day != b->at.day ? a->at.day > b->at.day : rw_instant_after(&a->at, &b->at);
}

/* Those of one moment stay in the order in which they came. */
static void sort_visits(struct rw_visit *visits, size_t count) {
    for (size_t i = 1; i < count; i++) {
        const struct rw_visit visit = visits[i];
        size_t k = i;
        for (; k > 0 && comes_after(&visits[k - 1], &visit); k--)
            visits[k] = visits[k - 1];
        visits[k] = visit;
    }
}

/* False: out of memory. */
static bool parse_records(struct reading *reading) {
    struct rw_subject *subject = &reading->subject;
    int status = 0;
    for (size_t i = 0; i < reading->record_count && status != 500; i++) {
        const struct rw_stored_record *stored = &reading->records[i];
        struct rw_visit *visit = &reading->visits[subject->visit_count];
        struct rw_issues issues = {0};
        status =
            rw_record_parse(stored->bytes, stored->size, rw_today(), &visit->exam, &visit->record, &issues);
        rw_issues_release(&issues);
        visit->id = stored->id;
        visit->joined = RW_MAX_VISITS;
        if (status == 0 &&
            rw_time_parse(json_string_value(json_object_get(visit->record, "examined_at")), &visit->at))
            subject->visit_count++;
        else
            subject->unreadable++;
    }
    return status != 500;
}

/* The same record sent twice is no second visit. */
static void find_repeats(struct rw_subject *subject) {
    for (size_t i = 1; i < subject->visit_count; i++)
        for (size_t k = 0; k < i && !subject->visits[i].repeats; k++)
            if (!subject->visits[k].repeats &&
                json_equal(subject->visits[k].record, subject->visits[i].record))
                subject->visits[i].repeats = &subject->visits[k];
}

/* ---- injuries ---- */

static void find_injuries(struct rw_subject *subject) {
    struct rw_visit_key keys[VISITS_MOST];
    size_t injury[VISITS_MOST];
    for (size_t i = 0; i < subject->visit_count; i++) {
        const struct rw_exam *exam = &subject->visits[i].exam;
        keys[i] = (struct rw_visit_key){exam->side, exam->examined_day, exam->onset_day};
    }
    rw_course_injuries(keys, subject->visit_count, injury);
    for (size_t i = 0; i < subject->visit_count; i++) {
        subject->visits[i].injury = injury[i];
        if (injury[i] >= subject->injury_count)
            subject->injury_count = injury[i] + 1;
    }
}

/* The first visit of an injury, and as many of the latest as there is room for. Returns how many. */
static size_t choose_visits(struct rw_subject *subject, size_t injury, const struct rw_exam **exams) {
    struct rw_injury *of = &subject->injuries[injury];
    size_t own = 0, seen = 0, count = 0;
    for (size_t i = 0; i < subject->visit_count; i++)
        own += subject->visits[i].injury == injury && !subject->visits[i].repeats;
    of->left_out = own > RW_MAX_VISITS ? own - RW_MAX_VISITS : 0;
    for (size_t i = 0; i < subject->visit_count; i++) {
        struct rw_visit *visit = &subject->visits[i];
        if (visit->injury != injury || visit->repeats)
            continue;
        seen++;
        if (seen > 1 && seen <= 1 + of->left_out)
            continue;
        visit->joined = count;
        of->joined[count] = visit;
        exams[count++] = &visit->exam;
    }
    return count;
}

/* The visits go to the engine by date, so that it numbers them as `joined` does. */
static bool join_injuries(struct rw_service *service, struct rw_subject *subject) {
    struct rw_error error = {0};
    enum rw_status status = RW_OK;
    struct rw_bench *bench = rw_pool_take(service->pool);
    for (size_t i = 0; i < subject->injury_count && status == RW_OK; i++) {
        const struct rw_exam *exams[RW_MAX_VISITS];
        const size_t count = choose_visits(subject, i, exams);
        struct rw_course *course = subject->injuries[i].course = malloc(sizeof *course);
        status = course ? rw_bench_course(bench, exams, count, course, &error) : RW_ENOSPACE;
    }
    rw_pool_give(service->pool, bench);
    if (status != RW_OK)
        rw_log_event("engine_failed", error.message);
    return status == RW_OK;
}

/* The answer, or NULL when the engine or memory failed. */
static char *compute(struct rw_service *service, struct reading *reading, size_t *size) {
    struct rw_subject *subject = &reading->subject;
    if (!parse_records(reading))
        return NULL;
    sort_visits(reading->visits, subject->visit_count);
    find_repeats(subject);
    find_injuries(subject);
    return join_injuries(service, subject) ? rw_subject_json(subject, size) : NULL;
}

void rw_route_subject(struct rw_service *service, struct rw_request *request) {
    size_t size = 0;
    struct reading *reading = calloc(1, sizeof *reading);
    if (!reading) {
        rw_refuse(request, RW_PROBLEM_INTERNAL, NULL, NULL);
        return;
    }
    reading->subject = (struct rw_subject){
        .name = request->subject, .visits = reading->visits, .injuries = reading->injuries};
    if (!rw_archive_subject(service->database, request->subject, VISITS_MOST, reading->records,
                            &reading->record_count, &reading->subject.cut)) {
        rw_refuse(request, RW_PROBLEM_AUDIT, "The database can't be read", NULL);
    } else if (reading->record_count == 0) {
        rw_refuse(request, RW_PROBLEM_NOT_FOUND, NULL, NULL);
    } else {
        char *answer = compute(service, reading, &size);
        if (answer)
            rw_digest_text(answer, size, request->answer_digest);
        rw_reply_owned(request, 200, RW_JSON, answer, size);
    }
    release(reading);
}
