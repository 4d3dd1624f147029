#include "set_tables.h"

#include <math.h>
#include <string.h>

/* Columns of rows: each root partial and complete, then the view's classes, 0 for nothing. */
enum {
    ROOT_COLUMNS = 2 * RW_PLEXUS_ROOTS,
    NOTHING = ROOT_COLUMNS,
    MAX_COLUMNS = (ROOT_COLUMNS + RW_MAX_CLASSES + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK
};

static size_t column_of(size_t class) {
    return ROOT_COLUMNS + class;
}

/* fraction[row · columns + column]: what is left of the target after what `remaining` stands for and the
 * column's lesion. */
RW_VECTOR static void fill_fractions(const struct rw_set_table *t, size_t rows,
                                     const double *restrict remaining, double *restrict fraction) {
    const size_t columns = rw_whole(t->columns);
    for (size_t row = 0; row < rows; row++, fraction += columns) {
        for (size_t i = 0; i < columns; i++)
            fraction[i] = 0.0;
        const double *share = remaining + row * t->bundle_count, *restrict left = t->left;
        size_t b = 0;
        for (; b + 2 <= t->bundle_count; b += 2, left += 2 * columns)
            for (size_t i = 0; i < columns; i++)
                fraction[i] += share[b] * left[i] + share[b + 1] * left[columns + i];
        for (size_t i = 0; b < t->bundle_count && i < columns; i++)
            fraction[i] += share[b] * left[i];
    }
}

static void fill_left(struct rw_set_table *t, const struct rw_view *view) {
    for (size_t class = 0; class < t->class_count; class ++)
        for (size_t b = 0; b < t->bundle_count; b++)
            t->kept[class * t->bundle_count + b] =
                (view->classes[class].bundles >> b & 1u) != 0 ? rw_class_left(view, class) : 1.0;
    for (size_t b = 0; b < t->bundle_count; b++) {
        double *left = t->left + b * t->columns;
        for (size_t i = 0; i < t->columns; i++)
            left[i] = 1.0;
        for (size_t class = 0; class < t->class_count; class ++)
            left[column_of(class)] = t->kept[class * t->bundle_count + b];
        if (view->root[b] < RW_PLEXUS_ROOTS) {
            left[2 * view->root[b]] = view->partial_left;
            left[2 * view->root[b] + 1] = 0.0;
        }
    }
}

/* Three rows beside a partial lesion, where all is uneven, and one beside complete ones or none. */
static void fill_spread(struct rw_set_table *t, const struct rw_view *view) {
    int32_t *sharp = t->spread + (RW_PAIR_ROWS - 1) * t->columns;
    for (size_t i = 0; i < (RW_PAIR_ROWS - 1) * t->columns; i++)
        t->spread[i] = RW_UNEVEN;
    for (size_t i = 0; i < t->columns; i++)
        sharp[i] = RW_SHARP;
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        if ((view->roots >> root & 1u) != 0)
            sharp[2 * root] = RW_UNEVEN;
    for (size_t class = 1; class < t->class_count; class += 2)
        sharp[column_of(class)] = RW_UNEVEN;
}

/* inverse[i] = p[nothing] / p[i] */
RW_VECTOR static void fill_inverse(size_t columns, const double *restrict p, double *restrict inverse) {
    const double none = p[NOTHING];
    for (size_t i = 0; i < rw_whole(columns); i++)
        inverse[i] = none / p[i];
}

/* The inverse ratios beside nothing, then beside each class, partial and complete together. */
static void fill_single(struct rw_set_table *t) {
    double remaining[2 * RW_MAX_VIEW_BUNDLES], fraction[2 * MAX_COLUMNS], p[2 * MAX_COLUMNS];
    for (size_t class = 0; class < t->class_count; class += class == 0 ? 1 : 2) {
        const size_t rows = class == 0 ? 1 : 2;
        for (size_t row = 0; row < rows; row++)
            for (size_t b = 0; b < t->bundle_count; b++)
                remaining[row * t->bundle_count + b] =
                    t->weight[b] * t->kept[(class + row) * t->bundle_count + b];
        fill_fractions(t, rows, remaining, fraction);
        rw_term_probabilities(t->term, rows * t->columns, fraction,
                              t->spread + (RW_PAIR_ROWS - rows) * t->columns, p);
        for (size_t row = 0; row < rows; row++)
            fill_inverse(t->columns, p + row * t->columns, t->inverse + (class + row) * t->columns);
    }
}

static bool take(struct rw_set_table *t, struct rw_arena *arena) {
    t->weight = rw_arena_take(arena, t->bundle_count, sizeof *t->weight);
    t->kept = rw_arena_take(arena, t->class_count * t->bundle_count, sizeof *t->kept);
    t->left = rw_arena_take(arena, t->bundle_count * t->columns, sizeof *t->left);
    t->spread = rw_arena_take(arena, RW_PAIR_ROWS * t->columns, sizeof *t->spread);
    t->inverse = rw_arena_take(arena, t->class_count * t->columns, sizeof *t->inverse);
    t->three = rw_arena_take(arena, 2 * t->class_count * t->width, sizeof *t->three);
    t->peak = rw_arena_take(arena, 2 * t->class_count, sizeof *t->peak);
    t->held = rw_arena_take(arena, t->class_count, sizeof *t->held);
    return t->weight && t->kept && t->left && t->spread && t->inverse && t->three && t->peak && t->held;
}

struct rw_set_table *rw_set_table_new(const struct rw_view *view, uint32_t worlds,
                                      const struct rw_space *space, struct rw_arena *arena) {
    struct rw_set_table *t = rw_arena_take(arena, 1, sizeof *t);
    if (t == NULL)
        return NULL;
    *t = (struct rw_set_table){.term = view->term,
                               .worlds = worlds,
                               .bundle_count = view->bundle_count,
                               .class_count = view->class_count,
                               .columns = rw_round_up(column_of(view->class_count)),
                               .width = rw_round_up(RW_PARTNER_FURTHER + view->class_count)};
    if (!take(t, arena))
        return NULL;
    memcpy(t->weight, view->weight, t->bundle_count * sizeof *t->weight);
    memset(t->held, 0, t->class_count * sizeof *t->held);
    for (size_t s = 0; s < space->further_count; s++)
        if ((t->class_of[s] = view->class_of[2 * s]) != 0)
            t->sites[t->site_count++] = (uint8_t)s;
    for (size_t x = 0; x < RW_ROOT_ATOMS; x++) {
        const uint8_t class = rw_root_class[view->term->entry][x % 7 + 1];
        t->column[x] = (uint8_t)(class == RW_INTACT ? NOTHING : 2 * (x / 7) + class - 1);
    }
    fill_left(t, view);
    fill_spread(t, view);
    fill_single(t);
    return t;
}

double rw_set_table_none(const struct rw_set_table *table) {
    double fraction = 0.0, log;
    for (size_t b = 0; b < table->bundle_count; b++)
        fraction += table->weight[b];
    rw_term_logs(table->term, 1, &fraction, &(const int32_t){RW_SHARP}, &log);
    return log;
}

/* Spreads a row by column over partners: roots by atom, nothing, further partners by class. */
static void spread_row(const struct rw_set_table *t, const double *restrict row, double *restrict out) {
    for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
        out[x] = row[t->column[x]];
    for (size_t x = RW_PARTNER_NOTHING; x < RW_PARTNER_FURTHER; x++)
        out[x] = row[NOTHING];
    memcpy(out + RW_PARTNER_FURTHER, row + NOTHING, t->class_count * sizeof *out);
}

/* row[i] = ln (none[i] / inverse[i]) */
RW_VECTOR static void log_ratios(size_t columns, const double *restrict none, const double *restrict inverse,
                                 double *restrict row) {
    for (size_t i = 0; i < rw_whole(columns); i++)
        row[i] = rw_log(none[i] / inverse[i]);
}

void rw_set_table_logs(const struct rw_set_table *table, size_t class, double out[RW_PARTNERS]) {
    double one[MAX_COLUMNS], row[MAX_COLUMNS];
    for (size_t i = 0; i < table->columns; i++)
        one[i] = 1.0;
    log_ratios(table->columns, class == 0 ? one : table->inverse, table->inverse + class * table->columns,
               row);
    spread_row(table, row, out);
}

RW_VECTOR void rw_set_table_add(const struct rw_set_table *table, const double *restrict row, size_t site,
                                double *restrict sum) {
    for (size_t x = 0; x < RW_PARTNER_FURTHER; x++)
        sum[x] += row[x];
    for (size_t i = 0; i < table->site_count && table->sites[i] < site; i++) {
        const double *from = row + RW_PARTNER_FURTHER + table->class_of[table->sites[i]];
        double *to = sum + RW_PARTNER_FURTHER + 2u * table->sites[i];
        to[0] += from[0];
        to[1] += from[1];
    }
}

/* The largest of n numbers, 1 or more. */
static double largest(size_t n, const double *x) {
    double top[2] = {1.0, 1.0};
    size_t i = 0;
    for (; i + 2 <= n; i += 2) {
        top[0] = x[i] > top[0] ? x[i] : top[0];
        top[1] = x[i + 1] > top[1] ? x[i + 1] : top[1];
    }
    top[0] = i < n && x[i] > top[0] ? x[i] : top[0];
    return top[0] > top[1] ? top[0] : top[1];
}

/* p[i] becomes the three-way factor: P(b, c, i) P(b) P(c) P(i) / (P(b, c) P(b, i) P(c, i) P()) */
RW_VECTOR static void keep_three_way(size_t columns, const double *restrict none, const double *restrict b,
                                     const double *restrict c, double *restrict p) {
    const double inverse = 1.0 / p[NOTHING];
    for (size_t i = 0; i < rw_whole(columns); i++)
        p[i] = p[i] * inverse * b[i] * c[i] / none[i];
}

size_t rw_set_table_pair(struct rw_set_table *table, size_t b, size_t c) {
    const size_t first = 2 * b, bundles = table->bundle_count, columns = table->columns;
    if (table->held[b] == c)
        return first;
    table->held[b] = (uint8_t)c;
    double remaining[RW_PAIR_ROWS * RW_MAX_VIEW_BUNDLES];
    double fraction[RW_PAIR_ROWS * MAX_COLUMNS], p[RW_PAIR_ROWS * MAX_COLUMNS], top[2 * RW_PAIR_ROWS];
    for (size_t row = 0; row < RW_PAIR_ROWS; row++)
        for (size_t i = 0; i < bundles; i++)
            remaining[row * bundles + i] = table->weight[i] * table->kept[(b + row / 2) * bundles + i] *
                                           table->kept[(c + row % 2) * bundles + i];
    fill_fractions(table, RW_PAIR_ROWS, remaining, fraction);
    rw_term_probabilities(table->term, RW_PAIR_ROWS * columns, fraction, table->spread, p);
    for (size_t row = 0; row < RW_PAIR_ROWS; row++) {
        double *factor = p + row * columns, *out = table->three + (first + row) * table->width;
        keep_three_way(columns, table->inverse, table->inverse + (b + row / 2) * columns,
                       table->inverse + (c + row % 2) * columns, factor);
        spread_row(table, factor, out);
        top[2 * row] = largest(ROOT_COLUMNS, factor);
        top[2 * row + 1] = largest(table->class_count, factor + column_of(0));
    }
    for (size_t i = 0; i < 2 * RW_PAIR_ROWS; i++)
        table->peak[first + i / 2][i % 2] = rw_log(top[i]);
    return first;
}
