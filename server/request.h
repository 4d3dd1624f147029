/* One request and its reply, from the first header to the last byte sent. */
#ifndef ROOTWARD_REQUEST_H
#define ROOTWARD_REQUEST_H

#include <microhttpd.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "archive.h"
#include "problem.h"
#include "text.h"

struct rw_service;
struct rw_request;

enum { RW_BODY_MOST = 256 * 1024 };

/* Roles, as bits so that a route can list who may use it. */
enum rw_role {
    RW_ROLE_NONE = 0,
    RW_ROLE_CLINICIAN = 1,
    RW_ROLE_INTEGRATION = 2,
    RW_ROLE_AUDITOR = 4,
    RW_ROLE_ANY = 7
};

struct rw_actor {
    char id[40]; /* "key-…", "session-…" or "anonymous" */
    enum rw_role role;
    bool session;
};

/* Methods, as bits so that 405 can list what a path serves. */
enum rw_method { RW_METHOD_OTHER = 0, RW_METHOD_GET = 1, RW_METHOD_HEAD = 2, RW_METHOD_POST = 4 };

/* Headers that may come once only. Their values live as long as the request. */
#define RW_HEADERS(X)                                                                                        \
    X(HOST, "host")                                                                                          \
    X(CONTENT_LENGTH, "content-length")                                                                      \
    X(CONTENT_TYPE, "content-type")                                                                          \
    X(CONTENT_ENCODING, "content-encoding")                                                                  \
    X(TRANSFER_ENCODING, "transfer-encoding")                                                                \
    X(EXPECT, "expect")                                                                                      \
    X(AUTHORIZATION, "authorization")                                                                        \
    X(COOKIE, "cookie")                                                                                      \
    X(ORIGIN, "origin")                                                                                      \
    X(FETCH_SITE, "sec-fetch-site")                                                                          \
    X(IDEMPOTENCY_KEY, "idempotency-key")                                                                    \
    X(IF_NONE_MATCH, "if-none-match")
enum rw_header {
#define X(name, text) RW_HEADER_##name,
    RW_HEADERS(X)
#undef X
        RW_HEADER_COUNT
};

enum { RW_REPLY_HEADERS = 6, RW_REPLY_VALUE = 256 };

struct rw_reply {
    unsigned status;
    const char *type;  /* Content-Type; NULL: no body */
    char *body;        /* malloc'd, the reply's own … */
    const char *fixed; /* … or bytes that outlive the daemon; `body` goes first */
    size_t size;
    bool keep;  /* may be stored by the client after asking again (static files) */
    bool close; /* the connection ends with this reply */
    size_t header_count;
    struct {
        const char *name;
        char value[RW_REPLY_VALUE];
    } headers[RW_REPLY_HEADERS];
};

/* One line of the routing table. */
struct rw_route {
    enum rw_method method;
    const char *path;   /* may hold one "{id}" or "{subject}" */
    enum rw_role roles; /* NONE: open to all */
    bool open_locally;  /* no key needed from loopback */
    bool quiet;         /* not logged while all is well */
    const char *action; /* word in the audit log; NULL: not audited, refused authorisation apart */
    void (*handle)(struct rw_service *service, struct rw_request *request);
};

struct rw_request {
    struct MHD_Connection *connection;
    struct rw_slot *slot;
    const struct rw_route *route; /* NULL: none matched */
    const char *route_name;       /* template for logs, "-" when none matched */
    enum rw_method method;
    const char *method_name;
    const char *headers[RW_HEADER_COUNT];
    char id[RW_ID_TEXT];
    char path_id[RW_ID_TEXT]; /* the {id} of the path */
    const struct rw_file *file;
    struct rw_actor actor;

    char *body;
    size_t body_size, body_declared, body_seen;
    int64_t started_ms;

    bool answered; /* `reply` is settled */
    struct rw_reply reply;

    /* For the audit entry. outcome NULL: derived from the status. */
    bool audited;
    const char *outcome;
    char subject[65]; /* of the record, or the {subject} of the path */
    char detail[120];
    char answer_digest[RW_DIGEST_TEXT];
};

/* The reply becomes a problem document. `detail` and `issues` may be NULL. */
void rw_refuse(struct rw_request *request, enum rw_problem problem, const char *detail,
               const struct rw_issues *issues);

/* The reply becomes these bytes; rw_reply_owned takes a malloc'd body over, NULL gives a 500. */
void rw_reply_owned(struct rw_request *request, unsigned status, const char *type, char *body, size_t size);
void rw_reply_fixed(struct rw_request *request, unsigned status, const char *type, const char *bytes,
                    size_t size);
void rw_reply_empty(struct rw_request *request, unsigned status);
void rw_reply_header(struct rw_request *request, const char *name, const char *value);

/* What the audit says of a request; `digest` holds the digest of its body. */
struct rw_event rw_request_event(const struct rw_request *request, char digest[RW_DIGEST_TEXT]);

#define RW_JSON         "application/json"
#define RW_PROBLEM_JSON "application/problem+json"

#endif
