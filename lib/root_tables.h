/* How the log likelihood of an exam depends on the roots, alone and with one further atom.
 *
 * A target sees of a root only whether its fibres are intact, partly lost or lost at the root sites that it
 * runs through (its entry), so there is one table of 3^5 patterns an entry, summed over terms, for each
 * world. A further atom can change targets of three entries; those changes are kept apart as well. */
#ifndef RW_ROOT_TABLES_H
#define RW_ROOT_TABLES_H

#include "search.h"

enum {
    RW_ROOT_TABLE = (RW_ROOT_PATTERNS + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK, /* stride of tables */
    RW_CHANGE_ALL = 0,
    RW_CHANGE_PROXIMAL,
    RW_CHANGE_POST,
    RW_CHANGES
};
extern const enum rw_entry rw_change_entry[RW_CHANGES];

struct rw_root_sums { /* of one world */
    double base[RW_ENTRY_PRE + 1][RW_ROOT_TABLE];
    double constant; /* terms without plexus roots, nothing injured */
    double change_constant[2 * RW_MAX_FURTHER];
};

struct rw_roots {
    const struct rw_space *space;
    size_t atoms, world_count;
    struct rw_root_sums *sums; /* [world] */
    /* [world · RW_ROOT_TABLE + pattern]; NULL where the atom changes no target of the entry in any world. */
    double *change[2 * RW_MAX_FURTHER][RW_CHANGES];
};

/* The changes by an atom to targets of one entry, all 0 when they are new. NULL: arena too small. */
double *rw_roots_change(struct rw_roots *roots, size_t atom, size_t slot, struct rw_arena *arena);

#endif
