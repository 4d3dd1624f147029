#include "spans.h"

#include <math.h>

static double below(const struct rw_span *span, double value) {
    if (value < span->from)
        return 0.0;
    return value < span->to ? span->weight * (value - span->from) / (span->to - span->from) : span->weight;
}

double rw_spans_quantile(const struct rw_span *spans, size_t count, double share) {
    double low = (double)INFINITY, high = -(double)INFINITY, total = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (spans[i].weight <= 0.0)
            continue;
        low = fmin(low, spans[i].from);
        high = fmax(high, spans[i].to);
        total += spans[i].weight;
    }
    for (const double least = 1e-6 * (high - low); high - low > least;) {
        const double middle = 0.5 * (low + high);
        double sum = 0.0;
        for (size_t i = 0; i < count; i++)
            sum += below(&spans[i], middle);
        if (sum < share * total)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}
