#include "answer_parts.h"

#include <stdio.h>
#include <string.h>

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
    rw_write_dates(json, "reinnervation_expected", step->reinnervation);
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
