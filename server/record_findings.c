/* The sections of a record that hold findings: ids by the engine's vocabulary, values by its scales. */
#include "record_parse.h"
#include "wording.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof *(array))

static const struct rw_scale *scale_of(uint16_t check) {
    const struct rw_model *model = rw_model();
    return &model->scales[model->checks[check].scale];
}

static bool is_scale(uint16_t check, const char *id) {
    return strcmp(scale_of(check)->id, id) == 0;
}

/* The word on the scale for a JSON value of the type that the scale wants; NULL for another type. */
static const char *word(uint16_t check, const json_t *value, char digit[2]) {
    if (is_scale(check, "bool"))
        return json_is_true(value) ? "true" : json_is_false(value) ? "false" : NULL;
    if (!is_scale(check, "grade") || !json_is_number(value))
        return json_string_value(value);
    for (int grade = 0; grade <= 5; grade++)
        if (json_number_value(value) >= grade && json_number_value(value) <= grade) {
            digit[0] = (char)('0' + grade);
            digit[1] = '\0';
            return digit;
        }
    return NULL;
}

static void value_issue(struct rw_parse *parse, const char *pointer, uint16_t check) {
    const struct rw_scale *scale = scale_of(check);
    if (is_scale(check, "bool")) {
        rw_parse_issue(parse, pointer, "Must be true or false.");
        return;
    }
    char detail[sizeof parse->issues->items->detail] = "Must be one of:";
    size_t at = strlen(detail);
    for (size_t i = 0; i < scale->value_count && at < sizeof detail; i++)
        at += (size_t)snprintf(detail + at, sizeof detail - at, " %s", scale->values[i].text);
    if (at < sizeof detail)
        snprintf(detail + at, sizeof detail - at, "%s.", rw_scale_untestable(scale) ? " untestable" : "");
    rw_parse_issue(parse, pointer, detail);
}

static void read_finding(struct rw_parse *parse, const char *pointer, uint16_t check, json_t *value) {
    char digit[2];
    const char *text = word(check, value, digit);
    parse->given++;
    if (text && rw_scale_untestable(scale_of(check)) && strcmp(text, "untestable") == 0) {
        if (parse->untestable_count < RW_MAX_CHECKS)
            parse->untestable[parse->untestable_count++] = check;
        return;
    }
    const uint16_t index = text ? rw_value_find(check, text) : RW_NONE;
    struct rw_exam *exam = parse->exam;
    if (index == RW_NONE)
        value_issue(parse, pointer, check);
    else if (exam->finding_count < RW_MAX_CHECKS) /* the vocabulary is no larger, and no member comes twice */
        exam->findings[exam->finding_count++] = (struct rw_finding){.check = check, .value = (uint8_t)index};
}

/* An object of id → value. */
static void read_section(struct rw_parse *parse, const char *pointer, json_t *object,
                         enum rw_section section) {
    if (!json_is_object(object)) {
        rw_parse_issue(parse, pointer, "Must be an object.");
        return;
    }
    const char *id;
    json_t *value;
    json_object_foreach(object, id, value) {
        char at[RW_POINTER_SIZE];
        rw_parse_join(at, pointer, id);
        const uint16_t check = rw_check_find(section, id);
        if (check != RW_NONE) {
            read_finding(parse, at, check, value);
            continue;
        }
        parse->given++;
        rw_parse_issue(parse, at, "Unknown id: the vocabulary has no such finding in this section.");
    }
}

#define SECTION_READER(function, section)                                                                    \
    void function(struct rw_parse *parse, const char *pointer, json_t *value) {                              \
        read_section(parse, pointer, value, section);                                                        \
    }
SECTION_READER(rw_parse_motor, RW_SECTION_MOTOR)
SECTION_READER(rw_parse_movements, RW_SECTION_MOVEMENT)
SECTION_READER(rw_parse_reflexes, RW_SECTION_REFLEX)
SECTION_READER(rw_parse_signs, RW_SECTION_SIGN)
SECTION_READER(rw_parse_wasting, RW_SECTION_WASTING)
SECTION_READER(rw_parse_percussion, RW_SECTION_PERCUSSION)
static SECTION_READER(read_skin_roots, RW_SECTION_SKIN_ROOT) static SECTION_READER(read_skin_nerves, RW_SECTION_SKIN_NERVE) static SECTION_READER(read_pseudomeningocele, RW_SECTION_PSEUDOMENINGOCELE) static SECTION_READER(
    read_root_avulsion,
    RW_SECTION_ROOT_AVULSION) static SECTION_READER(read_snap,
                                                    RW_SECTION_SNAP) static SECTION_READER(read_cmap,
                                                                                           RW_SECTION_CMAP) static SECTION_READER(read_paraspinal,
                                                                                                                                  RW_SECTION_PARASPINAL)

    void rw_parse_sensation(struct rw_parse *parse, const char *pointer, json_t *value) {
    static const struct rw_member_reader readers[] = {{"roots", read_skin_roots},
                                                      {"nerves", read_skin_nerves}};
    rw_parse_members(parse, pointer, value, readers, COUNT(readers));
}

/* ---- investigations ---- */

static void read_imaging(struct rw_parse *parse, const char *pointer, json_t *value) {
    static const struct rw_member_reader readers[] = {{"pseudomeningocele", read_pseudomeningocele},
                                                      {"root_avulsion", read_root_avulsion}};
    rw_parse_members(parse, pointer, value, readers, COUNT(readers));
}

static void read_needle(struct rw_parse *parse, const char *pointer, const char *muscle, json_t *object) {
    static const struct {
        const char *name;
        enum rw_section section;
    } parts[] = {{"denervation", RW_SECTION_EMG_DENERVATION}, {"recruitment", RW_SECTION_EMG_RECRUITMENT}};
    if (!json_is_object(object) || json_object_size(object) == 0) {
        rw_parse_issue(parse, pointer, "Must be an object with denervation, recruitment or both.");
        return;
    }
    const char *name;
    json_t *value;
    json_object_foreach(object, name, value) {
        char at[RW_POINTER_SIZE];
        rw_parse_join(at, pointer, name);
        size_t i = 0;
        while (i < COUNT(parts) && strcmp(parts[i].name, name) != 0)
            i++;
        const uint16_t check = i < COUNT(parts) ? rw_check_find(parts[i].section, muscle) : RW_NONE;
        if (check == RW_NONE)
            rw_parse_issue(parse, at, "Unknown member.");
        else
            read_finding(parse, at, check, value);
    }
}

static void read_emg(struct rw_parse *parse, const char *pointer, json_t *value) {
    if (!json_is_object(value)) {
        rw_parse_issue(parse, pointer, "Must be an object.");
        return;
    }
    const char *muscle;
    json_t *object;
    json_object_foreach(value, muscle, object) {
        char at[RW_POINTER_SIZE];
        rw_parse_join(at, pointer, muscle);
        if (rw_check_find(RW_SECTION_EMG_DENERVATION, muscle) != RW_NONE) {
            read_needle(parse, at, muscle, object);
            continue;
        }
        parse->given++;
        rw_parse_issue(parse, at, "Unknown id: the vocabulary has no such muscle.");
    }
}

static void read_hemidiaphragm(struct rw_parse *parse, const char *pointer, json_t *value) {
    read_finding(parse, pointer, rw_check_find(RW_SECTION_HEMIDIAPHRAGM, ""), value);
}

void rw_parse_investigations(struct rw_parse *parse, const char *pointer, json_t *value) {
    static const struct rw_member_reader readers[] = {
        {"imaging", read_imaging},
        {"snap", read_snap},
        {"cmap", read_cmap},
        {"emg", read_emg},
        {"paraspinal_denervation", read_paraspinal},
        {"hemidiaphragm", read_hemidiaphragm},
    };
    rw_parse_members(parse, pointer, value, readers, COUNT(readers));
}

/* ---- otherwise normal ---- */

void rw_parse_otherwise_normal(struct rw_parse *parse, const char *pointer, json_t *value) {
    static const struct {
        const char *name;
        enum rw_section section;
    } sections[] = {{"motor", RW_SECTION_MOTOR},
                    {"sensation", RW_SECTION_SKIN_NERVE},
                    {"reflexes", RW_SECTION_REFLEX},
                    {"signs", RW_SECTION_SIGN}};
    if (!json_is_array(value)) {
        rw_parse_issue(parse, pointer, "Must be a list of sections.");
        return;
    }
    for (size_t i = 0; i < json_array_size(value); i++) {
        char at[RW_POINTER_SIZE], index[24];
        snprintf(index, sizeof index, "%zu", i);
        rw_parse_join(at, pointer, index);
        const char *text = json_string_value(json_array_get(value, i));
        size_t s = 0;
        while (text && s < COUNT(sections) && strcmp(sections[s].name, text) != 0)
            s++;
        parse->given++;
        if (!text || s == COUNT(sections))
            rw_parse_issue(parse, at, "Must be \"motor\", \"sensation\", \"reflexes\" or \"signs\".");
        else if (parse->fill[sections[s].section])
            rw_parse_issue(parse, at, "This section is in the list already.");
        else
            parse->fill[sections[s].section] = true;
    }
}

/* Members of an object have no order: sums, and so the answer's bytes, must not depend on it. */
static int by_check(const void *a, const void *b) {
    const struct rw_finding *x = a, *y = b;
    return (int)x->check - (int)y->check;
}

void rw_parse_fill(struct rw_parse *parse) {
    struct rw_exam *exam = parse->exam;
    const size_t given = exam->finding_count;
    /* What could not be tested was given, so it must not be filled in as normal: while filling it stands in
     * the examination as an abnormal finding, which also keeps back the muscles of an untestable movement. */
    for (size_t i = 0; i < parse->untestable_count && exam->finding_count < RW_MAX_CHECKS; i++) {
        const uint8_t abnormal = scale_of(parse->untestable[i])->normal == 0;
        exam->findings[exam->finding_count++] =
            (struct rw_finding){.check = parse->untestable[i], .value = abnormal};
    }
    const size_t held = exam->finding_count - given;
    for (int s = 0; s < RW_SECTION_COUNT; s++)
        if (parse->fill[s])
            rw_exam_fill_normal(exam, (enum rw_section)s);
    exam->finding_count -= held;
    memmove(exam->findings + given, exam->findings + given + held,
            (exam->finding_count - given) * sizeof *exam->findings);
    qsort(exam->findings, exam->finding_count, sizeof *exam->findings, by_check);
}
