/* What both oracle tests share: seeded random exams and a call of the engine. */
#ifndef ORACLE_SUPPORT_H
#define ORACLE_SUPPORT_H

#include "oracle.h"

struct random {
    uint64_t state;
};
uint64_t random_below(struct random *random, uint64_t limit);
bool random_chance(struct random *random, double probability);

/* Any mechanism, side and time since onset; `least` to `most` different checks. Values are drawn at will, or
 * mostly normal, or as the loss of one site would leave them. */
void random_exam(struct random *random, size_t least, size_t most, struct rw_exam *exam);

/* Figures of one exam, held against each other; the first that differs is kept for the message. */
struct comparison {
    size_t seed, number, count, differing;
    char what[64];
    double engine, oracle;
};
/* Differing: by more than 1e-9, or not a number. */
void compare(struct comparison *comparison, const char *what, double engine, double oracle);
/* The whole posterior of the engine against the oracle's sum over the space. */
void compare_posterior(struct comparison *comparison, const struct rw_localisation *engine,
                       const struct oracle *oracle, const struct oracle_result *result);
void expect_agreement(const struct comparison *comparison, const struct rw_exam *exam);

/* The engine's localisation, on the heap. Fails the test when the engine refuses. */
struct rw_localisation *engine_localise(const struct rw_exam *exam);

/* Cleared memory; fails the test when there is none. */
void *take(size_t size);

#endif
