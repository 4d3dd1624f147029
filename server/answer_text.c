/* The answer in plain words: what must not wait comes first, what it rests on beside it, cautions last. */
#include "answer_parts.h"
#include "dates.h"
#include "layout.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* How much of each list is told in words; the JSON answer holds the whole. */
enum {
    LEADING = 5,
    EVIDENCE = 6,
    NEXT_BEDSIDE = 4,
    NEXT_INVESTIGATIONS = 3,
    FUNCTIONS = 12,
    RECOVERIES = 8,
    REJECTED = 6,
    DONORS = 8
};
/* Findings that shift the odds less than this (log10) are not named. */
static const double least_evidence = 0.1;
/* Nor is a function of which a donor bears less than this. */
static const double least_share = 0.1;

struct page {
    struct rw_buffer out;
    const struct rw_exam *exam;
    const struct rw_assessment *a;
};

/* ---- what comes first ---- */

static void urgent(struct page *page) {
    const struct rw_model *model = rw_model();
    if (page->a->urgent_count == 0)
        return;
    rw_layout_heading(&page->out, "Urgent");
    for (int soon = RW_SOON_IMMEDIATE; soon <= RW_SOON_ROUTINE; soon++)
        for (size_t i = 0; i < page->a->urgent_count; i++) {
            const struct rw_rule *rule = &model->rules[page->a->urgent[i].rule];
            if ((int)rule->how_soon == soon)
                rw_layout_item(&page->out, "  ! ", "%s", rule->text);
        }
}

static void referral(struct page *page) {
    static const char *const when[] = {[RW_SOON_IMMEDIATE] = "At once",
                                       [RW_SOON_DAYS] = "Within days",
                                       [RW_SOON_WEEKS] = "Within weeks",
                                       [RW_SOON_ROUTINE] = "Routine"};
    if (page->a->referral.rule == RW_NONE)
        return;
    const struct rw_rule *rule = &rw_model()->rules[page->a->referral.rule];
    rw_layout_heading(&page->out, "Referral");
    rw_layout_item(&page->out, "  ", "%s. %s", when[rule->how_soon], rule->text);
}

/* ---- localisation ---- */

static void about(struct page *page) {
    const struct rw_exam *exam = page->exam;
    char day[11], since[64] = "onset not given";
    rw_day_text(exam->examined_day, day);
    if (exam->onset_day != RW_NO_DAY)
        snprintf(since, sizeof since, "%d days after the onset", exam->examined_day - exam->onset_day);
    rw_layout_item(&page->out, "  ", "%s arm, examined %s, %s, mechanism: %s.",
                   exam->side == RW_SIDE_LEFT ? "Left" : "Right", day, since,
                   rw_mechanism_name(exam->mechanism));
}

static void hypotheses(struct page *page) {
    const struct rw_localisation *l = &page->a->localisation;
    for (size_t i = 0; i < l->hypothesis_count && i < LEADING; i++) {
        char summary[RW_SUMMARY_SIZE], percent[16], mark[48];
        rw_summary(&l->hypotheses[i], page->exam->mechanism, summary, sizeof summary);
        rw_percent(l->hypotheses[i].probability, percent, sizeof percent);
        snprintf(mark, sizeof mark, "  %zu. %-10s ", i + 1, percent);
        rw_layout_item(&page->out, mark, "%s (%s)", summary,
                       rw_probability_word(l->hypotheses[i].probability));
    }
}

/* How far a check would tell two hypotheses apart, by the share of the doubt between them that it takes. */
static const char *separation_words(const struct rw_localisation *l, size_t rival) {
    const double bits = l->hypotheses[rival].separated_bits,
                 share = l->hypotheses[rival].probability /
                         (l->hypotheses[0].probability + l->hypotheses[rival].probability),
                 doubt = -share * log2(share) - (1 - share) * log2(1 - share);
    return bits >= doubt / 2    ? "would do most to tell them apart"
           : bits >= doubt / 10 ? "would help to tell them apart"
                                : "would tell them apart a little, and no other check does better";
}

/* Those of the hypotheses shown that 1 cannot be told from, together when one check separates them all. */
static void inseparable(struct page *page) {
    const struct rw_localisation *l = &page->a->localisation;
    const size_t listed = rw_hypotheses_listed(l);
    bool told[LEADING] = {false};
    size_t unlisted = 0;
    for (size_t i = LEADING; i < listed; i++)
        unlisted += rw_rivals_first(l, i);
    for (size_t i = 1; i < LEADING && i < listed; i++) {
        const uint16_t check = l->hypotheses[i].separated_by;
        struct rw_buffer rivals = {0};
        for (size_t k = i; k < LEADING && k < listed; k++) {
            if (told[k] || !rw_rivals_first(l, k) || l->hypotheses[k].separated_by != check)
                continue;
            rw_buffer_print(&rivals, "%s%zu", rivals.length ? " or " : "", k + 1);
            told[k] = true;
        }
        char *text = rw_buffer_take(&rivals, NULL), name[RW_PHRASE_SIZE] = "No check that is left";
        if (check != RW_NONE)
            rw_check_name(check, name, sizeof name);
        name[0] = (char)toupper((unsigned char)name[0]);
        if (text && text[0])
            rw_layout_item(&page->out, "  ", "The examination cannot tell 1 from %s. %s %s.", text, name,
                           check != RW_NONE ? separation_words(l, i) : "would tell them apart");
        free(text);
    }
    if (unlisted > 0)
        rw_layout_item(&page->out, "  ", "Of those not shown here %zu cannot be told from 1 either.",
                       unlisted);
}

static void roots(struct page *page) {
    const struct rw_localisation *l = &page->a->localisation;
    bool any = false;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        char before[16], beyond[16];
        if (l->roots[i].p_intact >= 0.9)
            continue;
        if (!any)
            rw_buffer_text(&page->out, "\n  Root   torn or hurt before the ganglion   hurt beyond it\n");
        any = true;
        rw_percent(l->roots[i].p_preganglionic, before, sizeof before);
        rw_percent(l->roots[i].p_postganglionic, beyond, sizeof beyond);
        rw_buffer_print(&page->out, "  %-6s %-34s %s\n",
                        rw_segment_name((enum rw_segment)(RW_SEGMENT_C5 + i)), before, beyond);
    }
}

/* A hypothesis by its number when it was listed above, otherwise in words. */
static void name_hypothesis(const struct page *page, uint16_t index, char buffer[RW_SUMMARY_SIZE]) {
    const struct rw_localisation *l = &page->a->localisation;
    if (l->informative && index < LEADING && index < l->hypothesis_count)
        snprintf(buffer, RW_SUMMARY_SIZE, "%u", index + 1U);
    else
        rw_summary_at(page->exam, l, index, buffer);
    if (islower((unsigned char)buffer[1])) /* it stands within a sentence; "C5" keeps its capital */
        buffer[0] = (char)tolower((unsigned char)buffer[0]);
}

static void observed_phrase(const struct page *page, uint16_t check, char buffer[RW_PHRASE_SIZE]) {
    buffer[0] = '\0';
    for (size_t i = 0; i < page->exam->finding_count; i++)
        if (page->exam->findings[i].check == check)
            rw_check_value(check, page->exam->findings[i].value, buffer, RW_PHRASE_SIZE);
}

static void evidence(struct page *page) {
    const struct rw_localisation *l = &page->a->localisation;
    struct rw_rank ranks[RW_MAX_CHECKS];
    const size_t count = rw_evidence_order(l, ranks);
    if (count == 0 || ranks[0].key < least_evidence)
        return;
    rw_layout_heading(&page->out, "What argues for and against 1");
    for (size_t i = 0; i < count && i < EVIDENCE && ranks[i].key >= least_evidence; i++) {
        const struct rw_evidence *e = &l->evidence[ranks[i].index];
        char finding[RW_PHRASE_SIZE], best[RW_SUMMARY_SIZE], worst[RW_SUMMARY_SIZE];
        observed_phrase(page, e->check, finding);
        name_hypothesis(page, e->in_favour, best);
        name_hypothesis(page, e->against, worst);
        rw_layout_item(&page->out, "  - ", "%s: %s its odds by a factor of %.2g%s%s%s%s", finding,
                       e->log10_odds < 0 ? "lowers" : "raises", pow(10, fmin(ranks[i].key, 12)),
                       best[0] ? "; fits best with " : "", best, worst[0] ? ", worst with " : "", worst);
    }
}

static void unexplained(struct page *page) {
    const struct rw_model *model = rw_model();
    const struct rw_localisation *l = &page->a->localisation;
    struct rw_rank ranks[RW_MAX_CHECKS];
    const size_t count = rw_unexplained_order(l, ranks);
    if (count == 0)
        return;
    rw_layout_heading(&page->out, "What no likely lesion explains");
    for (size_t i = 0; i < count; i++) {
        const struct rw_unexplained *u = &l->unexplained[ranks[i].index];
        char finding[RW_PHRASE_SIZE];
        observed_phrase(page, u->check, finding);
        rw_layout_item(&page->out, "  - ", "%s (expected: %s)", finding,
                       model->scales[model->checks[u->check].scale].values[u->expected].text);
    }
}

static void next_check(struct page *page, const struct rw_next_check *n) {
    const char *help = rw_check_help(n->check);
    char name[RW_PHRASE_SIZE], one[RW_SUMMARY_SIZE], other[RW_SUMMARY_SIZE];
    rw_check_name(n->check, name, sizeof name);
    name_hypothesis(page, n->separates[0], one);
    name_hypothesis(page, n->separates[1], other);
    rw_layout_item(&page->out, "  - ", "%s (%.2g bits)%s%s%s%s%s%s", name, n->bits,
                   other[0] ? ": helps to tell " : "", other[0] ? one : "", other[0] ? " from " : "", other,
                   help ? ". " : "", help ? help : "");
}

static void next(struct page *page) {
    const struct rw_localisation *l = &page->a->localisation;
    const double least = rw_fact_value("next_check_least_bits");
    size_t bedside = 0, investigations = 0;
    for (size_t i = 0; i < l->next_count; i++) {
        const struct rw_next_check *n = &l->next[i];
        const bool at_bedside = rw_model()->checks[n->check].section < RW_SECTION_PSEUDOMENINGOCELE;
        if (n->repeats || n->bits < least)
            continue;
        if (bedside + investigations == 0)
            rw_layout_heading(&page->out, "What to examine next");
        if (at_bedside ? bedside++ < NEXT_BEDSIDE : investigations++ < NEXT_INVESTIGATIONS)
            next_check(page, n);
    }
}

/* ---- deficits and recovery ---- */

/* Areas whose feeling is likely lost, in one sentence; returns how many. */
static size_t areas(struct page *page) {
    const struct rw_deficits *d = &page->a->deficits;
    struct rw_rank ranks[RW_MAX_AREAS];
    const size_t count = rw_area_order(d, ranks);
    struct rw_buffer list = {0};
    size_t told = 0;
    for (size_t i = 0; i < count && ranks[i].key >= 0.5; i++, told++) {
        const struct rw_area_deficit *area = &d->areas[ranks[i].index];
        char lost[16];
        rw_percent(area->p_lost, lost, sizeof lost);
        rw_buffer_print(&list, "%s%s (%s)", told ? ", " : "", rw_model()->targets[area->area].label, lost);
    }
    char *text = rw_buffer_take(&list, NULL);
    if (told > 0)
        rw_layout_item(&page->out, "  - ",
                       "feeling, lost with the probability given, so that the skin needs care: %s",
                       text ? text : "");
    free(text);
    return told;
}

static void functions(struct page *page) {
    const struct rw_deficits *d = &page->a->deficits;
    struct rw_rank ranks[RW_MAX_FUNCTIONS];
    const size_t count = rw_function_order(d, ranks);
    rw_layout_heading(&page->out, "What is lost");
    size_t told = 0;
    for (size_t i = 0; i < count && told < FUNCTIONS; i++) {
        const struct rw_function_deficit *f = &d->functions[ranks[i].index];
        char useful[16], unaided[16], tail[64] = "";
        if (f->p_useful >= 0.8)
            continue;
        rw_percent(f->p_useful, useful, sizeof useful);
        rw_percent(f->p_recovers_unaided, unaided, sizeof unaided);
        if (page->a->recovery.available && isfinite(f->p_recovers_unaided))
            snprintf(tail, sizeof tail, "; comes back unaided: %s", unaided);
        rw_layout_item(&page->out, "  - ", "%s: expected grade %.1f, useful (M3 or better) now: %s%s",
                       rw_model()->targets[f->function].label, f->expected_grade, useful, tail);
        told++;
    }
    told += areas(page);
    if (told == 0)
        rw_layout_item(&page->out, "  ", "No function or area is likely lost.");
}

static void recovery(struct page *page) {
    const struct rw_recovery *r = &page->a->recovery;
    rw_layout_heading(&page->out, "Recovery");
    if (!r->available) {
        rw_layout_item(&page->out, "  ", "Left out: %s", r->because ? r->because : "no reason given");
        return;
    }
    struct rw_rank ranks[RW_MAX_MUSCLES];
    const size_t count = rw_recovery_order(r, ranks);
    rw_layout_item(&page->out, "  ", "Reckoned with %.2g to %.2g mm a day.", r->rate_mm_per_day[0],
                   r->rate_mm_per_day[1]);
    for (size_t i = 0; i < count && i < RECOVERIES; i++) {
        const struct rw_muscle_recovery *m = &r->muscles[ranks[i].index];
        char from[11], to[11], closes[11];
        if (m->first_sign[0] == RW_NO_DAY || m->first_sign[1] == RW_NO_DAY || m->window_closes == RW_NO_DAY)
            continue;
        rw_day_text(m->first_sign[0], from);
        rw_day_text(m->first_sign[1], to);
        rw_day_text(m->window_closes, closes);
        rw_layout_item(&page->out, "  - ",
                       "%s: if the nerve recovers, first sign between %s and %s (%.0f mm); "
                       "the muscle can be reached until about %s",
                       rw_model()->targets[m->muscle].label, from, to, m->distance_mm, closes);
    }
    if (r->decide_by != RW_NO_DAY) {
        char day[11];
        rw_day_text(r->decide_by, day);
        rw_layout_item(&page->out, "  ", "Last date at which waiting still leaves a transfer in time: %s.",
                       day);
    }
}

/* ---- transfers ---- */

static void append_donor(struct rw_buffer *line, const struct rw_donor_status *status, bool another) {
    char strong[16];
    rw_percent(status->p_strong, strong, sizeof strong);
    rw_buffer_print(line, "%s%s", another ? "; " : "", rw_model()->donors[status->donor].label);
    if (status->state == RW_DONOR_USABLE && status->p_strong >= 0)
        rw_buffer_print(line, " (strong: %s)", strong);
}

static void donors(struct page *page) {
    static const char *const says[] = {[RW_DONOR_USABLE] = "Usable: ",
                                       [RW_DONOR_WEAK] = "Too weak: ",
                                       [RW_DONOR_INVOLVED] = "Involved in the injury: ",
                                       [RW_DONOR_UNKNOWN] = "Not known: ",
                                       [RW_DONOR_EXCLUDED] = "Excluded: "};
    const struct rw_transfers *t = &page->a->transfers;
    struct rw_rank ranks[RW_MAX_DONORS];
    const size_t count = rw_donor_order(t, ranks);
    rw_layout_heading(&page->out, "Donors");
    for (size_t i = 0; i < count;) {
        const enum rw_donor_state state = t->donors[ranks[i].index].state;
        struct rw_buffer line = {0};
        rw_buffer_text(&line, says[state]);
        size_t told = 0;
        for (; i < count && t->donors[ranks[i].index].state == state; i++, told++)
            if (told < DONORS)
                append_donor(&line, &t->donors[ranks[i].index], told > 0);
        if (told > DONORS)
            rw_buffer_print(&line, "; and %zu more", told - DONORS);
        char *text = rw_buffer_take(&line, NULL);
        rw_layout_item(&page->out, "  ", "%s.", text ? text : "");
        free(text);
    }
}

static void step(struct page *page, const struct rw_step *s, size_t number) {
    const struct rw_transfer *t = &rw_model()->transfers[s->transfer];
    char useful[16], low[16], high[16], patients[64], mark[32], dates[64] = "";
    rw_percent(s->p_useful, useful, sizeof useful);
    rw_percent(s->interval[0], low, sizeof low);
    rw_percent(s->interval[1], high, sizeof high);
    if (t->patients > 0)
        snprintf(patients, sizeof patients, "%.0f patients in the series", t->patients);
    else
        snprintf(patients, sizeof patients, "no series with counts");
    if (s->reinnervation[0] != RW_NO_DAY && s->reinnervation[1] != RW_NO_DAY) {
        char from[11], to[11];
        rw_day_text(s->reinnervation[0], from);
        rw_day_text(s->reinnervation[1], to);
        snprintf(dates, sizeof dates, "; first sign between %s and %s", from, to);
    }
    snprintf(mark, sizeof mark, "    %zu. ", number);
    rw_layout_item(&page->out, mark, "%s: useful in about %s (from %s to %s; %s)%s%s", t->label, useful, low,
                   high, patients, dates, t->memory ? "; from memory, no source seen" : "");
}

/* The costs of one donor are told in one paragraph. */
struct costs {
    struct rw_buffer *out, line;
    const struct rw_donor *donor;
};

static void tell_costs(struct costs *costs) {
    char *text = rw_buffer_take(&costs->line, NULL);
    if (text && text[0])
        rw_layout_item(costs->out, "    cost: ", "%s.", text);
    free(text);
}

static void take_cost(void *context, const struct rw_donor *donor, uint16_t function, double share) {
    struct costs *costs = context;
    const bool first = costs->donor != donor;
    if (first)
        tell_costs(costs);
    costs->donor = donor;
    if (function == RW_NONE)
        rw_buffer_print(&costs->line, "%s: touches none of the functions counted here", donor->label);
    else if (first)
        rw_buffer_print(&costs->line, "%s: gives up part of what its muscles bear of %s (%.0f%%)",
                        donor->label, rw_model()->targets[function].label, share * 100);
    else if (share >= least_share)
        rw_buffer_print(&costs->line, ", %s (%.0f%%)", rw_model()->targets[function].label, share * 100);
}

static void plan(struct page *page, const struct rw_plan *p, size_t rank) {
    struct rw_buffer left = {0};
    rw_layout_item(&page->out, "  ", "Plan %zu, expected gain %.2g:", rank, p->expected_gain);
    for (size_t i = 0; i < p->step_count; i++)
        step(page, &p->steps[i], i + 1);
    if (rank == 1) {
        struct costs costs = {.out = &page->out};
        rw_each_donor_cost(p, take_cost, &costs);
        tell_costs(&costs);
    }
    for (size_t i = 0; i < p->not_restored_count; i++)
        rw_buffer_print(&left, "%s%s", i ? ", " : "", rw_model()->targets[p->not_restored[i]].label);
    char *text = rw_buffer_take(&left, NULL);
    if (text && text[0])
        rw_layout_item(&page->out, "    ", "Leaves unrestored: %s.", text);
    free(text);
}

static void transfers(struct page *page) {
    const struct rw_transfers *t = &page->a->transfers;
    if (!t->available) {
        rw_layout_heading(&page->out, "Transfers");
        rw_layout_item(&page->out, "  ", "Left out: %s", t->because ? t->because : "no reason given");
        return;
    }
    donors(page);
    rw_layout_heading(&page->out, "Transfers to discuss");
    if (t->plan_count == 0)
        rw_layout_item(&page->out, "  ", "No transfer is worth its donor on these findings.");
    for (size_t i = 0; i < t->plan_count; i++)
        plan(page, &t->plans[i], i + 1);
    for (size_t i = 0; i < t->rejected_count && i < REJECTED; i++)
        rw_layout_item(&page->out, "  - ", "not %s: %s", rw_model()->transfers[t->rejected[i].transfer].label,
                       t->rejected[i].because);
}

/* ---- the whole ---- */

/* The standing caution opens the text; the others close it. */
struct cautions {
    struct page *page;
    size_t seen;
    bool first;
};

static void take_caution(void *context, const char *text) {
    struct cautions *cautions = context;
    if (cautions->first == (cautions->seen++ == 0))
        rw_layout_item(&cautions->page->out, cautions->first ? "" : "  - ", "%s", text);
}

char *rw_answer_text(const struct rw_exam *exam, const struct rw_assessment *a) {
    struct page page = {.exam = exam, .a = a};
    rw_each_caution(exam, a, take_caution, &(struct cautions){.page = &page, .first = true});
    urgent(&page);
    referral(&page);
    rw_layout_heading(&page.out, "What the examination says");
    about(&page);
    if (a->localisation.informative) {
        hypotheses(&page);
        inseparable(&page);
        roots(&page);
        evidence(&page);
        unexplained(&page);
    } else { /* what is merely common must not look like an answer */
        rw_layout_item(&page.out, "  ", "Nothing in it bears on the question, so no lesion is named.");
    }
    next(&page);
    if (a->localisation.informative) {
        functions(&page);
        recovery(&page);
        transfers(&page);
    }
    rw_layout_heading(&page.out, "Cautions");
    rw_each_caution(exam, a, take_caution, &(struct cautions){.page = &page});
    return rw_buffer_take(&page.out, NULL);
}
