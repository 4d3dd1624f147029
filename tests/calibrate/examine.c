#include "examine.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- practice ---- */

static size_t column_of(char *header, const char *name) {
    size_t column = 0;
    for (char *rest = header, *cell; (cell = strsep(&rest, "\t\n")) != NULL; column++)
        if (strcmp(cell, name) == 0)
            return column;
    return SIZE_MAX;
}

/* Notes a row's share at its table; false when the row is not of a table of the model. */
static bool read_share(struct practice *practice, char *line, size_t id_column, size_t share_column) {
    const struct rw_model *model = rw_model();
    const char *id = "", *share = NULL;
    size_t column = 0;
    for (char *rest = line, *cell; (cell = strsep(&rest, "\t\n")) != NULL; column++) {
        id = column == id_column ? cell : id;
        share = column == share_column ? cell : share;
    }
    for (size_t t = 0; share != NULL && t < model->table_count; t++)
        if (strcmp(model->tables[t].id, id) == 0) {
            practice->outlier[t] = strtod(share, NULL);
            return practice->outlier[t] >= 0 && practice->outlier[t] < 1;
        }
    return false;
}

static bool read_shares(struct practice *practice, FILE *file) {
    char *line = NULL, *copy = NULL;
    size_t room = 0, id_column = SIZE_MAX, share_column = SIZE_MAX, rows = 0;
    bool good = true;
    while (good && getline(&line, &room, file) >= 0) {
        if (line[0] == '#' || line[0] == '\n')
            continue;
        if (id_column != SIZE_MAX) {
            good = read_share(practice, line, id_column, share_column);
            rows++;
            continue;
        }
        copy = strdup(line);
        id_column = copy != NULL ? column_of(copy, "id") : SIZE_MAX;
        share_column = column_of(line, "outlier");
        good = id_column != SIZE_MAX && share_column != SIZE_MAX;
        free(copy);
    }
    free(line);
    return good && rows == rw_model()->table_count;
}

/* Words that stand for two observations are used as often as leaves every plain word something. */
static bool share_words(struct practice *practice, size_t scale_index) {
    const struct rw_scale *scale = &rw_model()->scales[scale_index];
    double *frequency = practice->frequency[scale_index];
    double taken[MAX_OBSERVATIONS] = {0}, most = 0;
    for (size_t v = 0; v < scale->value_count; v++)
        for (size_t i = 0; scale->values[v].count > 1 && i < scale->values[v].count; i++) {
            double *at = &taken[scale->values[v].observation[i]];
            *at += scale->values[v].weight[i];
            most = fmax(most, *at);
        }
    const double between = most > 0 ? 0.5 / most : 0;
    double whole[MAX_OBSERVATIONS] = {0};
    for (size_t v = 0; v < scale->value_count; v++) {
        const struct rw_value *value = &scale->values[v];
        frequency[v] = value->count > 1 ? between : 1 - between * taken[value->observation[0]];
        for (size_t i = 0; i < value->count; i++)
            whole[value->observation[i]] += frequency[v] * value->weight[i];
    }
    bool good = true;
    for (size_t o = 0; o < MAX_OBSERVATIONS; o++)
        good &= whole[o] < 1e-9 || fabs(whole[o] - 1) < 1e-9;
    return good;
}

bool practice_open(struct practice *practice, const char *tables_path) {
    const struct rw_model *model = rw_model();
    FILE *file = fopen(tables_path, "r");
    bool good = file != NULL && model->table_count <= MAX_TABLES && model->scale_count <= MAX_SCALES;
    *practice = (struct practice){0};
    if (good && !read_shares(practice, file))
        good = false;
    if (file != NULL)
        fclose(file);
    if (!good)
        fprintf(stderr, "calibrate: %s does not hold the outlier share of every table\n", tables_path);
    for (size_t s = 0; good && s < model->scale_count; s++)
        if (model->scales[s].value_count > MAX_WORDS || !share_words(practice, s)) {
            fprintf(stderr, "calibrate: the words of scale %s do not share out\n", model->scales[s].id);
            good = false;
        }
    return good;
}

/* ---- what is left of a target, and what is then seen ---- */

struct state {
    const uint8_t *severity;
    size_t variant;
    double kept[RW_COMPLETE + 1];
};

static struct state state_in(const struct oracle *oracle, const uint8_t *severity, size_t variant,
                             size_t depth) {
    struct state state = {.severity = severity, .variant = variant};
    memcpy(state.kept, oracle->kept[depth], sizeof state.kept);
    return state;
}

static double bundle_left(const struct state *state, const struct rw_bundle *bundle, bool *uneven) {
    double left = 1;
    for (size_t s = 0; s < bundle->site_count; s++) {
        left *= state->kept[state->severity[bundle->sites[s]]];
        *uneven |= state->severity[bundle->sites[s]] == RW_PARTIAL;
    }
    return left;
}

/* Σ weight · left, weights times log-normal noise when a stream is given. */
static double fraction_left(const struct state *state, uint16_t target, double noise, struct stream *stream,
                            enum rw_spread *spread) {
    const struct rw_model *model = rw_model();
    const struct rw_range range = model->ranges[state->variant * model->target_count + target];
    double sum = 0, whole = 0;
    bool uneven = false;
    for (size_t i = 0; i < range.count; i++) {
        const struct rw_bundle *bundle = &model->bundles[range.first + i];
        const double weight = bundle->weight * (noise > 0 ? exp(noise * stream_normal(stream)) : 1);
        whole += weight;
        sum += weight * bundle_left(state, bundle, &uneven);
    }
    *spread = uneven ? RW_SPREAD_UNEVEN : RW_SPREAD_SHARP;
    return whole > 0 ? sum / whole : 1;
}

static double table_at(const struct rw_table *table, enum rw_spread spread, double fraction, size_t o) {
    const double place = fmin(fmax(fraction, 0), 1) * (RW_GRID - 1);
    const size_t left = place < RW_GRID - 1 ? (size_t)place : RW_GRID - 2;
    const double beyond = place - (double)left;
    const double *row = &table->probability[((size_t)spread * RW_GRID + left) * table->observation_count];
    return (1 - beyond) * row[o] + beyond * row[table->observation_count + o];
}

/* Share of a sign that has come by the time of the exam. */
static double grown(const struct rw_exam *exam, const struct rw_table *table) {
    const double days = (double)exam->examined_day - (double)exam->onset_day;
    if (exam->onset_day == RW_NO_DAY || days >= table->full_days)
        return 1;
    return days < table->min_days ? 0 : (days - table->min_days) / (table->full_days - table->min_days);
}

/* P(observation) where `fraction` of a target is left. */
static void seen_law(const struct rw_table *table, enum rw_spread spread, double fraction, double come,
                     double p[MAX_OBSERVATIONS]) {
    for (size_t o = 0; o < table->observation_count; o++)
        p[o] =
            come * table_at(table, spread, fraction, o) + (1 - come) * table_at(table, RW_SPREAD_SHARP, 1, o);
}

/* Gives a law that holds the outlier share `now` the share `then` instead. */
static void change_outliers(const struct rw_table *table, double now, double then,
                            double p[MAX_OBSERVATIONS]) {
    for (size_t o = 0; o < table->observation_count; o++) {
        const double plain = fmax(0, (p[o] - now * table->outside[o]) / (1 - now));
        p[o] = (1 - then) * plain + then * table->outside[o];
    }
}

static void law_at(const struct patient *patient, const struct conditions *conditions,
                   const struct practice *practice, uint16_t check, double come, double p[MAX_OBSERVATIONS]) {
    const struct rw_model *model = rw_model();
    const uint16_t target = model->checks[check].target, table_index = model->checks[check].table;
    const struct rw_table *table = &model->tables[table_index];
    if (patient->truth.outside) {
        memcpy(p, table->outside, table->observation_count * sizeof *p);
        return;
    }
    struct stream stream = stream_open(patient->seed, patient->number, PURPOSE_WEIGHTS, target);
    const struct state state = state_in(patient->oracle, patient->severity, patient->variant, patient->depth);
    enum rw_spread spread;
    const double fraction = fraction_left(&state, target, conditions->weight_noise, &stream, &spread);
    const double share = practice->outlier[table_index];
    seen_law(table, spread, fraction, come, p);
    if (conditions->outlier_times < 1 || conditions->outlier_times > 1)
        change_outliers(table, share, fmin(1, conditions->outlier_times * share), p);
}

void true_law(const struct patient *patient, const struct conditions *conditions,
              const struct practice *practice, uint16_t check, double p[MAX_OBSERVATIONS]) {
    law_at(patient, conditions, practice, check, 1, p);
}

/* P(word) that an examiner writes for a check. */
static void words_at(const struct patient *patient, const struct conditions *conditions,
                     const struct practice *practice, const struct rw_exam *exam,
                     const struct rw_finding *finding, double word[MAX_WORDS]) {
    const struct rw_model *model = rw_model();
    const struct rw_check *check = &model->checks[finding->check];
    const struct rw_table *table = &model->tables[check->table];
    const struct rw_scale *scale = &model->scales[check->scale];
    double p[MAX_OBSERVATIONS];
    law_at(patient, conditions, practice, finding->check, grown(exam, table), p);
    for (size_t o = 0; finding->filled_in && o < table->observation_count; o++)
        p[o] += table->filled_outlier * (table->outside[o] - p[o]);
    for (size_t v = 0; v < scale->value_count; v++) {
        word[v] = 0;
        for (size_t i = 0; i < scale->values[v].count; i++)
            word[v] += practice->frequency[check->scale][v] * scale->values[v].weight[i] *
                       p[scale->values[v].observation[i]];
    }
}

void stated_words(const struct patient *patient, const struct practice *practice, const struct rw_exam *exam,
                  const struct rw_finding *finding, double word[MAX_WORDS]) {
    static const struct conditions as_stated = {.outlier_times = 1};
    words_at(patient, &as_stated, practice, exam, finding, word);
}

bool speaks(const struct rw_exam *exam, const struct rw_finding *finding) {
    const struct rw_model *model = rw_model();
    return grown(exam, &model->tables[model->checks[finding->check].table]) > 0;
}

static struct rw_finding draw_finding(const struct patient *patient, const struct conditions *conditions,
                                      const struct practice *practice, const struct rw_exam *exam,
                                      uint16_t check, bool filled) {
    const struct rw_scale *scale = &rw_model()->scales[rw_model()->checks[check].scale];
    struct stream stream = stream_open(patient->seed, patient->number, PURPOSE_FINDING, check);
    struct rw_finding finding = {.check = check, .filled_in = filled};
    double word[MAX_WORDS];
    words_at(patient, conditions, practice, exam, &finding, word);
    finding.value = (uint8_t)stream_pick(&stream, word, scale->value_count);
    return finding;
}

/* ---- protocols ---- */

static bool is_investigation(const struct rw_check *check) {
    return check->section >= RW_SECTION_PSEUDOMENINGOCELE;
}

static bool is_skin(const struct rw_check *check) {
    return check->section == RW_SECTION_SKIN_ROOT || check->section == RW_SECTION_SKIN_NERVE;
}

/* How many standard checks come before this one at the bedside. */
static size_t bedside_place(size_t check) {
    const struct rw_model *model = rw_model();
    const struct rw_check *own = &model->checks[check];
    size_t place = 0;
    for (size_t i = 0; i < model->check_count; i++)
        place += model->checks[i].standard &&
                 (model->checks[i].bedside_order < own->bedside_order ||
                  (model->checks[i].bedside_order == own->bedside_order && i < check));
    return place;
}

/* Which checks are examined, and which of them in passing, at the reliability of "otherwise normal". */
struct plan {
    bool examined[RW_MAX_CHECKS], in_passing[RW_MAX_CHECKS];
};

static void plan_mixed(struct stream *stream, struct plan *plan) {
    enum { FULL, SHORT, REGION, INVESTIGATED, ANYTHING, WAYS };
    const struct rw_model *model = rw_model();
    const size_t way = stream_below(stream, WAYS), length = 8 + stream_below(stream, 13);
    const double rate = stream_uniform(stream);
    const bool passing = stream_below(stream, 2) == 0;
    size_t standard = 0;
    for (size_t i = 0; i < model->check_count; i++)
        standard += model->checks[i].standard;
    const size_t first = stream_below(stream, standard - length + 1);
    for (size_t i = 0; i < model->check_count; i++) {
        const struct rw_check *check = &model->checks[i];
        const bool chance = stream_uniform(stream) < 0.05 + rate * (way == SHORT ? 0.4 : 0.2);
        bool takes = check->standard;
        if (way == SHORT)
            takes &= chance;
        else if (way == REGION)
            takes &= bedside_place(i) - first < length; /* unsigned: those before `first` fail */
        else if (way == INVESTIGATED)
            takes |= is_investigation(check) && chance;
        else if (way == ANYTHING)
            takes = chance;
        plan->examined[i] = takes && check->target != RW_NONE;
        plan->in_passing[i] = check->standard && passing && stream_below(stream, 2) == 0;
    }
}

static void plan_bedside(enum protocol protocol, struct plan *plan) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < model->check_count; i++) {
        const struct rw_check *check = &model->checks[i];
        plan->examined[i] = check->standard && check->target != RW_NONE &&
                            (protocol == PROTOCOL_SKIN    ? is_skin(check)
                             : protocol == PROTOCOL_MOTOR ? check->section == RW_SECTION_MOTOR
                                                          : true);
    }
}

static void fill_rest(struct rw_exam *exam) {
    for (size_t section = 0; section < RW_SECTION_COUNT; section++)
        (void)rw_exam_fill_normal(exam, (enum rw_section)section);
}

void examine(const struct patient *patient, const struct conditions *conditions,
             const struct practice *practice, struct rw_exam *exam) {
    const struct rw_model *model = rw_model();
    struct stream stream = stream_open(patient->seed, patient->number, PURPOSE_PROTOCOL, 0);
    struct plan plan = {0};
    *exam =
        (struct rw_exam){.mechanism = patient->mechanism, .examined_day = 20000, .age_years = (double)NAN};
    exam->onset_day = exam->examined_day - 60;
    if (conditions->protocol == PROTOCOL_MIXED) {
        plan_mixed(&stream, &plan);
        const bool known = stream_uniform(&stream) < 0.85;
        const double days = pow(400, stream_uniform(&stream)) - 1; /* days to a year, the first weeks often */
        exam->onset_day = known ? exam->examined_day - (int32_t)days : RW_NO_DAY;
    } else {
        plan_bedside(conditions->protocol, &plan);
    }
    for (uint16_t i = 0; i < model->check_count; i++) {
        if (!plan.examined[i])
            continue;
        const struct rw_finding finding =
            draw_finding(patient, conditions, practice, exam, i, plan.in_passing[i]);
        if (conditions->protocol == PROTOCOL_ABNORMAL_ONLY &&
            finding.value == model->scales[model->checks[i].scale].normal)
            continue;
        exam->findings[exam->finding_count++] = finding;
    }
    if (conditions->protocol == PROTOCOL_ABNORMAL_ONLY)
        fill_rest(exam);
}

/* ---- likelihood ---- */

static double finding_log(const struct rw_exam *exam, const struct rw_finding *finding,
                          const struct state *state, bool outside) {
    const struct rw_model *model = rw_model();
    const struct rw_check *check = &model->checks[finding->check];
    const struct rw_table *table = &model->tables[check->table];
    const struct rw_value *value = &model->scales[check->scale].values[finding->value];
    const double filled = finding->filled_in ? table->filled_outlier : 0;
    double p[MAX_OBSERVATIONS], seen = 0, else_seen = 0;
    enum rw_spread spread;
    const double fraction = fraction_left(state, check->target, 0, NULL, &spread);
    seen_law(table, spread, fraction, grown(exam, table), p);
    for (size_t i = 0; i < value->count; i++) {
        seen += value->weight[i] * p[value->observation[i]];
        else_seen += value->weight[i] * table->outside[value->observation[i]];
    }
    return log(outside ? else_seen : (1 - filled) * seen + filled * else_seen);
}

double exam_log_likelihood(const struct rw_exam *exam, const struct oracle *oracle,
                           const struct oracle_hypothesis *hypothesis) {
    const struct rw_model *model = rw_model();
    uint8_t severity[RW_MAX_SITES];
    double total = -(double)INFINITY;
    oracle_severities(oracle, hypothesis, severity);
    for (size_t variant = 0; variant < model->variant_count; variant++)
        for (size_t depth = 0; depth < ORACLE_DEPTHS; depth++) {
            const struct state state = state_in(oracle, severity, variant, depth);
            double sum = log(model->variants[variant].prevalence * oracle->depth_share[depth]);
            for (size_t f = 0; f < exam->finding_count; f++)
                if (speaks(exam, &exam->findings[f]))
                    sum += finding_log(exam, &exam->findings[f], &state, hypothesis->outside);
            const double top = fmax(sum, total);
            total = top + log(exp(sum - top) + exp(total - top));
        }
    return total;
}
