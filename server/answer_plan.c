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

/* Where the first source of a cell ends: before "; " or " | ", unless inside brackets. */
static size_t source_size(const char *source) {
    int depth = 0;
    size_t size = 0;
    for (; source[size] != '\0'; size++) {
        depth += (source[size] == '(') - (source[size] == ')');
        if (depth == 0 && (strncmp(source + size, "; ", 2) == 0 || strncmp(source + size, " | ", 3) == 0))
            break;
    }
    return size;
}

/* A source cell names one source or several. */
static void write_sources(struct rw_json *json, const char *source) {
    rw_json_key_open(json, "sources", '[');
    while (*source != '\0') {
        const size_t size = source_size(source);
        if (size > 0)
            rw_json_string_part(json, source, size);
        source += size + strspn(source + size, ";| ");
    }
    rw_json_close(json, ']');
}

static void write_pointer(struct rw_json *json, const char *key, uint16_t check) {
    char pointer[96];
    rw_json_key(json, key);
    if (check == RW_NONE) {
        rw_json_null(json);
        return;
    }
    rw_check_pointer(check, pointer, sizeof pointer);
    rw_json_string(json, pointer);
}

/* What a donor costs that no function counts, where that is much: as its fact says. */
static void risk_of(const struct rw_donor *donor, rw_take_text *take, void *context) {
    static const char *const judged = "judgement: ";
    const struct rw_model *model = rw_model();
    char id[96], text[512];
    snprintf(id, sizeof id, "donor_cost_%s", donor->id);
    for (size_t i = 0; i < model->fact_count; i++) {
        const struct rw_fact *fact = &model->facts[i];
        if (strcmp(fact->id, id) != 0 || fact->value < rw_fact_value("donor_risk_named"))
            continue;
        const size_t skip = strncmp(fact->source, judged, strlen(judged)) == 0 ? strlen(judged) : 0;
        snprintf(text, sizeof text, "risk of the donor: %s", fact->source + skip);
        take(context, text);
    }
}

/* What must be said of a step beside its figures. */
void rw_each_step_note(const struct rw_transfers *transfers, const struct rw_step *step, rw_take_text *take,
                       void *context) {
    const struct rw_transfer *t = &rw_model()->transfers[step->transfer];
    const struct rw_donor_status *donor = &transfers->donors[t->donor];
    char text[400];
    if (step->stage == 1)
        take(context, "in a second operation");
    if (t->patients <= 0)
        take(context, "no published series with counts: its chance is a wide guess");
    if (step->stage == 1 && donor->state != RW_DONOR_USABLE && donor->state != RW_DONOR_UNKNOWN) {
        snprintf(text, sizeof text,
                 "only if its donor has come back to M4 by the earlier step, chance %.2f (now: %s)",
                 step->p_donor, donor->because);
        take(context, text);
    } else if (donor->state != RW_DONOR_USABLE ||
               donor->share_lost >= rw_fact_value("donor_involved_named")) {
        snprintf(text, sizeof text, "donor: %s", donor->because);
        take(context, text);
    }
    risk_of(&rw_model()->donors[t->donor], take, context);
    if (t->graft)
        take(context, "needs a graft");
    if (step->late) {
        snprintf(text, sizeof text, "later than the usual latest time of %.0f months", t->latest_months);
        take(context, text);
    }
}

static void take_string(void *context, const char *text) {
    rw_json_string(context, text);
}

static void write_targets(struct rw_json *json, const struct rw_transfer *t) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "restores", '[');
    for (size_t i = 0; i < t->function_count; i++)
        rw_json_string(json, model->targets[t->functions[i]].id);
    for (size_t i = 0; i < t->area_count; i++)
        rw_json_string(json, model->targets[t->areas[i]].id);
    rw_json_close(json, ']');
}

static void write_step(struct rw_json *json, const struct rw_transfers *transfers,
                       const struct rw_step *step) {
    const struct rw_model *model = rw_model();
    const struct rw_transfer *t = &model->transfers[step->transfer];
    rw_json_open(json, '{');
    rw_json_key_string(json, "transfer", t->id);
    rw_json_key_string(json, "donor", model->donors[t->donor].id);
    rw_json_key_string(json, "recipient", t->recipient);
    write_targets(json, t);
    rw_json_key_integer(json, "operation", step->stage + 1);
    rw_json_key_number(json, "p_useful", step->p_useful);
    rw_json_key_open(json, "interval", '[');
    rw_json_number(json, step->interval[0]);
    rw_json_number(json, step->interval[1]);
    rw_json_close(json, ']');
    rw_json_key_number(json, "patients", t->patients);
    rw_json_key_number(json, "p_donor", step->p_donor);
    write_pointer(json, "decided_by", transfers->donors[t->donor].decided_by);
    rw_json_key_number(json, "gain", step->gain);
    rw_write_dates(json, "reinnervation_expected", step->reinnervation);
    rw_json_key_open(json, "notes", '[');
    rw_each_step_note(transfers, step, take_string, json);
    rw_json_close(json, ']');
    rw_json_key_open(json, "alternatives", '[');
    for (size_t i = 0; i < step->alternative_count; i++)
        rw_json_string(json, model->transfers[step->alternatives[i]].id);
    rw_json_close(json, ']');
    write_sources(json, t->source);
    rw_json_close(json, '}');
}

/* Donors whose loss no function counts. */
static bool costs_no_function(const struct rw_plan *plan, uint16_t donor) {
    for (size_t i = 0; i < plan->loss_count; i++)
        if (plan->losses[i].donor == donor)
            return false;
    return true;
}

void rw_each_donor_cost(const struct rw_plan *plan, rw_take_cost *take, void *context) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < plan->loss_count; i++)
        take(context, &model->donors[plan->losses[i].donor], plan->losses[i].function, plan->losses[i].grade);
    for (size_t s = 0; s < plan->step_count; s++) {
        const uint16_t donor = model->transfers[plan->steps[s].transfer].donor;
        if (costs_no_function(plan, donor))
            take(context, &model->donors[donor], RW_NONE, 0);
    }
}

static void take_cost(void *context, const struct rw_donor *donor, uint16_t function, double grade) {
    struct rw_json *json = context;
    char loss[320];
    if (function == RW_NONE)
        snprintf(loss, sizeof loss, "%s: its loss touches none of the functions counted here", donor->label);
    else
        snprintf(loss, sizeof loss, "%s: about %.1f of a grade", donor->label, grade);
    rw_json_open(json, '{');
    rw_json_key_string(json, "function", function == RW_NONE ? "other" : rw_model()->targets[function].id);
    rw_json_key_string(json, "donor", donor->id);
    rw_json_key_number(json, "grades", grade);
    rw_json_key_string(json, "loss", loss);
    rw_json_close(json, '}');
}

static void write_plan(struct rw_json *json, const struct rw_transfers *transfers, size_t place) {
    const struct rw_plan *plan = &transfers->plans[place];
    rw_json_open(json, '{');
    rw_json_key_integer(json, "rank", (int64_t)place + 1);
    rw_json_key_number(json, "expected_gain", plan->expected_gain);
    rw_json_key_open(json, "operations", '[');
    for (size_t i = 0; i < 2 && plan->operation_day[i] != RW_NO_DAY; i++)
        rw_write_date(json, plan->operation_day[i]);
    rw_json_close(json, ']');
    rw_json_key_open(json, "steps", '[');
    for (size_t i = 0; i < plan->step_count; i++)
        write_step(json, transfers, &plan->steps[i]);
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
        rw_json_key_number(json, "share_lost", status->share_lost);
        write_pointer(json, "decided_by", status->decided_by);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* Late options that serve a function which is lost for good, as the reasons say. */
static void write_late(struct rw_json *json, const struct rw_transfers *t) {
    static const char *const word = "late option: ";
    rw_json_key_open(json, "late_options", '[');
    for (size_t i = 0; t->available && i < t->rejected_count; i++) {
        const struct rw_transfer *late = &rw_model()->transfers[t->rejected[i].transfer];
        if (strcmp(late->kind, "late") != 0 || !t->rejected[i].serves_lost)
            continue;
        rw_json_open(json, '{');
        rw_json_key_string(json, "transfer", late->id);
        write_targets(json, late);
        rw_json_key_string(json, "because", t->rejected[i].because + strlen(word));
        write_sources(json, late->source);
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
        write_plan(json, t, i);
    rw_json_close(json, ']');
    if (t->no_plan)
        rw_json_key_string(json, "no_plan", t->no_plan);
    write_late(json, t);
    write_donors(json, t);
    rw_json_key_open(json, "rejected", '[');
    for (size_t i = 0; t->available && i < t->rejected_count; i++) {
        rw_json_open(json, '{');
        rw_json_key_string(json, "transfer", rw_model()->transfers[t->rejected[i].transfer].id);
        rw_json_key_string(json, "because", t->rejected[i].because);
        rw_json_key_bool(json, "serves_lost", t->rejected[i].serves_lost);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_close(json, '}');
}
