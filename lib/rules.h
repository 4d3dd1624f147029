/* Rules beside the model: urgent matters, and how soon a nerve surgeon should see the patient.
 *
 * A rule holds when each of its space-separated conditions does. `condition:a|b` holds when one of the words
 * does: sign (recorded as present), mechanism, hemidiaphragm (recorded), lesion:likely (some lesion of these
 * nerves more likely than not), roots:preganglionic and severity:complete (of some root or site, more likely
 * than not), delay_over_days (exam later than so many days after a known onset). */
#ifndef RW_RULES_H
#define RW_RULES_H

#include "rootward.h"

/* Fills `urgent` and `referral` of the assessment. The soonest referral that holds is given, the first in
 * the knowledge among equals; rule RW_NONE when none holds. */
void rw_rules(const struct rw_exam *exam, const struct rw_localisation *localisation,
              struct rw_assessment *out);

#endif
