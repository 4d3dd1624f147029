/* Sets of two further sites (alone or with one injured root) and of three further sites.
 *
 * A set is a pair b < c of further atoms and a partner x: a root atom, nothing, or a further atom of a site
 * below b. ln L of a set is a sum of one-, two- and three-way terms (inclusion and exclusion over its atoms).
 * A three-way term is not zero only when all three touch one finding's target, so only the views that b and c
 * both touch add them. Sets are summed pair by pair, over all worlds at once; none are kept. */
#include <math.h>
#include <string.h>

#include "exp.h"
#include "search.h"

enum {
    ATOMS = 2 * RW_MAX_FURTHER,
    NOTHING = RW_ROOT_ATOMS,
    FURTHER = (RW_ROOT_ATOMS + RW_BLOCK) / RW_BLOCK * RW_BLOCK, /* where further partners start */
    PARTNERS = FURTHER + ATOMS,
    /* Columns of a view's tables: each root partial and complete, then its classes (0 for nothing). */
    CLASSES = 2 * RW_PLEXUS_ROOTS,
    MAX_COLUMNS = (CLASSES + RW_MAX_CLASSES + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK
};

/* How one view's finding depends on lesions, by classes. */
struct effect {
    const struct rw_term *term;
    uint32_t worlds; /* mask of those that share it */
    size_t bundle_count, class_count, columns, width, site_count;
    uint8_t class_of[RW_MAX_FURTHER]; /* site → class of a partial lesion; 0: does not touch the target */
    uint8_t sites[RW_MAX_FURTHER];    /* those that touch it, rising */
    uint8_t column[RW_ROOT_ATOMS];    /* root atom → column */
    const double *weight;             /* [bundle] */
    double *left;                     /* [bundle · columns + column] what a lesion leaves of a bundle */
    int32_t *spread[2];               /* [column]; [1] beside a partial lesion */
    double *one;                      /* [column] ln L less that of nothing */
    double *two;                      /* [class · columns + column] two-way terms */
    double *three; /* [(2 · class of b + severity of c − 1) · width + partner] three-way terms; further
                      partners by class. Filled for the class of c at hand. */
    uint8_t *held; /* [class of b] class of c that `three` holds; 0: none yet */
};

/* ln L of one world in parts, later with the prior. */
struct world_sums {
    double base, one[PARTNERS];
    double two[ATOMS][PARTNERS]; /* [b][x], x below b */
};

struct rw_sets {
    const struct rw_space *space;
    size_t world_count, effect_count;
    struct world_sums *sums; /* [world] */
    struct effect *effects[RW_MAX_CHECKS * RW_MAX_WORLDS];
    /* Of the site of c at hand: the effects that it touches, and one[x] + two[c][x] by severity of c. */
    size_t touching_count[RW_MAX_WORLDS];
    struct effect *touching[RW_MAX_WORLDS][RW_MAX_CHECKS];
    double outer[RW_MAX_WORLDS][2][PARTNERS];
    double by_partner[RW_LEVEL_COUNT][PARTNERS]; /* weight by level of the pair and partner */
};

struct rw_sets *rw_sets_new(const struct rw_space *space, size_t world_count, struct rw_arena *arena) {
    struct rw_sets *sets = rw_arena_take(arena, 1, sizeof *sets);
    struct world_sums *sums = rw_arena_take(arena, world_count, sizeof *sums);
    if (sets == NULL || sums == NULL)
        return NULL;
    memset(sums, 0, world_count * sizeof *sums);
    memset(sets->by_partner, 0, sizeof sets->by_partner);
    sets->space = space;
    sets->world_count = world_count;
    sets->effect_count = 0;
    sets->sums = sums;
    return sets;
}

/* ---- one view ---- */

static size_t column_of(size_t class) {
    return CLASSES + class;
}

/* sum[i] = Σ over bundles of remaining share · what column i leaves of it */
RW_VECTOR static void fractions(size_t columns, size_t bundle_count, const double *restrict remaining,
                                const double *restrict left, double *restrict sum) {
    for (size_t i = 0; i < columns; i++)
        sum[i] = 0.0;
    for (size_t b = 0; b < bundle_count; b++)
        for (size_t i = 0; i < columns; i++)
            sum[i] += remaining[b] * left[b * columns + i];
}

/* ln L by column beside lesions of two classes. */
static void log_row(const struct effect *e, size_t a, size_t b, double row[MAX_COLUMNS]) {
    double remaining[RW_MAX_VIEW_BUNDLES], fraction[MAX_COLUMNS];
    for (size_t i = 0; i < e->bundle_count; i++)
        remaining[i] =
            e->weight[i] * e->left[i * e->columns + column_of(a)] * e->left[i * e->columns + column_of(b)];
    fractions(e->columns, e->bundle_count, remaining, e->left, fraction);
    rw_term_logs(e->term, e->columns, fraction, e->spread[a % 2 == 1 || b % 2 == 1], row);
}

static void fill_left(struct effect *e, const struct rw_view *view) {
    for (size_t i = 0; i < e->columns; i++) {
        const bool root = i < CLASSES, partial = i % 2 == (root ? 0 : column_of(1) % 2);
        e->spread[0][i] = RW_SHARP;
        e->spread[1][i] = RW_UNEVEN;
        if (partial && (root ? (view->roots >> (i / 2) & 1u) != 0 : i < column_of(e->class_count)))
            e->spread[0][i] = RW_UNEVEN;
        for (size_t b = 0; b < e->bundle_count; b++) {
            const bool touched =
                root ? view->root[b] == i / 2
                     : i < column_of(e->class_count) && (view->classes[i - CLASSES].bundles >> b & 1u) != 0;
            e->left[b * e->columns + i] = !touched ? 1.0 : partial ? view->partial_left : 0.0;
        }
    }
}

/* Column 0 of the classes is nothing: one and two are 0 there. */
static void fill_one_and_two(struct effect *e, double *none) {
    double row[MAX_COLUMNS];
    log_row(e, 0, 0, e->one);
    *none = e->one[column_of(0)];
    for (size_t i = 0; i < e->columns; i++)
        e->one[i] -= *none;
    memset(e->two, 0, e->columns * sizeof *e->two);
    for (size_t a = 1; a < e->class_count; a++) {
        log_row(e, a, 0, row);
        for (size_t i = 0; i < e->columns; i++)
            e->two[a * e->columns + i] = row[i] - row[column_of(0)] - e->one[i];
    }
}

static struct effect *effect_new(const struct rw_view *view, size_t further_count, struct rw_arena *arena) {
    struct effect *e = rw_arena_take(arena, 1, sizeof *e);
    const size_t columns = (column_of(view->class_count) + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK;
    const size_t width = (FURTHER + view->class_count + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK;
    double *weight = rw_arena_take(arena, view->bundle_count, sizeof *weight);
    if (e == NULL || weight == NULL)
        return NULL;
    memcpy(weight, view->weight, view->bundle_count * sizeof *weight);
    *e = (struct effect){.term = view->term,
                         .bundle_count = view->bundle_count,
                         .class_count = view->class_count,
                         .columns = columns,
                         .width = width,
                         .weight = weight,
                         .left = rw_arena_take(arena, view->bundle_count * columns, sizeof *e->left),
                         .spread[0] = rw_arena_take(arena, columns, sizeof *e->spread[0]),
                         .spread[1] = rw_arena_take(arena, columns, sizeof *e->spread[1]),
                         .one = rw_arena_take(arena, columns, sizeof *e->one),
                         .two = rw_arena_take(arena, view->class_count * columns, sizeof *e->two),
                         .three = rw_arena_take(arena, 2 * view->class_count * width, sizeof *e->three),
                         .held = rw_arena_take(arena, view->class_count, sizeof *e->held)};
    if (!e->left || !e->spread[0] || !e->spread[1] || !e->one || !e->two || !e->three || !e->held)
        return NULL;
    memset(e->held, 0, view->class_count * sizeof *e->held);
    for (size_t s = 0; s < further_count; s++)
        if ((e->class_of[s] = view->class_of[2 * s]) != 0)
            e->sites[e->site_count++] = (uint8_t)s;
    for (size_t x = 0; x < RW_ROOT_ATOMS; x++) {
        const uint8_t class = rw_root_class[view->term->entry][x % 7 + 1];
        e->column[x] = (uint8_t)(class == RW_INTACT ? column_of(0) : 2 * (x / 7) + class - 1);
    }
    fill_left(e, view);
    return e;
}

/* Adds the one- and two-way terms of an effect to one world. */
static void add_one_and_two(const struct effect *e, double none, struct world_sums *sums) {
    sums->base += none;
    for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
        sums->one[x] += e->one[e->column[x]];
    for (size_t k = 0; k < e->site_count; k++)
        for (size_t severity = 0; severity < 2; severity++) {
            const size_t b = 2u * e->sites[k] + severity, class = e->class_of[e->sites[k]] + severity;
            const double *two = e->two + class * e->columns;
            sums->one[FURTHER + b] += e->one[column_of(class)];
            for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
                sums->two[b][x] += two[e->column[x]];
            for (size_t i = 0; i < k; i++) {
                const double *from = two + column_of(e->class_of[e->sites[i]]);
                double *to = &sums->two[b][FURTHER + 2u * e->sites[i]];
                to[0] += from[0];
                to[1] += from[1];
            }
        }
}

bool rw_sets_add(struct rw_sets *sets, const struct rw_view *view, uint32_t worlds, struct rw_arena *arena) {
    struct effect *e = effect_new(view, sets->space->further_count, arena);
    double none;
    if (e == NULL)
        return false;
    e->worlds = worlds;
    sets->effects[sets->effect_count++] = e;
    fill_one_and_two(e, &none);
    for (size_t w = 0; w < sets->world_count; w++)
        if ((worlds >> w & 1u) != 0)
            add_one_and_two(e, none, &sets->sums[w]);
    return true;
}

/* ---- the sum ---- */

/* The three-way terms of a pair of classes, in both severities of both, by partner. */
static const double *three_way(struct effect *e, size_t b, size_t c) {
    double row[MAX_COLUMNS];
    double *out = e->three + 2 * b * e->width;
    if (e->held[b] == c)
        return out;
    e->held[b] = (uint8_t)c;
    for (size_t i = 0; i < 4; i++, out += e->width) {
        const double *two_b = e->two + (b + i / 2) * e->columns, *two_c = e->two + (c + i % 2) * e->columns;
        log_row(e, b + i / 2, c + i % 2, row);
        const double none = row[column_of(0)];
        for (size_t k = 0; k < e->columns; k++)
            row[k] = row[k] - none - e->one[k] - two_b[k] - two_c[k];
        for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
            out[x] = row[e->column[x]];
        memset(out + NOTHING, 0, (FURTHER - NOTHING) * sizeof *out);
        memcpy(out + FURTHER, row + column_of(0), e->class_count * sizeof *out);
    }
    return e->three + 2 * b * e->width;
}

/* Adds what one effect says of a pair's partners, further ones below site b, to the pair's four rows. */
static inline void add_three_way(const struct effect *e, const double *three, size_t b,
                                 double row[4][PARTNERS]) {
    for (size_t i = 0; i < 4; i++) {
        const double *from = three + i * e->width;
        for (size_t x = 0; x < FURTHER; x++)
            row[i][x] += from[x];
        for (size_t k = 0; k < e->site_count && e->sites[k] < b; k++) {
            const size_t site = e->sites[k], class = e->class_of[site];
            row[i][FURTHER + 2 * site] += from[FURTHER + class];
            row[i][FURTHER + 2 * site + 1] += from[FURTHER + class + 1];
        }
    }
}

struct pair { /* two further sites in all severities: rows 2·(severity of b) + severity of c */
    size_t b, c, width;
    bool reached[4]; /* some weight counts */
    double weight[4][PARTNERS];
};

/* Adds a world's weights to a pair's rows. */
RW_VECTOR static void add_world(const struct rw_sets *s, size_t world, double least, size_t count,
                                const struct effect *const *effects, const double *const *three,
                                struct pair *pair) {
    const struct world_sums *sums = &s->sums[world];
    const double *one = sums->one + FURTHER;
    double row[4][PARTNERS];
    for (size_t i = 0; i < 4; i++) {
        const size_t b = 2 * pair->b + i / 2, c = 2 * pair->c + i % 2;
        const double at = sums->base + one[b] + one[c] + sums->two[c][FURTHER + b];
        const double *outer = s->outer[world][i % 2], *inner = sums->two[b];
        for (size_t x = 0; x < pair->width; x++)
            row[i][x] = at + outer[x] + inner[x];
    }
    for (size_t k = 0; k < count; k++)
        add_three_way(effects[k], three[k], pair->b, row);
    for (size_t i = 0; i < 4; i++)
        for (size_t x = 0; x < pair->width; x += RW_BLOCK)
            if (rw_block_reaches(row[i] + x, least)) {
                pair->reached[i] = true;
                for (size_t j = 0; j < RW_BLOCK; j++)
                    pair->weight[i][x + j] += rw_exp(row[i][x + j]);
            }
}

/* Offers a set to the shortlist. */
static void offer(struct rw_shortlist *list, double weight, size_t b, size_t c, size_t x) {
    struct rw_candidate set = {.weight = weight, .atoms = {(uint8_t)b, (uint8_t)c}, .atom_count = 2};
    if (x < NOTHING)
        set.config = (uint32_t)((x % 7 + 1) << (3 * (x / 7)));
    if (x >= FURTHER) {
        const uint8_t atoms[3] = {(uint8_t)(x - FURTHER), (uint8_t)b, (uint8_t)c};
        memcpy(set.atoms, atoms, sizeof atoms);
        set.atom_count = 3;
    }
    rw_shortlist_offer(list, &set);
}

static enum rw_level level_of(const struct rw_space *space, size_t site) {
    return rw_model()->sites[space->further_site[site]].level;
}

/* Books one row of a pair: marginals and shortlist. */
static void book(struct rw_sets *s, struct rw_search *search, const struct pair *pair, size_t row) {
    const size_t b = 2 * pair->b + row / 2, c = 2 * pair->c + row % 2;
    const enum rw_level level_b = level_of(s->space, pair->b), level_c = level_of(s->space, pair->c);
    const double *weight = pair->weight[row];
    double *by_partner = s->by_partner[level_b < level_c ? level_b : level_c], sum[RW_BLOCK] = {0};
    for (size_t x = 0; x < pair->width; x += RW_BLOCK)
        for (size_t j = 0; j < RW_BLOCK; j++) {
            by_partner[x + j] += weight[x + j];
            sum[j] += weight[x + j];
        }
    const double all = rw_block_sum(sum);
    search->further[b] += all;
    search->further[c] += all;
    for (size_t x = 0; x < pair->width; x++)
        if (weight[x] > rw_shortlist_floor(&search->shortlist))
            offer(&search->shortlist, weight[x], b, c, x);
}

static void sum_pair(struct rw_sets *s, struct rw_search *search, size_t b, size_t c) {
    struct pair pair = {.b = b, .c = c, .width = (FURTHER + 2 * b + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK};
    for (size_t w = 0; w < s->world_count; w++) {
        const struct effect *effects[RW_MAX_CHECKS];
        const double *three[RW_MAX_CHECKS];
        size_t count = 0;
        for (size_t k = 0; k < s->touching_count[w]; k++) {
            struct effect *e = s->touching[w][k];
            if (e->class_of[b] == 0)
                continue;
            effects[count] = e;
            three[count++] = three_way(e, e->class_of[b], e->class_of[c]);
        }
        add_world(s, w, search->least, count, effects, three, &pair);
    }
    for (size_t row = 0; row < 4; row++)
        if (pair.reached[row])
            book(s, search, &pair, row);
    search->summed += (double)(s->world_count * 4 * (NOTHING + 1 + 2 * b));
}

/* Makes a site the c of pairs: its effects by world, and the parts of ln L that no longer change. */
static void turn_to(struct rw_sets *s, const struct rw_prior_terms *prior, size_t c) {
    memset(s->touching_count, 0, sizeof s->touching_count);
    for (size_t k = 0; k < s->effect_count; k++)
        for (size_t w = 0; w < s->world_count; w++)
            if (s->effects[k]->class_of[c] != 0 && (s->effects[k]->worlds >> w & 1u) != 0)
                s->touching[w][s->touching_count[w]++] = s->effects[k];
    for (size_t w = 0; w < s->world_count; w++)
        for (size_t severity = 0; severity < 2; severity++)
            for (size_t x = 0; x < FURTHER + 2 * c; x++) {
                const enum rw_prior_kind kind = x < NOTHING    ? RW_PRIOR_ROOT_AND_TWO
                                                : x == NOTHING ? RW_PRIOR_PAIR
                                                               : RW_PRIOR_TRIPLE;
                s->outer[w][severity][x] =
                    s->sums[w].one[x] + s->sums[w].two[2 * c + severity][x] + prior->kind[kind];
            }
}

/* Adds the prior to a world's sums, and makes partners that are none never count. */
static void add_prior(const struct rw_space *space, const struct rw_prior_terms *prior, double base,
                      struct world_sums *sums) {
    sums->base += base;
    for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
        sums->one[x] += prior->root_atom[x];
    for (size_t x = NOTHING + 1; x < FURTHER; x++)
        sums->one[x] = -(double)INFINITY;
    for (size_t b = 0; b < 2 * space->further_count; b++) {
        sums->one[FURTHER + b] += prior->further[b];
        for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
            sums->two[b][x] += rw_prior_series(space, prior, 1u << (x / 7), b / 2);
        for (size_t a = 0; a < b / 2 * 2; a++)
            sums->two[b][FURTHER + a] += prior->coupling[a / 2][b / 2];
        for (size_t x = FURTHER + b / 2 * 2; x < PARTNERS; x++)
            sums->two[b][x] = -(double)INFINITY;
    }
}

/* Books what was summed by partner: totals, levels, and the marginals of the partner itself. */
static void book_partners(const struct rw_sets *s, struct rw_search *search) {
    for (size_t x = 0; x < FURTHER + 2 * s->space->further_count; x++)
        for (enum rw_level of_pair = RW_LEVEL_ROOT; of_pair < RW_LEVEL_COUNT; of_pair++) {
            const double weight = s->by_partner[of_pair][x];
            enum rw_level level = of_pair;
            if (x < NOTHING)
                level = RW_LEVEL_ROOT;
            else if (x >= FURTHER) {
                const enum rw_level own = level_of(s->space, (x - FURTHER) / 2);
                level = own < of_pair ? own : of_pair;
                search->further[x - FURTHER] += weight;
            }
            search->total += weight;
            search->level[level] += weight;
            for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
                search->root_state[i][x < NOTHING && x / 7 == i ? x % 7 + 1 : RW_ROOT_INTACT] += weight;
        }
}

void rw_sets_search(struct rw_sets *sets, struct rw_search *search) {
    for (size_t w = 0; w < sets->world_count; w++)
        add_prior(sets->space, search->prior, search->worlds[w].log_weight - search->reference,
                  &sets->sums[w]);
    for (size_t c = 1; c < sets->space->further_count; c++) {
        turn_to(sets, search->prior, c);
        for (size_t b = 0; b < c; b++)
            sum_pair(sets, search, b, c);
    }
    book_partners(sets, search);
}
