/* Candidates: each transfer of the knowledge, screened for this patient. */
#ifndef RW_CANDIDATES_H
#define RW_CANDIDATES_H

#include "posterior.h"

/* What the screening reads. */
struct rw_patient {
    const struct rw_exam *exam;
    const struct rw_posterior *posterior;
    const struct rw_deficits *deficits;
    const struct rw_recovery *recovery;
    const struct rw_donor_status *donors; /* in the order of the model */
    int32_t operation_day;
    double delay_days; /* onset to operation; NAN: onset not known */
    /* By place in the deficits. Lost: now, and not likely to come back unaided. */
    uint64_t lost_muscles, lost_functions;
    double returns[RW_MAX_MUSCLES];   /* P(M3 now or unaided) of a muscle */
    double injury_mm[RW_MAX_MUSCLES]; /* of a lost muscle: way from the injury; INFINITY from torn roots */
};

void rw_patient_init(struct rw_patient *patient, const struct rw_exam *exam,
                     const struct rw_posterior *posterior, const struct rw_deficits *deficits,
                     const struct rw_recovery *recovery, const struct rw_donor_status *donors);

/* An open transfer. */
struct rw_candidate {
    uint64_t parts;      /* donors that it spends */
    uint64_t muscles;    /* lost muscles that it reaches, by place in the deficits */
    uint64_t functions;  /* lost functions of which it reaches a prime mover, by place in the deficits */
    double strength;     /* gain in functions that are weakened, not lost */
    struct rw_step step; /* gain 0 */
};

/* True and `out` filled when the transfer is open; else false and `because` says why not. */
bool rw_candidate_screen(const struct rw_patient *patient, uint16_t transfer, struct rw_candidate *out,
                         char because[160]);

#endif
