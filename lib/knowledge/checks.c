#include "knowledge.h"

#include <stdlib.h>
#include <string.h>

enum {
    BEDSIDE_LAST = 254,  /* at the bedside, but outside the standard set */
    INVESTIGATION = 255, /* not at the bedside */
    MAX_BEDSIDE_ORDER = 253
};

/* Words of the `items` column, beside `sign:<id>`: the things of one kind, each a check. `<word>:<id>` names
 * one of them, which then has its row (and table) to itself. */
static const struct {
    const char *word;
    enum rw_target_kind kind;
} item_sets[] = {
    {"muscles", RW_TARGET_MUSCLE},         {"groups", RW_TARGET_GROUP},
    {"movements", RW_TARGET_MOVEMENT},     {"skin_roots", RW_TARGET_SKIN_ROOT},
    {"skin_nerves", RW_TARGET_SKIN_NERVE}, {"reflexes", RW_TARGET_REFLEX},
    {"percussion", RW_TARGET_PERCUSSION},  {"roots", RW_TARGET_PREGANGLIONIC},
};
enum { ITEM_SETS = sizeof item_sets / sizeof *item_sets };

struct checks {
    struct rw_check *items;
    size_t count;
};

static bool is_investigation(enum rw_section section) {
    return strncmp(kn_sections[section], "investigations/", strlen("investigations/")) == 0;
}

/* The row of muscles.tsv or labels.tsv that describes an item; SIZE_MAX for the roots, which have none. */
static size_t item_row(const struct knowledge *knowledge, enum rw_target_kind kind, const char *id,
                       const struct kn_file **file) {
    *file = &knowledge->files[kind == RW_TARGET_MUSCLE ? KN_MUSCLES : KN_LABELS];
    for (size_t row = 0; row < (*file)->row_count; row++)
        if (kn_is(*file, row, "id", id) &&
            (kind == RW_TARGET_MUSCLE || kn_is(*file, row, "kind", kn_target_kinds[kind])))
            return row;
    return SIZE_MAX;
}

/* The target that an item of a row listens to; RW_NONE where it is only recorded. */
static uint16_t listens_to(const struct knowledge *knowledge, size_t row, enum rw_target_kind kind,
                           const char *id) {
    const struct kn_file *file = &knowledge->files[KN_CHECKS];
    const char *word = kn_cell(file, row, "target");
    const char *name = word;
    if (strcmp(word, "none") == 0)
        return RW_NONE;
    if (strcmp(word, "deafferentation") == 0)
        name = "sign.deafferentation_pain";
    char derived[128];
    snprintf(derived, sizeof derived, "%s.%s", strcmp(word, "same") == 0 ? kn_target_kinds[kind] : word, id);
    if (strcmp(word, "same") == 0 || strcmp(word, "snap") == 0 || strcmp(word, "preganglionic") == 0)
        name = derived;
    uint16_t target = kn_target_named(knowledge, name);
    if (target == RW_NONE)
        kn_fault(file, row, "unknown target '%s'", name);
    return target;
}

/* Table and scale of a row. What is only recorded names a table, a scale, or `-` for true and false. */
static void find_table(const struct knowledge *knowledge, size_t row, struct rw_check *check) {
    const struct kn_file *file = &knowledge->files[KN_CHECKS];
    const char *name = kn_cell(file, row, "table");
    uint16_t table = kn_table(knowledge, name);
    bool recorded = kn_is(file, row, "target", "none");
    uint8_t scale = table != RW_NONE ? knowledge->table_scales[table]
                                     : kn_scale(knowledge, strcmp(name, "-") == 0 ? "bool" : name);
    if (scale == UINT8_MAX || (table == RW_NONE && !recorded))
        kn_fault(file, row, "unknown table '%s'", name);
    check->scale = scale;
    check->table = recorded ? RW_NONE : table;
}

static void add_check(const struct knowledge *knowledge, struct checks *checks, size_t row,
                      enum rw_section section, enum rw_target_kind kind, const char *item,
                      const char *target_id) {
    struct rw_check check = {.section = section, .item = item, .bedside_order = BEDSIDE_LAST};
    find_table(knowledge, row, &check);
    check.target = listens_to(knowledge, row, kind, target_id);
    const struct kn_file *file = NULL;
    size_t described = item_row(knowledge, kind, item, &file);
    if (described != SIZE_MAX) {
        check.label = kn_cell(file, described, "label");
        check.help = kn_is(file, described, "help", "-") ? NULL : kn_cell(file, described, "help");
    }
    if (is_investigation(section)) {
        check.bedside_order = INVESTIGATION;
    } else if (described != SIZE_MAX && !kn_is(file, described, "bedside", "-")) {
        check.bedside_order = (uint8_t)kn_number(file, described, "bedside", 0, MAX_BEDSIDE_ORDER, NULL);
        check.standard = section != RW_SECTION_WASTING; /* the standard set is of power, not of bulk */
    }
    if (checks->count == RW_MAX_CHECKS)
        kn_fault(&knowledge->files[KN_CHECKS], row, "more than %d checks", RW_MAX_CHECKS);
    else
        checks->items[checks->count++] = check;
}

static bool has_own_row(const struct knowledge *knowledge, size_t row, const char *word, const char *item) {
    const struct kn_file *file = &knowledge->files[KN_CHECKS];
    char own[128];
    snprintf(own, sizeof own, "%s:%s", word, item);
    for (size_t other = 0; other < file->row_count; other++)
        if (kn_is(file, other, "section", kn_cell(file, row, "section")) && kn_is(file, other, "items", own))
            return true;
    return false;
}

/* Adds the items of a set that have no row of their own; with `only`, the item of that name alone. Returns
 * whether there was any. */
static bool add_set(const struct knowledge *knowledge, struct checks *checks, size_t row,
                    enum rw_section section, size_t set, const char *only) {
    const enum rw_target_kind kind = item_sets[set].kind;
    bool any = false;
    for (size_t i = 0; i < knowledge->model.target_count; i++) {
        const struct rw_target *target = &knowledge->model.targets[i];
        if (target->kind != kind)
            continue;
        const char *item = target->id;
        if (kind == RW_TARGET_PREGANGLIONIC)
            item += strlen("preganglionic.");
        if (only ? strcmp(item, only) != 0 : has_own_row(knowledge, row, item_sets[set].word, item))
            continue;
        add_check(knowledge, checks, row, section, kind, item, item);
        any = true;
    }
    return any;
}

static void read_check_row(const struct knowledge *knowledge, struct checks *checks, size_t row,
                           bool used[ITEM_SETS]) {
    const struct kn_file *file = &knowledge->files[KN_CHECKS];
    enum rw_section section = (enum rw_section)kn_word(file, row, "section", kn_sections, RW_SECTION_COUNT);
    const char *items = kn_cell(file, row, "items");
    if (strcmp(items, "single") == 0) {
        add_check(knowledge, checks, row, section, RW_TARGET_SIGN, "", "");
        return;
    }
    if (strncmp(items, "sign:", 5) == 0) {
        const struct kn_file *labels = NULL;
        if (item_row(knowledge, RW_TARGET_SIGN, items + 5, &labels) == SIZE_MAX)
            kn_fault(file, row, "sign '%s' has no label", items + 5);
        add_check(knowledge, checks, row, section, RW_TARGET_SIGN, items + 5, items + 5);
        return;
    }
    const size_t word = strcspn(items, ":");
    const char *only = items[word] == ':' ? items + word + 1 : NULL;
    for (size_t i = 0; i < ITEM_SETS; i++)
        if (strncmp(items, item_sets[i].word, word) == 0 && item_sets[i].word[word] == '\0') {
            used[i] = used[i] || only == NULL;
            if (add_set(knowledge, checks, row, section, i, only) || only == NULL)
                return;
        }
    kn_fault(file, row, "unknown items '%s'", items);
}

static int compare_checks(const void *left, const void *right) {
    const struct rw_check *a = left, *b = right;
    if (a->section != b->section)
        return a->section < b->section ? -1 : 1;
    return strcmp(a->item, b->item);
}

/* Whether a check in the section of signs is for the sign, or listens to its target. */
static bool sign_is_checked(const struct checks *checks, const char *id, uint16_t target) {
    for (size_t i = 0; i < checks->count; i++)
        if (checks->items[i].section == RW_SECTION_SIGN &&
            (strcmp(checks->items[i].item, id) == 0 ||
             (target != RW_NONE && checks->items[i].target == target)))
            return true;
    return false;
}

/* Nothing that is labelled may be left without a check, nor a section without an item. */
static void check_coverage(const struct knowledge *knowledge, const struct checks *checks,
                           const bool used[ITEM_SETS]) {
    const struct kn_file *file = &knowledge->files[KN_CHECKS], *labels = &knowledge->files[KN_LABELS];
    for (size_t i = 0; i < ITEM_SETS; i++)
        if (!used[i])
            kn_complain(file->log, file->path, 1, "no check of %s", item_sets[i].word);
    for (size_t section = 0; section < RW_SECTION_COUNT; section++)
        if (kn_find(file, "section", kn_sections[section]) == SIZE_MAX)
            kn_complain(file->log, file->path, 1, "no check in section %s", kn_sections[section]);
    for (size_t row = 0; row < labels->row_count; row++) {
        const char *id = kn_cell(labels, row, "id");
        if (kn_is(labels, row, "kind", "sign") &&
            !sign_is_checked(checks, id, kn_target(knowledge, RW_TARGET_SIGN, id)))
            kn_fault(labels, row, "no check of sign '%s'", id);
    }
}

void kn_build_checks(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_CHECKS];
    struct checks checks = {.items = kn_new(&knowledge->arena, RW_MAX_CHECKS, sizeof *checks.items)};
    bool used[ITEM_SETS] = {false};
    for (size_t row = 0; row < file->row_count; row++)
        read_check_row(knowledge, &checks, row, used);
    check_coverage(knowledge, &checks, used);
    qsort(checks.items, checks.count, sizeof *checks.items, compare_checks);
    for (size_t i = 1; i < checks.count; i++)
        if (compare_checks(&checks.items[i - 1], &checks.items[i]) == 0)
            kn_complain(file->log, file->path, 1, "%s has '%s' twice", kn_sections[checks.items[i].section],
                        checks.items[i].item);
    knowledge->model.checks = checks.items;
    knowledge->model.check_count = checks.count;
}
