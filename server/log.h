/* The log: one JSON object a line on stderr. Never clinical content, never bytes that a client sent:
 * every text here is ours (ids, route templates, fixed words). */
#ifndef ROOTWARD_LOG_H
#define ROOTWARD_LOG_H

#include <stddef.h>
#include <stdint.h>

struct rw_access_line {
    const char *request_id, *actor, *method, *route, *end;
    unsigned status;
    int64_t milliseconds;
    size_t bytes_in, bytes_out;
};

void rw_log_access(const struct rw_access_line *line);

/* event: one word; detail: a short text of our own, or NULL. */
void rw_log_event(const char *event, const char *detail);

#endif
