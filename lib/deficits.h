/* Deficits: what each function, muscle and skin area can do now, and what is likely to come back alone.
 *
 * Everything is averaged over the states of the posterior. What the examiner graded (not filled in) stands
 * as it was graded: a muscle, a movement, and, for each part of a group, a group without any power or
 * with full power. A function is the sum of its muscles by their shares; a graded muscle enters with the mean
 * intact fraction that its grade speaks for (uniform over fractions, table motor_muscle). No function is
 * taken to be stronger than the strongest of its prime movers: substitutes alone do not
 * make it useful unless the movement itself was graded so.
 *
 * P(regains M3 unaided) of a function is, over the states,
 *   P(M3 now) + (1 − P(M3 now)) · r,   r = Σ lost · u / Σ lost   over the bundles of its muscles,
 * with u the facts unaided_* for the worst site on the bundle, lowered for the time that has passed without a
 * sign: u' = u·s / (u·s + 1 − u), s = (1 − recovery_sign_share) ^ (days since onset / recovery_sign_days). */
#ifndef RW_DEFICITS_H
#define RW_DEFICITS_H

#include "losses.h"

enum { RW_GRADES = 6, RW_GRADE_USEFUL = 3, RW_GRADE_STRONG = 4 };

/* What the examiner said of a muscle's power. */
struct rw_measured {
    bool given;              /* graded itself, or spoken for by its group or the hemidiaphragm */
    bool examined;           /* given, or graded in a group, or filled in as normal */
    const char *word;        /* the recorded value; NULL when not given */
    double grade[RW_GRADES]; /* given: the share of each grade */
};
void rw_measure(const struct rw_exam *exam, uint16_t muscle, struct rw_measured *out);

/* Scratch comes from the arena; false when it is too small. */
bool rw_deficits(const struct rw_exam *exam, const struct rw_states *states, const struct rw_losses *losses,
                 struct rw_arena *arena, struct rw_deficits *out);

/* The state of a muscle in the deficits, or NULL. */
const struct rw_muscle_state *rw_muscle_state_of(const struct rw_deficits *deficits, uint16_t muscle);
/* The state of a function in the deficits, or NULL. */
const struct rw_function_deficit *rw_function_deficit_of(const struct rw_deficits *deficits,
                                                         uint16_t function);

#endif
