#include "http.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "log.h"
#include "routing.h"

enum {
    DRAIN_MS = 10 * 1000,
    TICK_MS = 20,
    SWALLOW_MOST = 2 * RW_BODY_MOST /* of a refused body, so that the client gets to read the answer */
};

/* What framing.c was measured against. */
#define OLDEST_LIBRARY "0.9.75"

struct rw_http {
    struct MHD_Daemon *daemon;
};

/* ---- replies ---- */

/* The one place for headers that every reply carries. */
static void add_common_headers(struct MHD_Response *response, const struct rw_request *request) {
    static const char *const always[][2] = {
        {"Content-Security-Policy",
         "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
         "connect-src 'self'; form-action 'self'; base-uri 'none'; "
         "frame-ancestors 'none'"},
        {"X-Content-Type-Options", "nosniff"},
        {"Referrer-Policy", "no-referrer"},
        {"Cross-Origin-Opener-Policy", "same-origin"},
        {"Cross-Origin-Resource-Policy", "same-origin"},
    };
    for (size_t i = 0; i < sizeof always / sizeof always[0]; i++)
        MHD_add_response_header(response, always[i][0], always[i][1]);
    MHD_add_response_header(response, "Cache-Control", request->reply.keep ? "no-cache" : "no-store");
    MHD_add_response_header(response, "X-Request-Id", request->id);
}

static enum MHD_Result send_reply(struct rw_service *service, struct rw_request *request) {
    struct rw_reply *reply = &request->reply;
    struct MHD_Response *response;
    if (reply->body) {
        response = MHD_create_response_from_buffer(reply->size, reply->body, MHD_RESPMEM_MUST_FREE);
        if (response)
            reply->body = NULL;
    } else {
        /* The library wants a pointer that is not const; with PERSISTENT it only reads. */
        union {
            const char *in;
            void *out;
        } bytes = {.in = reply->fixed ? reply->fixed : ""};
        response = MHD_create_response_from_buffer(reply->size, bytes.out, MHD_RESPMEM_PERSISTENT);
    }
    if (!response)
        return MHD_NO;
    add_common_headers(response, request);
    if (reply->type)
        MHD_add_response_header(response, "Content-Type", reply->type);
    for (size_t i = 0; i < reply->header_count; i++)
        MHD_add_response_header(response, reply->headers[i].name, reply->headers[i].value);
    if (reply->close || atomic_load(&service->draining))
        MHD_add_response_header(response, "Connection", "close");
    enum MHD_Result queued = MHD_queue_response(request->connection, reply->status, response);
    MHD_destroy_response(response);
    return queued;
}

/* Nothing answers before its entry is durable. A 503 has none: it says that the log can't be written. */
static void audit(struct rw_service *service, struct rw_request *request) {
    char digest[RW_DIGEST_TEXT];
    unsigned status = request->reply.status;
    bool wanted = (request->route && request->route->action) || status == 401 || status == 403;
    if (request->audited || !wanted || status == 503)
        return;
    request->audited = true;
    const struct rw_event event = rw_request_event(request, digest);
    if (!rw_audit_append(service->database, &event))
        rw_refuse(request, RW_PROBLEM_AUDIT, NULL, NULL);
}

static enum MHD_Result finish(struct rw_service *service, struct rw_request *request) {
    rw_connections_enter(service->connections, request->slot, RW_PHASE_REPLY);
    if (!request->answered)
        request->route->handle(service, request);
    audit(service, request);
    return send_reply(service, request);
}

/* ---- the library's callbacks ---- */

static struct rw_slot *slot_of(struct MHD_Connection *connection) {
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    return info ? info->socket_context : NULL;
}

/* May the answer wait until the body has gone by? Only for bodies of bearable size that are on their way. */
static bool worth_swallowing(const struct rw_request *request) {
    return !request->reply.close && !request->headers[RW_HEADER_EXPECT] &&
           request->body_declared <= SWALLOW_MOST;
}

static enum MHD_Result begin(struct rw_service *service, struct MHD_Connection *connection,
                             const char *target, const char *method, const char *version, void **memory) {
    struct rw_request *request = calloc(1, sizeof *request);
    if (!request)
        return MHD_NO;
    *memory = request;
    atomic_fetch_add(&service->in_flight, 1);
    request->connection = connection;
    request->slot = slot_of(connection);
    request->started_ms = rw_monotonic_ms();
    request->route_name = "-";
    rw_copy(request->actor.id, sizeof request->actor.id, "anonymous");
    rw_random_hex(request->id, (RW_ID_TEXT - 1) / 2);
    rw_connections_enter(service->connections, request->slot, RW_PHASE_BODY);

    if (rw_framing_check(request, target, method, version))
        rw_routing_admit(service, request, target);
    /* A reply queued here, before the body, makes the library end the connection. */
    if (request->answered && !worth_swallowing(request))
        return finish(service, request);
    return MHD_YES;
}

static enum MHD_Result on_request(void *cls, struct MHD_Connection *connection, const char *target,
                                  const char *method, const char *version, const char *piece,
                                  size_t *piece_size, void **memory) {
    struct rw_service *service = cls;
    struct rw_request *request = *memory;
    if (!request)
        return begin(service, connection, target, method, version, memory);
    if (*piece_size > 0) {
        bool taken = rw_framing_take(request, piece, *piece_size);
        *piece_size = 0;
        return taken ? MHD_YES : MHD_NO;
    }
    if (!request->answered && !rw_framing_body_whole(request))
        return MHD_NO;
    return finish(service, request);
}

static const char *end_word(enum MHD_RequestTerminationCode code) {
    return code == MHD_REQUEST_TERMINATED_COMPLETED_OK      ? "sent"
           : code == MHD_REQUEST_TERMINATED_TIMEOUT_REACHED ? "timeout"
           : code == MHD_REQUEST_TERMINATED_DAEMON_SHUTDOWN ? "shutdown"
           : code == MHD_REQUEST_TERMINATED_CLIENT_ABORT    ? "client-left"
                                                            : "error";
}

static void on_completed(void *cls, struct MHD_Connection *connection, void **memory,
                         enum MHD_RequestTerminationCode code) {
    struct rw_service *service = cls;
    struct rw_request *request = *memory;
    (void)connection;
    if (!request)
        return;
    *memory = NULL;
    bool quiet = request->route && request->route->quiet && request->reply.status < 400;
    const struct rw_access_line line = {
        .request_id = request->id,
        .actor = request->actor.id,
        .method = request->method_name,
        .route = request->route_name,
        .end = end_word(code),
        .status = request->reply.status,
        .milliseconds = rw_monotonic_ms() - request->started_ms,
        .bytes_in = request->body_seen,
        .bytes_out = request->reply.size,
    };
    if (!quiet)
        rw_log_access(&line);
    rw_connections_enter(service->connections, request->slot, RW_PHASE_HEAD);
    free(request->body);
    free(request->reply.body);
    free(request);
    atomic_fetch_sub(&service->in_flight, 1);
}

static void on_connection(void *cls, struct MHD_Connection *connection, void **context,
                          enum MHD_ConnectionNotificationCode code) {
    struct rw_service *service = cls;
    if (code == MHD_CONNECTION_NOTIFY_CLOSED) {
        rw_connections_remove(service->connections, *context);
        *context = NULL;
        return;
    }
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    *context = info ? rw_connections_add(service->connections, info->connect_fd) : NULL;
}

/* What the library refuses by itself shows here alone. The format is its own text; the arguments may hold
 * what a client sent, and stay out of the log. */
static void on_library_message(void *cls, const char *format, va_list arguments) {
    (void)cls;
    (void)arguments;
    rw_log_event("http_library", format);
}

/* ---- start and stop ---- */

/* Refuses newcomers while draining. MHD_quiesce_daemon would do it too, but in 0.9.75 it and a worker may
 * both take the listening socket out of the worker's epoll set, and the second to try ends the process. */
static enum MHD_Result on_newcomer(void *cls, const struct sockaddr *address, socklen_t size) {
    struct rw_service *service = cls;
    (void)address;
    (void)size;
    return atomic_load(&service->draining) ? MHD_NO : MHD_YES;
}

static struct MHD_Daemon *start_daemon(struct rw_service *service, const struct rw_http_options *options) {
    unsigned flags = MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_EPOLL | MHD_USE_ITC | MHD_USE_ERROR_LOG;
    struct MHD_OptionItem tls[] = {
        {MHD_OPTION_END, 0, NULL},
        {MHD_OPTION_END, 0, NULL},
        {MHD_OPTION_END, 0, NULL},
        {MHD_OPTION_END, 0, NULL},
    };
    union {
        const char *in;
        void *out;
    } cert = {.in = options->tls_cert}, key = {.in = options->tls_key},
      priorities = {.in = "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"};
    if (options->tls_cert) {
        flags |= MHD_USE_TLS;
        tls[0] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_MEM_CERT, 0, cert.out};
        tls[1] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_MEM_KEY, 0, key.out};
        tls[2] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_PRIORITIES, 0, priorities.out};
    }
    return MHD_start_daemon(
        flags, 0, on_newcomer, service, on_request, service,
        /* First, so that messages about the options below come through it too. */
        MHD_OPTION_EXTERNAL_LOGGER, on_library_message, NULL, MHD_OPTION_LISTEN_SOCKET, options->listener,
        MHD_OPTION_NOTIFY_COMPLETED, on_completed, service, MHD_OPTION_NOTIFY_CONNECTION, on_connection,
        service, MHD_OPTION_UNESCAPE_CALLBACK, rw_framing_keep_escapes, NULL, MHD_OPTION_STRICT_FOR_CLIENT, 1,
        MHD_OPTION_SIGPIPE_HANDLED_BY_APP, 1, MHD_OPTION_THREAD_POOL_SIZE, options->workers,
        MHD_OPTION_CONNECTION_LIMIT, (unsigned)RW_CONNECTIONS_MOST, MHD_OPTION_CONNECTION_TIMEOUT,
        (unsigned)RW_IDLE_SECONDS, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)RW_HEAD_BYTES,
        MHD_OPTION_ARRAY, tls, MHD_OPTION_END);
}

struct rw_http *rw_http_start(struct rw_service *service, const struct rw_http_options *options) {
    bool known = strverscmp(MHD_get_version(), OLDEST_LIBRARY) >= 0;
    struct rw_http *http = known ? calloc(1, sizeof *http) : NULL;
    if (!http)
        return NULL;
    http->daemon = start_daemon(service, options);
    if (http->daemon)
        return http;
    free(http);
    return NULL;
}

void rw_http_tick(struct rw_service *service) {
    rw_connections_reap(service->connections);
}

void rw_http_stop(struct rw_http *http, struct rw_service *service) {
    atomic_store(&service->draining, true);
    int64_t deadline = rw_monotonic_ms() + DRAIN_MS;
    while (atomic_load(&service->in_flight) > 0 && rw_monotonic_ms() < deadline) {
        struct timespec pause = {0, TICK_MS * 1000000L};
        nanosleep(&pause, NULL);
        rw_http_tick(service);
    }
    MHD_stop_daemon(http->daemon); /* closes the listening socket as well */
    free(http);
}
