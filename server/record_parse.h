/* Private to the reading of records: what the readers of single members share. */
#ifndef ROOTWARD_RECORD_PARSE_H
#define ROOTWARD_RECORD_PARSE_H

#include "dates.h"
#include "records.h"

enum { RW_POINTER_SIZE = sizeof((struct rw_issue *)NULL)->pointer };

struct rw_parse {
    struct rw_exam *exam;
    struct rw_issues *issues;
    size_t issue_capacity;
    bool out_of_memory;
    int32_t now_day;
    bool examined; /* examined_at is well formed: the instant below holds it */
    struct rw_instant examined_at;
    size_t given; /* findings in the record, untestable and faulty ones too */
    size_t untestable_count;
    uint16_t untestable[RW_MAX_CHECKS];
    bool fill[RW_SECTION_COUNT]; /* by otherwise_normal */
};

/* Adds an issue; `detail` is a whole sentence. */
void rw_parse_issue(struct rw_parse *parse, const char *pointer, const char *detail);
/* parent + "/" + key; the parent alone when that does not fit. */
void rw_parse_join(char pointer[RW_POINTER_SIZE], const char *parent, const char *key);

/* One member of a known object: its name and what reads it. */
struct rw_member_reader {
    const char *name;
    void (*read)(struct rw_parse *parse, const char *pointer, json_t *value);
};
/* Reads an object of closed vocabulary; members that are not in the table are issues. */
void rw_parse_members(struct rw_parse *parse, const char *pointer, json_t *object,
                      const struct rw_member_reader *readers, size_t count);

/* record_findings.c: the sections that hold findings. */
void rw_parse_motor(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_movements(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_sensation(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_reflexes(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_signs(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_wasting(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_percussion(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_investigations(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_otherwise_normal(struct rw_parse *parse, const char *pointer, json_t *value);
/* record_options.c */
void rw_parse_donor_limits(struct rw_parse *parse, const char *pointer, json_t *value);
void rw_parse_plan_options(struct rw_parse *parse, const char *pointer, json_t *value);
/* After all members: fills what otherwise_normal covers, but nothing that was found untestable. */
void rw_parse_fill(struct rw_parse *parse);

#endif
