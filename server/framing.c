#include "framing.h"

#include <ctype.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>

#include "log.h"

/* ---- request line and headers ---- */

static const struct {
    const char *name;
    enum rw_method method;
} methods[] = {
    {"GET", RW_METHOD_GET},       {"HEAD", RW_METHOD_HEAD},     {"POST", RW_METHOD_POST},
    {"PUT", RW_METHOD_OTHER},     {"PATCH", RW_METHOD_OTHER},   {"DELETE", RW_METHOD_OTHER},
    {"OPTIONS", RW_METHOD_OTHER}, {"CONNECT", RW_METHOD_OTHER}, {"TRACE", RW_METHOD_OTHER},
};

static bool set_method(struct rw_request *request, const char *method) {
    for (size_t i = 0; i < sizeof methods / sizeof methods[0]; i++)
        if (strcmp(method, methods[i].name) == 0) {
            request->method = methods[i].method;
            request->method_name = methods[i].name;
            return true;
        }
    request->method = RW_METHOD_OTHER;
    request->method_name = "-";
    return false;
}

static bool is_token(const char *text) {
    return rw_is_word(text, 256, "!#$%&'*+-.^_`|~");
}

/* Visible ASCII, blanks and tabs. */
static bool is_plain(const char *text) {
    for (; *text; text++)
        if (*text != '\t' && ((unsigned char)*text < 0x20 || (unsigned char)*text > 0x7e))
            return false;
    return true;
}

struct head_walk {
    struct rw_request *request;
    const char *fault;
    size_t count, bytes; /* bytes: of the header lines, each ended by CR LF */
    enum rw_problem problem;
};

static void fault(struct head_walk *walk, const char *text) {
    if (!walk->fault)
        walk->fault = text;
}

static void keep_header(struct head_walk *walk, const char *name, const char *value) {
    static const char *const known[RW_HEADER_COUNT] = {
#define X(id, text) text,
        RW_HEADERS(X)
#undef X
    };
    for (size_t i = 0; i < RW_HEADER_COUNT; i++)
        if (strcasecmp(name, known[i]) == 0) {
            if (walk->request->headers[i])
                fault(walk, "A header that may come once came twice");
            walk->request->headers[i] = value;
        }
}

static enum MHD_Result take_header(void *cls, enum MHD_ValueKind kind, const char *name, const char *value) {
    struct head_walk *walk = cls;
    (void)kind;
    value = value ? value : "";
    walk->count++;
    /* Both stand in the library's buffer as they came, so that what lies between them counts too. */
    walk->bytes += (size_t)(value - name) + strlen(value) + 2;
    if (walk->count > RW_HEADERS_MOST) {
        walk->problem = RW_PROBLEM_HEADERS;
        fault(walk, "More than 64 headers");
        return MHD_NO;
    }
    if (!is_token(name))
        fault(walk, "A header name holds a character that names don't have");
    else if (!is_plain(value))
        fault(walk, "A header value holds a control character");
    else
        keep_header(walk, name, value);
    return MHD_YES;
}

static enum MHD_Result count_argument(void *cls, enum MHD_ValueKind kind, const char *name,
                                      const char *value) {
    size_t *bytes = cls;
    (void)kind;
    *bytes += 1 + strlen(name) + (value ? 1 + strlen(value) : 0);
    return MHD_YES;
}

/* The library cuts lines at a NUL, joins folded lines and takes bare line feeds, all without a word. But it
 * says how long the head was, and that is what its parts come to. */
static bool length_adds_up(struct rw_request *request, const char *target, const char *method,
                           const char *version, const struct head_walk *walk) {
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(request->connection, MHD_CONNECTION_INFO_REQUEST_HEADER_SIZE);
    size_t query = 0;
    MHD_get_connection_values(request->connection, MHD_GET_ARGUMENT_KIND, count_argument, &query);
    size_t whole = strlen(method) + 1 + strlen(target) + query + 1 + strlen(version) + 2 + walk->bytes + 2;
    return info && info->header_size == whole;
}

static bool check_target(const char *target) {
    return target[0] == '/' && strlen(target) < 256 &&
           strspn(target, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/._-") ==
               strlen(target) &&
           !strstr(target, "..");
}

static bool refuse_and_close(struct rw_request *request, enum rw_problem problem, const char *detail) {
    rw_refuse(request, problem, detail, NULL);
    request->reply.close = true;
    return false;
}

/* Digits only, at most ten: the library also takes what follows them. */
static bool read_length(const char *text, size_t *length) {
    size_t digits = strlen(text);
    if (digits == 0 || digits > 10 || strspn(text, "0123456789") != digits)
        return false;
    *length = (size_t)strtoull(text, NULL, 10);
    return true;
}

static bool check_message_length(struct rw_request *request) {
    const char *length = request->headers[RW_HEADER_CONTENT_LENGTH];
    if (request->headers[RW_HEADER_TRANSFER_ENCODING]) {
        if (length)
            return refuse_and_close(request, RW_PROBLEM_MALFORMED,
                                    "Content-Length and Transfer-Encoding together");
        return refuse_and_close(request, RW_PROBLEM_LENGTH, "Transfer-Encoding is not taken");
    }
    if (length && !read_length(length, &request->body_declared))
        return refuse_and_close(request, RW_PROBLEM_MALFORMED, "Content-Length is not a plain number");
    if (request->body_declared > 0 && request->method != RW_METHOD_POST)
        return refuse_and_close(request, RW_PROBLEM_MALFORMED, "Only POST takes a body here");
    const char *expect = request->headers[RW_HEADER_EXPECT];
    if (expect && strcasecmp(expect, "100-continue") != 0)
        return refuse_and_close(request, RW_PROBLEM_EXPECTATION, NULL);
    return true;
}

bool rw_framing_check(struct rw_request *request, const char *target, const char *method,
                      const char *version) {
    struct head_walk walk = {.request = request, .problem = RW_PROBLEM_MALFORMED};
    bool known = set_method(request, method);
    MHD_get_connection_values(request->connection, MHD_HEADER_KIND, take_header, &walk);
    if (strcmp(version, "HTTP/1.1") != 0 && strcmp(version, "HTTP/1.0") != 0)
        return refuse_and_close(request, RW_PROBLEM_VERSION, NULL);
    if (walk.fault)
        return refuse_and_close(request, walk.problem, walk.fault);
    if (!length_adds_up(request, target, method, version, &walk))
        return refuse_and_close(request, RW_PROBLEM_MALFORMED,
                                "The head holds a NUL, a folded line, a bare line feed or stray blanks");
    if (!known)
        return refuse_and_close(request, RW_PROBLEM_NO_METHOD, NULL);
    if (!check_target(target))
        return refuse_and_close(request, RW_PROBLEM_MALFORMED,
                                "The target must be a plain path: letters, digits and /._- only, no escapes");
    if (MHD_get_connection_values(request->connection, MHD_GET_ARGUMENT_KIND, NULL, NULL) > 0)
        return refuse_and_close(request, RW_PROBLEM_MALFORMED, "This service takes no query");
    if (!request->headers[RW_HEADER_HOST])
        return refuse_and_close(request, RW_PROBLEM_MALFORMED, "Host is missing");
    return check_message_length(request);
}

size_t rw_framing_keep_escapes(void *unused, struct MHD_Connection *connection, char *text) {
    (void)unused;
    (void)connection;
    return strlen(text);
}

/* ---- body ---- */

/* "application/json", alone or with charset=utf-8. */
static bool is_json_type(const char *type) {
    size_t length = strlen(RW_JSON);
    if (!type || strncasecmp(type, RW_JSON, length) != 0)
        return false;
    type += length + strspn(type + length, " \t");
    if (*type == '\0')
        return true;
    if (*type != ';')
        return false;
    type += 1 + strspn(type + 1, " \t");
    return strcasecmp(type, "charset=utf-8") == 0 || strcasecmp(type, "charset=\"utf-8\"") == 0;
}

bool rw_framing_check_body(struct rw_request *request) {
    const char *encoding = request->headers[RW_HEADER_CONTENT_ENCODING];
    enum rw_problem problem = RW_PROBLEM_COUNT;
    if (!request->headers[RW_HEADER_CONTENT_LENGTH])
        problem = RW_PROBLEM_LENGTH;
    else if ((request->body_declared > 0 && !is_json_type(request->headers[RW_HEADER_CONTENT_TYPE])) ||
             (encoding && strcasecmp(encoding, "identity") != 0))
        problem = RW_PROBLEM_MEDIA_TYPE;
    else if (request->body_declared > RW_BODY_MOST)
        problem = RW_PROBLEM_TOO_LARGE;
    if (problem == RW_PROBLEM_COUNT)
        return true;
    rw_refuse(request, problem, problem == RW_PROBLEM_TOO_LARGE ? "At most 262144 bytes are taken" : NULL,
              NULL);
    /* A body of unsaid length would be read as the next request. */
    request->reply.close = problem == RW_PROBLEM_LENGTH;
    return false;
}

bool rw_framing_take(struct rw_request *request, const char *piece, size_t size) {
    if (size > request->body_declared - request->body_seen)
        return false;
    request->body_seen += size;
    if (request->answered) /* already refused: let the rest of the body go by */
        return true;
    if (!request->body)
        request->body = malloc(request->body_declared);
    if (!request->body)
        return false;
    memcpy(request->body + request->body_size, piece, size);
    request->body_size += size;
    return true;
}

bool rw_framing_body_whole(const struct rw_request *request) {
    return request->body_seen == request->body_declared;
}

/* ---- lists in headers ---- */

struct list_search {
    const char *header, *wanted;
    bool (*matches)(const char *item, size_t length, const char *wanted);
    bool present, found;
};

static enum MHD_Result search_header(void *cls, enum MHD_ValueKind kind, const char *name,
                                     const char *value) {
    struct list_search *search = cls;
    (void)kind;
    if (!value || strcasecmp(name, search->header) != 0)
        return MHD_YES;
    search->present = true;
    while (*value) {
        value += strspn(value, " \t,");
        size_t length = strcspn(value, ",");
        if (length > 0 && search->matches(value, length, search->wanted))
            search->found = true;
        value += length;
    }
    return MHD_YES;
}

/* Is the weight of a media range zero ("not this one")? */
static bool weighs_nothing(const char *parameters, size_t length) {
    for (size_t i = 0; i + 2 < length; i++)
        if (parameters[i] == ';') {
            size_t at = i + 1;
            while (at < length && (parameters[at] == ' ' || parameters[at] == '\t'))
                at++;
            if (at + 2 < length && tolower((unsigned char)parameters[at]) == 'q' && parameters[at + 1] == '=')
                return strspn(parameters + at + 2, "0.") >= length - at - 2;
        }
    return false;
}

static bool range_admits(const char *item, size_t length, const char *wanted) {
    size_t name = 0;
    while (name < length && !strchr("; \t", item[name]))
        name++;
    size_t main_type = strcspn(wanted, "/") + 1;
    bool admits =
        (name == 3 && strncmp(item, "*/*", 3) == 0) ||
        (name == strlen(wanted) && strncasecmp(item, wanted, name) == 0) ||
        (name == main_type + 1 && strncasecmp(item, wanted, main_type) == 0 && item[main_type] == '*');
    return admits && !weighs_nothing(item + name, length - name);
}

static bool item_equals(const char *item, size_t length, const char *wanted) {
    while (length > 0 && (item[length - 1] == ' ' || item[length - 1] == '\t'))
        length--;
    return length == strlen(wanted) && strncasecmp(item, wanted, length) == 0;
}

bool rw_framing_accepts(struct rw_request *request, const char *type) {
    struct list_search search = {.header = "accept", .wanted = type, .matches = range_admits};
    MHD_get_connection_values(request->connection, MHD_HEADER_KIND, search_header, &search);
    return search.found || !search.present;
}

bool rw_framing_prefers_minimal(struct rw_request *request) {
    struct list_search search = {.header = "prefer", .wanted = "return=minimal", .matches = item_equals};
    MHD_get_connection_values(request->connection, MHD_HEADER_KIND, search_header, &search);
    return search.found;
}

/* ---- connections and their deadlines ---- */

struct rw_slot {
    int fd;
    enum rw_phase phase;
    int64_t deadline_ms;
};

struct rw_connections {
    pthread_mutex_t mutex;
    size_t count;
    struct rw_slot slots[RW_CONNECTIONS_MOST];
};

static int64_t deadline_of(enum rw_phase phase) {
    static const int64_t allowed[] = {0, RW_HEAD_MS, RW_BODY_MS, RW_REPLY_MS};
    return rw_monotonic_ms() + allowed[phase];
}

struct rw_connections *rw_connections_new(void) {
    struct rw_connections *connections = calloc(1, sizeof *connections);
    if (connections)
        pthread_mutex_init(&connections->mutex, NULL);
    return connections;
}

void rw_connections_free(struct rw_connections *connections) {
    if (connections)
        pthread_mutex_destroy(&connections->mutex);
    free(connections);
}

struct rw_slot *rw_connections_add(struct rw_connections *connections, int fd) {
    struct rw_slot *slot = NULL;
    pthread_mutex_lock(&connections->mutex);
    for (size_t i = 0; i < RW_CONNECTIONS_MOST && !slot; i++)
        if (connections->slots[i].phase == RW_PHASE_FREE)
            slot = &connections->slots[i];
    if (slot) {
        *slot = (struct rw_slot){fd, RW_PHASE_HEAD, deadline_of(RW_PHASE_HEAD)};
        connections->count++;
    }
    pthread_mutex_unlock(&connections->mutex);
    return slot;
}

/* The library says a connection is closed before it closes the descriptor, so under the mutex a descriptor
 * in the table is always that of its connection. */
void rw_connections_remove(struct rw_connections *connections, struct rw_slot *slot) {
    if (!slot)
        return;
    pthread_mutex_lock(&connections->mutex);
    slot->phase = RW_PHASE_FREE;
    connections->count--;
    pthread_mutex_unlock(&connections->mutex);
}

void rw_connections_enter(struct rw_connections *connections, struct rw_slot *slot, enum rw_phase phase) {
    if (!slot)
        return;
    pthread_mutex_lock(&connections->mutex);
    slot->phase = phase;
    slot->deadline_ms = deadline_of(phase);
    pthread_mutex_unlock(&connections->mutex);
}

size_t rw_connections_count(struct rw_connections *connections) {
    pthread_mutex_lock(&connections->mutex);
    size_t count = connections->count;
    pthread_mutex_unlock(&connections->mutex);
    return count;
}

void rw_connections_reap(struct rw_connections *connections) {
    static const char *const names[] = {"", "head", "body", "reply"};
    int64_t now = rw_monotonic_ms();
    pthread_mutex_lock(&connections->mutex);
    for (size_t i = 0; i < RW_CONNECTIONS_MOST; i++) {
        struct rw_slot *slot = &connections->slots[i];
        if (slot->phase == RW_PHASE_FREE || now < slot->deadline_ms)
            continue;
        shutdown(slot->fd, SHUT_RDWR);
        rw_log_event("cut_slow_connection", names[slot->phase]);
        slot->deadline_ms = INT64_MAX; /* once is enough; the library will close it */
    }
    pthread_mutex_unlock(&connections->mutex);
}
