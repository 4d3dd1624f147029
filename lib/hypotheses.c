#include "hypotheses.h"

#include <math.h>
#include <string.h>

/* Fibres of the first variant, summed over all targets: through each further site, and through each two. */
struct fibres {
    double through[RW_MAX_FURTHER], shared[RW_MAX_FURTHER][RW_MAX_FURTHER];
};

static void count_fibres(struct rw_space *space, struct fibres *fibres) {
    const struct rw_model *m = rw_model();
    for (size_t t = 0; t < m->target_count; t++)
        for (size_t b = m->ranges[t].first; b < (size_t)m->ranges[t].first + m->ranges[t].count; b++) {
            const struct rw_bundle *bundle = &m->bundles[b];
            const bool root = bundle->entry == RW_ENTRY_ALL || bundle->entry == RW_ENTRY_POST;
            for (size_t k = 0; k < bundle->site_count; k++) {
                const uint8_t a = space->further_of_site[bundle->sites[k]];
                const enum rw_level level = m->sites[bundle->sites[k]].level;
                if (a == 0xff)
                    continue;
                fibres->through[a] += bundle->weight;
                if (root && (level == RW_LEVEL_TRUNK || level == RW_LEVEL_DIVISION))
                    space->fed_by[a] |= (uint8_t)(1u << (bundle->segment - RW_SEGMENT_C5));
                for (size_t l = 0; l < bundle->site_count; l++)
                    if (space->further_of_site[bundle->sites[l]] != 0xff)
                        fibres->shared[a][space->further_of_site[bundle->sites[l]]] += bundle->weight;
            }
        }
}

static void find_series(struct rw_space *space) {
    const struct rw_model *m = rw_model();
    struct fibres fibres = {0};
    count_fibres(space, &fibres);
    for (size_t a = 0; a < space->further_count; a++)
        for (size_t b = 0; b < space->further_count; b++) {
            const char *ra = m->sites[space->further_site[a]].region,
                       *rb = m->sites[space->further_site[b]].region;
            const double fewer = fmin(fibres.through[a], fibres.through[b]);
            if (a != b && 2.0 * fibres.shared[a][b] > fewer && strcmp(ra, rb) == 0)
                space->in_series[a] |= (uint64_t)1 << b;
        }
}

void rw_space_init(struct rw_space *space) {
    const struct rw_model *m = rw_model();
    memset(space, 0, sizeof *space);
    for (size_t s = 0; s < m->site_count; s++) {
        const struct rw_site *site = &m->sites[s];
        if (site->root == 0xff) {
            space->further_of_site[s] = (uint8_t)space->further_count;
            space->further_site[space->further_count++] = (uint8_t)s;
            continue;
        }
        size_t part = 0;
        if (site->part != NULL)
            part = strcmp(site->part, "before_branches") == 0 ? 1 : 2;
        space->further_of_site[s] = 0xff;
        space->root_site[site->root][part] = (uint8_t)s;
    }
    find_series(space);
}

static bool state_complete(unsigned state) {
    return state == RW_ROOT_PRE_COMPLETE || state == RW_ROOT_PROXIMAL_COMPLETE ||
           state == RW_ROOT_DISTAL_COMPLETE || state == RW_ROOT_DOUBLE;
}

/* 0 preganglionic, 1 proximal, 2 distal. */
static unsigned state_level(unsigned state) {
    return state == RW_ROOT_DOUBLE ? 0 : (state - 1) / 2;
}

/* Log prior of every root configuration: log C(r) first, then scaled within each mask. */
static void root_prior(struct rw_prior_terms *terms, const struct rw_prior *p) {
    double sum[32] = {0};
    for (uint32_t r = 1; r < RW_ROOT_CONFIGS; r++) {
        double c = 1.0;
        unsigned mask = 0, before = 0;
        for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
            const unsigned s = rw_root_state_of(r, i);
            if (s != RW_ROOT_INTACT) {
                mask |= 1u << i;
                c *= p->state[i][s];
                if (before != RW_ROOT_INTACT) {
                    c *= state_complete(s) == state_complete(before) ? p->agree_complete : 1.0;
                    c *= state_level(s) == state_level(before) ? p->agree_level : 1.0;
                }
            }
            before = s;
        }
        terms->roots[r] = c;
        sum[mask] += c;
    }
    double singles = 0.0;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        singles += p->pattern[1u << i];
    for (uint32_t r = 1; r < RW_ROOT_CONFIGS; r++) {
        const unsigned mask = rw_root_mask(r);
        terms->roots[r] = log(p->pattern[mask] * terms->roots[r] / sum[mask]);
    }
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        for (uint32_t s = 1; s < RW_ROOT_STATES; s++)
            terms->root_atom[7 * i + s - 1] = terms->roots[s << (3 * i)] - log(singles);
}

/* Two trunks, two divisions or two cords: what a track or a blow across the plexus meets together. */
static bool one_level(const struct rw_site *a, const struct rw_site *b) {
    return a->level == b->level && a->level != RW_LEVEL_NERVE;
}

/* ln k of every pair of further sites. */
static void couple(struct rw_prior_terms *terms, const struct rw_space *space, const struct rw_prior *p) {
    const struct rw_model *m = rw_model();
    for (size_t a = 0; a < space->further_count; a++)
        for (size_t b = 0; b < space->further_count; b++) {
            const struct rw_site *sa = &m->sites[space->further_site[a]],
                                 *sb = &m->sites[space->further_site[b]];
            terms->coupling[a][b] = (space->in_series[a] >> b & 1u) != 0  ? log(p->in_series)
                                    : one_level(sa, sb)                   ? log(p->same_level)
                                    : strcmp(sa->region, sb->region) == 0 ? log(p->same_region)
                                                                          : 0.0;
        }
    terms->in_series = log(p->in_series);
}

struct normalisers { /* over unordered sets, severities summed out */
    double one, two, three, root_and_two;
};

static struct normalisers normalise(const struct rw_space *space, const struct rw_prior_terms *terms,
                                    const struct rw_prior *p) {
    const size_t n = space->further_count;
    struct normalisers z = {0};
    double q[RW_MAX_FURTHER], k[RW_MAX_FURTHER][RW_MAX_FURTHER], single[RW_PLEXUS_ROOTS], singles = 0.0;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        singles += single[i] = p->pattern[1u << i];
    for (size_t a = 0; a < n; a++) {
        q[a] = exp(terms->further[2 * a]) + exp(terms->further[2 * a + 1]);
        for (size_t b = 0; b < n; b++)
            k[a][b] = exp(terms->coupling[a][b]);
        for (unsigned mask = 1; mask < 1u << RW_PLEXUS_ROOTS; mask++)
            z.one += p->pattern[mask] * q[a] * exp(rw_prior_series(space, terms, mask, a));
    }
    for (size_t a = 0; a < n; a++)
        for (size_t b = a + 1; b < n; b++) {
            const double pair = q[a] * q[b] * k[a][b];
            z.two += pair;
            for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
                z.root_and_two += single[i] / singles * pair *
                                  exp(rw_prior_series(space, terms, 1u << i, a) +
                                      rw_prior_series(space, terms, 1u << i, b));
            for (size_t c = b + 1; c < n; c++)
                z.three += pair * q[c] * k[a][c] * k[b][c];
        }
    return z;
}

static double log_or_never(double p) {
    return p > 0.0 ? log(p) : -(double)INFINITY;
}

/* Z4: the sum of products of odds over sets of RW_MIN_SCATTER to RW_MAX_SCATTER sites, by size. */
static double scatter_normaliser(const struct rw_space *space, const struct rw_prior *p) {
    double by_size[RW_MAX_SCATTER + 1] = {1.0}, sum = 0.0;
    for (size_t a = 0; a < space->further_count; a++) {
        const double *odds = p->scattered[space->further_site[a]];
        for (size_t k = RW_MAX_SCATTER; k > 0; k--)
            by_size[k] += by_size[k - 1] * (odds[RW_PARTIAL] + odds[RW_COMPLETE]);
    }
    for (size_t k = RW_MIN_SCATTER; k <= RW_MAX_SCATTER; k++)
        sum += by_size[k];
    return sum;
}

void rw_prior_init(struct rw_prior_terms *terms, const struct rw_space *space, enum rw_mechanism mechanism) {
    const struct rw_prior *p = &rw_model()->priors[mechanism];
    root_prior(terms, p);
    for (size_t a = 0; a < space->further_count; a++) {
        const double *share = p->site[space->further_site[a]];
        terms->further[2 * a] = log(share[RW_PARTIAL]);
        terms->further[2 * a + 1] = log(share[RW_COMPLETE]);
        const double *odds = p->scattered[space->further_site[a]];
        terms->scattered[2 * a] = log_or_never(odds[RW_PARTIAL]);
        terms->scattered[2 * a + 1] = log_or_never(odds[RW_COMPLETE]);
    }
    couple(terms, space, p);
    const struct normalisers z = normalise(space, terms, p);
    for (size_t k = 0; k < RW_PRIOR_KIND_COUNT; k++)
        terms->kind[k] = log_or_never(p->kind[k]);
    if (p->kind[RW_PRIOR_SCATTERED] > 0.0)
        terms->kind[RW_PRIOR_SCATTERED] -= log(scatter_normaliser(space, p));
    terms->kind[RW_PRIOR_ROOTS_AND_ONE] -= log(z.one);
    terms->kind[RW_PRIOR_PAIR] -= log(z.two);
    terms->kind[RW_PRIOR_ROOT_AND_TWO] -= log(z.root_and_two);
    terms->kind[RW_PRIOR_TRIPLE] -= log(z.three);
    terms->roots[0] = terms->kind[RW_PRIOR_SINGLE] - terms->kind[RW_PRIOR_ROOTS_AND_ONE];
}

static size_t add_lesion(uint8_t site, unsigned severity, uint8_t *of_site, struct rw_lesion *list,
                         size_t count) {
    of_site[site] = (uint8_t)severity;
    if (list != NULL)
        list[count] = (struct rw_lesion){.site = site, .severity = (uint8_t)severity};
    return count + 1;
}

size_t rw_hypothesis_lesions(const struct rw_space *space, uint32_t config, const uint8_t *atoms,
                             size_t atom_count, uint8_t severity[RW_MAX_SITES],
                             struct rw_lesion list[RW_MAX_LESIONS]) {
    size_t count = 0;
    memset(severity, RW_INTACT, RW_MAX_SITES);
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        const unsigned s = rw_root_state_of(config, i);
        if (s == RW_ROOT_INTACT)
            continue;
        const unsigned how = state_complete(s) ? RW_COMPLETE : RW_PARTIAL;
        count = add_lesion(space->root_site[i][state_level(s)], how, severity, list, count);
        if (s == RW_ROOT_DOUBLE)
            count = add_lesion(space->root_site[i][2], RW_COMPLETE, severity, list, count);
    }
    for (size_t i = 0; i < atom_count; i++)
        count = add_lesion(space->further_site[atoms[i] / 2], atoms[i] % 2 == 0 ? RW_PARTIAL : RW_COMPLETE,
                           severity, list, count);
    return count;
}

double rw_hypothesis_prior(const struct rw_space *space, const struct rw_prior_terms *terms, uint32_t config,
                           const uint8_t *atoms, size_t atom_count) {
    double p = 0.0;
    if (atom_count >= RW_MIN_SCATTER) {
        for (size_t i = 0; i < atom_count; i++)
            p += terms->scattered[atoms[i]];
        return p + terms->kind[RW_PRIOR_SCATTERED];
    }
    for (size_t i = 0; i < atom_count; i++)
        p += terms->further[atoms[i]] + rw_prior_series(space, terms, rw_root_mask(config), atoms[i] / 2u);
    if (atom_count <= 1) {
        if (config == 0)
            return p + terms->kind[atom_count == 0 ? RW_PRIOR_NONE : RW_PRIOR_SINGLE];
        return p + terms->roots[config] +
               terms->kind[atom_count == 0 ? RW_PRIOR_ROOTS : RW_PRIOR_ROOTS_AND_ONE];
    }
    for (size_t i = 0; i < atom_count; i++)
        for (size_t k = i + 1; k < atom_count; k++)
            p += terms->coupling[atoms[i] / 2u][atoms[k] / 2u];
    if (atom_count == 3)
        return p + terms->kind[RW_PRIOR_TRIPLE];
    if (config == 0)
        return p + terms->kind[RW_PRIOR_PAIR];
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        const unsigned s = rw_root_state_of(config, i);
        if (s != RW_ROOT_INTACT)
            p += terms->root_atom[7 * i + s - 1];
    }
    return p + terms->kind[RW_PRIOR_ROOT_AND_TWO];
}
