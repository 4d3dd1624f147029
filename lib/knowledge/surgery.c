/* Facts, distances, donors and transfers. */
#include "knowledge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static int by_id(const void *a, const void *b) {
    return strcmp(((const struct rw_fact *)a)->id, ((const struct rw_fact *)b)->id);
}

static double fact(const struct knowledge *knowledge, const char *id) {
    const struct rw_fact key = {.id = id};
    const struct rw_fact *found =
        bsearch(&key, knowledge->model.facts, knowledge->model.fact_count, sizeof key, by_id);
    if (found != NULL)
        return found->value;
    const struct kn_file *file = &knowledge->files[KN_FACTS];
    kn_complain(file->log, file->path, 1, "no fact '%s'", id);
    return 0.0;
}

void kn_build_facts(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_FACTS];
    struct rw_fact *facts = kn_new(&knowledge->arena, file->row_count, sizeof *facts);
    for (size_t row = 0; row < file->row_count; row++) {
        facts[row] = (struct rw_fact){.id = kn_cell(file, row, "id"),
                                      .unit = kn_cell(file, row, "unit"),
                                      .source = kn_cell(file, row, "source"),
                                      .value = kn_number(file, row, "value", -1e9, 1e9, NULL)};
        if (strcmp(facts[row].unit, "probability") == 0 || strcmp(facts[row].unit, "fraction") == 0)
            kn_number(file, row, "value", 0, 1, NULL);
    }
    qsort(facts, file->row_count, sizeof *facts, by_id); /* rw_fact_value searches */
    knowledge->model.facts = facts;
    knowledge->model.fact_count = file->row_count;
    static const char *const losses[2] = {"partial_loss_mild", "partial_loss_severe"};
    for (size_t i = 0; i < 2; i++)
        knowledge->model.partial_loss[i] = fact(knowledge, losses[i]);
}

/* ---- distances ---- */

static uint16_t muscle(const struct knowledge *knowledge, const struct kn_file *file, size_t row,
                       const char *id) {
    uint16_t found = kn_target(knowledge, RW_TARGET_MUSCLE, id);
    if (found == RW_NONE)
        kn_fault(file, row, "unknown muscle '%s'", id);
    return found;
}

void kn_build_distances(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_DISTANCES];
    struct rw_distance *distances = kn_new(&knowledge->arena, file->row_count, sizeof *distances);
    for (size_t row = 0; row < file->row_count; row++) {
        distances[row] = (struct rw_distance){
            .muscle = muscle(knowledge, file, row, kn_cell(file, row, "muscle")),
            .from_foramen_mm = kn_number(file, row, "mean_mm", 0, 2000, NULL),
            .low_mm = kn_number(file, row, "low_mm", 0, 2000, NULL),
            .high_mm = kn_number(file, row, "high_mm", 0, 2000, NULL),
            .source = kn_cell(file, row, "source"),
        };
        if (distances[row].low_mm > distances[row].from_foramen_mm ||
            distances[row].from_foramen_mm > distances[row].high_mm)
            kn_fault(file, row, "mean_mm does not lie between low_mm and high_mm");
    }
    knowledge->model.distances = distances;
    knowledge->model.distance_count = file->row_count;

    file = &knowledge->files[KN_SITE_DISTANCES];
    struct rw_site_distance *sites = kn_new(&knowledge->arena, file->row_count, sizeof *sites);
    for (size_t row = 0; row < file->row_count; row++) {
        sites[row] =
            (struct rw_site_distance){.site = kn_site(knowledge, kn_cell(file, row, "site")),
                                      .from_foramen_mm = kn_number(file, row, "mm", -200, 2000, NULL),
                                      .source = kn_cell(file, row, "source")};
        if (sites[row].site == UINT8_MAX)
            kn_fault(file, row, "unknown site '%s'", kn_cell(file, row, "site"));
    }
    knowledge->model.site_distances = sites;
    knowledge->model.site_distance_count = file->row_count;
}

/* ---- donors and transfers ---- */

/* Resolves the words of a cell to targets of a kind; at most `most`. Returns their number. */
static uint8_t target_list(struct knowledge *knowledge, const struct kn_file *file, size_t row,
                           const char *column, enum rw_target_kind kind, uint16_t *targets, size_t most) {
    const char *const *words = NULL;
    size_t count = kn_split(&knowledge->arena, kn_cell(file, row, column), &words);
    if (count > most) {
        kn_fault(file, row, "more than %zu %s", most, column);
        count = most;
    }
    for (size_t i = 0; i < count; i++) {
        targets[i] = kn_target(knowledge, kind, words[i]);
        if (targets[i] == RW_NONE)
            kn_fault(file, row, "unknown %s '%s'", kn_target_kinds[kind], words[i]);
        if (kn_word_index(words[i], words, i) < i)
            kn_fault(file, row, "'%s' twice in %s", words[i], column);
    }
    return (uint8_t)count;
}

/* "triceps_long_head:1 flexor_carpi_ulnaris:0.3" */
static void read_spends(struct knowledge *knowledge, const struct kn_file *file, size_t row,
                        struct rw_donor *donor) {
    const size_t most = sizeof donor->spends / sizeof *donor->spends;
    const char *const *words = NULL;
    const size_t count = kn_split(&knowledge->arena, kn_cell(file, row, "spends"), &words);
    if (count > most)
        kn_fault(file, row, "more than %zu spends", most);
    for (size_t i = 0; i < count && i < most; i++) {
        const char *colon = strchr(words[i], ':');
        char id[64], *end = NULL;
        snprintf(id, sizeof id, "%.*s", (int)strcspn(words[i], ":"), words[i]);
        donor->spends[i].muscle = muscle(knowledge, file, row, id);
        donor->spends[i].share = colon != NULL ? strtod(colon + 1, &end) : 0.0;
        if (end == NULL || *end != '\0' || !(donor->spends[i].share > 0.0 && donor->spends[i].share <= 1.0))
            kn_fault(file, row, "'%s' is not muscle:share with a share above 0, at most 1", words[i]);
        donor->spend_count++;
    }
}

static void read_stump(struct knowledge *knowledge, const struct kn_file *file, size_t row,
                       struct rw_donor *donor) {
    const char *const *words = NULL;
    const size_t count = kn_split(&knowledge->arena, kn_cell(file, row, "stump"), &words);
    if (count > sizeof donor->stump)
        kn_fault(file, row, "more than %zu sites of a stump", sizeof donor->stump);
    for (size_t i = 0; i < count && i < sizeof donor->stump; i++) {
        donor->stump[donor->stump_count++] = kn_site(knowledge, words[i]);
        if (donor->stump[i] == UINT8_MAX)
            kn_fault(file, row, "unknown site '%s'", words[i]);
    }
}

static void build_donors(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_DONORS];
    struct rw_donor *donors = kn_new(&knowledge->arena, file->row_count, sizeof *donors);
    for (size_t row = 0; row < file->row_count; row++) {
        struct rw_donor *donor = &donors[row];
        *donor = (struct rw_donor){.id = kn_cell(file, row, "id"),
                                   .label = kn_cell(file, row, "label"),
                                   .nerve = kn_cell(file, row, "nerve"),
                                   .source = kn_cell(file, row, "source"),
                                   .chest = kn_yes(file, row, "chest")};
        const bool skin = kn_target(knowledge, RW_TARGET_SKIN_NERVE, kn_cell(file, row, "tests")) != RW_NONE;
        donor->test_count =
            target_list(knowledge, file, row, "tests", skin ? RW_TARGET_SKIN_NERVE : RW_TARGET_MUSCLE,
                        donor->tests, sizeof donor->tests / sizeof *donor->tests);
        read_spends(knowledge, file, row, donor);
        read_stump(knowledge, file, row, donor);
    }
    if (file->row_count > RW_MAX_DONORS)
        kn_complain(file->log, file->path, 1, "more than %d donors", RW_MAX_DONORS);
    knowledge->model.donors = donors;
    knowledge->model.donor_count = file->row_count;
}

/* Adds up the outcome rows of a transfer. Patients of one series are alike, so that n of them count as
 * n / (1 + (n - 1) · correlation): the variance of a beta-binomial share. A pooled row is as many series. */
static void pool_outcomes(const struct knowledge *knowledge, struct rw_transfer *transfer) {
    const struct kn_file *file = &knowledge->files[KN_OUTCOMES];
    const double correlation = fact(knowledge, "outcome_correlation");
    for (size_t row = 0; row < file->row_count; row++) {
        if (!kn_is(file, row, "transfer", transfer->id))
            continue;
        double patients = kn_number(file, row, "patients", 1, 1e5, NULL);
        double successes = kn_number(file, row, "successes", 0, 1e5, NULL);
        if (successes > patients)
            kn_fault(file, row, "more successes than patients");
        if (patients > floor(patients) || successes > floor(successes))
            kn_fault(file, row, "patients and successes are whole numbers");
        const double series = kn_number(file, row, "series", 1, 1e3, NULL);
        const double effective = patients / (1.0 + (patients / series - 1.0) * correlation);
        transfer->patients += patients;
        transfer->successes += successes;
        transfer->effective_patients += effective;
        transfer->effective_successes += effective * successes / patients;
    }
}

static void check_conflicts(struct knowledge *knowledge, const struct kn_file *file, size_t row) {
    const char *const *words = NULL;
    size_t count = kn_split(&knowledge->arena, kn_cell(file, row, "conflicts"), &words);
    for (size_t i = 0; i < count; i++) {
        if (kn_find(file, "id", words[i]) == SIZE_MAX &&
            kn_find(&knowledge->files[KN_DONORS], "id", words[i]) == SIZE_MAX)
            kn_fault(file, row, "conflict with unknown transfer or donor '%s'", words[i]);
        if (kn_is(file, row, "id", words[i]))
            kn_fault(file, row, "conflict with itself");
    }
}

static void check_after(struct knowledge *knowledge, const struct kn_file *file, size_t row) {
    const char *const *words = NULL;
    const size_t count = kn_split(&knowledge->arena, kn_cell(file, row, "after"), &words);
    for (size_t i = 0; i < count; i++)
        if (kn_find(file, "family", words[i]) == SIZE_MAX)
            kn_fault(file, row, "after an unknown family '%s'", words[i]);
}

static struct rw_transfer read_transfer(struct knowledge *knowledge, size_t row) {
    static const char *const kinds[] = {"motor", "graft", "sensory", "late"};
    const struct kn_file *file = &knowledge->files[KN_TRANSFERS];
    const double unknown = (double)NAN;
    size_t donor = kn_find(&knowledge->files[KN_DONORS], "id", kn_cell(file, row, "donor"));
    struct rw_transfer transfer = {
        .id = kn_cell(file, row, "id"),
        .label = kn_cell(file, row, "label"),
        .kind = kinds[kn_word(file, row, "kind", kinds, 4)],
        .recipient = kn_cell(file, row, "recipient"),
        .source = kn_sources(&knowledge->arena, kn_cell(file, row, "source"), &knowledge->files[KN_OUTCOMES],
                             "transfer", kn_cell(file, row, "id")),
        .donor = donor == SIZE_MAX ? RW_NONE : (uint16_t)donor,
        .family = kn_cell(file, row, "family"),
        .graft = kn_yes(file, row, "graft"),
        .cuts = kn_yes(file, row, "cuts"),
        .latest_months = kn_number(file, row, "latest_months", 0, 60, &unknown),
        .after = kn_is(file, row, "after", "-") ? "" : kn_cell(file, row, "after"),
        .axon_ratio = kn_number(file, row, "axon_ratio", 0, 100, &unknown),
        .distance_mm = kn_number(file, row, "distance_mm", 0, 2000, &unknown),
        .conflicts = kn_is(file, row, "conflicts", "-") ? "" : kn_cell(file, row, "conflicts"),
        .memory = kn_yes(file, row, "memory"),
    };
    /* a late operation may move a tendon or a free muscle: no nerve is given */
    if (donor == SIZE_MAX && !(kn_is(file, row, "donor", "-") && strcmp(transfer.kind, "late") == 0))
        kn_fault(file, row, "unknown donor '%s'", kn_cell(file, row, "donor"));
    transfer.muscle_count = target_list(knowledge, file, row, "muscles", RW_TARGET_MUSCLE, transfer.muscles,
                                        sizeof transfer.muscles / sizeof *transfer.muscles);
    transfer.function_count =
        target_list(knowledge, file, row, "functions", RW_TARGET_FUNCTION, transfer.functions,
                    sizeof transfer.functions / sizeof *transfer.functions);
    transfer.area_count = target_list(knowledge, file, row, "areas", RW_TARGET_SKIN_NERVE, transfer.areas,
                                      sizeof transfer.areas / sizeof *transfer.areas);
    transfer.need_count = target_list(knowledge, file, row, "needs", RW_TARGET_MUSCLE, transfer.needs,
                                      sizeof transfer.needs / sizeof *transfer.needs);
    check_after(knowledge, file, row);
    if (strcmp(transfer.kind, "motor") == 0 && transfer.muscle_count == 0)
        kn_fault(file, row, "a motor transfer names no muscle");
    check_conflicts(knowledge, file, row);
    pool_outcomes(knowledge, &transfer);
    return transfer;
}

void kn_build_transfers(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_TRANSFERS];
    const struct kn_file *outcomes = &knowledge->files[KN_OUTCOMES];
    build_donors(knowledge);
    struct rw_transfer *transfers = kn_new(&knowledge->arena, file->row_count, sizeof *transfers);
    for (size_t row = 0; row < file->row_count; row++)
        transfers[row] = read_transfer(knowledge, row);
    for (size_t row = 0; row < outcomes->row_count; row++)
        if (kn_find(file, "id", kn_cell(outcomes, row, "transfer")) == SIZE_MAX)
            kn_fault(outcomes, row, "unknown transfer '%s'", kn_cell(outcomes, row, "transfer"));
    if (file->row_count > RW_MAX_TRANSFERS)
        kn_complain(file->log, file->path, 1, "more than %d transfers", RW_MAX_TRANSFERS);
    knowledge->model.transfers = transfers;
    knowledge->model.transfer_count = file->row_count;
}
