/* Who may ask: keys in the database, browser sessions in memory, and the names this service answers to. */
#ifndef ROOTWARD_ACCESS_H
#define ROOTWARD_ACCESS_H

#include "request.h"
#include "sessions.h"

enum {
    RW_KEY_ID_TEXT = 17, /* "key-" and 12 hex digits and NUL */
    RW_SECRET_TEXT = 96, /* "rw_" id "_" 64 hex digits, and NUL */
    RW_NAMES_MOST = 9,   /* hosts that the service answers to */
    RW_NAME_TEXT = 128
};

/* ---- keys ---- */

struct rw_key {
    char id[RW_KEY_ID_TEXT], name[65], role[16], created[RW_TIME_TEXT], revoked[RW_TIME_TEXT];
};

/* NONE when there is no role of this name. */
enum rw_role rw_role_find(const char *name);
const char *rw_role_name(enum rw_role role);

/* Makes a key and its audit entry in one write. The secret is nowhere kept. */
bool rw_key_add(struct rw_database *database, const char *actor, const char *name, enum rw_role role,
                char id[RW_KEY_ID_TEXT], char secret[RW_SECRET_TEXT]);

enum rw_revoked { RW_REVOKED_NOW, RW_REVOKED_BEFORE, RW_REVOKED_UNKNOWN, RW_REVOKED_FAILED };
enum rw_revoked rw_key_revoke(struct rw_database *database, const char *actor, const char *id);

/* Calls take() for each key in order of creation; false when the file can't be read. */
bool rw_key_list(struct rw_database *database, void (*take)(const struct rw_key *key));

/* ---- requests ---- */

enum rw_access { RW_ACCESS_OK, RW_ACCESS_NONE, RW_ACCESS_BAD, RW_ACCESS_REVOKED, RW_ACCESS_FAILED };

/* Finds who asks from Authorization, or else from the session cookie; fills request->actor. */
enum rw_access rw_access_identify(struct rw_database *database, struct rw_sessions *sessions,
                                  struct rw_request *request);

/* The hosts and origins the service answers to: a page that made a foreign name point at this machine
 * (DNS rebinding) asks with that name, and a page of another origin says its own. */
struct rw_names {
    size_t count;
    char hosts[RW_NAMES_MOST][RW_NAME_TEXT];
    char origins[RW_NAMES_MOST][RW_NAME_TEXT];
};

/* False when there is no room. */
bool rw_names_add(struct rw_names *names, const char *scheme, const char *host);

bool rw_access_host_known(const struct rw_names *names, const struct rw_request *request);

/* May the browser page that sent this request do so? Requests that carry a key are not a page's doing. */
bool rw_access_same_site(const struct rw_names *names, const struct rw_request *request);

/* Value of the session cookie, "" when there is none or it can't be one of ours. */
void rw_access_cookie(const struct rw_request *request, char out[RW_HASH_TEXT]);

#endif
