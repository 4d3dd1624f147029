#include "localise.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct run {
    const struct rw_exam *exam;
    struct rw_arena *arena;
    struct rw_space space;
    struct rw_prior_terms prior;
    struct rw_world worlds[RW_MAX_WORLDS];
    struct rw_term *terms;
    struct rw_search *search;
    size_t term_count;
    double none, outside; /* relative weights of the two hypotheses without a site */
};

static bool prepare(struct run *run, struct rw_localisation *out) {
    struct rw_arena *arena = run->arena;
    rw_space_init(&run->space);
    run->terms = rw_arena_take(arena, RW_MAX_CHECKS, sizeof *run->terms);
    run->prior.roots = rw_arena_take(arena, RW_ROOT_CONFIGS, sizeof(double));
    run->search = rw_arena_take(arena, 1, sizeof *run->search);
    if (run->terms == NULL || run->prior.roots == NULL || run->search == NULL)
        return false;
    memset(run->search, 0, sizeof *run->search);
    rw_prior_init(&run->prior, &run->space, run->exam->mechanism);
    run->term_count = rw_terms_init(run->exam, run->terms, out->too_early, &out->too_early_count);
    run->search->space = &run->space;
    run->search->prior = &run->prior;
    run->search->worlds = run->worlds;
    run->search->world_count = rw_worlds_init(run->terms, run->term_count, run->worlds);
    run->search->product_bound = RW_PRODUCT_BOUND;
    run->search->most = 0.0;
    for (size_t i = 0; i < run->term_count; i++)
        run->search->most += log(rw_term_most(&run->terms[i]));
    return true;
}

/* Lays out every term as each world sees it; a view that several worlds share is made once. */
static bool add_views(struct run *run, struct rw_view *view, struct rw_roots *roots, struct rw_sets *sets) {
    const size_t count = run->search->world_count;
    for (size_t i = 0; i < run->term_count; i++) {
        uint32_t done = 0;
        for (size_t w = 0; w < count; w++) {
            uint32_t alike = 0;
            for (size_t v = w; v < count && (done >> w & 1u) == 0; v++)
                if (rw_view_shared(&run->terms[i], &run->worlds[w], &run->worlds[v]))
                    alike |= (uint32_t)1 << v;
            if (alike == 0)
                continue;
            done |= alike;
            rw_view_init(view, &run->terms[i], &run->worlds[w], &run->space);
            if (!rw_roots_add(roots, view, alike, run->arena) || !rw_sets_add(sets, view, alike, run->arena))
                return false;
        }
    }
    return true;
}

static bool search_all(struct run *run) {
    struct rw_search *search = run->search;
    struct rw_arena *arena = run->arena;
    const size_t used = arena->used;
    struct rw_view *view = rw_arena_take(arena, 1, sizeof *view);
    struct rw_roots *roots = rw_roots_new(&run->space, search->world_count, arena);
    struct rw_sets *sets = rw_sets_new(&run->space, search->world_count, arena);
    if (view == NULL || roots == NULL || sets == NULL || !add_views(run, view, roots, sets) ||
        !rw_roots_search(roots, search, arena))
        return false;
    rw_sets_search(sets, search);
    arena->used = used;
    return rw_scattered_search(search, run->terms, run->term_count, arena);
}

/* ln P(all terms | severities, world). */
static double log_likelihood(const struct run *run, const struct rw_case *c) {
    double sum = 0.0;
    for (size_t i = 0; i < run->term_count; i++)
        sum +=
            log(rw_finding_probability(c, &run->exam->findings[run->terms[i].finding], run->terms[i].ready));
    return sum;
}

static double add_without_site(struct run *run, bool outside, double log_prior) {
    struct rw_case c = {.outside = outside};
    double lw = log_prior + log_likelihood(run, &c);
    if (!outside) { /* nothing is injured: only anatomy differs between worlds */
        double sum = 0.0;
        for (size_t w = 0; w < run->search->world_count; w++) {
            c.variant = run->worlds[w].variant;
            sum += exp(run->worlds[w].log_weight + log_prior + log_likelihood(run, &c) - lw);
        }
        /* cppcheck-suppress invalidFunctionArg ; there is always a world */
        lw += log(sum);
    }
    const double weight = exp(lw - run->search->reference);
    run->search->total += weight;
    return weight;
}

static void marginals(const struct run *run, struct rw_localisation *out) {
    const struct rw_search *s = run->search;
    const double total = s->total;
    for (size_t i = 0; i < run->space.further_count; i++) {
        struct rw_site_posterior *p = &out->sites[run->space.further_site[i]];
        p->p_complete = s->further[2 * i + 1] / total;
        p->p_injured = s->further[2 * i] / total + p->p_complete;
    }
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        const double *state = s->root_state[i];
        const double part[3] = {state[RW_ROOT_PRE_PARTIAL], state[RW_ROOT_PROXIMAL_PARTIAL],
                                state[RW_ROOT_DISTAL_PARTIAL]};
        const double whole[3] = {state[RW_ROOT_PRE_COMPLETE] + state[RW_ROOT_DOUBLE],
                                 state[RW_ROOT_PROXIMAL_COMPLETE],
                                 state[RW_ROOT_DISTAL_COMPLETE] + state[RW_ROOT_DOUBLE]};
        double injured = 0.0;
        for (size_t k = 0; k < 3; k++)
            out->sites[run->space.root_site[i][k]] = (struct rw_site_posterior){
                .p_injured = (part[k] + whole[k]) / total, .p_complete = whole[k] / total};
        for (size_t k = 1; k < RW_ROOT_STATES; k++)
            injured += state[k];
        const double pre = part[0] + whole[0];
        out->roots[i] = (struct rw_root_posterior){.p_intact = 1.0 - injured / total,
                                                   .p_preganglionic = pre / total,
                                                   .p_postganglionic = (injured - pre) / total};
    }
    for (size_t k = 0; k < RW_LEVEL_COUNT; k++)
        out->levels[k] = s->level[k] / total;
    out->no_lesion = run->none / total;
    out->outside_plexus = run->outside / total;
    out->log_evidence = s->reference + log(total);
    out->left_out = s->summed * exp(s->least) / total;
    out->summed = s->summed;
    out->informative = run->term_count > 0;
}

static enum rw_prior_kind kind_of(const struct rw_candidate *c) {
    static const enum rw_prior_kind bare[RW_MIN_SCATTER] = {RW_PRIOR_NONE, RW_PRIOR_SINGLE, RW_PRIOR_PAIR,
                                                            RW_PRIOR_TRIPLE};
    if (c->atom_count >= RW_MIN_SCATTER)
        return RW_PRIOR_SCATTERED;
    if (c->config == 0)
        return bare[c->atom_count];
    return c->atom_count == 0   ? RW_PRIOR_ROOTS
           : c->atom_count == 1 ? RW_PRIOR_ROOTS_AND_ONE
                                : RW_PRIOR_ROOT_AND_TWO;
}

static void resolve_candidate(const struct run *run, const struct rw_candidate *c, struct rw_resolved *out) {
    memset(out, 0, sizeof *out);
    struct rw_hypothesis *h = &out->shown;
    h->kind = kind_of(c);
    h->lesion_count = (uint8_t)rw_hypothesis_lesions(&run->space, c->config, c->atoms, c->atom_count,
                                                     out->severity, h->lesions);
    h->probability = c->weight / run->search->total;
    h->log_likelihood = log(c->weight) + run->search->reference -
                        rw_hypothesis_prior(&run->space, &run->prior, c->config, c->atoms, c->atom_count);
}

static void resolve_bare(const struct run *run, double weight, enum rw_prior_kind kind,
                         struct rw_resolved *out) {
    memset(out, 0, sizeof *out);
    out->shown.kind = kind;
    out->shown.probability = weight / run->search->total;
    out->shown.log_likelihood = log(weight) + run->search->reference - run->prior.kind[kind];
}

static int by_probability(const void *a, const void *b) {
    const struct rw_resolved *x = a, *y = b;
    if (x->shown.probability > y->shown.probability)
        return -1;
    if (x->shown.probability < y->shown.probability)
        return 1;
    return memcmp(x->severity, y->severity, sizeof x->severity);
}

/* Likelihoods this close in nats are equal: rounding alone separates them. */
#define EQUAL_NATS 1e-9

/* The shortlist and the two hypotheses without a site, heaviest first, as resolved hypotheses. */
static size_t resolve(struct run *run, struct rw_resolved *all) {
    const struct rw_shortlist *list = &run->search->shortlist;
    size_t n = 0;
    for (size_t i = 0; i < list->count; i++)
        resolve_candidate(run, &list->items[i], &all[n++]);
    resolve_bare(run, run->none, RW_PRIOR_NONE, &all[n++]);
    resolve_bare(run, run->outside, RW_PRIOR_OUTSIDE, &all[n++]);
    qsort(all, n, sizeof *all, by_probability);
    for (size_t i = 0; i < n; i++)
        all[i].shown.separated_by = RW_NONE; /* explain.c names them */
    for (size_t i = 1; i < n; i++)
        all[i].shown.inseparable =
            fabs(all[i].shown.log_likelihood - all[0].shown.log_likelihood) < EQUAL_NATS;
    return n;
}

static void list_hypotheses(const struct rw_resolved *all, size_t n, struct rw_localisation *out) {
    double listed = 0.0;
    for (size_t i = 0; i < n && i < RW_MAX_HYPOTHESES && (i < 10 || listed < 0.95); i++) {
        out->hypotheses[out->hypothesis_count++] = all[i].shown;
        listed += all[i].shown.probability;
    }
}

enum rw_status rw_localise(const struct rw_exam *exam, struct rw_arena *arena, struct rw_localisation *out,
                           struct rw_localise_result *result) {
    struct run run = {.exam = exam, .arena = arena};
    memset(out, 0, sizeof *out);
    if (!prepare(&run, out) || !search_all(&run))
        return RW_ENOSPACE;
    run.none = add_without_site(&run, false, run.prior.kind[RW_PRIOR_NONE]);
    run.outside = add_without_site(&run, true, run.prior.kind[RW_PRIOR_OUTSIDE]);
    marginals(&run, out);
    struct rw_resolved *all = rw_arena_take(arena, RW_SHORTLIST + 2, sizeof *all);
    if (all == NULL)
        return RW_ENOSPACE;
    const size_t n = resolve(&run, all);
    list_hypotheses(all, n, out);
    *result = (struct rw_localise_result){
        .terms = run.terms, .term_count = run.term_count, .hypotheses = all, .hypothesis_count = n};
    return RW_OK;
}
