/* What the injury takes from each muscle, where that starts, and the chance that it comes back alone, by when.
 *
 * Averages run over states and worlds. Of several injured sites on a bundle the most proximal is where the
 * loss starts and the worst decides whether it comes back; bundles count by what they lost. Back by a day, at
 * useful power: the chance that the lesions let it come back (unaided.h) times that of being there by then, from
 * where the loss starts (regrowth.h). */
#ifndef RW_LOSSES_H
#define RW_LOSSES_H

#include "regrowth.h"
#include "states.h"
#include "unaided.h"

/* Without nerve surgery: by 12 and by 24 months after onset, and ever. */
enum rw_horizon { RW_HORIZON_12, RW_HORIZON_24, RW_HORIZON_EVER, RW_HORIZONS };

/* What is lost from one site on: mean shares. `back`: what comes back as far as the lesions let it, before the
 * way to the muscle is counted; behind partial lesions alone, and behind a complete one. */
struct rw_start {
    double lost, back[2];
};

struct rw_loss {
    uint16_t muscle;       /* or what feels, see courses */
    const uint16_t *group; /* by state: those that injure the same on the way to it */
    /* [group · worlds + world]: mean chance that what is lost comes back; `other` where nothing is lost. All
     * NAN for a horizon that has passed at the exam, and for 12 and 24 months when onset is not known. */
    const double *returns[RW_HORIZONS];
    double mean_returns[RW_HORIZONS]; /* means of `returns` */
    double denervated;                /* P(some lesion lies on the way) */
    double lost, torn;                /* mean share lost; of it behind torn roots, which do not regrow */
    double start_mm;               /* mean way from the foramen to where it starts; 0 when nowhere is known */
    const struct rw_start *starts; /* by site: parts of `lost` */
};

struct rw_losses {
    struct rw_unaided unaided;
    struct rw_regrowth regrowth;
    size_t count;
    struct rw_loss list[RW_MAX_MUSCLES]; /* all muscles, in the order of the targets */
    struct rw_loss
        courses[RW_COURSES]; /* the feeling fibres of the nerves that are percussed along the limb */
};

/* Lists live in the arena; false when it is too small. */
bool rw_losses_of(const struct rw_exam *exam, const struct rw_states *states, struct rw_arena *arena,
                  struct rw_losses *out);

/* Of one muscle; it must be one. */
const struct rw_loss *rw_loss_of(const struct rw_losses *losses, uint16_t muscle);

/* Foramen to motor point; NAN when not known. */
double rw_motor_point_mm(uint16_t muscle);

/* Foramen to every site; NAN when not known. */
void rw_site_distances(double mm[RW_MAX_SITES]);

#endif
