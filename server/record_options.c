/* Which donors may be spent, and what is asked of the plan. */
#include "dates.h"
#include "record_parse.h"

#include <stdio.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof *(array))

static void read_rib_fractures(struct rw_parse *parse, const char *pointer, json_t *value) {
    if (json_is_boolean(value))
        parse->exam->rib_fractures = json_is_true(value);
    else
        rw_parse_issue(parse, pointer, "Must be true or false.");
}

static void read_donors(struct rw_parse *parse, const char *pointer, json_t *value, bool *chosen) {
    if (!json_is_array(value)) {
        rw_parse_issue(parse, pointer, "Must be a list of donors.");
        return;
    }
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < json_array_size(value); i++) {
        char at[RW_POINTER_SIZE], index[24];
        snprintf(index, sizeof index, "%zu", i);
        rw_parse_join(at, pointer, index);
        const char *text = json_string_value(json_array_get(value, i));
        size_t d = 0;
        while (text && d < model->donor_count && strcmp(model->donors[d].id, text) != 0)
            d++;
        if (!text || d == model->donor_count)
            rw_parse_issue(parse, at, "Must be one of the donors of the vocabulary.");
        else if (chosen[d])
            rw_parse_issue(parse, at, "This donor is in the list already.");
        else
            chosen[d] = true;
    }
}

static void read_declined(struct rw_parse *parse, const char *pointer, json_t *value) {
    read_donors(parse, pointer, value, parse->exam->declined);
}

static void read_used(struct rw_parse *parse, const char *pointer, json_t *value) {
    read_donors(parse, pointer, value, parse->exam->used);
}

void rw_parse_donor_limits(struct rw_parse *parse, const char *pointer, json_t *value) {
    static const struct rw_member_reader readers[] = {
        {"rib_fractures", read_rib_fractures}, {"declined", read_declined}, {"used", read_used}};
    rw_parse_members(parse, pointer, value, readers, COUNT(readers));
}

/* ---- plan options ---- */

static void read_fixed(struct rw_parse *parse, const char *pointer, json_t *value) {
    read_donors(parse, pointer, value, parse->exam->options.fixed);
}

static void read_excluded(struct rw_parse *parse, const char *pointer, json_t *value) {
    read_donors(parse, pointer, value, parse->exam->options.excluded);
}

static void read_priorities(struct rw_parse *parse, const char *pointer, json_t *value) {
    struct rw_plan_options *options = &parse->exam->options;
    if (!json_is_array(value)) {
        rw_parse_issue(parse, pointer, "Must be a list of functions, the first the most important.");
        return;
    }
    for (size_t i = 0; i < json_array_size(value); i++) {
        char at[RW_POINTER_SIZE], index[24];
        snprintf(index, sizeof index, "%zu", i);
        rw_parse_join(at, pointer, index);
        const char *text = json_string_value(json_array_get(value, i));
        const uint16_t function = text ? rw_target_find(RW_TARGET_FUNCTION, text) : RW_NONE;
        bool again = false;
        for (size_t k = 0; k < options->priority_count; k++)
            again = again || options->priorities[k] == function;
        if (function == RW_NONE)
            rw_parse_issue(parse, at, "Must be one of the functions of the vocabulary.");
        else if (again)
            rw_parse_issue(parse, at, "This function is in the list already.");
        else if (options->priority_count < RW_MAX_FUNCTIONS)
            options->priorities[options->priority_count++] = function;
    }
}

static void read_surgery_date(struct rw_parse *parse, const char *pointer, json_t *value) {
    enum { MOST_DAYS = 3653 }; /* ten years: further off is a slip of the pen */
    const char *text = json_string_value(value);
    int32_t day = 0;
    if (!text || !rw_date_parse(text, &day))
        rw_parse_issue(parse, pointer, "Must be a date like 2026-05-04.");
    else if (parse->examined && day < parse->examined_at.day)
        rw_parse_issue(parse, pointer, "Lies before the examination.");
    else if (day > (parse->examined ? parse->examined_at.day : parse->now_day) + MOST_DAYS)
        rw_parse_issue(parse, pointer, "Lies more than ten years ahead.");
    else
        parse->exam->options.surgery_day = day;
}

void rw_parse_plan_options(struct rw_parse *parse, const char *pointer, json_t *value) {
    static const struct rw_member_reader readers[] = {{"donors_fixed", read_fixed},
                                                      {"donors_excluded", read_excluded},
                                                      {"priorities", read_priorities},
                                                      {"surgery_date", read_surgery_date}};
    const struct rw_plan_options *options = &parse->exam->options;
    rw_parse_members(parse, pointer, value, readers, COUNT(readers));
    for (size_t d = 0; d < rw_model()->donor_count; d++)
        if (options->fixed[d] && options->excluded[d])
            rw_parse_issue(parse, pointer, "A donor is both fixed and excluded.");
}
