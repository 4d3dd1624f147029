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
 *   P(r, {a})       = kind[ROOTS_AND_ONE] · R(r) · q(a)         r not intact
 *   P(intact, {a})  = kind[SINGLE] · q(a)
 *   P(intact, {a,b})   = kind[PAIR] · q(a) q(b) k(a,b) / Z2
 *   P(x, {a,b})        = kind[ROOT_AND_TWO] · R1(x) · q(a) q(b) k(a,b) / Z2     x: one injured root
 *   P(intact, {a,b,c}) = kind[TRIPLE] · q(a) q(b) q(c) k(a,b) k(a,c) k(b,c) / Z3
 *   P(intact, A)       = kind[SCATTERED] · Π over A of o(a) / Z4                4 <= |A| <= 6
 * with q the share of a further site in its severity, k = same_region inside one region and 1 otherwise, Z2
 * and Z3 the sums over all unordered sets of different sites, o the odds of a site in its severity in a
 * scattered disease, Z4 the sum over all such sets,
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
};

struct rw_prior_terms {               /* natural logarithms */
    double kind[RW_PRIOR_KIND_COUNT]; /* PAIR and ROOT_AND_TWO carry 1/Z2, TRIPLE 1/Z3, SCATTERED 1/Z4 */
    double *roots;                    /* [RW_ROOT_CONFIGS] R(r); [0] = kind[SINGLE] − kind[ROOTS_AND_ONE] */
    double root_atom[RW_ROOT_ATOMS];  /* R1 */
    double further[2 * RW_MAX_FURTHER];
    double same_region;
    double scattered[2 * RW_MAX_FURTHER]; /* ln o; −INFINITY for sites that are spared */
};

static inline unsigned rw_root_state_of(uint32_t config, size_t root) {
    return (config >> (3 * root)) & 7u;
}

void rw_space_init(struct rw_space *space);

/* log k(a, b) of two further ordinals. */
double rw_prior_coupling(const struct rw_space *space, const struct rw_prior_terms *terms, size_t a,
                         size_t b);

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
