#include "json_writer.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void before(struct rw_json *json) {
    if (json->comma)
        rw_buffer_add(&json->out, ",", 1);
    json->comma = true;
}

void rw_json_open(struct rw_json *json, char bracket) {
    before(json);
    rw_buffer_add(&json->out, &bracket, 1);
    json->comma = false;
}

void rw_json_close(struct rw_json *json, char bracket) {
    rw_buffer_add(&json->out, &bracket, 1);
    json->comma = true;
}

static bool plain(unsigned char c) {
    return c >= 0x20 && c != '"' && c != '\\';
}

static void escape(struct rw_buffer *out, unsigned char c) {
    static const char letters[][2] = {{'\b', 'b'}, {'\f', 'f'}, {'\n', 'n'}, {'\r', 'r'},
                                      {'\t', 't'}, {'"', '"'},  {'\\', '\\'}};
    for (size_t i = 0; i < sizeof letters / sizeof *letters; i++)
        if ((unsigned char)letters[i][0] == c) {
            rw_buffer_add(out, "\\", 1);
            rw_buffer_add(out, &letters[i][1], 1);
            return;
        }
    rw_buffer_print(out, "\\u%04x", c);
}

void rw_json_string_part(struct rw_json *json, const char *text, size_t size) {
    before(json);
    rw_buffer_add(&json->out, "\"", 1);
    size_t from = 0;
    for (size_t i = 0; i < size; i++) {
        if (plain((unsigned char)text[i]))
            continue;
        rw_buffer_add(&json->out, text + from, i - from);
        escape(&json->out, (unsigned char)text[i]);
        from = i + 1;
    }
    rw_buffer_add(&json->out, text + from, size - from);
    rw_buffer_add(&json->out, "\"", 1);
}

void rw_json_string(struct rw_json *json, const char *text) {
    if (text)
        rw_json_string_part(json, text, strlen(text));
    else
        rw_json_null(json);
}

void rw_json_key(struct rw_json *json, const char *key) {
    rw_json_string_part(json, key, strlen(key));
    rw_buffer_add(&json->out, ":", 1);
    json->comma = false;
}

void rw_json_number(struct rw_json *json, double value) {
    if (!isfinite(value)) {
        rw_json_null(json);
        return;
    }
    char digits[32];
    snprintf(digits, sizeof digits, "%.6g", value);
    rw_json_literal(json, strcmp(digits, "-0") == 0 ? "0" : digits);
}

void rw_json_exact(struct rw_json *json, double value) {
    if (!isfinite(value)) {
        rw_json_null(json);
        return;
    }
    char digits[40] = "0";
    for (int precision = 6; precision <= 17; precision++) {
        snprintf(digits, sizeof digits, "%.*g", precision, value);
        if (strtod(digits, NULL) == value)
            break;
    }
    rw_json_literal(json, digits);
}

void rw_json_integer(struct rw_json *json, int64_t value) {
    before(json);
    rw_buffer_print(&json->out, "%" PRId64, value);
}

void rw_json_bool(struct rw_json *json, bool value) {
    rw_json_literal(json, value ? "true" : "false");
}

void rw_json_literal(struct rw_json *json, const char *text) {
    before(json);
    rw_buffer_text(&json->out, text);
}

void rw_json_null(struct rw_json *json) {
    rw_json_literal(json, "null");
}

void rw_json_key_open(struct rw_json *json, const char *key, char bracket) {
    rw_json_key(json, key);
    rw_json_open(json, bracket);
}

void rw_json_key_string(struct rw_json *json, const char *key, const char *text) {
    rw_json_key(json, key);
    rw_json_string(json, text);
}

void rw_json_key_number(struct rw_json *json, const char *key, double value) {
    rw_json_key(json, key);
    rw_json_number(json, value);
}

void rw_json_key_exact(struct rw_json *json, const char *key, double value) {
    rw_json_key(json, key);
    rw_json_exact(json, value);
}

void rw_json_key_integer(struct rw_json *json, const char *key, int64_t value) {
    rw_json_key(json, key);
    rw_json_integer(json, value);
}

void rw_json_key_bool(struct rw_json *json, const char *key, bool value) {
    rw_json_key(json, key);
    rw_json_bool(json, value);
}
