/* Donors: which nerves may be given up, and why not the others. */
#ifndef RW_DONORS_H
#define RW_DONORS_H

#include "deficits.h"

/* Of every donor, those that it is made of (or stands for), as a mask over donor indices: its own bit, or the
 * bits of the donors that its `nerve` names. Two donors that share a bit are never spent together. */
void rw_donor_parts(uint64_t parts[RW_MAX_DONORS]);

/* The donors and transfers that a transfer's row excludes, one bit each. */
struct rw_bars {
    uint64_t donors, transfers[2];
};
_Static_assert(RW_MAX_DONORS <= 64 && RW_MAX_TRANSFERS <= 128, "one bit for each donor and transfer");
void rw_transfer_bars(struct rw_bars bars[RW_MAX_TRANSFERS]);

/* The state of every donor, in the order of the model:
 *   excluded  already used (it, or a part of it), declined, left out as asked, on the chest with rib fractures,
 *             or of the chest or diaphragm in a breathless patient
 *   weak      a test muscle was graded and is not surely M4
 *   involved  P(M4 or better) of a test muscle is below one half: its nerve is likely injured; or it was not
 *             examined and the injury took donor_involved_named of its fibres; or a stump that is less likely
 *             there than not
 *   usable    no test in this limb and outside the injured nerves; or every test muscle has P(M4 or better) of
 *             at least strong_donor_probability and its own muscle, the first, was examined
 *   unknown   all else; `decided_by` says what to examine
 * p_strong is the smallest P(M4 or better) of the test muscles, or P(feeling) of the skin tested
 * (untested_donor_strong without tests); of a stump P(there is one) · stump_usable. */
void rw_donor_states(const struct rw_exam *exam, const struct rw_states *states,
                     const struct rw_losses *losses, const struct rw_deficits *deficits,
                     struct rw_donor_status out[RW_MAX_DONORS]);

#endif
