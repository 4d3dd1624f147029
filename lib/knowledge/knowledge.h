/* The knowledge compiler: TSV files in, the tables of rootward.h out.
 *
 * Each step reads its files, complains about what is inconsistent, and hands its tables to `model`,
 * which is written as it stands. A step may rely on the tables of the steps before it (see compile.c for
 * the order). Beside a complaint the tables may hold placeholders; they are then never written. */
#ifndef ROOTWARD_KNOWLEDGE_H
#define ROOTWARD_KNOWLEDGE_H

#include "../rootward.h"
#include "tsv.h"

#include <stdint.h>
#include <stdio.h>

/* name, file, columns, key */
#define KN_FILES(X)                                                                                          \
    X(SITES, "sites.tsv", "id level name part relation region depth label source", "id")                     \
    X(ROUTES, "routes.tsv", "route sites source", "route")                                                   \
    X(MUSCLES, "muscles.tsv", "id label nerve help bedside source", "id")                                    \
    X(BUNDLES, "bundles.tsv", "target segment weight entry route source", "target segment route")            \
    X(COMBINATIONS, "combinations.tsv", "kind owner muscle share role source", "kind owner muscle")          \
    X(LABELS, "labels.tsv", "kind id label help bedside source", "kind id")                                  \
    X(VARIANTS, "variants.tsv", "id form_or_link label prevalence source", "id")                             \
    X(VARIANT_SHIFTS, "variant_shifts.tsv", "variant from_segment to_segment fraction source",               \
      "variant from_segment to_segment")                                                                     \
    X(VARIANT_BUNDLES, "variant_bundles.tsv", "variant target segment weight entry route source",            \
      "variant target segment route")                                                                        \
    X(TABLES, "tables.tsv",                                                                                  \
      "id scale min_days full_days outlier filled_outlier spread_sharp spread_uneven source", "id")          \
    X(LIKELIHOODS, "likelihoods.tsv", "table at observation probability source", "table at observation")     \
    X(CHECKS, "checks.tsv", "section table items target source", "section items")                            \
    X(SCALES, "scales.tsv", "scale value observation weight source", "scale value observation")              \
    X(PRIORS, "priors.tsv", "mechanism part key value source", "mechanism part key")                         \
    X(FACTS, "facts.tsv", "id value unit source", "id")                                                      \
    X(DISTANCES, "distances.tsv", "muscle mean_mm low_mm high_mm source", "muscle")                          \
    X(SITE_DISTANCES, "site_distances.tsv", "site mm source", "site")                                        \
    X(DONORS, "donors.tsv", "id label nerve tests chest spends stump source", "id")                          \
    X(TRANSFERS, "transfers.tsv",                                                                            \
      "id label kind family donor recipient muscles functions areas needs graft cuts axon_ratio "            \
      "distance_mm conflicts after latest_months memory source",                                             \
      "id")                                                                                                  \
    X(OUTCOMES, "outcomes.tsv", "transfer study series patients successes source", "transfer study")         \
    X(RULES, "rules.tsv", "id kind when how_soon text source", "id")                                         \
    X(CAUTIONS, "cautions.tsv", "id text source", "id")
enum kn_file_id {
#define X(id, name, columns, key) KN_##id,
    KN_FILES(X)
#undef X
        KN_FILE_COUNT
};

enum { KN_ROOT_SITES = 15, KN_MAX_ROUTE = 24, KN_MAX_FORMS = 8, KN_MAX_LINKS = 4, KN_NO_ROOT = 0xff };
#define KN_TOLERANCE 1e-9 /* of sums that must be 1 */

struct kn_route {
    const char *id;
    uint8_t sites[KN_MAX_ROUTE]; /* further sites */
    size_t site_count;
    bool used;
};

struct knowledge {
    struct kn_arena arena;
    struct kn_log log;
    struct kn_file files[KN_FILE_COUNT];
    struct kn_route *routes;
    size_t route_count;
    struct rw_target *targets;   /* those of the model, their entry still to be set */
    const uint8_t *table_scales; /* [table_count]: scale of each table */
    struct rw_model model;
};

/* words.c */
extern const char *const kn_levels[RW_LEVEL_COUNT];
extern const char *const kn_mechanisms[RW_MECHANISM_COUNT];
extern const char *const kn_sections[RW_SECTION_COUNT];
extern const char *const kn_segments[RW_SEGMENT_COUNT];
extern const char *const kn_target_kinds[RW_TARGET_FUNCTION + 1];
uint8_t kn_root_of(enum rw_segment segment); /* 0..4 for C5..T1, else KN_NO_ROOT */
uint8_t kn_root_named(const char *name);
enum rw_segment kn_segment_of(size_t root);
const char *kn_root_name(size_t root);

/* sites.c: sites (the fifteen root sites first: root * 3 + pre, proximal, distal) and routes */
void kn_build_sites(struct knowledge *knowledge);
void kn_build_routes(struct knowledge *knowledge);
uint8_t kn_site(const struct knowledge *knowledge, const char *id); /* 0xff: none */
struct kn_route *kn_route(const struct knowledge *knowledge, const char *id);

/* targets.c: targets and members */
void kn_build_targets(struct knowledge *knowledge);
uint16_t kn_target(const struct knowledge *knowledge, enum rw_target_kind kind, const char *id);
/* "muscle.biceps_brachii" → index, or RW_NONE */
uint16_t kn_target_named(const struct knowledge *knowledge, const char *name);
void kn_build_members(struct knowledge *knowledge);
/* Whether it steadies a function rather than moves it: its share lies beside the sum of 1, and it feeds no bundle. */
bool kn_steadies(const struct rw_member *member);

/* bundles.c: the strands of each target, as the files give them */
struct kn_strand {
    enum rw_segment segment;
    enum rw_entry entry;
    struct kn_route *route; /* NULL: none */
    double weight;
};
struct kn_strands {
    struct kn_strand *items;
    size_t count;
};
/* [target]; count 0 where the file has nothing for it. `variant` is NULL for bundles.tsv. Sets the entry
 * of the targets that it feeds. */
struct kn_strands *kn_read_strands(struct knowledge *knowledge, const struct kn_file *file,
                                   const char *variant);

/* variants.c: the joint variants; place.c: bundles and ranges of each */
struct kn_shift {
    enum rw_segment from, to;
    double fraction;
};
struct kn_variants {
    size_t form_count, link_count;
    size_t forms[KN_MAX_FORMS], links[KN_MAX_LINKS]; /* rows of variants.tsv */
    struct kn_shift *shifts[KN_MAX_FORMS];
    size_t shift_counts[KN_MAX_FORMS];
};
/* Row of the form, and mask of the links present, of a joint variant. */
size_t kn_variant_form(const struct kn_variants *variants, size_t joint);
size_t kn_variant_links(const struct kn_variants *variants, size_t joint);
void kn_build_variants(struct knowledge *knowledge, struct kn_variants *variants);
void kn_build_bundles(struct knowledge *knowledge, const struct kn_variants *variants);

/* tables.c: scales and likelihood tables; blur.c: the Beta blur */
void kn_build_scales(struct knowledge *knowledge);
void kn_build_tables(struct knowledge *knowledge);
uint8_t kn_scale(const struct knowledge *knowledge, const char *id);  /* 0xff: none */
uint16_t kn_table(const struct knowledge *knowledge, const char *id); /* RW_NONE: none */
/* Mean of the piecewise linear function through (at[i], value[i * stride]), at[0] = 0 … at[count-1] = 1,
 * over Beta(concentration * fraction, concentration * (1 - fraction)). Exact up to the accuracy of the
 * incomplete beta function; no blur at fraction 0 or 1 or where concentration is infinite. */
double kn_blur(const double *at, const double *value, size_t count, size_t stride, double fraction,
               double concentration);

/* checks.c, priors.c, surgery.c, rules.c */
void kn_build_checks(struct knowledge *knowledge);
void kn_build_priors(struct knowledge *knowledge);
void kn_build_facts(struct knowledge *knowledge);
void kn_build_distances(struct knowledge *knowledge);
void kn_build_transfers(struct knowledge *knowledge);
void kn_build_rules(struct knowledge *knowledge);

/* emit.c: writes the model as a C file; false on a write error */
bool kn_emit(const struct rw_model *model, FILE *out);

#endif
