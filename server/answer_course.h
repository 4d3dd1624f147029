/* The course of one subject: its visits by date, and what those of one injury say together. */
#ifndef ROOTWARD_ANSWER_COURSE_H
#define ROOTWARD_ANSWER_COURSE_H

#include "dates.h"
#include "records.h"

struct rw_visit {
    const char *id;
    json_t *record;
    struct rw_exam exam;
    struct rw_instant at;
    const struct rw_visit *repeats; /* another visit with the very same record, which speaks for both */
    size_t injury;                  /* place in the list of injuries */
    size_t joined;                  /* place in the injury's course; RW_MAX_VISITS: not in it */
};

struct rw_injury {
    size_t left_out; /* visits between the first and the latest that no course has room for */
    const struct rw_visit *joined[RW_MAX_VISITS]; /* as the course numbers its visits */
    struct rw_course *course;
};

struct rw_subject {
    const char *name;
    size_t visit_count, injury_count;
    struct rw_visit *visits; /* by date */
    struct rw_injury *injuries;
    size_t unreadable; /* stored records that this version no longer takes */
    bool cut;          /* there are older assessments than were read */
};

/* GET /v1/subjects/{subject}/assessments. malloc'd; NULL when memory ran out. */
char *rw_subject_json(const struct rw_subject *subject, size_t *size);

#endif
