#include "knowledge.h"

#include <string.h>

/* A key is looked up among the mechanism's own rows first, then among those of `*`. Where a part has
 * a special and a general key (a root and `*`, a site and its region), the special one wins. */

enum { MASKS = 1 << RW_PLEXUS_ROOTS };

static const char *const kinds[RW_PRIOR_KIND_COUNT] = {
    "none", "outside", "roots", "single", "pair", "triple", "roots_and_one", "root_and_two", "scattered"};
static const char *const states[RW_ROOT_STATES] = {"",
                                                   "pre_partial",
                                                   "pre_complete",
                                                   "proximal_partial",
                                                   "proximal_complete",
                                                   "distal_partial",
                                                   "distal_complete",
                                                   "double"};
enum part {
    KIND,
    PATTERN,
    STATE,
    AGREE,
    SITE,
    REGION,
    SHARE_COMPLETE,
    SAME_REGION,
    SAME_LEVEL,
    IN_SERIES,
    SCATTERED,
    PART_COUNT
};
static const char *const parts[PART_COUNT] = {"kind",       "pattern",   "state",    "agree",
                                              "site",       "region",    "complete", "same_region",
                                              "same_level", "in_series", "scattered"};

struct source {
    struct knowledge *knowledge;
    const struct kn_file *file;
    const char *mechanism;
};

/* The row of a key, or SIZE_MAX. */
static size_t find(const struct source *source, const char *part, const char *key) {
    const char *const mechanisms[] = {source->mechanism, "*"};
    for (size_t i = 0; i < 2; i++)
        for (size_t row = 0; row < source->file->row_count; row++)
            if (kn_is(source->file, row, "mechanism", mechanisms[i]) &&
                kn_is(source->file, row, "part", part) && kn_is(source->file, row, "key", key))
                return row;
    return SIZE_MAX;
}

static double value_at(const struct source *source, size_t row, double otherwise) {
    return row == SIZE_MAX ? otherwise : kn_number(source->file, row, "value", 0, 1e9, NULL);
}

static double value(const struct source *source, const char *part, const char *key, double otherwise) {
    return value_at(source, find(source, part, key), otherwise);
}

static void lacks(const struct source *source, const char *part, const char *detail) {
    kn_complain(source->file->log, source->file->path, 1, "%s has no %s%s", source->mechanism, part, detail);
}

/* Scales values to sum 1; complains when there is nothing to scale. */
static void normalise(const struct source *source, double *values, size_t count, const char *part,
                      const char *detail) {
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += values[i];
    if (sum <= 0) {
        lacks(source, part, detail);
        return;
    }
    for (size_t i = 0; i < count; i++)
        values[i] /= sum;
}

/* Every hypothesis must be possible; what no row names would be 0. */
static void all_possible(const struct source *source, const double *values, size_t first, size_t count,
                         const char *part) {
    for (size_t i = first; i < count; i++)
        if (values[i] <= 0) {
            kn_complain(source->file->log, source->file->path, 1, "%s: a %s has no prior above 0",
                        source->mechanism, part);
            return;
        }
}

/* "C5+C6" → 3; 0 when the key names no set of roots. */
static size_t mask_of(struct kn_arena *arena, const char *key) {
    size_t mask = 0;
    for (char *name = kn_copy(arena, key); name;) {
        char *end = strchr(name, '+');
        if (end)
            *end++ = '\0';
        uint8_t root = kn_root_named(name);
        if (root == KN_NO_ROOT || mask >> root >= 1) /* in order, so that a set has one spelling */
            return 0;
        mask |= (size_t)1 << root;
        name = end;
    }
    return mask;
}

static const char *mask_key(struct kn_arena *arena, size_t mask) {
    const char *key = "";
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        if (mask >> root & 1)
            key = kn_format(arena, "%s%s%s", key, key[0] ? "+" : "", kn_root_name(root));
    return key;
}

static void fill_patterns(const struct source *source, struct rw_prior *prior) {
    bool named[MASKS] = {false};
    size_t unnamed = 0;
    for (size_t mask = 1; mask < MASKS; mask++) {
        size_t row = find(source, "pattern", mask_key(&source->knowledge->arena, mask));
        named[mask] = row != SIZE_MAX;
        prior->pattern[mask] = value_at(source, row, 0);
        unnamed += !named[mask];
    }
    double other = value(source, "pattern", "other", 0);
    for (size_t mask = 1; mask < MASKS; mask++)
        if (!named[mask])
            prior->pattern[mask] = other / (double)unnamed;
    normalise(source, prior->pattern, MASKS, "pattern", "");
}

static void fill_states(const struct source *source, struct rw_prior *prior) {
    struct kn_arena *arena = &source->knowledge->arena;
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        for (size_t state = 1; state < RW_ROOT_STATES; state++) {
            size_t row = find(source, "state", kn_format(arena, "%s:%s", kn_root_name(root), states[state]));
            if (row == SIZE_MAX)
                row = find(source, "state", kn_format(arena, "*:%s", states[state]));
            prior->state[root][state] = value_at(source, row, 0);
        }
        normalise(source, prior->state[root], RW_ROOT_STATES, "state of ", kn_root_name(root));
    }
}

static void fill_sites(const struct source *source, struct rw_prior *prior) {
    const struct rw_model *model = &source->knowledge->model;
    size_t scattered = 0;
    for (size_t i = KN_ROOT_SITES; i < model->site_count; i++) {
        const struct rw_site *site = &model->sites[i];
        double weight = value(source, "site", site->id, 0) * value(source, "region", site->region, 1);
        if (weight <= 0)
            lacks(source, "site ", site->id);
        size_t row = find(source, "complete", site->id);
        if (row == SIZE_MAX)
            row = find(source, "complete", site->region);
        if (row == SIZE_MAX)
            lacks(source, "share of complete for ", site->id);
        double complete = value_at(source, row, 0), odds = value(source, "scattered", site->id, 0);
        prior->site[i][RW_PARTIAL] = weight * (1 - complete);
        prior->site[i][RW_COMPLETE] = weight * complete;
        prior->scattered[i][RW_PARTIAL] = odds * (1 - complete);
        prior->scattered[i][RW_COMPLETE] = odds * complete;
        scattered += odds > 0;
    }
    normalise(source, &prior->site[0][0], (size_t)RW_MAX_SITES * 3, "site", "");
    if ((prior->kind[RW_PRIOR_SCATTERED] > 0) != (scattered >= RW_MIN_SCATTER) ||
        scattered > RW_MAX_SCATTER_SITES)
        lacks(source, "fitting number of scattered sites for its kind", "");
}

/* A factor that every mechanism must have, above 0. */
static double factor(const struct source *source, const char *part, const char *key) {
    double found = value(source, part, key, 0);
    if (found <= 0)
        lacks(source, part, kn_format(&source->knowledge->arena, ":%s above 0", key));
    return found;
}

static bool state_is_known(struct kn_arena *arena, const char *key) {
    const char *colon = strchr(key, ':');
    if (!colon || kn_word_index(colon + 1, states + 1, RW_ROOT_STATES - 1) == RW_ROOT_STATES - 1)
        return false;
    const char *root = kn_format(arena, "%.*s", (int)(colon - key), key);
    return strcmp(root, "*") == 0 || kn_root_named(root) != KN_NO_ROOT;
}

static bool key_is_known(struct knowledge *knowledge, enum part part, const char *key) {
    uint8_t site = kn_site(knowledge, key);
    bool is_site = site != UINT8_MAX && site >= KN_ROOT_SITES, is_region = false;
    for (size_t i = 0; i < knowledge->model.site_count; i++)
        is_region |= strcmp(knowledge->model.sites[i].region, key) == 0;
    switch (part) {
    case KIND:
        return kn_word_index(key, kinds, RW_PRIOR_KIND_COUNT) < RW_PRIOR_KIND_COUNT;
    case PATTERN:
        return strcmp(key, "other") == 0 || mask_of(&knowledge->arena, key) != 0;
    case STATE:
        return state_is_known(&knowledge->arena, key);
    case AGREE:
        return strcmp(key, "complete") == 0 || strcmp(key, "level") == 0;
    case SITE:
    case SCATTERED:
        return is_site;
    case REGION:
        return is_region;
    case SHARE_COMPLETE:
        return is_site || is_region;
    case SAME_REGION:
    case SAME_LEVEL:
    case IN_SERIES:
        return strcmp(key, "factor") == 0;
    case PART_COUNT:
        break;
    }
    return false;
}

static void check_rows(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_PRIORS];
    for (size_t row = 0; row < file->row_count; row++) {
        const char *mechanism = kn_cell(file, row, "mechanism");
        if (strcmp(mechanism, "*") != 0)
            kn_word(file, row, "mechanism", kn_mechanisms, RW_MECHANISM_COUNT);
        enum part part = (enum part)kn_word(file, row, "part", parts, PART_COUNT);
        if (!key_is_known(knowledge, part, kn_cell(file, row, "key")))
            kn_fault(file, row, "unknown key '%s' of %s", kn_cell(file, row, "key"),
                     kn_cell(file, row, "part"));
        double value = kn_number(file, row, "value", 0, part == SHARE_COMPLETE ? 1 : 1e9, NULL);
        if (value <= 0 || (part == SHARE_COMPLETE && value >= 1))
            kn_fault(file, row, "findings could never overcome a prior of 0");
    }
}

/* Scattered sites on the bundles of one target in one variant. */
static size_t scattered_on_the_way(const struct rw_model *model, const struct rw_prior *prior,
                                   const struct rw_range *range) {
    bool seen[RW_MAX_SITES] = {false};
    size_t count = 0;
    for (size_t b = range->first; b < (size_t)range->first + range->count; b++)
        for (size_t s = 0; s < model->bundles[b].site_count; s++) {
            const uint8_t site = model->bundles[b].sites[s];
            count += !seen[site] && prior->scattered[site][RW_PARTIAL] > 0;
            seen[site] = true;
        }
    return count;
}

/* The search keeps a table of 3^k entries for the k scattered sites of a target. */
static void check_scatter(const struct source *source, const struct rw_prior *prior) {
    const struct rw_model *model = &source->knowledge->model;
    for (size_t i = 0; i < model->variant_count * model->target_count; i++)
        if (scattered_on_the_way(model, prior, &model->ranges[i]) > RW_MAX_SCATTER_TOUCH) {
            kn_complain(source->file->log, source->file->path, 1, "%s: too many scattered sites touch '%s'",
                        source->mechanism, model->targets[i % model->target_count].id);
            return;
        }
}

void kn_build_priors(struct knowledge *knowledge) {
    struct rw_prior *priors = kn_new(&knowledge->arena, RW_MECHANISM_COUNT, sizeof *priors);
    size_t before = knowledge->log.count;
    check_rows(knowledge);
    if (knowledge->log.count != before)
        return;
    for (size_t i = 0; i < RW_MECHANISM_COUNT; i++) {
        struct rw_prior *prior = &priors[i];
        const struct source source = {knowledge, &knowledge->files[KN_PRIORS], kn_mechanisms[i]};
        for (size_t kind = 0; kind < RW_PRIOR_KIND_COUNT; kind++)
            prior->kind[kind] = value(&source, "kind", kinds[kind], 0);
        normalise(&source, prior->kind, RW_PRIOR_KIND_COUNT, "kind", "");
        fill_patterns(&source, prior);
        fill_states(&source, prior);
        fill_sites(&source, prior);
        all_possible(&source, prior->kind, 0, RW_PRIOR_SCATTERED, "kind"); /* few mechanisms scatter */
        all_possible(&source, prior->pattern, 1, sizeof prior->pattern / sizeof *prior->pattern, "pattern");
        for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
            all_possible(&source, prior->state[root], 1, RW_ROOT_STATES, "state");
        prior->agree_complete = factor(&source, "agree", "complete");
        prior->agree_level = factor(&source, "agree", "level");
        prior->same_region = factor(&source, "same_region", "factor");
        prior->same_level = factor(&source, "same_level", "factor");
        prior->in_series = factor(&source, "in_series", "factor");
        check_scatter(&source, prior);
    }
    knowledge->model.priors = priors;
}
