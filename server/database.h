/* The one SQLite file, DIR/rootward.db: how it is opened, who may write, when a write is durable.
 *
 * SQLite before 3.51.3 can, rarely, damage a WAL file when two connections write and checkpoint at the same
 * moment. So every write and every checkpoint of every process happens under an exclusive flock on
 * DIR/writer.lock: the server takes it for each transaction, the command line for its short life. Only the
 * server checkpoints. A second flock, DIR/lock, is held by the server for life and keeps out a second one. */
#ifndef ROOTWARD_DATABASE_H
#define ROOTWARD_DATABASE_H

#include <sqlite3.h>
#include <stdbool.h>
#include <stddef.h>

enum rw_open_mode {
    RW_OPEN_SERVE,  /* the server: makes the file when there is none */
    RW_OPEN_CHANGE, /* a short change from the command line, also while a server runs; makes the file too */
    RW_OPEN_INSPECT /* read-only; the file must exist */
};

struct rw_database;

/* 0, or -1 with one sentence in `why`. */
int rw_database_open(const char *directory, enum rw_open_mode mode, struct rw_database **out, char *why,
                     size_t why_size);

/* 0 when SQLite closed with nothing left open. NULL is allowed. */
int rw_database_close(struct rw_database *database);

/* Id of this process's run, written into every audit entry. */
const char *rw_database_run(const struct rw_database *database);

/* A write: begin gives the writer connection or NULL (then nothing is held). end commits when `rc` is
 * SQLITE_OK and rolls back otherwise; true only when COMMIT returned OK, that is, when it is durable. */
sqlite3 *rw_write_begin(struct rw_database *database);
bool rw_write_end(struct rw_database *database, int rc);

/* A read: begin locks and gives the reader connection; end unlocks. Finalise every statement before end. */
sqlite3 *rw_read_begin(struct rw_database *database);
void rw_read_end(struct rw_database *database);

/* Is there room on the disk, and does the write lock come and go? */
bool rw_database_writable(struct rw_database *database);
/* The last write failed; the next that succeeds clears it, except after damage to the file. */
bool rw_database_failing(struct rw_database *database);

/* Statement helpers; all return SQLite result codes. NULL text binds as "". */
int rw_sql_prepare(sqlite3 *connection, sqlite3_stmt **statement, const char *sql);
int rw_sql_text(sqlite3_stmt *statement, int index, const char *text);
int rw_sql_blob(sqlite3_stmt *statement, int index, const void *bytes, size_t size);
/* Runs a statement that gives no rows, then finalises it whatever happened. */
int rw_sql_finish(sqlite3_stmt *statement);
/* Text of a column, never NULL. */
const char *rw_sql_column(sqlite3_stmt *statement, int index);

#endif
