/* What one running server is made of. Set up before the first thread, then only read, apart from the parts
 * that lock for themselves. */
#ifndef ROOTWARD_SERVICE_H
#define ROOTWARD_SERVICE_H

#include <stdatomic.h>

#include "access.h"
#include "files.h"
#include "framing.h"
#include "pool.h"

struct rw_service {
    struct rw_database *database;
    struct rw_sessions *sessions;
    struct rw_pool *pool;
    struct rw_files *files; /* NULL: no page */
    struct rw_connections *connections;
    struct rw_names names;
    char *model, *vocabulary; /* constant JSON, made once */
    size_t model_size, vocabulary_size;
    bool secure; /* browsers reach it by https: the cookie is for https alone */
    atomic_bool draining;
    atomic_size_t in_flight;
};

#endif
