/* Written from the meaning of the tables alone, without the planner's own functions. */
#include "plan_checks.h"

#include "sheet.h"

#include <stdio.h>
#include <string.h>

static const struct rw_transfer *transfer_at(const struct rw_plan *plan, size_t step) {
    return &rw_model()->transfers[plan->steps[step].transfer];
}

static size_t fault(const char *row, const char *what, const char *transfer) {
    fprintf(stderr, "%s: %s: %s\n", row, transfer, what);
    return 1;
}

/* Donors that a donor is made of, or stands for, as bits; itself when its nerve names none. */
static uint64_t parts_of(uint16_t donor) {
    const struct rw_model *m = rw_model();
    const char *rest = m->donors[donor].nerve;
    char word[128];
    uint64_t parts = 0;
    while (next_word(&rest, " ", word, sizeof word))
        for (uint16_t d = 0; d < m->donor_count; d++)
            if (d != donor && strcmp(m->donors[d].id, word) == 0)
                parts |= UINT64_C(1) << d;
    return parts == 0 ? UINT64_C(1) << donor : parts;
}

static bool has_donor(const struct rw_plan *plan, const char *id) {
    for (size_t s = 0; s < plan->step_count; s++)
        if (strcmp(rw_model()->donors[transfer_at(plan, s)->donor].id, id) == 0)
            return true;
    return false;
}

/* The first digit of the grade recorded for a muscle or, where it has none, for a group with it; -1: none. */
static int graded(const struct rw_exam *exam, uint16_t muscle) {
    const struct rw_model *m = rw_model();
    int grade = -1;
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->section != RW_SECTION_MOTOR)
            continue;
        const int given = m->scales[check->scale].values[exam->findings[i].value].text[0] - '0';
        if (check->target == muscle)
            return given;
        for (size_t k = 0; k < m->member_count; k++)
            if (m->members[k].owner == check->target && m->members[k].muscle == muscle)
                grade = given;
    }
    return grade;
}

static size_t faults_of_donors(const struct rw_exam *exam, const struct rw_assessment *a,
                               const struct rw_plan *plan, const char *row) {
    const struct rw_model *m = rw_model();
    uint64_t spent = 0;
    size_t faults = 0;
    for (size_t s = 0; s < plan->step_count; s++) {
        const struct rw_transfer *t = transfer_at(plan, s);
        const struct rw_donor *donor = &m->donors[t->donor];
        const uint64_t parts = parts_of(t->donor);
        if (spent & parts)
            faults += fault(row, "its donor is spent twice", t->id);
        spent |= parts;
        for (uint16_t d = 0; d < m->donor_count; d++)
            if ((exam->declined[d] || exam->used[d]) && (parts_of(d) & parts))
                faults += fault(row, "its donor is declined or used", t->id);
        if (a->transfers.donors[t->donor].state == RW_DONOR_EXCLUDED)
            faults += fault(row, "its donor is excluded", t->id);
        for (size_t k = 0; k < donor->test_count; k++) {
            const int grade = graded(exam, donor->tests[k]);
            if (grade >= 0 && grade < 4 && t->after[0] == '\0')
                faults += fault(row, "a muscle that its donor needs strong was graded below M4", t->id);
        }
    }
    if (has_donor(plan, "phrenic") && has_donor(plan, "intercostals"))
        faults += fault(row, "phrenic nerve with intercostals", "plan");
    return faults;
}

/* Cutting a nerve whose muscle was graded M3 or better; or reaching nothing but such muscles. */
static size_t faults_of_muscles(const struct rw_exam *exam, const struct rw_plan *plan, const char *row) {
    size_t faults = 0;
    for (size_t s = 0; s < plan->step_count; s++) {
        const struct rw_transfer *t = transfer_at(plan, s);
        size_t useful = 0;
        for (size_t k = 0; k < t->muscle_count; k++)
            useful += graded(exam, t->muscles[k]) >= 3;
        if (useful > 0 && (t->cuts || useful == t->muscle_count))
            faults += fault(row, "for a muscle that was graded M3 or better", t->id);
    }
    return faults;
}

static int32_t window_of(const struct rw_recovery *recovery, const struct rw_transfer *t) {
    int32_t last = RW_NO_DAY;
    for (size_t i = 0; i < recovery->muscle_count; i++)
        for (size_t k = 0; k < t->muscle_count; k++)
            if (recovery->muscles[i].muscle == t->muscles[k] && recovery->muscles[i].window_closes > last)
                last = recovery->muscles[i].window_closes;
    return last;
}

static size_t faults_of_dates(const struct rw_exam *exam, const struct rw_assessment *a,
                              const struct rw_plan *plan, const char *row) {
    size_t faults = 0;
    for (size_t s = 0; s < plan->step_count && exam->onset_day != RW_NO_DAY; s++) {
        const struct rw_transfer *t = transfer_at(plan, s);
        const int32_t first = plan->steps[s].reinnervation[0], closes = window_of(&a->recovery, t);
        if (t->muscle_count > 0 && (first == RW_NO_DAY || closes == RW_NO_DAY || first > closes))
            faults += fault(row, "regrowth comes after the window has closed", t->id);
        if (t->muscle_count > 0 && first <= exam->examined_day)
            faults += fault(row, "regrowth before the operation", t->id);
    }
    return faults;
}

/* The families of a plan, as bits over the first transfer of each. */
static void families_of(const struct rw_plan *plan, uint64_t families[2]) {
    const struct rw_model *m = rw_model();
    families[0] = families[1] = 0;
    for (size_t s = 0; s < plan->step_count; s++) {
        size_t first = 0;
        while (strcmp(m->transfers[first].family, transfer_at(plan, s)->family) != 0)
            first++;
        families[first / 64] |= UINT64_C(1) << (first % 64);
    }
}

size_t plan_faults(const struct rw_exam *exam, const struct rw_assessment *assessment, const char *row) {
    const struct rw_transfers *transfers = &assessment->transfers;
    uint64_t families[RW_MAX_PLANS][2];
    size_t faults = 0;
    for (size_t i = 0; i < transfers->plan_count; i++) {
        const struct rw_plan *plan = &transfers->plans[i];
        faults += faults_of_donors(exam, assessment, plan, row) + faults_of_muscles(exam, plan, row) +
                  faults_of_dates(exam, assessment, plan, row);
        for (size_t s = 0; s < plan->step_count; s++)
            if (strcmp(transfer_at(plan, s)->kind, "late") == 0)
                faults += fault(row, "a late option is planned", transfer_at(plan, s)->id);
        families_of(plan, families[i]);
        for (size_t k = 0; k < i; k++)
            if (families[k][0] == families[i][0] && families[k][1] == families[i][1])
                faults += fault(row, "two plans differ in approach alone", "plan");
    }
    return faults;
}
