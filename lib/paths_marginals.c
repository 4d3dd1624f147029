/* What all visits say of each day, for one set of lesions: forward sums taken back, and what they add up to.
 */
#include <math.h>
#include <string.h>

#include "paths_parts.h"

/* Fractions this close are equal: rounding alone separates them. */
#define SAME_FRACTION 1e-9

/* ---- backward ---- */

/* What lies ahead, one visit earlier: the same steps the other way round. */
static void heal_back(const struct rw_paths_scratch *s, const struct rw_healing *h, double *p) {
    for (size_t i = 0; i < s->lesion_count; i++) {
        const size_t stride = s->stride[i], block = stride * s->radix[i];
        const double stays = h->stays[s->site[i]], to_partial = h->to_partial[s->site[i]];
        for (size_t x = 0; x < s->states && s->radix[i] == 2; x += block)
            for (double *q = p + x; q < p + x + stride; q++)
                q[stride] = q[stride] * h->partial_stays + q[0] * (1.0 - h->partial_stays);
        const double whole = fmax(0.0, 1.0 - stays - to_partial);
        for (size_t x = 0; x < s->states && s->radix[i] == 3; x += block)
            for (double *q = p + x; q < p + x + stride; q++) {
                q[2 * stride] = q[2 * stride] * stays + q[stride] * to_partial + q[0] * whole;
                q[stride] = q[stride] * h->onward_stays + q[0] * (1.0 - h->onward_stays);
            }
    }
}

/* From what lies ahead of `visit` to what lies ahead of the one before. */
static void step_back(const struct rw_paths *paths, size_t visit, size_t variant, size_t manner) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_healing *h = &paths->healing[manner][visit];
    const double stays = rw_stays_severe(s, h);
    double *severe = s->ahead + RW_DEPTHS_SEVERE * s->states;
    const double *eased = s->ahead + RW_DEPTHS_EASED * s->states;
    double top = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        const double *e = rw_emissions(paths, visit, variant, d, manner);
        for (size_t x = 0; x < s->states; x++)
            s->ahead[d * s->states + x] *= e[x];
    }
    for (size_t x = 0; x < s->states; x++)
        severe[x] = stays * severe[x] + (1.0 - stays) * eased[x];
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
        heal_back(s, h, s->ahead + d * s->states);
    for (size_t i = 0; i < RW_DEPTHS_COUNT * s->states; i++)
        top = fmax(top, s->ahead[i]);
    for (size_t i = 0; i < RW_DEPTHS_COUNT * s->states && top > 0.0; i++)
        s->ahead[i] /= top;
}

/* Forward sums → P(world, state of each visit | all findings, set). */
static void smooth(const struct rw_paths *paths, size_t variant, size_t manner, double weight) {
    struct rw_paths_scratch *s = paths->scratch;
    const size_t all = RW_DEPTHS_COUNT * s->states;
    for (size_t i = 0; i < all; i++)
        s->ahead[i] = 1.0;
    for (size_t v = paths->visit_count; v-- > 0;) {
        double *p = rw_path_of(paths, v, variant, manner, 0), sum = 0.0;
        for (size_t i = 0; i < all; i++)
            sum += p[i] *= s->ahead[i];
        for (size_t i = 0; i < all; i++)
            p[i] = sum > 0.0 ? p[i] * weight / sum : 0.0;
        if (v > 0)
            step_back(paths, v, variant, manner);
    }
}

/* ---- marginals ---- */

static void sum_worlds(const struct rw_paths *paths, double weight, struct rw_sums *sums) {
    const struct rw_paths_scratch *s = paths->scratch;
    double block = 0.0;
    memset(sums->world, 0, sizeof sums->world);
    for (size_t a = 0; a < paths->variant_count; a++)
        for (size_t manner = 0; manner < s->manner_count; manner++)
            for (size_t depth = 0; depth < 2; depth++) {
                const double p = rw_path_of(paths, 0, a, manner, depth)[s->states - 1];
                sums->world[a][depth] += p;
                block += manner == RW_MANNER_BLOCK ? p : 0.0;
            }
    sums->block += weight * (s->manner_count == 1 ? paths->manner_weight[RW_MANNER_BLOCK] : block);
}

/* P(state, depths) at one visit, over all worlds. */
static void sum_states(const struct rw_paths *paths, size_t visit) {
    struct rw_paths_scratch *s = paths->scratch;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        memset(s->marginal[d], 0, s->states * sizeof s->marginal[d][0]);
        for (size_t a = 0; a < paths->variant_count; a++)
            for (size_t manner = 0; manner < s->manner_count; manner++) {
                const double *p = rw_path_of(paths, visit, a, manner, d);
                for (size_t x = 0; x < s->states; x++)
                    s->marginal[d][x] += p[x];
            }
    }
}

/* P(severity of a lesion) at the visit of sum_states; *recovered: less is lost there than at first. */
static void lesion_now(const struct rw_paths_scratch *s, size_t lesion, double now[3], double *recovered) {
    now[0] = now[1] = now[2] = *recovered = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
        for (size_t x = 0; x < s->states; x++) {
            const uint8_t severity = s->digit[x][lesion];
            now[severity] += s->marginal[d][x];
            if (severity < s->first[lesion] || (severity == RW_PARTIAL && d == RW_DEPTHS_EASED))
                *recovered += s->marginal[d][x];
        }
}

static void sum_root(const struct rw_paths_scratch *s, size_t root, double weight, double sums[2]) {
    bool torn = false;
    double injured = 0.0;
    for (size_t i = 0; i < s->lesion_count; i++)
        torn |= s->torn[i] && rw_model()->sites[s->site[i]].root == root;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++)
        for (size_t x = 0; x < s->states; x++) {
            bool any = false;
            for (size_t i = 0; i < s->lesion_count; i++)
                any |= rw_model()->sites[s->site[i]].root == root && s->digit[x][i] != RW_INTACT;
            injured += any ? s->marginal[d][x] : 0.0;
        }
    sums[torn ? 0 : 1] += weight * injured;
}

static void sum_sites(const struct rw_paths *paths, double weight, struct rw_sums *sums) {
    const struct rw_paths_scratch *s = paths->scratch;
    for (size_t v = 0; v < paths->visit_count; v++) {
        sum_states(paths, v);
        for (size_t i = 0; i < s->lesion_count; i++) {
            double *site = sums->site[v][s->site[i]], recovered;
            lesion_now(s, i, sums->now[i], &recovered);
            site[0] += weight * (sums->now[i][RW_PARTIAL] + sums->now[i][RW_COMPLETE]);
            site[1] += weight * sums->now[i][RW_COMPLETE];
            site[2] += weight * recovered;
        }
        for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
            sum_root(s, root, weight, sums->root[v][root]);
    }
}

/* P(the target's fraction is higher at a visit than at the first). */
static double recovered(const struct rw_paths *paths, size_t watched, size_t visit) {
    struct rw_paths_scratch *s = paths->scratch;
    const struct rw_watched *w = &paths->watched[watched];
    double sum = 0.0;
    for (size_t manner = 0; manner < s->manner_count; manner++) {
        const uint16_t *seen_of = rw_paths_see(paths, watched, visit, manner);
        for (size_t a = 0; a < paths->variant_count; a++)
            for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
                const double *p = rw_path_of(paths, visit, a, manner, d);
                const double *now = s->fraction[w->kind_of[a]][rw_depth_of_day(d)];
                const double first = s->fraction[w->kind_of[a]][rw_depth_at_first(d)][s->seen_states - 1];
                for (size_t x = 0; x < s->states; x++)
                    if (p[x] > 0.0 && now[seen_of[x]] > first + SAME_FRACTION)
                        sum += p[x] * rw_paths_back(paths, w, visit, w->kind_of[a], d, seen_of[x]);
            }
    }
    return sum;
}

/* By depth at first: P(world) and, at one of the probe's visits, P(world, word so far off). */
static void probe_visit(const struct rw_paths *paths, const struct rw_probe *probe, size_t end,
                        size_t variant, size_t manner, double world[2], double off[2]) {
    const struct rw_paths_scratch *s = paths->scratch;
    const struct rw_watched *w = &paths->watched[probe->watched];
    const uint16_t *seen_of = rw_paths_see(paths, probe->watched, probe->visit[end], manner);
    const uint8_t kind = w->kind_of[variant];
    const size_t last = s->seen_states - 1;
    world[0] = world[1] = off[0] = off[1] = 0.0;
    for (size_t d = 0; d < RW_DEPTHS_COUNT; d++) {
        const double *p = rw_path_of(paths, probe->visit[end], variant, manner, d);
        const uint8_t depth = rw_depth_of_day(d), at_first = rw_depth_at_first(d);
        for (size_t x = 0; x < s->states; x++) {
            const size_t seen = seen_of[x];
            world[at_first] += p[x];
            if (!(p[x] > 0.0))
                continue;
            const double back = rw_paths_back(paths, w, probe->visit[end], kind, d, seen);
            off[at_first] +=
                p[x] * (back * rw_on_grid(probe->grid[end][s->spread[kind][depth][seen]],
                                          s->fraction[kind][depth][seen]) +
                        (1.0 - back) * rw_on_grid(probe->grid[end][s->spread[kind][at_first][last]],
                                                  s->fraction[kind][at_first][last]));
        }
    }
}

static double probe_chance(const struct rw_paths *paths, const struct rw_probe *probe) {
    const struct rw_paths_scratch *s = paths->scratch;
    double chance = 0.0, world[2], off[2][2];
    for (size_t manner = 0; manner < s->manner_count; manner++)
        for (size_t a = 0; a < paths->variant_count; a++) {
            for (size_t end = 0; end < 2; end++)
                probe_visit(paths, probe, end, a, manner, world, off[end]);
            for (size_t depth = 0; depth < 2; depth++)
                chance += world[depth] > 0.0 ? off[0][depth] * off[1][depth] / world[depth] : 0.0;
        }
    return chance;
}

void rw_paths_trace(const struct rw_paths *paths, const uint8_t *severity, double weight,
                    struct rw_sums *sums, struct rw_probe *probes, size_t probe_count) {
    struct rw_paths_scratch *s = paths->scratch;
    double alone[RW_MAX_VISITS];
    const double total = rw_paths_weigh(paths, severity, alone);
    for (size_t a = 0; a < paths->variant_count; a++)
        for (size_t manner = 0; manner < s->manner_count; manner++)
            smooth(paths, a, manner, exp(s->log_world[a][manner] - total));
    sums->total += weight;
    sum_worlds(paths, weight, sums);
    sum_sites(paths, weight, sums);
    for (size_t i = 0; i < paths->watched_count; i++) {
        const bool seen = rw_paths_look(paths, &paths->watched[i]);
        for (size_t v = 1; v < paths->visit_count && seen; v++)
            sums->recovered[v][i] += weight * recovered(paths, i, v);
        for (size_t k = 0; k < probe_count; k++)
            if (probes[k].watched == i)
                probes[k].chance += weight * probes[k].anew *
                                    (seen ? probe_chance(paths, &probes[k])
                                          : probes[k].grid[0][RW_SPREAD_SHARP][RW_GRID - 1] *
                                                probes[k].grid[1][RW_SPREAD_SHARP][RW_GRID - 1]);
    }
}

void rw_paths_trace_outside(const struct rw_paths *paths, double weight, struct rw_sums *sums,
                            struct rw_probe *probes, size_t probe_count) {
    sums->total += weight;
    sums->block += weight * paths->manner_weight[RW_MANNER_BLOCK];
    memset(sums->world, 0, sizeof sums->world);
    sums->world[0][0] = 1.0; /* in which world does not matter to it */
    for (size_t k = 0; k < probe_count; k++)
        probes[k].chance += weight * probes[k].anew * probes[k].outside[0] * probes[k].outside[1];
}
