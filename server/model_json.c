/* GET /v1/model: the tables that a posterior is computed from, number for number, with their sources. */
#include "json_writer.h"
#include "records.h"
#include "wording.h"

static const char *const section_ids[RW_SECTION_COUNT] = {
#define X(name, text) text,
    RW_SECTIONS(X)
#undef X
};
static const char *const severities[] = {"intact", "partial", "complete"};

static void key_target(struct rw_json *json, const char *key, uint16_t target) {
    char name[160];
    rw_json_key(json, key);
    if (target == RW_NONE)
        rw_json_null(json);
    else
        rw_json_string(json, rw_target_name(target, name, sizeof name));
}

static void key_exacts(struct rw_json *json, const char *key, const double *values, size_t count) {
    rw_json_key_open(json, key, '[');
    for (size_t i = 0; i < count; i++)
        rw_json_exact(json, values[i]);
    rw_json_close(json, ']');
}

/* ---- anatomy ---- */

static void write_sites(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "sites", '[');
    for (size_t i = 0; i < model->site_count; i++) {
        const struct rw_site *site = &model->sites[i];
        rw_json_open(json, '{');
        rw_json_key_string(json, "site", site->id);
        rw_json_key_string(json, "level", rw_level_name(site->level));
        rw_json_key_string(json, "name", site->name);
        rw_json_key_string(json, "part", site->part);
        rw_json_key_string(json, "relation", site->relation);
        rw_json_key_string(json, "region", site->region);
        rw_json_key_integer(json, "depth", site->depth);
        rw_json_key_string(json, "label", site->label);
        rw_json_key_string(json, "source", site->source);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_targets(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "targets", '[');
    for (size_t i = 0; i < model->target_count; i++) {
        rw_json_open(json, '{');
        key_target(json, "target", (uint16_t)i);
        rw_json_key_string(json, "label", model->targets[i].label);
        rw_json_key_string(json, "source", model->targets[i].source);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_key_open(json, "combinations", '[');
    for (size_t i = 0; i < model->member_count; i++) {
        rw_json_open(json, '{');
        key_target(json, "owner", model->members[i].owner);
        key_target(json, "muscle", model->members[i].muscle);
        rw_json_key_exact(json, "share", model->members[i].share);
        rw_json_key_string(json, "role", model->members[i].role);
        rw_json_key_string(json, "source", model->members[i].source);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_bundles(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "bundles", '[');
    for (size_t i = 0; i < model->bundle_count; i++) {
        const struct rw_bundle *bundle = &model->bundles[i];
        rw_json_open(json, '{');
        key_target(json, "target", bundle->target);
        rw_json_key_string(json, "root", rw_segment_name((enum rw_segment)bundle->segment));
        rw_json_key_exact(json, "weight", bundle->weight);
        rw_json_key_open(json, "sites", '[');
        for (size_t s = 0; s < bundle->site_count; s++)
            rw_json_string(json, model->sites[bundle->sites[s]].id);
        rw_json_close(json, ']');
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* Which bundles feed a target in a variant, as places in the list of bundles; only where it differs from the
 * first variant, which tells of all. */
static void write_variants(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "variants", '[');
    for (size_t v = 0; v < model->variant_count; v++) {
        const struct rw_variant *variant = &model->variants[v];
        rw_json_open(json, '{');
        rw_json_key_string(json, "variant", variant->id);
        rw_json_key_string(json, "label", variant->label);
        rw_json_key_exact(json, "prevalence", variant->prevalence);
        rw_json_key_string(json, "source", variant->source);
        rw_json_key_open(json, "bundles", '{');
        for (size_t t = 0; t < model->target_count; t++) {
            char name[160];
            const struct rw_range range = model->ranges[v * model->target_count + t];
            const struct rw_range usual = model->ranges[t];
            if (v > 0 ? range.first == usual.first && range.count == usual.count : range.count == 0)
                continue;
            rw_json_key_open(json, rw_target_name((uint16_t)t, name, sizeof name), '[');
            for (size_t b = 0; b < range.count; b++)
                rw_json_integer(json, (int64_t)(range.first + b));
            rw_json_close(json, ']');
        }
        rw_json_close(json, '}');
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* ---- likelihoods ---- */

static void write_table(struct rw_json *json, const struct rw_table *table) {
    static const char *const spreads[RW_SPREAD_COUNT] = {
        [RW_SPREAD_SHARP] = "sharp", [RW_SPREAD_UNEVEN] = "uneven"};
    const size_t width = table->observation_count;
    rw_json_open(json, '{');
    rw_json_key_string(json, "table", table->id);
    rw_json_key_open(json, "observations", '[');
    for (size_t o = 0; o < width; o++)
        rw_json_string(json, table->observations[o]);
    rw_json_close(json, ']');
    rw_json_key_exact(json, "min_days", table->min_days);
    rw_json_key_exact(json, "full_days", table->full_days);
    rw_json_key_exact(json, "filled_outlier", table->filled_outlier);
    key_exacts(json, "outside", table->outside, width);
    for (size_t spread = 0; spread < RW_SPREAD_COUNT; spread++) {
        rw_json_key_open(json, spreads[spread], '[');
        for (size_t i = 0; i < RW_GRID; i++) {
            rw_json_open(json, '[');
            for (size_t o = 0; o < width; o++)
                rw_json_exact(json, table->probability[(spread * RW_GRID + i) * width + o]);
            rw_json_close(json, ']');
        }
        rw_json_close(json, ']');
    }
    rw_json_key_string(json, "source", table->source);
    rw_json_close(json, '}');
}

static void write_scale(struct rw_json *json, const struct rw_scale *scale) {
    rw_json_open(json, '{');
    rw_json_key_string(json, "scale", scale->id);
    rw_json_key_string(json, "normal", scale->values[scale->normal].text);
    rw_json_key_open(json, "values", '[');
    for (size_t v = 0; v < scale->value_count; v++) {
        const struct rw_value *value = &scale->values[v];
        rw_json_open(json, '{');
        rw_json_key_string(json, "value", value->text);
        rw_json_key_open(json, "observations", '[');
        for (size_t o = 0; o < value->count; o++) {
            rw_json_open(json, '[');
            rw_json_integer(json, value->observation[o]);
            rw_json_exact(json, value->weight[o]);
            rw_json_close(json, ']');
        }
        rw_json_close(json, ']');
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    rw_json_close(json, '}');
}

static void write_checks(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "checks", '[');
    for (size_t i = 0; i < model->check_count; i++) {
        const struct rw_check *check = &model->checks[i];
        rw_json_open(json, '{');
        rw_json_key_string(json, "section", section_ids[check->section]);
        rw_json_key_string(json, "item", check->item);
        key_target(json, "target", check->target);
        rw_json_key_string(json, "table", check->table == RW_NONE ? NULL : model->tables[check->table].id);
        rw_json_key_string(json, "scale", model->scales[check->scale].id);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_likelihoods(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "likelihoods", '{');
    rw_json_key_integer(json, "grid", RW_GRID); /* intact fraction 0, 1 / (grid - 1) … 1 */
    write_checks(json);
    rw_json_key_open(json, "scales", '[');
    for (size_t i = 0; i < model->scale_count; i++)
        write_scale(json, &model->scales[i]);
    rw_json_close(json, ']');
    rw_json_key_open(json, "tables", '[');
    for (size_t i = 0; i < model->table_count; i++)
        write_table(json, &model->tables[i]);
    rw_json_close(json, ']');
    rw_json_close(json, '}');
}

/* ---- priors ---- */

static void write_root_states(struct rw_json *json, const struct rw_prior *prior) {
    static const char *const states[RW_ROOT_STATES] = {
        "intact",         "pre_partial",     "pre_complete", "proximal_partial", "proximal_complete",
        "distal_partial", "distal_complete", "double"};
    rw_json_key_open(json, "state", '{');
    for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++) {
        rw_json_key_open(json, rw_segment_name((enum rw_segment)(RW_SEGMENT_C5 + r)), '{');
        for (size_t s = 0; s < RW_ROOT_STATES; s++)
            rw_json_key_exact(json, states[s], prior->state[r][s]);
        rw_json_close(json, '}');
    }
    rw_json_close(json, '}');
}

static void write_site_priors(struct rw_json *json, const struct rw_prior *prior) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "site", '{');
    for (size_t i = 0; i < model->site_count; i++) {
        if (model->sites[i].root < RW_PLEXUS_ROOTS)
            continue;
        rw_json_key_open(json, model->sites[i].id, '{');
        for (size_t s = RW_PARTIAL; s <= RW_COMPLETE; s++)
            rw_json_key_exact(json, severities[s], prior->site[i][s]);
        rw_json_close(json, '}');
    }
    rw_json_close(json, '}');
}

/* Odds of the sites that a scattered disease picks from; empty for mechanisms that never scatter. */
static void write_scattered(struct rw_json *json, const struct rw_prior *prior) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "scattered", '{');
    for (size_t i = 0; i < model->site_count; i++) {
        if (!(prior->scattered[i][RW_PARTIAL] > 0.0))
            continue;
        rw_json_key_open(json, model->sites[i].id, '{');
        for (size_t s = RW_PARTIAL; s <= RW_COMPLETE; s++)
            rw_json_key_exact(json, severities[s], prior->scattered[i][s]);
        rw_json_close(json, '}');
    }
    rw_json_close(json, '}');
}

static void write_prior(struct rw_json *json, const struct rw_prior *prior) {
    static const char *const kinds[RW_PRIOR_KIND_COUNT] = {
        [RW_PRIOR_NONE] = "none",
        [RW_PRIOR_OUTSIDE] = "outside",
        [RW_PRIOR_ROOTS] = "roots",
        [RW_PRIOR_SINGLE] = "single",
        [RW_PRIOR_PAIR] = "pair",
        [RW_PRIOR_TRIPLE] = "triple",
        [RW_PRIOR_ROOTS_AND_ONE] = "roots_and_one",
        [RW_PRIOR_ROOT_AND_TWO] = "root_and_two",
        [RW_PRIOR_SCATTERED] = "scattered",
    };
    rw_json_open(json, '{');
    rw_json_key_open(json, "kind", '{');
    for (size_t i = 0; i < RW_PRIOR_KIND_COUNT; i++)
        rw_json_key_exact(json, kinds[i], prior->kind[i]);
    rw_json_close(json, '}');
    key_exacts(json, "pattern", prior->pattern, 32); /* by mask of injured roots, bit 0 = C5 */
    write_root_states(json, prior);
    rw_json_key_exact(json, "agree_complete", prior->agree_complete);
    rw_json_key_exact(json, "agree_level", prior->agree_level);
    write_site_priors(json, prior);
    rw_json_key_exact(json, "same_region", prior->same_region);
    rw_json_key_exact(json, "same_level", prior->same_level);
    rw_json_key_exact(json, "in_series", prior->in_series);
    write_scattered(json, prior);
    rw_json_close(json, '}');
}

static void write_priors(struct rw_json *json) {
    rw_json_key_open(json, "priors", '{');
    for (int m = 0; m < RW_MECHANISM_COUNT; m++) {
        rw_json_key(json, rw_mechanism_name((enum rw_mechanism)m));
        write_prior(json, &rw_model()->priors[m]);
    }
    rw_json_close(json, '}');
}

static void write_facts(struct rw_json *json) {
    const struct rw_model *model = rw_model();
    rw_json_key_open(json, "facts", '[');
    for (size_t i = 0; i < model->fact_count; i++) {
        rw_json_open(json, '{');
        rw_json_key_string(json, "fact", model->facts[i].id);
        rw_json_key_exact(json, "value", model->facts[i].value);
        rw_json_key_string(json, "unit", model->facts[i].unit);
        rw_json_key_string(json, "source", model->facts[i].source);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

char *rw_model_json(size_t *size) {
    const struct rw_model *model = rw_model();
    struct rw_json json = {0};
    rw_json_open(&json, '{');
    rw_json_key_string(&json, "version", model->version);
    rw_json_key_string(&json, "knowledge", model->digest);
    write_sites(&json);
    write_targets(&json);
    write_bundles(&json);
    write_variants(&json);
    write_likelihoods(&json);
    write_priors(&json);
    write_facts(&json);
    rw_json_close(&json, '}');
    return rw_buffer_take(&json.out, size);
}
