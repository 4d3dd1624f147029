/* rootward assess: the same engine on a file, without server and audit. */
#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "commands.h"
#include "options.h"
#include "pool.h"
#include "problem.h"
#include "request.h"
#include "text.h"

enum { INPUT_MOST = 1 << 30 };

struct run {
    struct rw_bench *bench;
    bool plain;   /* --text */
    bool several; /* one record a line */
};

/* To stderr; and when several records come, to stdout too, so that answers stay in line with records. */
static int print_problem(const struct run *run, enum rw_problem problem, const struct rw_issues *issues) {
    size_t size = 0;
    char *text = rw_problem_text(problem, NULL, issues, &size);
    if (text && run->several)
        printf("%s\n", text);
    fprintf(stderr, "%s\n", text ? text : "rootward: out of memory");
    free(text);
    return problem == RW_PROBLEM_INTERNAL ? RW_EXIT_FAILED : RW_EXIT_BAD_RECORD;
}

static int assess_parsed(const struct run *run, const struct rw_exam *exam, const json_t *record) {
    struct rw_error error = {0};
    size_t size = 0;
    char *answer = NULL;
    if (rw_bench_assess(run->bench, exam, &error) == RW_OK)
        answer = run->plain ? rw_answer_text(exam, run->bench->assessment)
                            : rw_answer_json(record, exam, run->bench->assessment, NULL, NULL, &size);
    if (!answer)
        return print_problem(run, RW_PROBLEM_INTERNAL, NULL);
    fputs(answer, stdout);
    if (!run->plain)
        putchar('\n');
    free(answer);
    return RW_EXIT_OK;
}

static int assess_one(const struct run *run, const char *text, size_t size) {
    struct rw_exam exam;
    struct rw_issues issues = {0};
    json_t *record = NULL;
    int code;
    int status = size > RW_BODY_MOST ? 413 : rw_record_parse(text, size, rw_today(), &exam, &record, &issues);
    if (status == 0)
        code = assess_parsed(run, &exam, record);
    else
        code = print_problem(run,
                             status == 422   ? RW_PROBLEM_RECORD
                             : status == 413 ? RW_PROBLEM_TOO_LARGE
                             : status == 400 ? RW_PROBLEM_NOT_JSON
                                             : RW_PROBLEM_INTERNAL,
                             &issues);
    json_decref(record);
    rw_issues_release(&issues);
    return code;
}

static bool is_json(const char *text, size_t size) {
    json_t *value = json_loadb(text, size, 0, NULL);
    json_decref(value);
    return value != NULL;
}

/* One record a line: the whole is no JSON text, but its first line is. A broken record over many lines is
 * still one record, and gets one problem. */
static bool holds_several(const char *text, size_t size) {
    const char *end = memchr(text, '\n', size);
    return end && !is_json(text, size) && is_json(text, (size_t)(end - text));
}

static int assess_lines(const struct run *run, const char *text, size_t size) {
    int code = RW_EXIT_OK;
    const char *end = text + size;
    while (text < end) {
        const char *stop = memchr(text, '\n', (size_t)(end - text));
        size_t length = (size_t)((stop ? stop : end) - text);
        if (strspn(text, " \t\r") < length) {
            int one = assess_one(run, text, length);
            code = one > code ? one : code;
        }
        text += length + 1;
    }
    return code;
}

int rw_command_assess(char **words, size_t count) {
    struct run run = {0};
    const struct rw_option options[] = {{"--text", NULL, &run.plain}};
    if (!rw_options_parse(options, 1, words, &count, 1))
        return RW_EXIT_USAGE;
    if (count != 1) {
        fputs("rootward: assess needs a file, or - for stdin\n", stderr);
        return RW_EXIT_USAGE;
    }
    int code = RW_EXIT_FAILED;
    size_t size = 0;
    bool from_stdin = strcmp(words[0], "-") == 0;
    int fd = from_stdin ? STDIN_FILENO : open(words[0], O_RDONLY | O_CLOEXEC);
    char *text = fd >= 0 ? rw_read_all(fd, INPUT_MOST, &size) : NULL;
    struct rw_pool *pool = text ? rw_pool_new(1) : NULL;
    if (!text)
        fprintf(stderr, "rootward: %s can't be read: %s\n", words[0], strerror(errno));
    else if (!pool)
        fputs("rootward: out of memory\n", stderr);
    else {
        run.bench = rw_pool_take(pool);
        run.several = holds_several(text, size);
        code = run.several ? assess_lines(&run, text, size) : assess_one(&run, text, size);
        rw_pool_give(pool, run.bench);
    }
    if (fflush(stdout) != 0)
        code = RW_EXIT_FAILED;
    rw_pool_free(pool);
    free(text);
    if (fd >= 0 && !from_stdin)
        close(fd);
    return code;
}
