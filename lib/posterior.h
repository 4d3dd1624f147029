/* What a lesion leaves of a target, and how likely observations are then: the pieces that everything else
 * averages over. */
#ifndef RW_POSTERIOR_H
#define RW_POSTERIOR_H

#include "rootward.h"

/* One hypothesis in one world (joint variant and depth of partial loss). */
struct rw_case {
    double weight;
    uint16_t variant;               /* joint anatomical variant */
    uint8_t depth;                  /* 0 mild, 1 severe: loss at every partial site */
    bool outside;                   /* not a lesion of these nerves: targets follow the `outside` tables */
    uint8_t severity[RW_MAX_SITES]; /* enum rw_severity by site */
};

/* Loss at a site of this severity at this depth, 0..1 (facts partial_loss_mild, partial_loss_severe). */
double rw_site_loss(unsigned severity, unsigned depth);

/* Intact fraction of a target in one case: Σ weight · Π(1 − loss) over its bundles. *spread is uneven as soon
 * as a partial lesion lies on any of them, even one that a complete lesion cuts as well. O(bundles · sites).
 */
double rw_intact_fraction(const struct rw_case *c, uint16_t target, enum rw_spread *spread);

/* P(observation | fraction), linear between grid points; fraction is clamped to [0,1]. */
double rw_table_probability(const struct rw_table *table, enum rw_spread spread, double fraction,
                            unsigned observation);

/* P(observation | fraction) of every observation, of a sign that has come so far (rw_table_ready): ready ·
 * P(fraction) + (1 − ready) · P(1). `p` has room for all. */
void rw_table_predict(const struct rw_table *table, double ready, enum rw_spread spread, double fraction,
                      double *p);

/* How far a table's sign has come at the time of this exam: 0 before min_days (it says nothing yet), 1 from
 * full_days on or when onset is not known, linear between. */
double rw_table_ready(const struct rw_table *table, const struct rw_exam *exam);

/* P(recorded value of a check | case): the value's mix of observations; `outside` cases use the outside
 * distribution; a filled-in finding is (1 − f)·P(value) + f·outside(value), f the table's filled_outlier.
 * Always > 0: the knowledge compiler refuses tables that hold a 0. */
double rw_finding_probability(const struct rw_case *c, const struct rw_finding *finding, double ready);

#endif
