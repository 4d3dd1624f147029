/* Every classic pattern of patterns.tsv must localise to its own name. */
#include "exams.h"
#include "lesion_sets.h"
#include "sheet.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EXAMINED_DAY = 20000, SHOWN = 3, LEAST_PATTERNS = 40 };

/* Takes out what was filled in although the source says that it may be weak or normal. */
static size_t forget_variable(struct rw_exam *exam, const char *checks, const char *pattern) {
    size_t mistakes = 0;
    char word[128];
    while (next_word(&checks, " ", word, sizeof word)) {
        uint16_t check = exam_check(word);
        if (check == RW_NONE) {
            fprintf(stderr, "%s: %s is not in the vocabulary\n", pattern, word);
            mistakes++;
        }
        for (size_t i = 0; i < exam->finding_count; i++) {
            if (exam->findings[i].check == check && exam->findings[i].filled_in)
                exam->findings[i--] = exam->findings[--exam->finding_count];
        }
    }
    return mistakes;
}

/* The exam of a row; the number of mistakes in it, each told on stderr. */
static size_t build_exam(const struct sheet *sheet, size_t row, struct rw_exam *exam) {
    const char *pattern = sheet_cell(sheet, row, "id");
    const char *delay = sheet_cell(sheet, row, "delay_days");
    *exam = (struct rw_exam){.side = RW_SIDE_RIGHT, .examined_day = EXAMINED_DAY, .onset_day = RW_NO_DAY};
    exam->age_years = (double)NAN;
    size_t mistakes = 0;
    if (*delay) {
        char *end = NULL;
        long days = strtol(delay, &end, 10);
        mistakes += *end != '\0' || days < 0 || days > EXAMINED_DAY;
        exam->onset_day = EXAMINED_DAY - (int32_t)days;
    }
    if (!exam_mechanism(sheet_cell(sheet, row, "mechanism"), &exam->mechanism)) {
        fprintf(stderr, "%s: unknown mechanism\n", pattern);
        mistakes++;
    }
    mistakes += exam_add(exam, sheet_cell(sheet, row, "sourced_findings"), pattern);
    mistakes += exam_add(exam, sheet_cell(sheet, row, "memory_findings"), pattern);
    mistakes += exam_fill(exam, sheet_cell(sheet, row, "otherwise_normal"), pattern);
    mistakes += forget_variable(exam, sheet_cell(sheet, row, "variable"), pattern);
    return mistakes;
}

static bool one_of(struct lesion_names *names, const char *expected, uint64_t set) {
    char word[256];
    while (next_word(&expected, "|", word, sizeof word)) {
        if (lesion_set_parse(names, word) == set)
            return true;
    }
    return false;
}

static void tell(const char *pattern, const char *expected, struct lesion_names *names,
                 const struct merged_set *merged, size_t count) {
    fprintf(stderr, "%s: expected %s, got", pattern, expected);
    for (size_t i = 0; i < count; i++) {
        bool right = one_of(names, expected, merged[i].set);
        if (i >= SHOWN && !right)
            continue;
        fprintf(stderr, "%s %s%zu: %.4f ", i ? "," : "", right ? "(expected) " : "", i + 1,
                merged[i].probability);
        lesion_set_print(names, merged[i].set);
    }
    fprintf(stderr, "\n");
}

/* Whether an expected set comes first, or cannot be told from what comes first. */
static bool localises(const char *pattern, const char *expected, const struct rw_localisation *localisation) {
    struct lesion_names names = {0};
    struct merged_set merged[RW_MAX_HYPOTHESES];
    size_t count = lesion_sets_merge(&names, localisation, merged);
    for (size_t i = 0; i < count; i++) {
        if ((i == 0 || merged[i].inseparable) && one_of(&names, expected, merged[i].set))
            return true;
    }
    tell(pattern, expected, &names, merged, count);
    return false;
}

/* Expected lesions that the model has no site for, and parts that are not level:name. */
static size_t unknown_lesions(const char *expected) {
    struct lesion_names names = {0};
    for (size_t i = 0; i < rw_model()->site_count; i++) {
        const struct rw_site *site = &rw_model()->sites[i];
        (void)lesion_element(&names, rw_level_name(site->level), site->name);
    }
    size_t known = names.count, sets = 0, mistakes = 0;
    char word[256];
    while (next_word(&expected, "|", word, sizeof word)) {
        mistakes += lesion_set_parse(&names, word) == 0;
        sets++;
    }
    return mistakes + (names.count - known) + (sets == 0);
}

Test(patterns, rows_are_complete) {
    struct sheet sheet;
    cr_assert(sheet_load(&sheet, "patterns.tsv"));
    size_t mistakes = 0;
    struct rw_exam exam;
    for (size_t row = 0; row < sheet.row_count; row++) {
        mistakes += build_exam(&sheet, row, &exam);
        mistakes += *sheet_cell(&sheet, row, "sourced_findings") == '\0';
        mistakes += strlen(sheet_cell(&sheet, row, "source")) < 10;
        mistakes += unknown_lesions(sheet_cell(&sheet, row, "expected"));
    }
    cr_expect_geq(sheet.row_count, LEAST_PATTERNS);
    sheet_free(&sheet);
    cr_assert_eq(mistakes, 0);
}

Test(patterns, localise_to_their_own_name) {
    struct sheet sheet;
    cr_assert(sheet_load(&sheet, "patterns.tsv"));
    size_t size = rw_workspace_size(), failures = 0;
    void *workspace = malloc(size);
    struct rw_assessment *assessment = malloc(sizeof *assessment);
    cr_assert(workspace && assessment);
    for (size_t row = 0; row < sheet.row_count; row++) {
        const char *pattern = sheet_cell(&sheet, row, "id");
        struct rw_exam exam;
        struct rw_error error = {0};
        if (build_exam(&sheet, row, &exam) != 0 ||
            rw_assess(&exam, workspace, size, assessment, &error) != RW_OK) {
            fprintf(stderr, "%s: not assessed: %s %s\n", pattern, error.pointer, error.message);
            failures++;
            continue;
        }
        failures += !localises(pattern, sheet_cell(&sheet, row, "expected"), &assessment->localisation);
    }
    fprintf(stderr, "patterns: %zu of %zu localise to their own name\n", sheet.row_count - failures,
            sheet.row_count);
    free(assessment);
    free(workspace);
    sheet_free(&sheet);
    cr_assert_eq(failures, 0, "%zu patterns do not localise to their own name", failures);
}
