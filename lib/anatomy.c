/* Names and look-ups over the compiled model. */
#include "rootward.h"

#include <math.h>
#include <string.h>

const char *rw_status_name(enum rw_status status) {
    switch (status) {
    case RW_OK:
        return "ok";
    case RW_EINVAL:
        return "invalid";
    case RW_ENOSPACE:
        return "no space";
    case RW_ERANGE:
        return "out of range";
    }
    return "unknown";
}

const char *rw_mechanism_name(enum rw_mechanism mechanism) {
    static const char *const names[RW_MECHANISM_COUNT] = {
#define X(name, text) text,
        RW_MECHANISMS(X)
#undef X
    };
    return (unsigned)mechanism < RW_MECHANISM_COUNT ? names[mechanism] : NULL;
}

const char *rw_level_name(enum rw_level level) {
    static const char *const names[RW_LEVEL_COUNT] = {
#define X(name, text) text,
        RW_LEVELS(X)
#undef X
    };
    return (unsigned)level < RW_LEVEL_COUNT ? names[level] : NULL;
}

const char *rw_segment_name(enum rw_segment segment) {
    static const char *const names[RW_SEGMENT_COUNT] = {
#define X(name) #name,
        RW_SEGMENTS(X)
#undef X
    };
    return (unsigned)segment < RW_SEGMENT_COUNT ? names[segment] : NULL;
}

/* Checks are sorted by section, then by item. */
uint16_t rw_check_find(enum rw_section section, const char *item) {
    const struct rw_model *model = rw_model();
    size_t low = 0, high = model->check_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        const struct rw_check *check = &model->checks[middle];
        int order =
            check->section != section ? (check->section < section ? -1 : 1) : strcmp(check->item, item);
        if (order == 0)
            return (uint16_t)middle;
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return RW_NONE;
}

uint16_t rw_value_find(uint16_t check, const char *text) {
    const struct rw_model *model = rw_model();
    if (check >= model->check_count)
        return RW_NONE;
    const struct rw_scale *scale = &model->scales[model->checks[check].scale];
    for (uint16_t i = 0; i < scale->value_count; i++)
        if (strcmp(scale->values[i].text, text) == 0)
            return i;
    return RW_NONE;
}

uint16_t rw_target_find(enum rw_target_kind kind, const char *id) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < model->target_count; i++)
        if (model->targets[i].kind == kind && strcmp(model->targets[i].id, id) == 0)
            return (uint16_t)i;
    return RW_NONE;
}

double rw_fact_value(const char *id) {
    const struct rw_model *model = rw_model();
    size_t low = 0, high = model->fact_count; /* sorted by id */
    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        const int order = strcmp(id, model->facts[middle].id);
        if (order == 0)
            return model->facts[middle].value;
        if (order < 0)
            high = middle;
        else
            low = middle + 1;
    }
    return (double)NAN;
}
