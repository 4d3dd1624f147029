#include "stats.h"

#include <math.h>

/* Q(k/2, x/2) for odd k as a finite sum: DLMF 8.4.6 and 8.8.2 */
double chi_square_tail(double x, size_t odd_degrees) {
    const double half = x / 2;
    double tail = erfc(sqrt(half)), term = exp(-half) * sqrt(half) / tgamma(1.5);
    for (size_t k = 3; k <= odd_degrees; k += 2) {
        tail += term;
        term *= half / ((double)k / 2);
    }
    return tail;
}

double normal_tails(double z) {
    return erfc(fabs(z) / sqrt(2));
}

size_t histogram(const double *value, size_t stride, size_t count, size_t bins[BINS]) {
    size_t counted = 0;
    for (size_t b = 0; b < BINS; b++)
        bins[b] = 0;
    for (size_t i = 0; i < count; i++) {
        const double v = value[i * stride];
        if (isnan(v))
            continue;
        const size_t bin = v <= 0 ? 0 : (size_t)(v * BINS);
        bins[bin < BINS ? bin : BINS - 1]++;
        counted++;
    }
    return counted;
}

double histogram_chi_square(const size_t bins[BINS]) {
    double total = 0, sum = 0;
    for (size_t b = 0; b < BINS; b++)
        total += (double)bins[b];
    const double expected = total / BINS;
    for (size_t b = 0; b < BINS && total > 0; b++)
        sum += ((double)bins[b] - expected) * ((double)bins[b] - expected) / expected;
    return sum;
}

struct interval binomial_band(size_t count, double p) {
    const double n = (double)count;
    double upto = 0;
    struct interval band = {-1, n};
    for (size_t k = 0; k <= count; k++) {
        const double x = (double)k;
        upto += exp(lgamma(n + 1) - lgamma(x + 1) - lgamma(n - x + 1) + x * log(p) + (n - x) * log1p(-p));
        if (band.low < 0 && upto > 0.005)
            band.low = x;
        if (upto >= 0.995) {
            band.high = x;
            break;
        }
    }
    return band;
}

struct interval wilson(double successes, double count) {
    const double z = 1.959963984540054, share = successes / count;
    const double middle = share + z * z / (2 * count);
    const double reach = z * sqrt(share * (1 - share) / count + z * z / (4 * count * count));
    const double scale = 1 + z * z / count;
    return (struct interval){(middle - reach) / scale, (middle + reach) / scale};
}

struct moments mean_of(const double *value, size_t stride, size_t count) {
    double n = 0, sum = 0, squares = 0;
    for (size_t i = 0; i < count; i++)
        if (!isnan(value[i * stride])) {
            n++;
            sum += value[i * stride];
        }
    const double mean = sum / n;
    for (size_t i = 0; i < count; i++)
        if (!isnan(value[i * stride]))
            squares += (value[i * stride] - mean) * (value[i * stride] - mean);
    return (struct moments){n, mean, sqrt(squares / (n - 1) / n)};
}
