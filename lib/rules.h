/* Rules beside the model: urgent matters, and how soon a nerve surgeon should see the patient.
 *
 * A rule holds when each of its space-separated conditions does. `condition:a|b` holds when one of its words
 * does. Words, and what each needs to hold:
 *
 *   sign:ptosis                  recorded as present
 *   hemidiaphragm:paralysed      recorded so
 *   reflex:brisk                 recorded so, in any reflex
 *   mechanism:traction           recorded so; `unknown` also when none was given
 *   onset:unknown                no date of onset (of a birth palsy: no age either)
 *   delay_over_days:91           exam later than so many days after a known onset
 *   delay_within_days:91         not known to be later: so an unknown onset counts as within
 *   lesion:likely                some lesion of these nerves, more likely than not, and a finding that is
 *                                not normal
 *   roots:preganglionic          some root torn or hurt before its ganglion, more likely than not
 *   complete:anywhere            some complete lesion, wherever it is, more likely than not
 *   complete:infraclavicular     some complete lesion in one of the regions named, more likely than not
 *   motionless_over_percent:80   of the muscles beyond the branches of the roots, more than so many have M0 or
 *                                M1 more likely than not
 *   useless:elbow_flexion        this function is below M3 more likely than not
 *
 * Where a birth palsy has an age and no onset, the onset is the birth. */
#ifndef RW_RULES_H
#define RW_RULES_H

#include "rootward.h"

/* Fills `urgent` and `referral` of the assessment, of which `deficits` is filled already. The soonest
 * referral that holds is given, the first in the knowledge among equals; rule RW_NONE when none holds. */
void rw_rules(const struct rw_exam *exam, const struct rw_localisation *localisation,
              struct rw_assessment *out);

#endif
