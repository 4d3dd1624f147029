/* Feeling of the skin, and the sympathetic supply: what is lost, and whether protective feeling comes back.
 *
 * An area says what was recorded where it was tested, else what its table predicts. Absent leaves no protective
 * feeling, reduced leaves it with the chance of fact protective_when_reduced. P(protective feeling, now or ever)
 * is, over the states, now + (1 − now) · r, with r as for muscles (losses.h): the worst chance on each bundle,
 * by what the bundles lost. */
#ifndef RW_FEELING_H
#define RW_FEELING_H

#include "states.h"
#include "unaided.h"

/* Fills the areas and the sympathetic part of the deficits. */
void rw_feeling(const struct rw_exam *exam, const struct rw_states *states, const struct rw_unaided *unaided,
                struct rw_deficits *out);

#endif
