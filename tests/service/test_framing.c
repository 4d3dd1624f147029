/* Requests that no proper client sends. Each must be refused or cut off, and the connection must end there:
 * every one is followed by a good request, which must never be answered, since where it starts can't be
 * known. */
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "client.h"
#include "framing.h"

#define COUNT(list) (sizeof(list) / sizeof(list)[0])
#define CANARY      "canary-51c2"
#define RECORD                                                                                               \
    "{\"subject\":\"" CANARY "\",\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"reflexes\":{"  \
    "\"biceps\":\"absent\"}}"
#define AFTER "GET /healthz HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
#define HOST  "Host: {host}\r\n"
#define POST                                                                                                 \
    "POST /v1/assessments HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {key}\r\nContent-Type: "         \
    "application/json\r\n"
#define LENGTH  "Content-Length: 107\r\n"
#define CHUNKED "6b\r\n" RECORD "\r\n0\r\n\r\n"

_Static_assert(sizeof RECORD - 1 == 107, "the lengths below are those of the record");

enum { CUT_MS = (RW_IDLE_SECONDS + 10) * 1000 };

/* What the server says to a request and to a good one right behind it. */
static char *say(const struct service *s, const char *request, size_t size, size_t *answer_size) {
    int fd = wire_open(s);
    const char *after = wire_fill(s, NULL, AFTER);
    wire_send(fd, request, size);
    wire_send(fd, after, strlen(after));
    return wire_read_all(fd, CUT_MS, answer_size);
}

static void assert_refused(const struct service *s, const char *name, const char *request, size_t size,
                           int status) {
    size_t answer_size = 0;
    const char *answer = say(s, request, size, &answer_size);
    cr_assert_eq(wire_statuses(answer, answer_size, '2'), 0, "%s was served: %s", name, answer);
    cr_assert_eq(wire_statuses(answer, answer_size, '3'), 0, "%s: %s", name, answer);
    if (status)
        cr_assert(answer_size > 12 && strncmp(answer + 9, text_of("%d", status), 3) == 0, "%s: not %d but %s",
                  name, status, answer);
    assert_alive(s, name);
}

/* Shows that the tests below could see an answer, and that the good request behind is good. */
SERVICE_TEST(framing, good_requests_one_after_the_other) {
    const char *key = service_key(s, "clinician");
    size_t size = 0;
    const char *request =
        wire_fill(s, key, POST LENGTH "X-A:1\r\nX-B:\r\nX-C: \t 1\r\nX-D: 1 \t\r\nX-E: 1 2\r\n\r\n" RECORD);
    const char *answer = say(s, request, strlen(request), &size);
    cr_assert_eq(wire_statuses(answer, size, '2'), 2, "%.200s", answer);
    /* The old version, byte by byte. */
    request = wire_fill(s, key, "GET /healthz HTTP/1.0\r\n" HOST "\r\n");
    int fd = wire_open(s);
    for (size_t i = 0; request[i]; i++)
        wire_send(fd, request + i, 1);
    answer = wire_read_all(fd, CUT_MS, &size);
    cr_assert_eq(wire_statuses(answer, size, '2'), 1, "%s", answer);
}

/* status 0: whichever, or none. Text of the library's own refusals is not ours to choose. */
static const struct {
    const char *name, *request;
    int status;
} bad[] = {
    {"Content-Length twice, different", POST LENGTH "Content-Length: 5\r\n\r\n" RECORD, 400},
    {"Content-Length twice, the same", POST LENGTH LENGTH "\r\n" RECORD, 400},
    {"Content-Length as a list", POST "Content-Length: 107, 107\r\n\r\n" RECORD, 400},
    {"Content-Length with a sign", POST "Content-Length: +107\r\n\r\n" RECORD, 400},
    {"Content-Length below zero", POST "Content-Length: -1\r\n\r\n" RECORD, 400},
    {"Content-Length in hex", POST "Content-Length: 0x6b\r\n\r\n" RECORD, 400},
    {"Content-Length beyond 64 bits", POST "Content-Length: 99999999999999999999\r\n\r\n" RECORD, 0},
    {"Content-Length empty", POST "Content-Length:\r\n\r\n" RECORD, 0},
    {"no length at all", POST "\r\n" RECORD, 411},
    {"length and chunks", POST LENGTH "Transfer-Encoding: chunked\r\n\r\n" CHUNKED, 400},
    {"chunks and length", POST "Transfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n" CHUNKED, 400},
    {"chunks", POST "Transfer-Encoding: chunked\r\n\r\n" CHUNKED, 411},
    {"odd transfer encoding", POST "Transfer-Encoding: xchunked\r\n\r\n" CHUNKED, 411},
    {"two transfer encodings", POST "Transfer-Encoding: gzip, chunked\r\n\r\n" CHUNKED, 411},
    {"identity", POST LENGTH "Transfer-Encoding: identity\r\n\r\n" RECORD, 400},
    {"Transfer-Encoding twice",
     POST "Transfer-Encoding: chunked\r\nTransfer-Encoding: chunked\r\n\r\n" CHUNKED, 400},
    {"blank before the colon of Content-Length", POST "Content-Length : 107\r\n\r\n" RECORD, 400},
    {"blank before the colon of another header", POST "X-Odd : 1\r\n" LENGTH "\r\n" RECORD, 400},
    {"folded Transfer-Encoding", POST "Transfer-Encoding:\r\n chunked\r\n\r\n" CHUNKED, 400},
    {"folded header", POST "X-Odd: 1\r\n 2\r\n" LENGTH "\r\n" RECORD, 400},
    {"header with a leading blank", "GET /healthz HTTP/1.1\r\n Host: x\r\n" HOST "\r\n", 400},
    {"header without a colon", "GET /healthz HTTP/1.1\r\n" HOST "X-Odd\r\n\r\n", 0},
    {"header without a name", "GET /healthz HTTP/1.1\r\n" HOST ": 1\r\n\r\n", 400},
    {"header name with a bracket", "GET /healthz HTTP/1.1\r\n" HOST "X(Odd): 1\r\n\r\n", 400},
    {"bare line feeds", "GET /healthz HTTP/1.1\nHost: {host}\n\n", 400},
    {"one bare line feed", "GET /healthz HTTP/1.1\r\n" HOST "X-Odd: 1\nX-Even: 2\r\n\r\n", 400},
    {"bare carriage return in a value", "GET /healthz HTTP/1.1\r\n" HOST "X-Odd: 1\rX-Even: 2\r\n\r\n", 400},
    {"Host twice", "GET /healthz HTTP/1.1\r\n" HOST HOST "\r\n", 400},
    {"two different Hosts", "GET /healthz HTTP/1.1\r\n" HOST "Host: rebound.example\r\n\r\n", 400},
    {"no Host", "GET /healthz HTTP/1.1\r\n\r\n", 400},
    {"no Host, old version", "GET /healthz HTTP/1.0\r\n\r\n", 400},
    {"empty Host", "GET /healthz HTTP/1.1\r\nHost:\r\n\r\n", 400},
    {"foreign Host (DNS rebinding)", "GET /healthz HTTP/1.1\r\nHost: rebound.example\r\n\r\n", 400},
    {"foreign Host with our port", "GET / HTTP/1.1\r\nHost: rebound.example:8440\r\n\r\n", 400},
    {"Host that only begins like ours", "GET /healthz HTTP/1.1\r\nHost: {host}.rebound.example\r\n\r\n", 400},
    {"Authorization twice", POST "Authorization: Bearer x\r\n" LENGTH "\r\n" RECORD, 400},
    {"Content-Type twice", POST "Content-Type: text/plain\r\n" LENGTH "\r\n" RECORD, 400},
    {"absolute target", "GET http://{host}/healthz HTTP/1.1\r\n" HOST "\r\n", 400},
    {"target without a slash", "GET healthz HTTP/1.1\r\n" HOST "\r\n", 400},
    {"%00 in the path", "GET /healthz%00x HTTP/1.1\r\n" HOST "\r\n", 400},
    {"escaped letter in the path", "GET /%68ealthz HTTP/1.1\r\n" HOST "\r\n", 400},
    {".. in the path", "GET /../healthz HTTP/1.1\r\n" HOST "\r\n", 400},
    {".. inside the path", "GET /v1/../healthz HTTP/1.1\r\n" HOST "\r\n", 400},
    {"escaped .. in the path", "GET /%2e%2e%2fhealthz HTTP/1.1\r\n" HOST "\r\n", 400},
    {"backslash in the path", "GET /..\\healthz HTTP/1.1\r\n" HOST "\r\n", 400},
    {"raw UTF-8 in the path", "GET /h\xc3\xa9 HTTP/1.1\r\n" HOST "\r\n", 400},
    {"HTTP/1.9", "GET /healthz HTTP/1.9\r\n" HOST "\r\n", 505},
    {"HTTP/2.0", "GET /healthz HTTP/2.0\r\n" HOST "\r\n", 505},
    {"version that is none", "GET /healthz HTTP/x\r\n" HOST "\r\n", 400},
    {"no version", "GET /healthz\r\n" HOST "\r\n", 0},
    {"unknown method", "BREW /healthz HTTP/1.1\r\n" HOST "\r\n", 501},
    {"method in lower case", "get /healthz HTTP/1.1\r\n" HOST "\r\n", 501},
    {"unknown Expect", POST "Expect: 200-ok\r\n" LENGTH "\r\n" RECORD, 417},
    {"body of a GET", "GET /healthz HTTP/1.1\r\n" HOST LENGTH "\r\n" RECORD, 400},
    {"a TLS greeting", "\x16\x03\x01\x02\x01\x01\xfc\x03\x03 \r\n\r\n", 0},
    {"noise", "\x01\x02\x03\r\n\r\n", 0},
};

SERVICE_TEST(framing, bad_requests) {
    const char *key = service_key(s, "clinician");
    for (size_t i = 0; i < COUNT(bad); i++) {
        const char *request = wire_fill(s, key, bad[i].request);
        assert_refused(s, bad[i].name, request, strlen(request), bad[i].status);
    }
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 0);
    cr_assert_not(service_data_holds(s, CANARY));
    cr_assert_null(strstr(file_text(s->log, NULL), CANARY));
    cr_assert_null(strstr(file_text(s->log, NULL), "rebound"), "the log repeats what was sent");
    service_verify(s);
}

SERVICE_TEST(framing, nul_bytes) {
    static const char in_path[] = "GET /healthz\0x HTTP/1.1\r\n", in_value[] = "X-Odd: 1\0002\r\n",
                      in_name[] = "X-O\0dd: 1\r\n";
    const char *host = wire_fill(s, NULL, HOST), *line = "GET /healthz HTTP/1.1\r\n";
    const struct {
        const char *name, *first, *then;
        size_t first_size, then_size;
    } cases[] = {
        {"NUL in the path", in_path, "", sizeof in_path - 1, 0},
        {"NUL in a value", line, in_value, strlen(line), sizeof in_value - 1},
        {"NUL in a name", line, in_name, strlen(line), sizeof in_name - 1},
    };
    for (size_t i = 0; i < COUNT(cases); i++) {
        char request[256], *to = request;
        to = mempcpy(to, cases[i].first, cases[i].first_size);
        to = mempcpy(to, host, strlen(host));
        to = mempcpy(to, cases[i].then, cases[i].then_size);
        to = mempcpy(to, "\r\n", 2);
        assert_refused(s, cases[i].name, request, (size_t)(to - request), 0);
    }
}

/* A GET with a head of about this size, in one header or in many. */
static char *large_head(const struct service *s, size_t size, size_t headers) {
    char *request = keep(calloc(1, size + headers * 16 + 256));
    char *to = stpcpy(request, wire_fill(s, NULL, "GET /healthz HTTP/1.1\r\n" HOST));
    for (size_t i = 0; i < headers; i++) {
        to += sprintf(to, "X-%zu: ", i);
        to = (char *)memset(to, 'a', size / headers) + size / headers;
        to = stpcpy(to, "\r\n");
    }
    stpcpy(to, "\r\n");
    return request;
}

SERVICE_TEST(framing, large_heads) {
    const struct {
        const char *name;
        size_t size, headers;
    } cases[] = {{"64 KiB header", 65536, 1},
                 {"1 MiB header", 1 << 20, 1},
                 {"100 headers", 200, 100},
                 {"2000 headers", 4000, 2000}};
    for (size_t i = 0; i < COUNT(cases); i++) {
        const char *request = large_head(s, cases[i].size, cases[i].headers);
        assert_refused(s, cases[i].name, request, strlen(request), 431);
    }
    char *path = text_of("GET /%065000d HTTP/1.1\r\nHost: %s\r\n\r\n", 0, s->host);
    assert_refused(s, "64 KiB path", path, strlen(path), 0);
    path = text_of("GET /%0300d HTTP/1.1\r\nHost: %s\r\n\r\n", 0, s->host);
    assert_refused(s, "path of 300", path, strlen(path), 400);
}

/* The client that asks first is told at once, without having to send what will not be taken. */
SERVICE_TEST(framing, expect_continue) {
    const char *key = service_key(s, "clinician");
    int fd = wire_open(s);
    size_t size = 0;
    const char *large = wire_fill(s, key, POST "Content-Length: 262145\r\nExpect: 100-continue\r\n\r\n");
    wire_send(fd, large, strlen(large));
    const char *answer = wire_read_all(fd, CUT_MS, &size);
    cr_assert(strncmp(answer, "HTTP/1.1 413 ", 13) == 0, "%s", answer);

    fd = wire_open(s);
    const char *head = wire_fill(s, key, POST LENGTH "Expect: 100-continue\r\nConnection: close\r\n\r\n");
    wire_send(fd, head, strlen(head));
    struct pollfd asked = {.fd = fd, .events = POLLIN};
    cr_assert_eq(poll(&asked, 1, CUT_MS), 1, "no 100 came");
    wire_send(fd, RECORD, strlen(RECORD));
    answer = wire_read_all(fd, CUT_MS, &size);
    cr_assert(strncmp(answer, "HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 201 ", 37) == 0, "%.200s", answer);
}

/* ---- slow clients ---- */

struct slow {
    const char *name, *text; /* sent at once */
    bool stops;              /* then no more will come, and the server is told so */
    const char *drip;        /* or then one byte of it after another, over and over; NULL: silence */
    int64_t most_ms;         /* to be cut by then */
    int fd;
    size_t dripped;
};

/* One look at a slow client; true when the server has cut it. */
static bool is_cut(struct slow *slow, int64_t since_ms) {
    char answer[1024];
    ssize_t got = wire_take(slow->fd, answer, sizeof answer - 1);
    cr_assert(got <= 0 || wire_statuses(answer, (size_t)got, '2') == 0, "%s was answered", slow->name);
    if (got < 0) {
        close(slow->fd);
        return true;
    }
    cr_assert_lt(since_ms, slow->most_ms, "%s is still open after %d ms", slow->name, (int)since_ms);
    if (slow->drip)
        wire_send(slow->fd, slow->drip + slow->dripped++ % strlen(slow->drip), 1);
    return false;
}

/* Silent, slow, and those that leave half-way. All at once, because they take as long as the deadlines of
 * framing.h. */
SERVICE_TEST(framing, slow_clients_are_cut) {
    enum { SLACK_MS = 5000, BETWEEN_MS = 200 };
    const char *key = service_key(s, "clinician");
    const char *half = wire_fill(s, key, POST LENGTH "\r\n{\"subject\":\"" CANARY "\",");
    struct slow slow[] = {
        {.name = "silence", .text = "", .most_ms = RW_IDLE_SECONDS * 1000 + SLACK_MS},
        {.name = "half a body", .text = half, .most_ms = RW_IDLE_SECONDS * 1000 + SLACK_MS},
        {.name = "half a body and its end",
         .text = half,
         .stops = true,
         .most_ms = RW_IDLE_SECONDS * 1000 + SLACK_MS},
        {.name = "slow header",
         .text = "GET /healthz HTTP/1.1\r\n",
         .drip = "X-A: b\r\n",
         .most_ms = RW_HEAD_MS + SLACK_MS},
        {.name = "slow request line", .text = "GET /", .drip = "a", .most_ms = RW_HEAD_MS + SLACK_MS},
        {.name = "slow body",
         .text = wire_fill(s, key, POST "Content-Length: 9999\r\n\r\n"),
         .drip = " ",
         .most_ms = RW_BODY_MS + SLACK_MS},
    };
    size_t open = COUNT(slow);
    int64_t start = now_ms();
    for (size_t i = 0; i < COUNT(slow); i++) {
        slow[i].fd = wire_open(s);
        wire_send(slow[i].fd, slow[i].text, strlen(slow[i].text));
        if (slow[i].stops)
            cr_assert_eq(shutdown(slow[i].fd, SHUT_WR), 0);
    }
    while (open > 0) {
        struct pollfd first = {.fd = slow[0].fd, .events = POLLIN};
        poll(&first, 1, BETWEEN_MS); /* as a clock that a closed connection may cut short */
        for (size_t i = 0; i < open;) {
            if (is_cut(&slow[i], now_ms() - start))
                slow[i] = slow[--open];
            else
                i++;
        }
    }
    assert_alive(s, "slow clients");
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 0);
    cr_assert_not(service_data_holds(s, CANARY));
}
