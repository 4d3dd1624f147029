/* Every root configuration, alone and with any one further site.
 *
 * The weight of a configuration with one further atom is a product: what targets of entry all say of both,
 * what the atom changes for proximal and for post targets, and a rest that the atom leaves alone (the prior
 * of the roots; proximal, post and pre targets without the atom). Configurations that an atom cannot tell
 * apart form a class, and over a class the rest is summed once: 3^5 classes for an atom that changes entry
 * all alone, 5^5 where it changes one of the other two.
 *
 * The rest is kept as a number, not as its logarithm. That is safe since few findings bear on those entries:
 * what they can tell together stays within RW_REST_SPAN, to which tests/unit/test_search.c holds the facts.
 */
#include <math.h>
#include <string.h>

#include "exp.h"
#include "root_tables.h"

enum {
    LOW_ROOTS = 3, /* configurations lie in rows: C5, C6 and C7 along a row, C8 and T1 by row */
    LOW = 512,
    HIGH = RW_ROOT_CONFIGS / LOW,
    LOW_PATTERNS = 27,
    HIGH_PATTERNS = RW_ROOT_PATTERNS / LOW_PATTERNS
};

/* A partition of the configurations into classes that some atoms cannot tell apart. A class has a digit for
 * each root, and classes lie in rows as configurations do, `stride` apart. */
struct fold {
    size_t high_count, stride, size;
    uint16_t low_class[LOW], high_class[HIGH]; /* part of a configuration → of its class */
    uint16_t low_pattern[RW_CHANGES][LOW],
        high_pattern[RW_CHANGES][HIGH]; /* part of a class → of its pattern */
    double *rest[RW_MAX_WORLDS];        /* [size] summed over the configurations of a class */
    double *got[RW_MAX_WORLDS];         /* [size] Σ over atoms of weight / rest */
};

enum { FOLD_ALL, FOLD_ALL_PROXIMAL, FOLD_ALL_POST, FOLD_NONE, FOLD_COUNT };

/* States that a fold keeps apart: by all class; by (all, proximal); by (all, post); every state. */
static const uint8_t fold_digit[FOLD_COUNT][RW_ROOT_STATES] = {
    {0, 1, 2, 1, 2, 1, 2, 2}, {0, 1, 2, 1, 2, 3, 4, 2}, {0, 1, 2, 3, 4, 3, 4, 4}, {0, 1, 2, 3, 4, 5, 6, 7}};
static const size_t fold_base[FOLD_COUNT] = {3, 5, 5, 8};

struct run {
    struct rw_search *search;
    const struct rw_roots *roots;
    struct fold *fold[FOLD_COUNT]; /* NULL: no atom needs it */
    size_t twin[RW_MAX_WORLDS];    /* the first world with the same rest: they share it and what folds hold */
    double *rest[RW_MAX_WORLDS];   /* [RW_ROOT_CONFIGS], the largest 1 */
    double scale[RW_MAX_WORLDS];   /* ln of what `rest` is relative to, with all that no root changes */
    double *weight;                /* [RW_ROOT_CONFIGS] summed over worlds and further atoms */
    double *product, *of_class;    /* [RW_ROOT_CONFIGS] of the fold and atom at hand */
    double factor[RW_MAX_WORLDS][RW_CHANGES][RW_ROOT_TABLE]; /* by pattern, of the atom at hand */
};

/* out[Σ digit·base^i] = Σ value[digit]·scale^i over all digits of `roots` roots. */
static size_t compose(size_t roots, size_t base, const uint8_t *value, size_t scale, uint16_t *out) {
    size_t count = 1, stride = 1;
    out[0] = 0;
    for (size_t i = 0; i < roots; i++, count *= base, stride *= scale)
        for (size_t digit = base; digit-- > 0;)
            for (size_t p = 0; p < count; p++)
                out[digit * count + p] = (uint16_t)(out[p] + value[digit] * stride);
    return count;
}

/* Σ over the configurations of each class. */
RW_VECTOR static void sum_classes(const struct fold *fold, const double *restrict rest,
                                  double *restrict sum) {
    memset(sum, 0, fold->size * sizeof *sum);
    for (size_t class = 0; class < fold->high_count; class ++) {
        double row[LOW] = {0};
        for (size_t high = 0; high < HIGH; high++)
            for (size_t low = 0; fold->high_class[high] == class && low < LOW; low++)
                row[low] += rest[high * LOW + low];
        for (size_t low = 0; low < LOW; low++)
            sum[class * fold->stride + fold->low_class[low]] += row[low];
    }
}

/* Adds to each configuration the value of its class times its rest. */
RW_VECTOR static void add_shares(const struct fold *fold, const double *restrict value,
                                 const double *restrict rest, double *restrict sum) {
    for (size_t class = 0; class < fold->high_count; class ++) {
        double row[LOW];
        for (size_t low = 0; low < LOW; low++)
            row[low] = value[class * fold->stride + fold->low_class[low]];
        for (size_t high = 0; high < HIGH; high++)
            for (size_t low = 0; fold->high_class[high] == class && low < LOW; low++)
                sum[high * LOW + low] += row[low] * rest[high * LOW + low];
    }
}

static struct fold *fold_new(size_t which, const struct run *run, struct rw_arena *arena) {
    const size_t base = fold_base[which];
    struct fold *fold = rw_arena_take(arena, 1, sizeof *fold);
    if (fold == NULL)
        return NULL;
    memset(fold, 0, sizeof *fold);
    compose(LOW_ROOTS, RW_ROOT_STATES, fold_digit[which], base, fold->low_class);
    compose(RW_PLEXUS_ROOTS - LOW_ROOTS, RW_ROOT_STATES, fold_digit[which], base, fold->high_class);
    fold->high_count = base * base;
    fold->stride = rw_round_up(base * base * base);
    fold->size = fold->high_count * fold->stride;
    for (size_t slot = 0; slot < RW_CHANGES; slot++) {
        uint8_t class_of_digit[RW_ROOT_STATES];
        for (size_t state = RW_ROOT_STATES; state-- > 0;)
            class_of_digit[fold_digit[which][state]] = rw_root_class[rw_change_entry[slot]][state];
        compose(LOW_ROOTS, base, class_of_digit, 3, fold->low_pattern[slot]);
        compose(RW_PLEXUS_ROOTS - LOW_ROOTS, base, class_of_digit, 3, fold->high_pattern[slot]);
    }
    for (size_t w = 0; w < run->search->world_count; w++) {
        const size_t twin = run->twin[w];
        if (twin == w) {
            fold->rest[w] =
                which == FOLD_NONE ? run->rest[w] : rw_arena_take(arena, fold->size, sizeof(double));
            fold->got[w] = rw_arena_take(arena, fold->size, sizeof(double));
            if (fold->rest[w] == NULL || fold->got[w] == NULL)
                return NULL;
            memset(fold->got[w], 0, fold->size * sizeof(double));
            if (which != FOLD_NONE)
                sum_classes(fold, run->rest[w], fold->rest[w]);
        }
        fold->rest[w] = fold->rest[twin];
        fold->got[w] = fold->got[twin];
    }
    return fold;
}

/* The coarsest fold whose classes an atom changes alike. */
static size_t fold_of(const struct rw_roots *roots, size_t atom) {
    double *const *change = roots->change[atom];
    if (change[RW_CHANGE_PROXIMAL] != NULL)
        return change[RW_CHANGE_POST] != NULL ? FOLD_NONE : FOLD_ALL_PROXIMAL;
    return change[RW_CHANGE_POST] != NULL ? FOLD_ALL_POST : FOLD_ALL;
}

/* ---- the rest ---- */

/* The entries that make the rest, and the part of a configuration → of its pattern. */
enum { REST_ENTRIES = 3 };
struct rest_patterns {
    uint16_t low[REST_ENTRIES][LOW], high[REST_ENTRIES][HIGH];
};

/* rest = the prior, and what the targets of those entries say of each configuration */
RW_VECTOR static void fill_logs(const double *restrict prior, const struct rest_patterns *patterns,
                                const double (*base)[RW_ROOT_TABLE], double *restrict rest) {
    double row[REST_ENTRIES][HIGH_PATTERNS][LOW];
    for (size_t e = 0; e < REST_ENTRIES; e++)
        for (size_t p = 0; p < HIGH_PATTERNS; p++)
            for (size_t low = 0; low < LOW; low++)
                row[e][p][low] = base[e][LOW_PATTERNS * p + patterns->low[e][low]];
    for (size_t high = 0; high < HIGH; high++, prior += LOW, rest += LOW) {
        const double *restrict proximal = row[0][patterns->high[0][high]];
        const double *restrict post = row[1][patterns->high[1][high]];
        const double *restrict pre = row[2][patterns->high[2][high]];
        for (size_t low = 0; low < LOW; low++)
            rest[low] = prior[low] + proximal[low] + post[low] + pre[low];
    }
}

/* The largest of RW_ROOT_CONFIGS numbers. */
static double largest(const double *x) {
    double top[RW_BLOCK];
    memcpy(top, x, sizeof top);
    for (size_t i = RW_BLOCK; i < RW_ROOT_CONFIGS; i += RW_BLOCK)
        for (size_t j = 0; j < RW_BLOCK; j++)
            top[j] = x[i + j] > top[j] ? x[i + j] : top[j];
    for (size_t j = 1; j < RW_BLOCK; j++)
        top[0] = top[j] > top[0] ? top[j] : top[0];
    return top[0];
}

/* x[i] = e^(x[i] − less) */
RW_VECTOR static void exp_all(size_t n, double less, double *x) {
    for (size_t i = 0; i < n; i++)
        x[i] = rw_exp(x[i] - less);
}

static bool same_rest(const struct rw_root_sums *a, const struct rw_root_sums *b) {
    for (size_t e = RW_ENTRY_PROXIMAL; e < RW_ENTRY_PROXIMAL + REST_ENTRIES; e++)
        for (size_t p = 0; p < RW_ROOT_PATTERNS; p++)
            if (a->base[e][p] < b->base[e][p] || a->base[e][p] > b->base[e][p])
                return false;
    return true;
}

/* The first world with the same rest. */
static size_t twin_of(const struct rw_roots *roots, size_t world) {
    size_t v = 0;
    while (!same_rest(&roots->sums[v], &roots->sums[world]))
        v++;
    return v;
}

static bool fill_rest(struct run *run, struct rw_arena *arena) {
    const struct rw_search *s = run->search;
    struct rest_patterns patterns = {0};
    double top[RW_MAX_WORLDS] = {0};
    for (size_t e = 0; e < REST_ENTRIES; e++) {
        const uint8_t *class = rw_root_class[RW_ENTRY_PROXIMAL + e];
        compose(LOW_ROOTS, RW_ROOT_STATES, class, 3, patterns.low[e]);
        compose(RW_PLEXUS_ROOTS - LOW_ROOTS, RW_ROOT_STATES, class, 3, patterns.high[e]);
    }
    for (size_t w = 0; w < s->world_count; w++) {
        const struct rw_root_sums *sums = &run->roots->sums[w];
        const size_t twin = run->twin[w] = twin_of(run->roots, w);
        if (twin == w) {
            run->rest[w] = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof *run->rest[w]);
            if (run->rest[w] == NULL)
                return false;
            fill_logs(s->prior->roots, &patterns, sums->base + RW_ENTRY_PROXIMAL, run->rest[w]);
            top[w] = largest(run->rest[w]);
            exp_all(RW_ROOT_CONFIGS, top[w], run->rest[w]);
        }
        run->rest[w] = run->rest[twin];
        run->scale[w] = top[twin] + s->worlds[w].log_weight + sums->constant;
    }
    return true;
}

/* The best of root patterns and of single further sites, but no lower than keeps every weight in range. */
static void set_reference(const struct run *run) {
    struct rw_search *s = run->search;
    double best = -(double)INFINITY;
    for (size_t w = 0; w < s->world_count; w++) {
        const struct fold *fold = run->fold[FOLD_ALL];
        const struct rw_root_sums *sums = &run->roots->sums[w];
        const double *base = sums->base[RW_ENTRY_ALL];
        for (size_t p = 1; p < RW_ROOT_PATTERNS; p++) {
            const double rest = fold->rest[w][p / LOW_PATTERNS * fold->stride + p % LOW_PATTERNS];
            const double lw = base[p] + run->scale[w] + log(rest) + s->prior->kind[RW_PRIOR_ROOTS];
            best = lw > best ? lw : best;
        }
        for (size_t a = 0; a < run->roots->atoms; a++) {
            double lw = base[0] + run->scale[w] + log(run->rest[w][0]) + sums->change_constant[a] +
                        s->prior->further[a] + s->prior->kind[RW_PRIOR_ROOTS_AND_ONE];
            for (size_t slot = 0; slot < RW_CHANGES; slot++)
                if (run->roots->change[a][slot] != NULL)
                    lw += run->roots->change[a][slot][w * RW_ROOT_TABLE];
            best = lw > best ? lw : best;
        }
    }
    s->reference = best > s->most - RW_HEADROOM ? best : s->most - RW_HEADROOM;
    const double least = best - s->reference - RW_DEPTH;
    s->least = least > RW_LEAST ? least : RW_LEAST;
}

/* ---- the sum ---- */

/* Factors of one world by pattern: what targets of entry all say, times e^at, and the other changes by an
 * atom (NULL: none). What the rest and the other changes cannot lift to `least` is cut off. */
RW_VECTOR static void fill_factors(const double *restrict base, const double *const change[RW_CHANGES],
                                   double at, double least, double factor[RW_CHANGES][RW_ROOT_TABLE]) {
    double *restrict all = factor[RW_CHANGE_ALL];
    for (size_t p = 0; p < RW_ROOT_TABLE; p++)
        all[p] = base[p] + at;
    for (size_t p = 0; change[RW_CHANGE_ALL] != NULL && p < RW_ROOT_TABLE; p++)
        all[p] += change[RW_CHANGE_ALL][p];
    for (size_t p = 0; p < RW_ROOT_TABLE; p++)
        all[p] = rw_exp_above(all[p], least - RW_REST_SPAN);
    for (size_t slot = RW_CHANGE_ALL + 1; slot < RW_CHANGES; slot++)
        for (size_t p = 0; change[slot] != NULL && p < RW_ROOT_TABLE; p++)
            factor[slot][p] = rw_exp(change[slot][p]);
}

/* product[class] = or *= the factor at the class's pattern */
RW_VECTOR static void spread_factor(const struct fold *fold, size_t slot, const double *restrict factor,
                                    double *restrict product) {
    const uint16_t *restrict low_pattern = fold->low_pattern[slot];
    const size_t stride = rw_whole(fold->stride);
    for (size_t pattern = 0; pattern < HIGH_PATTERNS; pattern++) {
        double row[LOW];
        for (size_t low = 0; low < stride; low++)
            row[low] = factor[pattern * LOW_PATTERNS + low_pattern[low]];
        for (size_t high = 0; high < fold->high_count; high++) {
            if (fold->high_pattern[slot][high] != pattern)
                continue;
            double *restrict to = product + high * stride;
            for (size_t low = 0; low < stride; low++)
                to[low] = slot == RW_CHANGE_ALL ? row[low] : to[low] * row[low];
        }
    }
}

/* Books the product of the factors: what each class got, and its weight. */
RW_VECTOR static void add_product(size_t size, const double *restrict product, const double *restrict rest,
                                  double *restrict got, double *restrict of_class) {
    for (size_t i = 0; i < rw_whole(size); i++) {
        got[i] += product[i];
        of_class[i] += product[i] * rest[i];
    }
}

static void roots_alone(struct run *run) {
    static const double *const no_change[RW_CHANGES];
    struct rw_search *s = run->search;
    const struct fold *fold = run->fold[FOLD_ALL];
    memset(run->weight, 0, RW_ROOT_CONFIGS * sizeof run->weight[0]);
    for (size_t w = 0; w < s->world_count; w++) {
        fill_factors(run->roots->sums[w].base[RW_ENTRY_ALL], no_change,
                     run->scale[w] + s->prior->kind[RW_PRIOR_ROOTS] - s->reference, s->least, run->factor[w]);
        spread_factor(fold, RW_CHANGE_ALL, run->factor[w][RW_CHANGE_ALL], run->product);
        add_shares(fold, run->product, run->rest[w], run->weight);
    }
    run->weight[0] = 0.0; /* no lesion: summed with the hypotheses that have no site */
    s->total += rw_sum(RW_ROOT_CONFIGS, run->weight);
    for (uint32_t block = 0; block < RW_ROOT_CONFIGS; block += RW_BLOCK) {
        if (!rw_block_reaches(run->weight + block, rw_shortlist_floor(&s->shortlist)))
            continue;
        for (uint32_t r = block; r < block + RW_BLOCK; r++)
            if (run->weight[r] > rw_shortlist_floor(&s->shortlist))
                rw_shortlist_offer(&s->shortlist,
                                   &(struct rw_candidate){.weight = run->weight[r], .config = r});
    }
    s->summed += (double)(RW_ROOT_CONFIGS * s->world_count);
}

/* Offers the configurations of one class together with one further atom. */
static void offer_class(const struct run *run, const struct fold *fold, size_t atom, size_t high,
                        size_t low) {
    struct rw_search *s = run->search;
    double product[RW_MAX_WORLDS] = {0};
    for (size_t w = 0; w < s->world_count; w++) {
        product[w] = 1.0;
        for (size_t slot = 0; slot < RW_CHANGES; slot++)
            if (slot == RW_CHANGE_ALL || run->roots->change[atom][slot] != NULL)
                product[w] *= run->factor[w][slot][fold->high_pattern[slot][high] * LOW_PATTERNS +
                                                   fold->low_pattern[slot][low]];
    }
    uint32_t lows[LOW] = {0};
    size_t low_count = 0;
    for (uint32_t k = 0; k < LOW; k++)
        if (fold->low_class[k] == low)
            lows[low_count++] = k;
    for (uint32_t k = 0; k < HIGH; k++)
        for (size_t i = 0; fold->high_class[k] == high && i < low_count; i++) {
            const uint32_t r = k * LOW + lows[i];
            double weight = 0.0;
            for (size_t w = 0; w < s->world_count; w++)
                weight += product[w] * run->rest[w][r];
            if (weight > rw_shortlist_floor(&s->shortlist))
                rw_shortlist_offer(&s->shortlist, &(struct rw_candidate){.weight = weight,
                                                                         .config = r,
                                                                         .atoms = {(uint8_t)atom},
                                                                         .atom_count = 1});
        }
}

/* One further atom with every configuration. */
static void roots_and(struct run *run, size_t atom) {
    struct rw_search *s = run->search;
    const struct fold *fold = run->fold[fold_of(run->roots, atom)];
    const double prior = s->prior->further[atom] + s->prior->kind[RW_PRIOR_ROOTS_AND_ONE] - s->reference;
    memset(run->of_class, 0, fold->size * sizeof run->of_class[0]);
    for (size_t w = 0; w < s->world_count; w++) {
        const struct rw_root_sums *sums = &run->roots->sums[w];
        const double *change[RW_CHANGES] = {NULL};
        for (size_t slot = 0; slot < RW_CHANGES; slot++)
            if (run->roots->change[atom][slot] != NULL)
                change[slot] = run->roots->change[atom][slot] + w * RW_ROOT_TABLE;
        fill_factors(sums->base[RW_ENTRY_ALL], change, run->scale[w] + sums->change_constant[atom] + prior,
                     s->least, run->factor[w]);
        for (size_t slot = 0; slot < RW_CHANGES; slot++)
            if (slot == RW_CHANGE_ALL || change[slot] != NULL)
                spread_factor(fold, slot, run->factor[w][slot], run->product);
        add_product(fold->size, run->product, fold->rest[w], fold->got[w], run->of_class);
    }
    for (size_t block = 0; block < fold->size; block += RW_BLOCK) {
        if (!rw_block_reaches(run->of_class + block, rw_shortlist_floor(&s->shortlist)))
            continue;
        for (size_t c = block; c < block + RW_BLOCK; c++)
            if (run->of_class[c] > rw_shortlist_floor(&s->shortlist))
                offer_class(run, fold, atom, c / fold->stride, c % fold->stride);
    }
    const double sum = rw_sum(fold->size, run->of_class);
    s->further[atom] += sum;
    s->total += sum;
    s->summed += (double)(RW_ROOT_CONFIGS * s->world_count);
    /* The first class is the atom alone: every fold keeps intact roots apart. */
    s->level[rw_model()->sites[s->space->further_site[atom / 2]].level] += run->of_class[0];
}

static void root_marginals(const struct run *run) {
    struct rw_search *s = run->search;
    for (size_t f = 0; f < FOLD_COUNT; f++)
        for (size_t w = 0; run->fold[f] != NULL && w < s->world_count; w++)
            if (run->twin[w] == w)
                add_shares(run->fold[f], run->fold[f]->got[w], run->rest[w], run->weight);
    double low_sum[LOW] = {0}, high_sum[HIGH] = {0};
    const double intact = run->weight[0]; /* single further sites: their level is their own */
    run->weight[0] = 0.0;
    for (size_t high = 0; high < HIGH; high++)
        for (size_t low = 0; low < LOW; low++) {
            low_sum[low] += run->weight[high * LOW + low];
            high_sum[high] += run->weight[high * LOW + low];
        }
    for (uint32_t low = 0; low < LOW; low++) {
        s->level[RW_LEVEL_ROOT] += low_sum[low];
        for (size_t i = 0; i < LOW_ROOTS; i++)
            s->root_state[i][rw_root_state_of(low, i)] += low_sum[low];
    }
    for (uint32_t high = 0; high < HIGH; high++)
        for (size_t i = LOW_ROOTS; i < RW_PLEXUS_ROOTS; i++)
            s->root_state[i][rw_root_state_of(high * LOW, i)] += high_sum[high];
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        s->root_state[i][RW_ROOT_INTACT] += intact;
}

/* A trunk or division beside all of its injured roots: a factor of the prior that depends on the roots as the
 * likelihoods of targets of entry all do. */
static bool add_series(struct rw_roots *roots, const struct rw_prior_terms *prior, struct rw_arena *arena) {
    for (size_t a = 0; a < roots->atoms; a++) {
        if (roots->space->fed_by[a / 2] == 0)
            continue;
        double *change = rw_roots_change(roots, a, RW_CHANGE_ALL, arena);
        if (change == NULL)
            return false;
        for (size_t p = 0; p < RW_ROOT_PATTERNS; p++) {
            unsigned injured = 0;
            for (size_t i = 0, rest = p; i < RW_PLEXUS_ROOTS; i++, rest /= 3)
                injured |= rest % 3 != RW_INTACT ? 1u << i : 0u;
            const double series = rw_prior_series(roots->space, prior, injured, a / 2);
            for (size_t w = 0; w < roots->world_count; w++)
                change[w * RW_ROOT_TABLE + p] += series;
        }
    }
    return true;
}

static bool run_init(struct run *run, struct rw_arena *arena) {
    double **const buffers[] = {&run->weight, &run->product, &run->of_class};
    for (size_t i = 0; i < sizeof buffers / sizeof buffers[0]; i++)
        if ((*buffers[i] = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double))) == NULL)
            return false;
    if (!fill_rest(run, arena))
        return false;
    bool used[FOLD_COUNT] = {[FOLD_ALL] = true};
    for (size_t a = 0; a < run->roots->atoms; a++)
        used[fold_of(run->roots, a)] = true;
    for (size_t f = 0; f < FOLD_COUNT; f++)
        if (used[f] && (run->fold[f] = fold_new(f, run, arena)) == NULL)
            return false;
    return true;
}

bool rw_roots_search(struct rw_roots *roots, struct rw_search *search, struct rw_arena *arena) {
    struct run *run = rw_arena_take(arena, 1, sizeof *run);
    if (run == NULL)
        return false;
    *run = (struct run){.search = search, .roots = roots};
    if (!add_series(roots, search->prior, arena) || !run_init(run, arena))
        return false;
    set_reference(run);
    roots_alone(run);
    for (size_t a = 0; a < roots->atoms; a++)
        roots_and(run, a);
    root_marginals(run);
    return true;
}
