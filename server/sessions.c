#include "sessions.h"

#include <pthread.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SESSIONS_MOST = 32 };

/* Only hashes are kept: a copy of this memory opens no session. expires_ms 0: free. */
struct ticket {
    unsigned char hash[RW_HASH_BYTES];
    char name[32];
    int64_t expires_ms;
};

struct rw_sessions {
    pthread_mutex_t mutex;
    struct ticket link;
    struct ticket open[SESSIONS_MOST];
};

static void hash_text(const char *text, unsigned char hash[RW_HASH_BYTES]) {
    crypto_generichash(hash, RW_HASH_BYTES, (const unsigned char *)text, strlen(text), NULL, 0);
}

static bool fits(const struct ticket *ticket, const unsigned char hash[RW_HASH_BYTES]) {
    return sodium_memcmp(ticket->hash, hash, RW_HASH_BYTES) == 0 && rw_monotonic_ms() < ticket->expires_ms;
}

struct rw_sessions *rw_sessions_new(void) {
    struct rw_sessions *sessions = calloc(1, sizeof *sessions);
    if (sessions)
        pthread_mutex_init(&sessions->mutex, NULL);
    return sessions;
}

void rw_sessions_free(struct rw_sessions *sessions) {
    if (sessions)
        pthread_mutex_destroy(&sessions->mutex);
    free(sessions);
}

void rw_sessions_link(struct rw_sessions *sessions, char token[RW_HASH_TEXT]) {
    rw_random_hex(token, 32);
    pthread_mutex_lock(&sessions->mutex);
    hash_text(token, sessions->link.hash);
    sessions->link.expires_ms = rw_monotonic_ms() + RW_LINK_SECONDS * 1000;
    pthread_mutex_unlock(&sessions->mutex);
}

/* A free place, or else that of the session which runs out first. */
static struct ticket *place(struct rw_sessions *sessions) {
    struct ticket *oldest = &sessions->open[0];
    for (size_t i = 1; i < SESSIONS_MOST; i++)
        if (sessions->open[i].expires_ms < oldest->expires_ms)
            oldest = &sessions->open[i];
    return oldest;
}

bool rw_session_open(struct rw_sessions *sessions, const char *token, char cookie[RW_HASH_TEXT], char *name,
                     size_t name_size) {
    unsigned char hash[RW_HASH_BYTES];
    hash_text(token, hash);
    pthread_mutex_lock(&sessions->mutex);
    bool opened = fits(&sessions->link, hash);
    if (opened) {
        struct ticket *ticket = place(sessions);
        char id[17];
        sessions->link.expires_ms = 0;
        rw_random_hex(cookie, 32);
        rw_random_hex(id, 8);
        hash_text(cookie, ticket->hash);
        snprintf(ticket->name, sizeof ticket->name, "session-%s", id);
        rw_copy(name, name_size, ticket->name);
        ticket->expires_ms = rw_monotonic_ms() + RW_SESSION_SECONDS * 1000;
    }
    pthread_mutex_unlock(&sessions->mutex);
    return opened;
}

/* Looks at every place, so that the time taken tells nothing. */
static struct ticket *find(struct rw_sessions *sessions, const char *cookie) {
    struct ticket *found = NULL;
    unsigned char hash[RW_HASH_BYTES];
    hash_text(cookie, hash);
    for (size_t i = 0; i < SESSIONS_MOST; i++)
        if (fits(&sessions->open[i], hash))
            found = &sessions->open[i];
    return found;
}

bool rw_session_find(struct rw_sessions *sessions, const char *cookie, char *name, size_t name_size) {
    pthread_mutex_lock(&sessions->mutex);
    const struct ticket *ticket = find(sessions, cookie);
    if (ticket)
        rw_copy(name, name_size, ticket->name);
    pthread_mutex_unlock(&sessions->mutex);
    return ticket != NULL;
}

void rw_session_close(struct rw_sessions *sessions, const char *cookie) {
    pthread_mutex_lock(&sessions->mutex);
    struct ticket *ticket = find(sessions, cookie);
    if (ticket)
        ticket->expires_ms = 0;
    pthread_mutex_unlock(&sessions->mutex);
}
