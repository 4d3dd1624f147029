/* JSON in and out: an examination record into the engine's structs, an assessment into the bytes of an
 * answer. */
#ifndef ROOTWARD_RECORDS_H
#define ROOTWARD_RECORDS_H

#include "rootward.h"

#include <jansson.h>
#include <stddef.h>
#include <stdint.h>

struct rw_issue {
    char pointer[160]; /* RFC 6901; of the nearest parent when the whole does not fit */
    char detail[200];  /* one sentence; never repeats what was sent */
};
struct rw_issues {
    size_t count;
    struct rw_issue *items; /* in document order, what is missing last */
};

/* Reads one record. 0: `exam` is filled and `record` is the caller's (json_decref). Otherwise an HTTP status,
 * `record` is NULL and `issues` says everything that is wrong: 400 not a JSON text that a record could be
 * (size, UTF-8, NUL, nesting, syntax, the same member twice, trailing bytes), 422 JSON that breaks the
 * contract, 500 out of memory. `now_day` is today, in UTC. Release `issues` in every case. */
int rw_record_parse(const char *body, size_t size, int32_t now_day, struct rw_exam *exam, json_t **record,
                    struct rw_issues *issues);
void rw_issues_release(struct rw_issues *issues);

/* The texts below are the caller's, who frees them; NULL when out of memory. `size` may be NULL. */

/* The assessment of the contract. `id` and `computed_at` are left out when NULL. */
char *rw_answer_json(const json_t *record, const struct rw_exam *exam, const struct rw_assessment *a,
                     const char *id, const char *computed_at, size_t *size);
/* The same in plain words, at most 90 columns wide. */
char *rw_answer_text(const struct rw_exam *exam, const struct rw_assessment *a);
/* GET /v1/model: all that is needed to recompute a posterior. */
char *rw_model_json(size_t *size);
/* GET /v1/vocabulary: every id with its label, how it is tested and its scale. */
char *rw_vocabulary_json(size_t *size);
/* The record with sorted keys and no blanks, numbers as RFC 8785 writes them: what digests are taken over. */
char *rw_record_canonical(const json_t *record, size_t *size);

#endif
