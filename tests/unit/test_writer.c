/* The forms that are written and read: canonical records, JSON text, dates. */
#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dates.h"
#include "json_writer.h"
#include "records.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

/* ---- canonical form ---- */

static const struct {
    const char *body, *canonical;
} canonicals[] = {
    {"{}", "{}"},
    {"{ \"b\" : [ 1 , true , null , false ] , \"a\" : { } }", "{\"a\":{},\"b\":[1,true,null,false]}"},
    {"{\"b\":1,\"aa\":2,\"B\":3,\"a\":4}", "{\"B\":3,\"a\":4,\"aa\":2,\"b\":1}"},
    {"{\"t\":\"\\u0061\\\"\\\\\\/\\n\\u001f\"}", "{\"t\":\"a\\\"\\\\/\\n\\u001f\"}"},
    /* numbers as ECMA-262 writes them */
    {"[0.0,-0.0,-0,1.0,27.0,4e0,1E2]", "[0,0,0,1,27,4,100]"},
    {"[0.5,-2.5,27.25,0.1,1e-7,1.5e-7,0.000001,123456.789]",
     "[0.5,-2.5,27.25,0.1,1e-7,1.5e-7,0.000001,123456.789]"},
    {"[1e20,1e21,1.5e21,1e22,5e-324,1.7976931348623157e308]",
     "[100000000000000000000,1e+21,1.5e+21,1e+22,5e-324,1.7976931348623157e+308]"},
    {"[0.30000000000000004,9007199254740993.0]", "[0.30000000000000004,9007199254740992]"},
};

Test(writer, canonical_form_is_that_of_rfc_8785) {
    for (size_t i = 0; i < COUNT(canonicals); i++) {
        size_t size;
        json_t *value = json_loads(canonicals[i].body, 0, NULL);
        char *text = rw_record_canonical(value, &size);
        cr_expect_str_eq(text, canonicals[i].canonical);
        cr_expect_eq(size, strlen(text));
        free(text);
        json_decref(value);
    }
}

/* ---- writer ---- */

static char *written(struct rw_json *json) {
    char *text = rw_buffer_take(&json->out, NULL);
    cr_assert_not_null(text);
    json->comma = false;
    return text;
}

Test(writer, escapes_strings) {
    struct rw_json json = {0};
    char all[0x81];
    for (int c = 1; c < 0x80; c++)
        all[c - 1] = (char)c;
    memcpy(all + 0x7f, "", 1);
    rw_json_open(&json, '[');
    rw_json_string(&json, all);
    rw_json_string(&json, "\xc3\xa9 \xe2\x82\xac \xf0\x9d\x84\x9e");
    rw_json_string(&json, "");
    rw_json_string(&json, NULL);
    rw_json_close(&json, ']');
    char *text = written(&json);
    for (const char *c = text; *c; c++)
        cr_assert_geq((unsigned char)*c, 0x20);
    json_t *back = json_loads(text, 0, NULL);
    cr_assert_not_null(back, "%s", text);
    cr_assert_str_eq(json_string_value(json_array_get(back, 0)), all);
    cr_assert_str_eq(json_string_value(json_array_get(back, 1)), "\xc3\xa9 \xe2\x82\xac \xf0\x9d\x84\x9e");
    cr_assert_str_eq(json_string_value(json_array_get(back, 2)), "");
    cr_assert(json_is_null(json_array_get(back, 3)));
    json_decref(back);
    free(text);
}

static const struct {
    double value;
    const char *text;
} numbers[] = {
    {0, "0"},
    {-0.0, "0"},
    {1, "1"},
    {0.1, "0.1"},
    {1.0 / 3, "0.333333"},
    {-2.0 / 3, "-0.666667"},
    {0.9999999, "1"},
    {123456.7, "123457"},
    {1e-7, "1e-07"},
    {5e-324, "4.94066e-324"},
    {1e300, "1e+300"},
    {(double)NAN, "null"},
    {(double)INFINITY, "null"},
    {-(double)INFINITY, "null"},
};

Test(writer, rounds_numbers_to_six_digits) {
    for (size_t i = 0; i < COUNT(numbers); i++) {
        struct rw_json json = {0};
        rw_json_number(&json, numbers[i].value);
        char *text = written(&json);
        cr_expect_str_eq(text, numbers[i].text);
        free(text);
    }
}

Test(writer, keeps_exact_numbers) {
    static const double values[] = {0.1, 1.0 / 3, 0.67, 1e-300, 5e-324, DBL_MAX, DBL_MIN, -2.5, 0, 1};
    for (size_t i = 0; i < COUNT(values); i++) {
        struct rw_json json = {0};
        rw_json_exact(&json, values[i]);
        char *text = written(&json);
        const double back = strtod(text, NULL);
        cr_expect_eq(memcmp(&back, &values[i], sizeof back), 0, "%s", text);
        free(text);
    }
}

Test(writer, places_commas) {
    struct rw_json json = {0};
    rw_json_open(&json, '{');
    rw_json_key_open(&json, "a", '[');
    rw_json_integer(&json, -7);
    rw_json_open(&json, '{');
    rw_json_close(&json, '}');
    rw_json_bool(&json, true);
    rw_json_close(&json, ']');
    rw_json_key_string(&json, "b", "x");
    rw_json_key_bool(&json, "c", false);
    rw_json_close(&json, '}');
    char *text = written(&json);
    cr_assert_str_eq(text, "{\"a\":[-7,{},true],\"b\":\"x\",\"c\":false}");
    free(text);
}

/* ---- dates ---- */

static const struct {
    const char *text;
    bool date, time;
    int32_t day;
    int64_t seconds;
} times[] = {
    {"1970-01-01", true, false, 0, 0},
    {"1900-01-01", true, false, -25567, 0},
    {"2199-12-31", true, false, 84005, 0},
    {"2000-02-29", true, false, 11016, 0},
    {"2024-02-29", true, false, 19782, 0},
    {"2026-02-29", false, false, 0, 0},
    {"2100-02-29", false, false, 0, 0},
    {"2026-04-31", false, false, 0, 0},
    {"2026-00-10", false, false, 0, 0},
    {"2026-13-10", false, false, 0, 0},
    {"2026-01-00", false, false, 0, 0},
    {"1899-12-31", false, false, 0, 0},
    {"2200-01-01", false, false, 0, 0},
    {"2026-1-1", false, false, 0, 0},
    {"2026-03-02 ", false, false, 0, 0},
    {" 2026-03-02", false, false, 0, 0},
    {"20260302", false, false, 0, 0},
    {"", false, false, 0, 0},
    {"1970-01-01T00:00:00Z", false, true, 0, 0},
    {"1970-01-01T00:00:00+01:00", false, true, 0, -3600},
    {"1969-12-31T23:59:59-23:59", false, true, -1, 86339},
    {"2026-03-02T09:40:00Z", false, true, 20514, 1772444400},
    {"2026-03-02T09:40:00.5Z", false, true, 20514, 1772444400},
    {"2026-03-02T09:40:00.123456789+05:30", false, true, 20514, 1772424600},
    {"2026-03-02T09:40:00-00:00", false, true, 20514, 1772444400},
    {"2026-03-02T09:40:00", false, false, 0, 0},
    {"2026-03-02T09:40Z", false, false, 0, 0},
    {"2026-03-02T24:00:00Z", false, false, 0, 0},
    {"2026-03-02T23:60:00Z", false, false, 0, 0},
    {"2026-12-31T23:59:60Z", false, false, 0, 0},
    {"2026-03-02 09:40:00Z", false, false, 0, 0},
    {"2026-03-02t09:40:00z", false, false, 0, 0},
    {"2026-03-02T09:40:00.Z", false, false, 0, 0},
    {"2026-03-02T09:40:00,5Z", false, false, 0, 0},
    {"2026-03-02T09:40:00.1234567890Z", false, false, 0, 0},
    {"2026-03-02T09:40:00+24:00", false, false, 0, 0},
    {"2026-03-02T09:40:00+0530", false, false, 0, 0},
    {"2026-03-02T09:40:00+05:60", false, false, 0, 0},
    {"2026-03-02T09:40:00Zx", false, false, 0, 0},
};

Test(writer, reads_one_form_of_date_and_time) {
    for (size_t i = 0; i < COUNT(times); i++) {
        int32_t day = 0;
        struct rw_instant instant = {0};
        cr_expect_eq(rw_date_parse(times[i].text, &day), times[i].date, "%s", times[i].text);
        cr_expect_eq(rw_time_parse(times[i].text, &instant), times[i].time, "%s", times[i].text);
        if (times[i].date)
            cr_expect_eq(day, times[i].day, "%s: %d", times[i].text, day);
        if (times[i].time) {
            cr_expect_eq(instant.day, times[i].day, "%s: %d", times[i].text, instant.day);
            cr_expect_eq(instant.seconds, times[i].seconds, "%s", times[i].text);
        }
    }
}

Test(writer, days_and_dates_agree) {
    for (int32_t day = -25567; day <= 84005; day++) {
        char text[11];
        int32_t back;
        rw_day_text(day, text);
        cr_assert(rw_date_parse(text, &back), "%s", text);
        cr_assert_eq(back, day, "%s", text);
    }
}
