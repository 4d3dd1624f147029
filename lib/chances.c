#include "chances.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "beta.h"

#define DAYS_IN_3_MONTHS (365.25 / 4.0)

double rw_fact_for(const char *stem, const char *id) {
    char name[96];
    snprintf(name, sizeof name, "%s_%s", stem, id);
    return rw_fact_value(name);
}

double rw_told(double p) {
    return fmin(0.99, fmax(0.01, p));
}

static double moved(double p, double shift) {
    const double logit = log(p / (1.0 - p)) + shift;
    return 1.0 / (1.0 + exp(-logit));
}

/* The function that its series measure. */
static const char *measured(const struct rw_transfer *t) {
    return t->function_count > 0 ? rw_model()->targets[t->functions[0]].id : "";
}

/* What is held against it before any series. */
static double prior_shift(const struct rw_transfer *t) {
    const double enough = rw_fact_value("axon_ratio_sufficient");
    double shift = 0.0;
    if (t->graft && strcmp(t->kind, "graft") != 0)
        shift += log(rw_fact_value("graft_odds_factor"));
    if (t->axon_ratio < enough && strcmp(measured(t), "elbow_flexion") == 0) /* false when not known */
        shift += rw_fact_value("axon_ratio_exponent") * log(t->axon_ratio / enough);
    return shift;
}

static double delay_shift(double delay_days) {
    if (isnan(delay_days))
        return 0.0;
    const double beyond = (delay_days - rw_fact_value("delay_beyond_days")) / DAYS_IN_3_MONTHS + 1.0;
    return log(rw_fact_value("delay_odds_factor_per_3_months")) *
               (delay_days - rw_fact_value("delay_reference_days")) / DAYS_IN_3_MONTHS +
           log(rw_fact_value("delay_beyond_odds_factor")) * fmin(1.0, fmax(0.0, beyond));
}

static double age_shift(const struct rw_transfer *t, double age_years) {
    if (!(age_years > rw_fact_value("age_over_years"))) /* also when the age is not known */
        return 0.0;
    const double own = rw_fact_for("age_over_50_odds_factor", measured(t));
    return log(isnan(own) ? rw_fact_value("age_over_50_odds_factor") : own);
}

void rw_transfer_chance(const struct rw_transfer *transfer, double delay_days, double age_years, double *mean,
                        double interval[2]) {
    const double successes = rw_fact_value("outcome_prior_successes"),
                 weight = successes + rw_fact_value("outcome_prior_failures"),
                 prior = moved(successes / weight, prior_shift(transfer)),
                 a = weight * prior + transfer->effective_successes,
                 b = weight * (1.0 - prior) + transfer->effective_patients - transfer->effective_successes;
    const bool sensory = strcmp(transfer->kind, "sensory") == 0;
    const double shift = sensory ? 0.0 : delay_shift(delay_days) + age_shift(transfer, age_years);
    *mean = moved(a / (a + b), shift);
    interval[0] = moved(rw_beta_quantile(0.05, a, b), shift);
    interval[1] = moved(rw_beta_quantile(0.95, a, b), shift);
}
