/* The front of regrowth along a nerve: where percussion should find it on the day of the exam.
 *
 * For each course whose feeling fibres are probably hurt (losses.h), over the posterior and by what is lost from
 * each site: axons leave the lesion sprouts_low_days to sprouts_high_days after onset and grow at the rates of the
 * stretches that they run through (regrowth.h), so the front lies anywhere between the slowest and the fastest
 * way, and never beyond the last point of the course. Of both the way grown and the place the middle
 * front_share of the mixture is given.
 *
 * Points of a course and their distance from the foramen are the facts front_mm.<course>.<percussion item>.
 * `expected_at`: of the points beyond where the loss likeliest starts, those between the ends of the place's
 * interval, each end moved outwards by front_tolerance_mm, and the last one before it. Compared with what was
 * tapped on the course:
 *   AHEAD          a point beyond the interval radiates;
 *   AS_EXPECTED    else, one of `expected_at` radiates (the last one before the interval counts only where none
 *                  lies within its nearer half); or some point was tapped and even the first of them need
 *                  not have been reached;
 *   BEHIND         else, one of `expected_at` was tapped;
 *   NOT_PERCUSSED  else. */
#ifndef RW_FRONT_H
#define RW_FRONT_H

#include "losses.h"

/* Fills the fronts; none where the onset is not known. */
void rw_fronts(const struct rw_exam *exam, const struct rw_losses *losses, struct rw_recovery *recovery);

#endif
