/* Timings of one assessment, as ratios within one run: machines differ, ratios less so.
 *
 * The yardstick is a plain evaluation of one hypothesis in one world, finding by finding, from the public
 * pieces of the engine; the ratio says how many of those the whole assessment costs, and what a plain
 * enumeration of as many hypothesis-worlds would cost instead. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "posterior.h"
#include "records.h"
#include "timing.h"

enum { RUNS = 21, PLAIN = 20000, MAX_RECORD = 1 << 18 };

static double plain_ms(const struct rw_exam *exam) {
    const struct rw_model *m = rw_model();
    struct rw_case c = {0};
    double sum = 0.0;
    const double start = cpu_ms();
    for (size_t i = 0; i < PLAIN; i++) {
        double l = 0.0;
        memset(c.severity, 0, sizeof c.severity);
        c.severity[i % m->site_count] = RW_COMPLETE;
        for (size_t f = 0; f < exam->finding_count; f++)
            if (m->checks[exam->findings[f].check].target != RW_NONE)
                l += log(rw_finding_probability(&c, &exam->findings[f], 1.0));
        sum += exp(l);
    }
    const double spent = cpu_ms() - start;
    return sum >= 0.0 ? spent / PLAIN : 0.0; /* the sum is used, so that the loop stays */
}

int main(int argc, char **argv) {
    const char *path = argc > 1 ? argv[1] : "schema/examples/demo.json";
    static char body[MAX_RECORD];
    static struct rw_exam exam;
    static struct rw_assessment out;
    struct rw_issues issues = {0};
    struct rw_error error;
    json_t *record = NULL;
    FILE *file = fopen(path, "rb");
    const size_t size = file ? fread(body, 1, sizeof body, file) : 0;
    void *workspace = malloc(rw_workspace_size());
    double ms[RUNS];
    if (file)
        fclose(file);
    if (!workspace || rw_record_parse(body, size, INT32_MAX - 2, &exam, &record, &issues) != 0) {
        fprintf(stderr, "bench: %s is not a good record\n", path);
        return 1;
    }
    for (size_t i = 0; i < RUNS; i++) {
        const double start = cpu_ms();
        if (rw_assess(&exam, workspace, rw_workspace_size(), &out, &error) != RW_OK)
            return 1;
        ms[i] = cpu_ms() - start;
    }
    qsort(ms, RUNS, sizeof ms[0], by_value);
    const double plain = plain_ms(&exam), median = ms[RUNS / 2];
    printf("%zu findings, %.3g hypothesis-worlds summed\n", exam.finding_count, out.localisation.summed);
    printf("one assessment: CPU ms median %.1f, least %.1f, most %.1f (%d runs)\n", median, ms[0],
           ms[RUNS - 1], RUNS);
    printf("one hypothesis-world, plainly: %.2f us; plain enumeration / engine: %.0f\n", 1e3 * plain,
           plain * out.localisation.summed / median);
    json_decref(record);
    rw_issues_release(&issues);
    free(workspace);
    return bench_planning();
}
