/* Browser sign-in: one-time links and the sessions they open. In memory alone, so a restart signs out. */
#ifndef ROOTWARD_SESSIONS_H
#define ROOTWARD_SESSIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "text.h"

#define RW_COOKIE "rootward_session"

enum { RW_SESSION_SECONDS = 8 * 3600, RW_LINK_SECONDS = 3600 };

struct rw_sessions;
struct rw_sessions *rw_sessions_new(void);
void rw_sessions_free(struct rw_sessions *sessions);

/* A new one-time token for a sign-in link; earlier unused ones stop working. */
void rw_sessions_link(struct rw_sessions *sessions, char token[RW_HASH_TEXT]);

/* Trades a link's token for a session: fills the cookie's value and the session's name for the audit. */
bool rw_session_open(struct rw_sessions *sessions, const char *token, char cookie[RW_HASH_TEXT], char *name,
                     size_t name_size);

/* Finds the open session of a cookie; false when there is none or it has run out. */
bool rw_session_find(struct rw_sessions *sessions, const char *cookie, char *name, size_t name_size);

void rw_session_close(struct rw_sessions *sessions, const char *cookie);

#endif
