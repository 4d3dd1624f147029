/* What may come back without surgery, and until when one can wait, in plain words. */
#include "answer_text.h"
#include "dates.h"
#include "layout.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Lines of muscles told in words; the JSON answer holds all. */
enum { GROUPS = 8 };
/* Muscles whose distances differ by less are told together. */
static const double near_mm = 20;

static const char *label_of(uint16_t target) {
    return rw_model()->targets[target].label;
}

/* Muscles of about one distance, soonest first. */
struct group {
    struct rw_buffer names;
    double mm[2];
    int32_t first_sign[2];
};

static void tell_group(struct rw_text_page *page, struct group *group) {
    char from[11], to[11], way[48], after[128];
    if (group->names.length == 0)
        return;
    rw_day_text(group->first_sign[0], from);
    rw_day_text(group->first_sign[1], to);
    if (group->mm[1] - group->mm[0] < 1)
        snprintf(way, sizeof way, "%.0f mm", group->mm[0]);
    else
        snprintf(way, sizeof way, "%.0f to %.0f mm", group->mm[0], group->mm[1]);
    snprintf(after, sizeof after, " (%s): first sign between %s and %s", way, from, to);
    rw_text_list_item(&page->out, "  - ", "", &group->names, after);
}

static void take_muscle(struct group *group, const struct rw_muscle_recovery *m) {
    if (group->names.length == 0) {
        group->mm[0] = group->mm[1] = m->distance_mm;
        group->first_sign[0] = m->first_sign[0];
        group->first_sign[1] = m->first_sign[1];
    }
    group->mm[0] = fmin(group->mm[0], m->distance_mm);
    group->mm[1] = fmax(group->mm[1], m->distance_mm);
    if (m->first_sign[0] < group->first_sign[0])
        group->first_sign[0] = m->first_sign[0];
    if (m->first_sign[1] > group->first_sign[1])
        group->first_sign[1] = m->first_sign[1];
    rw_text_list(&group->names, "; ", label_of(m->muscle));
}

static void muscles(struct rw_text_page *page) {
    const struct rw_recovery *r = &page->a->recovery;
    struct rw_rank ranks[RW_MAX_MUSCLES];
    const size_t count = rw_recovery_order(r, ranks);
    struct group group = {0};
    struct rw_buffer none = {0};
    size_t groups = 0, more = 0;
    for (size_t i = 0; i < count; i++) {
        const struct rw_muscle_recovery *m = &r->muscles[ranks[i].index];
        if (m->first_sign[0] == RW_NO_DAY || m->first_sign[1] == RW_NO_DAY) {
            rw_text_list(&none, "; ", label_of(m->muscle));
            continue;
        }
        if (group.names.length > 0 && fabs(m->distance_mm - group.mm[0]) >= near_mm) {
            tell_group(page, &group);
            groups++;
        }
        if (groups < GROUPS)
            take_muscle(&group, m);
        else
            more++;
    }
    tell_group(page, &group);
    if (more > 0)
        rw_layout_item(&page->out, "  - ", "%zu more muscles further out", more);
    if (page->exam->onset_day != RW_NO_DAY)
        rw_text_list_item(&page->out, "  - ",
                          "no regrowth expected, most of the loss lies behind torn roots: ", &none, "");
    free(rw_buffer_take(&none, NULL));
}

void rw_text_recovery(struct rw_text_page *page) {
    const struct rw_recovery *r = &page->a->recovery;
    rw_layout_heading(&page->out, "Recovery");
    if (!r->available) {
        rw_layout_item(&page->out, "  ", "Left out: %s.", r->because ? r->because : "no reason given");
        return;
    }
    rw_layout_item(&page->out, "  ",
                   "If the nerves recover, reckoned with %.2g to %.2g mm a day:", r->rate_mm_per_day[0],
                   r->rate_mm_per_day[1]);
    muscles(page);
    if (r->decide_by != RW_NO_DAY) {
        char day[11];
        rw_day_text(r->decide_by, day);
        rw_layout_item(&page->out, "  ", "Decide by %s.", day);
    }
}
