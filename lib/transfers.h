/* Transfers: which nerve could be moved to which muscle in this patient, the best plans, and why not the
 * others.
 *
 * candidates.h says when a transfer is open, chances.h how likely it is useful, worth.h what it gives and
 * takes, plan.h how the plans are chosen: exactly, up to three that differ in more than approach. Each
 * operation holds plan_room steps; what the first cannot hold may stand in a second, second_stage_gap_days
 * later, with its later dates and its lower chance. No donor, or part of one, is spent twice; no muscle is
 * reached twice; conflicts of the rows are respected. Functions that were asked for come first in the worth;
 * donors that were asked for must all be spent, or there is no plan. */
#ifndef RW_TRANSFERS_H
#define RW_TRANSFERS_H

#include "arena.h"
#include "losses.h"

/* Scratch comes from the arena; false when it is too small. */
bool rw_transfers(const struct rw_exam *exam, const struct rw_states *states, const struct rw_losses *losses,
                  const struct rw_deficits *deficits, const struct rw_recovery *recovery,
                  struct rw_arena *arena, struct rw_transfers *out);

#endif
