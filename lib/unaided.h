/* Recovery without surgery: facts of natural history, by lesion and mechanism, at the time of the exam. */
#ifndef RW_UNAIDED_H
#define RW_UNAIDED_H

#include "rootward.h"

/* P(what a lesion took comes back alone), already lowered for the time without a sign. */
struct rw_unaided {
    double at[RW_MAX_SITES][RW_COMPLETE + 1]; /* by site and severity; 1 where nothing was taken */
    double other;                             /* weak for another reason than a lesion of these nerves */
};

void rw_unaided_init(const struct rw_exam *exam, struct rw_unaided *out);

#endif
