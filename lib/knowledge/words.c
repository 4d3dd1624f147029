/* The closed vocabularies of rootward.h as lists of words. */
#include "knowledge.h"

#include <string.h>

const char *const kn_levels[RW_LEVEL_COUNT] = {
#define X(name, text) text,
    RW_LEVELS(X)
#undef X
};
const char *const kn_mechanisms[RW_MECHANISM_COUNT] = {
#define X(name, text) text,
    RW_MECHANISMS(X)
#undef X
};
const char *const kn_sections[RW_SECTION_COUNT] = {
#define X(name, text) text,
    RW_SECTIONS(X)
#undef X
};
const char *const kn_segments[RW_SEGMENT_COUNT] = {
#define X(name) #name,
    RW_SEGMENTS(X)
#undef X
};
const char *const kn_target_kinds[RW_TARGET_FUNCTION + 1] = {
    "muscle", "group", "movement",   "skin_root",     "skin_nerve", "snap",
    "reflex", "sign",  "percussion", "preganglionic", "function",
};

uint8_t kn_root_of(enum rw_segment segment) {
    if (segment < RW_SEGMENT_C5 || segment > RW_SEGMENT_T1)
        return KN_NO_ROOT;
    return (uint8_t)(segment - RW_SEGMENT_C5);
}

enum rw_segment kn_segment_of(size_t root) {
    return (enum rw_segment)(RW_SEGMENT_C5 + root);
}

const char *kn_root_name(size_t root) {
    return kn_segments[RW_SEGMENT_C5 + root];
}

uint8_t kn_root_named(const char *name) {
    return kn_root_of((enum rw_segment)kn_word_index(name, kn_segments, RW_SEGMENT_COUNT));
}
