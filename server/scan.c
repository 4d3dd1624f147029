#include "scan.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* Length of the well-formed UTF-8 sequence at `s`, or 0 (Unicode 15, table 3-7). */
static size_t sequence(const unsigned char *s, size_t left) {
    static const struct {
        unsigned char first_low, first_high, second_low, second_high;
        size_t length;
    } forms[] = {{0xC2, 0xDF, 0x80, 0xBF, 2}, {0xE0, 0xE0, 0xA0, 0xBF, 3}, {0xE1, 0xEC, 0x80, 0xBF, 3},
                 {0xED, 0xED, 0x80, 0x9F, 3}, {0xEE, 0xEF, 0x80, 0xBF, 3}, {0xF0, 0xF0, 0x90, 0xBF, 4},
                 {0xF1, 0xF3, 0x80, 0xBF, 4}, {0xF4, 0xF4, 0x80, 0x8F, 4}};
    if (s[0] < 0x80)
        return 1;
    for (size_t i = 0; i < sizeof forms / sizeof *forms; i++) {
        if (s[0] < forms[i].first_low || s[0] > forms[i].first_high)
            continue;
        if (left < forms[i].length || s[1] < forms[i].second_low || s[1] > forms[i].second_high)
            return 0;
        for (size_t k = 2; k < forms[i].length; k++)
            if (s[k] < 0x80 || s[k] > 0xBF)
                return 0;
        return forms[i].length;
    }
    return 0;
}

static const char *scan_bytes(const char *body, size_t size) {
    const unsigned char *s = (const unsigned char *)body;
    for (size_t i = 0; i < size;) {
        if (s[i] == '\0')
            return "The body holds a NUL byte.";
        const size_t length = sequence(s + i, size - i);
        if (length == 0)
            return "The body is not UTF-8.";
        i += length;
    }
    return NULL;
}

/* Index just after the string that opens at body[at], or `size` when it does not end. */
static size_t skip_string(const char *body, size_t at, size_t size) {
    for (at++; at < size; at++) {
        if (body[at] == '\\')
            at++;
        else if (body[at] == '"')
            return at + 1;
    }
    return size;
}

static const char *scan_shape(const char *body, size_t size) {
    size_t depth = 0, tokens = 0;
    for (size_t i = 0; i < size;) {
        const char c = body[i];
        if (c == '"') {
            i = skip_string(body, i, size);
            continue;
        }
        i++;
        if (c == '{' || c == '[')
            depth++;
        if (depth > RW_DEPTH_MAX)
            return "The body is nested more than 16 deep.";
        if ((c == '}' || c == ']') && depth > 0)
            depth--;
        tokens += c == '{' || c == '[' || c == ',' || c == ':';
        if (tokens > RW_TOKENS_MAX)
            return "The body holds more members than any examination record can.";
    }
    return NULL;
}

const char *rw_scan_body(const char *body, size_t size) {
    if (size > RW_BODY_MAX)
        return "The body is larger than 256 KiB.";
    const char *why = scan_bytes(body, size);
    return why ? why : scan_shape(body, size);
}

int rw_pointer_push(char *pointer, size_t size, const char *key, size_t key_size) {
    const size_t start = strlen(pointer);
    size_t at = start;
    bool fits = at + 1 < size;
    if (fits)
        pointer[at++] = '/';
    for (size_t i = 0; fits && i < key_size; i++) {
        const bool special = key[i] == '~' || key[i] == '/';
        fits = at + (special ? 2 : 1) < size;
        if (!fits)
            break;
        pointer[at++] = special ? '~' : key[i];
        if (special)
            pointer[at++] = key[i] == '~' ? '0' : '1';
    }
    pointer[fits ? at : start] = '\0';
    return fits;
}

struct level {
    const char *key;
    size_t key_size, index;
    bool object, in_value;
};

/* One structural character outside strings; returns the new depth. */
static size_t step(struct level *levels, size_t depth, char c) {
    if ((c == '{' || c == '[') && depth < RW_DEPTH_MAX)
        levels[depth++] = (struct level){.object = c == '{'};
    else if ((c == '}' || c == ']') && depth > 0)
        depth--;
    else if (depth > 0 && c == ':')
        levels[depth - 1].in_value = true;
    else if (depth > 0 && c == ',') {
        levels[depth - 1].in_value = false;
        levels[depth - 1].index++;
    }
    return depth;
}

void rw_scan_pointer(const char *body, size_t end, char *pointer, size_t size) {
    struct level levels[RW_DEPTH_MAX];
    size_t depth = 0;
    for (size_t i = 0; i < end;) {
        if (body[i] != '"') {
            depth = step(levels, depth, body[i++]);
            continue;
        }
        const size_t after = skip_string(body, i, end);
        const bool closed = after >= i + 2 && body[after - 1] == '"';
        if (closed && depth > 0 && levels[depth - 1].object && !levels[depth - 1].in_value) {
            levels[depth - 1].key = body + i + 1;
            levels[depth - 1].key_size = after - i - 2;
        }
        i = after;
    }
    pointer[0] = '\0';
    for (size_t d = 0; d < depth; d++) {
        const struct level *level = &levels[d];
        char index[24];
        snprintf(index, sizeof index, "%zu", level->index);
        const char *key = level->object ? level->key : index;
        const size_t key_size = level->object ? level->key_size : strlen(index);
        /* An escaped name would have to be decoded to be a pointer: point at its parent instead. */
        if (!key || memchr(key, '\\', key_size) || !rw_pointer_push(pointer, size, key, key_size))
            break;
    }
}
