#include "search.h"

#include <string.h>

/* Total order: heavier first, then by config and atoms, so that equal weights always sort alike. */
static bool heavier(const struct rw_candidate *a, const struct rw_candidate *b) {
    if (a->weight > b->weight)
        return true;
    if (a->weight < b->weight)
        return false;
    if (a->config != b->config)
        return a->config < b->config;
    if (a->atom_count != b->atom_count)
        return a->atom_count < b->atom_count;
    return memcmp(a->atoms, b->atoms, sizeof a->atoms) < 0;
}

static void swap(struct rw_candidate *a, struct rw_candidate *b) {
    const struct rw_candidate t = *a;
    *a = *b;
    *b = t;
}

static void sift_down(struct rw_shortlist *list) {
    for (size_t i = 0;;) {
        size_t lightest = i;
        for (size_t child = 2 * i + 1; child <= 2 * i + 2 && child < list->count; child++)
            if (heavier(&list->items[lightest], &list->items[child]))
                lightest = child;
        if (lightest == i)
            return;
        swap(&list->items[i], &list->items[lightest]);
        i = lightest;
    }
}

void rw_shortlist_offer(struct rw_shortlist *list, const struct rw_candidate *candidate) {
    if (list->count == RW_SHORTLIST) {
        if (!heavier(candidate, &list->items[0]))
            return;
        list->items[0] = *candidate;
        sift_down(list);
        return;
    }
    size_t i = list->count++;
    list->items[i] = *candidate;
    while (i > 0 && heavier(&list->items[(i - 1) / 2], &list->items[i])) {
        swap(&list->items[i], &list->items[(i - 1) / 2]);
        i = (i - 1) / 2;
    }
}
