/* Deficits: what each function, muscle and skin area can do now, and what is likely to come back alone.
 *
 * Everything is averaged over the states of the posterior. What the examiner graded (not filled in) stands
 * as it was graded: a muscle, a movement, and, for each part of a group, a group without any power, with
 * full power, or at any grade when its parts share a nerve. A function is made of its muscles as functions.h says; a graded muscle enters with the
 * fraction whose mean grade (table motor_muscle) is the grade given.
 *
 * P(M3 unaided) of a function is, over the states,
 *   P(M3 now) + (1 − P(M3 now)) · r,   r = Σ lost · u / Σ lost   over the bundles of its muscles,
 * and P(M4 unaided) likewise with r · unaided_m4_given_m3, where u are the facts unaided_* for the worst site
 * on the bundle, lowered for the time that has passed without a sign:
 *   u' = u·s / (u·s + 1 − u), s = (1 − recovery_sign_share) ^ (days since onset / recovery_sign_days). */
#ifndef RW_DEFICITS_H
#define RW_DEFICITS_H

#include "functions.h"
#include "losses.h"

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

/* Expected grade of a function and its chances of M3 and M4 at the mean intact fractions of its muscles, as if
 * `spends` were given up. Allocates nothing; about a microsecond. */
struct rw_function_power {
    double grade, p_useful, p_strong;
};
void rw_function_power(const struct rw_deficits *deficits, uint16_t function, const struct rw_spend *spends,
                       size_t count, struct rw_function_power *out);

#endif
