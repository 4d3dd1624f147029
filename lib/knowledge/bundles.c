#include "knowledge.h"

#include <string.h>

static const char *const entries[] = {"none", "all", "proximal", "post", "pre"}; /* by enum rw_entry */

/* The path of a strand must lead outwards all the way: the root's sites, then the route's. */
static void check_path(const struct knowledge *knowledge, const struct kn_file *file, size_t row,
                       const struct kn_strand *strand) {
    uint8_t root = kn_root_of(strand->segment);
    if (root == KN_NO_ROOT || strand->route->site_count == 0)
        return;
    const struct rw_site *sites = knowledge->model.sites;
    const struct rw_site *last = &sites[root * 3 + (strand->entry == RW_ENTRY_PROXIMAL ? 1 : 2)];
    const struct rw_site *first = &sites[strand->route->sites[0]];
    if (last->depth >= first->depth)
        kn_fault(file, row, "runs uphill from '%s' to '%s'", last->id, first->id);
}

static void check_entry(const struct kn_file *file, size_t row, const struct kn_strand *strand,
                        const struct rw_target *target) {
    bool plexus = kn_root_of(strand->segment) != KN_NO_ROOT;
    if (plexus != (strand->entry != RW_ENTRY_NONE))
        kn_fault(file, row, "entry is none for segments outside C5 to T1, and for no other");
    if (strand->entry == RW_ENTRY_PRE ||
        (strand->entry == RW_ENTRY_POST && target->kind != RW_TARGET_PERCUSSION) ||
        (strand->entry == RW_ENTRY_PROXIMAL && target->kind != RW_TARGET_MUSCLE &&
         target->kind != RW_TARGET_SIGN))
        kn_fault(file, row, "entry %s does not suit a %s", entries[strand->entry],
                 kn_target_kinds[target->kind]);
}

/* What may have rows of its own; the rest is derived. */
static bool may_be_fed(enum rw_target_kind kind) {
    return kind == RW_TARGET_MUSCLE || kind == RW_TARGET_SKIN_ROOT || kind == RW_TARGET_SKIN_NERVE ||
           kind == RW_TARGET_REFLEX || kind == RW_TARGET_SIGN || kind == RW_TARGET_PERCUSSION;
}

/* Index of the target of a row, or RW_NONE after a complaint. */
static uint16_t row_target(const struct knowledge *knowledge, const struct kn_file *file, size_t row) {
    const char *name = kn_cell(file, row, "target");
    uint16_t target = kn_target_named(knowledge, name);
    if (target != RW_NONE && may_be_fed(knowledge->model.targets[target].kind))
        return target;
    kn_fault(file, row, "unknown target '%s'", name);
    return RW_NONE;
}

static struct kn_strand read_strand(const struct knowledge *knowledge, const struct kn_file *file, size_t row,
                                    const struct rw_target *target) {
    struct kn_strand strand = {
        .segment = (enum rw_segment)kn_word(file, row, "segment", kn_segments, RW_SEGMENT_COUNT),
        .entry = (enum rw_entry)kn_word(file, row, "entry", entries, sizeof entries / sizeof *entries),
        .route = kn_route(knowledge, kn_cell(file, row, "route")),
        .weight = kn_number(file, row, "weight", 0, 1, NULL),
    };
    if (strand.weight <= 0)
        kn_fault(file, row, "weight is not above 0");
    check_entry(file, row, &strand, target);
    if (strand.route) {
        strand.route->used = true;
        check_path(knowledge, file, row, &strand);
    } else if (!kn_is(file, row, "route", "-")) {
        kn_fault(file, row, "unknown route '%s'", kn_cell(file, row, "route"));
    }
    return strand;
}

/* Sum of weights and the one entry of the strands of a target, whose rows begin at `row`. */
static void check_strands(const struct kn_file *file, size_t row, const struct kn_strands *strands,
                          struct rw_target *target) {
    double sum = 0;
    for (size_t i = 0; i < strands->count; i++) {
        sum += strands->items[i].weight;
        enum rw_entry entry = strands->items[i].entry;
        if (entry == RW_ENTRY_NONE)
            continue;
        if (target->entry == RW_ENTRY_NONE)
            target->entry = entry;
        else if (target->entry != entry)
            kn_fault(file, row, "%s.%s has bundles of entry %s and %s", kn_target_kinds[target->kind],
                     target->id, entries[target->entry], entries[entry]);
    }
    if (sum < 1 - KN_TOLERANCE || sum > 1 + KN_TOLERANCE)
        kn_fault(file, row, "weights of %s.%s add to %.12g, not 1", kn_target_kinds[target->kind], target->id,
                 sum);
}

struct kn_strands *kn_read_strands(struct knowledge *knowledge, const struct kn_file *file,
                                   const char *variant) {
    struct rw_target *targets = knowledge->targets;
    size_t target_count = knowledge->model.target_count;
    struct kn_strands *all = kn_new(&knowledge->arena, target_count, sizeof *all);
    size_t *first_row = kn_new(&knowledge->arena, target_count, sizeof *first_row);
    for (size_t row = 0; row < file->row_count; row++) {
        if (variant && !kn_is(file, row, "variant", variant))
            continue;
        uint16_t target = row_target(knowledge, file, row);
        if (target == RW_NONE)
            continue;
        struct kn_strands *strands = &all[target];
        if (strands->count == 0) {
            strands->items = kn_new(&knowledge->arena, file->row_count - row, sizeof *strands->items);
            first_row[target] = row;
        }
        strands->items[strands->count++] = read_strand(knowledge, file, row, &targets[target]);
    }
    for (size_t i = 0; i < target_count; i++)
        if (all[i].count > 0)
            check_strands(file, first_row[i], &all[i], &targets[i]);
    return all;
}
