/* What may come back without surgery, and until when one can wait, in plain words. */
#include "answer_text.h"
#include "dates.h"
#include "layout.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Lines of muscles, and names in a line, that are told in words; the JSON answer holds all. */
enum { GROUPS = 8, NAMES = 12 };
/* A block less likely than this is not named; chances that differ by less are the same. */
static const double worth_a_word = 0.05, alike = 0.02;
/* Muscles whose distances differ by less are told together. */
static const double near_mm = 20;

static const char *label_of(uint16_t target) {
    return rw_model()->targets[target].label;
}

/* Muscles of about one distance, soonest first, and the mean of what they may get back. */
struct group {
    struct rw_buffer names;
    size_t count;
    double mm[2], block, regrows;
    int32_t first_sign[2], block_clears_by;
    uint8_t site;
};

static bool no_sign(const struct rw_muscle_recovery *m) {
    return m->first_sign[0] == RW_NO_DAY || m->first_sign[1] == RW_NO_DAY;
}

/* What is the same for all muscles with a date is said once, before them. */
struct once {
    bool site, chance;
};

static struct once said_once(const struct rw_recovery *r) {
    struct once once = {true, true};
    const struct rw_muscle_recovery *first = NULL;
    for (size_t i = 0; i < r->muscle_count; i++) {
        const struct rw_muscle_recovery *m = &r->muscles[i];
        if (no_sign(m))
            continue;
        if (!first)
            first = m;
        once.site = once.site && m->sites[0].site == first->sites[0].site;
        once.chance = once.chance && fabs(m->p_regrows - first->p_regrows) < alike &&
                      fabs(m->p_block - first->p_block) < alike;
    }
    return once;
}

/* "regrows in time: 28%; a block, gone by 2026-05-22: 27%" */
static void chances(const struct group *group, char *text, size_t size) {
    char day[11], regrows[16], block[16];
    rw_percent(group->regrows / (double)group->count, regrows, sizeof regrows);
    snprintf(text, size, "regrows in time: %s", regrows);
    if (group->block < worth_a_word * (double)group->count || group->block_clears_by == RW_NO_DAY)
        return;
    rw_day_text(group->block_clears_by, day);
    rw_percent(group->block / (double)group->count, block, sizeof block);
    const size_t used = strlen(text);
    snprintf(text + used, size - used, "; a block, gone by %s: %s", day, block);
}

static void tell_group(struct rw_text_page *page, struct group *group, struct once once) {
    char from[11], to[11], way[48], back[96] = "", after[512];
    if (group->count == 0)
        return;
    rw_day_text(group->first_sign[0], from);
    rw_day_text(group->first_sign[1], to);
    if (!once.chance)
        chances(group, back, sizeof back);
    if (group->mm[1] - group->mm[0] < 1)
        snprintf(way, sizeof way, "%.0f mm", group->mm[0]);
    else
        snprintf(way, sizeof way, "%.0f to %.0f mm", group->mm[0], group->mm[1]);
    snprintf(after, sizeof after, " (%s%s%s): first sign between %s and %s%s%s", way,
             once.site ? "" : " from: ", once.site ? "" : rw_model()->sites[group->site].label, from, to,
             back[0] ? "; " : "", back);
    rw_text_list_item(&page->out, "  - ", "", &group->names, after);
    *group = (struct group){0};
}

static void take_muscle(struct group *group, const struct rw_muscle_recovery *m) {
    if (group->count++ == 0) {
        group->mm[0] = group->mm[1] = m->distance_mm;
        group->first_sign[0] = m->first_sign[0];
        group->first_sign[1] = m->first_sign[1];
        group->block_clears_by = m->block_clears_by;
        group->site = m->sites[0].site;
    }
    group->mm[0] = fmin(group->mm[0], m->distance_mm);
    group->mm[1] = fmax(group->mm[1], m->distance_mm);
    group->block += m->p_block;
    group->regrows += m->p_regrows;
    if (m->first_sign[0] < group->first_sign[0])
        group->first_sign[0] = m->first_sign[0];
    if (m->first_sign[1] > group->first_sign[1])
        group->first_sign[1] = m->first_sign[1];
    rw_text_list(&group->names, "; ", label_of(m->muscle));
}

static void muscles(struct rw_text_page *page, struct once once) {
    const struct rw_recovery *r = &page->a->recovery;
    struct rw_rank ranks[RW_MAX_MUSCLES];
    const size_t count = rw_recovery_order(r, ranks);
    struct group group = {0};
    struct rw_buffer none = {0}, moving = {0};
    size_t groups = 0, more = 0, silent = 0;
    for (size_t i = 0; i < count; i++) {
        const struct rw_muscle_recovery *m = &r->muscles[ranks[i].index];
        if (m->moves) {
            rw_text_list(&moving, "; ", label_of(m->muscle));
            continue;
        }
        if (no_sign(m)) {
            if (silent++ < NAMES)
                rw_text_list(&none, "; ", label_of(m->muscle));
            continue;
        }
        if (group.count > 0 &&
            (fabs(m->distance_mm - group.mm[0]) >= near_mm || m->sites[0].site != group.site)) {
            tell_group(page, &group, once);
            groups++;
        }
        if (groups < GROUPS)
            take_muscle(&group, m);
        else
            more++;
    }
    tell_group(page, &group, once);
    if (more > 0)
        rw_layout_item(&page->out, "  - ", "%zu more later, as the whole answer says", more);
    if (silent > NAMES)
        rw_buffer_print(&none, "; and %zu more", silent - NAMES);
    rw_text_list_item(&page->out, "  - ",
                      page->exam->onset_day == RW_NO_DAY ? "no dates, as the onset is not given: "
                                                         : "no regrowth expected in time: ",
                      &none, "");
    rw_text_list_item(&page->out, "  - ", "moves already: ", &moving, "");
}

/* ---- percussion ---- */

static bool same_front(const struct rw_front *a, const struct rw_front *b) {
    bool same = a->state == b->state && a->found_at == b->found_at && a->expected_count == b->expected_count;
    for (size_t i = 0; same && i < a->expected_count; i++)
        same = a->expected_at[i] == b->expected_at[i];
    return same;
}

static void points(const struct rw_front *front, struct rw_buffer *line) {
    for (size_t i = 0; i < front->expected_count; i++) {
        char name[RW_PHRASE_SIZE];
        rw_check_name(front->expected_at[i], name, sizeof name);
        rw_buffer_print(line, "%s%s", i ? "; " : " (by ", name);
    }
    if (front->expected_count > 0)
        rw_buffer_text(line, ")");
}

static void front(struct rw_text_page *page, const struct rw_front *f, const char *nerves) {
    static const char *const says[RW_FRONT_COUNT] = {
        [RW_FRONT_NOT_PERCUSSED] = "not tapped there yet",
        [RW_FRONT_BEHIND] =
            "nothing radiates there: think of a rupture, a block, or a front between two points",
        [RW_FRONT_AS_EXPECTED] = "as expected",
        [RW_FRONT_AHEAD] = "further than expected"};
    char found[RW_PHRASE_SIZE] = "";
    struct rw_buffer line = {0};
    rw_buffer_print(&line, "Percussion, %s nerve: the front should ", nerves);
    if (f->expected_mm[1] < 1)
        rw_buffer_text(&line, "hardly have left the injury yet");
    else
        rw_buffer_print(&line, "stand %.0f to %.0f mm from the injury", f->expected_mm[0], f->expected_mm[1]);
    points(f, &line);
    if (f->found_at != RW_NONE)
        rw_check_name(f->found_at, found, sizeof found);
    rw_buffer_print(&line, "; %s%s%s", says[f->state], found[0] ? "; radiates at " : "", found);
    rw_text_list_item(&page->out, "  ", "", &line, ".");
}

/* Nerves of which the same is to be said stand together. */
static void fronts(struct rw_text_page *page) {
    const struct rw_recovery *r = &page->a->recovery;
    bool told[RW_COURSES] = {false};
    for (size_t i = 0; i < r->front_count; i++) {
        char nerves[64] = "";
        for (size_t k = i; k < r->front_count; k++) {
            if (told[k] || !same_front(&r->fronts[i], &r->fronts[k]))
                continue;
            told[k] = true;
            const size_t used = strlen(nerves);
            snprintf(nerves + used, sizeof nerves - used, "%s%s", used ? " and " : "",
                     rw_course_nerve_name((enum rw_course_nerve)r->fronts[k].course));
        }
        if (nerves[0])
            front(page, &r->fronts[i], nerves);
    }
}

static void deadlines(struct rw_text_page *page) {
    const struct rw_recovery *r = &page->a->recovery;
    int32_t closes = RW_NO_DAY;
    char day[11];
    for (size_t i = 0; i < r->muscle_count; i++)
        if (closes == RW_NO_DAY || r->muscles[i].window_closes < closes)
            closes = r->muscles[i].window_closes;
    if (closes != RW_NO_DAY) {
        rw_day_text(closes, day);
        rw_layout_item(&page->out, "  ", "The muscles can be reached until about %s.", day);
    }
    if (r->decide_by != RW_NO_DAY) {
        rw_day_text(r->decide_by, day);
        rw_layout_item(&page->out, "  ", "Decide by %s: %s.", day, r->decide_because);
    } else {
        rw_layout_item(&page->out, "  ", "No date to decide by: %s.", r->decide_because);
    }
}

/* "Unaided, reckoned with 1 to 3 mm a day, likeliest from: radial nerve at the spiral groove; regrows …" */
static void opening(struct rw_text_page *page, struct once once) {
    const struct rw_recovery *r = &page->a->recovery;
    struct group all = {0};
    char back[96];
    for (size_t i = 0; i < r->muscle_count; i++)
        if (!no_sign(&r->muscles[i]))
            take_muscle(&all, &r->muscles[i]);
    free(rw_buffer_take(&all.names, NULL));
    const bool site = all.count > 0 && once.site, chance = all.count > 0 && once.chance;
    if (chance)
        chances(&all, back, sizeof back);
    rw_layout_item(&page->out, "  ",
                   "Unaided, reckoned with %.2g to %.2g mm a day%s%s%s%s:", r->rate_mm_per_day[0],
                   r->rate_mm_per_day[1], site ? ", likeliest from: " : "",
                   site ? rw_model()->sites[all.site].label : "", chance ? "; " : "", chance ? back : "");
}

void rw_text_recovery(struct rw_text_page *page) {
    const struct rw_recovery *r = &page->a->recovery;
    const struct once once = said_once(r);
    rw_layout_heading(&page->out, "Recovery");
    if (!r->available) {
        rw_layout_item(&page->out, "  ", "Left out: %s.", r->because ? r->because : "no reason given");
        return;
    }
    if (r->muscle_count > 0)
        opening(page, once);
    muscles(page, once);
    fronts(page);
    deadlines(page);
}
