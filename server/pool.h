/* Engine benches: a workspace and a place for the answer, made at start so that no request allocates them. */
#ifndef ROOTWARD_POOL_H
#define ROOTWARD_POOL_H

#include <stddef.h>

#include "rootward.h"

enum { RW_BENCHES_MOST = 64 };

struct rw_bench {
    void *workspace;
    struct rw_assessment *assessment;
};

struct rw_pool;
/* 1 to RW_BENCHES_MOST benches; NULL when memory ran out. */
struct rw_pool *rw_pool_new(size_t count);
void rw_pool_free(struct rw_pool *pool);

/* Waits for a free bench; every take needs its give. */
struct rw_bench *rw_pool_take(struct rw_pool *pool);
void rw_pool_give(struct rw_pool *pool, struct rw_bench *bench);

/* rw_assess() on a bench. */
enum rw_status rw_bench_assess(struct rw_bench *bench, const struct rw_exam *exam, struct rw_error *error);
/* rw_course() on a bench. */
enum rw_status rw_bench_course(struct rw_bench *bench, const struct rw_exam *const *exams, size_t count,
                               struct rw_course *out, struct rw_error *error);

#endif
