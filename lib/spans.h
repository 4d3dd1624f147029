/* Mixtures of spans: a value lies in each with its weight, anywhere in it alike. */
#ifndef RW_SPANS_H
#define RW_SPANS_H

#include <stddef.h>

struct rw_span {
    double weight, from, to; /* from <= to */
};

/* The value below which a share of the mixture lies, 0 < share < 1, to 1e-6 of its width. Some weight is
 * positive. */
double rw_spans_quantile(const struct rw_span *spans, size_t count, double share);

/* The middle part of the mixture that holds this share. */
static inline void rw_spans_middle(const struct rw_span *spans, size_t count, double share,
                                   double interval[2]) {
    interval[0] = rw_spans_quantile(spans, count, 0.5 - 0.5 * share);
    interval[1] = rw_spans_quantile(spans, count, 0.5 + 0.5 * share);
}

#endif
