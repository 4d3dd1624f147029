/* Sets of two further sites (alone or with one injured root) and of three further sites.
 *
 * ln L of a set is a sum of one-, two- and three-way terms (inclusion and exclusion over its atoms). A
 * three-way term is not zero only when all three touch one finding's target, so those sums are sparse; they
 * are kept in dense arrays of the current world, indexed without gaps. */
#include "search.h"

#include <math.h>
#include <string.h>

#include "exp.h"

enum {
    ATOMS = 2 * RW_MAX_FURTHER,
    MAX_PAIRS = RW_MAX_FURTHER * (RW_MAX_FURTHER - 1) / 2 * 4,
    MAX_TRIPLES = RW_MAX_FURTHER * (RW_MAX_FURTHER - 1) * (RW_MAX_FURTHER - 2) / 6 * 8,
    ROOT_CLASSES = 2 * RW_PLEXUS_ROOTS,
    MEMO = 48
};

/* Sums by set, laid out so that the closing loops run along memory: by pair, then root atom or lowest atom.
 */
struct by_set {
    double pair[MAX_PAIRS], root[MAX_PAIRS * RW_ROOT_ATOMS], triple[MAX_TRIPLES];
};

struct rw_sets {
    const struct rw_space *space;
    size_t atoms, pairs, triples;
    size_t first_triple[MAX_PAIRS]; /* pair of the two outer atoms → its first triple */
    double base;                    /* ln L, nothing injured */
    double one[ATOMS], one_root[RW_ROOT_ATOMS];
    double two[ATOMS][ATOMS]; /* [b][a], a of a lower site */
    double two_root[ATOMS][RW_ROOT_ATOMS];
    struct by_set three;  /* three-way sums of the current world; .pair is not used */
    struct by_set weight; /* summed over worlds */
    /* ln L of the term at hand by classes; roots by class (1 partial, 2 complete) of each root. */
    double l1[RW_MAX_CLASSES], l2[RW_MAX_CLASSES][RW_MAX_CLASSES];
    double r1[ROOT_CLASSES], r2[ROOT_CLASSES][RW_MAX_CLASSES];
    double
        memo[MEMO * MEMO * MEMO]; /* three-way terms by classes, when a term has at most MEMO; NAN: not yet */
};

static size_t pair_index(size_t a, size_t b) { /* further atoms of sites a/2 < b/2 */
    const size_t i = a / 2, k = b / 2;
    return 4 * (k * (k - 1) / 2 + i) + 2 * (a % 2) + b % 2;
}

static size_t triple_index(const struct rw_sets *s, size_t a, size_t b, size_t c) {
    return s->first_triple[pair_index(b, c)] + a;
}

struct rw_sets *rw_sets_new(const struct rw_space *space, struct rw_arena *arena) {
    struct rw_sets *sets = rw_arena_take(arena, 1, sizeof *sets);
    if (sets == NULL)
        return NULL;
    sets->space = space;
    sets->atoms = 2 * space->further_count;
    sets->pairs = sets->triples = 0;
    for (size_t c = 2; c < sets->atoms; c += 2)
        for (size_t b = 0; b < c; b += 2)
            for (size_t bits = 0; bits < 4; bits++) {
                sets->first_triple[sets->pairs++] = sets->triples;
                sets->triples += b;
            }
    memset(sets->weight.pair, 0, sets->pairs * sizeof(double));
    memset(sets->weight.root, 0, sets->pairs * RW_ROOT_ATOMS * sizeof(double));
    memset(sets->weight.triple, 0, sets->triples * sizeof(double));
    return sets;
}

void rw_sets_begin(struct rw_sets *sets) {
    sets->base = 0.0;
    memset(sets->one, 0, sizeof sets->one);
    memset(sets->one_root, 0, sizeof sets->one_root);
    memset(sets->two, 0, sizeof sets->two);
    memset(sets->two_root, 0, sizeof sets->two_root);
    memset(sets->three.root, 0, sets->pairs * RW_ROOT_ATOMS * sizeof(double));
    memset(sets->three.triple, 0, sets->triples * sizeof(double));
}

static double log_at(const struct rw_view *view, size_t c1, size_t c2, size_t c3, size_t pattern) {
    struct rw_flow flow;
    rw_view_flow(view, c1, c2, c3, &flow);
    return rw_flow_log(view, &flow, pattern);
}

static const size_t digit[RW_PLEXUS_ROOTS] = {1, 3, 9, 27, 81};

/* Pattern with one root in a class; q = 2·root + class − 1. */
static size_t root_pattern(size_t q) {
    return digit[q / 2] * (q % 2 + 1);
}

/* ln L by one and two classes, with and without a root; returns ln L with nothing injured. */
static double class_tables(struct rw_sets *s, const struct rw_view *v) {
    const double none = log_at(v, 0, 0, 0, 0);
    for (size_t a = 0; a < v->class_count; a++) {
        s->l1[a] = log_at(v, a, 0, 0, 0);
        for (size_t b = a; b < v->class_count; b++)
            s->l2[a][b] = s->l2[b][a] = log_at(v, a, b, 0, 0);
    }
    for (size_t q = 0; q < ROOT_CLASSES; q++) {
        if ((v->roots >> (q / 2) & 1u) == 0)
            continue;
        for (size_t a = 0; a < v->class_count; a++)
            s->r2[q][a] = log_at(v, a, 0, 0, root_pattern(q));
        s->r1[q] = s->r2[q][0];
    }
    return none;
}

struct touched { /* further sites that touch the term's target, in rising order */
    size_t count;
    uint8_t site[RW_MAX_FURTHER];
};

static void add_one_and_two(struct rw_sets *s, const struct rw_view *v, const struct touched *t,
                            double none) {
    for (size_t k = 0; k < t->count; k++)
        for (size_t b = 2 * t->site[k]; b < 2u * t->site[k] + 2; b++) {
            const double lb = s->l1[v->class_of[b]];
            s->one[b] += lb - none;
            for (size_t i = 0; i < k; i++)
                for (size_t a = 2 * t->site[i]; a < 2u * t->site[i] + 2; a++)
                    s->two[b][a] += s->l2[v->class_of[a]][v->class_of[b]] - s->l1[v->class_of[a]] - lb + none;
        }
}

static double three_way(const struct rw_sets *s, const struct rw_view *v, size_t a, size_t b, size_t c,
                        double none) {
    return log_at(v, a, b, c, 0) - s->l2[a][b] - s->l2[a][c] - s->l2[b][c] + s->l1[a] + s->l1[b] + s->l1[c] -
           none;
}

/* The same, computed once a triple of classes. */
static double three_way_memo(struct rw_sets *s, const struct rw_view *v, size_t a, size_t b, size_t c,
                             double none) {
    if (v->class_count > MEMO)
        return three_way(s, v, a, b, c, none);
    const size_t low = a < b ? (a < c ? a : c) : (b < c ? b : c),
                 high = a > b ? (a > c ? a : c) : (b > c ? b : c);
    const size_t middle = a + b + c - low - high;
    double *known = &s->memo[(low * v->class_count + middle) * v->class_count + high];
    if (isnan(*known))
        *known = three_way(s, v, low, middle, high, none);
    return *known;
}

/* Three-way terms of three further sites. */
static void add_three(struct rw_sets *s, const struct rw_view *v, const struct touched *t, double none) {
    const size_t known = v->class_count > MEMO ? 0 : v->class_count * v->class_count * v->class_count;
    for (size_t i = 0; i < known; i++)
        s->memo[i] = NAN;
    for (size_t n = 2; n < t->count; n++)
        for (size_t k = 1; k < n; k++)
            for (size_t i = 0; i < k; i++) {
                for (size_t bits = 0; bits < 8; bits++) {
                    const size_t a = 2u * t->site[i] + (bits & 1), b = 2u * t->site[k] + (bits >> 1 & 1),
                                 c = 2u * t->site[n] + (bits >> 2);
                    s->three.triple[triple_index(s, a, b, c)] +=
                        three_way_memo(s, v, v->class_of[a], v->class_of[b], v->class_of[c], none);
                }
            }
}

/* Three-way terms of one root class and two further sites, computed once a pair of classes. */
static void add_root_and_two(struct rw_sets *s, const struct rw_view *v, const struct touched *t, double none,
                             size_t q) {
    double *known = s->memo; /* class_count² fits: MEMO³ > RW_MAX_CLASSES² */
    for (size_t i = 0; i < v->class_count * v->class_count; i++)
        known[i] = NAN;
    for (size_t k = 1; k < t->count; k++)
        for (size_t i = 0; i < k; i++)
            for (size_t bits = 0; bits < 4; bits++) {
                const size_t a = 2u * t->site[i] + (bits >> 1), b = 2u * t->site[k] + (bits & 1);
                const size_t ca = v->class_of[a], cb = v->class_of[b], pair = pair_index(a, b);
                double *three = &known[ca * v->class_count + cb];
                if (isnan(*three))
                    *three = log_at(v, ca, cb, 0, root_pattern(q)) - s->r2[q][ca] - s->r2[q][cb] -
                             s->l2[ca][cb] + s->r1[q] + s->l1[ca] + s->l1[cb] - none;
                for (size_t state = 1; state < RW_ROOT_STATES; state++)
                    if (rw_root_class[v->term->entry][state] == q % 2 + 1)
                        s->three.root[pair * RW_ROOT_ATOMS + 7 * (q / 2) + state - 1] += *three;
            }
}

/* Terms of one root class with one and two further sites, spread over the states of that class. */
static void add_root(struct rw_sets *s, const struct rw_view *v, const struct touched *t, double none,
                     size_t q) {
    const size_t root = q / 2;
    for (size_t state = 1; state < RW_ROOT_STATES; state++) {
        if (rw_root_class[v->term->entry][state] != q % 2 + 1)
            continue;
        const size_t x = 7 * root + state - 1;
        s->one_root[x] += s->r1[q] - none;
        for (size_t k = 0; k < t->count; k++)
            for (size_t b = 2 * t->site[k]; b < 2u * t->site[k] + 2; b++)
                s->two_root[b][x] += s->r2[q][v->class_of[b]] - s->r1[q] - s->l1[v->class_of[b]] + none;
    }
    add_root_and_two(s, v, t, none, q);
}

void rw_sets_add(struct rw_sets *s, const struct rw_view *v) {
    const double none = class_tables(s, v);
    struct touched t = {0};
    for (size_t i = 0; i < s->space->further_count; i++)
        if (v->class_of[2 * i] != 0)
            t.site[t.count++] = (uint8_t)i;
    s->base += none;
    add_one_and_two(s, v, &t, none);
    add_three(s, v, &t, none);
    for (size_t q = 0; q < ROOT_CLASSES; q++)
        if ((v->roots >> (q / 2) & 1u) != 0)
            add_root(s, v, &t, none, q);
}

/* weight[i] += e^(at + one[i] + lo[i] + hi[i] + three[i]) */
RW_VECTOR static void add_weights(size_t n, double at, const double *restrict one, const double *restrict lo,
                                  const double *restrict hi, const double *restrict three,
                                  double *restrict weight) {
    for (size_t i = 0; i < n; i++)
        weight[i] += rw_exp(at + one[i] + lo[i] + hi[i] + three[i]);
}

void rw_sets_close_world(struct rw_sets *s, struct rw_search *search, size_t world) {
    const struct rw_prior_terms *p = search->prior;
    const double base = s->base + search->worlds[world].log_weight - search->reference;
    for (size_t a = 0; a < s->atoms; a++)
        s->one[a] += p->further[a];
    for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
        s->one_root[x] += p->root_atom[x];
    for (size_t b = 2; b < s->atoms; b++)
        for (size_t a = 0; a < b / 2 * 2; a++)
            s->two[b][a] += p->coupling[a / 2][b / 2];
    for (size_t b = 0; b < s->atoms; b++)
        for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
            s->two_root[b][x] += rw_prior_series(s->space, p, 1u << (x / 7), b / 2);
    for (size_t c = 2; c < s->atoms; c++)
        for (size_t b = 0; b < c / 2 * 2; b++) {
            const size_t pair = pair_index(b, c), first = s->first_triple[pair];
            const double at = base + s->one[b] + s->one[c] + s->two[c][b];
            s->weight.pair[pair] += rw_exp(at + p->kind[RW_PRIOR_PAIR]);
            add_weights(RW_ROOT_ATOMS, at + p->kind[RW_PRIOR_ROOT_AND_TWO], s->one_root, s->two_root[b],
                        s->two_root[c], s->three.root + pair * RW_ROOT_ATOMS,
                        s->weight.root + pair * RW_ROOT_ATOMS);
            add_weights(b / 2 * 2, at + p->kind[RW_PRIOR_TRIPLE], s->one, s->two[b], s->two[c],
                        s->three.triple + first, s->weight.triple + first);
        }
    search->summed += (double)(s->pairs * (1 + RW_ROOT_ATOMS) + s->triples);
}

/* Books one set: total, marginals, level, shortlist. */
static void book(const struct rw_space *space, struct rw_search *search, double weight, uint32_t config,
                 const uint8_t *atoms, size_t count) {
    const struct rw_model *m = rw_model();
    enum rw_level level = config != 0 ? RW_LEVEL_ROOT : RW_LEVEL_NERVE;
    if (!(weight > 0.0))
        return;
    search->total += weight;
    for (size_t i = 0; i < count; i++) {
        const enum rw_level own = m->sites[space->further_site[atoms[i] / 2]].level;
        level = own < level ? own : level;
        search->further[atoms[i]] += weight;
    }
    search->level[level] += weight;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        search->root_state[i][rw_root_state_of(config, i)] += weight;
    if (weight > rw_shortlist_floor(&search->shortlist)) {
        struct rw_candidate c = {.weight = weight, .config = config, .atom_count = (uint8_t)count};
        memcpy(c.atoms, atoms, count);
        rw_shortlist_offer(&search->shortlist, &c);
    }
}

void rw_sets_finish(struct rw_sets *s, struct rw_search *search) {
    for (size_t c = 2; c < s->atoms; c++)
        for (size_t b = 0; b < c / 2 * 2; b++) {
            const size_t pair = pair_index(b, c), first = s->first_triple[pair];
            uint8_t set[3] = {(uint8_t)b, (uint8_t)c, 0};
            book(s->space, search, s->weight.pair[pair], 0, set, 2);
            for (size_t x = 0; x < RW_ROOT_ATOMS; x++)
                book(s->space, search, s->weight.root[pair * RW_ROOT_ATOMS + x],
                     (uint32_t)((x % 7 + 1) << (3 * (x / 7))), set, 2);
            set[1] = (uint8_t)b;
            set[2] = (uint8_t)c;
            for (size_t a = 0; a < b / 2 * 2; a++) {
                set[0] = (uint8_t)a;
                book(s->space, search, s->weight.triple[first + a], 0, set, 3);
            }
        }
}
