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
 * and for a partial one. With the rates p and q a day of the manner,
 *   C(t) = 1 − u (1 − e^{−p (t − t_1)}),   Q(t) = 1 − w (1 − e^{−q (t − t_1)}),
 * and from a visit at t to the next at s a lesion
 *   complete at first   stays with C(s) / C(t);
 *                       is partial with u p / (p − q) (e^{−p (t − t_1) − q (s − t)} − e^{−p (s − t_1)}) / C(t);
 *                       is intact otherwise; once partial it stays so with e^{−q (s − t)}, else is intact;
 *   partial at first    stays with Q(s) / Q(t), else is intact.
 * So a visit without findings changes nothing. The depth of partial loss eases from severe to mild as a
 * partial lesion heals, stays as a partial lesion stays, and never deepens; it does not change where some torn
 * root is partial, nor where all lesions are torn roots.
 *
 * What a target shows. Muscles and areas of one lesion come back apart, even at like distances. So at each
 * later visit, and at each anew, a target shows what came back of its lesions with the chance
 * recovery_shows_whole where all of them that can heal are intact as it sees them, else recovery_shows_partial;
 * otherwise it stands as it was at the first visit.
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
 * fraction and f_1 that of the first visit,
 *   P(word w | v) = k A(w) + (1 − k) P'(w),   k = greatest(0, 1 − |f − f_1| / change_shows),
 *   A(w) = g S(v, w) / P(v) + n N(v, w) / P(v) + (1 − g − n) P(w)              as long as nothing changes,
 *   S = Σ over observations o of least(W_v(o), W_w(o)) P(o)                    the same once more,
 *   N = ½ Σ over classes c of Σ_{o in c} W_v(o) P(o) · Σ_{o in c} W_w(o) P(o) / P(c)    read anew within c,
 *   g = finding_persists, n = (1 − g) (1 − finding_strays),
 * for imaging of the roots g = picture_persists and n = 0. P' is what is read when much came back: an observation
 * that speaks for less than v falls to A of it, as if nothing had changed, and all others share what is left in
 * proportion to P; for words, by their weights W. All P at f (N and P' at the points of the tables' grid, linear
 * between), W the weights with which words map to observations, and classes the pairs of neighbouring
 * observations of a table, in both ways to pair them (01 23 45 and 0 12 34 5), so that a misreading is mostly
 * by one step. Where no earlier visit has the check, and where either finding was filled in or its sign was
 * still coming, P(w). "Not a lesion of these nerves" never changes, and does the same with its `outside`
 * distributions.
 *
 * Which h. The shortlists of all visits, each searched alone (its hypotheses are states of its own day, and
 * stand here as what may have been there from the first). Nothing else is summed: `covers` says which share
 * of each visit's own posterior the list holds. Marginals, changes and pace are taken over the heaviest h up
 * to a share of 1 − RW_COURSE_CUT of the joint posterior.
 *
 * Changes. p_recovered: the target shows a higher intact fraction at the later visit than at the first.
 * Better and worse go by the mean intact fraction that a word speaks for, every fraction being equally likely
 * (the check's table, sharp). p_chance = e Σ over h, a, d_1, k of their joint weight · E[P(a word that speaks
 * for at least as much as the earlier one)] · E[P(a word that speaks for at most as much as the later one)],
 * each mean over the states of its visit, given all findings; e = 1 − finding_persists, times finding_strays
 * where the two words are no neighbours.
 *
 * Pace, for the muscles of recovery.h at the first visit under the joint posterior, examined later: a visit
 * shows a sign when p_recovered is at least ½, but not while the muscle is graded no better than at first.
 * The first sign is compared with its dates in recovery.h: EARLIER when a visit shows one before the first
 * date; LATER when a visit past the second date shows none. UNCLEAR when none shows one although the last
 * grade is better than the first. Where a group was graded and not the muscle itself, the group's sign is the
 * muscle's.
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
