/* Why the answer is what it is, how well it fits, and what to examine next.
 *
 * All are averages over the states of the posterior (states.h): the hypotheses of the shortlist, in all
 * worlds. How much of the posterior these hold stands in rw_localisation.list_covers; what they do not hold
 * is taken to be like them. */
#ifndef RW_EXPLAIN_H
#define RW_EXPLAIN_H

#include "localise.h"
#include "states.h"

/* Evidence and fit, finding by finding.
 *
 * Evidence: log10 of the change in odds of the leading hypothesis when the finding is left out,
 *   [ P / E 1/P(finding | world) ] over the worlds of the leader, against the same over all other hypotheses;
 * exact but for hypotheses beyond the shortlist. in_favour and against: of the ten leading hypotheses, the
 * one that makes the finding most, and least, likely given all other findings; RW_NONE where all do alike.
 *
 * Fit: P(word) under the posterior, as if the exam were made once more. Surprise is the mean over findings
 * of 1 − P(recorded word) / P(likeliest word); unexplained are those recorded below
 * fact unexplained_ratio of it. */
void rw_explain_findings(const struct rw_exam *exam, const struct rw_localise_result *result,
                         const struct rw_states *states, struct rw_localisation *out);

/* Next checks: for every check that was not examined and whose table says something at this time, the mutual
 * information in bits between its outcome and where the lesion is (the set of injured sites, whatever their
 * severity), and the pair of listed hypotheses, one of them the leader, about which it tells most. Bedside
 * checks come first; among them those that repeat what was examined come last; most informative first.
 *
 * separated_by of each listed hypothesis: the check with the most information between it and the leader, were
 * these two the only ones, as probable to each other as they are. A bedside check is named unless an
 * investigation promises more than RW_FAR_BETTER times as much. */
#define RW_FAR_BETTER 3.0
void rw_explain_next(const struct rw_exam *exam, const struct rw_states *states, struct rw_localisation *out);

/* Done at the bedside, unlike an investigation. */
bool rw_check_bedside(uint16_t check);

#endif
