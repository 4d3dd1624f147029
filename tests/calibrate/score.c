#include "score.h"

#include <math.h>
#include <string.h>

const char *const quantity_ids[QUANTITY_COUNT] = {
#define X(name, id, label) id,
    QUANTITIES(X)
#undef X
};
const char *const quantity_labels[QUANTITY_COUNT] = {
#define X(name, id, label) label,
    QUANTITIES(X)
#undef X
};

/* What every part of the score reads. */
struct judged {
    const struct patient *patient;
    const struct conditions *conditions;
    const struct practice *practice;
    const struct rw_exam *exam;
    const struct rw_assessment *answer;
    struct stream stream;
    size_t place; /* of the truth in the answer's list; its length when it is not listed */
};

/* Rank of the truth among ordered outcomes, by what lies below it and its own probability. */
static double rank_between(struct judged *j, double below, double own) {
    return below + stream_uniform(&j->stream) * own;
}

static double rank_of(struct judged *j, const double *p, size_t count, size_t truth) {
    double below = 0, own = 0;
    for (size_t i = 0; i < count && i <= truth; i++) {
        below += own;
        own = p[i];
    }
    return rank_between(j, below, own);
}

static double rank_of_event(struct judged *j, double p, bool truth) {
    return truth ? rank_between(j, 1 - p, p) : rank_between(j, 0, 1 - p);
}

static double uncertainty(const double *p, size_t count) {
    double bits = 0;
    for (size_t i = 0; i < count; i++)
        bits -= p[i] > 0 ? p[i] * log2(p[i]) : 0;
    return bits;
}

/* ---- the list of hypotheses ---- */

static void severities_of(const struct rw_hypothesis *h, uint8_t severity[RW_MAX_SITES]) {
    memset(severity, RW_INTACT, RW_MAX_SITES);
    for (size_t i = 0; i < h->lesion_count; i++)
        severity[h->lesions[i].site] = h->lesions[i].severity;
}

static bool is_truth(const struct patient *patient, const struct rw_hypothesis *h) {
    uint8_t severity[RW_MAX_SITES];
    if ((h->kind == RW_PRIOR_OUTSIDE) != patient->truth.outside)
        return false;
    severities_of(h, severity);
    return memcmp(severity, patient->severity, sizeof severity) == 0;
}

/* Rank in the order of the list, what is not listed being one last outcome; and the sets that this order
 * makes. */
static void score_list(struct judged *j, struct score *out) {
    const struct rw_localisation *l = &j->answer->localisation;
    double p[RW_MAX_HYPOTHESES + 1] = {0}, listed = 0;
    bool in_set = false;
    out->plain_mass = out->plain_size = (double)NAN;
    for (size_t i = 0; i < l->hypothesis_count; i++) {
        p[i] = l->hypotheses[i].probability;
        in_set |= listed < CREDIBLE && i == j->place;
        listed += p[i];
        if (listed >= CREDIBLE && isnan(out->plain_mass)) {
            out->plain_mass = listed;
            out->plain_size = (double)(i + 1);
        }
    }
    p[l->hypothesis_count] = fmax(0, 1 - listed);
    out->listed = listed;
    out->in_plain_set = in_set;
    out->rank[QUANTITY_HYPOTHESIS] = rank_of(j, p, l->hypothesis_count + 1, j->place);
    out->in_random_set = out->rank[QUANTITY_HYPOTHESIS] < CREDIBLE;
    out->leader = p[0];
    out->leader_right = j->place == 0;
}

/* Likelihoods this close in nats are equal: rounding alone separates them. */
#define EQUAL_NATS 1e-9

/* Rank of the truth's likelihood among those of the list; what is not listed is one last outcome. */
static double rank_of_likelihood(struct judged *j, double listed) {
    const struct rw_localisation *l = &j->answer->localisation;
    double p[3] = {0, 0, 0}; /* below, equal, above */
    if (j->place == l->hypothesis_count)
        return rank_between(j, listed, fmax(0, 1 - listed));
    for (size_t i = 0; i < l->hypothesis_count; i++) {
        const double over = l->hypotheses[i].log_likelihood - l->hypotheses[j->place].log_likelihood;
        p[over < -EQUAL_NATS ? 0 : over > EQUAL_NATS ? 2 : 1] += l->hypotheses[i].probability;
    }
    return rank_of(j, p, 3, 1);
}

/* ---- sets of (level, name) ---- */

struct named {
    bool outside, at[RW_MAX_SITES]; /* by the first site of that level and name */
};

static size_t first_namesake(size_t site) {
    const struct rw_site *sites = rw_model()->sites;
    size_t first = 0;
    while (sites[first].level != sites[site].level || strcmp(sites[first].name, sites[site].name) != 0)
        first++;
    return first;
}

static struct named name_set(bool outside, const uint8_t severity[RW_MAX_SITES]) {
    struct named set = {.outside = outside};
    for (size_t s = 0; s < rw_model()->site_count; s++)
        if (severity[s] != RW_INTACT)
            set.at[first_namesake(s)] = true;
    return set;
}

static void score_merged(const struct judged *j, struct score *out) {
    const struct rw_localisation *l = &j->answer->localisation;
    struct named sets[RW_MAX_HYPOTHESES];
    double p[RW_MAX_HYPOTHESES] = {0};
    size_t count = 0, best = 0;
    for (size_t i = 0; i < l->hypothesis_count; i++) {
        uint8_t severity[RW_MAX_SITES];
        severities_of(&l->hypotheses[i], severity);
        sets[count] = name_set(l->hypotheses[i].kind == RW_PRIOR_OUTSIDE, severity);
        size_t at = 0;
        while (memcmp(&sets[at], &sets[count], sizeof *sets) != 0)
            at++;
        count += at == count;
        p[at] += l->hypotheses[i].probability;
    }
    for (size_t i = 1; i < count; i++)
        best = p[i] > p[best] ? i : best;
    const struct named truth = name_set(j->patient->truth.outside, j->patient->severity);
    out->merged = p[best];
    out->merged_right = memcmp(&truth, &sets[best], sizeof truth) == 0;
}

/* ---- sites and roots ---- */

static void score_sites(struct judged *j, struct score *out) {
    const struct rw_model *model = rw_model();
    double least[RW_LEVEL_COUNT] = {1, 1, 1, 1, 1};
    size_t site[RW_LEVEL_COUNT] = {0};
    for (size_t s = 0; s < model->site_count; s++) {
        const double p = j->answer->localisation.sites[s].p_injured;
        const double injured = j->patient->severity[s] != RW_INTACT ? 1 : 0;
        const enum rw_level level = model->sites[s].level;
        out->brier_sites += (p - injured) * (p - injured);
        out->brier_sites_stated += p * (1 - p);
        if (fabs(p - 0.5) < least[level]) {
            least[level] = fabs(p - 0.5);
            site[level] = s;
        }
    }
    for (size_t level = 0; level < RW_LEVEL_COUNT; level++) {
        const struct rw_site_posterior *p = &j->answer->localisation.sites[site[level]];
        const double severity[] = {1 - p->p_injured, p->p_injured - p->p_complete, p->p_complete};
        out->rank[QUANTITY_ROOT + level] = rank_of(j, severity, 3, j->patient->severity[site[level]]);
    }
}

static void score_roots(struct judged *j, struct score *out) {
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        const struct rw_root_posterior *p = &j->answer->localisation.roots[root];
        const double state[] = {p->p_intact, p->p_postganglionic, p->p_preganglionic};
        const uint8_t truth = j->patient->truth.states[root];
        const bool torn =
            truth == RW_ROOT_PRE_PARTIAL || truth == RW_ROOT_PRE_COMPLETE || truth == RW_ROOT_DOUBLE;
        out->rank[QUANTITY_C5 + root] = rank_of(j, state, 3, truth == RW_ROOT_INTACT ? 0 : torn ? 2 : 1);
    }
}

static void score_levels(struct judged *j, struct score *out) {
    const struct rw_model *model = rw_model();
    const struct rw_localisation *l = &j->answer->localisation;
    double p[RW_LEVEL_COUNT + 2] = {l->no_lesion, l->outside_plexus};
    size_t truth = j->patient->truth.outside ? 1 : 0, level = RW_LEVEL_COUNT;
    memcpy(&p[2], l->levels, sizeof l->levels);
    for (size_t s = 0; s < model->site_count; s++)
        if (j->patient->severity[s] != RW_INTACT && model->sites[s].level < level)
            level = model->sites[s].level;
    if (level < RW_LEVEL_COUNT)
        truth = 2 + level;
    out->rank[QUANTITY_LEVEL] = rank_of(j, p, RW_LEVEL_COUNT + 2, truth);
    out->rank[QUANTITY_NO_LESION] = rank_of_event(j, l->no_lesion, truth == 0);
    out->rank[QUANTITY_OUTSIDE] = rank_of_event(j, l->outside_plexus, truth == 1);
}

/* ---- what was not examined ---- */

static bool has_member(uint16_t owner, uint16_t muscle) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < model->member_count; i++)
        if (model->members[i].owner == owner && model->members[i].muscle == muscle)
            return true;
    return false;
}

/* Whether some finding is about this target itself, or is the power of a group that holds it. */
static bool is_examined(const struct rw_exam *exam, uint16_t target) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &model->checks[exam->findings[i].check];
        if (check->target == target ||
            (check->section == RW_SECTION_MOTOR && has_member(check->target, target)))
            return true;
    }
    return false;
}

static uint16_t check_of(uint16_t target, bool motor) {
    const struct rw_model *model = rw_model();
    for (uint16_t i = 0; i < model->check_count; i++) {
        const enum rw_section section = model->checks[i].section;
        const bool skin = section == RW_SECTION_SKIN_ROOT || section == RW_SECTION_SKIN_NERVE;
        if (model->checks[i].target == target && (motor ? section == RW_SECTION_MOTOR : skin))
            return i;
    }
    return RW_NONE;
}

static size_t draw_truth(struct judged *j, uint16_t check, size_t count, double p[MAX_OBSERVATIONS]) {
    true_law(j->patient, j->conditions, j->practice, check, p);
    return stream_pick(&j->stream, p, count);
}

static double score_grade(struct judged *j) {
    const struct rw_model *model = rw_model();
    const struct rw_muscle_state *least = NULL;
    double most = -1;
    for (size_t i = 0; i < j->answer->deficits.muscle_count; i++) {
        const struct rw_muscle_state *state = &j->answer->deficits.muscles[i];
        const double bits = uncertainty(state->grade, 6);
        if (bits <= most || check_of(state->muscle, true) == RW_NONE || is_examined(j->exam, state->muscle))
            continue;
        most = bits;
        least = state;
    }
    if (least == NULL)
        return (double)NAN;
    const uint16_t check = check_of(least->muscle, true);
    const struct rw_table *table = &model->tables[model->checks[check].table];
    double p[MAX_OBSERVATIONS];
    const size_t seen = draw_truth(j, check, table->observation_count, p);
    return rank_of(j, least->grade, 6, (size_t)(table->observations[seen][0] - '0'));
}

static double score_skin(struct judged *j) {
    const struct rw_model *model = rw_model();
    const struct rw_area_deficit *least = NULL;
    for (size_t i = 0; i < j->answer->deficits.area_count; i++) {
        const struct rw_area_deficit *area = &j->answer->deficits.areas[i];
        if ((least != NULL && fabs(area->p_lost - 0.5) >= fabs(least->p_lost - 0.5)) ||
            is_examined(j->exam, area->area))
            continue;
        least = area;
    }
    if (least == NULL)
        return (double)NAN;
    const uint16_t check = check_of(least->area, false);
    const struct rw_table *table = &model->tables[model->checks[check].table];
    double p[MAX_OBSERVATIONS];
    const char *seen = table->observations[draw_truth(j, check, table->observation_count, p)];
    return rank_of_event(j, least->p_lost, strcmp(seen, "reduced") == 0 || strcmp(seen, "absent") == 0);
}

/* ---- the findings themselves ---- */

static void score_finding(const struct judged *j, const struct rw_finding *finding, struct score *out) {
    const struct rw_check *check = &rw_model()->checks[finding->check];
    double word[MAX_WORDS], mean = 0, square = 0;
    if (!speaks(j->exam, finding))
        return;
    stated_words(j->patient, j->practice, j->exam, finding, word);
    for (size_t v = 0; v < rw_model()->scales[check->scale].value_count; v++) {
        if (word[v] <= 0)
            continue;
        mean += word[v] * log(word[v]);
        square += word[v] * log(word[v]) * log(word[v]);
    }
    out->findings[check->section].count++;
    out->findings[check->section].log += log(word[finding->value]);
    out->findings[check->section].expected += mean;
    out->findings[check->section].variance += square - mean * mean;
}

/* ---- the whole ---- */

void score_answer(const struct patient *patient, const struct conditions *conditions,
                  const struct practice *practice, const struct oracle *oracle, const struct rw_exam *exam,
                  const struct rw_assessment *answer, struct score *out) {
    const struct rw_localisation *l = &answer->localisation;
    struct judged j = {.patient = patient,
                       .conditions = conditions,
                       .practice = practice,
                       .exam = exam,
                       .answer = answer,
                       .stream = stream_open(patient->seed, patient->number, PURPOSE_RANK, 0)};
    while (j.place < l->hypothesis_count && !is_truth(patient, &l->hypotheses[j.place]))
        j.place++;
    *out = (struct score){.likelihood_gap = (double)NAN, .covered = l->list_covers};
    const double likelihood = exam_log_likelihood(exam, oracle, &patient->truth);
    out->log_probability = log(oracle_prior(oracle, &patient->truth)) + likelihood - l->log_evidence;
    if (j.place < l->hypothesis_count)
        out->likelihood_gap = fabs(l->hypotheses[j.place].log_likelihood - likelihood);
    for (size_t i = 0; i < exam->finding_count; i++)
        score_finding(&j, &exam->findings[i], out);
    score_list(&j, out);
    out->rank[QUANTITY_LIKELIHOOD] = rank_of_likelihood(&j, out->listed);
    score_merged(&j, out);
    score_sites(&j, out);
    score_roots(&j, out);
    score_levels(&j, out);
    out->rank[QUANTITY_GRADE] = score_grade(&j);
    out->rank[QUANTITY_SKIN] = score_skin(&j);
}
