#include "database.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <time.h>
#include <unistd.h>

#include "schema.h"
#include "text.h"

enum {
    WRITER_WAIT_MS = 5000, /* for another process's short write */
    POLL_MS = 5,
    LONGEST_VALUE = 8 << 20, /* bytes: a record is at most 256 KiB, an answer well below this */
    LONGEST_SQL = 16384,
    ROOM_NEEDED = 32 << 20 /* bytes free on the disk, below which the service is not ready */
};

struct rw_database {
    sqlite3 *writer, *reader;
    pthread_mutex_t write_mutex, read_mutex;
    int lock, writer_lock; /* file descriptors, -1: not held */
    enum rw_open_mode mode;
    char run[17];
    atomic_bool failing, damaged;
};

/* ---- statements ---- */

int rw_sql_prepare(sqlite3 *connection, sqlite3_stmt **statement, const char *sql) {
    return sqlite3_prepare_v2(connection, sql, -1, statement, NULL);
}

int rw_sql_text(sqlite3_stmt *statement, int index, const char *text) {
    return sqlite3_bind_text(statement, index, text ? text : "", -1, SQLITE_STATIC);
}

int rw_sql_blob(sqlite3_stmt *statement, int index, const void *bytes, size_t size) {
    return sqlite3_bind_blob64(statement, index, bytes, size, SQLITE_STATIC);
}

int rw_sql_finish(sqlite3_stmt *statement) {
    int rc = sqlite3_step(statement);
    sqlite3_finalize(statement);
    return rc == SQLITE_DONE ? SQLITE_OK : rc == SQLITE_ROW ? SQLITE_ERROR : rc;
}

const char *rw_sql_column(sqlite3_stmt *statement, int index) {
    const unsigned char *text = sqlite3_column_text(statement, index);
    return text ? (const char *)text : "";
}

/* First column of the first row as text; "" when there is none. */
static int query_text(sqlite3 *connection, const char *sql, char *out, size_t size) {
    sqlite3_stmt *statement = NULL;
    out[0] = '\0';
    int rc = rw_sql_prepare(connection, &statement, sql);
    if (rc == SQLITE_OK) {
        rc = sqlite3_step(statement);
        if (rc == SQLITE_ROW)
            rw_copy(out, size, rw_sql_column(statement, 0));
        rc = rc == SQLITE_ROW || rc == SQLITE_DONE ? SQLITE_OK : rc;
    }
    sqlite3_finalize(statement);
    return rc;
}

static int run(sqlite3 *connection, const char *sql) {
    return sqlite3_exec(connection, sql, NULL, NULL, NULL);
}

/* ---- settings ---- */

struct setting {
    const char *set, *get, *expected;
};

/* Read back, because a pragma that is refused reports no error. */
static bool apply_settings(sqlite3 *connection, const struct setting *settings, size_t count, char *why,
                           size_t why_size) {
    for (size_t i = 0; i < count; i++) {
        char got[32] = "";
        if (run(connection, settings[i].set) != SQLITE_OK ||
            query_text(connection, settings[i].get, got, sizeof got) != SQLITE_OK ||
            strcmp(got, settings[i].expected) != 0) {
            snprintf(why, why_size, "the database refused \"%s\" (%s, \"%s\")", settings[i].set,
                     sqlite3_errmsg(connection), got);
            return false;
        }
    }
    return true;
}

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static bool apply_all_settings(sqlite3 *connection, enum rw_open_mode mode, bool writer, char *why,
                               size_t size) {
    static const struct setting common[] = {
        {"PRAGMA cell_size_check=ON", "PRAGMA cell_size_check", "1"},
        {"PRAGMA mmap_size=0", "PRAGMA mmap_size", "0"},
        {"PRAGMA foreign_keys=ON", "PRAGMA foreign_keys", "1"},
        {"PRAGMA recursive_triggers=ON", "PRAGMA recursive_triggers", "1"},
        {"PRAGMA temp_store=MEMORY", "PRAGMA temp_store", "2"},
    };
    static const struct setting writing[] = {
        {"PRAGMA journal_mode=WAL", "PRAGMA journal_mode", "wal"},
        {"PRAGMA synchronous=FULL", "PRAGMA synchronous", "2"},
        {"PRAGMA journal_size_limit=67108864", "PRAGMA journal_size_limit", "67108864"},
    };
    static const struct setting checkpoints = {"PRAGMA wal_autocheckpoint=1000", "PRAGMA wal_autocheckpoint",
                                               "1000"};
    static const struct setting no_checkpoints = {"PRAGMA wal_autocheckpoint=0", "PRAGMA wal_autocheckpoint",
                                                  "0"};
    static const struct setting reading = {"PRAGMA query_only=ON", "PRAGMA query_only", "1"};
    bool may_checkpoint = writer && mode == RW_OPEN_SERVE;

    return apply_settings(connection, common, COUNT(common), why, size) &&
           (!writer || apply_settings(connection, writing, COUNT(writing), why, size)) &&
           (writer || apply_settings(connection, &reading, 1, why, size)) &&
           apply_settings(connection, may_checkpoint ? &checkpoints : &no_checkpoints, 1, why, size);
}

static int restrict_connection(sqlite3 *connection, bool may_checkpoint) {
    static const struct {
        int option, value;
    } options[] = {
        {SQLITE_DBCONFIG_DEFENSIVE, 1},
        {SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0},
        {SQLITE_DBCONFIG_DQS_DML, 0},
        {SQLITE_DBCONFIG_DQS_DDL, 0},
        {SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0},
    };
    static const struct {
        int limit, value;
    } limits[] = {
        {SQLITE_LIMIT_LENGTH, LONGEST_VALUE},
        {SQLITE_LIMIT_SQL_LENGTH, LONGEST_SQL},
        {SQLITE_LIMIT_COLUMN, 64},
        {SQLITE_LIMIT_EXPR_DEPTH, 40},
        {SQLITE_LIMIT_COMPOUND_SELECT, 4},
        {SQLITE_LIMIT_ATTACHED, 0},
        {SQLITE_LIMIT_VARIABLE_NUMBER, 40},
        {SQLITE_LIMIT_TRIGGER_DEPTH, 8},
        {SQLITE_LIMIT_WORKER_THREADS, 0},
    };
    int rc = SQLITE_OK, answer = 0;
    for (size_t i = 0; i < COUNT(options) && rc == SQLITE_OK; i++) {
        rc = sqlite3_db_config(connection, options[i].option, options[i].value, &answer);
        if (rc == SQLITE_OK && answer != options[i].value)
            rc = SQLITE_ERROR;
    }
    if (rc == SQLITE_OK && !may_checkpoint)
        rc = sqlite3_db_config(connection, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, &answer);
    for (size_t i = 0; i < COUNT(limits); i++)
        sqlite3_limit(connection, limits[i].limit, limits[i].value);
    return rc;
}

/* An allow-list beside the triggers: after start the writer adds rows and revokes keys, and that is all. */
static int authorise(void *unused, int action, const char *first, const char *second, const char *schema,
                     const char *trigger) {
    (void)unused;
    (void)schema;
    (void)trigger;
    switch (action) {
    case SQLITE_SELECT:
    case SQLITE_READ:
    case SQLITE_INSERT:
    case SQLITE_FUNCTION:
    case SQLITE_TRANSACTION:
        return SQLITE_OK;
    case SQLITE_UPDATE:
        return strcmp(first, "keys") == 0 && strcmp(second, "revoked") == 0 ? SQLITE_OK : SQLITE_DENY;
    default:
        return SQLITE_DENY;
    }
}

static sqlite3 *connect_to(const char *path, enum rw_open_mode mode, bool writer, char *why,
                           size_t why_size) {
    sqlite3 *connection = NULL;
    int flags = SQLITE_OPEN_EXRESCODE | SQLITE_OPEN_NOMUTEX;
    flags |= writer ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY;
    int rc = sqlite3_open_v2(path, &connection, flags, NULL);
    if (rc == SQLITE_OK)
        rc = sqlite3_busy_timeout(connection, WRITER_WAIT_MS);
    if (rc == SQLITE_OK)
        rc = restrict_connection(connection, writer && mode == RW_OPEN_SERVE);
    if (rc != SQLITE_OK)
        snprintf(why, why_size, "the database can't be opened: %s", sqlite3_errstr(rc));
    else if (apply_all_settings(connection, mode, writer, why, why_size))
        return connection;
    sqlite3_close(connection);
    return NULL;
}

/* ---- locks ---- */

static int open_lock(const char *directory, const char *name) {
    char path[4096];
    if (snprintf(path, sizeof path, "%s/%s", directory, name) >= (int)sizeof path)
        return -1;
    return open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
}

/* Waits with a limit: a stopped command-line process must not hang the server. */
static bool take_writer_lock(const struct rw_database *database) {
    int64_t deadline = rw_monotonic_ms() + WRITER_WAIT_MS;
    while (flock(database->writer_lock, LOCK_EX | LOCK_NB) != 0) {
        if ((errno != EWOULDBLOCK && errno != EINTR) || rw_monotonic_ms() > deadline)
            return false;
        struct timespec pause = {0, POLL_MS * 1000000L};
        nanosleep(&pause, NULL);
    }
    return true;
}

static void drop_writer_lock(const struct rw_database *database) {
    flock(database->writer_lock, LOCK_UN);
}

static bool take_locks(struct rw_database *database, const char *directory, char *why, size_t why_size) {
    if (mkdir(directory, 0700) != 0 && errno != EEXIST) {
        snprintf(why, why_size, "the folder can't be made: %s", strerror(errno));
        return false;
    }
    if (database->mode == RW_OPEN_SERVE) {
        database->lock = open_lock(directory, "lock");
        if (database->lock >= 0 && flock(database->lock, LOCK_EX | LOCK_NB) != 0) {
            snprintf(why, why_size, "another server uses this folder");
            return false;
        }
    }
    database->writer_lock = open_lock(directory, "writer.lock");
    if (database->writer_lock < 0 || (database->mode == RW_OPEN_SERVE && database->lock < 0)) {
        snprintf(why, why_size, "a lock file can't be opened: %s", strerror(errno));
        return false;
    }
    if (!take_writer_lock(database)) {
        snprintf(why, why_size, "another process is writing; try again");
        return false;
    }
    return true;
}

/* ---- open and close ---- */

static bool check_version(sqlite3 *connection, bool may_create, char *why, size_t why_size) {
    char application[16], version[16], tables[16];
    if (query_text(connection, "PRAGMA application_id", application, sizeof application) != SQLITE_OK ||
        query_text(connection, "PRAGMA user_version", version, sizeof version) != SQLITE_OK ||
        query_text(connection, "SELECT count(*) FROM sqlite_schema", tables, sizeof tables) != SQLITE_OK) {
        snprintf(why, why_size, "the file can't be read: %s", sqlite3_errmsg(connection));
        return false;
    }
    if (strcmp(application, RW_SCHEMA_APPLICATION) == 0 && strcmp(version, RW_SCHEMA_VERSION) == 0)
        return true;
    if (strcmp(application, RW_SCHEMA_APPLICATION) == 0) {
        snprintf(why, why_size, "the file has version %s, this program knows version %s", version,
                 RW_SCHEMA_VERSION);
        return false;
    }
    if (!may_create || strcmp(application, "0") != 0 || strcmp(version, "0") != 0 ||
        strcmp(tables, "0") != 0) {
        snprintf(why, why_size, "the file is not a Rootward database");
        return false;
    }
    if (run(connection, rw_schema_sql) == SQLITE_OK)
        return true;
    snprintf(why, why_size, "the tables can't be made: %s", sqlite3_errmsg(connection));
    run(connection, "ROLLBACK");
    return false;
}

static bool open_files(struct rw_database *database, const char *directory, char *why, size_t why_size) {
    char path[4096];
    if (snprintf(path, sizeof path, "%s/rootward.db", directory) >= (int)sizeof path) {
        snprintf(why, why_size, "the folder's name is too long");
        return false;
    }
    bool writer = database->mode != RW_OPEN_INSPECT;
    if (writer) {
        if (!take_locks(database, directory, why, why_size))
            return false;
        database->writer = connect_to(path, database->mode, true, why, why_size);
        if (!database->writer || !check_version(database->writer, true, why, why_size))
            return false;
        run(database->writer, rw_schema_index_sql); /* on a full disk the search is slow, but right */
        sqlite3_set_authorizer(database->writer, authorise, NULL);
    }
    database->reader = connect_to(path, database->mode, false, why, why_size);
    if (!database->reader || !check_version(database->reader, false, why, why_size))
        return false;
    if (database->mode == RW_OPEN_SERVE)
        drop_writer_lock(database);
    return true;
}

int rw_database_open(const char *directory, enum rw_open_mode mode, struct rw_database **out, char *why,
                     size_t why_size) {
    struct rw_database *database = calloc(1, sizeof *database);
    if (!database) {
        snprintf(why, why_size, "out of memory");
        return -1;
    }
    database->mode = mode;
    database->lock = database->writer_lock = -1;
    pthread_mutex_init(&database->write_mutex, NULL);
    pthread_mutex_init(&database->read_mutex, NULL);
    rw_random_hex(database->run, 8);
    if (open_files(database, directory, why, why_size)) {
        *out = database;
        return 0;
    }
    rw_database_close(database);
    return -1;
}

int rw_database_close(struct rw_database *database) {
    if (!database)
        return 0;
    int rc = sqlite3_close(database->reader);
    bool locked = database->mode == RW_OPEN_SERVE && database->writer && take_writer_lock(database);
    if (locked)
        sqlite3_wal_checkpoint_v2(database->writer, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
    int writer_rc = sqlite3_close(database->writer);
    if (database->writer_lock >= 0)
        close(database->writer_lock);
    if (database->lock >= 0)
        close(database->lock);
    pthread_mutex_destroy(&database->write_mutex);
    pthread_mutex_destroy(&database->read_mutex);
    free(database);
    return rc == SQLITE_OK && writer_rc == SQLITE_OK ? 0 : -1;
}

const char *rw_database_run(const struct rw_database *database) {
    return database->run;
}

/* ---- transactions ---- */

/* Damage to the file is final for this run: writing on would make it worse. */
static void note_failure(struct rw_database *database, int rc) {
    int primary = rc & 0xff;
    if (primary == SQLITE_CORRUPT || primary == SQLITE_NOTADB)
        atomic_store(&database->damaged, true);
    atomic_store(&database->failing, true);
}

sqlite3 *rw_write_begin(struct rw_database *database) {
    if (atomic_load(&database->damaged))
        return NULL;
    pthread_mutex_lock(&database->write_mutex);
    /* A command-line run holds the lock for life, the server for each write. */
    if (database->mode != RW_OPEN_SERVE || take_writer_lock(database)) {
        int rc = run(database->writer, "BEGIN IMMEDIATE");
        if (rc == SQLITE_OK)
            return database->writer;
        note_failure(database, rc);
        if (database->mode == RW_OPEN_SERVE)
            drop_writer_lock(database);
    }
    pthread_mutex_unlock(&database->write_mutex);
    return NULL;
}

bool rw_write_end(struct rw_database *database, int rc) {
    bool asked = rc == SQLITE_OK;
    if (asked)
        rc = run(database->writer, "COMMIT");
    /* After some errors SQLite has rolled back by itself. */
    if (rc != SQLITE_OK && !sqlite3_get_autocommit(database->writer))
        run(database->writer, "ROLLBACK");
    if (rc == SQLITE_OK)
        atomic_store(&database->failing, false);
    else if (rc != SQLITE_ABORT)
        note_failure(database, rc);
    if (database->mode == RW_OPEN_SERVE)
        drop_writer_lock(database);
    pthread_mutex_unlock(&database->write_mutex);
    return rc == SQLITE_OK;
}

sqlite3 *rw_read_begin(struct rw_database *database) {
    pthread_mutex_lock(&database->read_mutex);
    return database->reader;
}

void rw_read_end(struct rw_database *database) {
    pthread_mutex_unlock(&database->read_mutex);
}

bool rw_database_writable(struct rw_database *database) {
    struct statvfs disk;
    if (fstatvfs(database->writer_lock, &disk) != 0 || disk.f_bavail * disk.f_frsize < ROOM_NEEDED)
        return false;
    if (!rw_write_begin(database))
        return false;
    rw_write_end(database, SQLITE_ABORT); /* ABORT: our own wish to roll back, no failure */
    return true;
}

bool rw_database_failing(struct rw_database *database) {
    return atomic_load(&database->failing) || atomic_load(&database->damaged);
}
