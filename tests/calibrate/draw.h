/* Simulated patients: a lesion drawn from the stated prior, in a world drawn from its own.
 *
 * Every draw comes from a stream of its own, named by seed, patient, purpose and item, so that a patient has
 * the same lesion whatever is examined, and the same luck at a finding whatever else is examined. */
#ifndef CALIBRATE_DRAW_H
#define CALIBRATE_DRAW_H

#include "oracle.h"

struct stream {
    uint64_t state[4];
};
enum purpose {
    PURPOSE_LESION,
    PURPOSE_PROTOCOL,
    PURPOSE_FINDING, /* item: check */
    PURPOSE_WEIGHTS, /* item: target */
    PURPOSE_RANK,
    PURPOSE_PRIOR
};
struct stream stream_open(uint64_t seed, uint64_t patient, enum purpose purpose, uint64_t item);
double stream_uniform(struct stream *stream); /* [0, 1) */
double stream_normal(struct stream *stream);
size_t stream_below(struct stream *stream, size_t limit);
/* An index drawn in proportion to the weights. */
size_t stream_pick(struct stream *stream, const double *weight, size_t count);

/* The stated prior of one mechanism, as the oracle has it. */
struct prior {
    struct oracle oracle;
    double most[RW_PRIOR_KIND_COUNT]; /* the largest factor by which sites of a kind depend on each other */
};
struct priors {
    struct prior *by_mechanism[RW_MECHANISM_COUNT];
};
bool priors_open(struct priors *priors);
void priors_close(struct priors *priors);

struct patient {
    uint64_t seed, number;
    enum rw_mechanism mechanism;
    const struct oracle *oracle; /* of the mechanism */
    struct oracle_hypothesis truth;
    uint8_t severity[RW_MAX_SITES];
    size_t variant, depth;
};

/* A hypothesis from the prior of hypotheses.h. */
void draw_hypothesis(struct stream *stream, const struct prior *prior, struct oracle_hypothesis *out);
void draw_patient(const struct priors *priors, uint64_t seed, uint64_t number, struct patient *out);

#endif
