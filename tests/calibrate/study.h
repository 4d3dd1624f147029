/* A study: many simulated patients under the same conditions, assessed and scored on all cores. */
#ifndef CALIBRATE_STUDY_H
#define CALIBRATE_STUDY_H

#include "score.h"

/* Deliberate faults, to show that the verdict can fail. */
#define SPOILS(X)                                                                                            \
    X(NONE, "none")                                                                                          \
    X(MECHANISM, "mechanism") /* the engine is told another mechanism */                                     \
    X(OUTLIERS, "outliers")   /* findings hold three times the outliers that the engine allows for */
enum spoil {
#define X(name, text) SPOIL_##name,
    SPOILS(X)
#undef X
        SPOIL_COUNT
};

struct study {
    const struct priors *priors;
    const struct practice *practice;
    struct conditions conditions;
    enum spoil spoil;
    uint64_t seed;
    size_t count, threads;
    struct score *scores; /* [count] */
};
/* False when memory is short or the engine refuses an exam. */
bool study_run(struct study *study);

/* How far draws from the prior are from the engine's answer to an empty exam, over all mechanisms and sites.
 */
struct prior_check {
    size_t draws, compared;
    double largest_z, p; /* Bonferroni */
    const char *where;   /* site */
    enum rw_mechanism mechanism;
};
bool prior_check_run(const struct priors *priors, uint64_t seed, size_t draws, struct prior_check *out);

#endif
