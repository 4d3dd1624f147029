#include "client.h"

#include <arpa/inet.h>
#include <curl/curl.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

enum { ANSWER_S = 60 };

/* ---- HTTP ---- */

struct growing {
    char *text;
    size_t size;
};

static size_t take_bytes(char *bytes, size_t one, size_t count, void *cls) {
    struct growing *to = cls;
    char *text = realloc(to->text, to->size + one * count + 1);
    if (!text)
        return 0;
    memcpy(text + to->size, bytes, one * count);
    to->text = text;
    to->size += one * count;
    text[to->size] = '\0';
    return one * count;
}

static struct curl_slist *header_lines(const struct ask *ask) {
    struct curl_slist *lines = curl_slist_append(NULL, "Expect:");
    if (ask->key)
        lines = curl_slist_append(lines, text_of("Authorization: Bearer %s", ask->key));
    if (ask->body && (!ask->type || ask->type[0]))
        lines =
            curl_slist_append(lines, text_of("Content-Type: %s", ask->type ? ask->type : "application/json"));
    else
        lines = curl_slist_append(lines, "Content-Type:");
    for (size_t i = 0; i < sizeof ask->headers / sizeof ask->headers[0] && ask->headers[i]; i++)
        lines = curl_slist_append(lines, ask->headers[i]);
    return lines;
}

struct reply http(const struct service *s, const char *method, const char *path, const struct ask *ask) {
    static const struct ask nothing = {0};
    struct growing head = {0}, body = {0};
    struct reply reply = {0};
    ask = ask ? ask : &nothing;
    CURL *curl = curl_easy_init();
    struct curl_slist *lines = header_lines(ask);
    cr_assert(curl && lines);
    curl_easy_setopt(curl, CURLOPT_URL, text_of("http://%s%s", s->host, path));
    curl_easy_setopt(curl, CURLOPT_PATH_AS_IS, 1L);
    curl_easy_setopt(curl, CURLOPT_PROXY, "");
    curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(curl, CURLOPT_TIMEOUT, (long)ANSWER_S);
    curl_easy_setopt(curl, CURLOPT_HTTPHEADER, lines);
    curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, take_bytes);
    curl_easy_setopt(curl, CURLOPT_WRITEDATA, &body);
    curl_easy_setopt(curl, CURLOPT_HEADERFUNCTION, take_bytes);
    curl_easy_setopt(curl, CURLOPT_HEADERDATA, &head);
    if (ask->body) {
        curl_easy_setopt(curl, CURLOPT_POSTFIELDSIZE, (long)(ask->size ? ask->size : strlen(ask->body)));
        curl_easy_setopt(curl, CURLOPT_POSTFIELDS, ask->body);
    }
    if (strcmp(method, "HEAD") == 0)
        curl_easy_setopt(curl, CURLOPT_NOBODY, 1L);
    else
        curl_easy_setopt(curl, CURLOPT_CUSTOMREQUEST, method);
    CURLcode code = curl_easy_perform(curl);
    curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &reply.status);
    curl_easy_cleanup(curl);
    curl_slist_free_all(lines);
    reply.head = keep(head.text ? head.text : strdup(""));
    reply.body = keep(body.text ? body.text : strdup(""));
    reply.size = body.size;
    cr_assert_eq(code, CURLE_OK, "%s %s: %s", method, path, curl_easy_strerror(code));
    return reply;
}

struct reply http_get(const struct service *s, const char *path, const char *key) {
    return http(s, "GET", path, &(struct ask){.key = key});
}

struct reply http_post(const struct service *s, const char *path, const char *key, const char *body) {
    return http(s, "POST", path, &(struct ask){.key = key, .body = body});
}

const char *header_of(const struct reply *reply, const char *name) {
    for (const char *line = reply->head; (line = strstr(line, "\r\n"));) {
        line += 2;
        if (strncasecmp(line, name, strlen(name)) == 0 && line[strlen(name)] == ':') {
            line += strlen(name) + 1;
            line += strspn(line, " ");
            return keep(strndup(line, strcspn(line, "\r")));
        }
    }
    return "";
}

static void free_json(void *value) {
    json_decref(value);
}

const json_t *json_text(const char *text, size_t size) {
    json_error_t error;
    json_t *value = json_loadb(text, size, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    cr_assert_not_null(value, "not JSON (%s): %s", error.text, text);
    return keep_with(value, free_json);
}

const json_t *json_of(const struct reply *reply) {
    return json_text(reply->body, reply->size);
}

const json_t *assert_problem(const struct reply *reply, long status, const char *what) {
    cr_assert_eq(reply->status, status, "%s: %ld instead of %ld: %s", what, reply->status, status,
                 reply->body);
    cr_assert_str_eq(header_of(reply, "Content-Type"), "application/problem+json", "%s", what);
    cr_assert_str_eq(header_of(reply, "Cache-Control"), "no-store", "%s", what);
    cr_assert_str_eq(header_of(reply, "X-Content-Type-Options"), "nosniff", "%s", what);
    const json_t *problem = json_of(reply);
    static const char *const texts[] = {"type", "title", "detail"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        const char *text = json_string_value(json_object_get(problem, texts[i]));
        cr_assert(text && text[0], "%s: no %s in %s", what, texts[i], reply->body);
    }
    cr_assert_eq(json_integer_value(json_object_get(problem, "status")), status, "%s", what);
    cr_assert_eq(json_is_true(json_object_get(problem, "retryable")), status == 503, "%s", what);
    return problem;
}

void assert_alive(const struct service *s, const char *what) {
    struct reply reply = http_get(s, "/healthz", NULL);
    cr_assert_eq(reply.status, 200, "%s: /healthz says %ld", what, reply.status);
}

/* ---- bare sockets ---- */

char *wire_fill(const struct service *s, const char *key, const char *text) {
    const struct { const char *mark, *value; } parts[] = {{"{host}", s->host}, {"{key}", key ? key : ""}};
    char *filled = keep(calloc(1, 2 * strlen(text) + 1024));
    for (char *to = filled; *text;) {
        size_t taken = 0;
        for (size_t i = 0; i < sizeof parts / sizeof parts[0] && !taken; i++)
            if (strncmp(text, parts[i].mark, strlen(parts[i].mark)) == 0) {
                taken = strlen(parts[i].mark);
                to = stpcpy(to, parts[i].value);
            }
        if (!taken)
            *to++ = *text;
        text += taken ? taken : 1;
    }
    return filled;
}

int wire_open(const struct service *s) {
    const struct sockaddr_in address = {
        .sin_family = AF_INET, .sin_port = htons((uint16_t)s->port), .sin_addr = {htonl(INADDR_LOOPBACK)}};
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    cr_assert(fd >= 0 && connect(fd, (const struct sockaddr *)&address, sizeof address) == 0,
              "can't connect: %s", strerror(errno));
    cr_assert_eq(fcntl(fd, F_SETFL, O_NONBLOCK), 0);
    return fd;
}

void wire_send(int fd, const char *bytes, size_t size) {
    while (size > 0) {
        struct pollfd room = {.fd = fd, .events = POLLOUT};
        cr_assert_eq(poll(&room, 1, ANSWER_S * 1000), 1, "the server takes no bytes");
        ssize_t sent = send(fd, bytes, size, MSG_NOSIGNAL);
        if (sent < 0 && errno != EAGAIN)
            return;
        if (sent > 0) {
            bytes += sent;
            size -= (size_t)sent;
        }
    }
}

ssize_t wire_take(int fd, char *buffer, size_t size) {
    ssize_t got = recv(fd, buffer, size, 0);
    if (got > 0)
        return got;
    return got < 0 && (errno == EAGAIN || errno == EINTR) ? 0 : -1;
}

char *wire_read_all(int fd, int most_ms, size_t *size) {
    struct growing answer = {0};
    char buffer[8192];
    int64_t deadline = now_ms() + most_ms;
    for (;;) {
        struct pollfd readable = {.fd = fd, .events = POLLIN};
        int64_t left = deadline - now_ms();
        cr_assert_gt(left, 0, "the connection stays open; so far came: %s", answer.text ? answer.text : "");
        if (poll(&readable, 1, (int)left) != 1)
            continue;
        ssize_t got = wire_take(fd, buffer, sizeof buffer);
        if (got < 0)
            break;
        if (got > 0)
            cr_assert_gt(take_bytes(buffer, 1, (size_t)got, &answer), 0);
    }
    close(fd);
    *size = answer.size;
    return keep(answer.text ? answer.text : strdup(""));
}

size_t wire_statuses(const char *answer, size_t size, char class_digit) {
    size_t count = 0;
    for (size_t i = 0; i + 9 < size; i++)
        count +=
            strncmp(answer + i, "HTTP/1.", 7) == 0 && answer[i + 8] == ' ' && answer[i + 9] == class_digit;
    return count;
}
