/* What an answer is worth, given the truth: ranks that are uniform when the posterior is calibrated. */
#ifndef CALIBRATE_SCORE_H
#define CALIBRATE_SCORE_H

#include "examine.h"

/* Scalar quantities. The rank of a discrete one is randomised: P(less than the truth) + U · P(the truth). A
 * site, muscle or area is the one that the answer knows least about: chosen by the exam alone, which leaves
 * the rank uniform. */
#define QUANTITIES(X)                                                                                        \
    X(HYPOTHESIS, "hypothesis", "the hypothesis, by falling probability")                                    \
    X(LIKELIHOOD, "likelihood", "likelihood of the hypothesis (Modrák and others 2023)")                     \
    X(C5, "c5", "state of C5: intact, postganglionic, preganglionic")                                        \
    X(C6, "c6", "state of C6")                                                                               \
    X(C7, "c7", "state of C7")                                                                               \
    X(C8, "c8", "state of C8")                                                                               \
    X(T1, "t1", "state of T1")                                                                               \
    X(ROOT, "site-root", "severity at the least certain root site")                                          \
    X(TRUNK, "site-trunk", "severity at the least certain trunk")                                            \
    X(DIVISION, "site-division", "severity at the least certain division")                                   \
    X(CORD, "site-cord", "severity at the least certain cord")                                               \
    X(NERVE, "site-nerve", "severity at the least certain nerve site")                                       \
    X(LEVEL, "level", "first injured level")                                                                 \
    X(NO_LESION, "no-lesion", "no lesion")                                                                   \
    X(OUTSIDE, "outside", "not a lesion of these nerves")                                                    \
    X(GRADE, "grade", "grade of the least certain muscle not examined")                                      \
    X(SKIN, "skin", "loss in the least certain skin area not examined")
enum quantity {
#define X(name, id, label) QUANTITY_##name,
    QUANTITIES(X)
#undef X
        QUANTITY_COUNT
};
extern const char *const quantity_ids[QUANTITY_COUNT], *const quantity_labels[QUANTITY_COUNT];

#define CREDIBLE 0.9

struct score {
    double rank[QUANTITY_COUNT];   /* NAN: nothing left to ask about */
    bool in_random_set;            /* the truth is in the randomised credible set, of exactly CREDIBLE */
    bool in_plain_set;             /* in the smallest set of at least CREDIBLE */
    double plain_mass, plain_size; /* NAN: the answer's list holds less than CREDIBLE */
    double log_probability;        /* ln P(truth | exam) */
    double listed, covered; /* probability of the answer's list; and of what predictions were taken over */
    double likelihood_gap;  /* |engine's ln likelihood of the truth − ours|; NAN: the truth is not listed */
    double brier_sites, brier_sites_stated; /* over all sites: Σ(p − injured)², and Σ p(1 − p) */
    double leader;                          /* probability of the first hypothesis */
    double merged; /* and of the heaviest set of (level, name), as far as it is listed */
    bool leader_right, merged_right;
    /* By section of the exam, over the findings that say something: their number; Σ ln P(finding | truth,
     * world); and its mean and variance by the model as stated. */
    struct {
        double count, log, expected, variance;
    } findings[RW_SECTION_COUNT];
};

/* `oracle`: prior of the mechanism that the engine was told. */
void score_answer(const struct patient *patient, const struct conditions *conditions,
                  const struct practice *practice, const struct oracle *oracle, const struct rw_exam *exam,
                  const struct rw_assessment *answer, struct score *out);

#endif
