/* JSON, written as it goes: commas and escapes are the writer's business, nesting is the caller's. */
#ifndef ROOTWARD_JSON_WRITER_H
#define ROOTWARD_JSON_WRITER_H

#include "buffer.h"

#include <stdint.h>

struct rw_json {
    struct rw_buffer out;
    bool comma; /* the next key or value needs one before it */
};

void rw_json_open(struct rw_json *json, char bracket);
void rw_json_close(struct rw_json *json, char bracket);
void rw_json_key(struct rw_json *json, const char *key);

void rw_json_string(struct rw_json *json, const char *text); /* NULL writes null */
void rw_json_string_part(struct rw_json *json, const char *text, size_t size);
void rw_json_number(struct rw_json *json, double value); /* six significant digits; null when not finite */
void rw_json_exact(struct rw_json *json, double value);  /* reads back as the same double */
void rw_json_integer(struct rw_json *json, int64_t value);
void rw_json_bool(struct rw_json *json, bool value);
void rw_json_null(struct rw_json *json);
void rw_json_literal(struct rw_json *json, const char *text); /* already JSON */

/* A key and its value at once. */
void rw_json_key_open(struct rw_json *json, const char *key, char bracket);
void rw_json_key_string(struct rw_json *json, const char *key, const char *text);
void rw_json_key_number(struct rw_json *json, const char *key, double value);
void rw_json_key_exact(struct rw_json *json, const char *key, double value);
void rw_json_key_integer(struct rw_json *json, const char *key, int64_t value);
void rw_json_key_bool(struct rw_json *json, const char *key, bool value);

#endif
