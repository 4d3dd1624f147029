#include "explain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SEPARATED = 10, NEXT_CASES = 400, MAX_OBSERVATIONS = 8 };

/* Odds beyond this are printed as this: the case list cannot tell more. */
#define ODDS_FLOOR 1e-9

static double log10_odds(double p) {
    const double q = p < ODDS_FLOOR ? ODDS_FLOOR : p > 1.0 - ODDS_FLOOR ? 1.0 - ODDS_FLOOR : p;
    return log10(q / (1.0 - q));
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

static size_t shown_count(const struct rw_localisation *out) {
    return out->hypothesis_count < SEPARATED ? out->hypothesis_count : SEPARATED;
}

void rw_explain_evidence(const struct rw_exam *exam, const struct rw_localise_result *result,
                         struct rw_localisation *out) {
    const struct rw_posterior *post = &result->posterior;
    const size_t shown = shown_count(out);
    for (size_t i = 0; i < result->term_count; i++) {
        const struct rw_finding *f = &exam->findings[result->terms[i].finding];
        double with = 0.0, without = 0.0, all = 0.0, likely[SEPARATED] = {0}, mass[SEPARATED] = {0};
        for (size_t k = 0; k < post->count; k++) {
            const struct rw_case *c = &post->cases[k];
            const double w = c->weight / rw_finding_probability(c, f, result->terms[i].ready);
            all += w;
            if (c->hypothesis == 0) {
                with += c->weight;
                without += w;
            }
            if (c->hypothesis < shown) { /* harmonic mean over its worlds, as leaving out demands */
                likely[c->hypothesis] += w;
                mass[c->hypothesis] += c->weight;
            }
        }
        struct rw_evidence *e = &out->evidence[out->evidence_count++];
        *e = (struct rw_evidence){.check = f->check,
                                  .log10_odds = log10_odds(with) - log10_odds(without / all)};
        double high = -1.0, low = INFINITY;
        for (size_t h = 0; h < shown; h++) {
            const double p = likely[h] > 0.0 ? mass[h] / likely[h] : 0.0;
            if (p > high) {
                high = p;
                e->in_favour = (uint16_t)h;
            }
            if (mass[h] > 0.0 && p < low) {
                low = p;
                e->against = (uint16_t)h;
            }
        }
    }
    qsort(out->evidence, out->evidence_count, sizeof out->evidence[0], by_strength);
}

static int by_rarity(const void *a, const void *b) {
    const struct rw_unexplained *x = a, *y = b;
    if (x->probability < y->probability)
        return -1;
    if (x->probability > y->probability)
        return 1;
    return (int)x->check - (int)y->check;
}

/* Predictive probability of each word of a check's scale, with the finding at `given` left out: observations
 * are predicted case by case, then mixed into words. */
static void predict_without(const struct rw_posterior *post, const struct rw_finding *given, double ready,
                            double *predicted) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[given->check];
    const struct rw_table *table = &m->tables[check->table];
    const struct rw_scale *scale = &m->scales[check->scale];
    double all = 0.0, seen[MAX_OBSERVATIONS] = {0};
    for (size_t k = 0; k < post->count; k++) {
        const double w = post->cases[k].weight / rw_finding_probability(&post->cases[k], given, ready);
        double p[MAX_OBSERVATIONS];
        rw_predict(&post->cases[k], check->target, table, ready, p);
        all += w;
        for (size_t o = 0; o < table->observation_count; o++)
            seen[o] += w * p[o];
    }
    for (size_t v = 0; v < scale->value_count; v++) {
        const struct rw_value *value = &scale->values[v];
        predicted[v] = 0.0;
        for (size_t i = 0; i < value->count; i++)
            predicted[v] += value->weight[i] * seen[value->observation[i]] / all;
    }
}

void rw_explain_fit(const struct rw_exam *exam, const struct rw_localise_result *result,
                    struct rw_localisation *out) {
    const struct rw_model *m = rw_model();
    const double ratio = rw_fact_value("unexplained_ratio");
    double sum = 0.0, predicted[UINT8_MAX] = {0};
    for (size_t i = 0; i < result->term_count; i++) {
        const struct rw_finding *f = &exam->findings[result->terms[i].finding];
        const struct rw_scale *scale = &m->scales[m->checks[f->check].scale];
        size_t expected = 0;
        predict_without(&result->posterior, f, result->terms[i].ready, predicted);
        for (size_t v = 1; v < scale->value_count; v++)
            if (predicted[v] > predicted[expected])
                expected = v;
        sum += 1.0 - predicted[f->value] / predicted[expected];
        if (predicted[f->value] < ratio * predicted[expected])
            out->unexplained[out->unexplained_count++] = (struct rw_unexplained){
                .check = f->check, .expected = (uint16_t)expected, .probability = predicted[f->value]};
    }
    out->surprise = result->term_count > 0 ? sum / (double)result->term_count : 0.0;
    qsort(out->unexplained, out->unexplained_count, sizeof out->unexplained[0], by_rarity);
}

static int by_bits(const void *a, const void *b) {
    const struct rw_model *m = rw_model();
    const struct rw_next_check *x = a, *y = b;
    const bool bx = m->checks[x->check].bedside_order < UINT8_MAX,
               by = m->checks[y->check].bedside_order < UINT8_MAX;
    if (bx != by)
        return bx ? -1 : 1;
    if (x->bits > y->bits)
        return -1;
    if (x->bits < y->bits)
        return 1;
    return (int)x->check - (int)y->check;
}

struct joint { /* P(hypothesis, observation) for one check */
    double p[RW_SHORTLIST + 2][MAX_OBSERVATIONS];
    double mass[RW_SHORTLIST + 2];
};

static void fill_joint(const struct rw_posterior *post, const struct rw_check *check, double ready,
                       struct joint *joint) {
    const struct rw_table *table = &rw_model()->tables[check->table];
    const size_t count = post->count < NEXT_CASES ? post->count : NEXT_CASES;
    double total = 0.0;
    memset(joint, 0, sizeof *joint);
    for (size_t k = 0; k < count; k++)
        total += post->cases[k].weight;
    for (size_t k = 0; k < count; k++) {
        const struct rw_case *c = &post->cases[k];
        double p[MAX_OBSERVATIONS];
        rw_predict(c, check->target, table, ready, p);
        joint->mass[c->hypothesis] += c->weight / total;
        for (size_t o = 0; o < table->observation_count; o++)
            joint->p[c->hypothesis][o] += c->weight / total * p[o];
    }
}

static double mutual_information(const struct joint *joint, size_t hypotheses, size_t observations) {
    double marginal[MAX_OBSERVATIONS] = {0}, bits = 0.0;
    for (size_t h = 0; h < hypotheses; h++)
        for (size_t o = 0; o < observations; o++)
            marginal[o] += joint->p[h][o];
    for (size_t h = 0; h < hypotheses; h++)
        for (size_t o = 0; o < observations; o++)
            if (joint->p[h][o] > 0.0)
                bits += joint->p[h][o] * log2(joint->p[h][o] / (joint->mass[h] * marginal[o]));
    return bits > 0.0 ? bits : 0.0;
}

/* Of the hypotheses shown, the one that the check tells best from the leader, by probability. */
static uint16_t best_rival(const struct joint *joint, size_t shown, size_t observations) {
    double best = -1.0;
    uint16_t rival = 0;
    for (size_t h = 1; h < shown; h++) {
        double distance = 0.0;
        if (!(joint->mass[h] > 0.0) || !(joint->mass[0] > 0.0))
            continue;
        for (size_t o = 0; o < observations; o++)
            distance += fabs(joint->p[h][o] / joint->mass[h] - joint->p[0][o] / joint->mass[0]);
        if (distance * joint->mass[h] > best) {
            best = distance * joint->mass[h];
            rival = (uint16_t)h;
        }
    }
    return rival;
}

/* 0: this check says nothing, or nothing yet. */
static double ready_at(const struct rw_exam *exam, const struct rw_check *check) {
    return check->target == RW_NONE ? 0.0 : rw_table_ready(&rw_model()->tables[check->table], exam);
}

void rw_explain_next(const struct rw_exam *exam, const struct rw_localise_result *result,
                     struct rw_localisation *out) {
    const struct rw_model *m = rw_model();
    const double least = rw_fact_value("next_check_least_bits");
    bool examined[RW_MAX_CHECKS] = {false};
    struct joint joint;
    for (size_t i = 0; i < exam->finding_count; i++)
        examined[exam->findings[i].check] = true;
    for (size_t i = 0; i < m->check_count; i++) {
        const struct rw_check *check = &m->checks[i];
        const double ready = ready_at(exam, check);
        if (examined[i] || !(ready > 0.0))
            continue;
        const size_t observations = m->tables[check->table].observation_count;
        fill_joint(&result->posterior, check, ready, &joint);
        const double bits = mutual_information(&joint, RW_SHORTLIST + 2, observations);
        if (bits >= least)
            out->next[out->next_count++] =
                (struct rw_next_check){.check = (uint16_t)i,
                                       .separates = {0, best_rival(&joint, shown_count(out), observations)},
                                       .bits = bits};
    }
    qsort(out->next, out->next_count, sizeof out->next[0], by_bits);
}
