/* What the injury takes from each muscle, where that starts, and the chance that it comes back alone.
 *
 * Averages run over states and worlds. Of several injured sites on a bundle the most proximal is where the
 * loss starts and the worst decides whether it comes back; bundles count by what they lost. */
#ifndef RW_LOSSES_H
#define RW_LOSSES_H

#include "states.h"
#include "unaided.h"

struct rw_loss {
    uint16_t muscle;
    const uint16_t *group; /* by state: those that injure the same on the way to it */
    const double *returns; /* [group · worlds + world]: mean chance; `other` where nothing is lost */
    double denervated;     /* P(some lesion lies on the way) */
    double mean_returns;   /* mean of `returns` */
    double lost, torn;     /* mean share lost; of it behind torn roots, which do not regrow */
    double start_mm;       /* mean way from the foramen to where it starts; 0 when nowhere is known */
};

struct rw_losses {
    struct rw_unaided unaided;
    size_t count;
    struct rw_loss list[RW_MAX_MUSCLES]; /* all muscles, in the order of the targets */
};

/* Lists live in the arena; false when it is too small. */
bool rw_losses_of(const struct rw_exam *exam, const struct rw_states *states, struct rw_arena *arena,
                  struct rw_losses *out);

/* Of one muscle; it must be one. */
const struct rw_loss *rw_loss_of(const struct rw_losses *losses, uint16_t muscle);

/* Foramen to every site; NAN when not known. */
void rw_site_distances(double mm[RW_MAX_SITES]);

#endif
