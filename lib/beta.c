#include "beta.h"

#include <math.h>

/* Continued fraction of I_x(a, b) by Lentz's method (DLMF 8.17.22); converges fast for x < (a+1)/(a+b+2). */
static double continued_fraction(double x, double a, double b) {
    const double tiny = 1e-300, enough = 1e-16;
    double c = 1.0, d = 1.0 - (a + b) * x / (a + 1.0);
    d = 1.0 / (fabs(d) < tiny ? tiny : d);
    double value = d;
    for (int i = 1; i <= 1000; i++) {
        const double m = i;
        const double steps[2] = {m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m)),
                                 -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))};
        double factor = 1.0;
        for (int k = 0; k < 2; k++) {
            d = 1.0 + steps[k] * d;
            c = 1.0 + steps[k] / c;
            d = 1.0 / (fabs(d) < tiny ? tiny : d);
            c = fabs(c) < tiny ? tiny : c;
            factor = c * d;
            value *= factor;
        }
        if (fabs(factor - 1.0) < enough)
            break;
    }
    return value;
}

/* lgamma() sets a global sign; lgamma_r does not. */
static double log_gamma(double x) {
    int sign = 0;
    return lgamma_r(x, &sign);
}

double rw_beta_cdf(double x, double a, double b) {
    if (x <= 0.0)
        return 0.0;
    if (x >= 1.0)
        return 1.0;
    const double front = exp(log_gamma(a + b) - log_gamma(a) - log_gamma(b) + a * log(x) + b * log1p(-x));
    if (x < (a + 1.0) / (a + b + 2.0))
        return front * continued_fraction(x, a, b) / a;
    return 1.0 - front * continued_fraction(1.0 - x, b, a) / b;
}

double rw_beta_quantile(double p, double a, double b) {
    double low = 0.0, high = 1.0;
    while (high - low > 1e-12) {
        const double middle = low + 0.5 * (high - low);
        if (rw_beta_cdf(middle, a, b) < p)
            low = middle;
        else
            high = middle;
    }
    return low + 0.5 * (high - low);
}
