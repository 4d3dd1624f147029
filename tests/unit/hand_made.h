/* Hand-made exams and posteriors over the real model, for the tests of deficits, recovery and transfers. */
#ifndef RW_TEST_HAND_MADE_H
#define RW_TEST_HAND_MADE_H

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "deficits.h"
#include "losses.h"
#include "recovery.h"

#define EXACT 1e-12 /* a few roundings */

static inline struct rw_exam *new_exam(enum rw_mechanism mechanism, int32_t onset, int32_t examined) {
    struct rw_exam *exam = calloc(1, sizeof *exam);
    exam->mechanism = mechanism;
    exam->onset_day = onset;
    exam->examined_day = examined;
    exam->age_years = 30;
    return exam;
}

static inline void give(struct rw_exam *exam, enum rw_section section, const char *item, const char *value) {
    const uint16_t check = rw_check_find(section, item);
    cr_assert_neq(check, RW_NONE, "no check %s", item);
    const uint16_t v = rw_value_find(check, value);
    cr_assert_neq(v, RW_NONE, "no value %s of %s", value, item);
    exam->findings[exam->finding_count++] = (struct rw_finding){.check = check, .value = (uint8_t)v};
}

/* "deltoid=0 biceps_brachii=4-" */
static inline void give_motor(struct rw_exam *exam, const char *grades) {
    char text[1024];
    cr_assert_lt(strlen(grades), sizeof text);
    memcpy(text, grades, strlen(grades) + 1);
    char *rest = NULL;
    for (char *word = strtok_r(text, " ", &rest); word != NULL; word = strtok_r(NULL, " ", &rest)) {
        char *equals = strchr(word, '=');
        *equals = '\0';
        give(exam, RW_SECTION_MOTOR, word, equals + 1);
    }
}

/* The engine's assessment, on the heap. */
static inline struct rw_assessment *assess(const struct rw_exam *exam) {
    struct rw_assessment *out = calloc(1, sizeof *out);
    struct rw_error error;
    void *workspace = malloc(rw_workspace_size());
    cr_assert_eq(rw_assess(exam, workspace, rw_workspace_size(), out, &error), RW_OK, "%s %s", error.pointer,
                 error.message);
    free(workspace);
    return out;
}

/* One value of a check's scale for each observation that it can stand for alone; returns their number. */
static inline size_t pure_values(uint16_t check, uint8_t values[UINT8_MAX]) {
    const struct rw_scale *scale = &rw_model()->scales[rw_model()->checks[check].scale];
    bool seen[UINT8_MAX] = {false};
    size_t count = 0;
    for (uint8_t v = 0; v < scale->value_count; v++)
        if (scale->values[v].count == 1 && !seen[scale->values[v].observation[0]]) {
            seen[scale->values[v].observation[0]] = true;
            values[count++] = v;
        }
    return count;
}

/* Probability that an answer gives a hypothesis, or 0 when it does not list it. */
static inline double probability_of(const struct rw_assessment *a, const struct rw_hypothesis *h) {
    for (size_t i = 0; i < a->localisation.hypothesis_count; i++) {
        const struct rw_hypothesis *x = &a->localisation.hypotheses[i];
        if (x->kind == h->kind && x->lesion_count == h->lesion_count &&
            memcmp(x->lesions, h->lesions, h->lesion_count * sizeof h->lesions[0]) == 0)
            return x->probability;
    }
    return 0.0;
}

static inline uint8_t site_of(const char *id) {
    for (size_t i = 0; i < rw_model()->site_count; i++)
        if (strcmp(rw_model()->sites[i].id, id) == 0)
            return (uint8_t)i;
    cr_assert_fail("no site %s", id);
    return 0xff;
}

static inline uint16_t muscle_of(const char *id) {
    const uint16_t muscle = rw_target_find(RW_TARGET_MUSCLE, id);
    cr_assert_neq(muscle, RW_NONE, "no muscle %s", id);
    return muscle;
}

/* The commonest anatomy. */
static inline uint16_t usual_variant(void) {
    size_t best = 0;
    for (size_t i = 1; i < rw_model()->variant_count; i++)
        if (rw_model()->variants[i].prevalence > rw_model()->variants[best].prevalence)
            best = i;
    return (uint16_t)best;
}

/* Complete lesions of the named sites (space-separated), in the commonest anatomy. */
static inline struct rw_case complete_at(double weight, const char *sites) {
    struct rw_case c = {.weight = weight, .variant = usual_variant()};
    char text[512];
    cr_assert_lt(strlen(sites), sizeof text);
    memcpy(text, sites, strlen(sites) + 1);
    char *rest = NULL;
    for (char *word = strtok_r(text, " ", &rest); word != NULL; word = strtok_r(NULL, " ", &rest))
        c.severity[site_of(word)] = RW_COMPLETE;
    return c;
}

/* Hand-made cases as the states that predictions are averaged over, with the memory that they live in. */
struct hand_made {
    struct rw_arena arena;
    struct rw_states states;
    struct rw_losses losses;
};

static inline struct hand_made *states_from(const struct rw_exam *exam, const struct rw_case *cases,
                                            size_t count) {
    struct hand_made *h = calloc(1, sizeof *h);
    h->arena.size = (size_t)32 << 20;
    h->arena.base = malloc(h->arena.size);
    struct rw_state *list = rw_arena_take(&h->arena, count, sizeof *list);
    memset(list, 0, count * sizeof *list);
    for (size_t i = 0; i < count; i++) {
        list[i].outside = cases[i].outside;
        list[i].weight[rw_world_of(cases[i].variant, cases[i].depth)] = cases[i].weight;
        for (size_t s = 0; s < rw_model()->site_count; s++)
            if (cases[i].severity[s] != RW_INTACT)
                rw_sites_add(cases[i].severity[s] == RW_PARTIAL ? &list[i].partial : &list[i].complete, s);
    }
    h->states = (struct rw_states){
        .list = list, .count = count, .world_count = RW_DEPTHS * rw_model()->variant_count, .covers = 1.0};
    cr_assert(rw_states_see(&h->states, &h->arena));
    cr_assert(rw_losses_of(exam, &h->states, &h->arena, &h->losses));
    return h;
}

static inline void free_states(struct hand_made *h) {
    free(h->arena.base);
    free(h);
}

static inline const struct rw_table *table_of(const char *id) {
    for (size_t i = 0; i < rw_model()->table_count; i++)
        if (strcmp(rw_model()->tables[i].id, id) == 0)
            return &rw_model()->tables[i];
    cr_assert_fail("no table %s", id);
    return NULL;
}

static inline const struct rw_function_deficit *function_in(const struct rw_deficits *d, const char *id) {
    const uint16_t function = rw_target_find(RW_TARGET_FUNCTION, id);
    cr_assert_neq(function, RW_NONE, "no function %s", id);
    return rw_function_deficit_of(d, function);
}

static inline const struct rw_muscle_state *muscle_in(const struct rw_deficits *d, const char *id) {
    return rw_muscle_state_of(d, muscle_of(id));
}

/* The recovery after complete lesions of these sites, whatever the exam would say of them. Frees the exam. */
static inline struct rw_recovery recovery_from(struct rw_exam *exam, const char *sites) {
    const struct rw_case c = complete_at(1.0, sites);
    struct hand_made *h = states_from(exam, &c, 1);
    struct rw_deficits deficits;
    struct rw_recovery recovery;
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &deficits));
    rw_recovery(exam, &h->losses, &deficits, &recovery);
    free_states(h);
    free(exam);
    return recovery;
}

#endif
