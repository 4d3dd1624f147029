/* How one finding depends on up to three lesions at once: ratios of its probability, by classes of its view.
 *
 * Of a set of lesions {b, c, x}, ln P is a sum of one-, two- and three-way terms (inclusion and exclusion).
 * One- and two-way terms are handed out as logarithms, to be summed over findings beforehand. The three-way
 * term is kept as a factor: 1 unless all three lie on the way to the target. */
#ifndef RW_SET_TABLES_H
#define RW_SET_TABLES_H

#include "search.h"

/* Partners x of a pair b < c of further atoms: root atoms, nothing, and further atoms of sites below b. */
enum {
    RW_PARTNER_NOTHING = RW_ROOT_ATOMS,
    RW_PARTNER_FURTHER = (RW_ROOT_ATOMS + RW_BLOCK) / RW_BLOCK * RW_BLOCK,
    RW_PARTNERS = (RW_PARTNER_FURTHER + RW_MAX_CLASSES + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK, /* or classes */
    RW_PAIR_ROWS = 4 /* 2 · (severity of b) + severity of c, from 0 for partial */
};

struct rw_set_table {
    const struct rw_term *term;
    uint32_t worlds; /* mask of those that share the view */
    size_t bundle_count, class_count, site_count;
    size_t columns;                   /* stride of rows */
    size_t width;                     /* stride of three-way rows */
    uint8_t class_of[RW_MAX_FURTHER]; /* site → class of a partial lesion; 0: not on the way to the target */
    uint8_t sites[RW_MAX_FURTHER];    /* those on the way, rising */
    uint8_t column[RW_ROOT_ATOMS];    /* root atom → column */
    double *weight;                   /* [bundle] */
    double *kept;                     /* [class · bundle_count + bundle] what a lesion leaves of a bundle */
    double *left;                     /* [bundle · columns + column] the same, and for root classes */
    int32_t *spread;                  /* [RW_PAIR_ROWS · columns + column] for rows of a pair */
    double *inverse; /* [class · columns + column] P(class alone) / P(class and column); class 0: nothing */
    /* Three-way factors [(2 · (class of b) + severity of c) · width + partner], further partners by class,
     * and ln of the largest of each row, 0 or more, apart for roots and further partners. */
    double *three, (*peak)[2];
    uint8_t *held; /* [class of b] class of c for which `three` is filled; 0: none yet */
};

/* NULL: arena too small. */
struct rw_set_table *rw_set_table_new(const struct rw_view *view, uint32_t worlds,
                                      const struct rw_space *space, struct rw_arena *arena);

/* ln P with nothing injured. */
double rw_set_table_none(const struct rw_set_table *table);

/* One-way terms (class 0) or two-way terms of a class, by partner; further partners by class. */
void rw_set_table_logs(const struct rw_set_table *table, size_t class, double row[RW_PARTNERS]);

/* Adds such a row to sum[partner]; of further partners, those of sites below `site`. */
void rw_set_table_add(const struct rw_set_table *table, const double *row, size_t site, double *sum);

/* Three-way factors of two classes of partial lesions and the complete ones beside them: returns the first of
 * RW_PAIR_ROWS rows. They last until the next call with this b. */
size_t rw_set_table_pair(struct rw_set_table *table, size_t b, size_t c);

#endif
