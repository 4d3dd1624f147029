/* The audit log: append-only entries, each chained to the one before by SHA-256. */
#ifndef ROOTWARD_AUDIT_H
#define ROOTWARD_AUDIT_H

#include <sqlite3.h>
#include <stdint.h>
#include <stdio.h>

#include "database.h"
#include "text.h"

/* What a caller says of an event. NULL counts as "". No clinical content in any of them: `subject` is a
 * pseudonym, the digests are over the bytes that came in and went out, `detail` is a text of our own. */
struct rw_event {
    const char *request_id, *actor, *action, *outcome, *subject, *method, *route;
    const char *request_digest, *answer_digest, *detail;
};

/* The words that the log and its checks share. */
#define RW_ACTION_ASSESS   "assess"
#define RW_OUTCOME_CREATED "created"

/* The text columns of an entry, in their order in the table. */
#define RW_AUDIT_TEXTS(X)                                                                                    \
    X(time)                                                                                                  \
    X(run)                                                                                                   \
    X(request_id)                                                                                            \
    X(actor)                                                                                                 \
    X(action)                                                                                                \
    X(outcome)                                                                                               \
    X(subject) X(method) X(route) X(request_digest) X(answer_digest) X(engine) X(knowledge) X(detail) X(prev)

struct rw_audit_entry {
    int64_t seq;
#define X(name) const char *name;
    RW_AUDIT_TEXTS(X)
#undef X
};

/* The bytes under the hash: the entry as JSON, members sorted, no white space, every value a string.
 * malloc'd; NULL when memory ran out or a text is not UTF-8. */
char *rw_audit_canonical(const struct rw_audit_entry *entry, size_t *size);
/* SHA-256 over a zero byte and the canonical bytes, in hex. */
void rw_audit_hash(const void *canonical, size_t size, char out[RW_HASH_TEXT]);

/* "prev" of the first entry. */
extern const char rw_chain_start[RW_HASH_TEXT];

/* Adds an entry inside an open write; *seq (may be NULL) is its number. SQLite result code. */
int rw_audit_add(struct rw_database *database, sqlite3 *writer, const struct rw_event *event, int64_t *seq);

/* One entry in a write of its own; true when it is durable. */
bool rw_audit_append(struct rw_database *database, const struct rw_event *event);

struct rw_audit_head {
    int64_t seq; /* 0: the log is empty */
    char hash[RW_HASH_TEXT];
};
int rw_audit_head(sqlite3 *connection, struct rw_audit_head *head);

struct rw_verdict {
    int64_t entries, assessments,
        clock_steps; /* clock_steps: entries whose time lies before the one before */
    struct rw_audit_head head;
    int64_t broken;   /* first broken entry, 0: none */
    char reason[160]; /* why it is broken, or why the walk could not be finished */
};

/* Walks the whole chain in one read. True when everything holds. */
bool rw_audit_verify(struct rw_database *database, struct rw_verdict *verdict);

#endif
