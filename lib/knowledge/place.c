/* Bundles of every target in every joint variant, with their sites. */
#include "../likelihood.h" /* for the engine's caps */
#include "knowledge.h"

#include <stdlib.h>
#include <string.h>

enum { MAX_PATH = 3 + KN_MAX_ROUTE };

/* The bundles of one target in one variant: no two with the same segment, entry and sites. */
struct placed {
    struct rw_bundle *items;
    size_t count, capacity;
};

struct work {
    struct knowledge *knowledge;
    const struct kn_variants *variants;
    struct kn_strands *usual;               /* [target] of bundles.tsv */
    struct kn_strands *links[KN_MAX_LINKS]; /* [target] that a link replaces */
    struct placed *placed;                  /* [variant * target_count + target] */
};

static bool same_path(const struct rw_bundle *a, const struct rw_bundle *b) {
    return a->segment == b->segment && a->entry == b->entry && a->site_count == b->site_count &&
           (a->site_count == 0 || memcmp(a->sites, b->sites, a->site_count) == 0);
}

static int compare_paths(const void *left, const void *right) {
    const struct rw_bundle *a = left, *b = right;
    if (a->segment != b->segment)
        return a->segment < b->segment ? -1 : 1;
    if (a->entry != b->entry)
        return a->entry < b->entry ? -1 : 1;
    size_t shared = a->site_count < b->site_count ? a->site_count : b->site_count;
    int order = shared == 0 ? 0 : memcmp(a->sites, b->sites, shared);
    return order != 0 ? order : (int)a->site_count - (int)b->site_count;
}

static void add(struct work *work, struct placed *placed, const struct rw_bundle *bundle) {
    for (size_t i = 0; i < placed->count; i++)
        if (same_path(&placed->items[i], bundle)) {
            placed->items[i].weight += bundle->weight;
            return;
        }
    if (placed->count == placed->capacity) {
        size_t capacity = placed->capacity ? 2 * placed->capacity : 8;
        struct rw_bundle *items = kn_new(&work->knowledge->arena, capacity, sizeof *items);
        if (placed->count > 0)
            memcpy(items, placed->items, placed->count * sizeof *items);
        placed->items = items;
        placed->capacity = capacity;
    }
    placed->items[placed->count++] = *bundle;
}

/* Adds a strand with the root sites that its entry runs through in front of its route. */
static void place(struct work *work, struct placed *placed, const struct kn_strand *strand) {
    static const struct {
        uint8_t first, count;
    } root_parts[] = {[RW_ENTRY_NONE] = {0, 0},
                      [RW_ENTRY_ALL] = {0, 3},
                      [RW_ENTRY_PROXIMAL] = {0, 2},
                      [RW_ENTRY_POST] = {1, 2},
                      [RW_ENTRY_PRE] = {0, 1}};
    uint8_t *sites = kn_new(&work->knowledge->arena, MAX_PATH, 1);
    size_t count = 0;
    for (uint8_t part = 0; part < root_parts[strand->entry].count; part++)
        sites[count++] = (uint8_t)(kn_root_of(strand->segment) * 3 + root_parts[strand->entry].first + part);
    for (size_t i = 0; strand->route && i < strand->route->site_count; i++)
        sites[count++] = strand->route->sites[i];
    add(work, placed,
        &(struct rw_bundle){.segment = (uint8_t)strand->segment,
                            .entry = (uint8_t)strand->entry,
                            .site_count = (uint8_t)count,
                            .weight = strand->weight,
                            .sites = sites});
}

/* Places a strand of a form: parts of it may come from other segments than usual. */
static void place_shifted(struct work *work, struct placed *placed, size_t form,
                          const struct kn_strand *strand) {
    const struct kn_shift *shifts = work->variants->shifts[form];
    double stays = 1;
    for (size_t i = 0; i < work->variants->shift_counts[form]; i++) {
        if (shifts[i].from != strand->segment)
            continue;
        struct kn_strand moved = *strand;
        moved.segment = shifts[i].to;
        moved.weight *= shifts[i].fraction;
        if (kn_root_of(moved.segment) == KN_NO_ROOT)
            moved.entry = RW_ENTRY_NONE;
        stays -= shifts[i].fraction;
        place(work, placed, &moved);
    }
    if (stays > KN_TOLERANCE) {
        struct kn_strand rest = *strand;
        rest.weight *= stays;
        place(work, placed, &rest);
    }
}

/* The strands of a target when the links of mask are present. */
static const struct kn_strands *strands_of(const struct work *work, size_t mask, size_t target) {
    for (size_t link = 0; link < work->variants->link_count; link++)
        if (mask >> link & 1 && work->links[link][target].count > 0)
            return &work->links[link][target];
    return &work->usual[target];
}

static void place_fed(struct work *work, struct placed *row, size_t form, size_t mask) {
    const struct rw_model *model = &work->knowledge->model;
    for (size_t target = 0; target < model->target_count; target++) {
        const struct kn_strands *strands = strands_of(work, mask, target);
        for (size_t i = 0; i < strands->count; i++)
            place_shifted(work, &row[target], form, &strands->items[i]);
        if (model->targets[target].kind != RW_TARGET_SKIN_NERVE)
            continue;
        const char *snap = kn_format(&work->knowledge->arena, "snap.%s", model->targets[target].id);
        uint16_t sensory = kn_target(work->knowledge, RW_TARGET_SNAP, snap);
        for (size_t i = 0; i < strands->count; i++) {
            struct kn_strand strand = strands->items[i];
            if (strand.entry == RW_ENTRY_ALL)
                strand.entry = RW_ENTRY_POST;
            place_shifted(work, &row[sensory], form, &strand);
        }
    }
}

/* What the tearing of a root from the cord alone shows: one target a root, and one over all five. */
static void place_preganglionic(struct work *work, struct placed *row) {
    uint16_t pain = kn_target(work->knowledge, RW_TARGET_SIGN, "deafferentation_pain");
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        const char *id = kn_format(&work->knowledge->arena, "preganglionic.%s", kn_root_name(root));
        struct kn_strand strand = {.segment = kn_segment_of(root), .entry = RW_ENTRY_PRE, .weight = 1};
        place(work, &row[kn_target(work->knowledge, RW_TARGET_PREGANGLIONIC, id)], &strand);
        strand.weight = 1.0 / RW_PLEXUS_ROOTS;
        if (pain != RW_NONE)
            place(work, &row[pain], &strand);
    }
}

static void place_combinations(struct work *work, struct placed *row) {
    const struct rw_model *model = &work->knowledge->model;
    for (size_t i = 0; i < model->member_count; i++) {
        const struct rw_member *member = &model->members[i];
        const struct placed *muscle = &row[member->muscle];
        for (size_t j = 0; j < muscle->count && !kn_steadies(member); j++) {
            struct rw_bundle bundle = muscle->items[j];
            bundle.weight *= member->share;
            add(work, &row[member->owner], &bundle);
        }
    }
    for (size_t i = 0; i < model->member_count; i++) {
        if (i > 0 && model->members[i - 1].owner == model->members[i].owner)
            continue;
        struct placed *owner = &row[model->members[i].owner];
        double sum = 0;
        for (size_t j = 0; j < owner->count; j++)
            sum += owner->items[j].weight;
        for (size_t j = 0; j < owner->count; j++)
            owner->items[j].weight /= sum;
    }
}

static bool same_anatomy(const struct placed *a, const struct placed *b) {
    if (a->count != b->count)
        return false;
    for (size_t i = 0; i < a->count; i++)
        if (!same_path(&a->items[i], &b->items[i]) || a->items[i].weight != b->items[i].weight)
            return false;
    return true;
}

/* Lays the bundles out, each anatomy of a target once. */
static void lay_out(struct work *work) {
    struct rw_model *model = &work->knowledge->model;
    size_t cells = model->variant_count * model->target_count, most = 0, count = 0;
    for (size_t i = 0; i < cells; i++) {
        if (work->placed[i].count > 0)
            qsort(work->placed[i].items, work->placed[i].count, sizeof *work->placed[i].items, compare_paths);
        most += work->placed[i].count;
    }
    struct rw_bundle *bundles = kn_new(&work->knowledge->arena, most, sizeof *bundles);
    struct rw_range *ranges = kn_new(&work->knowledge->arena, cells, sizeof *ranges);
    for (size_t i = 0; i < cells; i++) {
        const struct placed *placed = &work->placed[i];
        size_t earlier = i % model->target_count;
        while (earlier < i && !same_anatomy(&work->placed[earlier], placed))
            earlier += model->target_count;
        if (earlier < i) {
            ranges[i] = ranges[earlier];
            continue;
        }
        ranges[i] = (struct rw_range){.first = (uint32_t)count, .count = (uint16_t)placed->count};
        for (size_t j = 0; j < placed->count; j++) {
            bundles[count] = placed->items[j];
            bundles[count++].target = (uint16_t)(i % model->target_count);
        }
    }
    model->bundles = bundles;
    model->bundle_count = count;
    model->ranges = ranges;
}

/* ---- checks ---- */

/* Every target must be fed, and from one kind of row only. */
static void check_fed(struct work *work) {
    const struct rw_model *model = &work->knowledge->model;
    for (size_t i = 0; i < model->target_count; i++) {
        const struct rw_target *target = &model->targets[i];
        bool muscle = target->kind == RW_TARGET_MUSCLE, combined = false;
        const struct kn_file *file = &work->knowledge->files[muscle ? KN_MUSCLES : KN_LABELS];
        for (size_t j = 0; j < model->member_count; j++)
            combined |= model->members[j].owner == i;
        size_t row = 0;
        while (row < file->row_count &&
               !(kn_is(file, row, "id", target->id) &&
                 (muscle || kn_is(file, row, "kind", kn_target_kinds[target->kind]))))
            row++;
        if (row == file->row_count)
            continue; /* a derived target */
        if (work->placed[i].count == 0)
            kn_fault(file, row, "%s.%s has neither bundles nor a combination", kn_target_kinds[target->kind],
                     target->id);
        if (work->usual[i].count > 0 && combined)
            kn_fault(file, row, "%s.%s has both bundles and a combination", kn_target_kinds[target->kind],
                     target->id);
    }
}

/* A combination feels root lesions as its muscles do, so these must agree. */
static void settle_combined(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_COMBINATIONS];
    for (size_t i = 0; i < knowledge->model.member_count; i++) {
        const struct rw_member *member = &knowledge->model.members[i];
        struct rw_target *owner = &knowledge->targets[member->owner];
        const struct rw_target *muscle = &knowledge->targets[member->muscle];
        if (owner->entry == RW_ENTRY_NONE)
            owner->entry = muscle->entry;
        if (muscle->entry == RW_ENTRY_NONE || muscle->entry == owner->entry || kn_steadies(member))
            continue;
        for (size_t row = 0; row < file->row_count; row++)
            if (kn_is(file, row, "kind", kn_target_kinds[owner->kind]) &&
                kn_is(file, row, "owner", owner->id) && kn_is(file, row, "muscle", muscle->id))
                kn_fault(file, row, "%s '%s' mixes muscles of different entry", kn_target_kinds[owner->kind],
                         owner->id);
    }
}

static void settle_derived(struct knowledge *knowledge) {
    for (size_t i = 0; i < knowledge->model.target_count; i++) {
        struct rw_target *target = &knowledge->targets[i];
        bool pain = target->kind == RW_TARGET_SIGN && strcmp(target->id, "deafferentation_pain") == 0;
        if (target->kind == RW_TARGET_PREGANGLIONIC || pain)
            target->entry = RW_ENTRY_PRE;
        if (target->kind != RW_TARGET_SNAP)
            continue;
        uint16_t skin = kn_target(knowledge, RW_TARGET_SKIN_NERVE, target->id + strlen("snap."));
        target->entry = knowledge->targets[skin].entry == RW_ENTRY_NONE ? RW_ENTRY_NONE : RW_ENTRY_POST;
    }
}

/* The engine keeps a bit for each bundle of a target, and two worlds for each joint variant. */
static void check_caps(const struct work *work) {
    const struct rw_model *model = &work->knowledge->model;
    const struct kn_file *file = &work->knowledge->files[KN_VARIANTS];
    if (model->variant_count > RW_MAX_WORLDS / 2)
        kn_complain(file->log, file->path, 1, "%zu joint variants, at most %d", model->variant_count,
                    RW_MAX_WORLDS / 2);
    for (size_t i = 0; i < model->variant_count * model->target_count; i++) {
        const struct rw_target *target = &model->targets[i % model->target_count];
        if (work->placed[i].count > RW_MAX_VIEW_BUNDLES)
            kn_complain(file->log, file->path, 1, "%zu bundles feed %s.%s in variant %s, at most %d",
                        work->placed[i].count, kn_target_kinds[target->kind], target->id,
                        model->variants[i / model->target_count].id, RW_MAX_VIEW_BUNDLES);
    }
}

static void check_routes_used(const struct knowledge *knowledge) {
    for (size_t i = 0; i < knowledge->route_count; i++)
        if (!knowledge->routes[i].used)
            kn_fault(&knowledge->files[KN_ROUTES], i, "no bundle takes route '%s'", knowledge->routes[i].id);
}

/* Two links that replace the same target would contradict each other. */
static void check_links_apart(const struct work *work) {
    const struct kn_file *file = &work->knowledge->files[KN_VARIANTS];
    for (size_t link = 0; link < work->variants->link_count; link++)
        for (size_t other = 0; other < link; other++)
            for (size_t i = 0; i < work->knowledge->model.target_count; i++)
                if (work->links[link][i].count > 0 && work->links[other][i].count > 0)
                    kn_fault(file, work->variants->links[link], "an earlier link also replaces '%s'",
                             work->knowledge->targets[i].id);
}

void kn_build_bundles(struct knowledge *knowledge, const struct kn_variants *variants) {
    const struct rw_model *model = &knowledge->model;
    struct work work = {.knowledge = knowledge, .variants = variants};
    work.usual = kn_read_strands(knowledge, &knowledge->files[KN_BUNDLES], NULL);
    for (size_t link = 0; link < variants->link_count; link++)
        work.links[link] =
            kn_read_strands(knowledge, &knowledge->files[KN_VARIANT_BUNDLES],
                            kn_cell(&knowledge->files[KN_VARIANTS], variants->links[link], "id"));
    work.placed = kn_new(&knowledge->arena, model->variant_count * model->target_count, sizeof *work.placed);
    for (size_t variant = 0; variant < model->variant_count; variant++) {
        struct placed *row = &work.placed[variant * model->target_count];
        place_fed(&work, row, kn_variant_form(variants, variant), kn_variant_links(variants, variant));
        place_preganglionic(&work, row);
        place_combinations(&work, row);
    }
    settle_combined(knowledge);
    settle_derived(knowledge);
    check_fed(&work);
    check_links_apart(&work);
    check_caps(&work);
    check_routes_used(knowledge);
    lay_out(&work);
}
