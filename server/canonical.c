/* The canonical form of a record: RFC 8785, for documents whose strings and member names are ASCII, as those
 * of a valid record are. */
#include "json_writer.h"
#include "records.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Shortest digits that read back as the same double: value = 0.DIGITS * 10^point. */
static int shortest(double value, char digits[24], int *point) {
    char text[40];
    for (int precision = 0; precision <= 16; precision++) {
        snprintf(text, sizeof text, "%.*e", precision, value);
        if (strtod(text, NULL) == value)
            break;
    }
    int count = 0;
    const char *c = text;
    for (; *c != 'e'; c++)
        if (*c != '.')
            digits[count++] = *c;
    digits[count] = '\0';
    *point = (int)strtol(c + 1, NULL, 10) + 1;
    return count;
}

/* Number::toString of ECMA-262, as RFC 8785 asks. */
static void write_real(struct rw_json *json, double value) {
    if (fabs(value) <= 0) {
        rw_json_integer(json, 0);
        return;
    }
    char digits[24], text[64];
    int point;
    const int count = shortest(fabs(value), digits, &point);
    const char *sign = value < 0 ? "-" : "";
    if (count <= point && point <= 21)
        snprintf(text, sizeof text, "%s%s%.*s", sign, digits, point - count, "000000000000000000000");
    else if (0 < point && point <= 21)
        snprintf(text, sizeof text, "%s%.*s.%s", sign, point, digits, digits + point);
    else if (-6 < point && point <= 0)
        snprintf(text, sizeof text, "%s0.%.*s%s", sign, -point, "000000", digits);
    else
        snprintf(text, sizeof text, "%s%c%s%se%+d", sign, digits[0], count > 1 ? "." : "", digits + 1,
                 point - 1);
    rw_json_literal(json, text);
}

static int by_name(const void *a, const void *b) {
    const char *const *left = a;
    const char *const *right = b;
    return strcmp(*left, *right);
}

static void write_value(struct rw_json *json, const json_t *value);

static void write_object(struct rw_json *json, const json_t *object) {
    const size_t count = json_object_size(object);
    const char **names = malloc((count + 1) * sizeof *names);
    if (!names) {
        json->out.failed = true;
        return;
    }
    size_t at = 0;
    /* jansson's iterators take a non-const object, yet change nothing in it */
    const union {
        const json_t *given;
        json_t *iterated;
    } members = {object};
    for (void *member = json_object_iter(members.iterated); member;
         member = json_object_iter_next(members.iterated, member))
        names[at++] = json_object_iter_key(member);
    qsort(names, count, sizeof *names, by_name);
    rw_json_open(json, '{');
    for (size_t i = 0; i < count; i++) {
        rw_json_key(json, names[i]);
        write_value(json, json_object_get(object, names[i]));
    }
    rw_json_close(json, '}');
    free(names);
}

/* Recursion is bounded: a record is at most RW_DEPTH_MAX deep. */
static void write_value(struct rw_json *json, const json_t *value) {
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        write_object(json, value);
        break;
    case JSON_ARRAY:
        rw_json_open(json, '[');
        for (size_t i = 0; i < json_array_size(value); i++)
            write_value(json, json_array_get(value, i));
        rw_json_close(json, ']');
        break;
    case JSON_STRING:
        rw_json_string_part(json, json_string_value(value), json_string_length(value));
        break;
    case JSON_INTEGER:
        rw_json_integer(json, json_integer_value(value));
        break;
    case JSON_REAL:
        write_real(json, json_real_value(value));
        break;
    case JSON_TRUE:
    case JSON_FALSE:
        rw_json_bool(json, json_is_true(value));
        break;
    case JSON_NULL:
        rw_json_null(json);
        break;
    }
}

char *rw_record_canonical(const json_t *record, size_t *size) {
    struct rw_json json = {0};
    write_value(&json, record);
    return rw_buffer_take(&json.out, size);
}
