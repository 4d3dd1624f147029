/* Candidates: each transfer of the knowledge, screened for this patient. */
#ifndef RW_CANDIDATES_H
#define RW_CANDIDATES_H

#include "donors.h"
#include "losses.h"

/* What the screening reads. */
struct rw_patient {
    const struct rw_exam *exam;
    const struct rw_states *states;
    const struct rw_deficits *deficits;
    const struct rw_recovery *recovery;
    const struct rw_donor_status *donors;  /* in the order of the model */
    uint64_t parts[RW_MAX_DONORS];         /* rw_donor_parts */
    struct rw_bars bars[RW_MAX_TRANSFERS]; /* rw_transfer_bars */
    double priority[RW_MAX_FUNCTIONS];     /* by place in the deficits */
    int32_t operation_day;
    double delay_days; /* onset to operation; NAN: onset not known */
    /* By place in the deficits. Lost: now, and not likely to come back unaided. */
    uint64_t lost_muscles, lost_functions;
    double returns[RW_MAX_MUSCLES];   /* P(M3 now or unaided) of a muscle */
    double site_mm[RW_MAX_SITES];     /* foramen to site; NAN: not known */
    double injury_mm[RW_MAX_MUSCLES]; /* of a lost muscle: way from the injury; INFINITY from torn roots */
};

void rw_patient_init(struct rw_patient *patient, const struct rw_exam *exam, const struct rw_states *states,
                     const struct rw_losses *losses, const struct rw_deficits *deficits,
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
