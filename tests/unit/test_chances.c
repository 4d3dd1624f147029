/* The Beta distribution, and the chance of one transfer by hand. */
#include "planning.h"

#include "beta.h"
#include "chances.h"

/* ---- the Beta distribution ---- */

Test(beta, agrees_with_closed_forms) {
    for (double x = 0.05; x < 1.0; x += 0.05) {
        cr_assert_float_eq(rw_beta_cdf(x, 1.0, 1.0), x, EXACT);
        cr_assert_float_eq(rw_beta_cdf(x, 3.0, 1.0), x * x * x, EXACT);
        cr_assert_float_eq(rw_beta_cdf(x, 1.0, 2.5), 1.0 - pow(1.0 - x, 2.5), EXACT);
        cr_assert_float_eq(rw_beta_cdf(x, 40.0, 7.5) + rw_beta_cdf(1.0 - x, 7.5, 40.0), 1.0, EXACT);
        cr_assert_float_eq(rw_beta_quantile(x, 2.0, 1.0), sqrt(x), 1e-11);
    }
    /* I_0.4(2, 3) = P(at least 2 of 4 at 0.4) = 1 − 0.6^4 − 4 · 0.4 · 0.6^3 = 1 − 0.1296 − 0.3456 */
    cr_assert_float_eq(rw_beta_cdf(0.4, 2.0, 3.0), 0.5248, EXACT);
    cr_assert_float_eq(rw_beta_quantile(0.5, 5.0, 5.0), 0.5, 1e-11);
}

/* ---- the chance of one transfer ---- */

static double odds(double p) {
    return p / (1.0 - p);
}

Test(chance, is_a_beta_of_effective_numbers) {
    const struct rw_transfer *t = &rw_model()->transfers[transfer_of("ulnar_fascicle__to__triceps")];
    cr_assert_float_eq(t->patients, 10, EXACT); /* 10 of 10 (Goubier 2019), one series */
    cr_assert_float_eq(t->successes, 10, EXACT);
    const double n = 10.0 / (1.0 + 9.0 * rw_fact_value("outcome_correlation"));
    cr_assert_float_eq(t->effective_patients, n, 1e-9);
    cr_assert_float_eq(t->effective_successes, n, 1e-9);
    double mean, interval[2];
    rw_transfer_chance(t, rw_fact_value("delay_reference_days"), 30.0, &mean, interval);
    const double a = rw_fact_value("outcome_prior_successes") + n,
                 b = rw_fact_value("outcome_prior_failures");
    cr_assert_float_eq(mean, a / (a + b), 1e-9);
    cr_assert_float_eq(rw_beta_cdf(interval[0], a, b), 0.05, 1e-9);
    cr_assert_float_eq(rw_beta_cdf(interval[1], a, b), 0.95, 1e-9);
}

static double chance_of(struct rw_transfer t) {
    double mean, interval[2];
    rw_transfer_chance(&t, (double)NAN, 30.0, &mean, interval);
    return mean;
}

Test(chance, graft_and_few_axons_lower_what_is_held_before_any_series) {
    const struct rw_transfer *known = &rw_model()->transfers[transfer_of("ulnar_fascicle__to__biceps")];
    struct rw_transfer bare = *known;
    bare.effective_patients = bare.effective_successes = 0.0;
    bare.axon_ratio = (double)NAN;
    const double before = chance_of(bare), enough = rw_fact_value("axon_ratio_sufficient");
    cr_assert_float_eq(before,
                       rw_fact_value("outcome_prior_successes") / (rw_fact_value("outcome_prior_successes") +
                                                                   rw_fact_value("outcome_prior_failures")),
                       1e-9);
    bare.axon_ratio = 0.5 * enough;
    cr_assert_float_eq(odds(chance_of(bare)) / odds(before), pow(0.5, rw_fact_value("axon_ratio_exponent")),
                       1e-9);
    bare.axon_ratio = enough;
    cr_assert_float_eq(chance_of(bare), before, 1e-9);
    bare.graft = true;
    cr_assert_float_eq(odds(chance_of(bare)) / odds(before), rw_fact_value("graft_odds_factor"), 1e-9);
    bare.effective_patients = 1000.0; /* series speak for themselves */
    bare.effective_successes = 900.0;
    cr_assert_float_eq(chance_of(bare), 0.9, 0.01);
    bare.axon_ratio = 0.3; /* the threshold is of elbow flexion alone */
    bare.effective_patients = bare.effective_successes = 0.0;
    const double grafted = chance_of(bare);
    bare.functions[0] = rw_target_find(RW_TARGET_FUNCTION, "shoulder_abduction");
    cr_assert_gt(chance_of(bare), grafted);
}

Test(chance, falls_faster_beyond_a_year_and_never_for_feeling) {
    const struct rw_transfer *biceps = &rw_model()->transfers[transfer_of("ulnar_fascicle__to__biceps")];
    const double quarter = 365.25 / 4.0, beyond = rw_fact_value("delay_beyond_days");
    double before, at, after, interval[2];
    rw_transfer_chance(biceps, beyond - quarter, 30.0, &before, interval);
    rw_transfer_chance(biceps, beyond, 30.0, &at, interval);
    rw_transfer_chance(biceps, beyond + quarter, 30.0, &after, interval);
    const double quarterly = rw_fact_value("delay_odds_factor_per_3_months");
    cr_assert_float_eq(odds(at) / odds(before), quarterly * rw_fact_value("delay_beyond_odds_factor"), 1e-9);
    cr_assert_float_eq(odds(after) / odds(at), quarterly, 1e-9);
    struct rw_transfer sensory = *biceps;
    sensory.kind = "sensory";
    rw_transfer_chance(&sensory, 100.0, 70.0, &before, interval);
    rw_transfer_chance(&sensory, 2000.0, 30.0, &after, interval);
    cr_assert_float_eq(before, after, EXACT);
}

Test(chance, series_add_up) {
    /* 9 of 10, 12 of 30, 7 of 17 and 48 of 75 */
    const struct rw_transfer *t = &rw_model()->transfers[transfer_of("intercostals__to__musculocutaneous")];
    cr_assert_float_eq(t->patients, 132, EXACT);
    cr_assert_float_eq(t->successes, 76, EXACT);
}

Test(chance, falls_with_delay_and_age_by_the_published_odds) {
    const struct rw_transfer *biceps = &rw_model()->transfers[transfer_of("ulnar_fascicle__to__biceps")];
    const struct rw_transfer *shoulder =
        &rw_model()->transfers[transfer_of("spinal_accessory__to__suprascapular_anterior")];
    const double reference = rw_fact_value("delay_reference_days");
    double at, later, old, interval[2];
    rw_transfer_chance(biceps, reference - 365.25 / 4.0, 30.0, &at, interval); /* three months earlier */
    rw_transfer_chance(biceps, reference, 30.0, &later, interval);
    cr_assert_float_eq(odds(later) / odds(at), rw_fact_value("delay_odds_factor_per_3_months"), 1e-9);
    cr_assert(interval[0] < later && later < interval[1]);
    at = later;
    rw_transfer_chance(biceps, reference, 55.0, &old, interval);
    cr_assert_float_eq(odds(old) / odds(at), rw_fact_value("age_over_50_odds_factor"), 1e-9);
    rw_transfer_chance(shoulder, reference, 30.0, &at, interval);
    rw_transfer_chance(shoulder, reference, 55.0, &old, interval);
    cr_assert_float_eq(odds(old) / odds(at), rw_fact_value("age_over_50_odds_factor_shoulder_abduction"),
                       1e-9);
    rw_transfer_chance(shoulder, (double)NAN, (double)NAN, &old,
                       interval); /* neither known: as in the series */
    cr_assert_float_eq(old, at, 1e-9);
}

Test(chance, a_large_series_is_surer_than_a_small_one) {
    double mean, large[2], small[2];
    rw_transfer_chance(&rw_model()->transfers[transfer_of("ulnar_fascicle__to__biceps")], (double)NAN, 30.0,
                       &mean, large);
    rw_transfer_chance(&rw_model()->transfers[transfer_of("teres_minor_branch__to__triceps")], (double)NAN,
                       30.0, &mean, small);
    cr_assert_lt(large[1] - large[0], 0.5 * (small[1] - small[0]));
}
