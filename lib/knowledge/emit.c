/* Writes the model as C. Doubles are printed so that they read back exactly. */
#include "knowledge.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

/* A string literal; bytes that C could misread are escaped in octal. */
static void put_text(FILE *out, const char *text) {
    if (!text) {
        fputs("NULL", out);
        return;
    }
    fputc('"', out);
    for (const unsigned char *at = (const unsigned char *)text; *at; at++) {
        if (*at < ' ' || *at >= 0x7f || *at == '"' || *at == '\\' || *at == '?')
            fprintf(out, "\\%03o", *at);
        else
            fputc(*at, out);
    }
    fputc('"', out);
}

static void text_field(FILE *out, const char *name, const char *text) {
    fprintf(out, ".%s = ", name);
    put_text(out, text);
    fputs(", ", out);
}

static void put_number(FILE *out, double value) {
    if (isnan(value))
        fputs("(double)NAN", out);
    else
        fprintf(out, "%.17g", value);
}

static void number_field(FILE *out, const char *name, double value) {
    fprintf(out, ".%s = ", name);
    put_number(out, value);
    fputs(", ", out);
}

static void put_numbers(FILE *out, const double *values, size_t count) {
    fputs("{", out);
    for (size_t i = 0; i < count; i++) {
        if (i > 0)
            fputs(i % 6 == 0 ? ",\n     " : ", ", out);
        put_number(out, values[i]);
    }
    fputs("}", out);
}

static void put_indices(FILE *out, const char *name, const uint16_t *indices, size_t count) {
    if (count == 0)
        return;
    fprintf(out, ".%s = {", name);
    for (size_t i = 0; i < count; i++)
        fprintf(out, "%s%u", i > 0 ? ", " : "", (unsigned)indices[i]);
    fputs("}, ", out);
}

static void index_field(FILE *out, const char *name, uint16_t index) {
    if (index == RW_NONE)
        fprintf(out, ".%s = RW_NONE, ", name);
    else
        fprintf(out, ".%s = %u, ", name, (unsigned)index);
}

static void emit_sites(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_site sites[] = {\n", out);
    for (size_t i = 0; i < model->site_count; i++) {
        const struct rw_site *site = &model->sites[i];
        fputs("    {", out);
        text_field(out, "id", site->id);
        text_field(out, "name", site->name);
        text_field(out, "part", site->part);
        text_field(out, "label", site->label);
        text_field(out, "region", site->region);
        text_field(out, "relation", site->relation);
        text_field(out, "source", site->source);
        fprintf(out, ".level = %d, .root = %u, .depth = %u},\n", (int)site->level, (unsigned)site->root,
                (unsigned)site->depth);
    }
    fputs("};\n\n", out);
}

static void emit_targets(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_target targets[] = {\n", out);
    for (size_t i = 0; i < model->target_count; i++) {
        const struct rw_target *target = &model->targets[i];
        fputs("    {", out);
        text_field(out, "id", target->id);
        text_field(out, "label", target->label);
        text_field(out, "help", target->help);
        text_field(out, "source", target->source);
        fprintf(out, ".kind = %d, .entry = %d},\n", (int)target->kind, (int)target->entry);
    }
    fputs("};\n\nstatic const struct rw_member members[] = {\n", out);
    for (size_t i = 0; i < model->member_count; i++) {
        const struct rw_member *member = &model->members[i];
        fprintf(out, "    {.owner = %u, .muscle = %u, ", (unsigned)member->owner, (unsigned)member->muscle);
        number_field(out, "share", member->share);
        text_field(out, "role", member->role);
        text_field(out, "source", member->source);
        fputs("},\n", out);
    }
    fputs("};\n\n", out);
}

/* First earlier bundle with the same list of sites, or the bundle itself. */
static size_t first_with_sites(const struct rw_model *model, size_t bundle) {
    const struct rw_bundle *bundles = model->bundles;
    size_t i = 0;
    while (i < bundle && (bundles[i].site_count != bundles[bundle].site_count ||
                          memcmp(bundles[i].sites, bundles[bundle].sites, bundles[i].site_count) != 0))
        i++;
    return i;
}

static bool emit_bundles(const struct rw_model *model, FILE *out) {
    size_t *offsets = calloc(model->bundle_count, sizeof *offsets), length = 0;
    if (!offsets)
        return false;
    fputs("static const uint8_t paths[] = {", out);
    for (size_t i = 0; i < model->bundle_count; i++) {
        size_t first = first_with_sites(model, i);
        offsets[i] = first < i ? offsets[first] : length;
        if (first < i)
            continue;
        fputs("\n    ", out);
        for (size_t j = 0; j < model->bundles[i].site_count; j++)
            fprintf(out, "%u, ", (unsigned)model->bundles[i].sites[j]);
        length += model->bundles[i].site_count;
    }
    fputs("\n    0};\n\nstatic const struct rw_bundle bundles[] = {\n", out);
    for (size_t i = 0; i < model->bundle_count; i++) {
        const struct rw_bundle *bundle = &model->bundles[i];
        fprintf(out,
                "    {.target = %u, .segment = %u, .entry = %u, .site_count = %u, .sites = paths + %zu, ",
                (unsigned)bundle->target, (unsigned)bundle->segment, (unsigned)bundle->entry,
                (unsigned)bundle->site_count, offsets[i]);
        number_field(out, "weight", bundle->weight);
        fputs("},\n", out);
    }
    fputs("};\n\n", out);
    free(offsets);
    return true;
}

static void emit_variants(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_variant variants[] = {\n", out);
    for (size_t i = 0; i < model->variant_count; i++) {
        const struct rw_variant *variant = &model->variants[i];
        fputs("    {", out);
        text_field(out, "id", variant->id);
        text_field(out, "label", variant->label);
        number_field(out, "prevalence", variant->prevalence);
        text_field(out, "source", variant->source);
        fputs("},\n", out);
    }
    fputs("};\n\nstatic const struct rw_range ranges[] = {", out);
    for (size_t i = 0; i < model->variant_count * model->target_count; i++)
        fprintf(out, "%s{%u, %u},", i % 8 == 0 ? "\n    " : " ", (unsigned)model->ranges[i].first,
                (unsigned)model->ranges[i].count);
    fputs("\n};\n\n", out);
}

static void emit_tables(const struct rw_model *model, FILE *out) {
    for (size_t i = 0; i < model->table_count; i++) {
        const struct rw_table *table = &model->tables[i];
        fprintf(out, "/* %s */\nstatic const char *const observations_%zu[] = {", table->id, i);
        for (size_t o = 0; o < table->observation_count; o++) {
            fputs(o > 0 ? ", " : "", out);
            put_text(out, table->observations[o]);
        }
        fprintf(out, "};\nstatic const double outside_%zu[] = ", i);
        put_numbers(out, table->outside, table->observation_count);
        fprintf(out, ";\nstatic const double probability_%zu[] =\n    ", i);
        put_numbers(out, table->probability, (size_t)RW_SPREAD_COUNT * RW_GRID * table->observation_count);
        fputs(";\n\n", out);
    }
    fputs("static const struct rw_table tables[] = {\n", out);
    for (size_t i = 0; i < model->table_count; i++) {
        const struct rw_table *table = &model->tables[i];
        fputs("    {", out);
        text_field(out, "id", table->id);
        fprintf(out, ".observation_count = %u, .observations = observations_%zu, ",
                (unsigned)table->observation_count, i);
        number_field(out, "min_days", table->min_days);
        number_field(out, "full_days", table->full_days);
        number_field(out, "filled_outlier", table->filled_outlier);
        fprintf(out, ".probability = probability_%zu, .outside = outside_%zu, ", i, i);
        text_field(out, "source", table->source);
        fputs("},\n", out);
    }
    fputs("};\n\n", out);
}

static void emit_scales(const struct rw_model *model, FILE *out) {
    for (size_t i = 0; i < model->scale_count; i++) {
        fprintf(out, "static const struct rw_value values_%zu[] = {\n", i);
        for (size_t j = 0; j < model->scales[i].value_count; j++) {
            const struct rw_value *value = &model->scales[i].values[j];
            fputs("    {", out);
            text_field(out, "text", value->text);
            fprintf(out, ".count = %u, .observation = {%u, %u}, .weight = ", (unsigned)value->count,
                    (unsigned)value->observation[0], (unsigned)value->observation[1]);
            put_numbers(out, value->weight, 2);
            fputs("},\n", out);
        }
        fputs("};\n", out);
    }
    fputs("\nstatic const struct rw_scale scales[] = {\n", out);
    for (size_t i = 0; i < model->scale_count; i++) {
        fputs("    {", out);
        text_field(out, "id", model->scales[i].id);
        fprintf(out, ".value_count = %u, .values = values_%zu, .normal = %u},\n",
                (unsigned)model->scales[i].value_count, i, (unsigned)model->scales[i].normal);
    }
    fputs("};\n\n", out);
}

static void emit_checks(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_check checks[] = {\n", out);
    for (size_t i = 0; i < model->check_count; i++) {
        const struct rw_check *check = &model->checks[i];
        fprintf(out, "    {.section = %d, ", (int)check->section);
        text_field(out, "item", check->item);
        text_field(out, "label", check->label);
        text_field(out, "help", check->help);
        index_field(out, "target", check->target);
        index_field(out, "table", check->table);
        fprintf(out, ".scale = %u, .standard = %s, .bedside_order = %u},\n", (unsigned)check->scale,
                check->standard ? "true" : "false", (unsigned)check->bedside_order);
    }
    fputs("};\n\n", out);
}

static void emit_priors(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_prior priors[] = {\n", out);
    for (size_t i = 0; i < RW_MECHANISM_COUNT; i++) {
        const struct rw_prior *prior = &model->priors[i];
        fprintf(out, "    /* %s */\n    {.kind = ", kn_mechanisms[i]);
        put_numbers(out, prior->kind, RW_PRIOR_KIND_COUNT);
        fputs(",\n     .pattern = ", out);
        put_numbers(out, prior->pattern, sizeof prior->pattern / sizeof *prior->pattern);
        fputs(",\n     .state = {", out);
        for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
            put_numbers(out, prior->state[root], RW_ROOT_STATES);
            fputs(",\n     ", out);
        }
        fputs("},\n     ", out);
        number_field(out, "agree_complete", prior->agree_complete);
        number_field(out, "agree_level", prior->agree_level);
        number_field(out, "same_region", prior->same_region);
        number_field(out, "same_level", prior->same_level);
        number_field(out, "in_series", prior->in_series);
        fputs("\n     .site = {\n     ", out);
        for (size_t site = 0; site < model->site_count; site++) {
            put_numbers(out, prior->site[site], 3);
            fputs(",\n     ", out);
        }
        fputs("},\n     .scattered = {\n     ", out);
        for (size_t site = 0; site < model->site_count; site++) {
            put_numbers(out, prior->scattered[site], 3);
            fputs(",\n     ", out);
        }
        fputs("}},\n", out);
    }
    fputs("};\n\n", out);
}

static void emit_numbers(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_fact facts[] = {\n", out);
    for (size_t i = 0; i < model->fact_count; i++) {
        fputs("    {", out);
        text_field(out, "id", model->facts[i].id);
        text_field(out, "unit", model->facts[i].unit);
        text_field(out, "source", model->facts[i].source);
        number_field(out, "value", model->facts[i].value);
        fputs("},\n", out);
    }
    fputs("};\n\nstatic const struct rw_distance distances[] = {\n", out);
    for (size_t i = 0; i < model->distance_count; i++) {
        const struct rw_distance *distance = &model->distances[i];
        fprintf(out, "    {.muscle = %u, ", (unsigned)distance->muscle);
        number_field(out, "from_foramen_mm", distance->from_foramen_mm);
        number_field(out, "low_mm", distance->low_mm);
        number_field(out, "high_mm", distance->high_mm);
        text_field(out, "source", distance->source);
        fputs("},\n", out);
    }
    fputs("};\n\nstatic const struct rw_site_distance site_distances[] = {\n", out);
    for (size_t i = 0; i < model->site_distance_count; i++) {
        fprintf(out, "    {.site = %u, ", (unsigned)model->site_distances[i].site);
        number_field(out, "from_foramen_mm", model->site_distances[i].from_foramen_mm);
        text_field(out, "source", model->site_distances[i].source);
        fputs("},\n", out);
    }
    fputs("};\n\n", out);
}

static void put_spends(FILE *out, const struct rw_donor *donor) {
    if (donor->spend_count == 0)
        return;
    fprintf(out, ".spend_count = %u, .spends = {", (unsigned)donor->spend_count);
    for (size_t i = 0; i < donor->spend_count; i++)
        fprintf(out, "{.muscle = %u, .share = %.17g},", (unsigned)donor->spends[i].muscle,
                donor->spends[i].share);
    fputs("}, ", out);
}

static void put_stump(FILE *out, const struct rw_donor *donor) {
    if (donor->stump_count == 0)
        return;
    fprintf(out, ".stump_count = %u, .stump = {", (unsigned)donor->stump_count);
    for (size_t i = 0; i < donor->stump_count; i++)
        fprintf(out, "%u,", (unsigned)donor->stump[i]);
    fputs("}, ", out);
}

static void emit_donors(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_donor donors[] = {\n", out);
    for (size_t i = 0; i < model->donor_count; i++) {
        const struct rw_donor *donor = &model->donors[i];
        fputs("    {", out);
        text_field(out, "id", donor->id);
        text_field(out, "label", donor->label);
        text_field(out, "nerve", donor->nerve);
        text_field(out, "source", donor->source);
        fprintf(out, ".test_count = %u, ", (unsigned)donor->test_count);
        put_indices(out, "tests", donor->tests, donor->test_count);
        put_spends(out, donor);
        put_stump(out, donor);
        fprintf(out, ".chest = %s},\n", donor->chest ? "true" : "false");
    }
    fputs("};\n\n", out);
}

static void emit_transfers(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_transfer transfers[] = {\n", out);
    for (size_t i = 0; i < model->transfer_count; i++) {
        const struct rw_transfer *transfer = &model->transfers[i];
        fputs("    {", out);
        text_field(out, "id", transfer->id);
        text_field(out, "label", transfer->label);
        text_field(out, "kind", transfer->kind);
        text_field(out, "recipient", transfer->recipient);
        text_field(out, "source", transfer->source);
        index_field(out, "donor", transfer->donor);
        fprintf(out, ".muscle_count = %u, .function_count = %u, ", (unsigned)transfer->muscle_count,
                (unsigned)transfer->function_count);
        put_indices(out, "muscles", transfer->muscles, transfer->muscle_count);
        put_indices(out, "functions", transfer->functions, transfer->function_count);
        fprintf(out, ".area_count = %u, ", (unsigned)transfer->area_count);
        put_indices(out, "areas", transfer->areas, transfer->area_count);
        fprintf(out, ".need_count = %u, ", (unsigned)transfer->need_count);
        put_indices(out, "needs", transfer->needs, transfer->need_count);
        text_field(out, "family", transfer->family);
        text_field(out, "after", transfer->after);
        number_field(out, "latest_months", transfer->latest_months);
        fprintf(out, ".cuts = %s, ", transfer->cuts ? "true" : "false");
        fprintf(out, ".graft = %s, .memory = %s, ", transfer->graft ? "true" : "false",
                transfer->memory ? "true" : "false");
        number_field(out, "axon_ratio", transfer->axon_ratio);
        number_field(out, "distance_mm", transfer->distance_mm);
        text_field(out, "conflicts", transfer->conflicts);
        number_field(out, "successes", transfer->successes);
        number_field(out, "patients", transfer->patients);
        number_field(out, "effective_successes", transfer->effective_successes);
        number_field(out, "effective_patients", transfer->effective_patients);
        fputs("},\n", out);
    }
    fputs("};\n\n", out);
}

static void emit_rules(const struct rw_model *model, FILE *out) {
    fputs("static const struct rw_rule rules[] = {\n", out);
    for (size_t i = 0; i < model->rule_count; i++) {
        const struct rw_rule *rule = &model->rules[i];
        fputs("    {", out);
        text_field(out, "id", rule->id);
        text_field(out, "kind", rule->kind);
        text_field(out, "when", rule->when);
        text_field(out, "text", rule->text);
        text_field(out, "source", rule->source);
        fprintf(out, ".how_soon = %d},\n", (int)rule->how_soon);
    }
    fputs("};\n\n", out);
}

static void emit_model(const struct rw_model *model, FILE *out) {
    static const char *const pointers[] = {
        "sites",  "targets", "bundles", "members", "variants", "ranges",    "tables",    "scales",
        "checks", "priors",  "facts",   "donors",  "rules",    "transfers", "distances", "site_distances"};
    const struct {
        const char *name;
        size_t count;
    } counts[] = {{"site", model->site_count},         {"target", model->target_count},
                  {"bundle", model->bundle_count},     {"member", model->member_count},
                  {"variant", model->variant_count},   {"table", model->table_count},
                  {"scale", model->scale_count},       {"check", model->check_count},
                  {"fact", model->fact_count},         {"distance", model->distance_count},
                  {"donor", model->donor_count},       {"site_distance", model->site_distance_count},
                  {"transfer", model->transfer_count}, {"rule", model->rule_count}};
    fputs("static const struct rw_model model = {\n    .version = RW_VERSION,\n    ", out);
    text_field(out, "digest", model->digest);
    fprintf(out, "\n    .partial_loss = {%.17g, %.17g},\n", model->partial_loss[0], model->partial_loss[1]);
    for (size_t i = 0; i < sizeof pointers / sizeof *pointers; i++)
        fprintf(out, "    .%s = %s,\n", pointers[i], pointers[i]);
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++)
        fprintf(out, "    .%s_count = %zu,\n", counts[i].name, counts[i].count);
    fputs("};\n\nconst struct rw_model *rw_model(void) {\n    return &model;\n}\n", out);
}

bool kn_emit(const struct rw_model *model, FILE *out) {
    fputs("/* generated by lib/knowledge/compile.c, do not edit */\n#include \"rootward.h\"\n\n#include "
          "<math.h>\n\n"
          "#pragma GCC diagnostic ignored \"-Woverlength-strings\" /* lists of sources */\n\n",
          out);
    emit_sites(model, out);
    emit_targets(model, out);
    if (!emit_bundles(model, out))
        return false;
    emit_variants(model, out);
    emit_tables(model, out);
    emit_scales(model, out);
    emit_checks(model, out);
    emit_priors(model, out);
    emit_numbers(model, out);
    emit_donors(model, out);
    emit_transfers(model, out);
    emit_rules(model, out);
    emit_model(model, out);
    return !ferror(out);
}
