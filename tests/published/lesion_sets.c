#include "lesion_sets.h"

#include "sheet.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static uint64_t element_by_key(struct lesion_names *names, const char *key) {
    size_t i = 0;
    while (i < names->count && strcmp(names->text[i], key) != 0)
        i++;
    if (i == LESION_NAMES) {
        fprintf(stderr, "more than %d lesion names\n", (int)LESION_NAMES);
        abort();
    }
    if (i == names->count)
        (void)snprintf(names->text[names->count++], sizeof names->text[0], "%s", key);
    return UINT64_C(1) << i;
}

uint64_t lesion_element(struct lesion_names *names, const char *level, const char *name) {
    static const struct {
        const char *trunk, *roots[2];
    } trunks[] = {
        {"upper", {"root:C5", "root:C6"}}, {"middle", {"root:C7", NULL}}, {"lower", {"root:C8", "root:T1"}}};
    for (size_t i = 0; strcmp(level, "trunk") == 0 && i < sizeof trunks / sizeof *trunks; i++) {
        if (strcmp(name, trunks[i].trunk) != 0)
            continue;
        uint64_t set = element_by_key(names, trunks[i].roots[0]);
        return trunks[i].roots[1] ? set | element_by_key(names, trunks[i].roots[1]) : set;
    }
    char key[sizeof names->text[0]];
    (void)snprintf(key, sizeof key, "%s:%s", level, name);
    return element_by_key(names, key);
}

uint64_t lesion_set_parse(struct lesion_names *names, const char *text) {
    uint64_t set = 0;
    char word[64], level[64], name[64];
    while (next_word(&text, "+ ", word, sizeof word)) {
        const char *rest = word;
        if (!next_word(&rest, ":", level, sizeof level) || !next_word(&rest, ":", name, sizeof name))
            return 0;
        set |= lesion_element(names, level, name);
    }
    return set;
}

uint64_t lesion_set_of(struct lesion_names *names, const struct rw_hypothesis *hypothesis) {
    if (hypothesis->lesion_count == 0)
        return element_by_key(names, hypothesis->kind == RW_PRIOR_OUTSIDE ? "outside" : "no lesion");
    uint64_t set = 0;
    for (size_t i = 0; i < hypothesis->lesion_count; i++) {
        const struct rw_site *site = &rw_model()->sites[hypothesis->lesions[i].site];
        set |= lesion_element(names, rw_level_name(site->level), site->name);
    }
    return set;
}

void lesion_set_print(const struct lesion_names *names, uint64_t set) {
    const char *joint = "";
    for (size_t i = 0; i < names->count; i++) {
        if (set >> i & 1) {
            fprintf(stderr, "%s%s", joint, names->text[i]);
            joint = "+";
        }
    }
}

static int by_probability(const void *a, const void *b) {
    const struct merged_set *x = a, *y = b;
    return (x->probability < y->probability) - (x->probability > y->probability);
}

size_t lesion_sets_merge(struct lesion_names *names, const struct rw_localisation *localisation,
                         struct merged_set merged[RW_MAX_HYPOTHESES]) {
    size_t count = 0;
    for (size_t h = 0; h < localisation->hypothesis_count; h++) {
        const struct rw_hypothesis *hypothesis = &localisation->hypotheses[h];
        uint64_t set = lesion_set_of(names, hypothesis);
        size_t i = 0;
        while (i < count && merged[i].set != set)
            i++;
        if (i == count)
            merged[count++] = (struct merged_set){.set = set};
        merged[i].probability += hypothesis->probability;
        merged[i].inseparable |= hypothesis->inseparable;
    }
    qsort(merged, count, sizeof *merged, by_probability);
    return count;
}
