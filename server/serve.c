/* rootward serve: start, wait for a signal, stop. */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "commands.h"
#include "http.h"
#include "listener.h"
#include "log.h"
#include "options.h"
#include "records.h"

enum { TICK_MS = 250, PEM_MOST = 1 << 20, WORKERS_USUAL = 2 };

struct settings {
    const char *data, *listen, *files, *tls_cert, *tls_key, *origin, *workers_text;
    bool signin;
    unsigned workers;
};

/* All that a running server holds; freed in one place, whatever was reached. */
struct server {
    struct rw_service service;
    struct rw_listener listener;
    struct rw_http *http;
    char *tls_cert, *tls_key;
    size_t tls_key_size;
    char why[200];
};

static bool read_settings(char **words, size_t count, struct settings *settings) {
    const struct rw_option options[] = {
        {"--data", &settings->data, NULL},
        {"--listen", &settings->listen, NULL},
        {"--static", &settings->files, NULL},
        {"--tls-cert", &settings->tls_cert, NULL},
        {"--tls-key", &settings->tls_key, NULL},
        {"--origin", &settings->origin, NULL},
        {"--workers", &settings->workers_text, NULL},
        {"--signin", NULL, &settings->signin},
    };
    if (!rw_options_parse(options, sizeof options / sizeof options[0], words, &count, 0))
        return false;
    settings->workers = WORKERS_USUAL;
    const char *fault = !settings->data                             ? "serve needs --data DIR"
                        : !settings->tls_cert != !settings->tls_key ? "--tls-cert and --tls-key go together"
                        : settings->workers_text && !rw_option_number(settings->workers_text, 1,
                                                                      RW_BENCHES_MOST, &settings->workers)
                            ? "--workers takes a number from 1 to 64"
                            : NULL;
    if (fault)
        fprintf(stderr, "rootward: %s\n", fault);
    return !fault;
}

static char *read_pem(const char *path, size_t *size) {
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    char *text = fd >= 0 ? rw_read_all(fd, PEM_MOST, size) : NULL;
    if (fd >= 0)
        close(fd);
    return text;
}

/* The origin a proxy shows to browsers: scheme, host, perhaps a port, and nothing behind. */
static bool add_origin(struct rw_service *service, const char *origin) {
    bool secure = strncmp(origin, "https://", 8) == 0;
    if (!secure && strncmp(origin, "http://", 7) != 0)
        return false;
    const char *host = origin + (secure ? 8 : 7);
    service->secure |= secure;
    return rw_is_word(host, 100, ".-:[]") && rw_names_add(&service->names, secure ? "https" : "http", host);
}

/* Clients leave the port out of Host when it is the scheme's own. */
static bool add_name(struct server *server, const char *scheme, const char *host) {
    struct rw_names *names = &server->service.names;
    char with_port[RW_NAME_TEXT];
    bool usual = server->listener.port == (strcmp(scheme, "https") == 0 ? 443 : 80);
    snprintf(with_port, sizeof with_port, "%s:%u", host, server->listener.port);
    return rw_names_add(names, scheme, with_port) && (!usual || rw_names_add(names, scheme, host));
}

/* The names under which loopback clients ask, and the address itself. */
static bool add_names(struct server *server, const struct settings *settings) {
    const char *hosts[] = {"127.0.0.1", "localhost", "[::1]", server->listener.host};
    const char *scheme = settings->tls_cert ? "https" : "http";
    for (size_t i = 0; i < sizeof hosts / sizeof hosts[0]; i++)
        if (!add_name(server, scheme, hosts[i]))
            return false;
    server->service.secure = settings->tls_cert != NULL;
    if (!settings->origin || add_origin(&server->service, settings->origin))
        return true;
    snprintf(server->why, sizeof server->why, "--origin must be like https://clinic.example or with a port");
    return false;
}

static bool load_tls(struct server *server, const struct settings *settings) {
    size_t size = 0;
    if (!settings->tls_cert)
        return true;
    server->tls_cert = read_pem(settings->tls_cert, &size);
    server->tls_key = read_pem(settings->tls_key, &server->tls_key_size);
    if (server->tls_cert && server->tls_key)
        return true;
    snprintf(server->why, sizeof server->why, "the certificate or its key can't be read: %s",
             strerror(errno));
    return false;
}

static bool load_files(struct server *server, const char *directory) {
    const char *usual = "static";
    if (!directory && access(usual, R_OK | X_OK) != 0)
        return true;
    server->service.files = rw_files_load(directory ? directory : usual, server->why, sizeof server->why);
    return server->service.files != NULL;
}

static bool make_parts(struct server *server, const struct settings *settings) {
    struct rw_service *service = &server->service;
    if (!load_tls(server, settings) || !load_files(server, settings->files))
        return false;
    service->model = rw_model_json(&service->model_size);
    service->vocabulary = rw_vocabulary_json(&service->vocabulary_size);
    service->sessions = rw_sessions_new();
    service->connections = rw_connections_new();
    service->pool = rw_pool_new(settings->workers);
    if (service->model && service->vocabulary && service->sessions && service->connections && service->pool)
        return true;
    snprintf(server->why, sizeof server->why, "out of memory");
    return false;
}

static bool audit(struct server *server, const char *action) {
    char detail[120];
    snprintf(detail, sizeof detail, "listen=%s:%u tls=%s", server->listener.host, server->listener.port,
             server->tls_cert ? "yes" : "no");
    const struct rw_event event = {.actor = "service", .action = action, .outcome = "ok", .detail = detail};
    if (rw_audit_append(server->service.database, &event))
        return true;
    snprintf(server->why, sizeof server->why, "the audit log can't be written");
    return false;
}

/* The head of the chain goes to the log too, which usually lives elsewhere: it shows a cut-off end. */
static void log_head(struct server *server) {
    struct rw_audit_head head;
    char text[120];
    int rc = rw_audit_head(rw_read_begin(server->service.database), &head);
    rw_read_end(server->service.database);
    snprintf(text, sizeof text, "entry=%" PRId64 " hash=%s", head.seq, head.hash);
    if (rc == SQLITE_OK)
        rw_log_event("audit_head", text);
}

/* The entry "start" comes before anything can be answered. */
static bool start_http(struct server *server, unsigned workers) {
    const struct rw_http_options options = {.listener = server->listener.fd,
                                            .workers = workers,
                                            .tls_cert = server->tls_cert,
                                            .tls_key = server->tls_key};
    if (!audit(server, "start"))
        return false;
    server->http = rw_http_start(&server->service, &options);
    if (server->http)
        return true;
    audit(server, "stop");
    snprintf(server->why, sizeof server->why,
             "the HTTP library won't start (version, or certificate and key)");
    return false;
}

static bool start(struct server *server, const struct settings *settings) {
    const char *listen = settings->listen ? settings->listen : "127.0.0.1:8440";
    if (!make_parts(server, settings) ||
        !rw_listener_open(listen, !settings->tls_cert, &server->listener, server->why, sizeof server->why))
        return false;
    if (!add_names(server, settings) ||
        rw_database_open(settings->data, RW_OPEN_SERVE, &server->service.database, server->why,
                         sizeof server->why) != 0 ||
        !start_http(server, settings->workers)) {
        close(server->listener.fd);
        return false;
    }
    /* The first line on stderr: programs read the port from it. */
    fprintf(stderr, "listening on %s://%s:%u\n", server->tls_cert ? "https" : "http", server->listener.host,
            server->listener.port);
    log_head(server);
    if (!server->service.files)
        rw_log_event("no_static_files", "the page is not served");
    return true;
}

static void print_link(struct server *server, const struct settings *settings) {
    char token[RW_HASH_TEXT];
    const char *scheme = server->tls_cert ? "https" : "http";
    rw_sessions_link(server->service.sessions, token);
    /* After "#", so that no server, proxy or log sees the token in a request line. */
    if (settings->origin)
        printf("sign in: %s/#signin=%s\n", settings->origin, token);
    else
        printf("sign in: %s://%s:%u/#signin=%s\n", scheme, server->listener.host, server->listener.port,
               token);
    fflush(stdout);
    sodium_memzero(token, sizeof token);
}

static void wait_for_stop(struct server *server, const struct settings *settings, const sigset_t *signals) {
    const struct timespec tick = {0, TICK_MS * 1000000L};
    for (;;) {
        int signal_number = sigtimedwait(signals, NULL, &tick);
        if (signal_number == SIGTERM || signal_number == SIGINT || signal_number == SIGHUP)
            return;
        if (signal_number == SIGUSR1 && settings->signin)
            print_link(server, settings);
        rw_http_tick(&server->service);
    }
}

static void release(struct server *server) {
    struct rw_service *service = &server->service;
    rw_pool_free(service->pool);
    rw_connections_free(service->connections);
    rw_sessions_free(service->sessions);
    rw_files_free(service->files);
    free(service->model);
    free(service->vocabulary);
    free(server->tls_cert);
    if (server->tls_key)
        sodium_memzero(server->tls_key, server->tls_key_size);
    free(server->tls_key);
}

int rw_command_serve(char **words, size_t count) {
    struct settings settings = {0};
    struct server server = {0};
    sigset_t signals;
    if (!read_settings(words, count, &settings))
        return RW_EXIT_USAGE;
    /* Blocked before the first thread starts, so that only the loop below gets them. */
    sigemptyset(&signals);
    sigaddset(&signals, SIGTERM);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGHUP);
    sigaddset(&signals, SIGUSR1);
    pthread_sigmask(SIG_BLOCK, &signals, NULL);

    bool good = start(&server, &settings);
    if (good) {
        if (settings.signin)
            print_link(&server, &settings);
        wait_for_stop(&server, &settings, &signals);
        rw_http_stop(server.http, &server.service);
        good = audit(&server, "stop");
        log_head(&server);
    }
    if (rw_database_close(server.service.database) != 0) {
        good = false;
        snprintf(server.why, sizeof server.why, "the database did not close cleanly");
    }
    if (!good)
        fprintf(stderr, "rootward: %s\n", server.why);
    release(&server);
    return good ? RW_EXIT_OK : RW_EXIT_FAILED;
}
