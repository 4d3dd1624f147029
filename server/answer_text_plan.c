/* Transfers in plain words: donors and what decides them, the plans, what else could be done. */
#include "answer_text.h"
#include "dates.h"
#include "layout.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* How much of each list is told in words; the JSON answer holds the whole. */
enum { DONORS = 8, REASONS = 6, NAMES = 4 };

static const char *label_of(uint16_t target) {
    return rw_model()->targets[target].label;
}

/* ---- donors ---- */

/* Whether some transfer of this donor serves what is lost. */
static void serving(const struct rw_transfers *t, bool serves[RW_MAX_DONORS]) {
    const struct rw_model *model = rw_model();
    bool idle[RW_MAX_TRANSFERS] = {false};
    for (size_t i = 0; i < t->rejected_count; i++)
        idle[t->rejected[i].transfer] = !t->rejected[i].serves_lost;
    for (size_t i = 0; i < model->transfer_count; i++)
        if (!idle[i] && model->transfers[i].donor != RW_NONE) /* some late options have none */
            serves[model->transfers[i].donor] = true;
}

static bool partly_lost(const struct rw_donor_status *status) {
    return status->share_lost >= rw_fact_value("donor_involved_named");
}

/* One line for the donors of this state; usable ones with all their fibres, or with part of them lost. */
static void donors_of(struct rw_text_page *page, enum rw_donor_state state, bool partly, const char *says,
                      const bool serves[RW_MAX_DONORS]) {
    const struct rw_transfers *t = &page->a->transfers;
    struct rw_rank ranks[RW_MAX_DONORS];
    struct rw_buffer list = {0};
    size_t told = 0;
    for (size_t i = 0, count = rw_donor_order(t, ranks); i < count; i++) {
        const struct rw_donor_status *status = &t->donors[ranks[i].index];
        char line[256], strong[16], percent[32] = "";
        if (status->state != state || !serves[status->donor] ||
            (state == RW_DONOR_USABLE && partly_lost(status) != partly) || told++ >= DONORS)
            continue;
        rw_percent(status->p_strong, strong, sizeof strong);
        if (state == RW_DONOR_USABLE && status->p_strong < 0.99)
            snprintf(percent, sizeof percent, " (strong: %s)", strong);
        snprintf(line, sizeof line, "%s%s", rw_model()->donors[status->donor].label, percent);
        rw_text_list(&list, "; ", line);
    }
    if (told > DONORS)
        rw_buffer_print(&list, "; and %zu more", told - DONORS);
    rw_text_list_item(&page->out, "  ", says, &list, ".");
}

static bool waits_for(const struct rw_donor_status *status, const bool serves[RW_MAX_DONORS],
                      uint16_t check) {
    return status->state == RW_DONOR_UNKNOWN && serves[status->donor] && status->decided_by == check;
}

/* Donors not known yet, those that one check decides together. */
static void undecided(struct rw_text_page *page, const bool serves[RW_MAX_DONORS]) {
    const struct rw_transfers *t = &page->a->transfers;
    bool told[RW_MAX_DONORS] = {false};
    struct rw_buffer list = {0};
    for (size_t i = 0; i < t->donor_count; i++) {
        const uint16_t check = t->donors[i].decided_by;
        if (told[i] || !waits_for(&t->donors[i], serves, check))
            continue;
        const char *parting = list.length ? "; " : "";
        for (size_t k = i; k < t->donor_count; k++) {
            if (!waits_for(&t->donors[k], serves, check))
                continue;
            told[k] = true;
            rw_buffer_print(&list, "%s%s", parting, rw_model()->donors[t->donors[k].donor].label);
            parting = ", ";
        }
        char name[RW_PHRASE_SIZE];
        if (check != RW_NONE)
            rw_check_name(check, name, sizeof name);
        rw_buffer_print(&list, " (%s%s)",
                        check != RW_NONE ? "decided by: " : "by no check of this examination",
                        check != RW_NONE ? name : "");
    }
    rw_text_list_item(&page->out, "  ", "Not known yet: ", &list, ".");
}

static void donors(struct rw_text_page *page) {
    bool serves[RW_MAX_DONORS] = {false}, any = false;
    serving(&page->a->transfers, serves);
    for (size_t d = 0; d < rw_model()->donor_count; d++)
        any = any || serves[d];
    if (!any)
        return;
    rw_layout_heading(&page->out, "Donors for what is lost");
    donors_of(page, RW_DONOR_USABLE, false, "Usable: ", serves);
    donors_of(page, RW_DONOR_USABLE, true,
              "Strong, though part of their fibres comes through the injury: ", serves);
    undecided(page, serves);
    donors_of(page, RW_DONOR_WEAK, false, "Too weak: ", serves);
    donors_of(page, RW_DONOR_INVOLVED, false, "Likely injured: ", serves);
    donors_of(page, RW_DONOR_EXCLUDED, false, "Excluded: ", serves);
}

/* ---- plans ---- */

static void take_note(void *context, const char *text) {
    rw_text_list(context, "; ", text);
}

/* Where an earlier plan has this step; 0: nowhere. */
static size_t told_before(const struct rw_transfers *t, size_t plan, const struct rw_step *step,
                          size_t *number) {
    for (size_t p = 0; p < plan; p++)
        for (size_t s = 0; s < t->plans[p].step_count; s++)
            if (t->plans[p].steps[s].transfer == step->transfer &&
                t->plans[p].steps[s].stage == step->stage) {
                *number = s + 1;
                return p + 1;
            }
    return 0;
}

/* "ulnar fascicle to biceps, for bending the elbow, turning the palm up" */
static void restores(const struct rw_transfer *t, struct rw_buffer *list) {
    rw_buffer_print(list, "%s, for ", t->label);
    for (size_t i = 0; i < t->function_count; i++)
        rw_buffer_print(list, "%s%s", i ? ", " : "", label_of(t->functions[i]));
    for (size_t i = 0; i < t->area_count; i++)
        rw_buffer_print(list, "%s%s", i + t->function_count ? ", " : "", label_of(t->areas[i]));
}

static void result(const struct rw_step *s, char *text, size_t size) {
    const struct rw_transfer *t = &rw_model()->transfers[s->transfer];
    char useful[16], low[16], high[16], patients[64] = "", dates[64] = "";
    rw_percent(s->p_useful, useful, sizeof useful);
    rw_percent(s->interval[0], low, sizeof low);
    rw_percent(s->interval[1], high, sizeof high);
    if (t->patients > 0)
        snprintf(patients, sizeof patients, "; %.0f patient%s in the series", t->patients,
                 t->patients > 1 ? "s" : "");
    if (s->reinnervation[0] != RW_NO_DAY && s->reinnervation[1] != RW_NO_DAY) {
        char from[11], to[11];
        rw_day_text(s->reinnervation[0], from);
        rw_day_text(s->reinnervation[1], to);
        snprintf(dates, sizeof dates, "; first sign between %s and %s", from, to);
    }
    snprintf(text, size, ": useful in about %s (from %s to %s%s)%s.", useful, low, high, patients, dates);
}

/* What would tell of a stump; of other donors the reason names the check. */
static void note_check(const struct rw_donor_status *donor, struct rw_buffer *list) {
    char name[RW_PHRASE_SIZE];
    if (donor->decided_by == RW_NONE || rw_model()->donors[donor->donor].stump_count == 0)
        return;
    rw_check_name(donor->decided_by, name, sizeof name);
    rw_buffer_print(list, "%sdecided by: %s", list->length ? "; " : "", name);
}

static void step(struct rw_text_page *page, size_t plan, size_t place) {
    const struct rw_transfers *transfers = &page->a->transfers;
    const struct rw_step *s = &transfers->plans[plan].steps[place];
    const struct rw_model *model = rw_model();
    const struct rw_transfer *t = &model->transfers[s->transfer];
    char mark[32], figures[256];
    size_t number = 0;
    const size_t before = told_before(transfers, plan, s, &number);
    snprintf(mark, sizeof mark, "    %zu. ", place + 1);
    if (before > 0) {
        rw_layout_item(&page->out, mark, "%s: as step %zu of plan %zu.", t->label, number, before);
        return;
    }
    struct rw_buffer list = {0};
    result(s, figures, sizeof figures);
    restores(t, &list);
    rw_text_list_item(&page->out, mark, "", &list, figures);
    rw_each_step_note(transfers, s, take_note, &list);
    note_check(&transfers->donors[t->donor], &list);
    rw_text_list_item(&page->out, "       - ", "", &list, ".");
    for (size_t i = 0; i < s->alternative_count; i++)
        rw_text_list(&list, "; ", model->transfers[s->alternatives[i]].label);
    rw_text_list_item(&page->out, "       - ", "open instead: ", &list, ".");
}

/* The costs of one donor stand together; what an earlier plan said is not said again. */
struct costs {
    struct rw_buffer line, free_of; /* donors that cost no function counted here */
    const struct rw_donor *donor;
    bool told[RW_MAX_DONORS];
};

static void take_cost(void *context, const struct rw_donor *donor, uint16_t function, double grade) {
    struct costs *costs = context;
    if (costs->told[donor - rw_model()->donors])
        return;
    if (function == RW_NONE) {
        rw_text_list(&costs->free_of, ", ", donor->label);
        return;
    }
    if (costs->donor != donor)
        rw_text_list(&costs->line, "; ", donor->label);
    rw_buffer_print(&costs->line, "%s %s %.1f", costs->donor != donor ? ":" : ",", label_of(function), grade);
    costs->donor = donor;
}

static void costs(struct rw_text_page *page, size_t place) {
    const struct rw_transfers *t = &page->a->transfers;
    struct costs costs = {0};
    for (size_t p = 0; p < place; p++)
        for (size_t s = 0; s < t->plans[p].step_count; s++)
            costs.told[rw_model()->transfers[t->plans[p].steps[s].transfer].donor] = true;
    rw_each_donor_cost(&t->plans[place], take_cost, &costs);
    rw_text_list_item(&page->out, "    ",
                      place ? "Costs, in grades, beside those told: " : "Costs, in grades: ", &costs.line,
                      ".");
    rw_text_list_item(&page->out, "    ", "Costs no function counted here: ", &costs.free_of, ".");
}

static bool leaves(const struct rw_plan *plan, uint16_t function) {
    for (size_t i = 0; i < plan->not_restored_count; i++)
        if (plan->not_restored[i] == function)
            return true;
    return false;
}

/* What stays lost; of a later plan where it differs from the first. */
static void left_open(struct rw_text_page *page, size_t place) {
    const struct rw_plan *p = &page->a->transfers.plans[place], *first = &page->a->transfers.plans[0];
    struct rw_buffer left = {0}, gained = {0};
    for (size_t i = 0; i < p->not_restored_count; i++)
        if (place == 0 || !leaves(first, p->not_restored[i]))
            rw_text_list(&left, ", ", label_of(p->not_restored[i]));
    for (size_t i = 0; place > 0 && i < first->not_restored_count; i++)
        if (!leaves(p, first->not_restored[i]))
            rw_text_list(&gained, ", ", label_of(first->not_restored[i]));
    rw_text_list_item(&page->out, "    ",
                      place ? "Leaves unrestored, unlike plan 1: " : "Leaves unrestored: ", &left, ".");
    rw_text_list_item(&page->out, "    ", "Restores, unlike plan 1: ", &gained, ".");
}

static void plan(struct rw_text_page *page, size_t place) {
    const struct rw_transfers *t = &page->a->transfers;
    const struct rw_plan *p = &t->plans[place];
    char days[2][11], when[64] = "";
    for (size_t i = 0; i < 2; i++)
        if (p->operation_day[i] != RW_NO_DAY)
            rw_day_text(p->operation_day[i], days[i]);
    if (p->operation_day[1] != RW_NO_DAY)
        snprintf(when, sizeof when, ", operations reckoned on %s and %s", days[0], days[1]);
    else if (p->operation_day[0] != RW_NO_DAY)
        snprintf(when, sizeof when, ", operation reckoned on %s", days[0]);
    rw_layout_item(&page->out, "  ", "Plan %zu of %zu, expected gain %.2g%s:", place + 1, t->plan_count,
                   p->expected_gain, when);
    for (size_t i = 0; i < p->step_count; i++)
        step(page, place, i);
    costs(page, place);
    left_open(page, place);
}

/* What was asked of the plan. */
static void asked(struct rw_text_page *page) {
    const struct rw_plan_options *o = &page->exam->options;
    const struct rw_model *model = rw_model();
    struct rw_buffer list = {0};
    for (size_t i = 0; i < o->priority_count; i++)
        rw_text_list(&list, ", then ", label_of(o->priorities[i]));
    rw_text_list_item(&page->out, "  ", "Asked for first: ", &list, ".");
    for (size_t d = 0; d < model->donor_count; d++)
        if (o->fixed[d])
            rw_text_list(&list, "; ", model->donors[d].label);
    rw_text_list_item(&page->out, "  ", "Asked to be spent: ", &list, ".");
    for (size_t d = 0; d < model->donor_count; d++)
        if (o->excluded[d])
            rw_text_list(&list, "; ", model->donors[d].label);
    rw_text_list_item(&page->out, "  ", "Asked to be left out: ", &list, ".");
    if (o->surgery_day != 0) {
        char day[11];
        rw_day_text(o->surgery_day, day);
        rw_layout_item(&page->out, "  ", "Asked for surgery on %s.", day);
    }
}

/* ---- what is not planned ---- */

static bool is_late(const struct rw_rejection *r) {
    return strcmp(rw_model()->transfers[r->transfer].kind, "late") == 0;
}

static void late_options(struct rw_text_page *page, const char *because, struct rw_buffer *list) {
    char before[192];
    const char *colon = strchr(because, ':');
    snprintf(before, sizeof before, "Late options, %s: ", colon ? colon + 2 : because);
    rw_text_list_item(&page->out, "  ", before, list, ".");
}

/* The transfers of what is lost that are rejected for the reason of this one. */
static size_t of_one_reason(const struct rw_transfers *t, size_t first, bool told[RW_MAX_TRANSFERS],
                            size_t most, struct rw_buffer *list) {
    size_t count = 0;
    for (size_t k = first; k < t->rejected_count; k++) {
        if (!t->rejected[k].serves_lost || strcmp(t->rejected[k].because, t->rejected[first].because) != 0)
            continue;
        told[k] = true;
        if (count++ < most)
            rw_text_list(list, "; ", rw_model()->transfers[t->rejected[k].transfer].label);
    }
    if (count > most)
        rw_buffer_print(list, "; and %zu more", count - most);
    return count;
}

/* Rejected transfers of what is lost, those of one reason together: late options, or the others. */
static void rejected(struct rw_text_page *page, bool late) {
    const struct rw_transfers *t = &page->a->transfers;
    bool told[RW_MAX_TRANSFERS] = {false};
    size_t reasons = 0, more = 0;
    for (size_t i = 0; i < t->rejected_count; i++) {
        const struct rw_rejection *r = &t->rejected[i];
        if (told[i] || !r->serves_lost || is_late(r) != late)
            continue;
        struct rw_buffer list = {0};
        const size_t count = of_one_reason(t, i, told, late ? RW_MAX_TRANSFERS : NAMES, &list);
        char after[192];
        snprintf(after, sizeof after, ": %s.", r->because);
        if (late)
            late_options(page, r->because, &list);
        else if (reasons++ < REASONS)
            rw_text_list_item(&page->out, "  - ", "not ", &list, after);
        else
            more += count;
        free(rw_buffer_take(&list, NULL));
    }
    if (more > 0)
        rw_layout_item(&page->out, "  - ", "nor %zu more, as the whole answer says.", more);
}

void rw_text_transfers(struct rw_text_page *page) {
    const struct rw_transfers *t = &page->a->transfers;
    rw_layout_heading(&page->out, "Transfers to discuss");
    if (!t->available) {
        rw_layout_item(&page->out, "  ", "Left out: %s.", t->because ? t->because : "no reason given");
        return;
    }
    asked(page);
    if (t->no_plan)
        rw_layout_item(&page->out, "  ", "No plan: %s.", t->no_plan);
    for (size_t i = 0; i < t->plan_count; i++)
        plan(page, i);
    rejected(page, true);
    rejected(page, false);
    donors(page);
}
