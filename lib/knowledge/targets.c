#include "knowledge.h"

#include <string.h>

struct list {
    struct rw_target *items;
    size_t count;
};

static void add(struct list *list, enum rw_target_kind kind, const char *id, const char *label,
                const char *help, const char *source) {
    list->items[list->count++] = (struct rw_target){
        .id = id, .label = label, .help = help, .source = source, .kind = kind, .entry = RW_ENTRY_NONE};
}

/* The sources of a target: of its label and of the bundles that feed it. */
static const char *sources(struct knowledge *knowledge, const char *kind, const char *id,
                           const char *source) {
    const char *name = kn_format(&knowledge->arena, "%s.%s", kind, id);
    return kn_sources(&knowledge->arena, source, &knowledge->files[KN_BUNDLES], "target", name);
}

static void add_muscles(struct knowledge *knowledge, struct list *list) {
    const struct kn_file *file = &knowledge->files[KN_MUSCLES];
    for (size_t row = 0; row < file->row_count; row++) {
        const char *id = kn_cell(file, row, "id");
        add(list, RW_TARGET_MUSCLE, id, kn_cell(file, row, "label"), kn_optional(file, row, "help"),
            sources(knowledge, "muscle", id, kn_cell(file, row, "source")));
    }
}

/* A sign is a target when something feeds it; the others are recorded only. */
static bool sign_is_target(const struct knowledge *knowledge, const char *id) {
    const struct kn_file *combinations = &knowledge->files[KN_COMBINATIONS];
    for (size_t row = 0; row < combinations->row_count; row++)
        if (kn_is(combinations, row, "kind", "sign") && kn_is(combinations, row, "owner", id))
            return true;
    const struct kn_file *bundles = &knowledge->files[KN_BUNDLES];
    for (size_t row = 0; row < bundles->row_count; row++) {
        const char *target = kn_cell(bundles, row, "target");
        if (strncmp(target, "sign.", 5) == 0 && strcmp(target + 5, id) == 0)
            return true;
    }
    return strcmp(id, "deafferentation_pain") == 0;
}

static void add_labelled(struct knowledge *knowledge, struct list *list, enum rw_target_kind kind) {
    const struct kn_file *file = &knowledge->files[KN_LABELS];
    const char *kind_name = kn_target_kinds[kind];
    for (size_t row = 0; row < file->row_count; row++) {
        const char *id = kn_cell(file, row, "id");
        if (!kn_is(file, row, "kind", kind_name) ||
            (kind == RW_TARGET_SIGN && !sign_is_target(knowledge, id)))
            continue;
        add(list, kind, id, kn_cell(file, row, "label"), kn_optional(file, row, "help"),
            sources(knowledge, kind_name, id, kn_cell(file, row, "source")));
    }
}

/* One sensory action potential for each skin nerve. */
static void add_snaps(struct knowledge *knowledge, struct list *list) {
    size_t end = list->count;
    for (size_t i = 0; i < end; i++) {
        const struct rw_target *skin = &list->items[i];
        if (skin->kind == RW_TARGET_SKIN_NERVE)
            add(list, RW_TARGET_SNAP, kn_format(&knowledge->arena, "snap.%s", skin->id),
                kn_format(&knowledge->arena, "sensory action potential, %s", skin->label), NULL,
                skin->source);
    }
}

static void add_preganglionic(struct knowledge *knowledge, struct list *list) {
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        const struct rw_site *site = &knowledge->model.sites[root * 3];
        add(list, RW_TARGET_PREGANGLIONIC,
            kn_format(&knowledge->arena, "preganglionic.%s", kn_root_name(root)), site->label, NULL,
            site->source);
    }
}

static void check_labels(struct knowledge *knowledge) {
    static const char *const kinds[] = {"group", "movement",   "skin_root", "skin_nerve", "reflex",
                                        "sign",  "percussion", "function",  "section",    "mechanism"};
    const struct kn_file *file = &knowledge->files[KN_LABELS];
    for (size_t row = 0; row < file->row_count; row++)
        kn_word(file, row, "kind", kinds, sizeof kinds / sizeof *kinds);
    for (size_t i = 0; i < RW_MECHANISM_COUNT; i++) {
        size_t row = 0;
        while (row < file->row_count &&
               !(kn_is(file, row, "kind", "mechanism") && kn_is(file, row, "id", kn_mechanisms[i])))
            row++;
        if (row == file->row_count)
            kn_complain(file->log, file->path, 1, "mechanism %s has no label", kn_mechanisms[i]);
    }
    for (size_t row = 0; row < file->row_count; row++) {
        const char *id = kn_cell(file, row, "id");
        if (kn_is(file, row, "kind", "mechanism") &&
            kn_word_index(id, kn_mechanisms, RW_MECHANISM_COUNT) == RW_MECHANISM_COUNT)
            kn_fault(file, row, "unknown mechanism '%s'", id);
    }
}

static void check_caps(const struct knowledge *knowledge, const struct list *list) {
    size_t muscles = 0, areas = 0, functions = 0;
    for (size_t i = 0; i < list->count; i++) {
        enum rw_target_kind kind = list->items[i].kind;
        muscles += kind == RW_TARGET_MUSCLE;
        areas += kind == RW_TARGET_SKIN_ROOT || kind == RW_TARGET_SKIN_NERVE;
        functions += kind == RW_TARGET_FUNCTION;
    }
    const struct kn_file *file = &knowledge->files[KN_LABELS];
    if (muscles > RW_MAX_MUSCLES || areas > RW_MAX_AREAS || functions > RW_MAX_FUNCTIONS ||
        list->count > RW_MAX_TARGETS)
        kn_complain(file->log, file->path, 1,
                    "%zu muscles, %zu skin areas, %zu functions, %zu targets: a cap of rootward.h is passed",
                    muscles, areas, functions, list->count);
}

void kn_build_targets(struct knowledge *knowledge) {
    size_t most =
        knowledge->files[KN_MUSCLES].row_count + 2 * knowledge->files[KN_LABELS].row_count + RW_PLEXUS_ROOTS;
    struct list list = {.items = kn_new(&knowledge->arena, most, sizeof *list.items)};
    check_labels(knowledge);
    add_muscles(knowledge, &list);
    add_labelled(knowledge, &list, RW_TARGET_GROUP);
    add_labelled(knowledge, &list, RW_TARGET_MOVEMENT);
    add_labelled(knowledge, &list, RW_TARGET_SKIN_ROOT);
    add_labelled(knowledge, &list, RW_TARGET_SKIN_NERVE);
    add_snaps(knowledge, &list);
    add_labelled(knowledge, &list, RW_TARGET_REFLEX);
    add_labelled(knowledge, &list, RW_TARGET_SIGN);
    add_labelled(knowledge, &list, RW_TARGET_PERCUSSION);
    add_preganglionic(knowledge, &list);
    add_labelled(knowledge, &list, RW_TARGET_FUNCTION);
    check_caps(knowledge, &list);
    knowledge->targets = list.items;
    knowledge->model.targets = list.items;
    knowledge->model.target_count = list.count;
}

uint16_t kn_target(const struct knowledge *knowledge, enum rw_target_kind kind, const char *id) {
    for (size_t i = 0; i < knowledge->model.target_count; i++)
        if (knowledge->model.targets[i].kind == kind && strcmp(knowledge->model.targets[i].id, id) == 0)
            return (uint16_t)i;
    return RW_NONE;
}

uint16_t kn_target_named(const struct knowledge *knowledge, const char *name) {
    for (size_t kind = 0; kind <= RW_TARGET_FUNCTION; kind++) {
        size_t length = strlen(kn_target_kinds[kind]);
        if (strncmp(name, kn_target_kinds[kind], length) != 0 || name[length] != '.')
            continue;
        bool whole = kind == RW_TARGET_SNAP || kind == RW_TARGET_PREGANGLIONIC; /* the kind is in the id */
        return kn_target(knowledge, (enum rw_target_kind)kind, whole ? name : name + length + 1);
    }
    return RW_NONE;
}

/* ---- members ---- */

static const enum rw_target_kind combined[] = {RW_TARGET_GROUP, RW_TARGET_MOVEMENT, RW_TARGET_SIGN,
                                               RW_TARGET_FUNCTION};

bool kn_steadies(const struct rw_member *member) {
    return strcmp(member->role, "steady") == 0;
}

static struct rw_member read_member(struct knowledge *knowledge, size_t row) {
    static const char *const kinds[] = {"group", "movement", "sign", "function"};
    static const char *const roles[] = {"part", "prime", "assist", "substitute", "steady"};
    const struct kn_file *file = &knowledge->files[KN_COMBINATIONS];
    size_t kind = kn_word(file, row, "kind", kinds, 4);
    size_t role = kn_word(file, row, "role", roles, sizeof roles / sizeof *roles);
    struct rw_member member = {
        .owner = kn_target(knowledge, combined[kind], kn_cell(file, row, "owner")),
        .muscle = kn_target(knowledge, RW_TARGET_MUSCLE, kn_cell(file, row, "muscle")),
        .share = kn_number(file, row, "share", 0, 1, NULL),
        .role = roles[role],
        .source = kn_cell(file, row, "source"),
    };
    if (member.owner == RW_NONE)
        kn_fault(file, row, "%s '%s' has no label", kinds[kind], kn_cell(file, row, "owner"));
    if (member.muscle == RW_NONE)
        kn_fault(file, row, "unknown muscle '%s'", kn_cell(file, row, "muscle"));
    if (member.share <= 0)
        kn_fault(file, row, "share is not above 0");
    if ((kind == 0) != (role == 0))
        kn_fault(file, row, "role 'part' is for groups, and groups have no other");
    if (kn_steadies(&member) && kind != 3)
        kn_fault(file, row, "role 'steady' is for functions");
    return member;
}

static size_t first_row_of(const struct kn_file *file, const struct rw_target *owner) {
    size_t row = 0;
    while (row < file->row_count &&
           !(kn_is(file, row, "kind", kn_target_kinds[owner->kind]) && kn_is(file, row, "owner", owner->id)))
        row++;
    return row;
}

/* Members are kept by owner in the order of targets, then as the file has them. */
void kn_build_members(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_COMBINATIONS];
    struct rw_member *given = kn_new(&knowledge->arena, file->row_count, sizeof *given);
    struct rw_member *members = kn_new(&knowledge->arena, file->row_count, sizeof *members);
    size_t count = 0;
    for (size_t row = 0; row < file->row_count; row++)
        given[row] = read_member(knowledge, row);
    for (size_t owner = 0; owner < knowledge->model.target_count; owner++) {
        const struct rw_target *target = &knowledge->model.targets[owner];
        double sum = 0;
        size_t before = count;
        for (size_t row = 0; row < file->row_count; row++)
            if (given[row].owner == owner && given[row].muscle != RW_NONE) {
                sum += kn_steadies(&given[row]) ? 0 : given[row].share;
                members[count++] = given[row];
            }
        if (count > before && (sum < 1 - KN_TOLERANCE || sum > 1 + KN_TOLERANCE))
            kn_fault(file, first_row_of(file, target), "shares of %s '%s' add to %.12g, not 1",
                     kn_target_kinds[target->kind], target->id, sum);
    }
    knowledge->model.members = members;
    knowledge->model.member_count = count;
}
