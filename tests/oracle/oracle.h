/* A second, plain program for the posterior: every hypothesis of the stated space, one by one.
 *
 * Written from the statement of the model alone (comments of hypotheses.h, posterior.h, localise.h), so that
 * it shares no code with the engine but the const tables of rw_model(). Slow on purpose.
 *
 * Worlds are the joint variants times the depth of partial loss (one depth for all partial sites of a world).
 * Weights are plain products: with the probabilities of compiled tables 40 findings stay far above underflow.
 */
#ifndef ORACLE_H
#define ORACLE_H

#include "rootward.h"

enum { ORACLE_MAX_FURTHER = RW_MAX_SCATTER, ORACLE_ROOT_PARTS = 3, ORACLE_DEPTHS = 2 };

struct oracle_hypothesis {
    bool outside;                    /* not a lesion of these nerves; the rest is then empty */
    uint8_t states[RW_PLEXUS_ROOTS]; /* enum rw_root_state */
    size_t further_count;
    struct rw_lesion further[ORACLE_MAX_FURTHER]; /* different further sites, partial or complete */
};

/* A finding that bears on the question, with P(its value | intact fraction) on the grid. */
struct oracle_finding {
    uint16_t target;
    double curve[RW_SPREAD_COUNT][RW_GRID];
    double outside;
};

/* An exam, the anatomy's constants and those of the prior. */
struct oracle {
    size_t root_sites[RW_PLEXUS_ROOTS][ORACLE_ROOT_PARTS]; /* preganglionic, proximal, distal */
    size_t further_count;
    uint8_t further_sites[RW_MAX_SITES];
    double depth_share[ORACLE_DEPTHS];
    double kept[ORACLE_DEPTHS][RW_COMPLETE + 1]; /* 1 - loss, by depth and severity */
    const struct rw_prior *prior;
    size_t finding_count;
    struct oracle_finding findings[RW_MAX_CHECKS];
    double configuration_total[1 << RW_PLEXUS_ROOTS]; /* sum of C over a mask */
    double one_total, root_and_two_total;             /* Z1, Zx */
    double pair_total, triple_total, scatter_total;   /* Z2, Z3, Z4 */
    double shared[RW_MAX_SITES][RW_MAX_SITES];        /* fibres that run through both, in the first variant */
    bool fed_by[RW_MAX_SITES][RW_PLEXUS_ROOTS];       /* a trunk or division, in the first variant */
    size_t scatter_count;                             /* sites that a scattered disease picks from */
    uint8_t scatter_sites[RW_MAX_SITES];
};

struct oracle_result {
    double log_evidence;
    double no_lesion, outside;
    double levels[RW_LEVEL_COUNT];
    struct rw_site_posterior sites[RW_MAX_SITES];
    struct rw_root_posterior roots[RW_PLEXUS_ROOTS];
    double hypothesis_count;
    size_t heaviest_count;
    double heaviest[RW_MAX_HYPOTHESES]; /* the greatest probabilities of single hypotheses, falling */
};

void oracle_prepare(struct oracle *oracle, const struct rw_exam *exam);

/* Sums over the whole space. */
void oracle_posterior(const struct oracle *oracle, struct oracle_result *result);

double oracle_prior(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis);
/* k(a, b) of two further sites. */
double oracle_coupling(const struct oracle *oracle, size_t a, size_t b);
/* Sum over worlds of P(world) times P(findings | hypothesis, world). */
double oracle_likelihood(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis);

/* [site] → enum rw_severity */
void oracle_severities(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis,
                       uint8_t severity[RW_MAX_SITES]);
/* At most one further site, or two with at most one injured root, or three and no root, or four to six that a
 * scattered disease picks and no root. */
bool oracle_in_space(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis);
/* The hypothesis with exactly these lesions; false when the space has none. */
bool oracle_from_lesions(const struct oracle *oracle, const struct rw_lesion *lesions, size_t count,
                         struct oracle_hypothesis *hypothesis);

#endif
