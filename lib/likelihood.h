/* The likelihood of an exam, laid out for the search.
 *
 * A world is one joint anatomical variant with one depth of partial loss; both are hidden and summed over.
 * A term is one informative finding: P(finding | intact fraction) on the grid. A view is a term in one world:
 * what each further site and each root does to its target. Sites that touch the same bundles in the same
 * severity have the same effect; they form one class, and likelihoods are computed once a class. */
#ifndef RW_LIKELIHOOD_H
#define RW_LIKELIHOOD_H

#include "hypotheses.h"

enum {
    RW_MAX_WORLDS = 16,
    RW_MAX_VIEW_BUNDLES = 64,                /* bundles of one target: one bit each */
    RW_MAX_CLASSES = 1 + 2 * RW_MAX_FURTHER, /* class 0: touches nothing */
    RW_ROOT_PATTERNS = 243,                  /* 3^5: intact, partial, complete for each root */
    RW_SHARP = RW_SPREAD_SHARP * RW_GRID,    /* where a spread's row of a term's grid starts */
    RW_UNEVEN = RW_SPREAD_UNEVEN * RW_GRID
};

struct rw_world {
    double log_weight;   /* ln of prevalence · share of the depth */
    double partial_left; /* 1 − loss at a partial site */
    uint16_t variant;
    uint8_t depth;
};

struct rw_term {
    double grid[RW_SPREAD_COUNT][RW_GRID];
    double outside, ready; /* ready: rw_table_ready */
    uint16_t finding;      /* index in the exam */
    uint16_t target;
    uint8_t entry; /* enum rw_entry */
};

struct rw_class {
    uint64_t bundles; /* touched */
    uint8_t severity;
};

/* Class 0 touches nothing; 1 + 2k and 2 + 2k are partial and complete lesions of one set of bundles. */
struct rw_view {
    const struct rw_term *term;
    double partial_left;
    size_t bundle_count, class_count;
    double weight[RW_MAX_VIEW_BUNDLES];
    uint8_t root[RW_MAX_VIEW_BUNDLES]; /* 0..4, or 5: not from the plexus */
    unsigned roots;                    /* mask of plexus roots that feed the target */
    struct rw_class classes[RW_MAX_CLASSES];
    uint8_t class_of[2 * RW_MAX_FURTHER]; /* by further atom */
};

/* What reaches the target from each root after the further lesions of a hypothesis. */
struct rw_flow {
    double root[RW_PLEXUS_ROOTS], fixed;
    bool uneven;
};

/* Class (0 intact, 1 partial, 2 complete) of a root state as seen by a target of this entry. */
extern const uint8_t rw_root_class[RW_ENTRY_PRE + 1][RW_ROOT_STATES];

/* The terms of an exam: findings with a target whose table already says something at this time since onset.
 * Returns their number; those too early go to `too_early`, in the order of the exam. */
size_t rw_terms_init(const struct rw_exam *exam, struct rw_term *terms, uint16_t *too_early,
                     size_t *too_early_count);

/* The largest P(finding) that any intact fraction gives. */
double rw_term_most(const struct rw_term *term);

/* The worlds that can differ for these terms (equal anatomy is folded, weights added). Returns their number.
 */
size_t rw_worlds_init(const struct rw_term *terms, size_t term_count, struct rw_world worlds[RW_MAX_WORLDS]);

/* Whether a term looks the same in two worlds. */
bool rw_view_shared(const struct rw_term *term, const struct rw_world *a, const struct rw_world *b);

void rw_view_init(struct rw_view *view, const struct rw_term *term, const struct rw_world *world,
                  const struct rw_space *space);

/* What a bundle keeps under a lesion of this class that touches it. */
static inline double rw_class_left(const struct rw_view *view, size_t class) {
    return view->classes[class].severity == RW_COMPLETE ? 0.0 : view->partial_left;
}

/* P(finding | intact fraction) of `count` fractions; spread[i] is RW_UNEVEN where a partial lesion lies on
 * the target, else RW_SHARP. */
void rw_term_probabilities(const struct rw_term *term, size_t count, const double *fraction,
                           const int32_t *spread, double *out);
/* Its logarithm. */
void rw_term_logs(const struct rw_term *term, size_t count, const double *fraction, const int32_t *spread,
                  double *out);

/* ln P(finding | flow, root classes), `pattern` = Σ class·3^root. */
double rw_flow_log(const struct rw_view *view, const struct rw_flow *flow, size_t pattern);

#endif
