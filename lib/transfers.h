/* Transfers: which nerve could be moved to which muscle in this patient, and why not the others.
 *
 * A motor transfer is open when its donor is usable; some muscle that it reaches is lost (M3 or better less
 * likely than not, now and unaided) and denervated; it serves a function that is lost in the same sense and
 * of which it reaches a prime mover, or strengthens one that is not; its suture lies nearer to the muscle
 * than the injury, unless roots are torn; no complete lesion probably lies between suture and muscle
 * (transfers without a graft, by the distances of the knowledge); and its first sign can come before the
 * window closes, with
 *   operation  = exam + decision_margin_days
 *   first sign = operation + latency + distance / rate
 *
 * P(useful) comes from the pooled series: Beta(outcome_prior_successes + successes, outcome_prior_failures
 * + failures), of effective numbers (rootward.h), as series are chosen and differ. Mean and
 * 90 % interval are then moved on the logit scale, by ln(delay_odds_factor_per_3_months) for every three
 * months by which the operation comes later than delay_reference_days, and above age_over_years by the ln of
 * age_over_50_odds_factor, or of the fact of that name for the first function served
 * (age_over_50_odds_factor_<function>). The interval is that of the series; it holds neither the doubt about
 * these two effects nor that about the diagnosis.
 *
 * One plan, built greedily: again and again the open transfer of the largest gain, until none gains
 * plan_least_gain or plan_most_steps is reached. gain = Σ over its lost functions of
 *   priority · (P(useful) − P(recovers unaided))     the first time the function is served,
 *   priority · (1 − p) · P(useful)                   when steps before reach it with p (both must fail),
 * and over its functions that are weakened, not lost,
 *   priority · plan_strength_weight · share of the muscles reached · (P(useful) − their P(M3 unaided)),
 * less donor_cost_<donor> (of a donor made of others: theirs). Each donor, or part of one, once; each muscle
 * once; conflicts respected. Greedy is not always best: the plan is one sound choice, not the optimum. */
#ifndef RW_TRANSFERS_H
#define RW_TRANSFERS_H

#include "losses.h"

void rw_transfers(const struct rw_exam *exam, const struct rw_states *states, const struct rw_losses *losses,
                  const struct rw_deficits *deficits, const struct rw_recovery *recovery,
                  struct rw_transfers *out);

/* P(useful) of a transfer and its 90 % interval. delay_days: from onset to operation, NAN when not known. */
void rw_transfer_chance(const struct rw_transfer *transfer, double delay_days, double age_years, double *mean,
                        double interval[2]);

/* What a function is worth: fact priority_<function>. */
double rw_function_priority(uint16_t function);

#endif
