#include "archive.h"

#include <stdlib.h>
#include <string.h>

/* Runs a prepared SELECT of (id, answer) with its one parameter set; finalises it. */
static enum rw_stored_status read_stored(sqlite3 *connection, const char *id, struct rw_stored *out) {
    sqlite3_stmt *row = NULL;
    enum rw_stored_status status = RW_STORED_FAILED;
    int rc = rw_sql_prepare(connection, &row, "SELECT answer FROM assessments WHERE id = ?");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, id) : rc;
    rc = rc == SQLITE_OK ? sqlite3_step(row) : rc;
    if (rc == SQLITE_DONE)
        status = RW_STORED_MISSING;
    if (rc == SQLITE_ROW) {
        const void *bytes = sqlite3_column_blob(row, 0);
        out->size = (size_t)sqlite3_column_bytes(row, 0);
        out->answer = malloc(out->size + 1);
        if (out->answer && bytes) {
            memcpy(out->answer, bytes, out->size);
            rw_copy(out->id, sizeof out->id, id);
            status = RW_STORED_NEW;
        }
    }
    sqlite3_finalize(row);
    return status;
}

/* What this actor sent under this key before. NEW: nothing. */
static enum rw_stored_status look_up_key(sqlite3 *connection, const struct rw_event *event, const char *key,
                                         struct rw_stored *earlier) {
    sqlite3_stmt *row = NULL;
    enum rw_stored_status status = RW_STORED_FAILED;
    char id[RW_ID_TEXT] = "";
    int rc = rw_sql_prepare(connection, &row,
                            "SELECT digest, assessment FROM idempotency WHERE actor = ? AND key = ?");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, event->actor) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 2, key) : rc;
    rc = rc == SQLITE_OK ? sqlite3_step(row) : rc;
    if (rc == SQLITE_DONE)
        status = RW_STORED_NEW;
    if (rc == SQLITE_ROW) {
        bool same = strcmp(rw_sql_column(row, 0), event->request_digest) == 0;
        status = same ? RW_STORED_REPLAY : RW_STORED_CONFLICT;
        rw_copy(id, sizeof id, rw_sql_column(row, 1));
    }
    sqlite3_finalize(row);
    if (status == RW_STORED_REPLAY && read_stored(connection, id, earlier) != RW_STORED_NEW)
        status = RW_STORED_FAILED;
    return status;
}

static int insert_assessment(sqlite3 *writer, const struct rw_submission *submission, int64_t seq) {
    sqlite3_stmt *row = NULL;
    int rc = rw_sql_prepare(writer, &row,
                            "INSERT INTO assessments (id, seq, created, record, answer) VALUES (?,?,?,?,?)");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, submission->id) : rc;
    rc = rc == SQLITE_OK ? sqlite3_bind_int64(row, 2, seq) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 3, submission->created) : rc;
    rc = rc == SQLITE_OK ? rw_sql_blob(row, 4, submission->record, submission->record_size) : rc;
    rc = rc == SQLITE_OK ? rw_sql_blob(row, 5, submission->answer, submission->answer_size) : rc;
    if (rc == SQLITE_OK)
        return rw_sql_finish(row);
    sqlite3_finalize(row);
    return rc;
}

static int insert_key(sqlite3 *writer, const struct rw_event *event, const struct rw_submission *submission) {
    sqlite3_stmt *row = NULL;
    int rc = rw_sql_prepare(writer, &row,
                            "INSERT INTO idempotency (actor, key, digest, assessment) VALUES (?,?,?,?)");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, event->actor) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 2, submission->key) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 3, event->request_digest) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 4, submission->id) : rc;
    if (rc == SQLITE_OK)
        return rw_sql_finish(row);
    sqlite3_finalize(row);
    return rc;
}

enum rw_stored_status rw_archive_add(struct rw_database *database, const struct rw_event *event,
                                     const struct rw_submission *submission, struct rw_stored *earlier) {
    int64_t seq = 0;
    sqlite3 *writer = rw_write_begin(database);
    if (!writer)
        return RW_STORED_FAILED;
    /* Looked up inside the write: of two equal requests at once, the second sees the first. */
    enum rw_stored_status status =
        submission->key ? look_up_key(writer, event, submission->key, earlier) : RW_STORED_NEW;
    if (status != RW_STORED_NEW) {
        rw_write_end(database, status == RW_STORED_FAILED ? SQLITE_ERROR : SQLITE_ABORT);
        return status;
    }
    int rc = rw_audit_add(database, writer, event, &seq);
    rc = rc == SQLITE_OK ? insert_assessment(writer, submission, seq) : rc;
    if (rc == SQLITE_OK && submission->key)
        rc = insert_key(writer, event, submission);
    return rw_write_end(database, rc) ? RW_STORED_NEW : RW_STORED_FAILED;
}

enum rw_stored_status rw_archive_find(struct rw_database *database, const struct rw_event *event,
                                      const char *key, struct rw_stored *earlier) {
    enum rw_stored_status status = look_up_key(rw_read_begin(database), event, key, earlier);
    rw_read_end(database);
    return status;
}

enum rw_stored_status rw_archive_read(struct rw_database *database, const char *id, struct rw_stored *out) {
    enum rw_stored_status status = read_stored(rw_read_begin(database), id, out);
    rw_read_end(database);
    return status;
}

static int take_record(sqlite3_stmt *row, struct rw_stored_record *record) {
    const void *bytes = sqlite3_column_blob(row, 1);
    record->size = (size_t)sqlite3_column_bytes(row, 1);
    record->bytes = malloc(record->size + 1);
    if (!record->bytes || !bytes)
        return SQLITE_NOMEM;
    memcpy(record->bytes, bytes, record->size);
    rw_copy(record->id, sizeof record->id, rw_sql_column(row, 0));
    return SQLITE_OK;
}

static void turn_round(struct rw_stored_record *records, size_t count) {
    for (size_t i = 0; i < count / 2; i++) {
        const struct rw_stored_record other = records[i];
        records[i] = records[count - 1 - i];
        records[count - 1 - i] = other;
    }
}

bool rw_archive_subject(struct rw_database *database, const char *subject, size_t most,
                        struct rw_stored_record *records, size_t *count, bool *more) {
    sqlite3_stmt *row = NULL;
    *count = 0;
    *more = false;
    int rc = rw_sql_prepare(rw_read_begin(database), &row,
                            "SELECT a.id, a.record FROM audit u JOIN assessments a ON a.seq = u.seq"
                            " WHERE u.subject = ? AND u.action = '" RW_ACTION_ASSESS
                            "' AND u.outcome = '" RW_OUTCOME_CREATED "' ORDER BY u.seq DESC");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, subject) : rc;
    while (rc == SQLITE_OK && !*more && (rc = sqlite3_step(row)) == SQLITE_ROW) {
        *more = *count == most;
        rc = *more ? SQLITE_OK : take_record(row, &records[(*count)++]);
    }
    sqlite3_finalize(row);
    rw_read_end(database);
    turn_round(records, *count);
    return rc == SQLITE_OK || rc == SQLITE_DONE;
}
