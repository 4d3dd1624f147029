/* Recovery without nerve surgery: when a muscle could first show life, and from where.
 *
 * For a muscle that is probably below M4 and probably denervated (each more likely than not), over the posterior
 * and by what is lost (losses.h):
 *   p_block   = share that a lesion lets come back (unaided.h) · share of it that is a block (regrowth.h);
 *   p_regrows = share that a lesion lets come back · the rest of it · P(it reaches the muscle before the window
 *               closes, where a complete lesion lies on the way);
 *   p_never   = the rest: torn, divided, scarred, too far;
 *   first sign: from each site where loss starts, any day of its interval (regrowth.h) that lies before the window
 *               closes, weighted by what regrows from there; the middle first_sign_share of this mixture, rounded
 *               outwards;
 *   distance  = foramen to motor point − foramen to injury site, at least least_distance_mm, by what is lost;
 *   block     = gone by onset + block_clears_days; no date where none is presumed;
 *   window    = closes at onset + window_days.
 * Sites with less than recovery_site_named of the loss are not named. No first sign is given where most of the
 * loss is preganglionic, as nothing grows back from a torn root, nor for a muscle that was graded M1 or better.
 *
 * Children and birth injuries get no answer: the figures are those of adults. decide.h: how long waiting is
 * safe. front.h: what percussion should find. */
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

/* More than half of what is lost lies behind torn roots. */
bool rw_mostly_torn(const struct rw_loss *loss);

/* Suture to motor point of a transfer; transfer_distance_unknown_mm when its row has none. */
double rw_transfer_mm(const struct rw_transfer *transfer);

#endif
