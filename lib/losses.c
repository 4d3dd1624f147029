#include "losses.h"

#include <math.h>
#include <string.h>

/* Days after onset. */
static const double horizon_days[RW_HORIZONS] = {365.0, 730.0, (double)INFINITY};

/* What each course ends in. */
static const char *const course_ends[RW_COURSES] = {"snap.median_digital", "snap.ulnar_digital",
                                                    "snap.superficial_radial"};

double rw_motor_point_mm(uint16_t muscle) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->distance_count; i++)
        if (m->distances[i].muscle == muscle)
            return m->distances[i].from_foramen_mm;
    return (double)NAN;
}

void rw_site_distances(double mm[RW_MAX_SITES]) {
    const struct rw_model *m = rw_model();
    for (size_t s = 0; s < RW_MAX_SITES; s++)
        mm[s] = (double)NAN;
    for (size_t i = m->site_distance_count; i-- > 0;)
        mm[m->site_distances[i].site] = m->site_distances[i].from_foramen_mm;
}

const struct rw_loss *rw_loss_of(const struct rw_losses *losses, uint16_t muscle) {
    const struct rw_loss *loss = losses->list;
    while (loss->muscle != muscle)
        loss++;
    return loss;
}

/* What does not change from muscle to muscle, and the muscle at hand. */
struct work {
    const struct rw_states *states;
    const struct rw_unaided *unaided;
    struct rw_sites preganglionic;
    double site_mm[RW_MAX_SITES];
    struct rw_groups groups;
    const struct rw_regrowth *regrowth;
    double returns[RW_HORIZONS][RW_MAX_STATES][RW_MAX_WORLDS], weight[RW_MAX_STATES][RW_MAX_WORLDS];
    double by[RW_MAX_SITES][2]
             [RW_HORIZONS];    /* P(there by then | the lesions let it), by where the loss starts;
                                               partial, complete */
    double other[RW_HORIZONS]; /* weak for another reason */
    double measured;           /* share lost whose start is known */
    struct rw_start *starts;   /* of the muscle at hand */
};

/* The worst chance among sites of a bundle. */
static double worst_of(const struct rw_unaided *unaided, struct rw_sites sites, unsigned severity,
                       double chance) {
    for (size_t k = 0; k < 2; k++)
        for (uint64_t rest = sites.word[k]; rest != 0; rest &= rest - 1) {
            const double own = unaided->at[64 * k + (size_t)__builtin_ctzll(rest)][severity];
            chance = own < chance ? own : chance;
        }
    return chance;
}

/* The most proximal of the hurt sites of a bundle. */
static uint8_t first_hurt(const struct rw_bundle *b, struct rw_sites hurt) {
    size_t k = 0;
    while (!rw_sites_hold(hurt, b->sites[k]))
        k++;
    return b->sites[k];
}

/* Adds what was lost on one hurt bundle, with the posterior weight of losing it. */
static void add_start(struct work *w, uint8_t start, struct rw_sites hurt, double lost, struct rw_loss *out) {
    const double mm = w->site_mm[start];
    w->starts[start].lost += lost;
    out->lost += lost;
    out->torn += rw_sites_meet(hurt, w->preganglionic) ? lost : 0.0;
    if (isnan(mm))
        return;
    w->measured += lost;
    out->start_mm += lost * mm;
}

/* One group in one variant, at both depths. `weight` is that of all variants with the same bundles. */
static void see_group(struct work *w, const struct rw_state_group *g, const struct rw_strand *strands,
                      size_t count, const double weight[RW_DEPTHS], double returns[RW_HORIZONS][RW_DEPTHS],
                      struct rw_loss *out) {
    const double *loss = rw_model()->partial_loss;
    double lost[RW_DEPTHS] = {0.0}, back[RW_HORIZONS][RW_DEPTHS] = {{0.0}};
    bool any = false;
    for (size_t i = 0; i < count && !g->outside; i++) {
        const struct rw_sites partial = rw_sites_both(g->partial, strands[i].sites),
                              complete = rw_sites_both(g->complete, strands[i].sites),
                              hurt = rw_sites_either(partial, complete);
        if (!rw_sites_any(hurt))
            continue;
        any = true;
        const uint8_t start = first_hurt(strands[i].bundle, hurt);
        const double chance =
            worst_of(w->unaided, partial, RW_PARTIAL, worst_of(w->unaided, complete, RW_COMPLETE, 1.0));
        const size_t cut = rw_sites_any(complete);
        double weighed = 0.0;
        for (size_t depth = 0; depth < RW_DEPTHS; depth++) {
            const double left = rw_bundle_left(partial, complete, 1.0 - loss[depth]),
                         gone = strands[i].bundle->weight * (1.0 - left);
            lost[depth] += gone;
            for (size_t h = 0; h < RW_HORIZONS; h++)
                back[h][depth] += gone * chance * w->by[start][cut][h];
            weighed += weight[depth] * gone;
        }
        add_start(w, start, hurt, weighed, out);
        w->starts[start].back[cut] += weighed * chance;
    }
    for (size_t depth = 0; depth < RW_DEPTHS; depth++) {
        out->denervated += any ? weight[depth] : 0.0;
        for (size_t h = 0; h < RW_HORIZONS; h++) {
            returns[h][depth] = lost[depth] > 0.0 ? back[h][depth] / lost[depth] : w->other[h];
            out->mean_returns[h] += weight[depth] * returns[h][depth];
        }
    }
}

static void see_variant(struct work *w, size_t variant, struct rw_loss *out) {
    const size_t variants = rw_model()->variant_count;
    struct rw_strand strands[RW_MAX_VIEW_BUNDLES];
    const size_t count = rw_strands_of(variant, out->muscle, strands);
    bool alike[RW_MAX_WORLDS] = {false};
    for (size_t v = variant; v < variants; v++)
        alike[v] = rw_variant_like(v, out->muscle) == variant;
    for (size_t g = 0; g < w->groups.count; g++) {
        double weight[RW_DEPTHS] = {0.0}, returns[RW_HORIZONS][RW_DEPTHS];
        for (size_t v = variant; v < variants; v++)
            for (size_t depth = 0; alike[v] && depth < RW_DEPTHS; depth++)
                weight[depth] += w->weight[g][rw_world_of(v, depth)];
        see_group(w, &w->groups.list[g], strands, count, weight, returns, out);
        for (size_t v = variant; v < variants; v++)
            for (size_t h = 0; alike[v] && h < RW_HORIZONS; h++)
                memcpy(&w->returns[h][g][rw_world_of(v, 0)], returns[h], sizeof returns[h]);
    }
}

/* What is there by each horizon, by the site from which it must grow. */
static void see_times(struct work *w, uint16_t muscle, struct rw_sites on_the_way) {
    const double motor_point = rw_motor_point_mm(muscle);
    for (size_t s = 0; s < rw_model()->site_count; s++) {
        double sign[2];
        if (!rw_sites_hold(on_the_way, s))
            continue;
        rw_regrowth_sign(w->regrowth, w->site_mm[s], motor_point, sign);
        for (size_t cut = 0; cut < 2; cut++)
            for (size_t h = 0; h < RW_HORIZONS; h++)
                w->by[s][cut][h] = rw_regrowth_there_by(w->regrowth, sign, cut, horizon_days[h]);
    }
}

static bool see_muscle(struct work *w, struct rw_arena *arena, struct rw_loss *out) {
    const size_t worlds = w->states->world_count;
    w->measured = 0.0;
    w->starts = rw_arena_take(arena, rw_model()->site_count, sizeof *w->starts);
    if (w->starts == NULL)
        return false;
    memset(w->starts, 0, rw_model()->site_count * sizeof *w->starts);
    out->starts = w->starts;
    const struct rw_sites on_the_way = rw_sites_to_any(out->muscle);
    see_times(w, out->muscle, on_the_way);
    rw_group(w->states, on_the_way, &w->groups);
    rw_group_weights(w->states, &w->groups, w->weight);
    for (size_t v = 0; v < rw_model()->variant_count; v++)
        if (rw_variant_like(v, out->muscle) == v)
            see_variant(w, v, out);
    out->start_mm = w->measured > 0.0 ? out->start_mm / w->measured : 0.0;
    uint16_t *group = rw_arena_take(arena, w->states->count, sizeof *group);
    if (group == NULL)
        return false;
    memcpy(group, w->groups.of, w->states->count * sizeof *group);
    out->group = group;
    for (size_t h = 0; h < RW_HORIZONS; h++) {
        double *returns = rw_arena_take(arena, w->groups.count * worlds, sizeof *returns);
        if (returns == NULL)
            return false;
        for (size_t g = 0; g < w->groups.count; g++)
            memcpy(returns + g * worlds, w->returns[h][g], worlds * sizeof *returns);
        out->returns[h] = returns;
    }
    return true;
}

bool rw_losses_of(const struct rw_exam *exam, const struct rw_states *states, struct rw_arena *arena,
                  struct rw_losses *out) {
    const struct rw_model *m = rw_model();
    struct work *w = rw_arena_take(arena, 1, sizeof *w);
    if (w == NULL)
        return false;
    memset(out, 0, sizeof *out);
    rw_unaided_init(exam, &out->unaided);
    rw_regrowth_init(exam, &out->regrowth);
    w->states = states;
    w->unaided = &out->unaided;
    w->regrowth = &out->regrowth;
    for (size_t h = 0; h < RW_HORIZONS; h++)
        w->other[h] = h == RW_HORIZON_EVER || horizon_days[h] >= out->regrowth.examined ? out->unaided.other
                                                                                        : (double)NAN;
    w->preganglionic = rw_sites_preganglionic();
    rw_site_distances(w->site_mm);
    for (uint16_t t = 0; t < m->target_count; t++) {
        if (m->targets[t].kind != RW_TARGET_MUSCLE || out->count >= RW_MAX_MUSCLES)
            continue;
        out->list[out->count].muscle = t;
        if (!see_muscle(w, arena, &out->list[out->count++]))
            return false;
    }
    for (size_t c = 0; c < RW_COURSES; c++) {
        out->courses[c].muscle = rw_target_find(RW_TARGET_SNAP, course_ends[c]);
        if (out->courses[c].muscle != RW_NONE && !see_muscle(w, arena, &out->courses[c]))
            return false;
    }
    return true;
}
