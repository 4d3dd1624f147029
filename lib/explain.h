/* Why the answer is what it is, how well it fits, and what to examine next.
 *
 * All three are averages over the case list of the posterior (localise.h); how much of the posterior the
 * list covers stands in rw_localisation.list_covers. */
#ifndef RW_EXPLAIN_H
#define RW_EXPLAIN_H

#include "localise.h"

/* Evidence of each finding: change in log10 odds of the leading hypothesis when the finding is left out
 * (importance weights 1 / P(finding | case)); which listed hypothesis it favours and disfavours most. */
void rw_explain_evidence(const struct rw_exam *exam, const struct rw_localise_result *result,
                         struct rw_localisation *out);

/* Fit: P(finding | all the others) = 1 / E[1 / P(finding | case)]. Surprise is the mean over findings of
 * 1 − P / P(most expected word); unexplained findings are those below fact unexplained_ratio of it. */
void rw_explain_fit(const struct rw_exam *exam, const struct rw_localise_result *result,
                    struct rw_localisation *out);

/* Next checks: mutual information in bits between the hypothesis and the outcome of each check that was not
 * examined and whose table says something at this time, over the heaviest 400 cases; bedside checks first,
 * most informative first. */
void rw_explain_next(const struct rw_exam *exam, const struct rw_localise_result *result,
                     struct rw_localisation *out);

#endif
