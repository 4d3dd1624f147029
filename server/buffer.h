/* Growable text. A failed allocation is remembered, so that callers check once, at the end. */
#ifndef ROOTWARD_BUFFER_H
#define ROOTWARD_BUFFER_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

struct rw_buffer {
    char *text; /* NUL-terminated once anything was added */
    size_t length, capacity;
    bool failed;
};

void rw_buffer_add(struct rw_buffer *buffer, const char *bytes, size_t size);
void rw_buffer_text(struct rw_buffer *buffer, const char *text);
__attribute__((format(printf, 2, 3))) void rw_buffer_print(struct rw_buffer *buffer, const char *format, ...);
__attribute__((format(printf, 2, 0))) void rw_buffer_print_list(struct rw_buffer *buffer, const char *format,
                                                                va_list args);

/* Hands the text to the caller, who frees it; NULL when an allocation failed. `size` may be NULL. */
char *rw_buffer_take(struct rw_buffer *buffer, size_t *size);

#endif
