#include "explain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LEADING = 10, MAX_OBSERVATIONS = 8 };

/* Likelihoods this close, as ratios, favour nobody. */
#define ALIKE 1e-9

/* One finding under all states. */
struct sight {
    const struct rw_effects *effects;
    double p[RW_MAX_STATES][RW_MAX_WORLDS];      /* P(finding), by effect */
    double others[RW_MAX_STATES][RW_MAX_WORLDS]; /* weight of all states but the leader, by effect */
};

static void see(const struct rw_states *states, const struct rw_term *term, struct sight *out) {
    out->effects = &states->effects[term->target];
    rw_effect_weights(states, 1, out->effects, out->others);
    for (size_t e = 0; e < out->effects->count; e++)
        for (size_t w = 0; w < states->world_count; w++)
            out->p[e][w] = rw_term_probability(term, &out->effects->list[e], w);
}

/* P(finding | state, all other findings): the harmonic mean over its worlds, as leaving out demands; 0 for a
 * state without weight. */
static double given_others(const struct rw_states *states, const struct sight *sight, size_t state) {
    const double *weight = states->list[state].weight, *p = sight->p[sight->effects->of[state]];
    double with = 0.0, without = 0.0;
    for (size_t w = 0; w < states->world_count; w++) {
        with += weight[w];
        without += weight[w] / p[w];
    }
    return without > 0.0 ? with / without : 0.0;
}

/* The same of all states but the leader. */
static double others_given_others(const struct rw_states *states, const struct sight *sight) {
    double with = 0.0, without = 0.0;
    for (size_t e = 0; e < sight->effects->count; e++)
        for (size_t w = 0; w < states->world_count; w++) {
            with += sight->others[e][w];
            without += sight->others[e][w] / sight->p[e][w];
        }
    return without > 0.0 ? with / without : 0.0;
}

static struct rw_evidence evidence_of(const struct rw_states *states, const struct sight *sight,
                                      uint16_t check) {
    struct rw_evidence e = {.check = check, .in_favour = RW_NONE, .against = RW_NONE};
    const size_t shown = states->count < LEADING ? states->count : LEADING;
    const double leader = given_others(states, sight, 0), others = others_given_others(states, sight);
    double high = leader, low = leader;
    size_t best = 0, worst = 0;
    if (leader > 0.0 && others > 0.0)
        e.log10_odds = log10(leader / others);
    for (size_t h = 1; h < shown; h++) {
        const double p = given_others(states, sight, h);
        if (p > high * (1.0 + ALIKE)) {
            high = p;
            best = h;
        }
        if (p > 0.0 && p < low * (1.0 - ALIKE)) {
            low = p;
            worst = h;
        }
    }
    if (best != worst) {
        e.in_favour = (uint16_t)best;
        e.against = (uint16_t)worst;
    }
    return e;
}

/* Probability of each word of a check's scale under the posterior: observations are predicted effect by effect,
 * then mixed into words. */
static void predict_words(const struct rw_states *states, const struct sight *sight,
                          const struct rw_check *check, double ready, double *predicted) {
    const struct rw_model *m = rw_model();
    const struct rw_table *table = &m->tables[check->table];
    const struct rw_scale *scale = &m->scales[check->scale];
    const size_t leader = sight->effects->of[0];
    double seen[MAX_OBSERVATIONS] = {0};
    for (size_t e = 0; e < sight->effects->count; e++)
        for (size_t w = 0; w < states->world_count; w++) {
            const double weight = sight->others[e][w] + (e == leader ? states->list[0].weight[w] : 0.0);
            double p[MAX_OBSERVATIONS];
            rw_effect_predict(table, ready, &sight->effects->list[e], w, p);
            for (size_t o = 0; o < table->observation_count; o++)
                seen[o] += weight * p[o];
        }
    for (size_t v = 0; v < scale->value_count; v++) {
        const struct rw_value *value = &scale->values[v];
        predicted[v] = 0.0;
        for (size_t i = 0; i < value->count; i++)
            predicted[v] += value->weight[i] * seen[value->observation[i]];
    }
}

/* Adds the finding to the unexplained ones if it is; returns its surprise. */
static double fit(const struct rw_states *states, const struct sight *sight, const struct rw_finding *f,
                  double ready, double unlikely, struct rw_localisation *out) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[f->check];
    double predicted[UINT8_MAX] = {0};
    size_t expected = 0;
    predict_words(states, sight, check, ready, predicted);
    for (size_t v = 1; v < m->scales[check->scale].value_count; v++)
        if (predicted[v] > predicted[expected])
            expected = v;
    if (!f->filled_in && predicted[f->value] < unlikely * predicted[expected])
        out->unexplained[out->unexplained_count++] = (struct rw_unexplained){
            .check = f->check, .expected = (uint16_t)expected, .probability = predicted[f->value]};
    return 1.0 - predicted[f->value] / predicted[expected];
}

static int by_strength(const void *a, const void *b) {
    const struct rw_evidence *x = a, *y = b;
    const double dx = fabs(x->log10_odds), dy = fabs(y->log10_odds);
    if (dx > dy)
        return -1;
    if (dx < dy)
        return 1;
    return (int)x->check - (int)y->check;
}

static int by_rarity(const void *a, const void *b) {
    const struct rw_unexplained *x = a, *y = b;
    if (x->probability < y->probability)
        return -1;
    if (x->probability > y->probability)
        return 1;
    return (int)x->check - (int)y->check;
}

void rw_explain_findings(const struct rw_exam *exam, const struct rw_localise_result *result,
                         const struct rw_states *states, struct rw_localisation *out) {
    struct sight sight;
    const double unlikely = rw_fact_value("unexplained_ratio");
    double surprise = 0.0;
    for (size_t i = 0; i < result->term_count; i++) {
        const struct rw_term *term = &result->terms[i];
        const struct rw_finding *f = &exam->findings[term->finding];
        see(states, term, &sight);
        out->evidence[out->evidence_count++] = evidence_of(states, &sight, f->check);
        surprise += fit(states, &sight, f, term->ready, unlikely, out);
    }
    out->surprise = result->term_count > 0 ? surprise / (double)result->term_count : 0.0;
    qsort(out->evidence, out->evidence_count, sizeof out->evidence[0], by_strength);
    qsort(out->unexplained, out->unexplained_count, sizeof out->unexplained[0], by_rarity);
}
