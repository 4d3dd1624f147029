#include "answer_parts.h"
#include "dates.h"

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

/* Soonest first: what should be seen next if the nerve recovers. */
size_t rw_recovery_order(const struct rw_recovery *recovery, struct rw_rank ranks[RW_MAX_MUSCLES]) {
    for (size_t i = 0; i < recovery->muscle_count; i++) {
        const struct rw_muscle_recovery *m = &recovery->muscles[i];
        const double soon = m->first_sign[0] == RW_NO_DAY ? m->distance_mm : m->first_sign[0];
        ranks[i] = (struct rw_rank){-soon, (uint16_t)i};
    }
    rw_rank(ranks, recovery->muscle_count);
    return recovery->muscle_count;
}

static double donor_key(const struct rw_donor_status *status) {
    /* by use: what can be given, what might be after another look, what is lost or refused */
    static const double order[] = {[RW_DONOR_USABLE] = 8,
                                   [RW_DONOR_UNKNOWN] = 6,
                                   [RW_DONOR_WEAK] = 4,
                                   [RW_DONOR_INVOLVED] = 2,
                                   [RW_DONOR_EXCLUDED] = 0};
    return order[status->state] + (status->p_strong > 0 ? status->p_strong : 0);
}

size_t rw_donor_order(const struct rw_transfers *transfers, struct rw_rank ranks[RW_MAX_DONORS]) {
    for (size_t i = 0; i < transfers->donor_count; i++)
        ranks[i] = (struct rw_rank){donor_key(&transfers->donors[i]), (uint16_t)i};
    rw_rank(ranks, transfers->donor_count);
    return transfers->donor_count;
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

static void write_functions(struct rw_answer *answer) {
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
        rw_json_key(json, "p_recovers_unaided");
        if (answer->assessment->recovery.available)
            rw_json_number(json, f->p_recovers_unaided);
        else /* for the reason that recovery gives */
            rw_json_null(json);
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
        rw_json_key_bool(json, "protective", area->protective);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_key_open(json, "sympathetic", '{');
    rw_json_key_number(json, "p_lost", d->p_sympathetic_lost);
    rw_json_close(json, '}');
    rw_json_close(json, '}');
}

/* ---- recovery ---- */

static void write_date(struct rw_json *json, int32_t day) {
    char text[11];
    if (day == RW_NO_DAY) {
        rw_json_null(json);
        return;
    }
    rw_day_text(day, text);
    rw_json_string(json, text);
}

/* [from, to], or null when there are no dates. */
static void write_dates(struct rw_json *json, const char *key, const int32_t days[2]) {
    rw_json_key(json, key);
    if (days[0] == RW_NO_DAY || days[1] == RW_NO_DAY) {
        rw_json_null(json);
        return;
    }
    rw_json_open(json, '[');
    write_date(json, days[0]);
    write_date(json, days[1]);
    rw_json_close(json, ']');
}

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
    for (size_t i = 0; i < count; i++) {
        const struct rw_muscle_recovery *m = &r->muscles[ranks[i].index];
        rw_json_open(json, '{');
        rw_json_key_string(json, "muscle", rw_model()->targets[m->muscle].id);
        rw_json_key_number(json, "distance_mm", m->distance_mm);
        write_dates(json, "first_sign_expected", m->first_sign);
        rw_json_key(json, "window_closes");
        write_date(json, m->window_closes);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_key(json, "decide_by");
    write_date(json, r->available ? r->decide_by : RW_NO_DAY);
    rw_json_close(json, '}');
}

/* ---- transfers ---- */

/* A source cell names one source or several, parted by " | " or "; ". */
static void write_sources(struct rw_json *json, const char *source) {
    rw_json_key_open(json, "sources", '[');
    while (*source) {
        const char *bar = strstr(source, " | "), *semicolon = strstr(source, "; ");
        const char *end = !bar || (semicolon && semicolon < bar) ? semicolon : bar;
        const size_t size = end ? (size_t)(end - source) : strlen(source);
        if (size > 0)
            rw_json_string_part(json, source, size);
        source += size;
        if (end)
            source += end == bar ? 3 : 2;
    }
    rw_json_close(json, ']');
}

static void write_step(struct rw_json *json, const struct rw_step *step) {
    const struct rw_model *model = rw_model();
    const struct rw_transfer *t = &model->transfers[step->transfer];
    rw_json_open(json, '{');
    rw_json_key_string(json, "transfer", t->id);
    rw_json_key_string(json, "donor", model->donors[t->donor].id);
    rw_json_key_string(json, "recipient", t->recipient);
    rw_json_key_open(json, "restores", '[');
    for (size_t i = 0; i < t->function_count; i++)
        rw_json_string(json, model->targets[t->functions[i]].id);
    rw_json_close(json, ']');
    rw_json_key_number(json, "p_useful", step->p_useful);
    rw_json_key_open(json, "interval", '[');
    rw_json_number(json, step->interval[0]);
    rw_json_number(json, step->interval[1]);
    rw_json_close(json, ']');
    rw_json_key_number(json, "patients", t->patients);
    write_dates(json, "reinnervation_expected", step->reinnervation);
    write_sources(json, t->source);
    rw_json_close(json, '}');
}

/* The muscles that a donor is taken from: the first tested of it, or of each donor that it is made of. */
static size_t donor_muscles(const struct rw_donor *donor, uint16_t muscles[4]) {
    const struct rw_model *model = rw_model();
    size_t count = 0;
    for (const char *word = donor->nerve; *word && count < 4;) {
        const size_t size = strcspn(word, " ");
        for (size_t i = 0; i < model->donor_count; i++) {
            const struct rw_donor *part = &model->donors[i];
            if (part != donor && strlen(part->id) == size && strncmp(part->id, word, size) == 0 &&
                part->test_count)
                muscles[count++] = part->tests[0];
        }
        word += size + (word[size] == ' ');
    }
    if (count == 0 && donor->test_count > 0)
        muscles[count++] = donor->tests[0];
    return count;
}

/* The part of a function's strength that these muscles bear. */
static double share_of(size_t function, const uint16_t *muscles, size_t count) {
    const struct rw_model *model = rw_model();
    double share = 0;
    for (size_t i = 0; i < model->member_count; i++)
        for (size_t k = 0; k < count; k++)
            if (model->members[i].owner == function && model->members[i].muscle == muscles[k])
                share += model->members[i].share;
    return share;
}

static void one_donor_cost(const struct rw_donor *donor, rw_take_cost *take, void *context) {
    const struct rw_model *model = rw_model();
    uint16_t muscles[4];
    const size_t count = donor_muscles(donor, muscles);
    struct rw_rank ranks[RW_MAX_FUNCTIONS];
    size_t functions = 0;
    for (size_t t = 0; t < model->target_count && functions < RW_MAX_FUNCTIONS; t++) {
        const double share = model->targets[t].kind == RW_TARGET_FUNCTION ? share_of(t, muscles, count) : 0;
        if (share > 0)
            ranks[functions++] = (struct rw_rank){share, (uint16_t)t};
    }
    rw_rank(ranks, functions);
    for (size_t i = 0; i < functions; i++)
        take(context, donor, ranks[i].index, ranks[i].key);
    if (functions == 0)
        take(context, donor, RW_NONE, 0);
}

void rw_each_donor_cost(const struct rw_plan *plan, rw_take_cost *take, void *context) {
    const struct rw_model *model = rw_model();
    bool told[RW_MAX_DONORS] = {false};
    for (size_t s = 0; s < plan->step_count; s++) {
        const uint16_t donor = model->transfers[plan->steps[s].transfer].donor;
        if (!told[donor])
            one_donor_cost(&model->donors[donor], take, context);
        told[donor] = true;
    }
}

static void take_cost(void *context, const struct rw_donor *donor, uint16_t function, double share) {
    struct rw_json *json = context;
    char loss[320];
    if (function == RW_NONE)
        snprintf(loss, sizeof loss, "%s: its loss touches none of the functions counted here", donor->label);
    else
        snprintf(loss, sizeof loss,
                 "%s: the muscles it feeds bear %.0f%% of this function; part of that is given up",
                 donor->label, share * 100);
    rw_json_open(json, '{');
    rw_json_key_string(json, "function", function == RW_NONE ? "other" : rw_model()->targets[function].id);
    rw_json_key_string(json, "loss", loss);
    rw_json_close(json, '}');
}

static void write_plan(struct rw_json *json, const struct rw_plan *plan, size_t rank) {
    rw_json_open(json, '{');
    rw_json_key_integer(json, "rank", (int64_t)rank);
    rw_json_key_number(json, "expected_gain", plan->expected_gain);
    rw_json_key_open(json, "steps", '[');
    for (size_t i = 0; i < plan->step_count; i++)
        write_step(json, &plan->steps[i]);
    rw_json_close(json, ']');
    rw_json_key_open(json, "donor_cost", '[');
    rw_each_donor_cost(plan, take_cost, json);
    rw_json_close(json, ']');
    rw_json_key_open(json, "not_restored", '[');
    for (size_t i = 0; i < plan->not_restored_count; i++)
        rw_json_string(json, rw_model()->targets[plan->not_restored[i]].id);
    rw_json_close(json, ']');
    rw_json_close(json, '}');
}

static void write_donors(struct rw_json *json, const struct rw_transfers *t) {
    struct rw_rank ranks[RW_MAX_DONORS];
    const size_t count = t->available ? rw_donor_order(t, ranks) : 0;
    rw_json_key_open(json, "donors", '[');
    for (size_t i = 0; i < count; i++) {
        const struct rw_donor_status *status = &t->donors[ranks[i].index];
        rw_json_open(json, '{');
        rw_json_key_string(json, "donor", rw_model()->donors[status->donor].id);
        rw_json_key_string(json, "state", rw_donor_state_name(status->state));
        rw_json_key_string(json, "because", status->because);
        rw_json_key_number(json, "p_strong", status->p_strong);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

void rw_write_transfers(struct rw_answer *answer) {
    const struct rw_transfers *t = &answer->assessment->transfers;
    struct rw_json *json = &answer->json;
    rw_json_key_open(json, "transfers", '{');
    if (!t->available)
        rw_json_key_string(json, "because", t->because);
    rw_json_key_open(json, "plans", '[');
    for (size_t i = 0; t->available && i < t->plan_count; i++)
        write_plan(json, &t->plans[i], i + 1);
    rw_json_close(json, ']');
    write_donors(json, t);
    rw_json_key_open(json, "rejected", '[');
    for (size_t i = 0; t->available && i < t->rejected_count; i++) {
        rw_json_open(json, '{');
        rw_json_key_string(json, "transfer", rw_model()->transfers[t->rejected[i].transfer].id);
        rw_json_key_string(json, "because", t->rejected[i].because);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_close(json, '}');
}
