/* Examinations of simulated patients, drawn from the stated likelihood by code of its own. */
#ifndef CALIBRATE_EXAMINE_H
#define CALIBRATE_EXAMINE_H

#include "draw.h"

enum { MAX_OBSERVATIONS = 8, MAX_WORDS = 32, MAX_TABLES = 64, MAX_SCALES = 32 };

/* What is examined. MIXED: a different protocol for each patient. */
enum protocol {
    PROTOCOL_MIXED,
    PROTOCOL_BEDSIDE,      /* all of the bedside set, two months after onset */
    PROTOCOL_SKIN,         /* its skin areas alone */
    PROTOCOL_MOTOR,        /* its muscles alone */
    PROTOCOL_ABNORMAL_ONLY /* as BEDSIDE, but written down as the abnormal findings and "otherwise normal" */
};

/* How far the simulated world departs from the model, and what is examined there. */
struct conditions {
    enum protocol protocol;
    double weight_noise;  /* sd of the log of each bundle's weight, drawn afresh for each patient */
    double outlier_times; /* the outlier shares, times this */
};

/* What the compiled model does not say: outlier shares, and how often an examiner uses each word. */
struct practice {
    double outlier[MAX_TABLES];
    /* Given an observation, each word that stands for it is used with frequency · weight; these sum to 1. So
     * P(word) is in proportion to Σ weight · P(observation), as the model has it. */
    double frequency[MAX_SCALES][MAX_WORDS];
};
/* Reads the outlier shares from tables.tsv. False, and a line on stderr, when that fails. */
bool practice_open(struct practice *practice, const char *tables_path);

void examine(const struct patient *patient, const struct conditions *conditions,
             const struct practice *practice, struct rw_exam *exam);

/* P(observation) of a check in the patient, long after onset. */
void true_law(const struct patient *patient, const struct conditions *conditions,
              const struct practice *practice, uint16_t check, double p[MAX_OBSERVATIONS]);

/* P(word) of a finding as the exam has it, by the model as stated, in the patient's own world; sums to 1. */
void stated_words(const struct patient *patient, const struct practice *practice, const struct rw_exam *exam,
                  const struct rw_finding *finding, double word[MAX_WORDS]);
/* Whether a finding says anything at this time since onset. */
bool speaks(const struct rw_exam *exam, const struct rw_finding *finding);

/* ln Σ over worlds P(world) · P(findings | hypothesis, world), by the model as stated. */
double exam_log_likelihood(const struct rw_exam *exam, const struct oracle *oracle,
                           const struct oracle_hypothesis *hypothesis);

#endif
