/* "recovery" of an answer. */
#include "answer_parts.h"

#include <stdio.h>

static void write_rate(struct rw_json *json, const struct rw_recovery *r) {
    rw_json_key(json, "rate_mm_per_day");
    if (!r->available) {
        rw_json_null(json);
        return;
    }
    rw_json_open(json, '[');
    rw_json_number(json, r->rate_mm_per_day[0]);
    rw_json_number(json, r->rate_mm_per_day[1]);
    rw_json_close(json, ']');
}

static void write_sites(struct rw_json *json, const struct rw_muscle_recovery *m) {
    rw_json_key_open(json, "from", '[');
    for (size_t i = 0; i < m->site_count; i++) {
        const struct rw_recovery_site *site = &m->sites[i];
        rw_json_open(json, '{');
        rw_json_key_string(json, "site", rw_model()->sites[site->site].id);
        rw_json_key_number(json, "probability", site->probability);
        rw_json_key_number(json, "distance_mm", site->distance_mm);
        rw_write_dates(json, "first_sign_expected", site->first_sign);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_muscle_recovery(struct rw_json *json, const struct rw_muscle_recovery *m) {
    rw_json_open(json, '{');
    rw_json_key_string(json, "muscle", rw_model()->targets[m->muscle].id);
    rw_json_key_number(json, "distance_mm", m->distance_mm);
    rw_json_key_number(json, "p_block", m->p_block);
    rw_json_key_number(json, "p_regrows", m->p_regrows);
    rw_json_key_number(json, "p_never", m->p_never);
    rw_json_key(json, "block_clears_by");
    rw_write_date(json, m->block_clears_by);
    rw_json_key_bool(json, "moves", m->moves);
    rw_write_dates(json, "first_sign_expected", m->first_sign);
    rw_json_key(json, "window_closes");
    rw_write_date(json, m->window_closes);
    write_sites(json, m);
    rw_json_close(json, '}');
}

static void write_point(struct rw_json *json, uint16_t check) {
    char name[96];
    snprintf(name, sizeof name, "percussion.%s", rw_model()->checks[check].item);
    rw_json_string(json, name);
}

static void write_front(struct rw_json *json, const struct rw_front *front) {
    rw_json_open(json, '{');
    rw_json_key_string(json, "course", rw_course_nerve_name((enum rw_course_nerve)front->course));
    rw_json_key_string(json, "from", rw_model()->sites[front->site].id);
    rw_json_key_open(json, "expected_mm", '[');
    rw_json_number(json, front->expected_mm[0]);
    rw_json_number(json, front->expected_mm[1]);
    rw_json_close(json, ']');
    rw_json_key_open(json, "expected_at", '[');
    for (size_t i = 0; i < front->expected_count; i++)
        write_point(json, front->expected_at[i]);
    rw_json_close(json, ']');
    rw_json_key(json, "found_at");
    if (front->found_at == RW_NONE)
        rw_json_null(json);
    else
        write_point(json, front->found_at);
    rw_json_key_string(json, "agrees", rw_front_state_name((enum rw_front_state)front->state));
    rw_json_close(json, '}');
}

void rw_write_recovery(struct rw_answer *answer) {
    const struct rw_recovery *r = &answer->assessment->recovery;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_MUSCLES];
    const size_t count = r->available ? rw_recovery_order(r, ranks) : 0;
    rw_json_key_open(json, "recovery", '{');
    if (!r->available)
        rw_json_key_string(json, "because", r->because);
    write_rate(json, r);
    rw_json_key_open(json, "muscles", '[');
    for (size_t i = 0; i < count; i++)
        write_muscle_recovery(json, &r->muscles[ranks[i].index]);
    rw_json_close(json, ']');
    rw_json_key(json, "decide_by");
    rw_write_date(json, r->available ? r->decide_by : RW_NO_DAY);
    rw_json_key(json, "decide_because");
    if (r->available)
        rw_json_string(json, r->decide_because);
    else
        rw_json_null(json);
    rw_json_key_open(json, "percussion", '[');
    for (size_t i = 0; i < r->front_count; i++)
        write_front(json, &r->fronts[i]);
    rw_json_close(json, ']');
    rw_json_close(json, '}');
}
