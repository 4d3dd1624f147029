/* The audit log: it holds, tampering shows, a crash loses nothing that was acknowledged, and without it
 * nothing is answered. */
#include <poll.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include "audit.h"
#include "client.h"

#define ASSESSMENTS "/v1/assessments"
#define COUNT(list) (sizeof(list) / sizeof(list)[0])
#define RECORD                                                                                               \
    "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"reflexes\":{\"biceps\":\"absent\"}}"

static char *database_path(const struct service *s) {
    return text_of("%s/rootward.db", s->data);
}

/* Runs SQL as anybody who can write the file could; the error's text, "" when there was none. */
static const char *run_sql(const struct service *s, const char *sql) {
    sqlite3 *database = NULL;
    char *error = NULL;
    cr_assert_eq(sqlite3_open_v2(database_path(s), &database, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    sqlite3_busy_timeout(database, 5000);
    int rc = sqlite3_exec(database, sql, NULL, NULL, &error);
    const char *text = rc == SQLITE_OK ? "" : text_of("%s", error ? error : sqlite3_errstr(rc));
    sqlite3_free(error);
    cr_assert_eq(sqlite3_close(database), SQLITE_OK);
    return text;
}

/* A stopped server's folder with the entries: 1 key, 2 start, 3 assessment, 4 its reading, 5 a refusal,
 * 6 assessment, 7 nobody, 8 check, 9 stop. */
static struct service *mixed_log(void) {
    struct service *s = service_new();
    const char *key = service_key(s, "clinician");
    service_start(s, NULL);
    struct reply posted = http_post(s, ASSESSMENTS, key, RECORD);
    cr_assert_eq(posted.status, 201);
    http_get(s, header_of(&posted, "Location"), key);
    http_post(s, ASSESSMENTS, key, "{}");
    http_post(s, ASSESSMENTS, key, RECORD);
    http_get(s, "/v1/model", NULL);
    http_post(s, "/v1/records/check", key, RECORD);
    service_stop(s);
    return s;
}

Test(audit, a_mix_of_requests_verifies, .fini = service_sweep) {
    struct service *s = mixed_log();
    static const char *const expected[][2] = {{"assess", "created"},         {"read", "ok"},
                                              {"assess", "refused"},         {"assess", "created"},
                                              {"access", "unauthenticated"}, {"check", "ok"}};
    for (size_t i = 0; i < COUNT(expected); i++)
        cr_assert_eq(
            service_count(s, text_of("SELECT seq FROM audit WHERE seq=%zu AND action='%s' AND outcome='%s'",
                                     i + 3, expected[i][0], expected[i][1])),
            (int64_t)i + 3);
    const char *ok = service_verify(s);
    const char *head = strstr(ok, "head 9 ");
    cr_assert(head && strlen(head) >= 7 + 64, "no head of 64 digits: %s", ok);
    const char *same = text_of("SELECT count(*) FROM audit WHERE seq=9 AND hash='%.64s'", head + 7);
    cr_assert_eq(service_count(s, same), 1, "%s", ok);
    cr_assert_not_null(strstr(ok, "9 entries, 2 assessments"), "%s", ok);
    cr_assert_not_null(strstr(file_text(s->log, NULL), text_of("entry=9 hash=%.64s", head + 7)),
                       "the head at the stop is not in the log");
}

Test(audit, verify_needs_a_database, .fini = service_sweep) {
    struct service *s = service_new();
    cr_assert_eq(run(NULL, "audit", "verify", "--data", s->data, NULL).code, 1);
    cr_assert_eq(run(NULL, "audit", "verify", NULL).code, 64);
}

/* ---- tampering ---- */

static const struct {
    const char *name, *sql;
    int first_broken;
} tamperings[] = {
    {"a column", "UPDATE audit SET actor='key-000000000000' WHERE seq=4", 4},
    {"a time", "UPDATE audit SET time='2020-01-01T00:00:00.000Z' WHERE seq=3", 3},
    {"an outcome", "UPDATE audit SET outcome='ok' WHERE seq=5", 5},
    {"hashed bytes", "UPDATE audit SET canonical=CAST(CAST(canonical AS TEXT) || ' ' AS BLOB) WHERE seq=4",
     4},
    {"a hash", "UPDATE audit SET hash=replace(hash, substr(hash, 1, 1), 'x') WHERE seq=4", 4},
    {"column and bytes",
     "UPDATE audit SET actor='x', canonical=CAST(replace(CAST(canonical AS TEXT), actor, 'x') AS "
     "BLOB) WHERE seq=4",
     4},
    {"a middle entry deleted", "DELETE FROM audit WHERE seq=4", 5},
    {"a middle entry deleted, the rest moved up",
     "DELETE FROM audit WHERE seq=4; UPDATE assessments SET seq=seq-1 WHERE seq>4; UPDATE audit SET "
     "seq=seq-1 WHERE "
     "seq>4",
     4},
    {"the first entry deleted", "DELETE FROM audit WHERE seq=1", 2},
    {"order",
     "UPDATE audit SET seq=99 WHERE seq=4; UPDATE audit SET seq=4 WHERE seq=5; UPDATE audit SET seq=5 WHERE "
     "seq=99",
     4},
    {"an entry copied in",
     "INSERT INTO audit SELECT 10, time, run, request_id, actor, action, outcome, subject, method, "
     "route, request_digest, answer_digest, engine, knowledge, detail, prev, hash, canonical FROM "
     "audit WHERE seq=9",
     10},
    {"a stored answer",
     "UPDATE assessments SET answer=CAST(replace(CAST(answer AS TEXT), '0.9', '0.1') AS BLOB) WHERE seq=6",
     6},
    {"one byte of an answer",
     "UPDATE assessments SET answer=CAST(CAST(answer AS TEXT) || ' ' AS BLOB) WHERE seq=3", 3},
    {"a stored record", "UPDATE assessments SET record=CAST('{}' AS BLOB) WHERE seq=3", 3},
    {"an assessment deleted", "DELETE FROM assessments WHERE seq=3", 3},
    {"two assessments exchanged",
     "UPDATE assessments SET seq=99 WHERE seq=3; UPDATE assessments SET seq=3 WHERE seq=6; UPDATE "
     "assessments SET "
     "seq=6 WHERE seq=99",
     3},
    {"an assessment slipped in",
     "INSERT INTO assessments SELECT 'x', 8, created, record, answer FROM assessments "
     "WHERE seq=3",
     8},
};

/* What someone with the file does first. */
static const char drop_triggers[] =
    "DROP TRIGGER audit_no_update; DROP TRIGGER audit_no_delete; DROP TRIGGER assessments_no_update;"
    "DROP TRIGGER assessments_no_delete;";

static void put_file(const char *path, const char *bytes, size_t size) {
    FILE *file = fopen(path, "wb");
    cr_assert(file && fwrite(bytes, 1, size, file) == size && fclose(file) == 0);
}

static void assert_broken(const struct service *s, const char *name, int entry) {
    struct ran ran = run(NULL, "audit", "verify", "--data", s->data, NULL);
    cr_assert_eq(ran.code, 1, "%s: not noticed: %s", name, ran.out);
    const char *said = text_of("broken at entry %d: ", entry);
    cr_assert(strncmp(ran.out, said, strlen(said)) == 0, "%s: not \"%s\" but %s%s", name, said, ran.out,
              ran.err);
}

Test(audit, tampering_shows, .fini = service_sweep) {
    struct service *s = mixed_log();
    size_t size = 0;
    const char *good = file_text(database_path(s), &size);
    for (size_t i = 0; i < COUNT(tamperings); i++) {
        cr_assert_str_eq(run_sql(s, drop_triggers), "");
        const char *error = run_sql(s, tamperings[i].sql);
        cr_assert_str_eq(error, "", "%s: %s", tamperings[i].name, error);
        assert_broken(s, tamperings[i].name, tamperings[i].first_broken);
        unlink(text_of("%s-wal", database_path(s)));
        unlink(text_of("%s-shm", database_path(s)));
        put_file(database_path(s), good, size);
    }
    service_verify(s);
}

/* Any column of an entry, also those that no reader would miss. */
Test(audit, each_column_counts, .fini = service_sweep) {
    struct service *s = mixed_log();
    static const char *const columns[] = {
#define X(name) #name,
        RW_AUDIT_TEXTS(X)
#undef X
            "hash"};
    cr_assert_str_eq(run_sql(s, drop_triggers), "");
    for (size_t i = 0; i < COUNT(columns); i++) {
        cr_assert_str_eq(
            run_sql(s, text_of("UPDATE audit SET %s = %s || 'x' WHERE seq = 6", columns[i], columns[i])), "");
        assert_broken(s, columns[i], 6);
        cr_assert_str_eq(
            run_sql(s, text_of("UPDATE audit SET %s = substr(%s, 1, length(%s) - 1) WHERE seq = 6",
                               columns[i], columns[i], columns[i])),
            "");
    }
    service_verify(s);
}

/* The hash is public: an edit that also makes the entry's own hash right breaks at the entry behind it. */
Test(audit, rehashed_edit_shows, .fini = service_sweep) {
    struct service *s = mixed_log();
    sqlite3 *database = NULL;
    sqlite3_stmt *row = NULL;
    char hash[RW_HASH_TEXT];
    cr_assert_str_eq(run_sql(s, drop_triggers), "");
    cr_assert_str_eq(
        run_sql(s, "UPDATE audit SET actor='x', canonical=CAST(replace(CAST(canonical AS TEXT), actor, 'x') "
                   "AS BLOB) WHERE seq=4"),
        "");
    cr_assert_eq(sqlite3_open(database_path(s), &database), SQLITE_OK);
    cr_assert_eq(sqlite3_prepare_v2(database, "SELECT canonical FROM audit WHERE seq=4", -1, &row, NULL),
                 SQLITE_OK);
    cr_assert_eq(sqlite3_step(row), SQLITE_ROW);
    rw_audit_hash(sqlite3_column_blob(row, 0), (size_t)sqlite3_column_bytes(row, 0), hash);
    sqlite3_finalize(row);
    sqlite3_close(database);
    cr_assert_str_eq(run_sql(s, text_of("UPDATE audit SET hash='%s' WHERE seq=4", hash)), "");
    assert_broken(s, "rehashed edit", 5);
}

static const char *const forbidden[] = {
    "UPDATE audit SET actor='x' WHERE seq=4",
    "DELETE FROM audit WHERE seq=4",
    "DELETE FROM audit",
    "INSERT OR REPLACE INTO audit SELECT seq, time, run, request_id, 'x', action, outcome, subject, method, "
    "route, "
    "request_digest, answer_digest, engine, knowledge, detail, prev, hash, canonical FROM audit WHERE seq=4",
    "UPDATE OR IGNORE audit SET actor='x' WHERE seq=4",
    "UPDATE assessments SET answer=x'00'",
    "DELETE FROM assessments",
    "INSERT OR REPLACE INTO assessments SELECT id, seq, created, record, x'00' FROM assessments",
    "INSERT OR REPLACE INTO assessments SELECT 'x', seq, created, record, x'00' FROM assessments",
    "INSERT INTO assessments SELECT * FROM assessments WHERE true ON CONFLICT(id) DO UPDATE SET answer=x'00'",
    "UPDATE idempotency SET digest='x'",
    "DELETE FROM idempotency",
    "INSERT OR REPLACE INTO idempotency SELECT actor, key, 'x', assessment FROM idempotency",
    "UPDATE keys SET role='auditor'",
    "UPDATE keys SET hash=x'00'",
    "UPDATE keys SET revoked=''",
    "DELETE FROM keys",
    "INSERT OR REPLACE INTO keys SELECT id, name, 'auditor', hash, created, revoked FROM keys",
};

/* Triggers are against accidents: any connection meets them, whatever its settings. */
Test(audit, tables_only_grow, .fini = service_sweep) {
    struct service *s = mixed_log();
    service_start(s, NULL);
    http(
        s, "POST", ASSESSMENTS,
        &(struct ask){.key = service_key(s, "clinician"), .body = RECORD, .headers = {"Idempotency-Key: a"}});
    service_stop(s);
    for (size_t i = 0; i < COUNT(forbidden); i++) {
        const char *error = run_sql(s, forbidden[i]);
        cr_expect(strstr(error, "append-only") || strstr(error, "revoked") || strstr(error, "never deleted"),
                  "%s: %s", forbidden[i], error[0] ? error : "was done");
    }
    cr_expect_eq(run(NULL, "audit", "verify", "--data", s->data, NULL).code, 0);
}

/* ---- when the log can't be written ---- */

static void assert_no_answer(const struct reply *reply, const char *what) {
    assert_problem(reply, 503, what);
    cr_assert_neq(strtoul(header_of(reply, "Retry-After"), NULL, 10), 0, "%s: no Retry-After", what);
    cr_assert_null(strstr(reply->body, "localisation"), "%s: the answer slipped out", what);
}

SERVICE_TEST(audit, no_answer_while_another_holds_the_file) {
    const char *key = service_key(s, "clinician");
    sqlite3 *other = NULL;
    cr_assert_eq(sqlite3_open(database_path(s), &other), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(other, "BEGIN EXCLUSIVE", NULL, NULL, NULL), SQLITE_OK);
    struct reply posted = http_post(s, ASSESSMENTS, key, RECORD);
    assert_no_answer(&posted, "locked");
    assert_alive(s, "locked");
    cr_assert_eq(sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    cr_assert_eq(sqlite3_close(other), SQLITE_OK);

    struct reply again = http_post(s, ASSESSMENTS, key, RECORD);
    cr_assert_eq(again.status, 201);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 1);
    service_verify(s);
}

static void limit_files(const struct service *s, rlim_t bytes) {
    struct rlimit limit;
    cr_assert_eq(prlimit(s->pid, RLIMIT_FSIZE, NULL, &limit), 0);
    limit.rlim_cur = bytes;
    cr_assert_eq(prlimit(s->pid, RLIMIT_FSIZE, &limit, NULL), 0);
}

/* To the service this is a full disk: no file may grow. */
SERVICE_TEST(audit, no_answer_on_a_full_disk) {
    const char *key = service_key(s, "clinician");
    struct reply first = http_post(s, ASSESSMENTS, key, RECORD);
    cr_assert_eq(first.status, 201);
    const char *location = header_of(&first, "Location");
    limit_files(s, 1024);
    struct reply posted = http_post(s, ASSESSMENTS, key, RECORD), read = http_get(s, location, key),
                 checked = http_post(s, "/v1/records/check", key, RECORD),
                 bad = http_post(s, ASSESSMENTS, key, "{}"), nobody = http_get(s, "/v1/model", NULL),
                 ready = http_get(s, "/readyz", NULL);
    assert_no_answer(&posted, "assess");
    assert_no_answer(&read, "read");
    assert_no_answer(&checked, "check");
    assert_no_answer(&bad, "refusal of a record");
    assert_no_answer(&nobody, "refusal of access");
    assert_no_answer(&ready, "readyz");
    assert_alive(s, "full disk");
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 1);

    limit_files(s, RLIM_INFINITY);
    struct reply ready_again = http_get(s, "/readyz", NULL), read_again = http_get(s, location, key),
                 again = http_post(s, ASSESSMENTS, key, RECORD);
    cr_assert_eq(ready_again.status, 200);
    cr_assert_str_eq(read_again.body, first.body);
    cr_assert_eq(again.status, 201);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 2);
    service_verify(s);
}

Test(audit, no_start_without_a_log, .fini = service_sweep) {
    struct service *s = mixed_log();
    put_file(database_path(s), "no database", 11);
    struct ran ran = run(NULL, "serve", "--data", s->data, "--listen", "127.0.0.1:0", NULL);
    cr_assert_eq(ran.code, 1);
    cr_assert_null(strstr(ran.err, "listening"), "%s", ran.err);
    cr_assert_eq(run(NULL, "audit", "verify", "--data", s->data, NULL).code, 1);
}

/* ---- crashes ---- */

enum { ROUNDS = 10, CONNECTIONS = 4, POSTS_EACH = 6, ANSWER_MOST = 16384, ACKNOWLEDGED_MOST = 300 };

struct burst {
    int fds[CONNECTIONS];
    size_t sizes[CONNECTIONS];
    char answers[CONNECTIONS][ANSWER_MOST];
};

static size_t count_created(const struct burst *burst) {
    size_t count = 0;
    for (size_t i = 0; i < CONNECTIONS; i++)
        count += wire_statuses(burst->answers[i], burst->sizes[i], '2');
    return count;
}

/* Takes what comes within this time; false when every connection has ended. */
static bool take_answers(struct burst *burst, int wait_ms) {
    struct pollfd readable[CONNECTIONS];
    bool open = false;
    for (size_t i = 0; i < CONNECTIONS; i++)
        readable[i] = (struct pollfd){.fd = burst->fds[i], .events = POLLIN};
    poll(readable, CONNECTIONS, wait_ms);
    for (size_t i = 0; i < CONNECTIONS; i++) {
        if (burst->fds[i] < 0)
            continue;
        ssize_t got =
            wire_take(burst->fds[i], burst->answers[i] + burst->sizes[i], ANSWER_MOST - 1 - burst->sizes[i]);
        if (got < 0) {
            close(burst->fds[i]);
            burst->fds[i] = -1;
            continue;
        }
        burst->sizes[i] += (size_t)got;
        open = true;
    }
    return open;
}

/* The Locations of whole answers: only a head that came to its end counts as acknowledged. */
static size_t acknowledged(const struct burst *burst, const char *ids[], size_t count) {
    static const char mark[] = "\r\nLocation: ";
    for (size_t i = 0; i < CONNECTIONS; i++) {
        const char *at = burst->answers[i];
        for (const char *end; (end = strstr(at, "\r\n\r\n")); at = end + 4) {
            const char *location = strstr(at, mark);
            cr_assert(strncmp(at, "HTTP/1.1 201 ", 13) == 0 && location && location < end, "%s", at);
            location += strlen(mark);
            cr_assert_lt(count, ACKNOWLEDGED_MOST);
            ids[count++] = keep(strndup(location, strcspn(location, "\r")));
        }
    }
    return count;
}

/* Posts on several connections at once, kills the server after some answers and a moment more. */
static size_t crash(struct service *s, const char *request, size_t round, const char *ids[], size_t count) {
    struct burst *burst = keep(calloc(1, sizeof *burst));
    for (size_t i = 0; i < CONNECTIONS; i++) {
        burst->fds[i] = wire_open(s);
        for (size_t k = 0; k < POSTS_EACH; k++)
            wire_send(burst->fds[i], request, strlen(request));
    }
    while (count_created(burst) < 1 + round % 4)
        cr_assert(take_answers(burst, 60000), "the server closed its connections");
    int64_t until = now_ms() + (int64_t)(round * 37 % 100);
    for (int64_t left; (left = until - now_ms()) > 0;)
        take_answers(burst, (int)left);
    service_kill(s);
    while (take_answers(burst, 1000))
        continue;
    return acknowledged(burst, ids, count);
}

Test(audit, crash_loses_nothing_acknowledged, .fini = service_sweep) {
    struct service *s = service_new();
    const char *key = service_key(s, "clinician");
    const char *ids[ACKNOWLEDGED_MOST];
    size_t count = 0;
    for (size_t round = 0; round < ROUNDS; round++) {
        service_start(s, NULL);
        const char *head =
            wire_fill(s, key,
                      "POST " ASSESSMENTS " HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {key}\r\n"
                      "Content-Type: application/json\r\nPrefer: return=minimal\r\n");
        size_t before = count;
        count = crash(s, text_of("%sContent-Length: %zu\r\n\r\n" RECORD, head, strlen(RECORD)), round, ids,
                      count);
        cr_assert_gt(count, before);
        service_verify(s);
    }
    service_start(s, NULL);
    for (size_t i = 0; i < count; i++) {
        struct reply read = http_get(s, ids[i], key);
        cr_assert_eq(read.status, 200, "%s was acknowledged and is gone", ids[i]);
        const char *id = json_string_value(json_object_get(json_of(&read), "id"));
        cr_assert_str_eq(text_of(ASSESSMENTS "/%s", id), ids[i]);
    }
    service_stop(s);
    cr_assert_geq(service_count(s, "SELECT count(*) FROM assessments"), (int64_t)count);
    service_verify(s);
}
