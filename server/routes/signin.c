/* POST /signin trades the token of a one-time link for a session cookie; POST /signout ends the session. */
#include <jansson.h>
#include <stdio.h>
#include <string.h>

#include "routes.h"

enum { BODY_MOST = 512 };

/* Exactly {"token": "…"}. */
static bool read_token(const struct rw_request *request, char token[RW_HASH_TEXT]) {
    if (request->body_size == 0 || request->body_size > BODY_MOST)
        return false;
    json_t *body = json_loadb(request->body, request->body_size, JSON_REJECT_DUPLICATES, NULL);
    const char *text = json_string_value(json_object_get(body, "token"));
    bool good = text && json_object_size(body) == 1 && rw_is_hex(text, RW_HASH_TEXT - 1);
    if (good)
        rw_copy(token, RW_HASH_TEXT, text);
    json_decref(body);
    return good;
}

static void set_cookie(const struct rw_service *service, struct rw_request *request, const char *value,
                       int seconds) {
    char cookie[RW_REPLY_VALUE];
    snprintf(cookie, sizeof cookie, RW_COOKIE "=%s; HttpOnly; SameSite=Strict; Path=/; Max-Age=%d%s", value,
             seconds, service->secure ? "; Secure" : "");
    rw_reply_header(request, "Set-Cookie", cookie);
}

void rw_route_signin(struct rw_service *service, struct rw_request *request) {
    static const char welcome[] = "{\"role\":\"clinician\"}";
    char token[RW_HASH_TEXT], cookie[RW_HASH_TEXT];
    if (!read_token(request, token)) {
        rw_refuse(request, RW_PROBLEM_MALFORMED, "The body must be {\"token\": \"…\"}", NULL);
        return;
    }
    if (!rw_session_open(service->sessions, token, cookie, request->actor.id, sizeof request->actor.id)) {
        rw_refuse(request, RW_PROBLEM_UNAUTHENTICATED, "This sign-in link was used or has run out", NULL);
        return;
    }
    rw_reply_fixed(request, 200, RW_JSON, welcome, sizeof welcome - 1);
    set_cookie(service, request, cookie, RW_SESSION_SECONDS);
}

void rw_route_signout(struct rw_service *service, struct rw_request *request) {
    static const char goodbye[] = "{\"role\":null}";
    char cookie[RW_HASH_TEXT];
    rw_access_cookie(request, cookie);
    rw_session_close(service->sessions, cookie);
    rw_reply_fixed(request, 200, RW_JSON, goodbye, sizeof goodbye - 1);
    set_cookie(service, request, "", 0);
}
