/* The assessment as JSON: the members of the contract, in its order. */
#include "answer_parts.h"
#include "dates.h"
#include "text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int by_rank(const void *a, const void *b) {
    const struct rw_rank *left = a;
    const struct rw_rank *right = b;
    if (left->key < right->key || left->key > right->key)
        return left->key > right->key ? -1 : 1;
    return (left->index > right->index) - (left->index < right->index);
}

void rw_rank(struct rw_rank *ranks, size_t count) {
    if (count > 1)
        qsort(ranks, count, sizeof *ranks, by_rank);
}

void rw_write_date(struct rw_json *json, int32_t day) {
    char text[11];
    if (day == RW_NO_DAY) {
        rw_json_null(json);
        return;
    }
    rw_day_text(day, text);
    rw_json_string(json, text);
}

void rw_write_dates(struct rw_json *json, const char *key, const int32_t days[2]) {
    rw_json_key(json, key);
    if (days[0] == RW_NO_DAY || days[1] == RW_NO_DAY) {
        rw_json_null(json);
        return;
    }
    rw_json_open(json, '[');
    rw_write_date(json, days[0]);
    rw_write_date(json, days[1]);
    rw_json_close(json, ']');
}

static void key_pointer(struct rw_json *json, uint16_t check) {
    char pointer[96];
    rw_check_pointer(check, pointer, sizeof pointer);
    rw_json_string(json, pointer);
}

/* ---- rules that hold ---- */

static void write_because(struct rw_answer *answer, const struct rw_raised_rule *raised) {
    struct rw_json *json = &answer->json;
    rw_json_key_open(json, "because", '[');
    for (size_t i = 0; i < raised->because_count; i++)
        key_pointer(json, raised->because[i]);
    if (strstr(rw_model()->rules[raised->rule].when, "mechanism:") &&
        json_object_get(answer->record, "mechanism"))
        rw_json_string(json, "/mechanism");
    rw_json_close(json, ']');
}

static void write_referral(struct rw_answer *answer) {
    const struct rw_raised_rule *raised = &answer->assessment->referral;
    struct rw_json *json = &answer->json;
    rw_json_key(json, "referral");
    if (raised->rule == RW_NONE) {
        rw_json_null(json);
        return;
    }
    const struct rw_rule *rule = &rw_model()->rules[raised->rule];
    rw_json_open(json, '{');
    rw_json_key_string(json, "how_soon", rw_how_soon_name(rule->how_soon));
    rw_json_key_string(json, "because", rule->text);
    rw_json_key_string(json, "source", rule->source);
    rw_json_close(json, '}');
}

static void write_urgent(struct rw_answer *answer) {
    const struct rw_assessment *a = answer->assessment;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_RULES];
    for (size_t i = 0; i < a->urgent_count; i++)
        ranks[i] = (struct rw_rank){-(double)rw_model()->rules[a->urgent[i].rule].how_soon, (uint16_t)i};
    rw_rank(ranks, a->urgent_count);
    rw_json_key_open(json, "urgent", '[');
    for (size_t i = 0; i < a->urgent_count; i++) {
        const struct rw_raised_rule *raised = &a->urgent[ranks[i].index];
        rw_json_open(json, '{');
        rw_json_key_string(json, "matter", rw_model()->rules[raised->rule].text);
        write_because(answer, raised);
        rw_json_key_string(json, "source", rw_model()->rules[raised->rule].source);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* ---- what was and was not examined ---- */

static void write_filled_in(struct rw_answer *answer) {
    const struct rw_exam *exam = answer->exam;
    rw_json_key_open(&answer->json, "filled_in", '[');
    for (size_t i = 0; i < exam->finding_count; i++)
        if (exam->findings[i].filled_in)
            key_pointer(&answer->json, exam->findings[i].check);
    rw_json_close(&answer->json, ']');
}

/* Whether the record holds the member at a pointer (our ids need no unescaping). */
static bool recorded(const json_t *record, const char *pointer) {
    char name[96];
    while (record && *pointer == '/') {
        const size_t size = strcspn(pointer + 1, "/");
        snprintf(name, sizeof name, "%.*s", (int)size, pointer + 1);
        record = json_object_get(record, name);
        pointer += size + 1;
    }
    return record != NULL;
}

/* Given itself, even if untestable, or as part of a group that was given. */
static bool examined(const struct rw_answer *answer, uint16_t check) {
    const struct rw_model *model = rw_model();
    char pointer[96];
    rw_check_pointer(check, pointer, sizeof pointer);
    if (rw_observed(answer->exam, check) || recorded(answer->record, pointer))
        return true;
    if (model->checks[check].section != RW_SECTION_MOTOR)
        return false;
    for (size_t i = 0; i < model->member_count; i++) {
        const struct rw_target *owner = &model->targets[model->members[i].owner];
        if (owner->kind != RW_TARGET_GROUP || model->members[i].muscle != model->checks[check].target)
            continue;
        snprintf(pointer, sizeof pointer, "/motor/%s", owner->id);
        if (recorded(answer->record, pointer))
            return true;
    }
    return false;
}

static void write_not_examined(struct rw_answer *answer) {
    const struct rw_model *model = rw_model();
    struct rw_rank ranks[RW_MAX_CHECKS];
    size_t count = 0;
    for (size_t i = 0; i < model->check_count; i++)
        if (model->checks[i].standard && !examined(answer, (uint16_t)i))
            ranks[count++] = (struct rw_rank){-(double)model->checks[i].bedside_order, (uint16_t)i};
    rw_rank(ranks, count);
    rw_json_key_open(&answer->json, "not_examined", '[');
    for (size_t i = 0; i < count; i++)
        key_pointer(&answer->json, ranks[i].index);
    rw_json_close(&answer->json, ']');
}

/* ---- the whole ---- */

static void take_caution(void *context, const char *text) {
    rw_json_string(context, text);
}

static void write_head(struct rw_answer *answer, const char *id, const char *computed_at) {
    struct rw_json *json = &answer->json;
    size_t size;
    char digest[RW_DIGEST_TEXT];
    char *canonical = rw_record_canonical(answer->record, &size);
    if (!canonical) {
        json->out.failed = true;
        return;
    }
    rw_digest_text(canonical, size, digest);
    free(canonical);
    if (id)
        rw_json_key_string(json, "id", id);
    rw_json_key_string(json, "exam_digest", digest);
    rw_json_key_open(json, "engine", '{');
    rw_json_key_string(json, "version", rw_model()->version);
    rw_json_key_string(json, "knowledge", rw_model()->digest);
    rw_json_close(json, '}');
    if (computed_at)
        rw_json_key_string(json, "computed_at", computed_at);
}

char *rw_answer_json(const json_t *record, const struct rw_exam *exam, const struct rw_assessment *a,
                     const char *id, const char *computed_at, size_t *size) {
    struct rw_answer answer = {.record = record, .exam = exam, .assessment = a};
    rw_json_open(&answer.json, '{');
    write_head(&answer, id, computed_at);
    rw_write_localisation(&answer);
    rw_write_deficits(&answer);
    rw_write_recovery(&answer);
    rw_write_transfers(&answer);
    write_referral(&answer);
    write_urgent(&answer);
    rw_json_key_open(&answer.json, "cautions", '[');
    rw_each_caution(exam, a, take_caution, &answer.json);
    rw_json_close(&answer.json, ']');
    write_filled_in(&answer);
    write_not_examined(&answer);
    rw_json_close(&answer.json, '}');
    return rw_buffer_take(&answer.json.out, size);
}
