#include "service.h"

#include <dirent.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/pidfd.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum {
    START_MS = 30000, /* generous: the same tests run under sanitizers on a busy machine */
    END_MS = 30000,
    WATCHDOG_S = 300,
    WORDS_MOST = 24
};

struct kept {
    struct kept *next;
    void *thing;
    void (*release)(void *thing);
};

static struct kept *kept_list;
static struct service the_service;

/* ---- memory, files, clock ---- */

void *keep_with(void *thing, void (*release)(void *thing)) {
    struct kept *kept = malloc(sizeof *kept);
    cr_assert(kept && thing, "out of memory");
    *kept = (struct kept){kept_list, thing, release};
    kept_list = kept;
    return thing;
}

void *keep(void *memory) {
    return keep_with(memory, free);
}

char *text_of(const char *format, ...) {
    va_list values;
    char *text = NULL;
    va_start(values, format);
    int length = vasprintf(&text, format, values);
    va_end(values);
    cr_assert_geq(length, 0);
    return keep(text);
}

static char *read_fd(int fd, size_t *size) {
    off_t length = lseek(fd, 0, SEEK_END);
    cr_assert_geq(length, 0);
    char *text = keep(calloc(1, (size_t)length + 1));
    ssize_t got = pread(fd, text, (size_t)length, 0);
    cr_assert_geq(got, 0);
    if (size)
        *size = (size_t)got;
    return text;
}

char *file_text(const char *path, size_t *size) {
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    cr_assert_geq(fd, 0, "%s can't be opened", path);
    char *text = read_fd(fd, size);
    close(fd);
    return text;
}

struct file_list list_files(const char *folder) {
    struct file_list list = {0};
    DIR *entries = opendir(folder);
    for (struct dirent *entry; entries && (entry = readdir(entries));)
        if (entry->d_name[0] != '.') {
            cr_assert_lt(list.count, sizeof list.paths / sizeof list.paths[0]);
            list.paths[list.count++] = text_of("%s/%s", folder, entry->d_name);
        }
    if (entries)
        closedir(entries);
    return list;
}

int64_t now_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * (int64_t)1000 + now.tv_nsec / 1000000;
}

void pause_briefly(void) {
    const struct timespec pause = {0, 5 * 1000000L};
    nanosleep(&pause, NULL);
}

/* ---- processes ---- */

static const char *binary(void) {
    const char *path = getenv("RW_BINARY");
    return path ? path : "build/rootward";
}

/* The child dies with this process, so that a crashed test leaves nothing running. */
static pid_t spawn(const char *const words[], int in, int out, int err) {
    union {
        const char *const *in;
        char *const *out;
    } arguments = {.in = words};
    pid_t parent = getpid(), pid = fork();
    if (pid == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        if (getppid() != parent || dup2(in, 0) < 0 || dup2(out, 1) < 0 || dup2(err, 2) < 0)
            _exit(126);
        execv(binary(), arguments.out);
        _exit(127);
    }
    cr_assert_gt(pid, 0, "fork failed");
    return pid;
}

/* Exit code, -1 after a signal, -2 when it was still running at the deadline (and then killed). */
static int wait_end(pid_t pid, int deadline_ms) {
    int status = 0, fd = pidfd_open(pid, 0);
    struct pollfd ended = {.fd = fd, .events = POLLIN};
    bool late = fd < 0 || poll(&ended, 1, deadline_ms) != 1;
    if (fd >= 0)
        close(fd);
    if (late)
        kill(pid, SIGKILL);
    if (waitpid(pid, &status, 0) != pid || late)
        return -2;
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void take_words(const char *words[WORDS_MOST], size_t count, va_list more) {
    for (const char *word; (word = va_arg(more, const char *)); count++) {
        cr_assert_lt(count + 1, WORDS_MOST);
        words[count] = word;
    }
}

struct ran run(const char *input, ...) {
    const char *words[WORDS_MOST] = {binary()};
    va_list more;
    va_start(more, input);
    take_words(words, 1, more);
    va_end(more);
    int in = memfd_create("in", MFD_CLOEXEC), out = memfd_create("out", MFD_CLOEXEC),
        err = memfd_create("err", MFD_CLOEXEC);
    size_t size = input ? strlen(input) : 0;
    cr_assert(in >= 0 && out >= 0 && err >= 0);
    cr_assert_eq(pwrite(in, input ? input : "", size, 0), (ssize_t)size);
    int code = wait_end(spawn(words, in, out, err), END_MS);
    const struct ran ran = {code, read_fd(out, NULL), read_fd(err, NULL)};
    close(in);
    close(out);
    close(err);
    cr_assert_neq(code, -2, "%s %s did not end: %s", words[0], words[1] ? words[1] : "", ran.err);
    return ran;
}

/* ---- the server ---- */

struct service *service_new(void) {
    struct service *s = &the_service;
    const char *base = getenv("TMPDIR");
    alarm(WATCHDOG_S);
    s->folder = text_of("%s/rootward-service-XXXXXX", base ? base : "/tmp");
    cr_assert(mkdtemp(s->folder), "no folder for the test");
    s->data = text_of("%s/data", s->folder);
    s->log = text_of("%s/log", s->folder);
    s->out = text_of("%s/out", s->folder);
    return s;
}

/* Waits for the first line of this start: behind what earlier starts have written. */
static void read_port(struct service *s, size_t before) {
    static const char mark[] = "listening on http://127.0.0.1:";
    for (int64_t deadline = now_ms() + START_MS;;) {
        size_t size = 0;
        const char *text = file_text(s->log, &size) + before;
        const char *line = size > before ? strstr(text, mark) : NULL;
        if (line && strchr(line, '\n')) {
            cr_assert_eq(line, text, "the first line on stderr is: %s", text);
            s->port = (unsigned)strtoul(line + sizeof mark - 1, NULL, 10);
            snprintf(s->host, sizeof s->host, "127.0.0.1:%u", s->port);
            return;
        }
        cr_assert(waitpid(s->pid, NULL, WNOHANG) == 0, "the server ended: %s", text);
        cr_assert(now_ms() < deadline, "the server does not listen: %s", text);
        pause_briefly();
    }
}

void service_start(struct service *s, ...) {
    const char *words[WORDS_MOST] = {binary(),   "serve",       "--data",   s->data,
                                     "--listen", "127.0.0.1:0", "--static", "static"};
    va_list more;
    va_start(more, s);
    take_words(words, 8, more);
    va_end(more);
    int in = open("/dev/null", O_RDONLY | O_CLOEXEC);
    int out = open(s->out, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    int log = open(s->log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    cr_assert(in >= 0 && out >= 0 && log >= 0);
    size_t before = (size_t)lseek(log, 0, SEEK_END);
    s->pid = spawn(words, in, out, log);
    close(in);
    close(out);
    close(log);
    read_port(s, before);
}

void service_stop(struct service *s) {
    if (s->pid == 0)
        return;
    pid_t pid = s->pid;
    s->pid = 0;
    kill(pid, SIGTERM);
    int code = wait_end(pid, END_MS);
    cr_assert_eq(code, 0, "the server stopped with %d: %s", code, file_text(s->log, NULL));
}

void service_kill(struct service *s) {
    kill(s->pid, SIGKILL);
    waitpid(s->pid, NULL, 0);
    s->pid = 0;
}

static void remove_folder(const char *folder) {
    struct file_list files = list_files(folder);
    for (size_t i = 0; i < files.count; i++)
        unlink(files.paths[i]);
    rmdir(folder);
}

void service_sweep(void) {
    if (the_service.pid > 0)
        service_kill(&the_service);
    if (the_service.folder) {
        remove_folder(the_service.data);
        remove_folder(the_service.folder);
    }
    while (kept_list) {
        struct kept *next = kept_list->next;
        kept_list->release(kept_list->thing);
        free(kept_list);
        kept_list = next;
    }
}

/* ---- what the tests ask of it ---- */

const char *service_key(const struct service *s, const char *role) {
    struct ran ran = run(NULL, "key", "add", "--data", s->data, "--name", "test", "--role", role, NULL);
    cr_assert_eq(ran.code, 0, "key add: %s", ran.err);
    char *secret = keep(strdup(ran.out));
    secret[strcspn(secret, "\n")] = '\0';
    cr_assert_geq(strlen(secret), 32, "key add printed: %s", ran.out);
    return secret;
}

int64_t service_count(const struct service *s, const char *sql) {
    sqlite3 *database = NULL;
    sqlite3_stmt *row = NULL;
    int rc = sqlite3_open_v2(text_of("%s/rootward.db", s->data), &database, SQLITE_OPEN_READONLY, NULL);
    if (rc == SQLITE_OK)
        rc = sqlite3_prepare_v2(database, sql, -1, &row, NULL);
    cr_assert_eq(rc, SQLITE_OK, "%s: %s", sql, sqlite3_errmsg(database));
    cr_assert_eq(sqlite3_step(row), SQLITE_ROW, "%s", sql);
    int64_t count = sqlite3_column_int64(row, 0);
    sqlite3_finalize(row);
    sqlite3_close(database);
    return count;
}

bool service_data_holds(const struct service *s, const char *text) {
    struct file_list files = list_files(s->data);
    cr_assert_gt(files.count, 0, "no data");
    for (size_t i = 0; i < files.count; i++) {
        size_t size = 0;
        const char *bytes = file_text(files.paths[i], &size);
        if (memmem(bytes, size, text, strlen(text)))
            return true;
    }
    return false;
}

const char *service_verify(const struct service *s) {
    struct ran ran = run(NULL, "audit", "verify", "--data", s->data, NULL);
    cr_assert_eq(ran.code, 0, "audit verify: %d %s%s", ran.code, ran.out, ran.err);
    cr_assert(strncmp(ran.out, "ok: ", 4) == 0, "audit verify printed: %s", ran.out);
    return ran.out;
}
