#include "root_tables.h"

#include <string.h>

const enum rw_entry rw_change_entry[RW_CHANGES] = {RW_ENTRY_ALL, RW_ENTRY_PROXIMAL, RW_ENTRY_POST};

struct rw_roots *rw_roots_new(const struct rw_space *space, size_t world_count, struct rw_arena *arena) {
    struct rw_roots *roots = rw_arena_take(arena, 1, sizeof *roots);
    struct rw_root_sums *sums = rw_arena_take(arena, world_count, sizeof *sums);
    if (roots == NULL || sums == NULL)
        return NULL;
    memset(sums, 0, world_count * sizeof *sums);
    *roots = (struct rw_roots){
        .space = space, .atoms = 2 * space->further_count, .world_count = world_count, .sums = sums};
    return roots;
}

double *rw_roots_change(struct rw_roots *roots, size_t atom, size_t slot, struct rw_arena *arena) {
    const size_t count = roots->world_count * RW_ROOT_TABLE;
    double **change = &roots->change[atom][slot];
    if (*change == NULL && (*change = rw_arena_take(arena, count, sizeof **change)) != NULL)
        memset(*change, 0, count * sizeof **change);
    return *change;
}

/* Patterns of the roots that feed a target, as a part of all patterns. */
struct feeding {
    size_t count;                        /* 3^roots */
    int32_t spread[2][RW_ROOT_PATTERNS]; /* by reduced pattern; [1] beside a partial further lesion */
    uint8_t reduced[RW_ROOT_PATTERNS];   /* pattern → pattern of the roots that feed the target */
};

static void feeding_init(struct feeding *feeding, unsigned roots) {
    size_t all = 1, count = 1;
    int32_t *spread = feeding->spread[0];
    spread[0] = RW_SHARP;
    feeding->reduced[0] = 0;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++, all *= 3) {
        const size_t stride = (roots >> i & 1u) != 0 ? count : 0;
        for (size_t p = 0; p < all; p++) {
            feeding->reduced[all + p] = (uint8_t)(feeding->reduced[p] + stride);
            feeding->reduced[2 * all + p] = (uint8_t)(feeding->reduced[p] + 2 * stride);
        }
        for (size_t p = 0; p < stride; p++) {
            spread[count + p] = RW_UNEVEN;
            spread[2 * count + p] = spread[p];
        }
        count += 2 * stride;
    }
    for (size_t p = 0; p < count; p++)
        feeding->spread[1][p] = RW_UNEVEN;
    feeding->count = count;
}

/* ln P of the view's finding by reduced pattern, after a further lesion of a class. */
static void class_logs(const struct rw_view *view, const struct feeding *feeding, size_t class,
                       double logs[RW_ROOT_PATTERNS]) {
    const struct rw_class *c = &view->classes[class];
    double left[RW_PLEXUS_ROOTS + 1] = {0}, fraction[RW_ROOT_PATTERNS];
    for (size_t i = 0; i < view->bundle_count; i++)
        left[view->root[i]] +=
            (c->bundles >> i & 1u) != 0 ? view->weight[i] * rw_class_left(view, class) : view->weight[i];
    size_t count = 1;
    fraction[0] = left[RW_PLEXUS_ROOTS];
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        if ((view->roots >> i & 1u) == 0)
            continue;
        for (size_t p = 0; p < count; p++) {
            fraction[2 * count + p] = fraction[p];
            fraction[count + p] = fraction[p] + left[i] * view->partial_left;
            fraction[p] += left[i];
        }
        count *= 3;
    }
    rw_term_logs(view->term, count, fraction, feeding->spread[c->severity == RW_PARTIAL], logs);
}

/* Spreads a table by reduced pattern over all patterns. */
static void spread_out(const struct feeding *feeding, const double *logs, double table[RW_ROOT_TABLE]) {
    for (size_t p = 0; p < RW_ROOT_PATTERNS; p++)
        table[p] = logs[feeding->reduced[p]];
    for (size_t p = RW_ROOT_PATTERNS; p < RW_ROOT_TABLE; p++)
        table[p] = 0.0;
}

/* sum += table in every world of the mask; worlds lie `stride` apart */
RW_VECTOR static void add_table(uint32_t worlds, size_t stride, const double *restrict table,
                                double *restrict sum) {
    for (; worlds != 0; worlds >>= 1, sum += stride)
        if ((worlds & 1u) != 0)
            for (size_t p = 0; p < RW_ROOT_TABLE; p++)
                sum[p] += table[p];
}

static void add_base(struct rw_roots *roots, const struct rw_view *view, uint32_t worlds,
                     const struct feeding *feeding, const double *logs) {
    double table[RW_ROOT_TABLE];
    spread_out(feeding, logs, table);
    if (view->roots != 0)
        add_table(worlds, sizeof roots->sums[0] / sizeof table[0], table,
                  roots->sums[0].base[view->term->entry]);
    for (size_t w = 0; view->roots == 0 && w < roots->world_count; w++)
        roots->sums[w].constant += (worlds >> w & 1u) != 0 ? table[0] : 0.0;
}

/* Adds a change to every atom of a class. */
static bool add_change(struct rw_roots *roots, const struct rw_view *view, uint32_t worlds, size_t class,
                       const double change[RW_ROOT_TABLE], struct rw_arena *arena) {
    const unsigned entry = view->term->entry;
    const size_t slot = entry == RW_ENTRY_POST       ? RW_CHANGE_POST
                        : entry == RW_ENTRY_PROXIMAL ? RW_CHANGE_PROXIMAL
                                                     : RW_CHANGE_ALL;
    for (size_t a = (class + 1) % 2; a < roots->atoms; a += 2) { /* odd classes are partial, even atoms too */
        if (view->class_of[a] != class)
            continue;
        if (view->roots != 0) {
            double *sum = rw_roots_change(roots, a, slot, arena);
            if (sum == NULL)
                return false;
            add_table(worlds, RW_ROOT_TABLE, change, sum);
        }
        for (size_t w = 0; view->roots == 0 && w < roots->world_count; w++)
            roots->sums[w].change_constant[a] += (worlds >> w & 1u) != 0 ? change[0] : 0.0;
    }
    return true;
}

bool rw_roots_add(struct rw_roots *roots, const struct rw_view *view, uint32_t worlds,
                  struct rw_arena *arena) {
    struct feeding feeding = {0};
    double base[RW_ROOT_PATTERNS], logs[RW_ROOT_PATTERNS], change[RW_ROOT_TABLE];
    feeding_init(&feeding, view->roots);
    class_logs(view, &feeding, 0, base);
    add_base(roots, view, worlds, &feeding, base);
    for (size_t class = 1; class < view->class_count; class ++) {
        class_logs(view, &feeding, class, logs);
        for (size_t p = 0; p < feeding.count; p++)
            logs[p] -= base[p];
        spread_out(&feeding, logs, change);
        if (!add_change(roots, view, worlds, class, change, arena))
            return false;
    }
    return true;
}
