/* Simulated patients whose truth is known: is the posterior calibrated, and what does it lose where the world
 * departs from the model? Exit status: 0 passed, 1 failed, 2 could not be run. */
#include <errno.h>
#include <getopt.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "report.h"

enum { PRIOR_DRAWS = 20000, QUICK_PATIENTS = 300 };

struct options {
    size_t patients, row_patients, threads;
    uint64_t seed;
    bool quick;
    enum spoil spoil;
    const char *folder, *tables;
};

static const char *const spoil_names[SPOIL_COUNT] = {
#define X(name, text) text,
    SPOILS(X)
#undef X
};

static const char usage[] =
    "usage: calibrate [--quick] [--patients N] [--row-patients N] [--seed N] [--threads N]\n"
    "                 [--spoil mechanism|outliers] [--folder DIR] [--tables FILE]\n"
    "  --patients      simulated patients for ranks, sets and scores (10000)\n"
    "  --row-patients  patients in each row of the robustness table (1000; 0: no table)\n"
    "  --quick         300 patients, no table, unless a later option says otherwise; and a verdict that "
    "fails at\n"
    "                  p <= 0.001 instead of 0.01\n"
    "  --spoil         a deliberate fault, which the verdict has to find\n"
    "  --folder        where report.txt and the figures go (build/calibrate)\n"
    "  --tables        the file with the outlier shares (lib/knowledge/tables.tsv)\n";

static bool read_count(const char *text, uint64_t most, uint64_t *out) {
    char *end;
    errno = 0;
    *out = strtoull(text, &end, 10);
    return errno == 0 && end != text && *end == '\0' && text[0] != '-' && *out <= most;
}

static bool read_spoil(const char *text, enum spoil *out) {
    for (size_t i = 0; i < SPOIL_COUNT; i++)
        if (strcmp(text, spoil_names[i]) == 0) {
            *out = (enum spoil)i;
            return true;
        }
    return false;
}

static void make_quick(struct options *o) {
    o->quick = true;
    o->patients = QUICK_PATIENTS;
    o->row_patients = 0;
}

static bool read_options(int argc, char **argv, struct options *o) {
    static const struct option known[] = {{"patients", required_argument, NULL, 'n'},
                                          {"row-patients", required_argument, NULL, 'r'},
                                          {"seed", required_argument, NULL, 's'},
                                          {"threads", required_argument, NULL, 't'},
                                          {"spoil", required_argument, NULL, 'x'},
                                          {"folder", required_argument, NULL, 'f'},
                                          {"tables", required_argument, NULL, 'k'},
                                          {"quick", no_argument, NULL, 'q'},
                                          {NULL, 0, NULL, 0}};
    const long cores = sysconf(_SC_NPROCESSORS_ONLN);
    bool good = true;
    int option;
    uint64_t number = 0;
    *o = (struct options){.patients = 10000,
                          .row_patients = 1000,
                          .threads = cores > 0 ? (size_t)cores : 1,
                          .seed = 20180418,
                          .folder = "build/calibrate",
                          .tables = "lib/knowledge/tables.tsv"};
    while (good && (option = getopt_long(argc, argv, "", known, NULL)) != -1) {
        const bool counts = option == 'n' || option == 'r' || option == 't' || option == 's';
        good = !counts || read_count(optarg, option == 's' ? UINT64_MAX : 10000000, &number);
        if (option == 'n')
            o->patients = (size_t)number;
        else if (option == 'r')
            o->row_patients = (size_t)number;
        else if (option == 't')
            o->threads = (size_t)number;
        else if (option == 's')
            o->seed = number;
        else if (option == 'x')
            good = read_spoil(optarg, &o->spoil);
        else if (option == 'f')
            o->folder = optarg;
        else if (option == 'k')
            o->tables = optarg;
        else if (option == 'q')
            make_quick(o);
        else
            good = false;
    }
    return good && optind == argc && o->patients >= 100 && o->threads > 0;
}

static const struct row departures[] = {
    {.label = "none: as the model states", .conditions = {PROTOCOL_BEDSIDE, 0, 1}},
    {.label = "root weights, log-normal noise 0.25", .conditions = {PROTOCOL_BEDSIDE, 0.25, 1}},
    {.label = "root weights, log-normal noise 0.5", .conditions = {PROTOCOL_BEDSIDE, 0.5, 1}},
    {.label = "twice the outliers", .conditions = {PROTOCOL_BEDSIDE, 0, 2}},
    {.label = "noise 0.5 and twice the outliers", .conditions = {PROTOCOL_BEDSIDE, 0.5, 2}},
    {.label = "abnormal findings and \"otherwise normal\" alone",
     .conditions = {PROTOCOL_ABNORMAL_ONLY, 0, 1}},
    {.label = "skin alone (no departure)", .conditions = {PROTOCOL_SKIN, 0, 1}},
    {.label = "motor alone (no departure)", .conditions = {PROTOCOL_MOTOR, 0, 1}},
};
enum { ROWS = sizeof departures / sizeof *departures };

static bool run_rows(struct report *report, const struct study *base, size_t patients) {
    struct row rows[ROWS];
    struct study study = *base;
    struct score *scores = calloc(ROWS * patients, sizeof *scores);
    bool good = scores != NULL;
    study.count = patients;
    study.seed = base->seed + 1;
    for (size_t r = 0; good && r < ROWS; r++) {
        rows[r] = departures[r];
        rows[r].scores = study.scores = scores + r * patients;
        study.conditions = rows[r].conditions;
        good = study_run(&study);
    }
    if (good)
        report_robustness(report, rows, ROWS, patients);
    free(scores);
    return good;
}

static bool run(const struct options *o, struct report *report) {
    struct priors priors;
    struct practice practice;
    struct prior_check check;
    struct study study = {.priors = &priors,
                          .practice = &practice,
                          .conditions = {PROTOCOL_MIXED, 0, 1},
                          .spoil = o->spoil,
                          .seed = o->seed,
                          .count = o->patients,
                          .threads = o->threads,
                          .scores = calloc(o->patients, sizeof(struct score))};
    bool good = priors_open(&priors) && study.scores != NULL && practice_open(&practice, o->tables);
    fprintf(report->text,
            "Calibration of Rootward %s\nknowledge %s\nseed %" PRIu64 ", %zu simulated patients%s%s\n\n",
            RW_VERSION, rw_model()->digest, o->seed, o->patients,
            o->spoil == SPOIL_NONE ? "" : ", SPOILT ON PURPOSE: ",
            o->spoil == SPOIL_NONE ? "" : spoil_names[o->spoil]);
    good = good && prior_check_run(&priors, o->seed, PRIOR_DRAWS, &check) && study_run(&study);
    if (good) {
        report_prior(report, &check);
        report_findings(report, &study);
        report_ranks(report, &study);
        report_sets(report, &study);
        report_scores(report, &study);
        report_leader(report, &study);
    }
    if (good && o->row_patients > 0)
        good = run_rows(report, &study, o->row_patients);
    report_verdict(report);
    free(study.scores);
    priors_close(&priors);
    return good;
}

static bool save(const char *folder, const char *text) {
    char path[512];
    snprintf(path, sizeof path, "%s/report.txt", folder);
    FILE *file = fopen(path, "w");
    if (file == NULL)
        return false;
    const bool good = fputs(text, file) >= 0;
    return fclose(file) == 0 && good;
}

int main(int argc, char **argv) {
    struct options o;
    char *text = NULL;
    size_t size = 0;
    if (!read_options(argc, argv, &o)) {
        fputs(usage, stderr);
        return 2;
    }
    struct report report = {
        .text = open_memstream(&text, &size), .folder = o.folder, .least_p = o.quick ? 0.001 : 0.01};
    if (report.text == NULL || (mkdir(o.folder, 0777) != 0 && errno != EEXIST)) {
        fprintf(stderr, "calibrate: %s: %s\n", o.folder, strerror(errno));
        return 2;
    }
    bool good = run(&o, &report) && !report.broken;
    good = fclose(report.text) == 0 && good;
    if (good) {
        fputs(text, stdout);
        good = save(o.folder, text);
    }
    free(text);
    if (!good) {
        fputs("calibrate: could not be run to its end\n", stderr);
        return 2;
    }
    return report.faults > 0 ? 1 : 0;
}
