#include "routing.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

#include "routes/routes.h"

static const struct rw_route routes[] = {
    {.method = RW_METHOD_POST,
     .path = "/v1/assessments",
     .roles = RW_ROLE_CLINICIAN | RW_ROLE_INTEGRATION,
     .action = RW_ACTION_ASSESS,
     .handle = rw_route_assess},
    {.method = RW_METHOD_GET,
     .path = "/v1/assessments/{id}",
     .roles = RW_ROLE_CLINICIAN | RW_ROLE_AUDITOR,
     .action = "read",
     .handle = rw_route_assessment},
    {.method = RW_METHOD_GET,
     .path = "/v1/subjects/{subject}/assessments",
     .roles = RW_ROLE_CLINICIAN,
     .action = "read",
     .handle = rw_route_subject},
    {.method = RW_METHOD_POST,
     .path = "/v1/records/check",
     .roles = RW_ROLE_ANY,
     .action = "check",
     .handle = rw_route_check},
    {.method = RW_METHOD_GET, .path = "/v1/model", .roles = RW_ROLE_ANY, .handle = rw_route_model},
    {.method = RW_METHOD_GET, .path = "/v1/vocabulary", .roles = RW_ROLE_ANY, .handle = rw_route_vocabulary},
    {.method = RW_METHOD_POST, .path = "/signin", .action = "signin", .handle = rw_route_signin},
    {.method = RW_METHOD_POST,
     .path = "/signout",
     .roles = RW_ROLE_CLINICIAN,
     .action = "signout",
     .handle = rw_route_signout},
    {.method = RW_METHOD_GET,
     .path = "/healthz",
     .roles = RW_ROLE_ANY,
     .open_locally = true,
     .quiet = true,
     .handle = rw_route_healthz},
    {.method = RW_METHOD_GET,
     .path = "/readyz",
     .roles = RW_ROLE_ANY,
     .open_locally = true,
     .quiet = true,
     .handle = rw_route_readyz},
};

/* Any path of the list of static files. */
static const struct rw_route asset_route = {
    .method = RW_METHOD_GET, .path = "static", .handle = rw_route_asset};

/* Exact, or with one part in braces: "{id}" stands for an id of ours, "{subject}" for a pseudonym. */
static bool path_fits(const struct rw_route *route, const char *path, struct rw_request *request) {
    const size_t before = strcspn(route->path, "{"), length = strlen(path);
    if (route->path[before] == '\0')
        return strcmp(route->path, path) == 0;
    const char *part = route->path + before, *rest = part + strcspn(part, "}") + 1;
    const size_t after = strlen(rest), size = length - before - after;
    char given[sizeof request->subject];
    if (length <= before + after || size >= sizeof given || strncmp(route->path, path, before) != 0 ||
        strcmp(path + before + size, rest) != 0)
        return false;
    memcpy(given, path + before, size);
    given[size] = '\0';
    if (strncmp(part, "{id}", 4) == 0)
        return rw_is_hex(given, RW_ID_TEXT - 1) && rw_copy(request->path_id, sizeof request->path_id, given);
    return rw_is_word(given, sizeof given - 1, "._-") &&
           rw_copy(request->subject, sizeof request->subject, given);
}

static void refuse_method(struct rw_request *request, unsigned served) {
    char allow[32];
    snprintf(allow, sizeof allow, "%s%s%s", served & RW_METHOD_GET ? "GET, HEAD" : "",
             served == (RW_METHOD_GET | RW_METHOD_POST) ? ", " : "", served & RW_METHOD_POST ? "POST" : "");
    rw_refuse(request, RW_PROBLEM_METHOD, NULL, NULL);
    rw_reply_header(request, "Allow", allow);
}

static bool consider(struct rw_request *request, const struct rw_route *route, unsigned *served) {
    enum rw_method asked = request->method == RW_METHOD_HEAD ? RW_METHOD_GET : request->method;
    *served |= route->method;
    request->route_name = route->path;
    if (route->method == asked)
        request->route = route;
    return request->route != NULL;
}

static bool find_route(struct rw_service *service, struct rw_request *request, const char *path) {
    unsigned served = 0;
    for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++)
        if (path_fits(&routes[i], path, request) && consider(request, &routes[i], &served))
            return true;
    request->file = rw_files_find(service->files, path);
    if (request->file && consider(request, &asset_route, &served))
        return true;
    if (served)
        refuse_method(request, served);
    else
        rw_refuse(request, RW_PROBLEM_NOT_FOUND, NULL, NULL);
    return false;
}

static bool from_loopback(struct rw_request *request) {
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(request->connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    if (!info || !info->client_addr)
        return false;
    if (info->client_addr->sa_family == AF_INET) {
        struct sockaddr_in peer;
        memcpy(&peer, info->client_addr, sizeof peer);
        return ntohl(peer.sin_addr.s_addr) >> 24 == 127;
    }
    if (info->client_addr->sa_family == AF_INET6) {
        struct sockaddr_in6 peer;
        memcpy(&peer, info->client_addr, sizeof peer);
        return IN6_IS_ADDR_LOOPBACK(&peer.sin6_addr);
    }
    return false;
}

static bool check_access(struct rw_service *service, struct rw_request *request) {
    const struct rw_route *route = request->route;
    if (route->roles == RW_ROLE_NONE || (route->open_locally && from_loopback(request)))
        return true;
    switch (rw_access_identify(service->database, service->sessions, request)) {
    case RW_ACCESS_OK:
        break;
    case RW_ACCESS_NONE:
        rw_refuse(request, RW_PROBLEM_UNAUTHENTICATED, "No key and no session came with the request", NULL);
        return false;
    case RW_ACCESS_BAD:
        rw_refuse(request, RW_PROBLEM_UNAUTHENTICATED, "The key or session is unknown or has run out", NULL);
        return false;
    case RW_ACCESS_REVOKED:
        rw_copy(request->detail, sizeof request->detail, "revoked key");
        rw_refuse(request, RW_PROBLEM_UNAUTHENTICATED, "This key was revoked", NULL);
        return false;
    case RW_ACCESS_FAILED:
        rw_refuse(request, RW_PROBLEM_AUDIT, "The keys can't be read", NULL);
        return false;
    }
    if (request->actor.role & route->roles)
        return true;
    rw_refuse(request, RW_PROBLEM_FORBIDDEN, NULL, NULL);
    return false;
}

void rw_routing_admit(struct rw_service *service, struct rw_request *request, const char *path) {
    if (rw_connections_count(service->connections) > RW_CONNECTIONS_SOFT) {
        rw_refuse(request, RW_PROBLEM_BUSY, "Too many connections", NULL);
        request->reply.close = true;
        return;
    }
    if (!rw_access_host_known(&service->names, request)) {
        rw_refuse(request, RW_PROBLEM_MALFORMED, "This service does not go by the name in Host", NULL);
        request->reply.close = true;
        return;
    }
    if (!find_route(service, request, path) || request->route == &asset_route)
        return;
    if (!check_access(service, request))
        return;
    if (!rw_access_same_site(&service->names, request)) {
        rw_refuse(request, RW_PROBLEM_CROSS_SITE, NULL, NULL);
        return;
    }
    if (!rw_framing_accepts(request, RW_JSON)) {
        rw_refuse(request, RW_PROBLEM_NOT_ACCEPTABLE, NULL, NULL);
        return;
    }
    if (request->method == RW_METHOD_POST)
        rw_framing_check_body(request);
}
