#include "states.h"

#include <math.h>
#include <string.h>

#include "localise.h"

_Static_assert(RW_SHORTLIST + 2 <= RW_MAX_STATES, "the shortlist, no lesion and outside are states");

/* Places of a hash table of states: a power of two, at most half of it filled. */
enum { SLOTS = 2048, EMPTY = 0xffff };
_Static_assert(SLOTS >= 2 * RW_MAX_STATES, "the table stays at most half full");

/* Words times odd numbers, summed: to be folded by slot_of. */
static uint64_t spread_word(uint64_t word, size_t place) {
    return word * (UINT64_C(0x9e3779b97f4a7c15) + place * UINT64_C(0x6a09e667f3bcc908));
}

static size_t slot_of(uint64_t sum) {
    return (size_t)(((sum ^ sum >> 32) * UINT64_C(0xd6e8feb86659fd93)) >> 40) % SLOTS;
}

/* ---- states by what they injure ---- */

static size_t group_slot(const struct rw_state_group *g) {
    return slot_of(spread_word(g->partial.word[0], 0) + spread_word(g->partial.word[1], 1) +
                   spread_word(g->complete.word[0], 2) + spread_word(g->complete.word[1], 3) + g->outside);
}

static bool same_group(const struct rw_state_group *a, const struct rw_state_group *b) {
    return a->partial.word[0] == b->partial.word[0] && a->partial.word[1] == b->partial.word[1] &&
           a->complete.word[0] == b->complete.word[0] && a->complete.word[1] == b->complete.word[1] &&
           a->outside == b->outside;
}

void rw_group(const struct rw_states *states, struct rw_sites within, struct rw_groups *out) {
    uint16_t table[SLOTS];
    memset(table, 0xff, sizeof table);
    out->count = 0;
    for (size_t i = 0; i < states->count; i++) {
        const struct rw_state *state = &states->list[i];
        const struct rw_state_group g = {.partial = rw_sites_both(state->partial, within),
                                         .complete = rw_sites_both(state->complete, within),
                                         .outside = state->outside,
                                         .example = (uint16_t)i};
        size_t slot = group_slot(&g);
        while (table[slot] != EMPTY && !same_group(&out->list[table[slot]], &g))
            slot = (slot + 1) % SLOTS;
        if (table[slot] == EMPTY) {
            table[slot] = (uint16_t)out->count;
            out->list[out->count++] = g;
        }
        out->of[i] = table[slot];
    }
}

static void add_weights(const struct rw_states *states, size_t from, const uint16_t *of, size_t count,
                        double weight[][RW_MAX_WORLDS]) {
    memset(weight, 0, count * sizeof *weight);
    for (size_t i = from; i < states->count; i++)
        for (size_t w = 0; w < states->world_count; w++)
            weight[of[i]][w] += states->list[i].weight[w];
}

void rw_group_weights(const struct rw_states *states, const struct rw_groups *groups,
                      double weight[][RW_MAX_WORLDS]) {
    add_weights(states, 0, groups->of, groups->count, weight);
}

void rw_effect_weights(const struct rw_states *states, size_t from, const struct rw_effects *effects,
                       double weight[][RW_MAX_WORLDS]) {
    add_weights(states, from, effects->of, effects->count, weight);
}

/* ---- effects ---- */

enum { VARIANTS = RW_MAX_WORLDS / RW_DEPTHS };

/* A target's bundles, variant by variant, one bit each. */
struct way {
    size_t like[VARIANTS]; /* rw_variant_like; only variants of their own are filled */
    uint64_t all[VARIANTS], through[VARIANTS][RW_MAX_SITES]; /* through: those that run through a site */
    double weight[VARIANTS][RW_MAX_VIEW_BUNDLES];
};

static void find_way(uint16_t target, struct way *out) {
    const struct rw_model *m = rw_model();
    for (size_t v = 0; v < m->variant_count; v++) {
        const struct rw_range range = m->ranges[v * m->target_count + target];
        out->like[v] = rw_variant_like(v, target);
        if (out->like[v] != v)
            continue;
        out->all[v] = 0;
        memset(out->through[v], 0, sizeof out->through[v]);
        for (size_t i = 0; i < range.count; i++) {
            const struct rw_bundle *bundle = &m->bundles[range.first + i];
            out->all[v] |= UINT64_C(1) << i;
            out->weight[v][i] = bundle->weight;
            for (size_t k = 0; k < bundle->site_count; k++)
                out->through[v][bundle->sites[k]] |= UINT64_C(1) << i;
        }
    }
}

/* The sites of a group, and (1 − loss)^k. */
struct lesions {
    size_t partial_count, complete_count;
    uint8_t partial[RW_MAX_SITES], complete[RW_MAX_SITES];
    double kept[RW_DEPTHS][RW_MAX_LESIONS + 1];
};

static size_t list_sites(struct rw_sites set, uint8_t *list) {
    size_t count = 0;
    for (size_t k = 0; k < 2; k++)
        for (uint64_t rest = set.word[k]; rest != 0; rest &= rest - 1)
            list[count++] = (uint8_t)(64 * k + (size_t)__builtin_ctzll(rest));
    return count;
}

/* What lesions leave in one variant, at both depths; uneven as in rw_intact_fraction. */
static void leave(const struct lesions *l, const struct way *way, size_t variant, double left[RW_DEPTHS],
                  uint8_t spread[RW_DEPTHS]) {
    const uint64_t *through = way->through[variant];
    uint64_t cut = 0, torn = 0;
    for (size_t i = 0; i < l->complete_count; i++)
        cut |= through[l->complete[i]];
    for (size_t i = 0; i < l->partial_count; i++)
        torn |= through[l->partial[i]];
    left[0] = left[1] = cut == 0 && torn == 0 ? 1.0 : 0.0; /* no rounded sum, so that variants agree */
    spread[0] = spread[1] = torn != 0 ? RW_SPREAD_UNEVEN : RW_SPREAD_SHARP;
    for (uint64_t rest = (cut | torn) != 0 ? way->all[variant] & ~cut : 0; rest != 0; rest &= rest - 1) {
        const size_t bundle = (size_t)__builtin_ctzll(rest);
        size_t times = 0;
        for (size_t i = 0; i < l->partial_count; i++)
            times += through[l->partial[i]] >> bundle & 1u;
        for (size_t depth = 0; depth < RW_DEPTHS; depth++)
            left[depth] += way->weight[variant][bundle] * l->kept[depth][times];
    }
}

static bool same_left(double a, double b) {
    return !(a < b || a > b);
}

static void see_effect(const struct rw_state_group *g, const struct way *way, struct lesions *lesions,
                       struct rw_effect *out) {
    const size_t worlds = RW_DEPTHS * rw_model()->variant_count;
    memset(out, 0, sizeof *out);
    lesions->partial_count = list_sites(g->partial, lesions->partial);
    lesions->complete_count = list_sites(g->complete, lesions->complete);
    out->outside = g->outside;
    out->alike = true;
    for (size_t w = 0; w < worlds; w += RW_DEPTHS) {
        const size_t v = w / RW_DEPTHS, like = way->like[v];
        if (g->outside) {
            out->left[w] = out->left[w + 1] = 1.0;
        } else if (like == v) {
            leave(lesions, way, v, &out->left[w], &out->spread[w]);
        } else {
            memcpy(&out->left[w], &out->left[rw_world_of(like, 0)], RW_DEPTHS * sizeof *out->left);
            memcpy(&out->spread[w], &out->spread[rw_world_of(like, 0)], RW_DEPTHS * sizeof *out->spread);
        }
    }
    for (size_t w = 1; w < worlds; w++)
        out->alike &= out->spread[w] == out->spread[0] && same_left(out->left[w], out->left[0]);
}

static bool same_effect(const struct rw_effect *a, const struct rw_effect *b) {
    bool same = a->outside == b->outside;
    for (size_t w = 0; same && w < RW_MAX_WORLDS; w++)
        same = same_left(a->left[w], b->left[w]) && a->spread[w] == b->spread[w];
    return same;
}

static size_t effect_slot(const struct rw_effect *e, size_t worlds) {
    uint64_t sum = e->outside;
    for (size_t w = 0; w < worlds; w++) {
        uint64_t word;
        memcpy(&word, &e->left[w], sizeof word);
        sum += spread_word(word ^ e->spread[w], w);
    }
    return slot_of(sum);
}

/* Sorts the groups of one target by effect: groups->of becomes the effect by state. Returns how many. */
static size_t merge(const struct rw_states *states, const struct way *way, struct rw_groups *groups,
                    struct rw_effect *list) {
    uint16_t table[SLOTS], effect_of[RW_MAX_STATES] = {0};
    struct lesions lesions;
    size_t count = 0;
    memset(table, 0xff, sizeof table);
    for (size_t depth = 0; depth < RW_DEPTHS; depth++) {
        lesions.kept[depth][0] = 1.0;
        for (size_t k = 1; k <= RW_MAX_LESIONS; k++)
            lesions.kept[depth][k] = lesions.kept[depth][k - 1] * (1.0 - rw_model()->partial_loss[depth]);
    }
    for (size_t g = 0; g < groups->count; g++) {
        see_effect(&groups->list[g], way, &lesions, &list[count]);
        size_t slot = effect_slot(&list[count], states->world_count);
        while (table[slot] != EMPTY && !same_effect(&list[table[slot]], &list[count]))
            slot = (slot + 1) % SLOTS;
        if (table[slot] == EMPTY)
            table[slot] = (uint16_t)count++;
        effect_of[g] = table[slot];
    }
    for (size_t i = 0; i < states->count; i++)
        groups->of[i] = effect_of[groups->of[i]];
    return count;
}

bool rw_states_see(struct rw_states *states, struct rw_arena *arena) {
    const size_t targets = rw_model()->target_count;
    struct rw_effects *effects = rw_arena_take(arena, targets, sizeof *effects);
    struct rw_groups *groups = rw_arena_take(arena, 1, sizeof *groups);
    struct way *way = rw_arena_take(arena, 1, sizeof *way);
    struct rw_effect *scratch = rw_arena_take(arena, RW_MAX_STATES, sizeof *scratch);
    if (effects == NULL || groups == NULL || way == NULL || scratch == NULL)
        return false;
    for (uint16_t t = 0; t < targets; t++) {
        find_way(t, way);
        rw_group(states, rw_sites_to_any(t), groups);
        const size_t count = merge(states, way, groups, scratch);
        struct rw_effect *list = rw_arena_take(arena, count, sizeof *list);
        uint16_t *of = rw_arena_take(arena, states->count, sizeof *of);
        if (list == NULL || of == NULL)
            return false;
        memcpy(list, scratch, count * sizeof *list);
        memcpy(of, groups->of, states->count * sizeof *of);
        effects[t] = (struct rw_effects){.count = count, .list = list, .of = of};
    }
    states->effects = effects;
    return true;
}

void rw_effect_predict(const struct rw_table *table, double ready, const struct rw_effect *effect,
                       size_t world, double *p) {
    if (effect->outside)
        memcpy(p, table->outside, table->observation_count * sizeof *p);
    else
        rw_table_predict(table, ready, (enum rw_spread)effect->spread[world], effect->left[world], p);
}

double rw_term_probability(const struct rw_term *term, const struct rw_effect *effect, size_t world) {
    if (effect->outside)
        return term->outside;
    const double fraction = effect->left[world];
    const double x = fraction <= 0.0 ? 0.0 : fraction >= 1.0 ? RW_GRID - 1 : fraction * (RW_GRID - 1);
    const size_t i = x >= RW_GRID - 2 ? RW_GRID - 2 : (size_t)x;
    const double *p = term->grid[effect->spread[world]] + i;
    return p[0] + (x - (double)i) * (p[1] - p[0]);
}

/* ---- making the list ---- */

/* Adds ln P(finding | state, world) of one term to the weights, which hold logarithms as yet. */
static void add_term(const struct rw_term *term, const struct rw_states *states, struct rw_state *list) {
    const struct rw_effects *effects = &states->effects[term->target];
    double log_p[RW_MAX_STATES][RW_MAX_WORLDS];
    for (size_t e = 0; e < effects->count; e++)
        for (size_t w = 0; w < states->world_count; w++)
            log_p[e][w] = w > 0 && effects->list[e].alike
                              ? log_p[e][0]
                              : log(rw_term_probability(term, &effects->list[e], w));
    for (size_t i = 0; i < states->count; i++)
        for (size_t w = 0; w < states->world_count; w++)
            list[i].weight[w] += log_p[effects->of[i]][w];
}

/* Logarithms to weights of the given sum. */
static void split(struct rw_state *state, size_t worlds, double probability) {
    double most = -(double)INFINITY, sum = 0.0;
    for (size_t w = 0; w < worlds; w++)
        most = fmax(most, state->weight[w]);
    for (size_t w = 0; w < worlds; w++) {
        state->weight[w] = exp(state->weight[w] - most);
        sum += state->weight[w];
    }
    for (size_t w = 0; w < worlds; w++)
        state->weight[w] *= probability / sum;
}

/* The lesions of a hypothesis, and ln P(world) as its weights. */
static void take_hypothesis(const struct rw_resolved *h, double mild, struct rw_state *out) {
    const struct rw_model *m = rw_model();
    *out = (struct rw_state){.outside = h->shown.kind == RW_PRIOR_OUTSIDE};
    for (size_t s = 0; s < m->site_count; s++)
        if (h->severity[s] != RW_INTACT)
            rw_sites_add(h->severity[s] == RW_PARTIAL ? &out->partial : &out->complete, s);
    for (size_t v = 0; v < m->variant_count; v++) {
        out->weight[rw_world_of(v, 0)] = log(m->variants[v].prevalence * mild);
        out->weight[rw_world_of(v, 1)] = log(m->variants[v].prevalence * (1.0 - mild));
    }
}

bool rw_states_make(const struct rw_localise_result *result, struct rw_arena *arena, struct rw_states *out) {
    struct rw_state *list = rw_arena_take(arena, RW_MAX_STATES, sizeof *list);
    const double mild = rw_fact_value("partial_share_mild");
    if (list == NULL)
        return false;
    *out = (struct rw_states){.list = list,
                              .count = result->hypothesis_count,
                              .world_count = RW_DEPTHS * rw_model()->variant_count};
    for (size_t i = 0; i < out->count; i++) {
        take_hypothesis(&result->hypotheses[i], mild, &list[i]);
        out->covers += result->hypotheses[i].shown.probability;
    }
    if (!rw_states_see(out, arena))
        return false;
    for (size_t t = 0; t < result->term_count; t++)
        add_term(&result->terms[t], out, list);
    for (size_t i = 0; i < out->count; i++)
        split(&list[i], out->world_count, result->hypotheses[i].shown.probability / out->covers);
    return true;
}
