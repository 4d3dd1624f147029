/* The libmicrohttpd daemon: from the socket to the routing table and back. */
#ifndef ROOTWARD_HTTP_H
#define ROOTWARD_HTTP_H

#include "service.h"

struct rw_http_options {
    int listener; /* a listening socket, taken over */
    unsigned workers;
    const char *tls_cert, *tls_key; /* PEM text that outlives the daemon, or NULL */
};

struct rw_http;

/* NULL when the daemon won't start. */
struct rw_http *rw_http_start(struct rw_service *service, const struct rw_http_options *options);

/* To be called a few times a second: deadlines of connections. */
void rw_http_tick(struct rw_service *service);

/* Takes no new connections, lets requests in flight end (ten seconds at most), stops. */
void rw_http_stop(struct rw_http *http, struct rw_service *service);

#endif
