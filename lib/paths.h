/* What several visits say of one hypothesis: sums over all ways in which its lesions may have recovered.
 * course.h states the model. */
#ifndef RW_PATHS_H
#define RW_PATHS_H

#include "arena.h"
#include "posterior.h"
#include "sites.h"

enum {
    RW_MAX_VARIANTS = 8,
    RW_MAX_VECTORS = 729 /* 3^6: one lesion a root that can recover, and one further; or six further */
};

enum rw_manner { RW_MANNER_BLOCK, RW_MANNER_FAST, RW_MANNER_SLOW, RW_MANNER_COUNT };

/* Depth at the first visit and at the day: never deeper later. */
enum rw_depths { RW_DEPTHS_MILD, RW_DEPTHS_SEVERE, RW_DEPTHS_EASED, RW_DEPTHS_COUNT };

/* P(finding | intact fraction), as in posterior.h, and what it shares with the last finding of the same
 * check. */
struct rw_reading {
    double grid[RW_SPREAD_COUNT][RW_GRID], outside;
    double shared[RW_SPREAD_COUNT][RW_GRID], shared_outside; /* with `before` */
    double risen[RW_SPREAD_COUNT][RW_GRID];                  /* P(finding | `before`, much came back) */
    double persists;                                         /* 0: nothing to go by before it */
    size_t before;                                           /* reading */
};

/* A target that some visit examined, or a muscle of such a group (then without readings). */
struct rw_watched {
    uint16_t target;
    double mm;                                         /* foramen to motor point; NAN: not known */
    struct rw_sites sites;                             /* on the way to it, in any variant */
    uint8_t kind_count, kind_of[RW_MAX_VARIANTS];      /* variants with the same bundles */
    uint8_t kind_variant[RW_MAX_VARIANTS];             /* one variant of each kind, by place in the paths */
    size_t first[RW_MAX_VISITS], count[RW_MAX_VISITS]; /* readings */
    double none[RW_MAX_VISITS];                        /* ln P(readings | nothing lost), each for itself */
    double none_again[RW_MAX_VISITS];                  /* the same given the readings before */
};

/* How likely a fall of one target is between two visits. */
struct rw_probe {
    size_t watched;
    uint8_t visit[2];
    double grid[2][RW_SPREAD_COUNT][RW_GRID]; /* P(at least the earlier word), P(at most the later word) */
    double outside[2];
    double anew;   /* P(the later finding does not merely repeat the earlier) */
    double chance; /* the sum */
};

/* From one visit to the next, by site. */
struct rw_healing {
    double stays[RW_MAX_SITES], to_partial[RW_MAX_SITES]; /* of lesions complete at the first visit */
    double onward_stays;                                  /* of these once partial */
    double partial_stays;                                 /* of lesions partial at the first visit */
};

struct rw_paths {
    const struct rw_exam *exams; /* [visit_count], by date, of one onset and mechanism */
    size_t visit_count, variant_count, watched_count;
    uint16_t variant[RW_MAX_VARIANTS]; /* one of each lot that no watched target tells apart */
    uint8_t lot_of[RW_MAX_VARIANTS];   /* by variant of the model */
    double variant_weight[RW_MAX_VARIANTS], depth_weight[2], manner_weight[RW_MANNER_COUNT];
    struct rw_watched *watched;
    uint16_t watched_of[RW_MAX_TARGETS]; /* RW_NONE: not watched */
    struct rw_reading *readings;
    double log_none[RW_MAX_VISITS], log_none_again[RW_MAX_VISITS]; /* as of the watched, over all */
    double log_outside[RW_MAX_VISITS], log_outside_again[RW_MAX_VISITS];
    struct rw_healing healing[RW_MANNER_COUNT][RW_MAX_VISITS]; /* into this visit */
    double site_mm[RW_MAX_SITES];
    double latency[RW_MANNER_COUNT], days_per_mm[RW_MANNER_COUNT], least_mm, change_shows;
    double shows[2];                  /* a target that its lesions came back, in part and wholly */
    struct rw_paths_scratch *scratch; /* for one hypothesis at a time */
};

/* What the heavy hypotheses add up to. */
struct rw_sums {
    double total;                                    /* of the weights traced */
    double site[RW_MAX_VISITS][RW_MAX_SITES][3];     /* injured, complete, recovered */
    double root[RW_MAX_VISITS][RW_PLEXUS_ROOTS][2];  /* preganglionic, otherwise injured */
    double recovered[RW_MAX_VISITS][RW_MAX_TARGETS]; /* by place among the watched */
    double block;
    double world[RW_MAX_VARIANTS]
                [2];               /* of the last hypothesis traced, by depth at the first visit; sums to 1 */
    double now[RW_MAX_LESIONS][3]; /* likewise, by lesion in rising order of sites; each sums to 1 */
};

/* Lays out 1 to RW_MAX_VISITS exams, ordered and made alike by the caller, without scratch. False: the arena is too
 * small. */
bool rw_paths_init(struct rw_paths *paths, const struct rw_exam *exams, size_t count, struct rw_arena *arena);

/* ln Σ over worlds and paths of a set of lesions; `alone`: ln P(findings of a visit | the set as it is). */
double rw_paths_weigh(const struct rw_paths *paths, const uint8_t *severity, double alone[RW_MAX_VISITS]);
/* The same for "not a lesion of these nerves". */
double rw_paths_weigh_outside(const struct rw_paths *paths, double alone[RW_MAX_VISITS]);

/* Adds the set's marginals, times `weight`, to the sums and the probes. */
void rw_paths_trace(const struct rw_paths *paths, const uint8_t *severity, double weight,
                    struct rw_sums *sums, struct rw_probe *probes, size_t probe_count);
void rw_paths_trace_outside(const struct rw_paths *paths, double weight, struct rw_sums *sums,
                            struct rw_probe *probes, size_t probe_count);

/* Scratch of rw_paths_weigh and rw_paths_trace; false: the arena is too small. */
bool rw_paths_scratch_new(struct rw_paths *paths, struct rw_arena *arena);
size_t rw_paths_scratch_size(void);

/* P(a reading | the one before it, an intact fraction that has risen by so much since the first visit). */
double rw_reading_again(const struct rw_paths *paths, const struct rw_reading *reading, enum rw_spread spread,
                        double fraction, double risen);
/* Mean intact fraction given an observation or a word, every fraction being equally likely. */
double rw_speaks_for(const struct rw_table *table, unsigned observation);
double rw_word_speaks_for(const struct rw_check *check, uint8_t word);
/* P(value | grid), linear between grid points. */
double rw_on_grid(const double grid[RW_GRID], double fraction);

/* Days after onset from which a target can see what grows back at a site; −INFINITY: at once. */
double rw_paths_waits(const struct rw_paths *paths, size_t watched, uint8_t site, enum rw_manner manner);

#endif
