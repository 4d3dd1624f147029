/* What the studies say, in words and figures, and whether the posterior passes. */
#ifndef CALIBRATE_REPORT_H
#define CALIBRATE_REPORT_H

#include <stdio.h>

#include "study.h"

struct report {
    FILE *text;
    const char *folder; /* for the figures */
    double least_p;     /* the verdict fails at or below it, after correction */
    size_t faults;      /* parts of the verdict that failed */
    bool broken;        /* a figure could not be written */
};

/* Each prints one part. */
void report_prior(struct report *report, const struct prior_check *check);
void report_findings(struct report *report, const struct study *study);
void report_ranks(struct report *report, const struct study *study);
void report_sets(struct report *report, const struct study *study);
void report_scores(struct report *report, const struct study *study);
void report_leader(struct report *report, const struct study *study);

struct row {
    const char *label;
    struct conditions conditions;
    struct score *scores;
};
/* Rows after the first are compared with it, patient by patient. */
void report_robustness(struct report *report, const struct row *rows, size_t row_count, size_t patients);

/* The last line. */
void report_verdict(struct report *report);

#endif
