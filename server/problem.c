#include "problem.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

static const struct {
    int status;
    const char *slug, *title;
} problems[RW_PROBLEM_COUNT] = {
#define X(name, status, slug, title) {status, slug, title},
    RW_PROBLEMS(X)
#undef X
};

unsigned rw_problem_status(enum rw_problem problem) {
    return (unsigned)problems[problem].status;
}

const char *rw_problem_slug(enum rw_problem problem) {
    return problems[problem].slug;
}

static json_t *issues_json(const struct rw_issues *issues) {
    json_t *list = json_array();
    for (size_t i = 0; i < issues->count; i++) {
        const struct rw_issue *issue = &issues->items[i];
        json_t *item = json_pack("{s:s, s:s}", "pointer", issue->pointer, "detail", issue->detail);
        if (!item || json_array_append_new(list, item) != 0) {
            json_decref(list);
            return NULL;
        }
    }
    return list;
}

char *rw_problem_json(int status, const char *type, const char *title, const char *detail,
                      const struct rw_issues *issues, size_t *size) {
    *size = 0;
    json_t *problem = json_pack("{s:s, s:s, s:i, s:s, s:b}", "type", type, "title", title, "status", status,
                                "detail", detail ? detail : title, "retryable", status == 503);
    if (!problem)
        return NULL;
    char *text = NULL;
    if (!issues || issues->count == 0 || json_object_set_new(problem, "errors", issues_json(issues)) == 0)
        text = json_dumps(problem, JSON_COMPACT);
    json_decref(problem);
    if (text)
        *size = strlen(text);
    return text;
}

char *rw_problem_text(enum rw_problem problem, const char *detail, const struct rw_issues *issues,
                      size_t *size) {
    char type[64];
    snprintf(type, sizeof type, "/problems/%s", problems[problem].slug);
    return rw_problem_json(problems[problem].status, type, problems[problem].title, detail, issues, size);
}
