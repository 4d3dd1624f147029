#include "records.h"

#include "record_parse.h"
#include "scan.h"
#include "text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof *(array))

/* ---- issues ---- */

void rw_parse_issue(struct rw_parse *parse, const char *pointer, const char *detail) {
    struct rw_issues *issues = parse->issues;
    if (issues->count == parse->issue_capacity) {
        const size_t capacity = parse->issue_capacity ? parse->issue_capacity * 2 : 8;
        struct rw_issue *items = realloc(issues->items, capacity * sizeof *items);
        if (!items) {
            parse->out_of_memory = true;
            return;
        }
        issues->items = items;
        parse->issue_capacity = capacity;
    }
    struct rw_issue *issue = &issues->items[issues->count++];
    snprintf(issue->pointer, sizeof issue->pointer, "%s", pointer);
    snprintf(issue->detail, sizeof issue->detail, "%s", detail);
}

void rw_issues_release(struct rw_issues *issues) {
    free(issues->items);
    *issues = (struct rw_issues){0};
}

void rw_parse_join(char pointer[RW_POINTER_SIZE], const char *parent, const char *key) {
    snprintf(pointer, RW_POINTER_SIZE, "%s", parent);
    rw_pointer_push(pointer, RW_POINTER_SIZE, key, strlen(key));
}

/* ---- members ---- */

void rw_parse_members(struct rw_parse *parse, const char *pointer, json_t *object,
                      const struct rw_member_reader *readers, size_t count) {
    if (!json_is_object(object)) {
        rw_parse_issue(parse, pointer, "Must be an object.");
        return;
    }
    const char *name;
    json_t *value;
    json_object_foreach(object, name, value) {
        char at[RW_POINTER_SIZE];
        rw_parse_join(at, pointer, name);
        size_t i = 0;
        while (i < count && strcmp(readers[i].name, name) != 0)
            i++;
        if (i < count)
            readers[i].read(parse, at, value);
        else
            rw_parse_issue(parse, at, "Unknown member.");
    }
}

static void read_version(struct rw_parse *parse, const char *pointer, json_t *value) {
    const double version = json_number_value(value);
    if (!json_is_number(value) || version < 1 || version > 1)
        rw_parse_issue(parse, pointer, "Must be 1, the version of this contract.");
}

static void read_pseudonym(struct rw_parse *parse, const char *pointer, json_t *value) {
    const char *text = json_string_value(value);
    if (!text || !rw_is_word(text, 64, "._-"))
        rw_parse_issue(parse, pointer,
                       "Must be a pseudonym of 1 to 64 letters, digits, dots, underscores or hyphens.");
}

static void read_side(struct rw_parse *parse, const char *pointer, json_t *value) {
    const char *text = json_string_value(value);
    if (text && strcmp(text, "left") == 0)
        parse->exam->side = RW_SIDE_LEFT;
    else if (text && strcmp(text, "right") == 0)
        parse->exam->side = RW_SIDE_RIGHT;
    else
        rw_parse_issue(parse, pointer, "Must be \"left\" or \"right\".");
}

static void read_examined_at(struct rw_parse *parse, const char *pointer, json_t *value) {
    (void)value; /* read_examination_time() has been here before, so that onset_at can be compared wherever it
                    stands */
    if (!parse->examined)
        rw_parse_issue(parse, pointer,
                       "Must be a time like 2026-03-02T09:40:00Z, with its zone (Z or +hh:mm).");
    else if (parse->examined_at.day > parse->now_day + 1)
        rw_parse_issue(parse, pointer, "Lies in the future.");
}

static void read_onset_at(struct rw_parse *parse, const char *pointer, json_t *value) {
    const char *text = json_string_value(value);
    struct rw_instant onset;
    const bool date = text && rw_date_parse(text, &onset.day);
    if (!date && !(text && rw_time_parse(text, &onset))) {
        rw_parse_issue(parse, pointer, "Must be a date like 2026-01-11, or a time with its zone.");
        return;
    }
    const struct rw_instant *exam = &parse->examined_at;
    if (parse->examined && (date ? onset.day > exam->day : rw_instant_after(&onset, exam)))
        rw_parse_issue(parse, pointer, "Lies after the examination.");
    else if (!parse->examined && onset.day > parse->now_day + 1)
        rw_parse_issue(parse, pointer, "Lies in the future.");
    /* a time in an offset further east may bear a later date than the examination, yet come before it */
    parse->exam->onset_day = parse->examined && onset.day > exam->day ? exam->day : onset.day;
}

static bool number_within(const json_t *value, double low, double high) {
    const double number = json_number_value(value);
    return json_is_number(value) && number >= low && number <= high;
}

static void read_age(struct rw_parse *parse, const char *pointer, json_t *value) {
    if (number_within(value, 0, 120))
        parse->exam->age_years = json_number_value(value);
    else
        rw_parse_issue(parse, pointer, "Must be a number from 0 to 120.");
}

static void read_pain(struct rw_parse *parse, const char *pointer, json_t *value) {
    if (!number_within(value, 0, 10))
        rw_parse_issue(parse, pointer, "Must be a number from 0 to 10.");
}

static void read_mechanism(struct rw_parse *parse, const char *pointer, json_t *value) {
    const char *text = json_string_value(value);
    for (int i = 0; text && i < RW_MECHANISM_COUNT; i++)
        if (strcmp(rw_mechanism_name((enum rw_mechanism)i), text) == 0) {
            parse->exam->mechanism = (enum rw_mechanism)i;
            return;
        }
    rw_parse_issue(parse, pointer, "Must be one of the mechanisms of the vocabulary.");
}

static void read_daily_routine(struct rw_parse *parse, const char *pointer, json_t *value) {
    const char *text = json_string_value(value);
    if (!text ||
        (strcmp(text, "independent") != 0 && strcmp(text, "some_help") != 0 && strcmp(text, "unable") != 0))
        rw_parse_issue(parse, pointer, "Must be \"independent\", \"some_help\" or \"unable\".");
}

/* ---- the record ---- */

/* The age is in whole years as a rule: a year and a month of room. */
static bool before_birth(const struct rw_exam *exam) {
    enum { YEAR = 366, ROOM = 396 };
    return exam->onset_day != RW_NO_DAY && !isnan(exam->age_years) &&
           (double)exam->examined_day - exam->onset_day > exam->age_years * YEAR + ROOM;
}

static void read_record(struct rw_parse *parse, json_t *root) {
    static const struct rw_member_reader readers[] = {
        {"exam_version", read_version},
        {"subject", read_pseudonym},
        {"examiner", read_pseudonym},
        {"side", read_side},
        {"examined_at", read_examined_at},
        {"onset_at", read_onset_at},
        {"age_years", read_age},
        {"mechanism", read_mechanism},
        {"motor", rw_parse_motor},
        {"movements", rw_parse_movements},
        {"sensation", rw_parse_sensation},
        {"reflexes", rw_parse_reflexes},
        {"signs", rw_parse_signs},
        {"wasting", rw_parse_wasting},
        {"percussion", rw_parse_percussion},
        {"investigations", rw_parse_investigations},
        {"otherwise_normal", rw_parse_otherwise_normal},
        {"pain_0_10", read_pain},
        {"daily_routine", read_daily_routine},
        {"donor_limits", rw_parse_donor_limits},
        {"plan_options", rw_parse_plan_options},
    };
    const char *examined_at = json_string_value(json_object_get(root, "examined_at"));
    parse->examined = examined_at && rw_time_parse(examined_at, &parse->examined_at);
    if (parse->examined)
        parse->exam->examined_day = parse->examined_at.day;

    rw_parse_members(parse, "", root, readers, COUNT(readers));
    if (!json_is_object(root))
        return;
    if (!json_object_get(root, "side"))
        rw_parse_issue(parse, "/side", "Is required: \"left\" or \"right\".");
    if (!json_object_get(root, "examined_at"))
        rw_parse_issue(parse, "/examined_at", "Is required: a time with its zone.");
    if (parse->given == 0)
        rw_parse_issue(parse, "", "At least one finding is required.");
    if (parse->examined && before_birth(parse->exam))
        rw_parse_issue(parse, "/onset_at", "Lies before birth, by the age given.");
}

/* Says where the parser stopped and why, in our own words: its own text repeats what was sent. */
static void syntax_issue(struct rw_parse *parse, const char *body, const json_error_t *error) {
    char pointer[RW_POINTER_SIZE] = "", detail[sizeof parse->issues->items->detail];
    const char *what = "Not JSON";
    if (json_error_code(error) == json_error_duplicate_key) {
        what = "This member is given twice";
        rw_scan_pointer(body, (size_t)error->position, pointer, sizeof pointer);
    } else if (json_error_code(error) == json_error_end_of_input_expected) {
        what = "There is more after the end of the record";
    } else if (json_error_code(error) == json_error_numeric_overflow) {
        what = "A number is too large";
    } else if (json_error_code(error) == json_error_null_character ||
               json_error_code(error) == json_error_null_byte_in_key) {
        what = "A text holds a NUL character";
    } else if (json_error_code(error) == json_error_premature_end_of_input) {
        what = "The record ends too early";
    }
    snprintf(detail, sizeof detail, "%s: line %d, column %d.", what, error->line, error->column);
    rw_parse_issue(parse, pointer, detail);
}

static json_t *load(struct rw_parse *parse, const char *body, size_t size) {
    const char *why = rw_scan_body(body, size);
    if (why) {
        rw_parse_issue(parse, "", why);
        return NULL;
    }
    json_error_t error;
    json_t *root = json_loadb(body, size, JSON_REJECT_DUPLICATES, &error);
    /* jansson names no reason when an allocation fails outside its reader */
    if (!root && (json_error_code(&error) == json_error_out_of_memory ||
                  json_error_code(&error) == json_error_unknown))
        parse->out_of_memory = true;
    else if (!root)
        syntax_issue(parse, body, &error);
    return root;
}

int rw_record_parse(const char *body, size_t size, int32_t now_day, struct rw_exam *exam, json_t **record,
                    struct rw_issues *issues) {
    *record = NULL;
    *issues = (struct rw_issues){0};
    *exam =
        (struct rw_exam){.mechanism = RW_MECHANISM_UNKNOWN, .onset_day = RW_NO_DAY, .age_years = (double)NAN};
    struct rw_parse parse = {.exam = exam, .issues = issues, .now_day = now_day};

    json_t *root = load(&parse, body, size);
    if (!root)
        return parse.out_of_memory ? 500 : 400;
    read_record(&parse, root);
    if (issues->count == 0 && !parse.out_of_memory) {
        rw_parse_fill(&parse);
        *record = root;
        return 0;
    }
    json_decref(root);
    return parse.out_of_memory ? 500 : 422;
}
