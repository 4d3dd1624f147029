/* Exams out of the words of a table. What the vocabulary does not hold is told on stderr, with the id of the
 * row, and counted. */
#ifndef ROOTWARD_TESTS_EXAMS_H
#define ROOTWARD_TESTS_EXAMS_H

#include <rootward.h>

bool exam_mechanism(const char *word, enum rw_mechanism *mechanism);

/* The check named "section.item", or RW_NONE. */
uint16_t exam_check(const char *word);

/* Adds "section.item=value section.item=value …"; "0=deltoid,supraspinatus" grades several muscles alike, and
 * "declined=spinal_accessory,phrenic" takes donors out. The number of mistakes. */
size_t exam_add(struct rw_exam *exam, const char *findings, const char *row);

/* Fills in the sections named, of motor, sensation, reflexes and signs. The number of mistakes. */
size_t exam_fill(struct rw_exam *exam, const char *sections, const char *row);

#endif
