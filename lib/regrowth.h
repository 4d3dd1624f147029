/* How what a lesion took comes back alone, and when: a conduction block lifts, or axons grow back.
 *
 * Days count from onset. Axons from a site reach a muscle and show a first sign between
 *   latency_low  + way at the fastest rates    and    latency_high + way at the slowest,
 * every day between alike; the rates are those of the stretches that the way runs through: to the elbow, to the
 * wrist, and beyond, by distance from the foramen; all slow by old_rate_factor above old_age_years. Useful power
 * follows useful_after_sign_low_days to useful_after_sign_high_days later, every day alike. Axons that come later
 * than window_days find a muscle that is past it; where partial lesions alone took a share, those that were
 * left reach for it before (sprouting), so that it is in time.
 *
 * A block lifts in two steps, each with the half-time recovery_block_half_days; the second gives useful power.
 * Of what comes back the share recovery_block_share (recovery_block_share_<mechanism> where it is stated) was a
 * block. By the day of an exam that shows nothing back, blocks are the first to be gone (course.h):
 *   share' = b e^{−lifts t} / (b e^{−lifts t} + (1 − b) e^{−sign t}). */
#ifndef RW_REGROWTH_H
#define RW_REGROWTH_H

#include "rootward.h"

enum { RW_STRETCHES = 3 };

struct rw_regrowth {
    double rate[RW_STRETCHES][2],
        stretch_end[RW_STRETCHES]; /* mm a day, slowest first; mm from the foramen */
    double latency[2], useful[2], window, least_mm;
    double sprouts[2]; /* from onset until axons leave the lesion */
    double block;      /* share of what still comes back after the exam that is a block */
    double lifts;      /* rate a day */
    double examined;   /* days from onset to the exam; NAN: onset not known */
};

void rw_regrowth_init(const struct rw_exam *exam, struct rw_regrowth *out);

/* First sign of axons that grow from one distance from the foramen to another, over at least least_mm. Where
 * either is NAN, any day until the window closes. */
void rw_regrowth_sign(const struct rw_regrowth *r, double from_mm, double to_mm, double days[2]);

/* The part of such an interval that lies before the window closes, at least a day long; it ends there. */
void rw_regrowth_in_time(const struct rw_regrowth *r, const double sign[2], double in_time[2]);

/* P(a sign comes before the window closes | none has at the exam); `cut`: a complete lesion lies on the way, else
 * 1. */
double rw_regrowth_reaches(const struct rw_regrowth *r, const double sign[2], bool cut);

/* P(useful power `days` after onset | the lesions let it come back, nothing is back at the exam). INFINITY: ever.
 * NAN when that day has passed at the exam or onset is not known. What still comes does so within the interval
 * in time, and where that has passed in part or whole, from the exam on. */
double rw_regrowth_there_by(const struct rw_regrowth *r, const double sign[2], bool cut, double days);

/* How far axons have grown so many days after onset, at the slowest rates (0) or the fastest (1). */
double rw_regrowth_way(const struct rw_regrowth *r, double from_mm, double days, size_t pace);

#endif
