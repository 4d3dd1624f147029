/* Recovery without surgery: facts of natural history, by lesion and mechanism, at the time of the exam. */
#ifndef RW_UNAIDED_H
#define RW_UNAIDED_H

#include "posterior.h"

/* P(what a lesion took comes back alone), already lowered for the time without a sign. */
struct rw_unaided {
    double by_level[RW_LEVEL_COUNT]; /* complete lesions */
    double partial, preganglionic;
    double other; /* weak for another reason than a lesion of these nerves */
};

void rw_unaided_init(const struct rw_exam *exam, struct rw_unaided *out);

/* Of one target in one case: how much is lost, and the mean chance that it returns. With nothing lost the
 * chance is `other`. O(bundles · sites). */
struct rw_loss {
    double lost, returns; /* lost = 1 − intact fraction */
    bool uneven;          /* some partial lesion lies on its bundles */
};
bool rw_site_is_preganglionic(size_t site);
struct rw_loss rw_loss_of(const struct rw_unaided *unaided, const struct rw_case *c, uint16_t target);

#endif
