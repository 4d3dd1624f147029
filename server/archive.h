/* Assessments as they were given: record and answer bytes, written together with their audit entry. */
#ifndef ROOTWARD_ARCHIVE_H
#define ROOTWARD_ARCHIVE_H

#include <stddef.h>

#include "audit.h"

enum { RW_ID_TEXT = 33 }; /* 32 hex digits and NUL */

struct rw_stored {
    char id[RW_ID_TEXT];
    char *answer; /* malloc'd */
    size_t size;
};

struct rw_submission {
    const char *id, *created;
    const char *key; /* Idempotency-Key, or NULL */
    const void *record, *answer;
    size_t record_size, answer_size;
};

enum rw_stored_status {
    RW_STORED_NEW,
    RW_STORED_REPLAY,   /* the same actor sent the same bytes under this key before: `earlier` is filled */
    RW_STORED_CONFLICT, /* it sent other bytes under this key before */
    RW_STORED_MISSING,
    RW_STORED_FAILED
};

/* Stores a submission, its key and the entry for `event` in one transaction. Nothing is written unless the
 * status is NEW. event->request_digest is the digest that a repeated key is held against. */
enum rw_stored_status rw_archive_add(struct rw_database *database, const struct rw_event *event,
                                     const struct rw_submission *submission, struct rw_stored *earlier);

/* The same look at the key alone, before anything is computed. NEW: nothing came under it yet. */
enum rw_stored_status rw_archive_find(struct rw_database *database, const struct rw_event *event,
                                      const char *key, struct rw_stored *earlier);

enum rw_stored_status rw_archive_read(struct rw_database *database, const char *id, struct rw_stored *out);

/* What was submitted. */
struct rw_stored_record {
    char id[RW_ID_TEXT];
    char *bytes; /* malloc'd */
    size_t size;
};

/* The records of a subject's assessments in the order in which they came; when there are more than `most`,
 * the latest of them. False: the database or memory failed. Free the bytes of `count` records in any case. */
bool rw_archive_subject(struct rw_database *database, const char *subject, size_t most,
                        struct rw_stored_record *records, size_t *count, bool *more);

#endif
