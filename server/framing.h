/* Strict framing. libmicrohttpd 0.9.75 reads requests leniently; everything it lets through and we refuse is
 * in this file, together with the limits on time and number of connections. After an upgrade of the library
 * this file may only get stricter.
 *
 * What never comes this far, because the library answers by itself (HTML body, no audit entry, only the line
 * "http_library" in the log): no version, one that is not HTTP/1.x, a missing Host in HTTP/1.1, a
 * Content-Length that does not start with a digit, a header line without a colon, heads over 16 KiB.
 * For the Content-Length and the Host it sends status line and headers twice.
 */
#ifndef ROOTWARD_FRAMING_H
#define ROOTWARD_FRAMING_H

#include "request.h"

enum {
    RW_CONNECTIONS_MOST = 256,
    RW_CONNECTIONS_SOFT = 192, /* above: 503 and close, so that a client hears something */
    RW_HEAD_BYTES = 16 * 1024, /* memory of a connection: head and read buffer */
    RW_HEADERS_MOST = 64,
    RW_IDLE_SECONDS = 10,   /* the library cuts a connection silent for so long */
    RW_HEAD_MS = 15 * 1000, /* a head must be whole by then */
    RW_BODY_MS = 20 * 1000, /* a body */
    RW_REPLY_MS = 60 * 1000 /* the answer computed and taken */
};

/* Checks request line and headers; fills method, headers and body_declared. False: refused, and the
 * connection must end, since what follows on it can't be trusted to be a request. */
bool rw_framing_check(struct rw_request *request, const char *target, const char *method,
                      const char *version);

/* Checks that a body of this request may come. False: refused. */
bool rw_framing_check_body(struct rw_request *request);

/* Takes a piece of the body. False: cut the connection. */
bool rw_framing_take(struct rw_request *request, const char *piece, size_t size);

/* True when the body arrived as declared. */
bool rw_framing_body_whole(const struct rw_request *request);

/* Does any Accept header admit this type (or is there none)? */
bool rw_framing_accepts(struct rw_request *request, const char *type);
/* Is `return=minimal` among the Prefer headers? */
bool rw_framing_prefers_minimal(struct rw_request *request);

/* For MHD_OPTION_UNESCAPE_CALLBACK: leaves every escape alone. */
size_t rw_framing_keep_escapes(void *unused, struct MHD_Connection *connection, char *text);

/* ---- connections and their deadlines ---- */

enum rw_phase { RW_PHASE_FREE, RW_PHASE_HEAD, RW_PHASE_BODY, RW_PHASE_REPLY };

struct rw_connections;
struct rw_connections *rw_connections_new(void);
void rw_connections_free(struct rw_connections *connections);

struct rw_slot *rw_connections_add(struct rw_connections *connections, int fd);
void rw_connections_remove(struct rw_connections *connections, struct rw_slot *slot);
/* A new phase starts its own clock. slot may be NULL. */
void rw_connections_enter(struct rw_connections *connections, struct rw_slot *slot, enum rw_phase phase);
size_t rw_connections_count(struct rw_connections *connections);
/* Cuts every connection that is past its deadline; called a few times a second. */
void rw_connections_reap(struct rw_connections *connections);

#endif
