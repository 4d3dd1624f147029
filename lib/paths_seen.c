/* What one target sees of a set of lesions. */
#include <string.h>

#include "paths_parts.h"

/* Shares of a target by which of the seen lesions lie on the way: a bit each. */
struct shares {
    size_t count;
    uint32_t mask[RW_MAX_VIEW_BUNDLES];
    double weight[RW_MAX_VIEW_BUNDLES];
};

static void add_share(struct shares *shares, uint32_t mask, double weight) {
    size_t i = 0;
    while (i < shares->count && shares->mask[i] != mask)
        i++;
    if (i == shares->count) {
        shares->mask[i] = mask;
        shares->weight[shares->count++] = 0.0;
    }
    shares->weight[i] += weight;
}

static void find_shares(const struct rw_paths_scratch *s, uint16_t target, uint16_t variant,
                        struct shares *shares) {
    struct rw_strand strands[RW_MAX_VIEW_BUNDLES];
    const size_t count = rw_strands_of(variant, target, strands);
    shares->count = 0;
    for (size_t i = 0; i < count; i++) {
        uint32_t mask = 0;
        for (size_t j = 0; j < s->seen_count; j++)
            mask |= rw_sites_hold(strands[i].sites, s->site[s->seen[j]]) ? 1u << j : 0;
        add_share(shares, mask, strands[i].bundle->weight);
    }
}

/* As rw_intact_fraction. `severity`: of the seen lesions, in their order. */
static double fraction_of(const struct shares *shares, const uint8_t *severity, size_t count, uint8_t depth,
                          uint8_t *spread) {
    double fraction = 0.0;
    uint32_t partial = 0;
    for (size_t j = 0; j < count; j++)
        partial |= severity[j] == RW_PARTIAL ? 1u << j : 0;
    *spread = RW_SPREAD_SHARP;
    for (size_t i = 0; i < shares->count; i++) {
        double left = shares->weight[i];
        for (size_t j = 0; j < count; j++)
            if ((shares->mask[i] >> j & 1u) != 0)
                left *= 1.0 - rw_site_loss(severity[j], depth);
        fraction += left;
        if ((shares->mask[i] & partial) != 0)
            *spread = RW_SPREAD_UNEVEN;
    }
    return fraction;
}

/* The target's fraction, in one kind of anatomy, for all severities of the seen lesions. */
static void look_at_kind(struct rw_paths_scratch *s, const struct shares *shares, size_t kind) {
    for (size_t state = 0; state < s->seen_states; state++) {
        uint8_t severity[RW_MAX_LESIONS];
        size_t rest = state;
        for (size_t j = 0; j < s->seen_count; j++) {
            const size_t i = s->seen[j];
            severity[j] = (uint8_t)(s->radix[i] == 1 ? s->first[i] : rest % s->radix[i]);
            rest /= s->radix[i];
        }
        for (uint8_t depth = 0; depth < 2; depth++)
            s->fraction[kind][depth][state] =
                fraction_of(shares, severity, s->seen_count, depth, &s->spread[kind][depth][state]);
    }
}

bool rw_paths_look(const struct rw_paths *paths, const struct rw_watched *w) {
    struct rw_paths_scratch *s = paths->scratch;
    struct shares shares;
    memset(s->waiting, 0xff, sizeof s->waiting); /* not seen yet */
    s->seen_count = 0;
    s->seen_states = 1;
    for (size_t i = 0; i < s->lesion_count; i++)
        if (rw_sites_hold(w->sites, s->site[i])) {
            s->seen[s->seen_count++] = (uint8_t)i;
            s->seen_states *= s->radix[i];
        }
    for (size_t kind = 0; kind < w->kind_count && s->seen_count > 0; kind++) {
        find_shares(s, w->target, paths->variant[w->kind_variant[kind]], &shares);
        look_at_kind(s, &shares, kind);
    }
    return s->seen_count > 0;
}

const uint16_t *rw_paths_see(const struct rw_paths *paths, size_t watched, size_t visit, size_t manner) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_exam *exam = &paths->exams[visit];
    const double days = (double)exam->examined_day - exam->onset_day;
    uint16_t *seen_of = s->seen_of[manner];
    uint32_t waiting = 0;
    for (size_t j = 0; j < s->seen_count; j++) {
        const size_t i = s->seen[j];
        if (s->first[i] == RW_COMPLETE &&
            days < rw_paths_waits(paths, watched, s->site[i], (enum rw_manner)manner))
            waiting |= 1u << j;
    }
    if (waiting == s->waiting[manner])
        return seen_of;
    s->waiting[manner] = waiting;
    for (size_t x = 0; x < s->states; x++) {
        size_t state = 0, stride = 1;
        for (size_t j = 0; j < s->seen_count; j++) {
            const size_t i = s->seen[j];
            if (s->radix[i] > 1)
                state += stride * ((waiting >> j & 1u) != 0 ? s->first[i] : s->digit[x][i]);
            stride *= s->radix[i];
        }
        seen_of[x] = (uint16_t)state;
    }
    return seen_of;
}
