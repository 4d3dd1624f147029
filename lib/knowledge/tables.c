#include "knowledge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MAX_OBSERVATIONS = 8, MAX_ANCHORS = 40 };

/* The observations of one scale, shared by all its tables. */
struct observations {
    const char **names;
    uint8_t count;
};

static bool is_normal(const char *value) {
    return value[0] == '*' && value[1] != '\0';
}

/* Numbers in rising order; words in the order in which the scale's values first name them. */
static struct observations scale_observations(struct knowledge *knowledge, const char *scale) {
    const struct kn_file *file = &knowledge->files[KN_SCALES];
    struct observations seen = {.names = kn_new(&knowledge->arena, MAX_OBSERVATIONS, sizeof *seen.names)};
    for (size_t row = 0; row < file->row_count; row++) {
        const char *name = kn_cell(file, row, "observation");
        if (!kn_is(file, row, "scale", scale) || kn_word_index(name, seen.names, seen.count) < seen.count)
            continue;
        if (seen.count == MAX_OBSERVATIONS) {
            kn_fault(file, row, "more than %d observations on scale '%s'", MAX_OBSERVATIONS, scale);
            break;
        }
        size_t place = seen.count++;
        bool number = strspn(name, "0123456789") == strlen(name);
        for (; number && place > 0 && strtol(seen.names[place - 1], NULL, 10) > strtol(name, NULL, 10);
             place--)
            seen.names[place] = seen.names[place - 1];
        seen.names[place] = name;
    }
    return seen;
}

static const char *value_text(const struct kn_file *file, size_t row) {
    const char *cell = kn_cell(file, row, "value");
    return is_normal(cell) ? cell + 1 : cell;
}

/* Adds a row to the values of its scale. */
static void add_value(const struct kn_file *file, size_t row, const struct observations *observations,
                      struct rw_scale *scale, struct rw_value *values) {
    const char *text = value_text(file, row);
    size_t i = 0;
    while (i < scale->value_count && strcmp(values[i].text, text) != 0)
        i++;
    if (i == scale->value_count) {
        if (i == UINT8_MAX) {
            kn_fault(file, row, "too many values");
            return;
        }
        values[scale->value_count++].text = text;
    }
    if (is_normal(kn_cell(file, row, "value"))) {
        if (scale->normal != UINT8_MAX && scale->normal != i)
            kn_fault(file, row, "a second normal value");
        scale->normal = (uint8_t)i;
    }
    struct rw_value *value = &values[i];
    if (value->count == 2) {
        kn_fault(file, row, "more than two observations for '%s'", text);
        return;
    }
    value->observation[value->count] =
        (uint8_t)kn_word_index(kn_cell(file, row, "observation"), observations->names, observations->count);
    value->weight[value->count] = kn_number(file, row, "weight", 0, 1, NULL);
    if (value->weight[value->count] <= 0)
        kn_fault(file, row, "weight is not above 0");
    value->count++;
}

static struct rw_scale read_scale(struct knowledge *knowledge, const char *id) {
    const struct kn_file *file = &knowledge->files[KN_SCALES];
    struct observations observations = scale_observations(knowledge, id);
    struct rw_value *values = kn_new(&knowledge->arena, file->row_count, sizeof *values);
    struct rw_scale scale = {.id = id, .values = values, .normal = UINT8_MAX};
    size_t first = kn_find(file, "scale", id);
    for (size_t row = first; row < file->row_count; row++)
        if (kn_is(file, row, "scale", id))
            add_value(file, row, &observations, &scale, values);
    if (scale.normal == UINT8_MAX)
        kn_fault(file, first, "scale '%s' has no normal value (mark it with *)", id);
    for (uint8_t i = 0; i < scale.value_count; i++) {
        double sum = values[i].weight[0] + values[i].weight[1];
        size_t row = first;
        while (!(kn_is(file, row, "scale", id) && strcmp(value_text(file, row), values[i].text) == 0))
            row++;
        if (sum < 1 - KN_TOLERANCE || sum > 1 + KN_TOLERANCE)
            kn_fault(file, row, "weights of '%s' add to %.12g, not 1", values[i].text, sum);
    }
    return scale;
}

void kn_build_scales(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_SCALES];
    struct rw_scale *scales = kn_new(&knowledge->arena, file->row_count, sizeof *scales);
    size_t count = 0;
    for (size_t row = 0; row < file->row_count; row++)
        if (kn_find(file, "scale", kn_cell(file, row, "scale")) == row)
            scales[count++] = read_scale(knowledge, kn_cell(file, row, "scale"));
    knowledge->model.scales = scales;
    knowledge->model.scale_count = count;
}

uint8_t kn_scale(const struct knowledge *knowledge, const char *id) {
    for (size_t i = 0; i < knowledge->model.scale_count; i++)
        if (strcmp(knowledge->model.scales[i].id, id) == 0)
            return (uint8_t)i;
    return UINT8_MAX;
}

/* ---- likelihood tables ---- */

struct anchors {
    size_t count;
    double at[MAX_ANCHORS];
    double value[MAX_ANCHORS][MAX_OBSERVATIONS]; /* -1: not given */
    size_t row[MAX_ANCHORS];
    double outside[MAX_OBSERVATIONS];
    size_t outside_row;
};

/* The values of the anchor at a fraction, which is put in its place when it is new. */
static double *anchor_at(struct anchors *anchors, double at, size_t row) {
    size_t i = 0;
    while (i < anchors->count && anchors->at[i] < at)
        i++;
    if (i < anchors->count && anchors->at[i] <= at)
        return anchors->value[i];
    if (anchors->count == MAX_ANCHORS)
        return NULL;
    for (size_t j = anchors->count++; j > i; j--) {
        anchors->at[j] = anchors->at[j - 1];
        anchors->row[j] = anchors->row[j - 1];
        memcpy(anchors->value[j], anchors->value[j - 1], sizeof anchors->value[j]);
    }
    anchors->at[i] = at;
    anchors->row[i] = row;
    for (size_t o = 0; o < MAX_OBSERVATIONS; o++)
        anchors->value[i][o] = -1;
    return anchors->value[i];
}

static void read_anchor(const struct kn_file *file, size_t row, const struct observations *observations,
                        struct anchors *anchors) {
    const char *name = kn_cell(file, row, "observation");
    size_t observation = kn_word_index(name, observations->names, observations->count);
    double probability = kn_number(file, row, "probability", 0, 1, NULL);
    if (observation == observations->count) {
        kn_fault(file, row, "observation '%s' is not on the scale of table '%s'", name,
                 kn_cell(file, row, "table"));
        return;
    }
    double *values = NULL;
    if (kn_is(file, row, "at", "outside")) {
        if (anchors->outside_row == SIZE_MAX)
            anchors->outside_row = row;
        values = anchors->outside;
    } else {
        values = anchor_at(anchors, kn_number(file, row, "at", 0, 1, NULL), row);
    }
    if (!values)
        kn_fault(file, row, "more than %d anchors", MAX_ANCHORS);
    else if (values[observation] >= 0)
        kn_fault(file, row, "'%s' is given twice at this anchor", name);
    else
        values[observation] = probability;
}

static void check_distribution(const struct kn_file *file, size_t row, double *values,
                               const struct observations *observations) {
    double sum = 0;
    for (size_t o = 0; o < observations->count; o++) {
        if (values[o] < 0) {
            kn_fault(file, row, "table '%s' at %s: no probability of '%s'", kn_cell(file, row, "table"),
                     kn_cell(file, row, "at"), observations->names[o]);
            values[o] = 0;
        }
        sum += values[o];
    }
    if (sum < 1 - KN_TOLERANCE || sum > 1 + KN_TOLERANCE)
        kn_fault(file, row, "table '%s' at %s: probabilities add to %.12g, not 1",
                 kn_cell(file, row, "table"), kn_cell(file, row, "at"), sum);
}

/* False after a complaint: the table cannot be built from its rows. */
static bool read_anchors(const struct knowledge *knowledge, size_t table_row,
                         const struct observations *observations, struct anchors *anchors) {
    const struct kn_file *tables = &knowledge->files[KN_TABLES], *file = &knowledge->files[KN_LIKELIHOODS];
    const char *id = kn_cell(tables, table_row, "id");
    size_t before = file->log->count;
    *anchors = (struct anchors){.outside_row = SIZE_MAX};
    for (size_t o = 0; o < MAX_OBSERVATIONS; o++)
        anchors->outside[o] = -1;
    for (size_t row = 0; row < file->row_count; row++)
        if (kn_is(file, row, "table", id))
            read_anchor(file, row, observations, anchors);
    if (anchors->count < 2 || anchors->at[0] > 0 || anchors->at[anchors->count - 1] < 1 ||
        anchors->outside_row == SIZE_MAX) {
        kn_fault(tables, table_row, "table '%s' needs likelihoods at 0, at 1 and outside", id);
        return false;
    }
    for (size_t i = 0; i < anchors->count; i++)
        check_distribution(file, anchors->row[i], anchors->value[i], observations);
    check_distribution(file, anchors->outside_row, anchors->outside, observations);
    return file->log->count == before;
}

/* Blurs and mixes: P = (1 - outlier) * blurred + outlier * outside. */
static const double *spread_out(struct knowledge *knowledge, size_t row, const struct anchors *anchors,
                                size_t observation_count) {
    const struct kn_file *file = &knowledge->files[KN_TABLES];
    static const char *const columns[RW_SPREAD_COUNT] = {"spread_sharp", "spread_uneven"};
    const double no_blur = (double)INFINITY;
    double outlier = kn_number(file, row, "outlier", 0, 1, NULL);
    double *probability =
        kn_new(&knowledge->arena, (size_t)RW_SPREAD_COUNT * RW_GRID * observation_count, sizeof *probability);
    for (size_t spread = 0; spread < RW_SPREAD_COUNT; spread++) {
        double concentration = kn_number(file, row, columns[spread], 0.1, 1e6, &no_blur);
        for (size_t i = 0; i < RW_GRID; i++) {
            double *cell = &probability[(spread * RW_GRID + i) * observation_count], sum = 0;
            for (size_t o = 0; o < observation_count; o++) {
                double blurred = kn_blur(anchors->at, &anchors->value[0][o], anchors->count, MAX_OBSERVATIONS,
                                         (double)i / (RW_GRID - 1), concentration);
                cell[o] = (1 - outlier) * blurred + outlier * anchors->outside[o];
                sum += cell[o];
                if (cell[o] <= 0)
                    kn_fault(file, row, "a probability of 0 at %zu; give the table an outlier share", i);
            }
            if (fabs(sum - 1) > KN_TOLERANCE)
                kn_fault(file, row, "blurred probabilities at %zu add to %.12g, not 1", i, sum);
        }
    }
    return probability;
}

static struct rw_table read_table(struct knowledge *knowledge, size_t row, uint8_t *scale) {
    const struct kn_file *file = &knowledge->files[KN_TABLES];
    struct rw_table table = {
        .id = kn_cell(file, row, "id"),
        .min_days = kn_number(file, row, "min_days", 0, 3650, NULL),
        .full_days = kn_number(file, row, "full_days", 0, 3650, NULL),
        .filled_outlier = kn_number(file, row, "filled_outlier", 0, 1, NULL),
        .source = kn_sources(&knowledge->arena, kn_cell(file, row, "source"),
                             &knowledge->files[KN_LIKELIHOODS], "table", kn_cell(file, row, "id")),
    };
    if (table.full_days < table.min_days)
        kn_fault(file, row, "full_days comes before min_days");
    *scale = kn_scale(knowledge, kn_cell(file, row, "scale"));
    if (*scale == UINT8_MAX) {
        kn_fault(file, row, "unknown scale '%s'", kn_cell(file, row, "scale"));
        return table;
    }
    struct observations observations = scale_observations(knowledge, kn_cell(file, row, "scale"));
    struct anchors anchors;
    if (!read_anchors(knowledge, row, &observations, &anchors))
        return table;
    double *outside = kn_new(&knowledge->arena, observations.count, sizeof *outside);
    memcpy(outside, anchors.outside, observations.count * sizeof *outside);
    table.observation_count = observations.count;
    table.observations = observations.names;
    table.outside = outside;
    table.probability = spread_out(knowledge, row, &anchors, observations.count);
    return table;
}

void kn_build_tables(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_TABLES];
    const struct kn_file *likelihoods = &knowledge->files[KN_LIKELIHOODS];
    struct rw_table *tables = kn_new(&knowledge->arena, file->row_count, sizeof *tables);
    uint8_t *scales = kn_new(&knowledge->arena, file->row_count, sizeof *scales);
    for (size_t row = 0; row < file->row_count; row++)
        tables[row] = read_table(knowledge, row, &scales[row]);
    for (size_t row = 0; row < likelihoods->row_count; row++)
        if (kn_find(file, "id", kn_cell(likelihoods, row, "table")) == SIZE_MAX)
            kn_fault(likelihoods, row, "unknown table '%s'", kn_cell(likelihoods, row, "table"));
    knowledge->table_scales = scales;
    knowledge->model.tables = tables;
    knowledge->model.table_count = file->row_count;
}

uint16_t kn_table(const struct knowledge *knowledge, const char *id) {
    for (size_t i = 0; i < knowledge->model.table_count; i++)
        if (strcmp(knowledge->model.tables[i].id, id) == 0)
            return (uint16_t)i;
    return RW_NONE;
}
