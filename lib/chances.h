/* P(useful) of one transfer, from its pooled series.
 *
 * Beta(a + s, b + n − s), with n and s the effective patients and successes (rootward.h): series differ, so
 * that patients of one series tell less than patients of several. The prior has the weight a + b =
 * outcome_prior_successes + outcome_prior_failures and, before any series, their mean, moved on the logit scale
 *   by ln(graft_odds_factor) for a transfer that needs a graft,
 *   by axon_ratio_exponent · ln(axon ratio / axon_ratio_sufficient) where the ratio is below that and elbow
 *   flexion is what its series would measure (the published threshold is of elbow flexion);
 * rows with series speak for themselves the more they have.
 *
 * Mean and 90 % interval are then moved on the logit scale, of motor transfers and grafts:
 *   by ln(delay_odds_factor_per_3_months) for every three months by which the operation comes later than
 *   delay_reference_days, and by ln(delay_beyond_odds_factor) from delay_beyond_days on, coming in over the
 *   three months before;
 *   above age_over_years by the ln of age_over_50_odds_factor, or of the fact of that name for the first
 *   function served (age_over_50_odds_factor_<function>).
 * The interval is that of the series; it holds neither the doubt about these effects nor that about the
 * diagnosis. */
#ifndef RW_CHANCES_H
#define RW_CHANCES_H

#include "rootward.h"

/* delay_days: from onset to operation, NAN when not known; age NAN likewise. */
void rw_transfer_chance(const struct rw_transfer *transfer, double delay_days, double age_years, double *mean,
                        double interval[2]);

/* A probability as reasons tell it: never surer than one in a hundred. */
double rw_told(double p);

/* The fact `<stem>_<id>`; NAN when there is none. */
double rw_fact_for(const char *stem, const char *id);

#endif
