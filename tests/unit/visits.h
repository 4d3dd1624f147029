/* Visits of one injury, for tests of the course. */
#ifndef TEST_VISITS_H
#define TEST_VISITS_H

#include "hand_made.h"

#define AGREES 1e-9 /* a few thousand roundings */

enum { ONSET = 20000 };

struct visits {
    size_t count;
    struct rw_exam *exams[RW_MAX_VISITS + 1];
};

static inline struct rw_course *course_of(const struct visits *visits) {
    struct rw_course *out = malloc(sizeof *out);
    struct rw_error error;
    const struct rw_exam *exams[RW_MAX_VISITS];
    for (size_t v = 0; v < visits->count; v++)
        exams[v] = visits->exams[v];
    void *workspace = malloc(rw_course_workspace_size());
    cr_assert_eq(rw_course(exams, visits->count, workspace, rw_course_workspace_size(), out, &error), RW_OK,
                 "%s", error.message);
    free(workspace);
    return out;
}

static inline struct rw_exam *add(struct visits *visits, int32_t days, const char *grades) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + days);
    give_motor(exam, grades);
    visits->exams[visits->count++] = exam;
    return exam;
}

static inline void release(struct visits *visits) {
    for (size_t v = 0; v < visits->count; v++)
        free(visits->exams[v]);
}

static inline bool is_torn_site(size_t site) {
    return rw_sites_hold(rw_sites_preganglionic(), site);
}

#endif
