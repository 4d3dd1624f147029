/* Three pooled rates by conjugate arithmetic, apart from the engine's own: the counts by hand from the series,
 * the interval by adding up the density. Of a series of n patients (or n patients out of k series) with s
 * successes the effective numbers are n / d and s / d, d = 1 + (n / k − 1) · outcome_correlation. */
#include "chances.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum { MOST_SERIES = 4, PARTS = 40000 };

struct pool {
    const char *transfer;
    double by_hand; /* the mean, with the facts of today */
    struct {
        double patients, successes, out_of;
    } series[MOST_SERIES];
};

/* Today: outcome_correlation 0.08, outcome_prior_successes 2.5, outcome_prior_failures 2.5. */
static const struct pool pools[] = {
    /* Goubier 2011; Kittithamvongs 2022; Flores 2016, DOI:10.1055/s-0036-1593837.
     * d = 1.80, 5.32, 2.04: 11 / d + 55 / d + 14 / d = 6.111 + 10.338 + 6.863 = 23.312 patients,
     * 9 / d + 36 / d + 4 / d = 5.000 + 6.767 + 1.961 = 13.728 successes; 16.228 / 28.312 = 0.57317. */
    {"intercostals__to__triceps_long_head", 0.57317, {{11, 9, 1}, {55, 36, 1}, {14, 4, 1}}},
    /* Leechavengvongs 2003, part II; Baltzer 2016.
     * d = 1.48, 2.60: 7 / d + 21 / d = 4.730 + 8.077 = 12.807 patients,
     * 7 / d + 13 / d = 4.730 + 5.000 = 9.730 successes; 12.230 / 17.807 = 0.68681. */
    {"triceps_long_head_branch__to__axillary_anterior", 0.68681, {{7, 7, 1}, {21, 13, 1}}},
    /* Sneiders 2019, DOI:10.1097/PRS.0000000000005720, a pool of which 11 studies are taken to be of this
     * transfer; Emory series 2019.
     * d = 1 + (134 / 11 - 1) 0.08 = 1.8945, 1.72: 134 / d + 10 / d = 70.729 + 5.814 = 76.543 patients,
     * 128 / d + 5 / d = 67.562 + 2.907 = 70.469 successes; 72.969 / 81.543 = 0.89485. */
    {"double_fascicular__to__biceps_brachialis", 0.89485, {{134, 128, 11}, {10, 5, 1}}},
};

static const struct rw_transfer *transfer_named(const char *id) {
    for (size_t i = 0; i < rw_model()->transfer_count; i++)
        if (strcmp(rw_model()->transfers[i].id, id) == 0)
            return &rw_model()->transfers[i];
    cr_assert_fail("no transfer %s", id);
    return NULL;
}

/* P(rate ≤ x) of Beta(a, b), a and b above 1: the density by the midpoint rule over PARTS parts of [0, 1]. */
static double below(double x, double a, double b) {
    double sum = 0.0, all = 0.0;
    for (int i = 0; i < PARTS; i++) {
        const double at = (i + 0.5) / PARTS, density = exp((a - 1.0) * log(at) + (b - 1.0) * log1p(-at));
        const double inside = fmin(1.0, fmax(0.0, x * PARTS - i));
        sum += inside * density;
        all += density;
    }
    return sum / all;
}

Test(pooled, three_rates_by_hand) {
    const double correlation = rw_fact_value("outcome_correlation");
    for (size_t p = 0; p < sizeof pools / sizeof *pools; p++) {
        const struct rw_transfer *t = transfer_named(pools[p].transfer);
        double patients = 0.0, successes = 0.0, a = rw_fact_value("outcome_prior_successes"),
               b = rw_fact_value("outcome_prior_failures"), mean, interval[2];
        for (size_t i = 0; i < MOST_SERIES; i++) {
            const double n = pools[p].series[i].patients, s = pools[p].series[i].successes;
            const double k = n > 0.0 ? n / pools[p].series[i].out_of : 1.0;
            const double counts = 1.0 / (1.0 + (k - 1.0) * correlation);
            patients += n;
            successes += s;
            a += s * counts;
            b += (n - s) * counts;
        }
        cr_expect_float_eq(t->patients, patients, 1e-9, "%s: other series than by hand", t->id);
        cr_expect_float_eq(t->successes, successes, 1e-9, "%s: other series than by hand", t->id);
        cr_expect(!t->graft, "%s: the arithmetic knows no graft", t->id);
        rw_transfer_chance(t, rw_fact_value("delay_reference_days"), 30.0, &mean, interval);
        cr_expect_float_eq(mean, a / (a + b), 1e-9, "%s: %.6f, by hand %.6f", t->id, mean, a / (a + b));
        cr_expect_float_eq(below(interval[0], a, b), 0.05, 1e-6, "%s: lower end", t->id);
        cr_expect_float_eq(below(interval[1], a, b), 0.95, 1e-6, "%s: upper end", t->id);
    }
}

/* The figures of today as they are written out above, so that they are mended when a fact changes. */
Test(pooled, as_written_out) {
    cr_expect_float_eq(rw_fact_value("outcome_correlation"), 0.08, 1e-12);
    cr_expect_float_eq(rw_fact_value("outcome_prior_successes"), 2.5, 1e-12);
    cr_expect_float_eq(rw_fact_value("outcome_prior_failures"), 2.5, 1e-12);
    for (size_t p = 0; p < sizeof pools / sizeof *pools; p++) {
        double mean, interval[2];
        rw_transfer_chance(transfer_named(pools[p].transfer), rw_fact_value("delay_reference_days"), 30.0,
                           &mean, interval);
        cr_expect_float_eq(mean, pools[p].by_hand, 6e-6, "%s: %.6f", pools[p].transfer, mean);
    }
}
