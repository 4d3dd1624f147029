/* Several visits of one injury: the lesion stays, and what was lost at a site can only come back.
 *
 * A hypothesis h is a set of lesions as they were at the first visit (hypotheses.h, with its prior for the
 * mechanism first stated), or "no lesion", or "not a lesion of these nerves". Hidden beside it are the
 * anatomical variant a, the depth d_1 of partial loss, both as for one visit (localise.h), and the manner k
 * in which loss comes back. The state of a visit v is (x_v, d_v): the severities of h's lesions, and the
 * depth.
 *
 *   P(h | visits) ∝ P(h) Σ_{a, d_1, k} P(a) P(d_1) P(k) Σ_{paths} Π_v P(findings of v | x_v, d_v, a, k)
 *                                                        · Π_{v > 1} P(x_v, d_v | x_{v-1}, d_{v-1}, k)
 * with x_1 = h. Paths are summed exactly, by forward recursion over the severity vectors (paths.h).
 *
 * Recovery. No severity ever rises. A torn (preganglionic) root never changes. The other lesions change each
 * for itself, as follows. Let t be the days since onset (since the first visit when no onset is given), t_1
 * the first visit, and u, w the chances of unaided.h at the first visit, for a complete lesion of this level
 * and for a partial one. With the rates p and q a day of the manner, C(t) = 1 − u (1 − e^{−p (t − t_1)}) Q(t)
 * = 1 − w (1 − e^{−q (t − t_1)}) complete at first, from t to s:   stays      C(s) / C(t) partial    u p / (p
 * − q) (e^{−p (t − t_1) − q (s − t)} − e^{−p (s − t_1)}) / C(t) intact     the rest once partial: stays e^{−q
 * (s − t)},  else intact partial at first:                 stays      Q(s) / Q(t),     else intact so that a
 * visit without findings changes nothing. The depth of partial loss eases from severe to mild as a partial
 * lesion heals, stays as a partial lesion stays, and never deepens; it does not change where some torn root
 * is partial, nor where all lesions are torn roots.
 *
 * Manners. BLOCK: a conduction block lifts, with p = q = ln 2 / recovery_block_half_days. FAST, SLOW: axons
 * grow back, with p = −ln(1 − recovery_sign_share) / recovery_sign_days and q = ln 2 /
 * recovery_onward_half_days. With b = recovery_block_share, P(BLOCK) = b e^{−p_block t_1} / (b e^{−p_block
 * t_1} + (1 − b) e^{−p_grow t_1}): blocks are the first to be gone; t_1 is 0 when no onset is given. FAST and
 * SLOW share the rest alike. Regrowth takes its time: under FAST and SLOW, a target sees a lesion that was
 * complete at first as complete until latency + distance / rate days after onset, in all or none:
 * latency_low_days and the highest rate for FAST, latency_high_days and the lowest rate for SLOW (recovery.h;
 * rates times child_rate_factor for births and below child_age_years, times old_rate_factor above
 * old_age_years). Distance: site to motor point, at least least_distance_mm; of a group, movement or sign the
 * nearest muscle's; 0 where either is not known. Without an onset nothing waits.
 *
 * Findings of one visit are independent given the state. Over the visits, a finding whose cause has not
 * changed repeats itself, more than the tables say: people differ in how their nerves share muscles and skin,
 * and stay as they are. With v the word of the last earlier visit with this check, f the target's intact
 * fraction and f_1 that of the first visit, P(word w | v) = g S(v, w) / P(v) + (1 − g) P(w),   S = Σ over
 * observations o of least(W_v(o), W_w(o)) P(o), g = finding_persists (picture_persists for imaging of the
 * roots) · greatest(0, 1 − |f − f_1| / change_shows), all P at f, and W the weights with which words map to
 * observations. Where no earlier visit has the check, and where either finding was filled in or its sign was
 * still coming, P(w). "Not a lesion of these nerves" never changes, and does the same with its `outside`
 * distributions.
 *
 * Which h. The shortlists of all visits, each searched alone (its hypotheses are states of its own day, and
 * stand here as what may have been there from the first). Nothing else is summed: `covers` says which share
 * of each visit's own posterior the list holds. Marginals, changes and pace are taken over the heaviest h up
 * to a share of 1 − RW_COURSE_CUT of the joint posterior.
 *
 * Changes. p_recovered: the target's intact fraction is higher at the later visit than at the first. Better
 * and worse go by the mean intact fraction that a word speaks for, every fraction being equally likely (the
 * check's table, sharp). p_chance = (1 − finding_persists) Σ over h, a, d_1, k of their joint weight · E[P(a
 * word that speaks for at least as much as the earlier one)] · E[P(a word that speaks for at most as much as
 * the later one)], each mean over the states of its visit, given all findings.
 *
 * Pace, for the muscles of recovery.h at the first visit under the joint posterior, examined later: a visit
 * shows a sign when p_recovered is at least ½. The first sign is compared with its dates in recovery.h:
 * EARLIER when a visit shows one before the first date; LATER when a visit past the second date shows none.
 * UNCLEAR when none shows one although the last grade is higher than the first by a whole grade or more: a
 * lesion is one thing here, and muscles of it that come back apart for another reason than distance are
 * thought less likely than they are.
 */
#ifndef RW_COURSE_H
#define RW_COURSE_H

#include "paths.h"
#include "states.h"

#define RW_COURSE_CUT  1e-6
#define RW_COURSE_WORK 12e6

/* A hypothesis of the course. */
struct rw_listed {
    struct rw_hypothesis shown;
    uint8_t severity[RW_MAX_SITES];
    double log_prior;
    double best;                 /* the most that a visit alone gave it when it was searched */
    double alone[RW_MAX_VISITS]; /* what each visit alone gives it */
};

/* The changes of an ordered course, unsorted, with a probe for each that is worse, in their order. Both
 * arrays have room for RW_MAX_CHANGES. Returns the number of changes. */
size_t rw_changes_find(const struct rw_paths *paths, struct rw_change *changes, struct rw_probe *probes,
                       size_t *probe_count);
/* Puts in what the sums say, and sorts. */
void rw_changes_finish(const struct rw_paths *paths, const struct rw_sums *sums,
                       const struct rw_probe *probes, struct rw_change *changes, size_t count);

/* `states`: the joint posterior as of the first visit. False: the arena is too small. */
bool rw_course_pace(const struct rw_paths *paths, const struct rw_sums *sums, const struct rw_states *states,
                    struct rw_arena *arena, struct rw_course *out);

#endif
