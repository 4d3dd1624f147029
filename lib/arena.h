/* A bump allocator over a caller's block: the engine's only memory. */
#ifndef RW_ARENA_H
#define RW_ARENA_H

#include <stddef.h>
#include <stdint.h>

struct rw_arena {
    unsigned char *base;
    size_t size, used;
};

/* `count` objects of `size` bytes, aligned to 16, or NULL when the block is too small. Not cleared. */
static inline void *rw_arena_take(struct rw_arena *arena, size_t count, size_t size) {
    const size_t start = (arena->used + 15u) & ~(size_t)15u;
    if (size != 0 && count > (SIZE_MAX - start) / size)
        return NULL;
    const size_t bytes = count * size;
    if (start > arena->size || bytes > arena->size - start)
        return NULL;
    arena->used = start + bytes;
    return arena->base + start;
}

#endif
