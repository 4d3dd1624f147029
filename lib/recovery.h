/* Recovery: when a denervated muscle could first show life, and how long waiting is safe.
 *
 * For a muscle that is probably below M4 and probably denervated (each more likely than not):
 *   distance      = foramen to motor point − mean foramen to injury site, at least least_distance_mm;
 *   first sign    = onset + latency_low + distance / fastest rate (rounded down)
 *                   to onset + latency_high + distance / slowest rate (rounded up);
 *   window closes = onset + window_days.
 *
 * The mean site is taken over cases and bundles, weighted by what is lost; of several sites on a bundle the
 * most proximal counts. No first sign is given where most of the loss is preganglionic: nothing grows back
 * from a torn root. Rates slow by old_rate_factor above old_age_years.
 *
 *   decide_by = onset + the least of
 *     window_days − decision_margin_days − latency_high − distance(m) / slowest rate,
 *       over those muscles m that a sourced motor transfer of at most reachable_mm reaches, by the shortest;
 *     decide_late_days (+ wait_gunshot_extra_days or wait_inflammatory_extra_days);
 *   rounded down, and no date where no such transfer reaches any of the muscles.
 *
 * Children and birth injuries get no answer: the figures are those of adults. */
#ifndef RW_RECOVERY_H
#define RW_RECOVERY_H

#include "losses.h"

void rw_recovery(const struct rw_exam *exam, const struct rw_losses *losses,
                 const struct rw_deficits *deficits, struct rw_recovery *out);

/* Days from the start of growth to the first sign in a muscle so far away: latency + distance / rate. */
void rw_growth_days(const double rate_mm_per_day[2], double distance_mm, double days[2]);

/* Injury to motor point along the nerve, as in the answer; NAN when the muscle's distance is not known or
 * most of its loss is behind torn roots, from which nothing grows. */
double rw_regrowth_mm(const struct rw_loss *loss);

/* Suture to motor point of a transfer; transfer_distance_unknown_mm when its row has none. */
double rw_transfer_mm(const struct rw_transfer *transfer);

#endif
