/* Plain SVG figures. Each returns false when the file cannot be written. */
#ifndef CALIBRATE_PLOT_H
#define CALIBRATE_PLOT_H

#include <stdbool.h>

#include "stats.h"

/* Bars of a rank histogram over the band that 99 of 100 bars keep to. */
bool plot_ranks(const char *path, const char *label, const size_t bins[BINS], size_t count, double p);

struct reliability {
    double count, stated, right; /* stated: mean probability; right: share; count 0: nothing in this bin */
    struct interval interval;
};
bool plot_reliability(const char *path, const struct reliability *bins, size_t count);

#endif
