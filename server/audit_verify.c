/* Walks the chain: every entry is rebuilt from its columns, hashed again, and held against what is stored. */
#include "audit.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

/* The columns after the entry's texts in the query below. */
enum {
    COLUMN_FIRST_TEXT = 1,
    COLUMN_HASH = 16,
    COLUMN_CANONICAL,
    COLUMN_ASSESSMENT,
    COLUMN_RECORD,
    COLUMN_ANSWER
};

static const char walk_sql[] =
    "SELECT a.seq, a.time, a.run, a.request_id, a.actor, a.action, a.outcome, a.subject, a.method, a.route,"
    " a.request_digest, a.answer_digest, a.engine, a.knowledge, a.detail, a.prev, a.hash, a.canonical,"
    " s.id, s.record, s.answer FROM audit AS a LEFT JOIN assessments AS s ON s.seq = a.seq ORDER BY a.seq";

static void read_entry(sqlite3_stmt *row, struct rw_audit_entry *entry) {
    int index = COLUMN_FIRST_TEXT;
    entry->seq = sqlite3_column_int64(row, 0);
#define X(name) entry->name = rw_sql_column(row, index++);
    RW_AUDIT_TEXTS(X)
#undef X
}

static bool digest_differs(sqlite3_stmt *row, int column, const char *expected) {
    char digest[RW_DIGEST_TEXT];
    const void *bytes = sqlite3_column_blob(row, column);
    rw_digest_text(bytes ? bytes : "", (size_t)sqlite3_column_bytes(row, column), digest);
    return strcmp(digest, expected) != 0;
}

static bool canonical_differs(sqlite3_stmt *row, const struct rw_audit_entry *entry) {
    size_t size = 0;
    char *canonical = rw_audit_canonical(entry, &size);
    const void *stored = sqlite3_column_blob(row, COLUMN_CANONICAL);
    bool same = canonical && stored && (size_t)sqlite3_column_bytes(row, COLUMN_CANONICAL) == size &&
                memcmp(stored, canonical, size) == 0;
    free(canonical);
    return !same;
}

/* NULL when the entry holds, otherwise what is wrong with it. */
static const char *fault_of(sqlite3_stmt *row, const struct rw_audit_entry *entry,
                            const struct rw_audit_head *previous) {
    char hash[RW_HASH_TEXT];
    const char *stored_hash = rw_sql_column(row, COLUMN_HASH);
    const void *canonical = sqlite3_column_blob(row, COLUMN_CANONICAL);
    rw_audit_hash(canonical ? canonical : "", (size_t)sqlite3_column_bytes(row, COLUMN_CANONICAL), hash);

    if (entry->seq != previous->seq + 1)
        return "an entry before it is missing";
    if (strcmp(entry->prev, previous->hash) != 0)
        return "it does not follow from the entry before it";
    if (strcmp(hash, stored_hash) != 0)
        return "its bytes do not give its hash";
    if (canonical_differs(row, entry))
        return "its columns differ from its hashed bytes";

    bool kept = sqlite3_column_type(row, COLUMN_ASSESSMENT) != SQLITE_NULL;
    bool created =
        strcmp(entry->action, RW_ACTION_ASSESS) == 0 && strcmp(entry->outcome, RW_OUTCOME_CREATED) == 0;
    if (created != kept)
        return created ? "the assessment it speaks of is missing"
                       : "an assessment hangs on it that it does not speak of";
    if (kept && digest_differs(row, COLUMN_RECORD, entry->request_digest))
        return "the stored record was changed";
    if (kept && digest_differs(row, COLUMN_ANSWER, entry->answer_digest))
        return "the stored answer was changed";
    return NULL;
}

/* True while the walk may go on. */
static bool take_row(sqlite3_stmt *row, struct rw_verdict *verdict, char last_time[RW_TIME_TEXT]) {
    struct rw_audit_entry entry;
    read_entry(row, &entry);
    const char *fault = fault_of(row, &entry, &verdict->head);
    if (fault) {
        verdict->broken = entry.seq;
        rw_copy(verdict->reason, sizeof verdict->reason, fault);
        return false;
    }
    if (strcmp(entry.time, last_time) < 0)
        verdict->clock_steps++;
    rw_copy(last_time, RW_TIME_TEXT, entry.time);
    verdict->entries++;
    verdict->assessments += sqlite3_column_type(row, COLUMN_ASSESSMENT) != SQLITE_NULL;
    verdict->head.seq = entry.seq;
    rw_copy(verdict->head.hash, sizeof verdict->head.hash, rw_sql_column(row, COLUMN_HASH));
    return true;
}

static int count_assessments(sqlite3 *reader, int64_t *count) {
    sqlite3_stmt *statement = NULL;
    int rc = rw_sql_prepare(reader, &statement, "SELECT count(*) FROM assessments");
    if (rc == SQLITE_OK && (rc = sqlite3_step(statement)) == SQLITE_ROW) {
        *count = sqlite3_column_int64(statement, 0);
        rc = SQLITE_OK;
    }
    sqlite3_finalize(statement);
    return rc;
}

static int walk(sqlite3 *reader, struct rw_verdict *verdict) {
    sqlite3_stmt *row = NULL;
    char last_time[RW_TIME_TEXT] = "";
    int64_t stored = 0;
    int rc = rw_sql_prepare(reader, &row, walk_sql);
    while (rc == SQLITE_OK && (rc = sqlite3_step(row)) == SQLITE_ROW)
        rc = take_row(row, verdict, last_time) ? SQLITE_OK : SQLITE_DONE;
    sqlite3_finalize(row);
    if (rc != SQLITE_DONE || verdict->broken)
        return rc;

    rc = count_assessments(reader, &stored);
    if (rc == SQLITE_OK && stored != verdict->assessments) {
        verdict->broken = verdict->head.seq + 1;
        rw_copy(verdict->reason, sizeof verdict->reason, "an assessment is stored whose entry is missing");
    }
    return rc == SQLITE_OK ? SQLITE_DONE : rc;
}

bool rw_audit_verify(struct rw_database *database, struct rw_verdict *verdict) {
    *verdict = (struct rw_verdict){0};
    rw_copy(verdict->head.hash, sizeof verdict->head.hash, rw_chain_start);
    sqlite3 *reader = rw_read_begin(database);
    int rc = sqlite3_exec(reader, "BEGIN", NULL, NULL, NULL); /* one view of the file, also while it grows */
    if (rc == SQLITE_OK) {
        rc = walk(reader, verdict);
        sqlite3_exec(reader, "COMMIT", NULL, NULL, NULL);
    }
    rw_read_end(database);
    if (rc != SQLITE_DONE && verdict->reason[0] == '\0')
        snprintf(verdict->reason, sizeof verdict->reason, "the file can't be read on: %s",
                 sqlite3_errstr(rc));
    return rc == SQLITE_DONE && verdict->broken == 0;
}
