/* Talking to the server: HTTP by libcurl, and bare sockets for what libcurl would never send. */
#ifndef ROOTWARD_TESTS_CLIENT_H
#define ROOTWARD_TESTS_CLIENT_H

#include <jansson.h>

#include "service.h"

/* What goes with a request, all of it optional. */
struct ask {
    const char *key;        /* bearer secret */
    const char *type;       /* Content-Type; NULL: application/json when there is a body; "": none */
    const char *body;       /* sent by POST */
    size_t size;            /* of the body; 0: up to its NUL */
    const char *headers[5]; /* further lines, "Name: value" */
};

struct reply {
    long status;
    const char *head, *body; /* head: all header lines */
    size_t size;
};

struct reply http(const struct service *s, const char *method, const char *path, const struct ask *ask);
struct reply http_get(const struct service *s, const char *path, const char *key);
struct reply http_post(const struct service *s, const char *path, const char *key, const char *body);

/* A header's value, "" when it is not there. */
const char *header_of(const struct reply *reply, const char *name);
/* The body as JSON, which must be good. */
const json_t *json_of(const struct reply *reply);
const json_t *json_text(const char *text, size_t size);

/* A problem document of this status, well formed, with its headers; `what` names the case. Returns it. */
const json_t *assert_problem(const struct reply *reply, long status, const char *what);
/* The server answers /healthz. */
void assert_alive(const struct service *s, const char *what);

/* ---- bare sockets ---- */

/* Text with {host} and {key} put in. */
char *wire_fill(const struct service *s, const char *key, const char *text);
int wire_open(const struct service *s);
/* Sends what the server takes: it may have closed already. */
void wire_send(int fd, const char *bytes, size_t size);
/* Takes what has come without waiting: bytes taken, 0 nothing yet, -1 the connection is closed. */
ssize_t wire_take(int fd, char *buffer, size_t size);
/* Everything up to the end of the connection; asserts that it ends within `most_ms`. Closes fd. */
char *wire_read_all(int fd, int most_ms, size_t *size);
/* How many status lines of this class ("2" for 2xx) are in an answer. */
size_t wire_statuses(const char *answer, size_t size, char class_digit);

#endif
