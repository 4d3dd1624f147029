#include "answer_parts.h"

#include <math.h>
#include <string.h>

size_t rw_hypotheses_listed(const struct rw_localisation *localisation) {
    double covered = 0;
    size_t count = 0;
    while (count < localisation->hypothesis_count && (count < 10 || covered < 0.95))
        covered += localisation->hypotheses[count++].probability;
    return count;
}

void rw_summary_at(const struct rw_exam *exam, const struct rw_localisation *localisation, uint16_t index,
                   char buffer[RW_SUMMARY_SIZE]) {
    buffer[0] = '\0';
    if (index < localisation->hypothesis_count)
        rw_summary(&localisation->hypotheses[index], exam->mechanism, buffer, RW_SUMMARY_SIZE);
}

size_t rw_evidence_order(const struct rw_localisation *localisation, struct rw_rank ranks[RW_MAX_CHECKS]) {
    for (size_t i = 0; i < localisation->evidence_count; i++)
        ranks[i] = (struct rw_rank){fabs(localisation->evidence[i].log10_odds), (uint16_t)i};
    rw_rank(ranks, localisation->evidence_count);
    return localisation->evidence_count;
}

size_t rw_unexplained_order(const struct rw_localisation *localisation, struct rw_rank ranks[RW_MAX_CHECKS]) {
    for (size_t i = 0; i < localisation->unexplained_count; i++)
        ranks[i] = (struct rw_rank){-localisation->unexplained[i].probability, (uint16_t)i};
    rw_rank(ranks, localisation->unexplained_count);
    return localisation->unexplained_count;
}

size_t rw_next_order(const struct rw_localisation *localisation, struct rw_rank ranks[RW_MAX_CHECKS]) {
    for (size_t i = 0; i < localisation->next_count; i++) /* bedside first: the engine has sorted them */
        ranks[i] = (struct rw_rank){-(double)i, (uint16_t)i};
    return localisation->next_count;
}

/* ---- findings and hypotheses by name ---- */

static void write_summary_at(struct rw_answer *answer, uint16_t index) {
    char summary[RW_SUMMARY_SIZE];
    rw_summary_at(answer->exam, &answer->assessment->localisation, index, summary);
    rw_json_string(&answer->json, summary[0] ? summary : NULL);
}

/* "/motor/serratus_anterior" → "motor.serratus_anterior"; null for no check. */
static void write_finding(struct rw_json *json, const char *key, uint16_t check) {
    char name[96] = "";
    if (check != RW_NONE)
        rw_check_pointer(check, name, sizeof name);
    for (char *slash = name[0] ? strchr(name + 1, '/') : NULL; slash; slash = strchr(slash, '/'))
        *slash = '.';
    rw_json_key_string(json, key, name[0] ? name + 1 : NULL);
}

/* Nobody acts on the fifth decimal of a bit. */
static void write_bits(struct rw_json *json, double bits) {
    rw_json_key_number(json, "bits", round(bits * 1e4) / 1e4);
}

/* ---- hypotheses, sites, roots ---- */

void rw_write_lesions(struct rw_json *json, const struct rw_hypothesis *hypothesis) {
    rw_json_key_open(json, "lesions", '[');
    for (size_t i = 0; i < hypothesis->lesion_count; i++) {
        const struct rw_site *site = &rw_model()->sites[hypothesis->lesions[i].site];
        rw_json_open(json, '{');
        rw_json_key_string(json, "site", site->id);
        rw_json_key_string(json, "level", rw_level_name(site->level));
        rw_json_key_string(json, "name", site->name);
        rw_json_key_string(json, "part", site->part);
        rw_json_key_string(json, "relation", site->relation);
        rw_json_key_string(json, "severity", rw_severity_name(hypothesis->lesions[i].severity));
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_hypothesis(struct rw_answer *answer, const struct rw_hypothesis *hypothesis) {
    struct rw_json *json = &answer->json;
    char summary[RW_SUMMARY_SIZE];
    rw_summary(hypothesis, answer->exam->mechanism, summary, sizeof summary);
    rw_json_open(json, '{');
    rw_json_key_number(json, "probability", hypothesis->probability);
    rw_json_key_string(json, "summary", summary);
    rw_write_lesions(json, hypothesis);
    rw_json_close(json, '}');
}

static void write_hypotheses(struct rw_answer *answer) {
    const struct rw_localisation *l = &answer->assessment->localisation;
    const size_t listed = rw_hypotheses_listed(l);
    rw_json_key_open(&answer->json, "hypotheses", '[');
    for (size_t i = 0; i < listed; i++)
        write_hypothesis(answer, &l->hypotheses[i]);
    rw_json_close(&answer->json, ']');
}

/* What this exam cannot tell from the first, and the check that would. */
static void write_inseparable(struct rw_answer *answer) {
    const struct rw_localisation *l = &answer->assessment->localisation;
    struct rw_json *json = &answer->json;
    const size_t listed = rw_hypotheses_listed(l);
    rw_json_key_open(json, "inseparable", '[');
    for (size_t i = 1; i < listed; i++) {
        if (!l->hypotheses[i].inseparable)
            continue;
        rw_json_open(json, '{');
        rw_json_key_integer(json, "hypothesis", (int64_t)i);
        rw_json_key(json, "summary");
        write_summary_at(answer, (uint16_t)i);
        write_finding(json, "separated_by", l->hypotheses[i].separated_by);
        write_bits(json, l->hypotheses[i].separated_bits);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_sites(struct rw_answer *answer) {
    const struct rw_model *model = rw_model();
    const struct rw_localisation *l = &answer->assessment->localisation;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_SITES];
    for (size_t i = 0; i < model->site_count; i++)
        ranks[i] = (struct rw_rank){l->sites[i].p_injured, (uint16_t)i};
    rw_rank(ranks, model->site_count);
    rw_json_key_open(json, "sites", '[');
    for (size_t i = 0; i < model->site_count; i++) {
        const size_t site = ranks[i].index;
        rw_json_open(json, '{');
        rw_json_key_string(json, "site", model->sites[site].id);
        rw_json_key_number(json, "p_injured", l->sites[site].p_injured);
        rw_json_key_number(json, "p_complete", l->sites[site].p_complete);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

void rw_write_roots(struct rw_json *json, const struct rw_root_posterior roots[RW_PLEXUS_ROOTS]) {
    struct rw_rank ranks[RW_PLEXUS_ROOTS];
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        ranks[i] = (struct rw_rank){-roots[i].p_intact, (uint16_t)i};
    rw_rank(ranks, RW_PLEXUS_ROOTS);
    rw_json_key_open(json, "roots", '[');
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        const size_t root = ranks[i].index;
        rw_json_open(json, '{');
        rw_json_key_string(json, "root", rw_segment_name((enum rw_segment)(RW_SEGMENT_C5 + root)));
        rw_json_key_number(json, "p_intact", roots[root].p_intact);
        rw_json_key_number(json, "p_preganglionic", roots[root].p_preganglionic);
        rw_json_key_number(json, "p_postganglionic", roots[root].p_postganglionic);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* ---- why ---- */

static void write_pointer(struct rw_json *json, uint16_t check) {
    char pointer[96];
    rw_check_pointer(check, pointer, sizeof pointer);
    rw_json_key_string(json, "pointer", pointer);
}

static void write_fit(struct rw_answer *answer) {
    const struct rw_model *model = rw_model();
    const struct rw_localisation *l = &answer->assessment->localisation;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_CHECKS];
    const size_t count = rw_unexplained_order(l, ranks);
    rw_json_key_open(json, "fit", '{');
    rw_json_key_number(json, "surprise", l->surprise);
    rw_json_key_open(json, "unexplained", '[');
    for (size_t i = 0; i < count; i++) {
        const struct rw_unexplained *u = &l->unexplained[ranks[i].index];
        rw_json_open(json, '{');
        write_pointer(json, u->check);
        rw_json_key_string(json, "expected",
                           model->scales[model->checks[u->check].scale].values[u->expected].text);
        rw_json_key_string(json, "observed", rw_observed(answer->exam, u->check));
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_close(json, '}');
}

static void write_evidence(struct rw_answer *answer) {
    const struct rw_localisation *l = &answer->assessment->localisation;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_CHECKS];
    const size_t count = rw_evidence_order(l, ranks);
    rw_json_key_open(json, "evidence", '[');
    for (size_t i = 0; i < count; i++) {
        const struct rw_evidence *e = &l->evidence[ranks[i].index];
        rw_json_open(json, '{');
        write_pointer(json, e->check);
        rw_json_key_number(json, "log10_odds", e->log10_odds);
        rw_json_key(json, "for");
        write_summary_at(answer, e->in_favour);
        rw_json_key(json, "against");
        write_summary_at(answer, e->against);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_next(struct rw_answer *answer) {
    const struct rw_localisation *l = &answer->assessment->localisation;
    struct rw_json *json = &answer->json;
    struct rw_rank ranks[RW_MAX_CHECKS];
    const size_t count = rw_next_order(l, ranks);
    rw_json_key_open(json, "next_checks", '[');
    for (size_t i = 0; i < count; i++) {
        const struct rw_next_check *next = &l->next[ranks[i].index];
        rw_json_open(json, '{');
        write_finding(json, "finding", next->check);
        write_bits(json, next->bits);
        rw_json_key_open(json, "separates", '[');
        for (size_t k = 0; k < 2; k++)
            if (next->separates[k] < l->hypothesis_count)
                write_summary_at(answer, next->separates[k]);
        rw_json_close(json, ']');
        if (next->repeats)
            rw_json_key_bool(json, "repeats", true);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

void rw_write_localisation(struct rw_answer *answer) {
    const struct rw_localisation *l = &answer->assessment->localisation;
    struct rw_json *json = &answer->json;
    rw_json_key_open(json, "localisation", '{');
    write_hypotheses(answer);
    write_inseparable(answer);
    write_sites(answer);
    rw_write_roots(json, l->roots);
    rw_json_key_open(json, "levels", '{');
    for (int level = 0; level < RW_LEVEL_COUNT; level++)
        rw_json_key_number(json, rw_level_name((enum rw_level)level), l->levels[level]);
    rw_json_close(json, '}');
    rw_json_key_number(json, "no_lesion", l->no_lesion);
    rw_json_key_number(json, "outside_plexus", l->outside_plexus);
    rw_json_key_number(json, "left_out", l->left_out);
    rw_json_key_number(json, "list_covers", l->list_covers);
    write_fit(answer);
    write_evidence(answer);
    write_next(answer);
    rw_json_close(json, '}');
}
