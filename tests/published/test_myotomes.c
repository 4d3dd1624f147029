/* The model's root weights against published tables of root supply (myotomes.tsv) and against a handbook
 * table entered from memory (handbook_memory.tsv). What differs must stand in disagreements.tsv, and
 * nothing may stand there that no longer differs. */
#include "sheet.h"

#include <criterion/criterion.h>
#include <rootward.h>
#include <stdio.h>
#include <string.h>

enum { MAX_ITEMS = 12, MAX_FOUND = 256 };

static const double least_supply = 0.8;   /* share that the listed roots must carry */
static const double main_tolerance = 0.1; /* by which a main root may fall short of the largest weight */
static const double rounding = 1e-9;

struct weights {
    double of[RW_SEGMENT_COUNT];
};

/* A root of a table, or roots taken together ("C8+T1"). */
struct item {
    bool of[RW_SEGMENT_COUNT];
    bool main;
};
struct supply {
    size_t count;
    struct item items[MAX_ITEMS];
};

enum rule { RULE_MAIN, RULE_SUPPLY, RULE_COUNT };
static const char *const rule_names[RULE_COUNT] = {"main", "supply"};

/* What was found to differ; the words lie in the loaded sheets. */
struct difference {
    const char *table, *muscle;
    enum rule rule;
    struct weights weights;
};
struct findings {
    size_t rows, agreeing, count, mistakes;
    struct difference list[MAX_FOUND];
};

static void add_bundles(struct weights *weights, uint16_t target, double share) {
    const struct rw_model *model = rw_model();
    struct rw_range range = model->ranges[target]; /* variant 0: the usual form */
    for (size_t i = 0; i < range.count; i++) {
        const struct rw_bundle *bundle = &model->bundles[range.first + i];
        weights->of[bundle->segment] += share * bundle->weight;
    }
}

/* Weights of a muscle, or of a group as the mean of its parts by their shares. */
static bool weights_of(const char *id, struct weights *weights) {
    const struct rw_model *model = rw_model();
    *weights = (struct weights){0};
    uint16_t muscle = rw_target_find(RW_TARGET_MUSCLE, id);
    if (muscle != RW_NONE) {
        add_bundles(weights, muscle, 1.0);
        return true;
    }
    uint16_t group = rw_target_find(RW_TARGET_GROUP, id);
    for (size_t i = 0; group != RW_NONE && i < model->member_count; i++) {
        if (model->members[i].owner == group)
            add_bundles(weights, model->members[i].muscle, model->members[i].share);
    }
    return group != RW_NONE;
}

static bool add_root(struct item *item, const char *word) {
    for (int i = 0; i < RW_SEGMENT_COUNT; i++) {
        if (strcmp(word, rw_segment_name((enum rw_segment)i)) == 0) {
            item->of[i] = true;
            return true;
        }
    }
    return false;
}

/* "C5*,C6,(C7)" or "C7*,C8+T1*". */
static bool parse_supply(const char *text, struct supply *supply) {
    char word[32], root[8];
    *supply = (struct supply){0};
    while (next_word(&text, ",", word, sizeof word)) {
        if (supply->count == MAX_ITEMS)
            return false;
        struct item *item = &supply->items[supply->count++];
        item->main = strchr(word, '*') != NULL;
        const char *rest = word;
        while (next_word(&rest, "+()*", root, sizeof root)) {
            if (!add_root(item, root))
                return false;
        }
    }
    return supply->count > 0;
}

static double item_weight(const struct weights *weights, const struct item *item) {
    double sum = 0;
    for (size_t i = 0; i < RW_SEGMENT_COUNT; i++)
        sum += item->of[i] ? weights->of[i] : 0;
    return sum;
}

static bool supply_agrees(const struct weights *weights, const struct supply *supply) {
    struct item all = {0};
    for (size_t i = 0; i < supply->count; i++) {
        for (size_t root = 0; root < RW_SEGMENT_COUNT; root++)
            all.of[root] |= supply->items[i].of[root];
    }
    return item_weight(weights, &all) >= least_supply - rounding;
}

/* The largest weight among the items and the roots that no item names. */
static double largest_weight(const struct weights *weights, const struct supply *supply) {
    double largest = 0;
    struct weights rest = *weights;
    for (size_t i = 0; i < supply->count; i++) {
        double weight = item_weight(weights, &supply->items[i]);
        largest = weight > largest ? weight : largest;
        for (size_t root = 0; root < RW_SEGMENT_COUNT; root++)
            rest.of[root] = supply->items[i].of[root] ? 0 : rest.of[root];
    }
    for (size_t root = 0; root < RW_SEGMENT_COUNT; root++)
        largest = rest.of[root] > largest ? rest.of[root] : largest;
    return largest;
}

static bool main_agrees(const struct weights *weights, const struct supply *supply) {
    double least = largest_weight(weights, supply) - main_tolerance - rounding;
    for (size_t i = 0; i < supply->count; i++) {
        if (supply->items[i].main && item_weight(weights, &supply->items[i]) < least)
            return false;
    }
    return true;
}

static void compare(struct findings *findings, const char *table, const char *muscle,
                    const struct supply *supply, bool whole_supply) {
    struct difference found = {.table = table, .muscle = muscle};
    findings->rows++;
    if (!weights_of(muscle, &found.weights)) {
        fprintf(stderr, "%s: %s is neither a muscle nor a group\n", table, muscle);
        findings->mistakes++;
        return;
    }
    bool agrees[RULE_COUNT] = {[RULE_MAIN] = main_agrees(&found.weights, supply),
                               [RULE_SUPPLY] = !whole_supply || supply_agrees(&found.weights, supply)};
    findings->agreeing += agrees[RULE_MAIN] && agrees[RULE_SUPPLY];
    for (int rule = 0; rule < RULE_COUNT; rule++) {
        if (agrees[rule])
            continue;
        found.rule = (enum rule)rule;
        if (findings->count < MAX_FOUND)
            findings->list[findings->count++] = found;
    }
}

/* "C5 0.45 C6 0.50 C7 0.05" */
static void print_weights(const struct weights *weights, char *text, size_t size) {
    size_t used = 0;
    text[0] = '\0';
    for (int i = 0; i < RW_SEGMENT_COUNT && used < size; i++) {
        if (weights->of[i] > 0)
            used += (size_t)snprintf(text + used, size - used, "%s%s %.2f", used ? " " : "",
                                     rw_segment_name((enum rw_segment)i), weights->of[i]);
    }
}

/* Row of disagreements.tsv for a difference, or row_count. */
static size_t row_of(const struct sheet *listed, const struct difference *difference) {
    size_t row = 0;
    while (row < listed->row_count &&
           (strcmp(sheet_cell(listed, row, "table"), difference->table) != 0 ||
            strcmp(sheet_cell(listed, row, "muscle"), difference->muscle) != 0 ||
            strcmp(sheet_cell(listed, row, "differs"), rule_names[difference->rule]) != 0))
        row++;
    return row;
}

/* Differences and list must be the same, our value in the list the present one, and the reason given. */
static size_t against_list(const struct findings *findings, const struct sheet *listed) {
    size_t faults = findings->mistakes;
    bool met[SHEET_ROWS] = {false};
    for (size_t i = 0; i < findings->count; i++) {
        const struct difference *difference = &findings->list[i];
        char ours[128];
        print_weights(&difference->weights, ours, sizeof ours);
        size_t row = row_of(listed, difference);
        bool known = row < listed->row_count && strcmp(sheet_cell(listed, row, "ours"), ours) == 0;
        if (!known) {
            fprintf(stderr, "%s, %s: %s differs, ours is %s: %s\n", difference->table, difference->muscle,
                    rule_names[difference->rule], ours,
                    row < listed->row_count ? "the list holds another value" : "not in disagreements.tsv");
            faults++;
        }
        if (row < listed->row_count)
            met[row] = true;
    }
    for (size_t row = 0; row < listed->row_count; row++) {
        if (!met[row] || strlen(sheet_cell(listed, row, "reason")) < 10 ||
            !*sheet_cell(listed, row, "source")) {
            fprintf(stderr, "disagreements.tsv:%zu: %s\n", listed->rows[row].line,
                    met[row] ? "without reason or source" : "differs no longer");
            faults++;
        }
    }
    return faults;
}

static void compare_published(const struct sheet *sheet, struct findings *findings) {
    for (size_t row = 0; row < sheet->row_count; row++) {
        struct supply supply;
        if (!parse_supply(sheet_cell(sheet, row, "roots"), &supply)) {
            fprintf(stderr, "myotomes.tsv:%zu: roots not understood\n", sheet->rows[row].line);
            findings->mistakes++;
            continue;
        }
        compare(findings, sheet_cell(sheet, row, "table"), sheet_cell(sheet, row, "muscle"), &supply,
                strcmp(sheet_cell(sheet, row, "scope"), "supply") == 0);
    }
}

static void compare_handbook(const struct sheet *sheet, struct findings *findings) {
    for (size_t row = 0; row < sheet->row_count; row++) {
        struct supply supply, main_roots;
        bool understood = parse_supply(sheet_cell(sheet, row, "roots"), &supply) &&
                          parse_supply(sheet_cell(sheet, row, "main"), &main_roots);
        for (size_t i = 0; understood && i < main_roots.count; i++) {
            size_t same = 0;
            while (same < supply.count &&
                   memcmp(supply.items[same].of, main_roots.items[i].of, sizeof supply.items[0].of) != 0)
                same++;
            understood = same < supply.count;
            if (understood)
                supply.items[same].main = true;
        }
        if (!understood) {
            fprintf(stderr, "handbook_memory.tsv:%zu: roots not understood\n", sheet->rows[row].line);
            findings->mistakes++;
            continue;
        }
        compare(findings, "handbook_memory", sheet_cell(sheet, row, "muscle"), &supply, true);
    }
}

Test(myotomes, weights_agree_with_published_tables_or_say_why) {
    struct sheet published, handbook, listed;
    cr_assert(sheet_load(&published, "myotomes.tsv"));
    cr_assert(sheet_load(&handbook, "handbook_memory.tsv"));
    cr_assert(sheet_load(&listed, "disagreements.tsv"));
    struct findings findings = {0};
    compare_published(&published, &findings);
    size_t rows = findings.rows, agreeing = findings.agreeing;
    compare_handbook(&handbook, &findings);
    fprintf(stderr, "myotomes: %zu of %zu rows of published tables agree\n", agreeing, rows);
    fprintf(stderr, "myotomes: %zu of %zu rows of the handbook table from memory agree\n",
            findings.agreeing - agreeing, findings.rows - rows);
    size_t faults = against_list(&findings, &listed);
    cr_expect_gt(rows, 50);
    sheet_free(&listed);
    sheet_free(&handbook);
    sheet_free(&published);
    cr_assert_eq(faults, 0, "%zu differences between the model, the tables and disagreements.tsv", faults);
}
