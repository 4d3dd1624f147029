#include "answer_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- order ---- */

size_t rw_function_order(const struct rw_deficits *deficits, struct rw_rank ranks[RW_MAX_FUNCTIONS]) {
    for (size_t i = 0; i < deficits->function_count; i++)
        ranks[i] = (struct rw_rank){-deficits->functions[i].expected_grade, (uint16_t)i};
    rw_rank(ranks, deficits->function_count);
    return deficits->function_count;
}

size_t rw_area_order(const struct rw_deficits *deficits, struct rw_rank ranks[RW_MAX_AREAS]) {
    for (size_t i = 0; i < deficits->area_count; i++)
        ranks[i] = (struct rw_rank){deficits->areas[i].p_lost, (uint16_t)i};
    rw_rank(ranks, deficits->area_count);
    return deficits->area_count;
}

/* Soonest first: what should be seen next if the nerve recovers; without a date, by distance after them. */
size_t rw_recovery_order(const struct rw_recovery *recovery, struct rw_rank ranks[RW_MAX_MUSCLES]) {
    const double undated = INT32_MAX;
    for (size_t i = 0; i < recovery->muscle_count; i++) {
        const struct rw_muscle_recovery *m = &recovery->muscles[i];
        const double soon = m->first_sign[0] == RW_NO_DAY ? undated + m->distance_mm : m->first_sign[0];
        ranks[i] = (struct rw_rank){-soon, (uint16_t)i};
    }
    rw_rank(ranks, recovery->muscle_count);
    return recovery->muscle_count;
}

/* ---- deficits ---- */

static void write_muscles(struct rw_json *json, uint16_t function) {
    const struct rw_model *model = rw_model();
    struct rw_rank ranks[RW_MAX_MUSCLES];
    size_t count = 0;
    for (size_t i = 0; i < model->member_count && count < RW_MAX_MUSCLES; i++)
        if (model->members[i].owner == function && strcmp(model->members[i].role, "substitute") != 0)
            ranks[count++] = (struct rw_rank){model->members[i].share, model->members[i].muscle};
    rw_rank(ranks, count);
    rw_json_key_open(json, "muscles", '[');
    for (size_t i = 0; i < count; i++)
        rw_json_string(json, model->targets[ranks[i].index].id);
    rw_json_close(json, ']');
}

/* null where recovery is not said, for the reason that it gives, or where that time has passed. */
static void write_chance(struct rw_json *json, const char *key, bool said, double chance) {
    rw_json_key(json, key);
    if (said && isfinite(chance))
        rw_json_number(json, chance);
    else
        rw_json_null(json);
}

static void write_outlook(struct rw_json *json, const char *key, bool said,
                          const struct rw_outlook *outlook) {
    if (!said || !isfinite(outlook->p_useful)) {
        rw_json_key(json, key);
        rw_json_null(json);
        return;
    }
    rw_json_key_open(json, key, '{');
    rw_json_key_number(json, "p_useful", outlook->p_useful);
    rw_json_key_number(json, "p_strong", outlook->p_strong);
    rw_json_close(json, '}');
}

static void write_functions(struct rw_answer *answer) {
    const bool said = answer->assessment->recovery.available;
    const struct rw_deficits *d = &answer->assessment->deficits;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_FUNCTIONS];
    const size_t count = rw_function_order(d, ranks);
    rw_json_key_open(json, "functions", '[');
    for (size_t i = 0; i < count; i++) {
        const struct rw_function_deficit *f = &d->functions[ranks[i].index];
        rw_json_open(json, '{');
        rw_json_key_string(json, "function", rw_model()->targets[f->function].id);
        rw_json_key_number(json, "expected_grade", f->expected_grade);
        rw_json_key_number(json, "p_useful", f->p_useful);
        rw_json_key_number(json, "p_strong", f->p_strong);
        write_chance(json, "p_recovers_unaided", said, f->p_recovers_unaided);
        write_chance(json, "p_strong_unaided", said, f->p_strong_unaided);
        rw_json_key_open(json, "unaided", '{');
        write_outlook(json, "months_12", said, &f->months_12);
        write_outlook(json, "months_24", said, &f->months_24);
        rw_json_close(json, '}');
        if (f->p_useful < 0.5)
            rw_json_key_string(json, "cannot", rw_model()->targets[f->function].help);
        write_muscles(json, f->function);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

void rw_write_deficits(struct rw_answer *answer) {
    const struct rw_deficits *d = &answer->assessment->deficits;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_AREAS];
    rw_json_key_open(json, "deficits", '{');
    write_functions(answer);
    rw_json_key_open(json, "sensation", '[');
    const size_t count = rw_area_order(d, ranks);
    for (size_t i = 0; i < count; i++) {
        const struct rw_area_deficit *area = &d->areas[ranks[i].index];
        rw_json_open(json, '{');
        rw_json_key_string(json, "area", rw_model()->targets[area->area].id);
        rw_json_key_number(json, "p_lost", area->p_lost);
        write_chance(json, "p_recovers_unaided", answer->assessment->recovery.available,
                     area->p_recovers_unaided);
        rw_json_key_bool(json, "protective", area->protective);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_key_open(json, "sympathetic", '{');
    rw_json_key_number(json, "p_lost", d->p_sympathetic_lost);
    rw_json_close(json, '}');
    rw_json_close(json, '}');
}
