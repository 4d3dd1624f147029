/* The hypothesis space and its prior.
 *
 * A hypothesis is a root configuration r and a set A of further sites, each partial or complete:
 *   r   one of 8^5 = 32768: a state (enum rw_root_state) for each of C5..T1, three bits a root, C5 lowest;
 *   A   |A| <= 1 with any r;  |A| = 2 with at most one injured root;  |A| = 3 with all roots intact;
 *       |A| = 4 to 6 with all roots intact, out of the sites that a scattered disease picks (mechanisms with
 *       kind[SCATTERED] > 0 alone).
 * Beside these: "no lesion" and "not a lesion of these nerves".
 *
 * Prior for one mechanism (every factor from priors.tsv):
 *   P(r, {})        = kind[ROOTS] · R(r)                        r not intact
 *   P(r, {a})       = kind[ROOTS_AND_ONE] · R(r) · q(a) · c(r,a) / Z1        r not intact
 *   P(intact, {a})  = kind[SINGLE] · q(a)
 *   P(intact, {a,b})   = kind[PAIR] · q(a) q(b) k(a,b) / Z2
 *   P(x, {a,b})        = kind[ROOT_AND_TWO] · R1(x) · q(a) q(b) k(a,b) c(x,a) c(x,b) / Zx
 *                                                                            x: one injured root
 *   P(intact, {a,b,c}) = kind[TRIPLE] · q(a) q(b) q(c) k(a,b) k(a,c) k(b,c) / Z3
 *   P(intact, A)       = kind[SCATTERED] · Π over A of o(a) / Z4                4 <= |A| <= 6
 * with q the share of a further site in its severity; o the odds of a site in its severity in a scattered
 * disease; Z the sums over all unordered sets of different sites that make the kinds sum to 1;
 *   k(a,b) = in_series where both lie in one region and more than half of the fibres of one of them run
 *            through the other too (bundle weights of the usual form summed over all targets),
 *            else same_level where both are trunks, both divisions or both cords,
 *            else same_region inside one region, else 1;
 *   c(r,a) = in_series where a is a trunk or division and every plexus root that feeds it in the usual form
 *            (the first variant) is injured in r, else 1;
 *   R(r) = pattern[mask] · C(r) / Σ C over the mask,   C(r) = Π state · Π over injured neighbours of
 *   agree_complete (both complete or both partial) · agree_level (both pre, both proximal or both distal;
 *   DOUBLE counts as pre and as complete),
 * and R1 = R restricted to one injured root and scaled to 1.
 *
 * Atoms number single lesions: 0..34 root i in state s (7·i + s − 1), then further sites, two each
 * (partial, complete). */
#ifndef RW_HYPOTHESES_H
#define RW_HYPOTHESES_H

#include "rootward.h"

enum {
    RW_ROOT_CONFIGS = 32768,
    RW_ROOT_ATOMS = 35,
    RW_MAX_FURTHER = 64,
    RW_MAX_ATOMS = RW_ROOT_ATOMS + 2 * RW_MAX_FURTHER
};

/* How the model's sites are laid out for the search. */
struct rw_space {
    uint8_t root_site[RW_PLEXUS_ROOTS][3]; /* preganglionic, proximal, distal */
    size_t further_count;
    uint8_t further_site[RW_MAX_FURTHER];  /* ordinal → site */
    uint8_t further_of_site[RW_MAX_SITES]; /* site → ordinal, 0xff for root sites */
    uint64_t in_series[RW_MAX_FURTHER];    /* ordinals that lie on this one's path, see k */
    uint8_t fed_by[RW_MAX_FURTHER];        /* mask of the plexus roots of a trunk or division; 0 for others */
};

struct rw_prior_terms {               /* natural logarithms */
    double kind[RW_PRIOR_KIND_COUNT]; /* PAIR carries 1/Z2, ROOT_AND_TWO 1/Zx, TRIPLE 1/Z3, SCATTERED 1/Z4,
                                         ROOTS_AND_ONE 1/Z1 */
    double *roots;                    /* [RW_ROOT_CONFIGS] R(r); [0] = kind[SINGLE] − kind[ROOTS_AND_ONE] */
    double root_atom[RW_ROOT_ATOMS];  /* R1 */
    double further[2 * RW_MAX_FURTHER];
    double coupling[RW_MAX_FURTHER][RW_MAX_FURTHER]; /* k */
    double in_series;                                /* c where it is not 1 */
    double scattered[2 * RW_MAX_FURTHER];            /* ln o; −INFINITY for sites that are spared */
};

static inline unsigned rw_root_state_of(uint32_t config, size_t root) {
    return (config >> (3 * root)) & 7u;
}

/* Mask of the injured roots of a configuration. */
static inline unsigned rw_root_mask(uint32_t config) {
    unsigned mask = 0;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        mask |= rw_root_state_of(config, i) != RW_ROOT_INTACT ? 1u << i : 0u;
    return mask;
}

void rw_space_init(struct rw_space *space);

/* log c of the injured roots `mask` and a further ordinal. */
static inline double rw_prior_series(const struct rw_space *space, const struct rw_prior_terms *terms,
                                     unsigned mask, size_t a) {
    return space->fed_by[a] != 0 && (space->fed_by[a] & ~mask) == 0 ? terms->in_series : 0.0;
}

/* Fills `terms` for a mechanism; terms->roots points at RW_ROOT_CONFIGS doubles of the caller. */
void rw_prior_init(struct rw_prior_terms *terms, const struct rw_space *space, enum rw_mechanism mechanism);

/* Writes the lesions of (config, further atoms) into severity[], and, when `list` is not NULL, as a list
 * ordered from the roots outwards. Atoms are further atoms, counted from 0. Returns the number of lesions. */
size_t rw_hypothesis_lesions(const struct rw_space *space, uint32_t config, const uint8_t *atoms,
                             size_t atom_count, uint8_t severity[RW_MAX_SITES],
                             struct rw_lesion list[RW_MAX_LESIONS]);

/* log prior of (config, further atoms). */
double rw_hypothesis_prior(const struct rw_space *space, const struct rw_prior_terms *terms, uint32_t config,
                           const uint8_t *atoms, size_t atom_count);

#endif
