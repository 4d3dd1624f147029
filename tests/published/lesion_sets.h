/* Sets of lesions by level and name, as the scoring of the cases counts them: a whole trunk equals its
 * roots. Unlike there, deep_ulnar stays apart from ulnar. */
#ifndef ROOTWARD_TESTS_LESION_SETS_H
#define ROOTWARD_TESTS_LESION_SETS_H

#include <rootward.h>

enum { LESION_NAMES = 64 };

/* The lesions met so far; a set is a mask of indices into it. */
struct lesion_names {
    size_t count;
    char text[LESION_NAMES][48]; /* "nerve:ulnar" */
};

uint64_t lesion_element(struct lesion_names *names, const char *level, const char *name);

/* "trunk:upper+nerve:axillary". 0 when a part is not level:name. */
uint64_t lesion_set_parse(struct lesion_names *names, const char *text);

/* The set of a hypothesis; without lesions "no lesion" and "outside" are elements of their own. */
uint64_t lesion_set_of(struct lesion_names *names, const struct rw_hypothesis *hypothesis);

void lesion_set_print(const struct lesion_names *names, uint64_t set);

/* Hypotheses of one set taken together, most probable first. */
struct merged_set {
    uint64_t set;
    double probability;
    bool inseparable; /* one of them cannot be told from the first of the list */
};
size_t lesion_sets_merge(struct lesion_names *names, const struct rw_localisation *localisation,
                         struct merged_set merged[RW_MAX_HYPOTHESES]);

#endif
