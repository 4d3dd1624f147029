#include "schema.h"

/* NO_REPLACE: INSERT OR REPLACE runs no DELETE trigger unless a connection asks for that
 * (recursive_triggers), so a row that is there already, by the condition `same`, is refused before it is
 * replaced. */
#define NO_REPLACE(table, same, why)                                                                         \
    "CREATE TRIGGER " table "_no_replace BEFORE INSERT ON " table " WHEN EXISTS (SELECT 1 FROM " table       \
    " WHERE " same ") BEGIN SELECT RAISE(ABORT, '" why "'); END;"

#define APPEND_ONLY(table, same)                                                                             \
    "CREATE TRIGGER " table "_no_update BEFORE UPDATE ON " table " BEGIN SELECT RAISE(ABORT, '" table        \
    " is append-only'); END;"                                                                                \
    "CREATE TRIGGER " table "_no_delete BEFORE DELETE ON " table " BEGIN SELECT RAISE(ABORT, '" table        \
    " is append-only'); END;" NO_REPLACE(table, same, table " is append-only")

const char rw_schema_sql[] =
    "BEGIN IMMEDIATE;"
    "PRAGMA application_id=" RW_SCHEMA_APPLICATION ";"
    "PRAGMA user_version=" RW_SCHEMA_VERSION ";"

    /* One row an entry. canonical: the bytes under the hash, made of the other columns (audit.c). */
    "CREATE TABLE audit ("
    " seq INTEGER PRIMARY KEY,"
    " time TEXT NOT NULL, run TEXT NOT NULL, request_id TEXT NOT NULL, actor TEXT NOT NULL,"
    " action TEXT NOT NULL, outcome TEXT NOT NULL, subject TEXT NOT NULL, method TEXT NOT NULL,"
    " route TEXT NOT NULL, request_digest TEXT NOT NULL, answer_digest TEXT NOT NULL, engine TEXT NOT NULL,"
    " knowledge TEXT NOT NULL, detail TEXT NOT NULL, prev TEXT NOT NULL,"
    " hash TEXT NOT NULL, canonical BLOB NOT NULL) STRICT;" APPEND_ONLY("audit", "seq = NEW.seq")

    /* record: the submitted bytes; answer: the bytes given. Both digests stand in the audit entry. */
    "CREATE TABLE assessments ("
    " id TEXT PRIMARY KEY, seq INTEGER NOT NULL UNIQUE REFERENCES audit(seq), created TEXT NOT NULL,"
    " record BLOB NOT NULL, answer BLOB NOT NULL) STRICT;" APPEND_ONLY("assessments",
                                                                       "id = NEW.id OR seq = NEW.seq")

        "CREATE TABLE idempotency ("
        " actor TEXT NOT NULL, key TEXT NOT NULL, digest TEXT NOT NULL,"
        " assessment TEXT NOT NULL REFERENCES assessments(id), PRIMARY KEY (actor, key)) STRICT, WITHOUT "
        "ROWID;" APPEND_ONLY("idempotency", "actor = NEW.actor AND key = NEW.key")

    /* hash: BLAKE2b-256 of a 32-byte random secret. A key is never changed, only revoked, once. */
    "CREATE TABLE keys ("
    " id TEXT PRIMARY KEY, name TEXT NOT NULL, role TEXT NOT NULL, hash BLOB NOT NULL,"
    " created TEXT NOT NULL, revoked TEXT NOT NULL) STRICT;"
    "CREATE TRIGGER keys_only_revoke BEFORE UPDATE ON keys"
    " WHEN OLD.revoked <> '' OR NEW.revoked = '' OR NEW.id <> OLD.id OR NEW.name <> OLD.name"
    " OR NEW.role <> OLD.role OR NEW.hash <> OLD.hash OR NEW.created <> OLD.created"
    " BEGIN SELECT RAISE(ABORT, 'a key can only be revoked, once'); END;"
    "CREATE TRIGGER keys_no_delete BEFORE DELETE ON keys"
    " BEGIN SELECT RAISE(ABORT, 'keys are never deleted'); END;" NO_REPLACE(
        "keys", "id = NEW.id", "a key can only be revoked, once") "COMMIT;";

/* Over the entries of assessments alone: the others are many, and nobody looks for them by subject. */
const char rw_schema_index_sql[] = "CREATE INDEX IF NOT EXISTS audit_subject ON audit (subject, seq)"
                                   " WHERE action = 'assess' AND outcome = 'created';";
