/* What is lost, now and later without surgery, in plain words. */
#include "answer_text.h"
#include "layout.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* How much of each list is told in words; the JSON answer holds the whole. */
enum { FUNCTIONS = 12 };
/* Functions and areas that are likelier kept than this are not named. */
static const double likely_kept = 0.8, likely_lost = 0.5;
/* Up to this chance of useful power a patient surely cannot; up to likely_lost probably not. */
static const double surely_lost = 0.05;

static const char *label_of(uint16_t target) {
    return rw_model()->targets[target].label;
}

/* "; unaided: 20% at 12 and 21% at 24 months (M4 or better: 19%)" */
static void unaided(const struct rw_function_deficit *f, char *text, size_t size) {
    char ever[16], strong[16], year[16] = "", two[16] = "";
    rw_percent(f->p_recovers_unaided, ever, sizeof ever);
    rw_percent(f->p_strong_unaided, strong, sizeof strong);
    if (isfinite(f->months_12.p_useful))
        rw_percent(f->months_12.p_useful, year, sizeof year);
    if (isfinite(f->months_24.p_useful))
        rw_percent(f->months_24.p_useful, two, sizeof two);
    if (two[0])
        rw_percent(f->months_24.p_strong, strong, sizeof strong);
    if (two[0] && strcmp(year, two) == 0)
        snprintf(text, size, "; unaided at 12 and 24 months: %s (M4 or better: %s)", two, strong);
    else if (two[0])
        snprintf(text, size, "; unaided: %s%s%s at 24 months (M4 or better: %s)", year,
                 year[0] ? " at 12 and " : "", two, strong);
    else
        snprintf(text, size, "; unaided, now or ever: %s (M4 or better: %s)", ever, strong);
}

static void function(struct rw_text_page *page, const struct rw_function_deficit *f) {
    const struct rw_target *t = &rw_model()->targets[f->function];
    char useful[16], tail[128] = "";
    rw_percent(f->p_useful, useful, sizeof useful);
    if (page->a->recovery.available && isfinite(f->p_recovers_unaided))
        unaided(f, tail, sizeof tail);
    if (f->p_useful < likely_lost && t->help)
        rw_layout_item(&page->out, "  - ", "%s %s: %s is at grade %.1f; M3 or better now: %s%s",
                       f->p_useful < surely_lost ? "Cannot" : "Probably cannot", t->help, t->label,
                       f->expected_grade, useful, tail);
    else
        rw_layout_item(&page->out, "  - ", "%c%s is %s, at grade %.1f; M3 or better now: %s%s",
                       toupper((unsigned char)t->label[0]), t->label + 1,
                       f->p_useful < surely_lost ? "lost" : "weak", f->expected_grade, useful, tail);
}

/* Areas whose feeling is likely lost, in one sentence; returns how many. */
static size_t areas(struct rw_text_page *page) {
    const struct rw_deficits *d = &page->a->deficits;
    struct rw_rank ranks[RW_MAX_AREAS];
    const size_t count = rw_area_order(d, ranks);
    struct rw_buffer list = {0};
    size_t told = 0;
    for (size_t i = 0; i < count && ranks[i].key >= likely_lost; i++, told++) {
        const struct rw_area_deficit *area = &d->areas[ranks[i].index];
        char lost[16];
        rw_percent(area->p_lost, lost, sizeof lost);
        rw_buffer_print(&list, "%s%s (%s)", told ? ", " : "", label_of(area->area), lost);
    }
    rw_text_list_item(&page->out, "  - ",
                      "Feeling, lost with the probability given, so that the skin needs care: ", &list, "");
    return told;
}

void rw_text_functions(struct rw_text_page *page) {
    const struct rw_deficits *d = &page->a->deficits;
    struct rw_rank ranks[RW_MAX_FUNCTIONS];
    const size_t count = rw_function_order(d, ranks);
    rw_layout_heading(&page->out, "What is lost");
    size_t told = 0, more = 0;
    for (size_t i = 0; i < count; i++) {
        const struct rw_function_deficit *f = &d->functions[ranks[i].index];
        if (f->p_useful >= likely_kept)
            continue;
        if (told < FUNCTIONS)
            function(page, f);
        told++;
        more += told > FUNCTIONS;
    }
    if (more > 0)
        rw_layout_item(&page->out, "  - ", "%zu more functions are weak or lost, as the whole answer says",
                       more);
    told += areas(page);
    if (told == 0)
        rw_layout_item(&page->out, "  ", "No function or area is likely lost.");
}
