/* Sets of two further sites (alone or with one injured root) and of three further sites.
 *
 * A set is a pair b < c of further atoms and a partner (set_tables.h). What b and c each say of the partner
 * is summed over findings beforehand, and kept as a number relative to the best partner; the weights of a row
 * of partners are then products of those numbers and of the three-way factors of the findings that b and c
 * both touch. Where a product could leave the range of numbers, logarithms are added instead. Sets are summed
 * pair by pair, over all worlds at once; none are kept. */
#include <math.h>
#include <string.h>

#include "exp.h"
#include "set_tables.h"

enum {
    ATOMS = 2 * RW_MAX_FURTHER,
    NOTHING = RW_PARTNER_NOTHING,
    FURTHER = RW_PARTNER_FURTHER,
    PARTNERS = RW_PARTNERS,
    ROWS = RW_PAIR_ROWS
};

/* Partners come in two parts, roots (with nothing) and further atoms, each with bounds of its own. */
enum { ROOTS, BEYOND, PARTS };

/* What falls out of the range of products stands 700 nats below the bound of its row. Under this bound that
 * is below `least`, however low. */
#define PRODUCT_BOUND (RW_LEAST - RW_LEAST_EXPONENT)

/* What one atom of a pair says of each partner. */
struct side {
    double log[PARTNERS];
    double weight[PARTNERS]; /* e^(log − peak), peak being the largest of its part */
};

/* Numbers that go with the parts of a pair's rows in each world lie in one array. */
enum { PEAKS = RW_MAX_WORLDS * ROWS * PARTS };
static size_t peak_at(size_t world, size_t row, size_t part) {
    return (world * ROWS + row) * PARTS + part;
}

/* One- and two-way terms of one world. */
struct world_sums {
    double base, one[PARTNERS];
    struct side *two; /* [atom b] on partners below b */
};

struct pair {
    size_t b, c, width;
    /* By world: the tables that both touch, and the first row of their three-way factors. */
    size_t count[RW_MAX_WORLDS], first[RW_MAX_WORLDS][RW_MAX_CHECKS];
    const struct rw_set_table *tables[RW_MAX_WORLDS][RW_MAX_CHECKS];
    double peaks[PEAKS],
        scales[PEAKS];  /* ln of the best partner's weight, three-way factors apart; e^ of it */
    bool reached[ROWS]; /* some weight counts */
    double weight[ROWS][PARTNERS];
};

struct rw_sets {
    const struct rw_space *space;
    size_t world_count, table_count, touching_count;
    struct world_sums *sums; /* [world] */
    struct rw_set_table *tables[RW_MAX_CHECKS * RW_MAX_WORLDS];
    struct rw_set_table *touching[RW_MAX_CHECKS * RW_MAX_WORLDS]; /* those that the pair's c touches */
    struct side outer[RW_MAX_WORLDS][2];                          /* of the pair's c, by severity */
    /* By site b: peaks of its side, and those of c's side with all that concerns b and c alone. */
    double inner_peaks[RW_MAX_FURTHER][PEAKS], outer_peaks[RW_MAX_FURTHER][PEAKS];
    double alone[RW_MAX_WORLDS][2][ATOMS]; /* ln of all that concerns b and c alone, by severity of c and b */
    struct pair pair;
    double by_partner[RW_LEVEL_COUNT][PARTNERS]; /* weight by level of the pair and partner */
};

struct rw_sets *rw_sets_new(const struct rw_space *space, size_t world_count, struct rw_arena *arena) {
    const size_t atoms = 2 * space->further_count;
    struct rw_sets *sets = rw_arena_take(arena, 1, sizeof *sets);
    struct world_sums *sums = rw_arena_take(arena, world_count, sizeof *sums);
    if (sets == NULL || sums == NULL)
        return NULL;
    for (size_t w = 0; w < world_count; w++) {
        memset(&sums[w], 0, sizeof sums[w]);
        sums[w].two = rw_arena_take(arena, atoms, sizeof *sums[w].two);
        if (sums[w].two == NULL)
            return NULL;
        for (size_t b = 0; b < atoms; b++)
            memset(sums[w].two[b].log, 0, (FURTHER + b) * sizeof(double));
    }
    memset(sets->by_partner, 0, sizeof sets->by_partner);
    sets->space = space;
    sets->world_count = world_count;
    sets->table_count = 0;
    sets->sums = sums;
    return sets;
}

/* sum[x] += more[x] */
RW_VECTOR static void add_partners(const double *restrict more, double *restrict sum) {
    for (size_t x = 0; x < PARTNERS; x++)
        sum[x] += more[x];
}

bool rw_sets_add(struct rw_sets *sets, const struct rw_view *view, uint32_t worlds, struct rw_arena *arena) {
    struct rw_set_table *t = rw_set_table_new(view, worlds, sets->space, arena);
    double row[PARTNERS];
    if (t == NULL)
        return false;
    sets->tables[sets->table_count++] = t;
    const double none = rw_set_table_none(t);
    for (size_t class = 0; class < t->class_count; class ++) {
        rw_set_table_logs(t, class, row);
        for (size_t w = 0; w < sets->world_count; w++) {
            struct world_sums *sums = &sets->sums[w];
            if ((worlds >> w & 1u) == 0)
                continue;
            if (class == 0) {
                sums->base += none;
                rw_set_table_add(t, row, sets->space->further_count, sums->one);
                continue;
            }
            for (size_t i = 0; i < t->site_count; i++)
                if ((t->class_of[t->sites[i]] + 1u) / 2 == (class + 1) / 2)
                    rw_set_table_add(t, row, t->sites[i], sums->two[2u * t->sites[i] + (class + 1) % 2].log);
        }
    }
    return true;
}

/* ---- the weights of a pair ---- */

/* Adds the weights of one part of a row as products. */
RW_INLINE void add_products(const struct pair *pair, size_t world, size_t row, size_t part,
                            const struct side *outer, const struct side *inner, double *restrict weight) {
    const size_t start = part == ROOTS ? 0 : FURTHER,
                 n = rw_whole(part == ROOTS ? FURTHER : pair->width - FURTHER);
    const double scale = pair->scales[peak_at(world, row, part)];
    const double *restrict of_outer = outer->weight + start, *restrict of_inner = inner->weight + start;
    double product[PARTNERS];
    weight += start;
    if (pair->count[world] == 0) {
        for (size_t x = 0; x < n; x++)
            weight[x] += scale * of_outer[x] * of_inner[x];
        return;
    }
    for (size_t x = 0; x < n; x++)
        product[x] = scale * of_outer[x] * of_inner[x];
    for (size_t k = 0; k < pair->count[world]; k++) {
        const struct rw_set_table *t = pair->tables[world][k];
        const double *restrict three = t->three + (pair->first[world][k] + row) * t->width;
        for (size_t x = 0; part == ROOTS && x < FURTHER; x++)
            product[x] *= three[x];
        for (size_t i = 0; part == BEYOND && i < t->site_count && t->sites[i] < pair->b; i++) {
            const size_t x = 2u * t->sites[i], class = FURTHER + t->class_of[t->sites[i]];
            product[x] *= three[class];
            product[x + 1] *= three[class + 1];
        }
    }
    for (size_t x = 0; x < n; x++)
        weight[x] += product[x];
}

/* The same by logarithms, for any range. */
static void add_logs(const struct pair *pair, size_t world, size_t row, size_t part, double at,
                     const struct side *outer, const struct side *inner, double *weight) {
    const size_t start = part == ROOTS ? 0 : FURTHER, end = part == ROOTS ? FURTHER : pair->width;
    double log[PARTNERS];
    for (size_t x = start; x < end; x++)
        log[x] = at + outer->log[x] + inner->log[x];
    for (size_t k = 0; k < pair->count[world]; k++) {
        const struct rw_set_table *t = pair->tables[world][k];
        const double *three = t->three + (pair->first[world][k] + row) * t->width;
        for (size_t x = 0; part == ROOTS && x < FURTHER; x++)
            log[x] += rw_log(three[x]);
        for (size_t i = 0; part == BEYOND && i < t->site_count && t->sites[i] < pair->b; i++) {
            const size_t x = FURTHER + 2u * t->sites[i], class = FURTHER + t->class_of[t->sites[i]];
            log[x] += rw_log(three[class]);
            log[x + 1] += rw_log(three[class + 1]);
        }
    }
    for (size_t x = start; x < end; x++)
        weight[x] += rw_exp(log[x]);
}

/* Adds a world's weights to a pair's rows, but for parts that cannot reach `least`. */
RW_VECTOR static void add_world(const struct rw_sets *s, const struct rw_search *search, size_t world,
                                struct pair *pair) {
    double bound[ROWS * PARTS];
    for (size_t i = 0; i < ROWS * PARTS; i++)
        bound[i] = pair->peaks[world * ROWS * PARTS + i];
    for (size_t k = 0; k < pair->count[world]; k++) {
        const double *restrict peak = pair->tables[world][k]->peak[pair->first[world][k]];
        for (size_t i = 0; i < ROWS * PARTS; i++)
            bound[i] += peak[i];
    }
    for (size_t i = 0; i < ROWS * PARTS; i++) {
        const size_t row = i / PARTS, part = i % PARTS, b = 2 * pair->b + row / 2;
        const struct side *outer = &s->outer[world][row % 2], *inner = &s->sums[world].two[b];
        if (!(bound[i] >= search->least))
            continue;
        pair->reached[row] = true;
        if (bound[i] <= search->product_bound)
            add_products(pair, world, row, part, outer, inner, pair->weight[row]);
        else
            add_logs(pair, world, row, part, s->alone[world][row % 2][b], outer, inner, pair->weight[row]);
    }
}

/* Peaks of the rows of a pair, and e^ of them. Beyond 700 that is no number, and not used. */
RW_VECTOR static void fill_peaks(size_t world_count, const double *restrict outer,
                                 const double *restrict inner, double *restrict peaks,
                                 double *restrict scales) {
    for (size_t i = 0; i < world_count * ROWS * PARTS; i++) {
        peaks[i] = outer[i] + inner[i];
        scales[i] = rw_exp(peaks[i]);
    }
}

/* The tables that a pair touches, with their three-way factors. */
static void meet(struct rw_sets *s, struct pair *pair) {
    memset(pair->count, 0, sizeof pair->count);
    for (size_t k = 0; k < s->touching_count; k++) {
        struct rw_set_table *t = s->touching[k];
        if (t->class_of[pair->b] == 0)
            continue;
        const size_t first = rw_set_table_pair(t, t->class_of[pair->b], t->class_of[pair->c]);
        for (size_t w = 0; w < s->world_count; w++)
            if ((t->worlds >> w & 1u) != 0) {
                pair->first[w][pair->count[w]] = first;
                pair->tables[w][pair->count[w]++] = t;
            }
    }
}

/* ---- booking ---- */

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

/* sum[x] += weight[x]; returns the sum of the row, and whether one of it reaches `floor`. */
RW_VECTOR static double add_row(size_t n, const double *restrict weight, double floor, double *restrict sum,
                                bool *reaches) {
    bool any = false;
    for (size_t x = 0; x < rw_whole(n); x++)
        sum[x] += weight[x];
    for (size_t x = 0; x < rw_whole(n); x += RW_BLOCK)
        any |= rw_block_reaches(weight + x, floor);
    *reaches = any;
    return rw_sum(n, weight);
}

/* Books one row of a pair: marginals and shortlist. */
static void book(struct rw_sets *s, struct rw_search *search, const struct pair *pair, size_t row) {
    const size_t b = 2 * pair->b + row / 2, c = 2 * pair->c + row % 2;
    const enum rw_level level_b = level_of(s->space, pair->b), level_c = level_of(s->space, pair->c);
    const double *weight = pair->weight[row];
    bool reaches;
    const double sum = add_row(pair->width, weight, rw_shortlist_floor(&search->shortlist),
                               s->by_partner[level_b < level_c ? level_b : level_c], &reaches);
    search->further[b] += sum;
    search->further[c] += sum;
    for (size_t x = 0; reaches && x < pair->width; x++)
        if (weight[x] > rw_shortlist_floor(&search->shortlist))
            offer(&search->shortlist, weight[x], b, c, x);
}

static void sum_pair(struct rw_sets *s, struct rw_search *search, struct pair *pair) {
    pair->width = rw_round_up(FURTHER + 2 * pair->b);
    for (size_t row = 0; row < ROWS; row++) {
        pair->reached[row] = false;
        memset(pair->weight[row], 0, pair->width * sizeof pair->weight[row][0]);
    }
    meet(s, pair);
    fill_peaks(s->world_count, s->outer_peaks[pair->b], s->inner_peaks[pair->b], pair->peaks, pair->scales);
    for (size_t w = 0; w < s->world_count; w++)
        add_world(s, search, w, pair);
    for (size_t row = 0; row < ROWS; row++)
        if (pair->reached[row])
            book(s, search, pair, row);
    search->summed += (double)(s->world_count * ROWS * (NOTHING + 1 + 2 * pair->b));
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

/* ---- the search ---- */

/* The largest of whole blocks. */
RW_INLINE double greatest(size_t n, const double *x) {
    double top[RW_BLOCK];
    for (size_t j = 0; j < RW_BLOCK; j++)
        top[j] = -(double)INFINITY;
    for (size_t i = 0; i < rw_whole(n); i += RW_BLOCK)
        for (size_t j = 0; j < RW_BLOCK; j++)
            top[j] = x[i + j] > top[j] ? x[i + j] : top[j];
    for (size_t j = 1; j < RW_BLOCK; j++)
        top[0] = top[j] > top[0] ? top[j] : top[0];
    return top[0];
}

/* Peaks and weights of a side whose logs are done, for further partners below a site; those beyond it, up to
 * the end of a block, have log −INFINITY. */
RW_VECTOR static void close_side(struct side *side, size_t site, double peak[PARTS]) {
    const size_t start[PARTS] = {0, FURTHER}, n[PARTS] = {FURTHER, rw_round_up(2 * site)};
    for (size_t part = 0; part < PARTS; part++) {
        const double *restrict log = side->log + start[part];
        double *restrict weight = side->weight + start[part];
        const double top = greatest(n[part], log);
        peak[part] = top;
        for (size_t x = 0; x < rw_whole(n[part]); x++)
            weight[x] = rw_exp(log[x] - top);
    }
}

/* Makes a site the c of pairs. */
static void turn_to(struct rw_sets *s, const double kind[PARTNERS], size_t c) {
    s->pair.c = c;
    s->touching_count = 0;
    for (size_t k = 0; k < s->table_count; k++)
        if (s->tables[k]->class_of[c] != 0)
            s->touching[s->touching_count++] = s->tables[k];
    for (size_t w = 0; w < s->world_count; w++)
        for (size_t severity = 0; severity < 2; severity++) {
            const struct world_sums *sums = &s->sums[w];
            struct side *outer = &s->outer[w][severity];
            memcpy(outer->log, sums->two[2 * c + severity].log, sizeof outer->log);
            add_partners(sums->one, outer->log);
            for (size_t b = 0; b < 2 * c; b++)
                s->alone[w][severity][b] =
                    sums->base + sums->one[FURTHER + 2 * c + severity] + outer->log[FURTHER + b];
            add_partners(kind, outer->log);
            double peak[PARTS];
            close_side(outer, c, peak);
            for (size_t b = 0; b < 2 * c; b++)
                for (size_t part = 0; part < PARTS; part++)
                    s->outer_peaks[b / 2][peak_at(w, 2 * (b % 2) + severity, part)] =
                        s->alone[w][severity][b] + peak[part];
        }
}

/* Adds the prior to one- and two-way terms of all worlds, and makes partners that are none never count. */
static void add_prior(struct rw_sets *s, const struct rw_search *search) {
    const struct rw_prior_terms *prior = search->prior;
    const size_t atoms = 2 * s->space->further_count;
    double one[PARTNERS], two[PARTNERS];
    for (size_t x = 0; x < PARTNERS; x++)
        one[x] = x < NOTHING                           ? prior->root_atom[x]
                 : x == NOTHING                        ? 0.0
                 : x >= FURTHER && x - FURTHER < atoms ? prior->further[x - FURTHER]
                                                       : -(double)INFINITY;
    for (size_t w = 0; w < s->world_count; w++) {
        s->sums[w].base += search->worlds[w].log_weight - search->reference;
        add_partners(one, s->sums[w].one);
    }
    for (size_t b = 0; b < atoms; b++) {
        for (size_t x = 0; x < PARTNERS; x++)
            two[x] = x < NOTHING               ? rw_prior_series(s->space, prior, 1u << (x / 7), b / 2)
                     : x < FURTHER             ? 0.0
                     : x < FURTHER + b / 2 * 2 ? prior->coupling[b / 2][(x - FURTHER) / 2]
                                               : -(double)INFINITY;
        for (size_t w = 0; w < s->world_count; w++) {
            add_partners(two, s->sums[w].two[b].log);
            double *peak = &s->inner_peaks[b / 2][peak_at(w, 2 * (b % 2), 0)];
            close_side(&s->sums[w].two[b], b / 2, peak);
            for (size_t part = 0; part < PARTS; part++) /* the same in both severities of c */
                peak[PARTS + part] = peak[part];
        }
    }
}

void rw_sets_search(struct rw_sets *sets, struct rw_search *search) {
    double kind[PARTNERS];
    for (size_t x = 0; x < PARTNERS; x++)
        kind[x] = search->prior->kind[x < NOTHING    ? RW_PRIOR_ROOT_AND_TWO
                                      : x == NOTHING ? RW_PRIOR_PAIR
                                                     : RW_PRIOR_TRIPLE];
    add_prior(sets, search);
    for (size_t c = 1; c < sets->space->further_count; c++) {
        turn_to(sets, kind, c);
        for (sets->pair.b = 0; sets->pair.b < c; sets->pair.b++)
            sum_pair(sets, search, &sets->pair);
    }
    book_partners(sets, search);
}
