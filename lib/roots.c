/* Every root configuration, alone and with any one further site.
 *
 * A target sees of a root only whether its fibres are intact, partly lost or lost at the root sites that it
 * runs through (its entry), so likelihoods live in tables of 3^5 patterns an entry. For one further atom
 * the 32768 configurations fall into few classes with equal changes: 3^5 where the atom changes targets of
 * entry all alone or proximal alone, 5^5 where it changes those of entry post too; a class is summed once. */
#include <math.h>
#include <string.h>

#include "exp.h"
#include "search.h"

enum {
    ATOMS = 2 * RW_MAX_FURTHER,
    LOW = 64, /* configurations of C5 and C6 */
    HIGH = RW_ROOT_CONFIGS / LOW,
    LOW_PATTERNS = 9,
    HIGH_PATTERNS = RW_ROOT_PATTERNS / LOW_PATTERNS
};

/* The three entries that further sites can touch. */
enum { CHANGE_ALL, CHANGE_PROXIMAL, CHANGE_POST, CHANGES };
static const enum rw_entry change_entry[CHANGES] = {RW_ENTRY_ALL, RW_ENTRY_PROXIMAL, RW_ENTRY_POST};

/* Summed over terms: how the log likelihood depends on the roots and on one further atom. */
struct world_sums {
    double base[RW_ENTRY_PRE + 1][RW_ROOT_PATTERNS];
    double constant; /* terms without plexus roots, nothing injured */
    double change_constant[ATOMS];
};

struct rw_roots {
    const struct rw_space *space;
    size_t atoms, world_count;
    bool filled[RW_ENTRY_PRE + 1];  /* some term has this entry */
    struct world_sums *sums;        /* [world] */
    double *change[ATOMS][CHANGES]; /* [world · RW_ROOT_PATTERNS + pattern]; NULL: none, in any world */
};

struct rw_roots *rw_roots_new(const struct rw_space *space, size_t world_count, struct rw_arena *arena) {
    struct rw_roots *roots = rw_arena_take(arena, 1, sizeof *roots);
    struct world_sums *sums = rw_arena_take(arena, world_count, sizeof *sums);
    if (roots == NULL || sums == NULL)
        return NULL;
    memset(sums, 0, world_count * sizeof *sums);
    *roots = (struct rw_roots){
        .space = space, .atoms = 2 * space->further_count, .world_count = world_count, .sums = sums};
    return roots;
}

/* The changes by an atom to targets of one entry, all 0 when they are new. NULL: arena too small. */
static double *change_of(struct rw_roots *roots, size_t atom, size_t slot, struct rw_arena *arena) {
    const size_t count = roots->world_count * RW_ROOT_PATTERNS;
    double **change = &roots->change[atom][slot];
    if (*change == NULL && (*change = rw_arena_take(arena, count, sizeof **change)) != NULL)
        memset(*change, 0, count * sizeof **change);
    return *change;
}

/* ---- tables of one view ---- */

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

/* ln P of the view's finding by pattern, after a further lesion of a class. */
static void class_table(const struct rw_view *view, const struct feeding *feeding, size_t class,
                        double table[RW_ROOT_PATTERNS]) {
    const struct rw_class *c = &view->classes[class];
    double left[RW_PLEXUS_ROOTS + 1] = {0}, fraction[RW_ROOT_PATTERNS], logs[RW_ROOT_PATTERNS];
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
    for (size_t p = 0; p < RW_ROOT_PATTERNS; p++)
        table[p] = logs[feeding->reduced[p]];
}

static void add_table(double *restrict sum, const double *restrict table) {
    for (size_t p = 0; p < RW_ROOT_PATTERNS; p++)
        sum[p] += table[p];
}

static void add_base(struct rw_roots *roots, const struct rw_view *view, uint32_t worlds,
                     const double base[RW_ROOT_PATTERNS]) {
    roots->filled[view->term->entry] = true;
    for (size_t w = 0; w < roots->world_count; w++)
        if ((worlds >> w & 1u) != 0) {
            if (view->roots == 0)
                roots->sums[w].constant += base[0];
            else
                add_table(roots->sums[w].base[view->term->entry], base);
        }
}

/* Adds a change to an atom in every world of the mask. */
static bool add_change(struct rw_roots *roots, const struct rw_view *view, uint32_t worlds, size_t atom,
                       const double change[RW_ROOT_PATTERNS], struct rw_arena *arena) {
    const unsigned entry = view->term->entry;
    const size_t slot = entry == RW_ENTRY_POST       ? CHANGE_POST
                        : entry == RW_ENTRY_PROXIMAL ? CHANGE_PROXIMAL
                                                     : CHANGE_ALL;
    double *sum = view->roots == 0 ? NULL : change_of(roots, atom, slot, arena);
    if (view->roots != 0 && sum == NULL)
        return false;
    for (size_t w = 0; w < roots->world_count; w++)
        if ((worlds >> w & 1u) != 0) {
            if (sum == NULL)
                roots->sums[w].change_constant[atom] += change[0];
            else
                add_table(sum + w * RW_ROOT_PATTERNS, change);
        }
    return true;
}

bool rw_roots_add(struct rw_roots *roots, const struct rw_view *view, uint32_t worlds,
                  struct rw_arena *arena) {
    struct feeding feeding = {0};
    double base[RW_ROOT_PATTERNS], change[RW_ROOT_PATTERNS];
    feeding_init(&feeding, view->roots);
    class_table(view, &feeding, 0, base);
    add_base(roots, view, worlds, base);
    for (size_t class = 1; class < view->class_count; class ++) {
        class_table(view, &feeding, class, change);
        for (size_t p = 0; p < RW_ROOT_PATTERNS; p++)
            change[p] -= base[p];
        for (size_t a = 0; a < roots->atoms; a++)
            if (view->class_of[a] == class && !add_change(roots, view, worlds, a, change, arena))
                return false;
    }
    return true;
}

/* ---- configurations ---- */

/* A partition of the configurations into classes that the changes by some atoms cannot tell apart. */
struct fold {
    size_t count, stride;       /* classes; the same, rounded up to blocks */
    uint16_t *members;          /* [RW_ROOT_CONFIGS] grouped by class */
    uint32_t *first;            /* [count + 1] class → range of members */
    uint16_t *pattern[CHANGES]; /* [stride] class → pattern */
    double *mass;               /* [world · stride] ln Σ over members of exp(log weight) */
    double *top;                /* [world · stride] share of the heaviest member */
    double *got;                /* [world · stride] Σ over atoms of weight */
};

enum { FOLD_ALL, FOLD_PROXIMAL, FOLD_ALL_POST, FOLD_NONE, FOLD_COUNT };

struct run {
    struct rw_search *search;
    const struct rw_roots *roots;
    struct fold *fold[FOLD_COUNT];       /* NULL: no atom needs it */
    uint16_t *pattern[RW_ENTRY_PRE + 1]; /* [RW_ROOT_CONFIGS] by entry */
    double *lw[RW_MAX_WORLDS];           /* [RW_ROOT_CONFIGS] ln R + likelihood + world weight */
    double *weight;                      /* [RW_ROOT_CONFIGS] summed over worlds and further atoms */
    double *scratch, *of_class, *bound;  /* [RW_ROOT_CONFIGS] of the fold and atom at hand */
};

/* States that a fold keeps apart: by all class; by proximal class; by (all, post) classes; every state. */
static const uint8_t fold_digit[FOLD_COUNT][RW_ROOT_STATES] = {
    {0, 1, 2, 1, 2, 1, 2, 2}, {0, 1, 2, 1, 2, 0, 0, 2}, {0, 1, 2, 3, 4, 3, 4, 4}, {0, 1, 2, 3, 4, 5, 6, 7}};
static const size_t fold_base[FOLD_COUNT] = {3, 3, 5, 8};

/* out[Σ digit·base^root] = Σ value[digit]·scale^root over all digits of all roots. */
static void compose(size_t base, const uint8_t *value, size_t scale, uint16_t *out) {
    size_t count = 1, stride = 1;
    out[0] = 0;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++, count *= base, stride *= scale)
        for (size_t digit = base; digit-- > 0;)
            for (size_t p = 0; p < count; p++)
                out[digit * count + p] = (uint16_t)(out[p] + value[digit] * stride);
}

/* Groups the configurations by class. */
static void group_members(struct fold *fold, const uint16_t *class_of) {
    memset(fold->first, 0, (fold->count + 1) * sizeof *fold->first);
    for (size_t r = 0; r < RW_ROOT_CONFIGS; r++)
        fold->first[class_of[r]]++;
    for (size_t c = 1; c <= fold->count; c++)
        fold->first[c] += fold->first[c - 1];
    for (size_t r = RW_ROOT_CONFIGS; r-- > 0;)
        fold->members[--fold->first[class_of[r]]] = (uint16_t)r;
}

static struct fold *fold_new(size_t which, const struct run *run, struct rw_arena *arena) {
    const size_t base = fold_base[which], worlds = run->search->world_count;
    const size_t count = base * base * base * base * base;
    struct fold *fold = rw_arena_take(arena, 1, sizeof *fold);
    uint16_t *class_of = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof *class_of);
    if (fold == NULL || class_of == NULL)
        return NULL;
    fold->count = count;
    fold->stride = (count + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK;
    fold->members = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof *fold->members);
    fold->first = rw_arena_take(arena, count + 1, sizeof *fold->first);
    fold->mass = rw_arena_take(arena, worlds * fold->stride, sizeof *fold->mass);
    fold->top = rw_arena_take(arena, worlds * fold->stride, sizeof *fold->top);
    fold->got = rw_arena_take(arena, worlds * fold->stride, sizeof *fold->got);
    for (size_t slot = 0; slot < CHANGES; slot++)
        fold->pattern[slot] = rw_arena_take(arena, fold->stride, sizeof *fold->pattern[slot]);
    if (!fold->members || !fold->first || !fold->mass || !fold->top || !fold->got ||
        !fold->pattern[CHANGE_POST])
        return NULL;
    compose(RW_ROOT_STATES, fold_digit[which], base, class_of);
    group_members(fold, class_of);
    for (size_t slot = 0; slot < CHANGES; slot++) {
        uint8_t class_of_digit[RW_ROOT_STATES];
        for (size_t state = RW_ROOT_STATES; state-- > 0;)
            class_of_digit[fold_digit[which][state]] = rw_root_class[change_entry[slot]][state];
        memset(fold->pattern[slot] + count, 0, (fold->stride - count) * sizeof *fold->pattern[slot]);
        compose(base, class_of_digit, 3, fold->pattern[slot]);
    }
    return fold;
}

/* Mass of a class in one world, and the share of its heaviest member. */
RW_VECTOR static double class_mass(size_t n, const uint16_t *restrict members, const double *restrict lw,
                                   double *restrict scratch, double *top) {
    double heaviest[RW_BLOCK], sum[RW_BLOCK] = {0};
    size_t end = n;
    for (size_t i = 0; i < n; i++)
        scratch[i] = lw[members[i]];
    while (end % RW_BLOCK != 0)
        scratch[end++] = -(double)INFINITY;
    for (size_t j = 0; j < RW_BLOCK; j++)
        heaviest[j] = scratch[j];
    for (size_t i = RW_BLOCK; i < end; i += RW_BLOCK)
        for (size_t j = 0; j < RW_BLOCK; j++)
            heaviest[j] = scratch[i + j] > heaviest[j] ? scratch[i + j] : heaviest[j];
    for (size_t j = 1; j < RW_BLOCK; j++)
        heaviest[0] = heaviest[j] > heaviest[0] ? heaviest[j] : heaviest[0];
    for (size_t i = 0; i < end; i += RW_BLOCK)
        for (size_t j = 0; j < RW_BLOCK; j++)
            sum[j] += rw_exp(scratch[i + j] - heaviest[0]);
    const double all = rw_block_sum(sum);
    *top = 1.0 / all;
    return heaviest[0] + log(all);
}

static void fold_mass(const struct fold *fold, const struct run *run) {
    for (size_t w = 0; w < run->search->world_count; w++) {
        double *mass = fold->mass + w * fold->stride, *top = fold->top + w * fold->stride;
        memset(fold->got + w * fold->stride, 0, fold->stride * sizeof *fold->got);
        for (size_t c = 0; c < fold->stride; c++) {
            const uint32_t first = c < fold->count ? fold->first[c] : 0;
            const size_t n = c < fold->count ? fold->first[c + 1] - first : 0;
            top[c] = 1.0;
            if (n > 1)
                mass[c] = class_mass(n, fold->members + first, run->lw[w], run->scratch, &top[c]);
            else
                mass[c] = n == 1 ? run->lw[w][fold->members[first]] : -(double)INFINITY;
        }
    }
}

/* The coarsest fold whose classes an atom changes alike. */
static size_t fold_of(const struct rw_roots *roots, size_t atom) {
    double *const *change = roots->change[atom];
    if (change[CHANGE_PROXIMAL] != NULL)
        return change[CHANGE_ALL] != NULL || change[CHANGE_POST] != NULL ? FOLD_NONE : FOLD_PROXIMAL;
    return change[CHANGE_POST] != NULL ? FOLD_ALL_POST : FOLD_ALL;
}

static double change_at(const struct run *run, size_t world, size_t atom, const struct fold *fold, size_t c) {
    double change = run->roots->sums[world].change_constant[atom];
    for (size_t slot = 0; slot < CHANGES; slot++)
        if (run->roots->change[atom][slot] != NULL)
            change += run->roots->change[atom][slot][world * RW_ROOT_PATTERNS + fold->pattern[slot][c]];
    return change;
}

/* Adds to each configuration what the targets of one entry say of it. */
RW_VECTOR static void add_entry(const double *restrict base, const uint16_t *restrict pattern,
                                double *restrict lw) {
    double row[HIGH_PATTERNS][LOW]; /* `base` spread over the states of C5 and C6 */
    for (size_t p = 0; p < HIGH_PATTERNS; p++)
        for (size_t low = 0; low < LOW; low++)
            row[p][low] = base[LOW_PATTERNS * p + pattern[low]];
    for (size_t high = 0; high < HIGH; high++)
        for (size_t low = 0; low < LOW; low++)
            lw[high * LOW + low] += row[pattern[high * LOW] / LOW_PATTERNS][low];
}

static void log_weights(struct run *run) {
    const struct rw_search *s = run->search;
    for (size_t w = 0; w < s->world_count; w++) {
        const double constant = s->worlds[w].log_weight + run->roots->sums[w].constant;
        for (size_t r = 0; r < RW_ROOT_CONFIGS; r++)
            run->lw[w][r] = s->prior->roots[r] + constant;
        for (size_t e = RW_ENTRY_ALL; e <= RW_ENTRY_PRE; e++)
            if (run->roots->filled[e])
                add_entry(run->roots->sums[w].base[e], run->pattern[e], run->lw[w]);
    }
}

/* The best of root patterns and of single further sites, but no lower than keeps every weight in range. */
static void set_reference(const struct run *run) {
    struct rw_search *s = run->search;
    const struct fold *fold = run->fold[FOLD_ALL];
    double best = -(double)INFINITY;
    for (size_t w = 0; w < s->world_count; w++) {
        for (size_t c = 1; c < fold->count; c++) {
            const double lw = fold->mass[w * fold->stride + c] + s->prior->kind[RW_PRIOR_ROOTS];
            best = lw > best ? lw : best;
        }
        for (size_t a = 0; a < run->roots->atoms; a++) {
            const double lw = run->lw[w][0] + change_at(run, w, a, fold, 0) + s->prior->further[a] +
                              s->prior->kind[RW_PRIOR_ROOTS_AND_ONE];
            best = lw > best ? lw : best;
        }
    }
    s->reference = best > s->most - RW_HEADROOM ? best : s->most - RW_HEADROOM;
    const double least = best - s->reference - RW_DEPTH;
    s->least = least > RW_LEAST_EXPONENT ? least : RW_LEAST_EXPONENT;
}

/* sum[i] += e^(lw[i] + at), block by block where any of it counts. */
RW_VECTOR static void add_weights(size_t n, const double *restrict lw, double at, double least,
                                  double *restrict sum) {
    for (size_t i = 0; i < n; i += RW_BLOCK)
        if (rw_block_reaches(lw + i, least - at))
            for (size_t j = 0; j < RW_BLOCK; j++)
                sum[i + j] += rw_exp(lw[i + j] + at);
}

static void roots_alone(const struct run *run) {
    struct rw_search *s = run->search;
    const double at = s->prior->kind[RW_PRIOR_ROOTS] - s->reference;
    memset(run->weight, 0, RW_ROOT_CONFIGS * sizeof run->weight[0]);
    for (size_t w = 0; w < s->world_count; w++)
        add_weights(RW_ROOT_CONFIGS, run->lw[w], at, s->least, run->weight);
    run->weight[0] = 0.0; /* no lesion: summed with the hypotheses that have no site */
    for (uint32_t r = 1; r < RW_ROOT_CONFIGS; r++) {
        s->total += run->weight[r];
        if (run->weight[r] > rw_shortlist_floor(&s->shortlist))
            rw_shortlist_offer(&s->shortlist, &(struct rw_candidate){.weight = run->weight[r], .config = r});
    }
    s->summed += (double)(RW_ROOT_CONFIGS * s->world_count);
}

/* Offers the configurations of one class together with one further atom. */
static void offer_class(const struct run *run, const struct fold *fold, size_t atom, size_t c) {
    struct rw_search *s = run->search;
    const double prior = s->prior->further[atom] + s->prior->kind[RW_PRIOR_ROOTS_AND_ONE];
    for (uint32_t k = fold->first[c]; k < fold->first[c + 1]; k++) {
        const uint16_t r = fold->members[k];
        double weight = 0.0;
        for (size_t w = 0; w < s->world_count; w++)
            weight += rw_exp(run->lw[w][r] + change_at(run, w, atom, fold, c) + prior - s->reference);
        if (weight > rw_shortlist_floor(&s->shortlist))
            rw_shortlist_offer(&s->shortlist,
                               &(struct rw_candidate){
                                   .weight = weight, .config = r, .atoms = {(uint8_t)atom}, .atom_count = 1});
    }
}

/* lw[c] = mass[c] + at + Σ over slots of the change at the class's pattern */
RW_VECTOR static void class_logs(const struct fold *fold, size_t world, double *const change[CHANGES],
                                 double at, double *restrict lw) {
    const double *restrict mass = fold->mass + world * fold->stride;
    for (size_t c = 0; c < fold->stride; c++)
        lw[c] = mass[c] + at;
    for (size_t slot = 0; slot < CHANGES; slot++) {
        if (change[slot] == NULL)
            continue;
        const double *restrict table = change[slot] + world * RW_ROOT_PATTERNS;
        const uint16_t *restrict pattern = fold->pattern[slot];
        for (size_t c = 0; c < fold->stride; c++)
            lw[c] += table[pattern[c]];
    }
}

/* Adds the weight of each class to `got` and `of_class`, and to `bound` that of its heaviest member. */
RW_VECTOR static void class_weights(size_t n, const double *restrict lw, double least,
                                    const double *restrict top, double *restrict got,
                                    double *restrict of_class, double *restrict bound) {
    for (size_t i = 0; i < n; i += RW_BLOCK)
        if (rw_block_reaches(lw + i, least))
            for (size_t j = 0; j < RW_BLOCK; j++) {
                const double weight = rw_exp(lw[i + j]);
                got[i + j] += weight;
                of_class[i + j] += weight;
                bound[i + j] += weight * top[i + j];
            }
}

/* One further atom with every configuration. */
static void roots_and(const struct run *run, size_t atom) {
    struct rw_search *s = run->search;
    const struct fold *fold = run->fold[fold_of(run->roots, atom)];
    const double prior = s->prior->further[atom] + s->prior->kind[RW_PRIOR_ROOTS_AND_ONE];
    const enum rw_level level = rw_model()->sites[s->space->further_site[atom / 2]].level;
    double sum = 0.0;
    memset(run->of_class, 0, fold->stride * sizeof run->of_class[0]);
    memset(run->bound, 0, fold->stride * sizeof run->bound[0]);
    for (size_t w = 0; w < s->world_count; w++) {
        const double at = run->roots->sums[w].change_constant[atom] + prior - s->reference;
        const size_t row = w * fold->stride;
        class_logs(fold, w, run->roots->change[atom], at, run->scratch);
        class_weights(fold->stride, run->scratch, s->least, fold->top + row, fold->got + row, run->of_class,
                      run->bound);
        s->level[level] += rw_exp(run->lw[w][0] + change_at(run, w, atom, fold, 0) + prior - s->reference);
    }
    s->summed += (double)(RW_ROOT_CONFIGS * s->world_count);
    for (size_t c = 0; c < fold->count; c++) {
        sum += run->of_class[c];
        /* More than the floor by far more than rounding: `bound` and the weights offered round apart. */
        if (run->bound[c] * (1.0 + 1e-12) > rw_shortlist_floor(&s->shortlist))
            offer_class(run, fold, atom, c);
    }
    s->further[atom] += sum;
    s->total += sum;
}

/* sum[i] += what the class of these members got, times the share of member i */
RW_VECTOR static void add_shares(size_t n, const uint16_t *restrict members, const double *restrict lw,
                                 double mass, double got, double *restrict sum) {
    for (size_t i = 0; i < n; i++)
        sum[i] += got * rw_exp(lw[members[i]] - mass);
}

/* Shares what the classes of a fold got among their configurations. */
static void share_out(const struct fold *fold, const struct run *run) {
    double *of_member = run->scratch;
    memset(of_member, 0, RW_ROOT_CONFIGS * sizeof *of_member);
    for (size_t w = 0; w < run->search->world_count; w++)
        for (size_t c = 0; c < fold->count; c++) {
            const double got = fold->got[w * fold->stride + c];
            const uint32_t first = fold->first[c];
            if (got > 0.0)
                add_shares(fold->first[c + 1] - first, fold->members + first, run->lw[w],
                           fold->mass[w * fold->stride + c], got, of_member + first);
        }
    for (size_t k = 0; k < RW_ROOT_CONFIGS; k++)
        run->weight[fold->members[k]] += of_member[k];
}

static void root_marginals(const struct run *run) {
    struct rw_search *s = run->search;
    double low[LOW] = {0}, high[HIGH] = {0};
    for (size_t f = 0; f < FOLD_COUNT; f++)
        if (run->fold[f] != NULL)
            share_out(run->fold[f], run);
    const double intact = run->weight[0]; /* single further sites: their level is their own */
    run->weight[0] = 0.0;
    for (size_t h = 0; h < HIGH; h++)
        for (size_t k = 0; k < LOW; k++) {
            low[k] += run->weight[h * LOW + k];
            high[h] += run->weight[h * LOW + k];
        }
    for (uint32_t k = 0; k < LOW; k++) {
        s->level[RW_LEVEL_ROOT] += low[k];
        for (size_t i = 0; i < 2; i++)
            s->root_state[i][rw_root_state_of(k, i)] += low[k];
    }
    for (uint32_t h = 0; h < HIGH; h++)
        for (size_t i = 2; i < RW_PLEXUS_ROOTS; i++)
            s->root_state[i][rw_root_state_of(h * LOW, i)] += high[h];
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        s->root_state[i][RW_ROOT_INTACT] += intact;
}

/* A trunk or division beside all of its injured roots: a factor of the prior that depends on the roots as the
 * likelihoods of targets of entry all do. */
static bool add_series(struct rw_roots *roots, const struct rw_prior_terms *prior, struct rw_arena *arena) {
    for (size_t a = 0; a < roots->atoms; a++) {
        if (roots->space->fed_by[a / 2] == 0)
            continue;
        double *change = change_of(roots, a, CHANGE_ALL, arena);
        if (change == NULL)
            return false;
        for (size_t p = 0; p < RW_ROOT_PATTERNS; p++) {
            unsigned injured = 0;
            for (size_t i = 0, rest = p; i < RW_PLEXUS_ROOTS; i++, rest /= 3)
                injured |= rest % 3 != RW_INTACT ? 1u << i : 0u;
            const double series = rw_prior_series(roots->space, prior, injured, a / 2);
            for (size_t w = 0; w < roots->world_count; w++)
                change[w * RW_ROOT_PATTERNS + p] += series;
        }
    }
    return true;
}

static bool run_init(struct run *run, struct rw_arena *arena) {
    for (size_t e = RW_ENTRY_ALL; e <= RW_ENTRY_PRE; e++) {
        run->pattern[e] = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof *run->pattern[e]);
        if (run->pattern[e] == NULL)
            return false;
        compose(RW_ROOT_STATES, rw_root_class[e], 3, run->pattern[e]);
    }
    for (size_t w = 0; w < run->search->world_count; w++)
        if ((run->lw[w] = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double))) == NULL)
            return false;
    double **const buffers[] = {&run->weight, &run->scratch, &run->of_class, &run->bound};
    for (size_t i = 0; i < sizeof buffers / sizeof buffers[0]; i++)
        if ((*buffers[i] = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double))) == NULL)
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
    struct run run = {.search = search, .roots = roots};
    if (!add_series(roots, search->prior, arena) || !run_init(&run, arena))
        return false;
    log_weights(&run);
    for (size_t f = 0; f < FOLD_COUNT; f++)
        if (run.fold[f] != NULL)
            fold_mass(run.fold[f], &run);
    set_reference(&run);
    roots_alone(&run);
    for (size_t a = 0; a < roots->atoms; a++)
        roots_and(&run, a);
    root_marginals(&run);
    return true;
}
