#include "unaided.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "sites.h"

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
