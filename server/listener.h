/* The listening socket: "127.0.0.1:8440", "[::1]:0". */
#ifndef ROOTWARD_LISTENER_H
#define ROOTWARD_LISTENER_H

#include <stdbool.h>
#include <stddef.h>

struct rw_listener {
    int fd;
    bool loopback;
    unsigned port;
    char host[80]; /* as in a URL: "127.0.0.1", "[::1]" */
};

/* Binds and listens; port 0 takes a free one. With `loopback_only` other addresses are refused. False with a
 * sentence in `why`. */
bool rw_listener_open(const char *text, bool loopback_only, struct rw_listener *out, char *why,
                      size_t why_size);

#endif
