#include "pool.h"

#include <pthread.h>
#include <stdlib.h>
#include <sys/mman.h>

enum { ALIGNMENT = 1 << 21 }; /* of a huge page: the engine touches most of its workspace at once */

struct rw_pool {
    pthread_mutex_t mutex;
    pthread_cond_t given;
    size_t count, free_count;
    struct rw_bench benches[RW_BENCHES_MOST];
    struct rw_bench *free[RW_BENCHES_MOST]; /* a stack of free_count */
};

/* For an assessment and for a course. */
static size_t workspace_size(void) {
    const size_t assessment = rw_workspace_size(), course = rw_course_workspace_size();
    return assessment > course ? assessment : course;
}

struct rw_pool *rw_pool_new(size_t count) {
    struct rw_pool *pool = calloc(1, sizeof *pool);
    if (!pool)
        return NULL;
    pthread_mutex_init(&pool->mutex, NULL);
    pthread_cond_init(&pool->given, NULL);
    size_t size = (workspace_size() + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
    bool good = count > 0 && count <= RW_BENCHES_MOST;
    while (good && pool->count < count) {
        struct rw_bench *bench = &pool->benches[pool->count++];
        bench->workspace = aligned_alloc(ALIGNMENT, size);
        if (bench->workspace)
            (void)madvise(bench->workspace, size, MADV_HUGEPAGE); /* faster where the kernel grants it */
        bench->assessment = malloc(sizeof *bench->assessment);
        good = bench->workspace && bench->assessment;
        pool->free[pool->free_count++] = bench;
    }
    if (good)
        return pool;
    rw_pool_free(pool);
    return NULL;
}

void rw_pool_free(struct rw_pool *pool) {
    if (!pool)
        return;
    for (size_t i = 0; i < pool->count; i++) {
        free(pool->benches[i].workspace);
        free(pool->benches[i].assessment);
    }
    pthread_cond_destroy(&pool->given);
    pthread_mutex_destroy(&pool->mutex);
    free(pool);
}

struct rw_bench *rw_pool_take(struct rw_pool *pool) {
    pthread_mutex_lock(&pool->mutex);
    while (pool->free_count == 0)
        pthread_cond_wait(&pool->given, &pool->mutex);
    struct rw_bench *bench = pool->free[--pool->free_count];
    pthread_mutex_unlock(&pool->mutex);
    return bench;
}

void rw_pool_give(struct rw_pool *pool, struct rw_bench *bench) {
    pthread_mutex_lock(&pool->mutex);
    pool->free[pool->free_count++] = bench;
    pthread_cond_signal(&pool->given);
    pthread_mutex_unlock(&pool->mutex);
}

enum rw_status rw_bench_assess(struct rw_bench *bench, const struct rw_exam *exam, struct rw_error *error) {
    return rw_assess(exam, bench->workspace, rw_workspace_size(), bench->assessment, error);
}

enum rw_status rw_bench_course(struct rw_bench *bench, const struct rw_exam *const *exams, size_t count,
                               struct rw_course *out, struct rw_error *error) {
    return rw_course(exams, count, bench->workspace, workspace_size(), out, error);
}
