/* The little statistics that the report needs. */
#ifndef CALIBRATE_STATS_H
#define CALIBRATE_STATS_H

#include <stddef.h>

enum { BINS = 20 };

struct interval {
    double low, high;
};
struct moments {
    double count, mean, error; /* standard error of the mean */
};

/* P(chi-square > x) for an odd number of degrees of freedom. */
double chi_square_tail(double x, size_t odd_degrees);
/* P(|standard normal| > z) */
double normal_tails(double z);

/* Counts of values in [0, 1] over BINS equal bins; values that are not numbers are left out. Returns their
 * number. */
size_t histogram(const double *value, size_t stride, size_t count, size_t bins[BINS]);
/* Against equal bins. */
double histogram_chi_square(const size_t bins[BINS]);
/* The central counts of a binomial that hold 99 %. */
struct interval binomial_band(size_t count, double p);
/* Wilson 1927, 95 % */
struct interval wilson(double successes, double count);
struct moments mean_of(const double *value, size_t stride, size_t count);

#endif
