#include "request.h"

#include <stdlib.h>
#include <string.h>

static void reset_reply(struct rw_request *request, unsigned status, const char *type) {
    struct rw_reply *reply = &request->reply;
    free(reply->body);
    *reply = (struct rw_reply){.status = status, .type = type, .close = reply->close};
    request->answered = true;
}

void rw_reply_owned(struct rw_request *request, unsigned status, const char *type, char *body, size_t size) {
    if (!body) {
        rw_refuse(request, RW_PROBLEM_INTERNAL, NULL, NULL);
        return;
    }
    reset_reply(request, status, type);
    request->reply.body = body;
    request->reply.size = size;
}

void rw_reply_fixed(struct rw_request *request, unsigned status, const char *type, const char *bytes,
                    size_t size) {
    reset_reply(request, status, type);
    request->reply.fixed = bytes;
    request->reply.size = size;
}

void rw_reply_empty(struct rw_request *request, unsigned status) {
    reset_reply(request, status, NULL);
}

void rw_reply_header(struct rw_request *request, const char *name, const char *value) {
    struct rw_reply *reply = &request->reply;
    if (reply->header_count == RW_REPLY_HEADERS)
        return;
    reply->headers[reply->header_count].name = name;
    if (rw_copy(reply->headers[reply->header_count].value, RW_REPLY_VALUE, value))
        reply->header_count++;
}

void rw_refuse(struct rw_request *request, enum rw_problem problem, const char *detail,
               const struct rw_issues *issues) {
    static const char last_resort[] =
        "{\"type\":\"/problems/internal\",\"title\":\"Something went wrong here\","
        "\"status\":500,\"detail\":\"Out of memory\",\"retryable\":false}";
    size_t size = 0;
    char *text = rw_problem_text(problem, detail, issues, &size);
    if (text)
        rw_reply_owned(request, rw_problem_status(problem), RW_PROBLEM_JSON, text, size);
    else
        rw_reply_fixed(request, 500, RW_PROBLEM_JSON, last_resort, sizeof last_resort - 1);
    if (problem == RW_PROBLEM_UNAUTHENTICATED)
        rw_reply_header(request, "WWW-Authenticate", "Bearer realm=\"rootward\"");
    if (rw_problem_status(problem) == 503)
        rw_reply_header(request, "Retry-After", "5");
    if (request->detail[0] == '\0')
        rw_copy(request->detail, sizeof request->detail, rw_problem_slug(problem));
}

static const char *outcome_of(const struct rw_request *request) {
    if (request->outcome)
        return request->outcome;
    unsigned status = request->reply.status;
    return status < 400    ? "ok"
           : status == 401 ? "unauthenticated"
           : status == 403 ? "forbidden"
           : status < 500  ? "refused"
                           : "failed";
}

struct rw_event rw_request_event(const struct rw_request *request, char digest[RW_DIGEST_TEXT]) {
    digest[0] = '\0';
    if (request->body_size > 0)
        rw_digest_text(request->body, request->body_size, digest);
    return (struct rw_event){
        .request_id = request->id,
        .actor = request->actor.id,
        .action = request->route && request->route->action ? request->route->action : "access",
        .outcome = outcome_of(request),
        .subject = request->subject,
        .method = request->method_name,
        .route = request->route_name,
        .request_digest = digest,
        .answer_digest = request->answer_digest,
        .detail = request->detail,
    };
}
