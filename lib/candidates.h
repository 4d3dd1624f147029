/* Candidates: each transfer of the knowledge, screened for this patient and for each operation.
 *
 * A motor transfer or graft is open when its donor is usable or may be (unknown: the plan says what decides;
 * asked for by the surgeon: unless measured weak or excluded); some muscle that it reaches is lost (M3 or
 * better less likely than not, now and unaided) and denervated, or, for a transfer that divides nothing, comes
 * back with a chance below augment_returns_most; it serves a function that is lost in the same
 * sense and of which it reaches a prime mover, or strengthens one that is weakened; its suture lies nearer to
 * the muscle than the injury, unless roots are torn or it is a graft at the injury; no complete lesion probably
 * lies between suture and muscle (transfers without a graft, by the distances of the knowledge); nothing that
 * works is cut off for it, nor, until delay_beyond_days, a muscle graded moving_grade or better or one in which
 * needle EMG sees units; and its first sign can come before the window closes, with
 *   operation  = exam + decision_margin_days, or the day asked for; the second second_stage_gap_days later
 *   first sign = operation + latency + distance / rate.
 * A sensory transfer is open when its donor is, and an area that it serves is without feeling, now and unaided;
 * feeling has no window. A transfer whose donor an earlier step can give back stands in the second operation. */
#ifndef RW_CANDIDATES_H
#define RW_CANDIDATES_H

#include "donors.h"
#include "worth.h"

struct rw_patient {
    const struct rw_exam *exam;
    const struct rw_states *states;
    const struct rw_deficits *deficits;
    const struct rw_recovery *recovery;
    const struct rw_donor_status *donors; /* in the order of the model */
    struct rw_goals goals;
    uint64_t parts[RW_MAX_DONORS];         /* rw_donor_parts */
    struct rw_bars bars[RW_MAX_TRANSFERS]; /* rw_transfer_bars */
    int32_t operation_day[RW_PLAN_STAGES];
    double delay_days[RW_PLAN_STAGES]; /* onset to operation; NAN: onset not known */
    /* By place in the deficits. Lost: now, and not likely to come back unaided. */
    uint64_t lost_muscles, lost_functions, lost_areas;
    uint64_t weak_muscles; /* and those of which a transfer that divides nothing may add to what comes back */
    double returns[RW_MAX_MUSCLES];   /* P(M3 now or unaided) of a denervated muscle without power; else 1 */
    double site_mm[RW_MAX_SITES];     /* foramen to site; NAN: not known */
    double injury_mm[RW_MAX_MUSCLES]; /* of a lost muscle: way from the injury; INFINITY from torn roots */
};

void rw_patient_init(struct rw_patient *patient, const struct rw_exam *exam, const struct rw_states *states,
                     const struct rw_losses *losses, const struct rw_deficits *deficits,
                     const struct rw_recovery *recovery, const struct rw_donor_status *donors);

/* An open transfer. */
struct rw_open_transfer {
    bool given_back;           /* its donor comes from an earlier step */
    bool open[RW_PLAN_STAGES]; /* in which operations */
    uint64_t functions;        /* lost functions that it serves, by place in the deficits */
    struct rw_step step[RW_PLAN_STAGES];
    struct rw_plan_step plan[RW_PLAN_STAGES]; /* without bars and needs */
};

/* True and `out` filled when the transfer is open; else false and `because` says why not. */
bool rw_candidate_screen(const struct rw_patient *patient, uint16_t transfer, struct rw_open_transfer *out,
                         char because[160]);

/* Whether some function that it serves is lost, now and unaided, and what it moves is strong enough. */
bool rw_serves_lost(const struct rw_patient *patient, const struct rw_transfer *transfer);

#endif
