#include "access.h"

#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static const struct {
    enum rw_role role;
    const char *name;
} roles[] = {
    {RW_ROLE_CLINICIAN, "clinician"},
    {RW_ROLE_INTEGRATION, "integration"},
    {RW_ROLE_AUDITOR, "auditor"},
};

enum rw_role rw_role_find(const char *name) {
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++)
        if (strcmp(name, roles[i].name) == 0)
            return roles[i].role;
    return RW_ROLE_NONE;
}

const char *rw_role_name(enum rw_role role) {
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++)
        if (role == roles[i].role)
            return roles[i].name;
    return "none";
}

/* ---- keys ---- */

/* A 256-bit random secret needs no slow hash. */
static void hash_secret(const unsigned char secret[RW_HASH_BYTES], unsigned char hash[RW_HASH_BYTES]) {
    crypto_generichash(hash, RW_HASH_BYTES, secret, RW_HASH_BYTES, NULL, 0);
}

static int insert_key(sqlite3 *writer, const struct rw_key *key, const unsigned char hash[RW_HASH_BYTES]) {
    sqlite3_stmt *row = NULL;
    int rc = rw_sql_prepare(
        writer, &row, "INSERT INTO keys (id, name, role, hash, created, revoked) VALUES (?,?,?,?,?,'')");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, key->id) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 2, key->name) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 3, key->role) : rc;
    rc = rc == SQLITE_OK ? rw_sql_blob(row, 4, hash, RW_HASH_BYTES) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 5, key->created) : rc;
    if (rc == SQLITE_OK)
        return rw_sql_finish(row);
    sqlite3_finalize(row);
    return rc;
}

bool rw_key_add(struct rw_database *database, const char *actor, const char *name, enum rw_role role,
                char id[RW_KEY_ID_TEXT], char secret[RW_SECRET_TEXT]) {
    struct rw_key key = {0};
    unsigned char random[RW_HASH_BYTES], hash[RW_HASH_BYTES];
    char random_text[RW_HASH_TEXT], detail[64];
    memcpy(key.id, "key-", 4);
    rw_random_hex(key.id + 4, 6);
    rw_copy(key.name, sizeof key.name, name);
    rw_copy(key.role, sizeof key.role, rw_role_name(role));
    rw_time_text(rw_clock_ms(), key.created);
    randombytes_buf(random, sizeof random);
    hash_secret(random, hash);
    snprintf(detail, sizeof detail, "%s role=%s", key.id, key.role);

    const struct rw_event event = {.actor = actor, .action = "key.add", .outcome = "ok", .detail = detail};
    sqlite3 *writer = rw_write_begin(database);
    if (!writer)
        return false;
    int rc = rw_audit_add(database, writer, &event, NULL);
    rc = rc == SQLITE_OK ? insert_key(writer, &key, hash) : rc;
    bool stored = rw_write_end(database, rc);
    if (stored) {
        sodium_bin2hex(random_text, sizeof random_text, random, sizeof random);
        snprintf(secret, RW_SECRET_TEXT, "rw_%.12s_%.64s", key.id + 4, random_text);
        rw_copy(id, RW_KEY_ID_TEXT, key.id);
    }
    sodium_memzero(random, sizeof random);
    sodium_memzero(random_text, sizeof random_text);
    return stored;
}

static int mark_revoked(sqlite3 *writer, const char *id) {
    sqlite3_stmt *row = NULL;
    char now[RW_TIME_TEXT];
    rw_time_text(rw_clock_ms(), now);
    int rc = rw_sql_prepare(writer, &row, "UPDATE keys SET revoked = ? WHERE id = ?");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, now) : rc;
    rc = rc == SQLITE_OK ? rw_sql_text(row, 2, id) : rc;
    if (rc == SQLITE_OK)
        return rw_sql_finish(row);
    sqlite3_finalize(row);
    return rc;
}

static enum rw_revoked state_of(sqlite3 *writer, const char *id) {
    sqlite3_stmt *row = NULL;
    enum rw_revoked state = RW_REVOKED_FAILED;
    int rc = rw_sql_prepare(writer, &row, "SELECT revoked FROM keys WHERE id = ?");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, id) : rc;
    rc = rc == SQLITE_OK ? sqlite3_step(row) : rc;
    if (rc == SQLITE_DONE)
        state = RW_REVOKED_UNKNOWN;
    if (rc == SQLITE_ROW)
        state = rw_sql_column(row, 0)[0] ? RW_REVOKED_BEFORE : RW_REVOKED_NOW;
    sqlite3_finalize(row);
    return state;
}

enum rw_revoked rw_key_revoke(struct rw_database *database, const char *actor, const char *id) {
    const struct rw_event event = {.actor = actor, .action = "key.revoke", .outcome = "ok", .detail = id};
    sqlite3 *writer = rw_write_begin(database);
    if (!writer)
        return RW_REVOKED_FAILED;
    enum rw_revoked state = state_of(writer, id);
    int rc = state == RW_REVOKED_FAILED ? SQLITE_ERROR : SQLITE_ABORT;
    if (state == RW_REVOKED_NOW) {
        rc = rw_audit_add(database, writer, &event, NULL);
        rc = rc == SQLITE_OK ? mark_revoked(writer, id) : rc;
    }
    bool stored = rw_write_end(database, rc);
    return state == RW_REVOKED_NOW && !stored ? RW_REVOKED_FAILED : state;
}

bool rw_key_list(struct rw_database *database, void (*take)(const struct rw_key *key)) {
    sqlite3_stmt *row = NULL;
    int rc = rw_sql_prepare(rw_read_begin(database), &row,
                            "SELECT id, name, role, created, revoked FROM keys ORDER BY created, id");
    while (rc == SQLITE_OK && (rc = sqlite3_step(row)) == SQLITE_ROW) {
        struct rw_key key;
        rw_copy(key.id, sizeof key.id, rw_sql_column(row, 0));
        rw_copy(key.name, sizeof key.name, rw_sql_column(row, 1));
        rw_copy(key.role, sizeof key.role, rw_sql_column(row, 2));
        rw_copy(key.created, sizeof key.created, rw_sql_column(row, 3));
        rw_copy(key.revoked, sizeof key.revoked, rw_sql_column(row, 4));
        take(&key);
        rc = SQLITE_OK;
    }
    sqlite3_finalize(row);
    rw_read_end(database);
    return rc == SQLITE_DONE;
}

/* "rw_<12 hex>_<64 hex>" into the key's id and the secret's hash. */
static bool read_secret(const char *text, char id[RW_KEY_ID_TEXT], unsigned char hash[RW_HASH_BYTES]) {
    unsigned char secret[RW_HASH_BYTES];
    size_t length = 0;
    if (strlen(text) != 80 || strncmp(text, "rw_", 3) != 0 || text[15] != '_')
        return false;
    snprintf(id, RW_KEY_ID_TEXT, "key-%.12s", text + 3);
    bool read = rw_is_hex(id + 4, 12) &&
                sodium_hex2bin(secret, sizeof secret, text + 16, 64, NULL, &length, NULL) == 0 &&
                length == sizeof secret;
    if (read)
        hash_secret(secret, hash);
    sodium_memzero(secret, sizeof secret);
    return read;
}

static enum rw_access check_key(struct rw_database *database, const char *text, struct rw_actor *actor) {
    sqlite3_stmt *row = NULL;
    enum rw_access access = RW_ACCESS_BAD;
    char id[RW_KEY_ID_TEXT];
    unsigned char hash[RW_HASH_BYTES];
    if (!read_secret(text, id, hash))
        return RW_ACCESS_BAD;
    int rc =
        rw_sql_prepare(rw_read_begin(database), &row, "SELECT role, hash, revoked FROM keys WHERE id = ?");
    rc = rc == SQLITE_OK ? rw_sql_text(row, 1, id) : rc;
    rc = rc == SQLITE_OK ? sqlite3_step(row) : rc;
    if (rc == SQLITE_ROW) {
        const void *stored = sqlite3_column_blob(row, 1);
        bool whole = stored && sqlite3_column_bytes(row, 1) == RW_HASH_BYTES;
        if (whole && sodium_memcmp(stored, hash, sizeof hash) == 0) {
            access = rw_sql_column(row, 2)[0] ? RW_ACCESS_REVOKED : RW_ACCESS_OK;
            actor->role = access == RW_ACCESS_OK ? rw_role_find(rw_sql_column(row, 0)) : RW_ROLE_NONE;
            rw_copy(actor->id, sizeof actor->id, id);
        }
    } else if (rc != SQLITE_DONE) {
        access = RW_ACCESS_FAILED;
    }
    sqlite3_finalize(row);
    rw_read_end(database);
    return access;
}

/* ---- requests ---- */

void rw_access_cookie(const struct rw_request *request, char out[RW_HASH_TEXT]) {
    static const char name[] = RW_COOKIE "=";
    const char *at = request->headers[RW_HEADER_COOKIE];
    out[0] = '\0';
    while (at && *at) {
        at += strspn(at, " ;");
        size_t length = strcspn(at, ";");
        if (strncmp(at, name, sizeof name - 1) == 0 && length == sizeof name - 1 + RW_HASH_TEXT - 1) {
            memcpy(out, at + sizeof name - 1, RW_HASH_TEXT - 1);
            out[RW_HASH_TEXT - 1] = '\0';
            return;
        }
        at += length;
    }
}

enum rw_access rw_access_identify(struct rw_database *database, struct rw_sessions *sessions,
                                  struct rw_request *request) {
    char token[RW_HASH_TEXT];
    const char *authorization = request->headers[RW_HEADER_AUTHORIZATION];
    if (authorization) {
        bool bearer = strncasecmp(authorization, "bearer ", 7) == 0;
        return bearer ? check_key(database, authorization + 7, &request->actor) : RW_ACCESS_BAD;
    }
    rw_access_cookie(request, token);
    if (token[0] == '\0')
        return RW_ACCESS_NONE;
    if (!rw_session_find(sessions, token, request->actor.id, sizeof request->actor.id))
        return RW_ACCESS_BAD;
    request->actor.role = RW_ROLE_CLINICIAN;
    request->actor.session = true;
    return RW_ACCESS_OK;
}

bool rw_names_add(struct rw_names *names, const char *scheme, const char *host) {
    if (names->count == RW_NAMES_MOST)
        return false;
    char *origin = names->origins[names->count];
    bool fits = rw_copy(names->hosts[names->count], RW_NAME_TEXT, host) &&
                snprintf(origin, RW_NAME_TEXT, "%s://%s", scheme, host) < RW_NAME_TEXT;
    names->count += fits;
    return fits;
}

bool rw_access_host_known(const struct rw_names *names, const struct rw_request *request) {
    const char *host = request->headers[RW_HEADER_HOST];
    for (size_t i = 0; host && i < names->count; i++)
        if (strcasecmp(host, names->hosts[i]) == 0)
            return true;
    return false;
}

bool rw_access_same_site(const struct rw_names *names, const struct rw_request *request) {
    const char *origin = request->headers[RW_HEADER_ORIGIN];
    const char *site = request->headers[RW_HEADER_FETCH_SITE];
    bool writes = request->method == RW_METHOD_POST;
    if (request->headers[RW_HEADER_AUTHORIZATION])
        return true;
    if (site && strcmp(site, "same-origin") != 0 && (writes || strcmp(site, "none") != 0))
        return false;
    for (size_t i = 0; origin && i < names->count; i++)
        if (strcmp(origin, names->origins[i]) == 0)
            return true;
    /* Browsers send Origin with every POST: without it, a session cookie is not taken. */
    return !origin && !(writes && request->actor.session);
}
