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
    const double silent = silent_share(exam);
    for (enum rw_level level = 0; level < RW_LEVEL_COUNT; level++)
        out->by_level[level] = after_silence(complete_at(level, exam->mechanism), silent);
    out->partial = after_silence(rw_fact_value("unaided_partial"), silent);
    out->preganglionic = rw_fact_value("unaided_preganglionic");
    out->other = rw_fact_value("unaided_other_cause");
}

bool rw_site_is_preganglionic(size_t site) {
    const char *relation = rw_model()->sites[site].relation;
    return relation != NULL && strcmp(relation, "preganglionic") == 0;
}

static double chance_at(const struct rw_unaided *unaided, size_t site, unsigned severity) {
    if (rw_site_is_preganglionic(site))
        return unaided->preganglionic;
    return severity == RW_COMPLETE ? unaided->by_level[rw_model()->sites[site].level] : unaided->partial;
}

struct rw_loss rw_loss_of(const struct rw_unaided *unaided, const struct rw_case *c, uint16_t target) {
    const struct rw_model *m = rw_model();
    const struct rw_range range = m->ranges[(size_t)c->variant * m->target_count + target];
    struct rw_loss loss = {0};
    for (size_t i = 0; !c->outside && i < range.count; i++) {
        const struct rw_bundle *b = &m->bundles[range.first + i];
        double left = 1.0, chance = 1.0;
        for (size_t k = 0; k < b->site_count; k++) {
            const unsigned severity = c->severity[b->sites[k]];
            if (severity == RW_INTACT)
                continue;
            loss.uneven |= severity == RW_PARTIAL;
            left *= 1.0 - rw_site_loss(severity, c->depth);
            chance = fmin(chance, chance_at(unaided, b->sites[k], severity));
        }
        loss.lost += b->weight * (1.0 - left);
        loss.returns += b->weight * (1.0 - left) * chance;
    }
    loss.returns = loss.lost > 0.0 ? loss.returns / loss.lost : unaided->other;
    return loss;
}
