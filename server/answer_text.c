/* The answer in plain words: what must not wait comes first, what it rests on beside it, cautions last. */
#include "answer_text.h"
#include "dates.h"
#include "layout.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* How much of each list is told in words; the JSON answer holds the whole. */
enum { LEADING = 5, EVIDENCE = 6, NEXT_BEDSIDE = 4, NEXT_INVESTIGATIONS = 3 };
/* Findings that shift the odds less than this (log10) are not named. */
static const double least_evidence = 0.1;

/* ---- what comes first ---- */

static void urgent(struct rw_text_page *page) {
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

static void referral(struct rw_text_page *page) {
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

static void about(struct rw_text_page *page) {
    const struct rw_exam *exam = page->exam;
    char day[11], since[64] = "onset not given";
    rw_day_text(exam->examined_day, day);
    if (exam->onset_day != RW_NO_DAY)
        snprintf(since, sizeof since, "%d days after the onset", exam->examined_day - exam->onset_day);
    rw_layout_item(&page->out, "  ", "%s arm, examined %s, %s, mechanism: %s.",
                   exam->side == RW_SIDE_LEFT ? "Left" : "Right", day, since,
                   rw_mechanism_name(exam->mechanism));
}

static void hypotheses(struct rw_text_page *page) {
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
static void inseparable(struct rw_text_page *page) {
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

static void roots(struct rw_text_page *page) {
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
static void name_hypothesis(const struct rw_text_page *page, uint16_t index, char buffer[RW_SUMMARY_SIZE]) {
    const struct rw_localisation *l = &page->a->localisation;
    if (l->informative && index < LEADING && index < l->hypothesis_count)
        snprintf(buffer, RW_SUMMARY_SIZE, "%u", index + 1U);
    else
        rw_summary_at(page->exam, l, index, buffer);
    if (islower((unsigned char)buffer[1])) /* it stands within a sentence; "C5" keeps its capital */
        buffer[0] = (char)tolower((unsigned char)buffer[0]);
}

static void observed_phrase(const struct rw_text_page *page, uint16_t check, char buffer[RW_PHRASE_SIZE]) {
    buffer[0] = '\0';
    for (size_t i = 0; i < page->exam->finding_count; i++)
        if (page->exam->findings[i].check == check)
            rw_check_value(check, page->exam->findings[i].value, buffer, RW_PHRASE_SIZE);
}

static void evidence(struct rw_text_page *page) {
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

static void unexplained(struct rw_text_page *page) {
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

static void next_check(struct rw_text_page *page, const struct rw_next_check *n) {
    const char *help = rw_check_help(n->check);
    char name[RW_PHRASE_SIZE], one[RW_SUMMARY_SIZE], other[RW_SUMMARY_SIZE];
    rw_check_name(n->check, name, sizeof name);
    name_hypothesis(page, n->separates[0], one);
    name_hypothesis(page, n->separates[1], other);
    rw_layout_item(&page->out, "  - ", "%s (%.2g bits)%s%s%s%s%s%s", name, n->bits,
                   other[0] ? ": helps to tell " : "", other[0] ? one : "", other[0] ? " from " : "", other,
                   help ? ". " : "", help ? help : "");
}

static void next(struct rw_text_page *page) {
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

/* ---- lists ---- */

void rw_text_list(struct rw_buffer *list, const char *parting, const char *word) {
    rw_buffer_print(list, "%s%s", list->length ? parting : "", word);
}

void rw_text_list_item(struct rw_buffer *out, const char *mark, const char *before, struct rw_buffer *list,
                       const char *after) {
    char *text = rw_buffer_take(list, NULL);
    if (text && text[0])
        rw_layout_item(out, mark, "%s%s%s", before, text, after);
    free(text);
}

/* ---- the whole ---- */

/* The standing caution opens the text; the others close it. */
struct cautions {
    struct rw_text_page *page;
    size_t seen;
    bool first;
};

static void take_caution(void *context, const char *text) {
    struct cautions *cautions = context;
    if (cautions->first == (cautions->seen++ == 0))
        rw_layout_item(&cautions->page->out, cautions->first ? "" : "  - ", "%s", text);
}

char *rw_answer_text(const struct rw_exam *exam, const struct rw_assessment *a) {
    struct rw_text_page page = {.exam = exam, .a = a};
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
        rw_text_functions(&page);
        rw_text_recovery(&page);
        rw_text_transfers(&page);
    }
    rw_layout_heading(&page.out, "Cautions");
    rw_each_caution(exam, a, take_caution, &(struct cautions){.page = &page});
    return rw_buffer_take(&page.out, NULL);
}
