#include "audit.h"

#include <inttypes.h>
#include <jansson.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "rootward.h"

const char rw_chain_start[RW_HASH_TEXT] = "0000000000000000000000000000000000000000000000000000000000000000";

char *rw_audit_canonical(const struct rw_audit_entry *entry, size_t *size) {
    char seq[24], *text = NULL;
    snprintf(seq, sizeof seq, "%" PRId64, entry->seq);
    json_t *object = json_object();
    int failed = json_object_set_new(object, "seq", json_string(seq));
#define X(name) failed |= json_object_set_new(object, #name, json_string(entry->name));
    RW_AUDIT_TEXTS(X)
#undef X
    if (!failed)
        text = json_dumps(object, JSON_SORT_KEYS | JSON_COMPACT);
    json_decref(object);
    *size = text ? strlen(text) : 0;
    return text;
}

void rw_audit_hash(const void *canonical, size_t size, char out[RW_HASH_TEXT]) {
    static const unsigned char leaf = 0; /* keeps an entry apart from any other hash over the same bytes */
    unsigned char hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256_state state;
    crypto_hash_sha256_init(&state);
    crypto_hash_sha256_update(&state, &leaf, 1);
    crypto_hash_sha256_update(&state, canonical, size);
    crypto_hash_sha256_final(&state, hash);
    sodium_bin2hex(out, RW_HASH_TEXT, hash, sizeof hash);
}

int rw_audit_head(sqlite3 *connection, struct rw_audit_head *head) {
    sqlite3_stmt *statement = NULL;
    head->seq = 0;
    rw_copy(head->hash, sizeof head->hash, rw_chain_start);
    int rc = rw_sql_prepare(connection, &statement, "SELECT seq, hash FROM audit ORDER BY seq DESC LIMIT 1");
    if (rc == SQLITE_OK) {
        rc = sqlite3_step(statement);
        if (rc == SQLITE_ROW) {
            head->seq = sqlite3_column_int64(statement, 0);
            rw_copy(head->hash, sizeof head->hash, rw_sql_column(statement, 1));
        }
        rc = rc == SQLITE_ROW || rc == SQLITE_DONE ? SQLITE_OK : rc;
    }
    sqlite3_finalize(statement);
    return rc;
}

static int insert_entry(sqlite3 *writer, const struct rw_audit_entry *entry) {
    sqlite3_stmt *statement = NULL;
    char hash[RW_HASH_TEXT];
    size_t size = 0;
    char *canonical = rw_audit_canonical(entry, &size);
    if (!canonical)
        return SQLITE_NOMEM;
    rw_audit_hash(canonical, size, hash);

    int rc = rw_sql_prepare(writer, &statement,
                            "INSERT INTO audit (seq, time, run, request_id, actor, action, outcome, subject,"
                            " method, route, request_digest, answer_digest, engine, knowledge, detail, prev,"
                            " hash, canonical) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)");
    if (rc == SQLITE_OK) {
        int index = 1;
        rc = sqlite3_bind_int64(statement, index++, entry->seq);
#define X(name) rc = rc == SQLITE_OK ? rw_sql_text(statement, index++, entry->name) : rc;
        RW_AUDIT_TEXTS(X)
#undef X
        rc = rc == SQLITE_OK ? rw_sql_text(statement, index++, hash) : rc;
        rc = rc == SQLITE_OK ? rw_sql_blob(statement, index, canonical, size) : rc;
    }
    if (rc == SQLITE_OK)
        rc = rw_sql_finish(statement);
    else
        sqlite3_finalize(statement);
    free(canonical);
    return rc;
}

static const char *or_empty(const char *text) {
    return text ? text : "";
}

int rw_audit_add(struct rw_database *database, sqlite3 *writer, const struct rw_event *event, int64_t *seq) {
    struct rw_audit_head head;
    char now[RW_TIME_TEXT];
    /* Read each time, not remembered: the command line appends too. */
    int rc = rw_audit_head(writer, &head);
    if (rc != SQLITE_OK)
        return rc;
    rw_time_text(rw_clock_ms(), now);
    const struct rw_audit_entry entry = {
        .seq = head.seq + 1,
        .time = now,
        .run = rw_database_run(database),
        .request_id = or_empty(event->request_id),
        .actor = or_empty(event->actor),
        .action = or_empty(event->action),
        .outcome = or_empty(event->outcome),
        .subject = or_empty(event->subject),
        .method = or_empty(event->method),
        .route = or_empty(event->route),
        .request_digest = or_empty(event->request_digest),
        .answer_digest = or_empty(event->answer_digest),
        .engine = RW_VERSION,
        .knowledge = rw_model()->digest,
        .detail = or_empty(event->detail),
        .prev = head.hash,
    };
    if (seq)
        *seq = entry.seq;
    return insert_entry(writer, &entry);
}

bool rw_audit_append(struct rw_database *database, const struct rw_event *event) {
    sqlite3 *writer = rw_write_begin(database);
    return writer && rw_write_end(database, rw_audit_add(database, writer, event, NULL));
}
