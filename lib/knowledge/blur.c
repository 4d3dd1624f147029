#include "knowledge.h"

#include <float.h>
#include <math.h>

/* Continued fraction of the incomplete beta function (DLMF 8.17.22) by the modified Lentz method. */
static double beta_fraction(double a, double b, double x) {
    double c = 1, d = 1 - (a + b) * x / (a + 1);
    d = 1 / (fabs(d) < DBL_MIN ? DBL_MIN : d);
    double value = d;
    for (int m = 1; m < 10000; m++) {
        for (int odd = 0; odd < 2; odd++) {
            double term = odd ? -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
                              : m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
            d = 1 + term * d;
            c = 1 + term / c;
            d = 1 / (fabs(d) < DBL_MIN ? DBL_MIN : d);
            c = fabs(c) < DBL_MIN ? DBL_MIN : c;
            value *= c * d;
        }
        if (fabs(c * d - 1) < 2 * DBL_EPSILON)
            break;
    }
    return value;
}

/* Regularised incomplete beta function I_x(a, b). */
static double beta_cdf(double a, double b, double x) {
    if (x <= 0)
        return 0;
    if (x >= 1)
        return 1;
    double front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x));
    if (x < (a + 1) / (a + b + 2)) /* where the fraction converges fast; else by symmetry */
        return front * beta_fraction(a, b, x) / a;
    return 1 - front * beta_fraction(b, a, 1 - x) / b;
}

/* Straight line through two anchors at a fraction. */
static double line_at(const double *at, const double *value, size_t count, size_t stride, double fraction) {
    size_t i = 1;
    while (i < count - 1 && fraction > at[i])
        i++;
    double left = value[(i - 1) * stride], right = value[i * stride];
    return left + (right - left) * (fraction - at[i - 1]) / (at[i] - at[i - 1]);
}

double kn_blur(const double *at, const double *value, size_t count, size_t stride, double fraction,
               double concentration) {
    if (fraction <= 0 || fraction >= 1 || isinf(concentration))
        return line_at(at, value, count, stride, fraction);
    double a = concentration * fraction, b = concentration * (1 - fraction);
    double mean = 0, below = 0, moment_below = 0;
    for (size_t i = 1; i < count; i++) {
        /* on each piece the line is base + slope * x, so two incomplete moments give its share exactly */
        double slope = (value[i * stride] - value[(i - 1) * stride]) / (at[i] - at[i - 1]);
        double base = value[(i - 1) * stride] - slope * at[i - 1];
        double upto = beta_cdf(a, b, at[i]), moment_upto = fraction * beta_cdf(a + 1, b, at[i]);
        mean += base * (upto - below) + slope * (moment_upto - moment_below);
        below = upto;
        moment_below = moment_upto;
    }
    return mean;
}
