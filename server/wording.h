/* Sentences and words of an answer: plain terms of the trade, the same for the same assessment, never surer
 * than it. */
#ifndef ROOTWARD_WORDING_H
#define ROOTWARD_WORDING_H

#include "rootward.h"

#include <stddef.h>

enum { RW_SUMMARY_SIZE = 768, RW_PHRASE_SIZE = 192 };

/* "C5 and C6 torn from the cord (preganglionic); axillary nerve, partial" */
void rw_summary(const struct rw_hypothesis *hypothesis, enum rw_mechanism mechanism, char *buffer,
                size_t size);

/* "very likely", "likely", "more likely than not" … */
const char *rw_probability_word(double probability);
/* "61%", "under 1%", "over 99%" */
void rw_percent(double probability, char *buffer, size_t size);

/* What was tested: "power of the rhomboids", "skin of C5". */
void rw_check_name(uint16_t check, char *buffer, size_t size);
/* What was found: "power of the rhomboids: 5". */
void rw_check_value(uint16_t check, uint8_t value, char *buffer, size_t size);
/* Label of a check's item alone, as the knowledge words it, or the id with blanks. */
void rw_check_label(uint16_t check, char *buffer, size_t size);
const char *rw_kind_name(enum rw_target_kind kind);
/* "muscle.biceps_brachii": a target's name among all targets. Returns `buffer`. */
const char *rw_target_name(uint16_t target, char *buffer, size_t size);
/* Only what a patient must take part in can be untestable: power and feeling. */
bool rw_scale_untestable(const struct rw_scale *scale);
/* How it is tested, or NULL. */
const char *rw_check_help(uint16_t check);

const char *rw_donor_state_name(enum rw_donor_state state);
const char *rw_how_soon_name(enum rw_how_soon how_soon);
const char *rw_severity_name(uint8_t severity);

/* The text of a check's finding in an exam, or NULL when it was not recorded. */
const char *rw_observed(const struct rw_exam *exam, uint16_t check);

/* A hypothesis that the exam cannot tell from the first and that is at least a tenth as likely: the rest
 * would only say that what was not examined may be hurt as well. */
bool rw_rivals_first(const struct rw_localisation *localisation, size_t hypothesis);

#endif
