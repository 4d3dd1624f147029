#include "study.h"

#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <threads.h>

#include "stats.h"

enum { MAX_THREADS = 64 };

/* What one thread needs beside the study. */
struct desk {
    void *workspace;
    struct rw_exam exam;
    struct rw_assessment answer;
};

struct run {
    struct study *study;
    atomic_size_t next;
    atomic_bool failed;
};

static struct desk *desk_open(void) {
    struct desk *desk = calloc(1, sizeof *desk);
    if (desk != NULL && (desk->workspace = malloc(rw_workspace_size())) == NULL) {
        free(desk);
        desk = NULL;
    }
    return desk;
}

static void desk_close(struct desk *desk) {
    if (desk != NULL)
        free(desk->workspace);
    free(desk);
}

static bool assess(struct desk *desk) {
    struct rw_error error;
    return rw_assess(&desk->exam, desk->workspace, rw_workspace_size(), &desk->answer, &error) == RW_OK;
}

static bool see_patient(const struct study *study, struct desk *desk, size_t number, struct score *out) {
    struct patient patient;
    struct conditions conditions = study->conditions;
    if (study->spoil == SPOIL_OUTLIERS)
        conditions.outlier_times *= 3;
    draw_patient(study->priors, study->seed, number, &patient);
    examine(&patient, &conditions, study->practice, &desk->exam);
    if (study->spoil == SPOIL_MECHANISM)
        desk->exam.mechanism = (enum rw_mechanism)((desk->exam.mechanism + 1u) % RW_MECHANISM_COUNT);
    if (!assess(desk))
        return false;
    score_answer(&patient, &conditions, study->practice,
                 &study->priors->by_mechanism[desk->exam.mechanism]->oracle, &desk->exam, &desk->answer, out);
    return true;
}

static int work(void *argument) {
    struct run *run = argument;
    struct desk *desk = desk_open();
    size_t number;
    if (desk == NULL)
        atomic_store(&run->failed, true);
    while (!atomic_load(&run->failed) && (number = atomic_fetch_add(&run->next, 1)) < run->study->count)
        if (!see_patient(run->study, desk, number, &run->study->scores[number]))
            atomic_store(&run->failed, true);
    desk_close(desk);
    return 0;
}

bool study_run(struct study *study) {
    struct run run = {.study = study};
    thrd_t threads[MAX_THREADS];
    size_t started = 0;
    while (started < study->threads && started < MAX_THREADS &&
           thrd_create(&threads[started], work, &run) == thrd_success)
        started++;
    for (size_t i = 0; i < started; i++)
        thrd_join(threads[i], NULL);
    return started > 0 && !atomic_load(&run.failed);
}

/* ---- the prior ---- */

/* A share this small or large among the draws is not compared: the normal law would not fit it. */
#define LEAST_EXPECTED 25.0

static void compare_share(struct prior_check *check, double p, double drawn, size_t site,
                          enum rw_mechanism mechanism) {
    const double n = (double)check->draws, variance = n * p * (1 - p);
    if (variance < LEAST_EXPECTED)
        return;
    const double z = fabs(drawn - n * p) / sqrt(variance);
    check->compared++;
    if (z <= check->largest_z)
        return;
    check->largest_z = z;
    check->where = rw_model()->sites[site].id;
    check->mechanism = mechanism;
}

static void draw_severities(const struct prior *prior, struct stream *stream, size_t draws,
                            double drawn[RW_MAX_SITES][RW_COMPLETE + 1]) {
    for (size_t i = 0; i < draws; i++) {
        struct oracle_hypothesis h;
        uint8_t severity[RW_MAX_SITES];
        draw_hypothesis(stream, prior, &h);
        oracle_severities(&prior->oracle, &h, severity);
        for (size_t s = 0; s < rw_model()->site_count; s++)
            drawn[s][severity[s]]++;
    }
}

bool prior_check_run(const struct priors *priors, uint64_t seed, size_t draws, struct prior_check *out) {
    struct desk *desk = desk_open();
    bool good = desk != NULL;
    *out = (struct prior_check){.draws = draws, .where = ""};
    for (size_t m = 0; good && m < RW_MECHANISM_COUNT; m++) {
        double drawn[RW_MAX_SITES][RW_COMPLETE + 1] = {{0}};
        struct stream stream = stream_open(seed, m, PURPOSE_PRIOR, 0);
        desk->exam = (struct rw_exam){.mechanism = (enum rw_mechanism)m, .age_years = (double)NAN};
        good = assess(desk);
        draw_severities(priors->by_mechanism[m], &stream, draws, drawn);
        for (size_t s = 0; good && s < rw_model()->site_count; s++) {
            const struct rw_site_posterior *p = &desk->answer.localisation.sites[s];
            compare_share(out, p->p_complete, drawn[s][RW_COMPLETE], s, (enum rw_mechanism)m);
            compare_share(out, p->p_injured - p->p_complete, drawn[s][RW_PARTIAL], s, (enum rw_mechanism)m);
        }
    }
    out->p = fmin(1, (double)out->compared * normal_tails(out->largest_z));
    desk_close(desk);
    return good;
}
