/* Recovery without surgery: facts of natural history, by lesion and mechanism, at the time of the exam. */
#ifndef RW_UNAIDED_H
#define RW_UNAIDED_H

#include "states.h"

/* P(what a lesion took comes back alone), already lowered for the time without a sign. */
struct rw_unaided {
    double at[RW_MAX_SITES][RW_COMPLETE + 1]; /* by site and severity; 1 where nothing was taken */
    double other;                             /* weak for another reason than a lesion of these nerves */
};

void rw_unaided_init(const struct rw_exam *exam, struct rw_unaided *out);

/* Mean chance that what each group of states lost of a target returns, by world: of the sites on a bundle the
 * worst counts, bundles count by what they lost. With nothing lost it is `other`. The groups are those of
 * rw_sites_to_any(target). */
void rw_unaided_returns(const struct rw_unaided *unaided, uint16_t target, const struct rw_groups *groups,
                        double returns[][RW_MAX_WORLDS]);

#endif
