/* Problem documents (RFC 9457): every error the service answers with comes from this one table. */
#ifndef ROOTWARD_PROBLEM_H
#define ROOTWARD_PROBLEM_H

#include <stddef.h>

#include "records.h"

/* X(name, status, last part of the type URI, title) */
#define RW_PROBLEMS(X)                                                                                       \
    X(MALFORMED, 400, "malformed-request", "The request is malformed")                                       \
    X(NOT_JSON, 400, "not-json", "The body is not one JSON object")                                          \
    X(UNAUTHENTICATED, 401, "unauthenticated", "A valid key or session is needed")                           \
    X(FORBIDDEN, 403, "forbidden", "This role may not do this")                                              \
    X(CROSS_SITE, 403, "cross-site", "The request comes from another site")                                  \
    X(NOT_FOUND, 404, "not-found", "There is nothing here")                                                  \
    X(METHOD, 405, "method-not-allowed", "This method is not served here")                                   \
    X(NOT_ACCEPTABLE, 406, "not-acceptable", "Only JSON can be sent")                                        \
    X(LENGTH, 411, "length-required", "A body needs a Content-Length")                                       \
    X(TOO_LARGE, 413, "too-large", "The body is too large")                                                  \
    X(MEDIA_TYPE, 415, "media-type", "The body must be application/json")                                    \
    X(EXPECTATION, 417, "expectation", "This expectation can't be met")                                      \
    X(RECORD, 422, "invalid-record", "The record breaks the contract")                                       \
    X(KEY_REUSED, 422, "idempotency-key-reused", "This Idempotency-Key came with another body")              \
    X(HEADERS, 431, "too-many-headers", "The request has too many headers")                                  \
    X(INTERNAL, 500, "internal", "Something went wrong here")                                                \
    X(NO_METHOD, 501, "unknown-method", "This method is unknown")                                            \
    X(AUDIT, 503, "audit-unavailable", "The audit log can't be written, so nothing is answered")             \
    X(BUSY, 503, "busy", "The service is busy")                                                              \
    X(VERSION, 505, "http-version", "Only HTTP/1.1 and HTTP/1.0 are spoken")

enum rw_problem {
#define X(name, status, slug, title) RW_PROBLEM_##name,
    RW_PROBLEMS(X)
#undef X
        RW_PROBLEM_COUNT
};

unsigned rw_problem_status(enum rw_problem problem);
/* "invalid-record": also the word for it in the audit log. */
const char *rw_problem_slug(enum rw_problem problem);

/* The document as JSON text, malloc'd; NULL when memory ran out. detail and issues may be NULL. */
char *rw_problem_text(enum rw_problem problem, const char *detail, const struct rw_issues *issues,
                      size_t *size);

/* The same from its parts. */
char *rw_problem_json(int status, const char *type, const char *title, const char *detail,
                      const struct rw_issues *issues, size_t *size);

#endif
