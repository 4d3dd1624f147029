/* The real server for one test: its own folder, its own free port, its own process.
 *
 * Criterion runs every test in a process of its own, so what service.c holds belongs to one test. Memory that
 * these helpers hand out lives until the test ends; tests free nothing. */
#ifndef ROOTWARD_TESTS_SERVICE_H
#define ROOTWARD_TESTS_SERVICE_H

#include <criterion/criterion.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

struct service {
    pid_t pid; /* 0: not running */
    unsigned port;
    char host[32]; /* "127.0.0.1:PORT" */
    char *folder, *data;
    const char *log, *out; /* files with what the server wrote to stderr and stdout, over all its starts */
};

/* A test with a running server, which must stop with exit code 0 when the test is through. */
#define SERVICE_TEST(suite, name)                                                                            \
    static void suite##_##name(struct service *s);                                                           \
    Test(suite, name, .fini = service_sweep) {                                                               \
        struct service *s = service_new();                                                                   \
        service_start(s, NULL);                                                                              \
        suite##_##name(s);                                                                                   \
        service_stop(s);                                                                                     \
    }                                                                                                        \
    static void suite##_##name(struct service *s)

struct service *service_new(void);
/* Further words of the command line, ended by NULL. */
void service_start(struct service *s, ...) __attribute__((sentinel));
/* SIGTERM; asserts exit code 0. Does nothing when the server is not running. */
void service_stop(struct service *s);
void service_kill(struct service *s);
/* Ends what runs, removes the folder, frees what was handed out: also when the test failed. */
void service_sweep(void);

/* The secret of a new key. */
const char *service_key(const struct service *s, const char *role);
/* First column of the first row of a query on the database, as a number. */
int64_t service_count(const struct service *s, const char *sql);
/* Is this text anywhere in the files of the data folder? */
bool service_data_holds(const struct service *s, const char *text);
/* `audit verify` exits 0; returns what it prints. */
const char *service_verify(const struct service *s);

struct ran {
    int code; /* exit code, or -1 after a signal */
    const char *out, *err;
};
/* Runs rootward with these words, ended by NULL; `input` (may be NULL) goes to its stdin. */
struct ran run(const char *input, ...) __attribute__((sentinel));

/* A file's bytes, with NUL behind them. `size` may be NULL. */
char *file_text(const char *path, size_t *size);
/* Paths of the files of a folder; none when there is no such folder. */
struct file_list {
    size_t count;
    const char *paths[1024];
};
struct file_list list_files(const char *folder);
/* malloc'd memory, freed when the test ends; or anything else, with what gives it back. */
void *keep(void *memory);
void *keep_with(void *thing, void (*release)(void *thing));
__attribute__((format(printf, 1, 2))) char *text_of(const char *format, ...);

int64_t now_ms(void); /* monotonic */
/* A few milliseconds, for loops that look again until their deadline. */
void pause_briefly(void);

#endif
