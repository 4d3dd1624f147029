/* What the benches share. */
#ifndef RW_BENCH_TIMING_H
#define RW_BENCH_TIMING_H

#include <stddef.h>
#include <stdlib.h>
#include <time.h>

static inline double cpu_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return 1e3 * (double)now.tv_sec + 1e-6 * (double)now.tv_nsec;
}

static inline int by_value(const void *a, const void *b) {
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Prints the timings of the planner; 0 when all went well. */
int bench_planning(void);

#endif
