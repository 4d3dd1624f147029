#include "unaided.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Share of those who recover that has shown no sign after so many days. */
static double silent_share(const struct rw_exam *exam) {
    if (exam->onset_day == RW_NO_DAY || exam->examined_day <= exam->onset_day)
        return 1.0;
    const double days = (double)exam->examined_day - exam->onset_day;
    return pow(1.0 - rw_fact_value("recovery_sign_share"), days / rw_fact_value("recovery_sign_days"));
}

static double after_silence(double chance, double silent) {
    const double still = chance * silent;
    return still > 0.0 ? still / (still + 1.0 - chance) : 0.0;
}

/* Complete lesions at a level. A mechanism of its own overrides the level; at the roots, where stretch and
 * rupture rule whatever the mechanism, it can only lower it. */
static double complete_at(enum rw_level level, enum rw_mechanism mechanism) {
    static const char *const facts[RW_LEVEL_COUNT] = {
        "unaided_complete_root", "unaided_complete_trunk_cord", "unaided_complete_trunk_cord",
        "unaided_complete_trunk_cord", "unaided_complete_nerve"};
    char id[64];
    snprintf(id, sizeof id, "unaided_complete_%s", rw_mechanism_name(mechanism));
    const double usual = rw_fact_value(facts[level]), own = rw_fact_value(id);
    if (isnan(own))
        return usual;
    return level == RW_LEVEL_ROOT ? fmin(usual, own) : own;
}

void rw_unaided_init(const struct rw_exam *exam, struct rw_unaided *out) {
    const struct rw_model *m = rw_model();
    const double silent = silent_share(exam), torn = rw_fact_value("unaided_preganglionic"),
                 partial = after_silence(rw_fact_value("unaided_partial"), silent);
    const struct rw_sites preganglionic = rw_sites_preganglionic();
    double complete[RW_LEVEL_COUNT];
    for (enum rw_level level = 0; level < RW_LEVEL_COUNT; level++)
        complete[level] = after_silence(complete_at(level, exam->mechanism), silent);
    for (size_t s = 0; s < m->site_count; s++) {
        const bool before_ganglion = rw_sites_hold(preganglionic, s);
        out->at[s][RW_INTACT] = 1.0;
        out->at[s][RW_PARTIAL] = before_ganglion ? torn : partial;
        out->at[s][RW_COMPLETE] = before_ganglion ? torn : complete[m->sites[s].level];
    }
    out->other = rw_fact_value("unaided_other_cause");
}

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

/* The mean chance over the bundles of one variant, at both depths. */
static void returns_of(const struct rw_unaided *unaided, const struct rw_state_group *g,
                       const struct rw_strand *strands, size_t count, double returns[RW_DEPTHS]) {
    double lost[RW_DEPTHS] = {0.0}, back[RW_DEPTHS] = {0.0};
    for (size_t i = 0; i < count && !g->outside; i++) {
        const struct rw_sites partial = rw_sites_both(g->partial, strands[i].sites),
                              complete = rw_sites_both(g->complete, strands[i].sites);
        if (!rw_sites_any(rw_sites_either(partial, complete)))
            continue;
        const double chance =
            worst_of(unaided, partial, RW_PARTIAL, worst_of(unaided, complete, RW_COMPLETE, 1.0));
        for (size_t depth = 0; depth < RW_DEPTHS; depth++) {
            const double left = rw_bundle_left(partial, complete, 1.0 - rw_model()->partial_loss[depth]),
                         gone = strands[i].bundle->weight * (1.0 - left);
            lost[depth] += gone;
            back[depth] += gone * chance;
        }
    }
    for (size_t depth = 0; depth < RW_DEPTHS; depth++)
        returns[depth] = lost[depth] > 0.0 ? back[depth] / lost[depth] : unaided->other;
}

void rw_unaided_returns(const struct rw_unaided *unaided, uint16_t target, const struct rw_groups *groups,
                        double returns[][RW_MAX_WORLDS]) {
    for (size_t v = 0; v < rw_model()->variant_count; v++) {
        const size_t like = rw_variant_like(v, target);
        struct rw_strand strands[RW_MAX_VIEW_BUNDLES];
        const size_t count = like == v ? rw_strands_of(v, target, strands) : 0;
        for (size_t g = 0; g < groups->count; g++) {
            double *to = &returns[g][rw_world_of(v, 0)];
            if (like == v)
                returns_of(unaided, &groups->list[g], strands, count, to);
            else
                memcpy(to, &returns[g][rw_world_of(like, 0)], RW_DEPTHS * sizeof *to);
        }
    }
}
