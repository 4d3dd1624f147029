#include "buffer.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool reserve(struct rw_buffer *buffer, size_t more) {
    if (buffer->failed || more >= SIZE_MAX / 2 - buffer->length) {
        buffer->failed = true;
        return false;
    }
    const size_t needed = buffer->length + more + 1;
    if (needed <= buffer->capacity)
        return true;
    size_t capacity = buffer->capacity ? buffer->capacity : 1024;
    while (capacity < needed)
        capacity *= 2;
    char *text = realloc(buffer->text, capacity);
    if (!text) {
        buffer->failed = true;
        return false;
    }
    buffer->text = text;
    buffer->capacity = capacity;
    return true;
}

void rw_buffer_add(struct rw_buffer *buffer, const char *bytes, size_t size) {
    if (!reserve(buffer, size))
        return;
    memcpy(buffer->text + buffer->length, bytes, size);
    buffer->length += size;
    buffer->text[buffer->length] = '\0';
}

void rw_buffer_text(struct rw_buffer *buffer, const char *text) {
    rw_buffer_add(buffer, text, strlen(text));
}

void rw_buffer_print_list(struct rw_buffer *buffer, const char *format, va_list args) {
    va_list again;
    va_copy(again, args);
    /* the analyser loses va_start when it checks several files in one run */
    const int size = vsnprintf(NULL, 0, format, args); // NOLINT(clang-analyzer-valist.Uninitialized)
    if (size < 0)
        buffer->failed = true;
    else if (reserve(buffer, (size_t)size)) {
        vsnprintf(buffer->text + buffer->length, (size_t)size + 1, format, again);
        buffer->length += (size_t)size;
    }
    va_end(again);
}

void rw_buffer_print(struct rw_buffer *buffer, const char *format, ...) {
    va_list args;
    va_start(args, format);
    rw_buffer_print_list(buffer, format, args);
    va_end(args);
}

char *rw_buffer_take(struct rw_buffer *buffer, size_t *size) {
    rw_buffer_add(buffer, "", 0); /* an empty text is a text too */
    char *text = buffer->text;
    if (buffer->failed) {
        free(text);
        text = NULL;
    }
    if (size)
        *size = text ? buffer->length : 0;
    *buffer = (struct rw_buffer){0};
    return text;
}
