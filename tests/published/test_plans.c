/* Published recommendations (plans.tsv) against the plans for the same patient. What is missed must stand,
 * with its reason and source, in plan_differences.tsv. */
#include "exams.h"
#include "plan_checks.h"
#include "sheet.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EXAMINED_DAY = 20000, LEAST_ROWS = 45 };
static const double least_share = 0.80;

static bool is(const struct sheet *sheet, size_t row, const char *column, const char *word) {
    return strcmp(sheet_cell(sheet, row, column), word) == 0;
}

/* The exam of a row; the number of mistakes in it, each told on stderr. */
static size_t build_exam(const struct sheet *sheet, size_t row, struct rw_exam *exam) {
    const char *id = sheet_cell(sheet, row, "id"), *days = sheet_cell(sheet, row, "examined_days"),
               *age = sheet_cell(sheet, row, "age");
    *exam = (struct rw_exam){.side = RW_SIDE_RIGHT, .examined_day = EXAMINED_DAY, .onset_day = RW_NO_DAY};
    exam->age_years = (double)NAN;
    size_t mistakes = 0;
    char *end = NULL;
    if (*days) {
        exam->onset_day = EXAMINED_DAY - (int32_t)strtol(days, &end, 10);
        mistakes += *end != '\0' || exam->onset_day < 0;
    }
    if (*age) {
        exam->age_years = strtod(age, &end);
        mistakes += *end != '\0' || exam->age_years < 0;
    }
    mistakes += !exam_mechanism(sheet_cell(sheet, row, "mechanism"), &exam->mechanism);
    if (mistakes > 0)
        fprintf(stderr, "%s: mechanism, examined_days or age\n", id);
    mistakes += exam_add(exam, sheet_cell(sheet, row, "findings"), id);
    mistakes += exam_fill(exam, sheet_cell(sheet, row, "otherwise_normal"), id);
    return mistakes;
}

/* ---- which plan holds what ---- */

/* A word of `recommended`: a transfer's id or its family; with * at the end, how one of them begins. */
static bool names(const char *word, const struct rw_transfer *t) {
    const size_t size = strlen(word);
    if (size > 0 && word[size - 1] == '*')
        return strncmp(t->id, word, size - 1) == 0 || strncmp(t->family, word, size - 1) == 0;
    return strcmp(t->id, word) == 0 || strcmp(t->family, word) == 0;
}

/* All transfers that the word names are late options (and there is one). */
static bool is_late(const char *word) {
    bool late = false;
    for (size_t i = 0; i < rw_model()->transfer_count; i++) {
        const struct rw_transfer *t = &rw_model()->transfers[i];
        if (names(word, t) && strcmp(t->kind, "late") != 0)
            return false;
        late = late || names(word, t);
    }
    return late;
}

static bool holds(const struct rw_plan *plan, const char *word) {
    for (size_t s = 0; s < plan->step_count; s++)
        if (names(word, &rw_model()->transfers[plan->steps[s].transfer]))
            return true;
    return false;
}

/* Named among the refusals as an option for later. */
static bool named_late(const struct rw_transfers *transfers, const char *word) {
    for (size_t i = 0; i < transfers->rejected_count; i++)
        if (names(word, &rw_model()->transfers[transfers->rejected[i].transfer]) &&
            strncmp(transfers->rejected[i].because, "late option", strlen("late option")) == 0)
            return true;
    return false;
}

static bool in_plan(const struct rw_transfers *transfers, const struct rw_plan *plan, const char *word) {
    return is_late(word) ? named_late(transfers, word) : holds(plan, word);
}

/* Some plan (or, where there is none, the list of late options) holds one of the words, or all of them. */
static bool planned(const struct rw_transfers *transfers, const char *recommended, bool all) {
    static const struct rw_plan nothing;
    const size_t count = transfers->plan_count > 0 ? transfers->plan_count : 1;
    for (size_t i = 0; i < count; i++) {
        const struct rw_plan *plan = transfers->plan_count > 0 ? &transfers->plans[i] : &nothing;
        const char *rest = recommended;
        char word[128];
        bool one = false, every = true;
        while (next_word(&rest, " ", word, sizeof word)) {
            const bool in = in_plan(transfers, plan, word);
            one = one || in;
            every = every && in;
        }
        if (all ? every : one)
            return true;
    }
    return false;
}

static bool met(const struct sheet *sheet, size_t row, const struct rw_transfers *transfers) {
    if (is(sheet, row, "kind", "child"))
        return !transfers->available && transfers->plan_count == 0;
    const bool found =
        planned(transfers, sheet_cell(sheet, row, "recommended"), is(sheet, row, "need", "all"));
    return is(sheet, row, "kind", "avoid") ? !found : found;
}

/* ---- what is told of a miss ---- */

static void tell_plans(const struct rw_transfers *transfers) {
    const struct rw_model *m = rw_model();
    if (transfers->because)
        fprintf(stderr, "    no transfers: %s\n", transfers->because);
    if (transfers->no_plan)
        fprintf(stderr, "    no plan: %s\n", transfers->no_plan);
    for (size_t i = 0; i < transfers->plan_count; i++) {
        fprintf(stderr, "    plan %zu:", i + 1);
        for (size_t s = 0; s < transfers->plans[i].step_count; s++)
            fprintf(stderr, " %s", m->transfers[transfers->plans[i].steps[s].transfer].id);
        fprintf(stderr, "\n");
    }
}

static void tell_refusals(const struct rw_transfers *transfers, const char *recommended) {
    char word[128];
    while (next_word(&recommended, " ", word, sizeof word)) {
        size_t known = 0;
        for (size_t i = 0; i < rw_model()->transfer_count; i++)
            known += names(word, &rw_model()->transfers[i]);
        fprintf(stderr, "    %s:", word);
        for (size_t i = 0; i < transfers->rejected_count; i++)
            if (names(word, &rw_model()->transfers[transfers->rejected[i].transfer]))
                fprintf(stderr, " [%s]", transfers->rejected[i].because);
        fprintf(stderr, "%s\n", known > 0 ? "" : " not in the knowledge");
    }
}

static size_t difference_of(const struct sheet *differences, const char *id) {
    size_t i = 0;
    while (i < differences->row_count && !is(differences, i, "id", id))
        i++;
    return i;
}

static bool assess(const struct sheet *sheet, size_t row, void *workspace, struct rw_exam *exam,
                   struct rw_assessment *out) {
    struct rw_error error = {0};
    if (build_exam(sheet, row, exam) == 0 &&
        rw_assess(exam, workspace, rw_workspace_size(), out, &error) == RW_OK)
        return true;
    fprintf(stderr, "%s: not assessed: %s %s\n", sheet_cell(sheet, row, "id"), error.pointer, error.message);
    return false;
}

/* ---- the tests ---- */

static size_t mistakes_in_words(const struct sheet *sheet, size_t row, const struct sheet *differences) {
    const char *id = sheet_cell(sheet, row, "id"), *rest = sheet_cell(sheet, row, "recommended");
    size_t mistakes = *rest == '\0';
    char word[128];
    while (next_word(&rest, " ", word, sizeof word)) {
        bool known = false, serves = *sheet_cell(sheet, row, "functions") == '\0';
        for (size_t i = 0; i < rw_model()->transfer_count; i++) {
            const struct rw_transfer *t = &rw_model()->transfers[i];
            if (!names(word, t))
                continue;
            known = true;
            for (size_t f = 0; f < t->function_count; f++)
                serves = serves || strstr(sheet_cell(sheet, row, "functions"),
                                          rw_model()->targets[t->functions[f]].id) != NULL;
        }
        const bool counts = is(sheet, row, "kind", "planned") || is(sheet, row, "kind", "late");
        if ((!known && counts && difference_of(differences, id) == differences->row_count) ||
            (known && !serves)) {
            fprintf(stderr, "%s: %s is %s\n", id, word,
                    known ? "for another function" : "no transfer of the knowledge, and not explained");
            mistakes++;
        }
    }
    return mistakes;
}

Test(plans, rows_are_complete) {
    static const char *const kinds[] = {"planned", "late", "avoid", "child", "cord", "repeat"};
    struct sheet sheet, differences;
    cr_assert(sheet_load(&sheet, "plans.tsv") && sheet_load(&differences, "plan_differences.tsv"));
    size_t mistakes = 0;
    for (size_t row = 0; row < sheet.row_count; row++) {
        struct rw_exam exam;
        bool kind = false;
        for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
            kind = kind || is(&sheet, row, "kind", kinds[k]);
        mistakes += !kind || !(is(&sheet, row, "need", "any") || is(&sheet, row, "need", "all"));
        mistakes += build_exam(&sheet, row, &exam);
        mistakes += strlen(sheet_cell(&sheet, row, "source")) < 10;
        mistakes += mistakes_in_words(&sheet, row, &differences);
    }
    for (size_t row = 0; row < differences.row_count; row++) {
        mistakes += strlen(sheet_cell(&differences, row, "reason")) < 20;
        mistakes += strlen(sheet_cell(&differences, row, "source")) < 10;
        mistakes += difference_of(&sheet, sheet_cell(&differences, row, "id")) == sheet.row_count;
    }
    cr_expect_geq(sheet.row_count, LEAST_ROWS);
    sheet_free(&differences);
    sheet_free(&sheet);
    cr_assert_eq(mistakes, 0);
}

struct tally {
    size_t counted, met, others, others_met, unexplained, stale;
};

static void count(struct tally *tally, const struct sheet *sheet, size_t row, const struct sheet *differences,
                  const struct rw_transfers *transfers) {
    const char *id = sheet_cell(sheet, row, "id");
    const bool good = met(sheet, row, transfers), main = is(sheet, row, "kind", "planned"),
               explained = difference_of(differences, id) < differences->row_count;
    tally->counted += main;
    tally->met += main && good;
    tally->others += !main;
    tally->others_met += !main && good;
    tally->unexplained += !good && !explained;
    tally->stale += good && explained;
    fprintf(stderr, "%-8s %-8s %s%s\n", id, sheet_cell(sheet, row, "kind"), good ? "met" : "missed",
            good == explained ? (good ? ", but listed as a difference" : ", NOT EXPLAINED") : "");
    if (good)
        return;
    tell_plans(transfers);
    tell_refusals(transfers, sheet_cell(sheet, row, "recommended"));
}

Test(plans, hold_the_published_recommendations) {
    struct sheet sheet, differences;
    cr_assert(sheet_load(&sheet, "plans.tsv") && sheet_load(&differences, "plan_differences.tsv"));
    void *workspace = malloc(rw_workspace_size());
    struct rw_assessment *assessment = malloc(sizeof *assessment);
    struct rw_exam *exam = malloc(sizeof *exam);
    cr_assert(workspace && assessment && exam);
    struct tally tally = {0};
    for (size_t row = 0; row < sheet.row_count; row++) {
        if (is(&sheet, row, "kind", "cord") || is(&sheet, row, "kind", "repeat"))
            continue;
        if (assess(&sheet, row, workspace, exam, assessment))
            count(&tally, &sheet, row, &differences, &assessment->transfers);
        else
            tally.unexplained++;
    }
    fprintf(stderr, "plans: %zu of %zu recommendations met (%.3f); late, avoid and child: %zu of %zu\n",
            tally.met, tally.counted, (double)tally.met / (double)tally.counted, tally.others_met,
            tally.others);
    free(exam);
    free(assessment);
    free(workspace);
    sheet_free(&differences);
    sheet_free(&sheet);
    cr_expect_eq(tally.unexplained, 0, "%zu misses stand nowhere in plan_differences.tsv", tally.unexplained);
    cr_expect_eq(tally.stale, 0, "%zu differences are none any more", tally.stale);
    cr_assert_geq((double)tally.met, least_share * (double)tally.counted);
}

Test(plans, never_do_what_must_not_be_done) {
    struct sheet sheet;
    cr_assert(sheet_load(&sheet, "plans.tsv"));
    void *workspace = malloc(rw_workspace_size());
    struct rw_assessment *assessment = malloc(sizeof *assessment);
    struct rw_exam *exam = malloc(sizeof *exam);
    cr_assert(workspace && assessment && exam);
    size_t broken = 0, plans = 0;
    for (size_t row = 0; row < sheet.row_count; row++) {
        cr_assert(assess(&sheet, row, workspace, exam, assessment));
        broken += plan_faults(exam, assessment, sheet_cell(&sheet, row, "id"));
        plans += assessment->transfers.plan_count;
    }
    free(exam);
    free(assessment);
    free(workspace);
    sheet_free(&sheet);
    cr_expect_geq(plans, LEAST_ROWS);
    cr_assert_eq(broken, 0);
}

static uint16_t transfer_named(const char *id) {
    for (uint16_t i = 0; i < rw_model()->transfer_count; i++)
        if (strcmp(rw_model()->transfers[i].id, id) == 0)
            return i;
    cr_assert_fail("no transfer %s", id);
    return RW_NONE;
}

/* Each of the checks above sees the fault that it is for, put into a plan that has none. */
Test(plans, checks_see_faults) {
    struct sheet sheet;
    cr_assert(sheet_load(&sheet, "plans.tsv"));
    void *workspace = malloc(rw_workspace_size());
    struct rw_assessment *sound = malloc(sizeof *sound), *spoilt = malloc(sizeof *spoilt);
    struct rw_exam *exam = malloc(sizeof *exam), *other = malloc(sizeof *other);
    cr_assert(workspace && sound && spoilt && exam && other);
    cr_assert(assess(&sheet, 0, workspace, exam, sound));
    const struct rw_plan *plan = &sound->transfers.plans[0];
    cr_assert_eq(plan_faults(exam, sound, "sound"), 0);
    cr_assert(sound->transfers.plan_count > 1 && plan->step_count > 1);

    *spoilt = *sound; /* a step twice: its donor is spent twice */
    spoilt->transfers.plans[0].steps[plan->step_count] = plan->steps[0];
    spoilt->transfers.plans[0].step_count++;
    cr_expect_gt(plan_faults(exam, spoilt, "twice"), 0);
    *spoilt = *sound; /* the same plan twice */
    spoilt->transfers.plans[1] = *plan;
    cr_expect_gt(plan_faults(exam, spoilt, "same"), 0);
    *spoilt = *sound; /* too late */
    spoilt->transfers.plans[0].steps[0].reinnervation[0] += 1000;
    cr_expect_gt(plan_faults(exam, spoilt, "late"), 0);
    *spoilt = *sound; /* phrenic nerve with intercostals */
    spoilt->transfers.plans[0].steps[0].transfer = transfer_named("phrenic__to__suprascapular");
    const size_t phrenic_alone = plan_faults(exam, spoilt, "phrenic");
    spoilt->transfers.plans[0].steps[1].transfer = transfer_named("intercostals__to__axillary");
    cr_expect_gt(plan_faults(exam, spoilt, "phrenic"), phrenic_alone);
    *other = *exam; /* its donor declined after all */
    other->declined[rw_model()->transfers[plan->steps[0].transfer].donor] = true;
    cr_expect_gt(plan_faults(other, sound, "declined"), 0);
    *other = *exam; /* nothing is weak after all */
    for (size_t i = 0; i < other->finding_count; i++)
        if (rw_model()->checks[other->findings[i].check].section == RW_SECTION_MOTOR)
            other->findings[i].value = (uint8_t)rw_value_find(other->findings[i].check, "5");
    cr_expect_gt(plan_faults(other, sound, "strong"), 0);
    for (size_t i = 0; i < other->finding_count; i++) /* no donor is strong */
        if (rw_model()->checks[other->findings[i].check].section == RW_SECTION_MOTOR)
            other->findings[i].value = (uint8_t)rw_value_find(other->findings[i].check, "0");
    cr_expect_gt(plan_faults(other, sound, "weak"), 0);

    free(other);
    free(exam);
    free(spoilt);
    free(sound);
    free(workspace);
    sheet_free(&sheet);
}
