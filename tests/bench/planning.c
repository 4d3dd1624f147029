/* Timings of the planner: screening, the problem and its exact solution, over lesions from one root to five. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "deficits.h"
#include "localise.h"
#include "recovery.h"
#include "timing.h"
#include "transfers.h"

enum { RUNS = 51, ONSET = 20000, DELAY = 90 };

/* Every muscle graded as complete lesions of these roots leave it: all donors outside them are open. */
static void examine(struct rw_exam *exam, const char *roots) {
    const struct rw_model *m = rw_model();
    *exam = (struct rw_exam){.mechanism = RW_MECHANISM_TRACTION,
                             .onset_day = ONSET,
                             .examined_day = ONSET + DELAY,
                             .age_years = 30};
    for (uint16_t c = 0; c < m->check_count; c++) {
        const struct rw_check *check = &m->checks[c];
        double left = 0.0;
        if (check->section != RW_SECTION_MOTOR || m->targets[check->target].kind != RW_TARGET_MUSCLE)
            continue;
        for (size_t b = 0; b < m->ranges[check->target].count; b++) {
            const struct rw_bundle *bundle = &m->bundles[m->ranges[check->target].first + b];
            if (strstr(roots, rw_segment_name((enum rw_segment)bundle->segment)) == NULL)
                left += bundle->weight;
        }
        const char *grade = left > 0.7 ? "5" : left > 0.4 ? "3" : left > 0.15 ? "1" : "0";
        exam->findings[exam->finding_count++] =
            (struct rw_finding){.check = c, .value = (uint8_t)rw_value_find(c, grade)};
    }
}

static int measure(const char *roots) {
    static struct rw_exam exam;
    static struct rw_localisation localisation;
    static struct rw_localise_result result;
    static struct rw_deficits deficits;
    static struct rw_recovery recovery;
    static struct rw_transfers out;
    struct rw_arena arena = {.base = malloc(rw_workspace_size()), .size = rw_workspace_size()};
    struct rw_states states;
    struct rw_losses losses;
    double ms[RUNS];
    examine(&exam, roots);
    if (arena.base == NULL || rw_localise(&exam, &arena, &localisation, &result) != RW_OK ||
        !rw_states_make(&result, &arena, &states) || !rw_losses_of(&exam, &states, &arena, &losses) ||
        !rw_deficits(&exam, &states, &losses, &arena, &deficits))
        return 1;
    rw_recovery(&exam, &losses, &deficits, &recovery);
    const size_t used = arena.used;
    for (size_t i = 0; i < RUNS; i++) {
        arena.used = used;
        const double start = cpu_ms();
        if (!rw_transfers(&exam, &states, &losses, &deficits, &recovery, &arena, &out))
            return 1;
        ms[i] = cpu_ms() - start;
    }
    qsort(ms, RUNS, sizeof ms[0], by_value);
    printf("%-15s %zu plans, %zu steps in the first: CPU ms median %.2f, least %.2f, most %.2f\n", roots,
           out.plan_count, out.plan_count > 0 ? out.plans[0].step_count : 0, ms[RUNS / 2], ms[0],
           ms[RUNS - 1]);
    free(arena.base);
    return 0;
}

int bench_planning(void) {
    static const char *const lesions[] = {"C5", "C5 C6", "C5 C6 C7", "C8 T1", "C7 C8 T1", "C5 C6 C7 C8 T1"};
    for (size_t i = 0; i < sizeof lesions / sizeof lesions[0]; i++)
        if (measure(lesions[i]) != 0)
            return 1;
    return 0;
}
