/* How long waiting is safe.
 *
 * decide_by = onset + the least, over the muscles listed in the recovery, of
 *   decide_sharp_days where the wound is sharp: what is cut does not grow back by itself;
 *   and for those that a sourced motor transfer of at most reachable_mm reaches, by the shortest of them,
 *     window_days − decision_margin_days − latency_high − distance / slowest rate;
 *     decide_early_days where most of the loss lies behind torn roots: waiting brings nothing back;
 *     decide_late_days, + wait_gunshot_extra_days or wait_inflammatory_extra_days, otherwise;
 * rounded down. Where that day has passed at the exam, the day of the exam, unless even that is too late for the
 * window: then the day stands and the reason says so. No date where onset is not known or nothing applies. */
#ifndef RW_DECIDE_H
#define RW_DECIDE_H

#include "losses.h"

/* Fills decide_by and decide_because from the muscles that are listed. */
void rw_decide(const struct rw_exam *exam, const struct rw_losses *losses, struct rw_recovery *recovery);

#endif
