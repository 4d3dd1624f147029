#include "feeling.h"

#include <string.h>

/* What a word says of an area. */
struct feeling {
    double lost, protects; /* 1 or 0: reduced or absent; P(protective feeling) */
};
static struct feeling feeling_of(const char *word) {
    if (strcmp(word, "absent") == 0)
        return (struct feeling){1.0, 0.0};
    if (strcmp(word, "reduced") == 0)
        return (struct feeling){1.0, rw_fact_value("protective_when_reduced")};
    return (struct feeling){0.0, 1.0};
}

/* Under one effect in one world; `words` by observation of the table. */
static struct feeling predicted(const struct rw_table *table, const struct feeling *words,
                                const struct rw_effect *effect, size_t world) {
    double p[UINT8_MAX];
    struct feeling mean = {0.0, 0.0};
    rw_effect_predict(table, 1.0, effect, world, p);
    for (size_t o = 0; o < table->observation_count; o++) {
        mean.lost += p[o] * words[o].lost;
        mean.protects += p[o] * words[o].protects;
    }
    return mean;
}

/* As recorded; false where the area was not tested itself. */
static bool recorded(const struct rw_exam *exam, uint16_t check, struct feeling *out) {
    const struct rw_scale *scale = &rw_model()->scales[rw_model()->checks[check].scale];
    for (size_t i = 0; i < exam->finding_count; i++)
        if (exam->findings[i].check == check && !exam->findings[i].filled_in) {
            *out = feeling_of(scale->values[exam->findings[i].value].text);
            return true;
        }
    return false;
}

/* Chance that what these lesions took from the area comes back, in one variant and depth. */
static double returns_in(const struct rw_unaided *unaided, const struct rw_state_group *group,
                         const struct rw_strand *strands, size_t count, size_t depth) {
    const double partial_left = 1.0 - rw_model()->partial_loss[depth];
    double lost = 0.0, back = 0.0;
    for (size_t i = 0; i < count && !group->outside; i++) {
        double left = 1.0, chance = 1.0;
        for (size_t k = 0; k < strands[i].bundle->site_count; k++) {
            const uint8_t site = strands[i].bundle->sites[k];
            const enum rw_severity severity = rw_sites_hold(group->complete, site)  ? RW_COMPLETE
                                              : rw_sites_hold(group->partial, site) ? RW_PARTIAL
                                                                                    : RW_INTACT;
            left *= severity == RW_COMPLETE ? 0.0 : severity == RW_PARTIAL ? partial_left : 1.0;
            if (unaided->at[site][severity] < chance)
                chance = unaided->at[site][severity];
        }
        lost += strands[i].bundle->weight * (1.0 - left);
        back += strands[i].bundle->weight * (1.0 - left) * chance;
    }
    return lost > 0.0 ? back / lost : unaided->other;
}

/* The area at hand. */
struct area {
    const struct rw_table *table;
    const struct rw_effects *effects;
    bool tested;
    struct feeling now, words[UINT8_MAX]; /* words: by observation of the table */
    struct rw_groups groups;
    double weight[RW_MAX_STATES][RW_MAX_WORLDS], protects;
};

/* All variants with the same bundles to the area as this one. */
static void see_variant(struct area *a, const struct rw_unaided *unaided, size_t variant,
                        struct rw_area_deficit *out) {
    struct rw_strand strands[RW_MAX_VIEW_BUNDLES];
    const size_t count = rw_strands_of(variant, out->area, strands);
    for (size_t g = 0; g < a->groups.count; g++)
        for (size_t depth = 0; depth < RW_DEPTHS; depth++) {
            const struct rw_state_group *group = &a->groups.list[g];
            const struct rw_effect *effect = &a->effects->list[a->effects->of[group->example]];
            double weight = 0.0;
            for (size_t v = variant; v < rw_model()->variant_count; v++)
                if (rw_variant_like(v, out->area) == variant)
                    weight += a->weight[g][rw_world_of(v, depth)];
            if (!a->tested)
                a->now = predicted(a->table, a->words, effect, rw_world_of(variant, depth));
            const double returns = returns_in(unaided, group, strands, count, depth),
                         protects = a->now.protects;
            out->p_lost += weight * a->now.lost;
            out->p_recovers_unaided += weight * (protects + (1.0 - protects) * returns);
            a->protects += weight * protects;
        }
}

static void see_area(const struct rw_exam *exam, const struct rw_states *states,
                     const struct rw_unaided *unaided, uint16_t check, struct rw_area_deficit *out) {
    struct area a = {.table = &rw_model()->tables[rw_model()->checks[check].table],
                     .effects = &states->effects[out->area]};
    a.tested = recorded(exam, check, &a.now);
    for (size_t o = 0; o < a.table->observation_count; o++)
        a.words[o] = feeling_of(a.table->observations[o]);
    rw_group(states, rw_sites_to_any(out->area), &a.groups);
    rw_group_weights(states, &a.groups, a.weight);
    for (size_t v = 0; v < rw_model()->variant_count; v++)
        if (rw_variant_like(v, out->area) == v)
            see_variant(&a, unaided, v, out);
    if (a.tested)
        out->p_lost = a.now.lost; /* to the bit, whatever the weights add to */
    out->protective = a.protects > 0.5;
}

static double sympathetic_lost(const struct rw_states *states) {
    const uint16_t horner = rw_target_find(RW_TARGET_SIGN, "horner");
    double weight[RW_MAX_STATES][RW_MAX_WORLDS], lost = 0.0;
    if (horner == RW_NONE)
        return 0.0;
    const struct rw_effects *effects = &states->effects[horner];
    rw_effect_weights(states, 0, effects, weight);
    for (size_t e = 0; e < effects->count; e++)
        for (size_t w = 0; w < states->world_count; w++)
            lost += weight[e][w] * (1.0 - effects->list[e].left[w]);
    return lost;
}

static bool is_root_of_plexus(const char *item) {
    for (enum rw_segment s = RW_SEGMENT_C5; s <= RW_SEGMENT_T1; s++)
        if (strcmp(item, rw_segment_name(s)) == 0)
            return true;
    return false;
}

/* Skin by nerve, and by root only for the roots of the plexus. */
static bool is_area(const struct rw_check *check) {
    return check->target != RW_NONE &&
           (check->section == RW_SECTION_SKIN_NERVE ||
            (check->section == RW_SECTION_SKIN_ROOT && is_root_of_plexus(check->item)));
}

void rw_feeling(const struct rw_exam *exam, const struct rw_states *states, const struct rw_unaided *unaided,
                struct rw_deficits *out) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->check_count && out->area_count < RW_MAX_AREAS; i++)
        if (is_area(&m->checks[i])) {
            struct rw_area_deficit *area = &out->areas[out->area_count++];
            area->area = m->checks[i].target;
            see_area(exam, states, unaided, (uint16_t)i, area);
        }
    out->p_sympathetic_lost = sympathetic_lost(states);
}
