/* Rules beside the model, and the cautions, which are rules that always hold. */
#include "knowledge.h"

#include <stdlib.h>
#include <string.h>

static bool is_label(const struct knowledge *knowledge, const char *kind, const char *word) {
    const struct kn_file *labels = &knowledge->files[KN_LABELS];
    for (size_t row = 0; row < labels->row_count; row++)
        if (kn_is(labels, row, "kind", kind) && kn_is(labels, row, "id", word))
            return true;
    return false;
}

static bool is_scale_value(const struct knowledge *knowledge, const char *id, const char *word) {
    const uint8_t scale = kn_scale(knowledge, id);
    for (size_t i = 0; scale != UINT8_MAX && i < knowledge->model.scales[scale].value_count; i++)
        if (strcmp(knowledge->model.scales[scale].values[i].text, word) == 0)
            return true;
    return false;
}

static bool is_region(const struct knowledge *knowledge, const char *word) {
    for (size_t i = 0; i < knowledge->model.site_count; i++)
        if (strcmp(knowledge->model.sites[i].region, word) == 0)
            return true;
    return strcmp(word, "anywhere") == 0;
}

static bool is_number(const char *word, unsigned long most) {
    return word[0] != '\0' && strlen(word) <= 5 && strspn(word, "0123456789") == strlen(word) &&
           strtoul(word, NULL, 10) <= most;
}

/* Whether a word may stand behind a condition's colon (lib/rules.h says what each means). */
static bool word_is_known(const struct knowledge *knowledge, const char *condition, const char *word) {
    static const char *const pairs[][2] = {
        {"lesion", "likely"}, {"roots", "preganglionic"}, {"onset", "unknown"}};
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++)
        if (strcmp(condition, pairs[i][0]) == 0)
            return strcmp(word, pairs[i][1]) == 0;
    if (strcmp(condition, "sign") == 0)
        return is_label(knowledge, "sign", word);
    if (strcmp(condition, "useless") == 0)
        return is_label(knowledge, "function", word);
    if (strcmp(condition, "mechanism") == 0)
        return kn_word_index(word, kn_mechanisms, RW_MECHANISM_COUNT) < RW_MECHANISM_COUNT;
    if (strcmp(condition, "hemidiaphragm") == 0 || strcmp(condition, "reflex") == 0)
        return is_scale_value(knowledge, condition, word);
    if (strcmp(condition, "complete") == 0)
        return is_region(knowledge, word);
    if (strcmp(condition, "motionless_over_percent") == 0)
        return is_number(word, 99);
    if (strcmp(condition, "delay_over_days") == 0 || strcmp(condition, "delay_within_days") == 0)
        return is_number(word, 99999);
    return false;
}

/* Checks `condition:word` or `condition:word|word…`, all of which must hold, in the `when` of a rule. */
static void check_when(struct knowledge *knowledge, const struct kn_file *file, size_t row) {
    const char *const *terms = NULL;
    size_t count = kn_split(&knowledge->arena, kn_cell(file, row, "when"), &terms);
    for (size_t i = 0; i < count; i++) {
        const char *colon = strchr(terms[i], ':');
        if (!colon) {
            kn_fault(file, row, "'%s' is not condition:word", terms[i]);
            continue;
        }
        const char *condition = kn_format(&knowledge->arena, "%.*s", (int)(colon - terms[i]), terms[i]);
        for (const char *word = colon; word;) {
            const char *bar = strchr(word + 1, '|');
            int length = bar ? (int)(bar - word - 1) : (int)strlen(word + 1);
            const char *text = kn_format(&knowledge->arena, "%.*s", length, word + 1);
            if (!word_is_known(knowledge, condition, text))
                kn_fault(file, row, "unknown condition '%s:%s'", condition, text);
            word = bar;
        }
    }
}

void kn_build_rules(struct knowledge *knowledge) {
    static const char *const kinds[] = {"urgent", "referral"};
    static const char *const how_soon[] = {"immediate", "days", "weeks", "routine"};
    const struct kn_file *file = &knowledge->files[KN_RULES], *cautions = &knowledge->files[KN_CAUTIONS];
    size_t count = file->row_count + cautions->row_count;
    struct rw_rule *rules = kn_new(&knowledge->arena, count, sizeof *rules);
    for (size_t row = 0; row < file->row_count; row++) {
        check_when(knowledge, file, row);
        rules[row] = (struct rw_rule){
            .id = kn_cell(file, row, "id"),
            .kind = kinds[kn_word(file, row, "kind", kinds, 2)],
            .when = kn_cell(file, row, "when"),
            .text = kn_cell(file, row, "text"),
            .source = kn_cell(file, row, "source"),
            .how_soon = (enum rw_how_soon)kn_word(file, row, "how_soon", how_soon, 4),
        };
    }
    for (size_t row = 0; row < cautions->row_count; row++) {
        if (kn_find(file, "id", kn_cell(cautions, row, "id")) != SIZE_MAX)
            kn_fault(cautions, row, "a rule has the id '%s'", kn_cell(cautions, row, "id"));
        rules[file->row_count + row] = (struct rw_rule){.id = kn_cell(cautions, row, "id"),
                                                        .kind = "caution",
                                                        .when = "-",
                                                        .text = kn_cell(cautions, row, "text"),
                                                        .source = kn_cell(cautions, row, "source"),
                                                        .how_soon = RW_SOON_ROUTINE};
    }
    if (count > RW_MAX_RULES)
        kn_complain(file->log, file->path, 1, "more than %d rules and cautions", RW_MAX_RULES);
    knowledge->model.rules = rules;
    knowledge->model.rule_count = count;
}
