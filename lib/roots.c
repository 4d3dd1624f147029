/* Every root configuration, alone and with any one further site.
 *
 * A target sees of a root only whether its fibres are intact, partly lost or lost at the root sites that it
 * runs through (its entry), so likelihoods live in tables of 3^5 patterns an entry. For one further atom
 * the 32768 configurations fall into few classes with equal changes: 3^5 where the atom changes targets of
 * entry all alone or proximal alone, 5^5 where it changes those of entry post too; a class is summed once. */
#include "search.h"

#include <math.h>
#include <string.h>

#include "exp.h"

enum { CHANGE_ALL, CHANGE_PROXIMAL, CHANGE_POST };

static int change_slot(unsigned entry) {
    return entry == RW_ENTRY_ALL ? CHANGE_ALL : entry == RW_ENTRY_PROXIMAL ? CHANGE_PROXIMAL : CHANGE_POST;
}

/* Pattern of a configuration as seen by an entry. */
static size_t pattern_of(uint32_t config, unsigned entry) {
    size_t pattern = 0;
    for (size_t i = RW_PLEXUS_ROOTS; i-- > 0;)
        pattern = 3 * pattern + rw_root_class[entry][rw_root_state_of(config, i)];
    return pattern;
}

/* The pattern with every root that does not feed the target set to intact. */
static size_t reduced(size_t pattern, unsigned roots) {
    if (roots == (1u << RW_PLEXUS_ROOTS) - 1)
        return pattern;
    size_t out = 0, digit = 1;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++, digit *= 3, pattern /= 3)
        if ((roots >> i & 1u) != 0)
            out += pattern % 3 * digit;
    return out;
}

static void fill_table(const struct rw_view *view, size_t class, double table[RW_ROOT_PATTERNS]) {
    struct rw_flow flow;
    rw_view_flow(view, class, 0, 0, &flow);
    for (size_t p = 0; p < RW_ROOT_PATTERNS; p++) {
        const size_t q = reduced(p, view->roots);
        table[p] = q == p ? rw_flow_log(view, &flow, p) : table[q];
    }
}

static void add_table(double *restrict sum, const double *restrict table, const double *restrict less) {
    for (size_t p = 0; p < RW_ROOT_PATTERNS; p++)
        sum[p] += table[p] - less[p];
}

void rw_roots_add(struct rw_root_tables *const *tables, size_t count, struct rw_search *search,
                  const struct rw_view *view) {
    static const double zero[RW_ROOT_PATTERNS] = {0};
    double base[RW_ROOT_PATTERNS] = {0}, changed[RW_ROOT_PATTERNS] = {0};
    const unsigned entry = view->term->entry;
    const size_t atoms = 2 * search->space->further_count;
    const int slot = change_slot(entry);
    fill_table(view, 0, base);
    for (size_t w = 0; w < count; w++) {
        if (view->roots == 0)
            tables[w]->constant += base[0];
        else
            add_table(tables[w]->base[entry], base, zero);
    }
    for (size_t class = 1; class < view->class_count; class ++) {
        fill_table(view, class, changed);
        for (size_t a = 0; a < atoms; a++) {
            if (view->class_of[a] != class)
                continue;
            search->altered[a][slot] = search->altered[a][slot] || view->roots != 0;
            for (size_t w = 0; w < count; w++) {
                if (view->roots == 0)
                    tables[w]->change_constant[a] += changed[0] - base[0];
                else
                    add_table(tables[w]->change[a][slot], changed, base);
            }
        }
    }
}

/* A partition of the configurations into classes that the changes by some atoms cannot tell apart. */
struct fold {
    size_t count;
    bool used;                    /* some atom needs it */
    uint16_t *class_of, *members; /* [RW_ROOT_CONFIGS]; members are grouped by class */
    uint32_t *first;              /* [count + 1] class → range of members */
    uint8_t *pattern[3];          /* [count] class → pattern, by change slot */
    double *mass;                 /* [world · count] ln Σ over members of exp(log weight) */
    double *got;                  /* [world · count] Σ over atoms of weight */
};

enum { FOLD_ALL, FOLD_PROXIMAL, FOLD_ALL_POST, FOLD_NONE, FOLD_COUNT };

struct root_run {
    struct rw_search *search;
    const struct rw_root_tables *const *tables;
    struct fold folds[FOLD_COUNT];
    uint8_t *pattern[RW_ENTRY_PRE + 1]; /* [RW_ROOT_CONFIGS] by entry */
    double *lw[RW_MAX_WORLDS];          /* [RW_ROOT_CONFIGS] ln R + likelihood + world weight */
    double *weight;                     /* [RW_ROOT_CONFIGS] summed over worlds and further atoms */
    double *of_class, *scratch; /* [RW_ROOT_CONFIGS] by class of the fold at hand; of_class over worlds */
};

/* States that a fold keeps apart: by all class; by proximal class; by (all, post) classes; every state. */
static const uint8_t fold_digit[FOLD_COUNT][RW_ROOT_STATES] = {
    {0, 1, 2, 1, 2, 1, 2, 2}, {0, 1, 2, 1, 2, 0, 0, 2}, {0, 1, 2, 3, 4, 3, 4, 4}, {0, 1, 2, 3, 4, 5, 6, 7}};
static const size_t fold_base[FOLD_COUNT] = {3, 3, 5, 8};

static bool fold_take(struct fold *fold, size_t worlds, struct rw_arena *arena) {
    fold->class_of = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof *fold->class_of);
    fold->members = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof *fold->members);
    fold->first = rw_arena_take(arena, fold->count + 1, sizeof *fold->first);
    fold->mass = rw_arena_take(arena, worlds * fold->count, sizeof *fold->mass);
    fold->got = rw_arena_take(arena, worlds * fold->count, sizeof *fold->got);
    for (size_t slot = 0; slot < 3; slot++)
        fold->pattern[slot] = rw_arena_take(arena, fold->count, 1);
    return fold->class_of && fold->members && fold->first && fold->mass && fold->got && fold->pattern[2];
}

static bool fold_init(struct fold *fold, size_t which, const struct root_run *run, struct rw_arena *arena) {
    const size_t base = fold_base[which];
    fold->count = base * base * base * base * base;
    if (!fold_take(fold, run->search->world_count, arena))
        return false;
    memset(fold->first, 0, (fold->count + 1) * sizeof *fold->first);
    for (uint32_t r = 0; r < RW_ROOT_CONFIGS; r++) {
        size_t c = 0;
        for (size_t i = RW_PLEXUS_ROOTS; i-- > 0;)
            c = base * c + fold_digit[which][rw_root_state_of(r, i)];
        fold->class_of[r] = (uint16_t)c;
        fold->first[c + 1]++;
        fold->pattern[CHANGE_ALL][c] = run->pattern[RW_ENTRY_ALL][r];
        fold->pattern[CHANGE_PROXIMAL][c] = run->pattern[RW_ENTRY_PROXIMAL][r];
        fold->pattern[CHANGE_POST][c] = run->pattern[RW_ENTRY_POST][r];
    }
    for (size_t c = 0; c < fold->count; c++)
        fold->first[c + 1] += fold->first[c];
    for (uint32_t r = RW_ROOT_CONFIGS; r-- > 0;)
        fold->members[--fold->first[fold->class_of[r] + 1]] = (uint16_t)r;
    /* Now first[c + 1] is where class c starts. */
    memmove(fold->first, fold->first + 1, fold->count * sizeof *fold->first);
    fold->first[fold->count] = RW_ROOT_CONFIGS;
    return true;
}

RW_VECTOR static void exp_all(size_t n, double *values) {
    for (size_t i = 0; i < n; i++)
        values[i] = rw_exp(values[i]);
}

/* scratch[k] = e^(log weight of member k − by_class of its class), in the order of fold->members. */
static void exp_of_members(const struct fold *fold, const struct root_run *run, size_t world,
                           const double *by_class) {
    for (size_t c = 0; c < fold->count; c++)
        for (uint32_t k = fold->first[c]; k < fold->first[c + 1]; k++)
            run->scratch[k] = run->lw[world][fold->members[k]] - by_class[c];
    exp_all(RW_ROOT_CONFIGS, run->scratch);
}

static void fold_mass(struct fold *fold, const struct root_run *run) {
    for (size_t w = 0; w < run->search->world_count; w++) {
        const double *lw = run->lw[w];
        double *mass = fold->mass + w * fold->count;
        memset(fold->got + w * fold->count, 0, fold->count * sizeof *fold->got);
        for (size_t c = 0; c < fold->count; c++) { /* the heaviest member of each class */
            mass[c] = -INFINITY;
            for (uint32_t k = fold->first[c]; k < fold->first[c + 1]; k++)
                mass[c] = lw[fold->members[k]] > mass[c] ? lw[fold->members[k]] : mass[c];
        }
        if (fold->count == RW_ROOT_CONFIGS)
            continue;
        exp_of_members(fold, run, w, mass);
        for (size_t c = 0; c < fold->count; c++) {
            double sum = 0.0;
            for (uint32_t k = fold->first[c]; k < fold->first[c + 1]; k++)
                sum += run->scratch[k];
            /* cppcheck-suppress invalidFunctionArg ; the heaviest member alone adds 1 */
            mass[c] += log(sum);
        }
    }
}

static struct fold *fold_for(struct root_run *run, size_t atom) {
    const bool *altered = run->search->altered[atom];
    if (altered[CHANGE_PROXIMAL]) /* the proximal fold cannot tell which roots are injured */
        return &run->folds[altered[CHANGE_ALL] || altered[CHANGE_POST] ||
                                   run->search->space->fed_by[atom / 2] != 0
                               ? FOLD_NONE
                               : FOLD_PROXIMAL];
    return &run->folds[altered[CHANGE_POST] ? FOLD_ALL_POST : FOLD_ALL];
}

static double change_at(const struct root_run *run, size_t world, size_t atom, const struct fold *fold,
                        size_t c) {
    const struct rw_root_tables *t = run->tables[world];
    const bool *altered = run->search->altered[atom];
    double change =
        t->change_constant[atom] + rw_prior_series(run->search->space, run->search->prior,
                                                   rw_root_mask(fold->members[fold->first[c]]), atom / 2);
    for (size_t slot = 0; slot < 3; slot++)
        if (altered[slot])
            change += t->change[atom][slot][fold->pattern[slot][c]];
    return change;
}

static void log_weights(struct root_run *run) {
    const struct rw_search *s = run->search;
    for (size_t w = 0; w < s->world_count; w++) {
        const struct rw_root_tables *t = run->tables[w];
        for (uint32_t r = 0; r < RW_ROOT_CONFIGS; r++) {
            double lw = s->prior->roots[r] + s->worlds[w].log_weight + t->constant;
            for (unsigned e = RW_ENTRY_ALL; e <= RW_ENTRY_PRE; e++)
                lw += t->base[e][run->pattern[e][r]];
            run->lw[w][r] = lw;
        }
    }
}

/* Adds e^lw[i] to sum[i] and to also[i]. */
RW_VECTOR static void add_exp(size_t n, const double *restrict lw, double *restrict sum,
                              double *restrict also) {
    for (size_t i = 0; i < n; i++) {
        const double weight = rw_exp(lw[i]);
        sum[i] += weight;
        also[i] += weight;
    }
}

/* The best of roots alone and of single further sites, but no lower than keeps every weight in range. */
static void set_reference(struct root_run *run) {
    struct rw_search *s = run->search;
    s->reference = s->most - RW_HEADROOM;
    for (size_t w = 0; w < s->world_count; w++) {
        for (uint32_t r = 1; r < RW_ROOT_CONFIGS; r++)
            if (run->lw[w][r] + s->prior->kind[RW_PRIOR_ROOTS] > s->reference)
                s->reference = run->lw[w][r] + s->prior->kind[RW_PRIOR_ROOTS];
        for (size_t a = 0; a < 2 * s->space->further_count; a++) {
            const double lw = run->lw[w][0] + change_at(run, w, a, &run->folds[FOLD_NONE], 0) +
                              s->prior->further[a] + s->prior->kind[RW_PRIOR_ROOTS_AND_ONE];
            s->reference = lw > s->reference ? lw : s->reference;
        }
    }
}

static void roots_alone(struct root_run *run) {
    struct rw_search *s = run->search;
    const double at = s->prior->kind[RW_PRIOR_ROOTS] - s->reference;
    memset(run->weight, 0, RW_ROOT_CONFIGS * sizeof run->weight[0]);
    memset(run->of_class, 0, RW_ROOT_CONFIGS * sizeof run->of_class[0]); /* written beside it, not used */
    for (size_t w = 0; w < s->world_count; w++) {
        for (uint32_t r = 0; r < RW_ROOT_CONFIGS; r++)
            run->scratch[r] = run->lw[w][r] + at;
        add_exp(RW_ROOT_CONFIGS, run->scratch, run->weight, run->of_class);
    }
    run->weight[0] = 0.0; /* no lesion: summed with the hypotheses that have no site */
    for (uint32_t r = 1; r < RW_ROOT_CONFIGS; r++) {
        s->total += run->weight[r];
        if (run->weight[r] > rw_shortlist_floor(&s->shortlist))
            rw_shortlist_offer(&s->shortlist, &(struct rw_candidate){.weight = run->weight[r], .config = r});
    }
    s->summed += (double)(RW_ROOT_CONFIGS * s->world_count);
}

/* Offers the configurations of one class together with one further atom. */
static void offer_class(struct root_run *run, const struct fold *fold, size_t atom, size_t c) {
    struct rw_search *s = run->search;
    const double prior = s->prior->further[atom] + s->prior->kind[RW_PRIOR_ROOTS_AND_ONE];
    for (uint32_t k = fold->first[c]; k < fold->first[c + 1]; k++) {
        const uint16_t r = fold->members[k];
        double weight = 0.0;
        for (size_t w = 0; w < s->world_count; w++)
            weight += rw_exp(run->lw[w][r] + change_at(run, w, atom, fold, c) + prior - s->reference);
        if (weight > rw_shortlist_floor(&s->shortlist))
            rw_shortlist_offer(&s->shortlist, &(struct rw_candidate){.weight = weight,
                                                                     .config = r,
                                                                     .atoms = {(uint8_t)atom, 0, 0},
                                                                     .atom_count = 1});
    }
}

/* Weight of each class with one further atom in one world, added to what the class got and to of_class. */
static void class_weights(struct root_run *run, struct fold *fold, size_t w, size_t atom, double at) {
    const struct rw_root_tables *t = run->tables[w];
    const bool *altered = run->search->altered[atom];
    const double *restrict mass = fold->mass + w * fold->count;
    double *restrict got = fold->got + w * fold->count, *restrict lw = run->scratch,
                     *restrict sum = run->of_class;
    for (size_t c = 0; c < fold->count; c++)
        lw[c] = mass[c] + t->change_constant[atom] + at +
                rw_prior_series(run->search->space, run->search->prior,
                                rw_root_mask(fold->members[fold->first[c]]), atom / 2);
    for (size_t slot = 0; slot < 3; slot++)
        for (size_t c = 0; altered[slot] && c < fold->count; c++)
            lw[c] += t->change[atom][slot][fold->pattern[slot][c]];
    add_exp(fold->count, lw, got, sum);
}

/* One further atom with every configuration. */
static void roots_and(struct root_run *run, size_t atom) {
    struct rw_search *s = run->search;
    struct fold *fold = fold_for(run, atom);
    const double prior = s->prior->further[atom] + s->prior->kind[RW_PRIOR_ROOTS_AND_ONE];
    const enum rw_level level = rw_model()->sites[s->space->further_site[atom / 2]].level;
    double single = 0.0;
    memset(run->of_class, 0, fold->count * sizeof run->of_class[0]);
    for (size_t w = 0; w < s->world_count; w++) {
        class_weights(run, fold, w, atom, prior - s->reference);
        single += rw_exp(run->lw[w][0] + change_at(run, w, atom, fold, 0) + prior - s->reference);
    }
    s->level[level] += single;
    s->summed += (double)(RW_ROOT_CONFIGS * s->world_count);
    for (size_t c = 0; c < fold->count; c++) {
        s->further[atom] += run->of_class[c];
        s->total += run->of_class[c];
        if (run->of_class[c] > rw_shortlist_floor(&s->shortlist))
            offer_class(run, fold, atom, c);
    }
}

/* Shares what the classes got among their configurations and takes the marginals of the roots. */
static void root_marginals(struct root_run *run) {
    struct rw_search *s = run->search;
    for (size_t f = 0; f < FOLD_COUNT; f++) {
        const struct fold *fold = &run->folds[f];
        for (size_t w = 0; fold->used && w < s->world_count; w++) {
            exp_of_members(fold, run, w, fold->mass + w * fold->count);
            for (size_t c = 0; c < fold->count; c++)
                for (uint32_t k = fold->first[c]; k < fold->first[c + 1]; k++)
                    run->weight[fold->members[k]] += fold->got[w * fold->count + c] * run->scratch[k];
        }
    }
    for (uint32_t r = 0; r < RW_ROOT_CONFIGS; r++) {
        for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
            s->root_state[i][rw_root_state_of(r, i)] += run->weight[r];
        if (r != 0)
            s->level[RW_LEVEL_ROOT] += run->weight[r];
    }
}

static bool root_run_init(struct root_run *run, struct rw_arena *arena) {
    for (unsigned e = RW_ENTRY_ALL; e <= RW_ENTRY_PRE; e++) {
        run->pattern[e] = rw_arena_take(arena, RW_ROOT_CONFIGS, 1);
        if (run->pattern[e] == NULL)
            return false;
        for (uint32_t r = 0; r < RW_ROOT_CONFIGS; r++)
            run->pattern[e][r] = (uint8_t)pattern_of(r, e);
    }
    for (size_t w = 0; w < run->search->world_count; w++)
        if ((run->lw[w] = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double))) == NULL)
            return false;
    run->weight = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double));
    run->of_class = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double));
    run->scratch = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double));
    for (size_t f = 0; f < FOLD_COUNT; f++)
        if (!fold_init(&run->folds[f], f, run, arena))
            return false;
    return run->weight != NULL && run->of_class != NULL && run->scratch != NULL;
}

bool rw_roots_search(struct rw_search *search, const struct rw_root_tables *const *tables,
                     struct rw_arena *arena) {
    struct root_run run = {.search = search, .tables = tables};
    if (!root_run_init(&run, arena))
        return false;
    log_weights(&run);
    set_reference(&run);
    roots_alone(&run);
    for (size_t a = 0; a < 2 * search->space->further_count; a++)
        fold_for(&run, a)->used = true;
    for (size_t f = 0; f < FOLD_COUNT; f++)
        if (run.folds[f].used)
            fold_mass(&run.folds[f], &run);
    for (size_t a = 0; a < 2 * search->space->further_count; a++)
        roots_and(&run, a);
    root_marginals(&run);
    return true;
}
