/* GET /v1/vocabulary: every id that a record or an answer may hold, with its label, how it is tested and its
 * scale. */
#include "json_writer.h"
#include "records.h"
#include "wording.h"

#include <string.h>

static const char *const section_ids[RW_SECTION_COUNT] = {
#define X(name, text) text,
    RW_SECTIONS(X)
#undef X
};
static const char *const section_labels[RW_SECTION_COUNT] = {
    [RW_SECTION_MOTOR] = "Muscle power",
    [RW_SECTION_MOVEMENT] = "Movements",
    [RW_SECTION_SKIN_ROOT] = "Skin by root",
    [RW_SECTION_SKIN_NERVE] = "Skin by nerve",
    [RW_SECTION_REFLEX] = "Reflexes",
    [RW_SECTION_SIGN] = "Signs",
    [RW_SECTION_WASTING] = "Wasting",
    [RW_SECTION_PERCUSSION] = "Percussion along the nerve",
    [RW_SECTION_PSEUDOMENINGOCELE] = "Imaging: pseudomeningocele",
    [RW_SECTION_ROOT_AVULSION] = "Imaging: torn rootlets",
    [RW_SECTION_SNAP] = "Sensory conduction",
    [RW_SECTION_CMAP] = "Motor conduction",
    [RW_SECTION_EMG_DENERVATION] = "Needle EMG: denervation",
    [RW_SECTION_EMG_RECRUITMENT] = "Needle EMG: recruitment",
    [RW_SECTION_PARASPINAL] = "Needle EMG: paraspinal denervation",
    [RW_SECTION_HEMIDIAPHRAGM] = "Half of the diaphragm",
};
static void key_words(struct rw_json *json, const char *key, const char *const *words, size_t count) {
    rw_json_key_open(json, key, '[');
    for (size_t i = 0; i < count; i++)
        rw_json_string(json, words[i]);
    rw_json_close(json, ']');
}

static void write_named(struct rw_json *json, const char *id, const char *label) {
    rw_json_open(json, '{');
    rw_json_key_string(json, "id", id);
    rw_json_key_string(json, "label", label);
}

static void write_sections(struct rw_json *json) {
    rw_json_key_open(json, "sections", '[');
    for (size_t i = 0; i < RW_SECTION_COUNT; i++) {
        write_named(json, section_ids[i], section_labels[i]);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* The muscles that a group or movement is made of. */
static void write_parts(struct rw_json *json, uint16_t owner) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "muscles", '[');
    for (size_t i = 0; i < model->member_count; i++)
        if (model->members[i].owner == owner)
            rw_json_string(json, model->targets[model->members[i].muscle].id);
    rw_json_close(json, ']');
}

static void write_check(struct rw_json *json, uint16_t index) {
    const struct rw_model *model = rw_model();
    const struct rw_check *check = &model->checks[index];
    const struct rw_target *target = check->target == RW_NONE ? NULL : &model->targets[check->target];
    char label[RW_PHRASE_SIZE], pointer[96];
    rw_check_label(index, label, sizeof label);
    rw_check_pointer(index, pointer, sizeof pointer);
    write_named(json, check->item, label);
    rw_json_key_string(json, "section", section_ids[check->section]);
    rw_json_key_string(json, "pointer", pointer);
    rw_json_key_string(json, "help", rw_check_help(index));
    /* what it is about: muscles and groups of them share sections */
    rw_json_key_string(json, "kind", rw_kind_name(target ? target->kind : RW_TARGET_SIGN));
    rw_json_key_string(json, "scale", model->scales[check->scale].id);
    rw_json_key_bool(json, "standard", check->standard);
    rw_json_key_integer(json, "order", check->bedside_order);
    if (target && (target->kind == RW_TARGET_GROUP || target->kind == RW_TARGET_MOVEMENT))
        write_parts(json, check->target);
    rw_json_close(json, '}');
}

static void write_scales(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "scales", '[');
    for (size_t i = 0; i < model->scale_count; i++) {
        const struct rw_scale *scale = &model->scales[i];
        rw_json_open(json, '{');
        rw_json_key_string(json, "id", scale->id);
        rw_json_key_open(json, "values", '[');
        for (size_t v = 0; v < scale->value_count; v++)
            rw_json_string(json, scale->values[v].text);
        if (rw_scale_untestable(scale))
            rw_json_string(json, "untestable");
        rw_json_close(json, ']');
        rw_json_key_string(json, "normal", scale->values[scale->normal].text);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_mechanisms(struct rw_json *json) {
    rw_json_key_open(json, "mechanisms", '[');
    for (int i = 0; i < RW_MECHANISM_COUNT; i++) {
        const char *name = rw_mechanism_name((enum rw_mechanism)i);
        write_named(json, name, name);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_sites(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "sites", '[');
    for (size_t i = 0; i < model->site_count; i++) {
        const struct rw_site *site = &model->sites[i];
        write_named(json, site->id, site->label);
        rw_json_key_string(json, "level", rw_level_name(site->level));
        rw_json_key_string(json, "name", site->name);
        rw_json_key_string(json, "part", site->part);
        rw_json_key_string(json, "relation", site->relation);
        rw_json_key_string(json, "region", site->region);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_functions(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "functions", '[');
    for (size_t i = 0; i < model->target_count; i++) {
        if (model->targets[i].kind != RW_TARGET_FUNCTION)
            continue;
        write_named(json, model->targets[i].id, model->targets[i].label);
        rw_json_key_string(json, "help", model->targets[i].help);
        write_parts(json, (uint16_t)i);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_surgery(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "donors", '[');
    for (size_t i = 0; i < model->donor_count; i++) {
        const struct rw_donor *donor = &model->donors[i];
        write_named(json, donor->id, donor->label);
        rw_json_key_open(json, "tests", '[');
        for (size_t t = 0; t < donor->test_count; t++)
            rw_json_string(json, model->targets[donor->tests[t]].id);
        rw_json_close(json, ']');
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_key_open(json, "transfers", '[');
    for (size_t i = 0; i < model->transfer_count; i++) {
        write_named(json, model->transfers[i].id, model->transfers[i].label);
        rw_json_key_string(json, "kind", model->transfers[i].kind);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_cautions(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "cautions", '[');
    for (size_t i = 0; i < model->rule_count; i++) {
        if (strcmp(model->rules[i].kind, "caution") != 0)
            continue;
        rw_json_open(json, '{');
        rw_json_key_string(json, "id", model->rules[i].id);
        rw_json_key_string(json, "text", model->rules[i].text);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

char *rw_vocabulary_json(size_t *size) {
    static const char *const sides[] = {"left", "right"};
    static const char *const normal[] = {"motor", "sensation", "reflexes", "signs"};
    static const char *const routine[] = {"independent", "some_help", "unable"};
    const struct rw_model *model = rw_model();
    struct rw_json json = {0};
    rw_json_open(&json, '{');
    rw_json_key_string(&json, "version", model->version);
    rw_json_key_string(&json, "knowledge", model->digest);
    rw_json_key_integer(&json, "exam_version", 1);
    write_sections(&json);
    rw_json_key_open(&json, "checks", '[');
    for (size_t i = 0; i < model->check_count; i++)
        write_check(&json, (uint16_t)i);
    rw_json_close(&json, ']');
    write_scales(&json);
    key_words(&json, "sides", sides, 2);
    write_mechanisms(&json);
    key_words(&json, "otherwise_normal", normal, 4);
    key_words(&json, "daily_routine", routine, 3);
    write_sites(&json);
    write_functions(&json);
    write_surgery(&json);
    write_cautions(&json);
    rw_json_close(&json, '}');
    return rw_buffer_take(&json.out, size);
}
