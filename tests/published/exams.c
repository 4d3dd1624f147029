#include "exams.h"

#include "sheet.h"

#include <stdio.h>
#include <string.h>

bool exam_mechanism(const char *word, enum rw_mechanism *mechanism) {
    for (int i = 0; i < RW_MECHANISM_COUNT; i++) {
        if (strcmp(word, rw_mechanism_name((enum rw_mechanism)i)) == 0) {
            *mechanism = (enum rw_mechanism)i;
            return true;
        }
    }
    return false;
}

static bool section_of(const char *word, enum rw_section *section) {
    static const char *const words[RW_SECTION_COUNT] = {
        [RW_SECTION_MOTOR] = "motor",
        [RW_SECTION_MOVEMENT] = "movements",
        [RW_SECTION_SKIN_ROOT] = "skin_roots",
        [RW_SECTION_SKIN_NERVE] = "skin_nerves",
        [RW_SECTION_REFLEX] = "reflexes",
        [RW_SECTION_SIGN] = "signs",
        [RW_SECTION_WASTING] = "wasting",
        [RW_SECTION_PERCUSSION] = "percussion",
        [RW_SECTION_PSEUDOMENINGOCELE] = "pseudomeningocele",
        [RW_SECTION_ROOT_AVULSION] = "root_avulsion",
        [RW_SECTION_SNAP] = "snap",
        [RW_SECTION_CMAP] = "cmap",
        [RW_SECTION_EMG_DENERVATION] = "emg_denervation",
        [RW_SECTION_EMG_RECRUITMENT] = "emg_recruitment",
        [RW_SECTION_PARASPINAL] = "paraspinal",
        [RW_SECTION_HEMIDIAPHRAGM] = "hemidiaphragm",
    };
    for (size_t i = 0; i < RW_SECTION_COUNT; i++) {
        if (strcmp(word, words[i]) == 0) {
            *section = (enum rw_section)i;
            return true;
        }
    }
    return false;
}

uint16_t exam_check(const char *word) {
    char section_word[64], item[64] = "";
    enum rw_section section;
    if (!next_word(&word, ".", section_word, sizeof section_word) || !section_of(section_word, &section))
        return RW_NONE;
    (void)next_word(&word, ".", item, sizeof item);
    return rw_check_find(section, item);
}

static bool add_finding(struct rw_exam *exam, uint16_t check, const char *value_word) {
    const uint16_t value = check == RW_NONE ? RW_NONE : rw_value_find(check, value_word);
    if (value == RW_NONE || exam->finding_count == RW_MAX_CHECKS)
        return false;
    exam->findings[exam->finding_count++] = (struct rw_finding){.check = check, .value = (uint8_t)value};
    return true;
}

static bool decline(struct rw_exam *exam, const char *id) {
    for (size_t i = 0; i < rw_model()->donor_count; i++) {
        if (strcmp(rw_model()->donors[i].id, id) == 0) {
            exam->declined[i] = true;
            return true;
        }
    }
    return false;
}

/* "name=value", or "grade=muscle,muscle", or "declined=donor,donor". */
static bool add_word(struct rw_exam *exam, const char *word) {
    char name[128], item[128];
    const char *rest = word;
    if (!next_word(&rest, "=", name, sizeof name))
        return false;
    const uint16_t check = exam_check(name);
    if (check != RW_NONE)
        return next_word(&rest, "=", item, sizeof item) && add_finding(exam, check, item);
    bool good = *rest == '=';
    while (next_word(&rest, "=,", item, sizeof item))
        good = (strcmp(name, "declined") == 0
                    ? decline(exam, item)
                    : add_finding(exam, rw_check_find(RW_SECTION_MOTOR, item), name)) &&
               good;
    return good;
}

size_t exam_add(struct rw_exam *exam, const char *findings, const char *row) {
    size_t mistakes = 0;
    char word[512];
    while (next_word(&findings, " ", word, sizeof word)) {
        if (!add_word(exam, word)) {
            fprintf(stderr, "%s: %s is not in the vocabulary\n", row, word);
            mistakes++;
        }
    }
    return mistakes + (*findings != '\0'); /* a word that does not fit */
}

size_t exam_fill(struct rw_exam *exam, const char *sections, const char *row) {
    static const struct {
        const char *word;
        enum rw_section section;
    } known[] = {{"motor", RW_SECTION_MOTOR},
                 {"sensation", RW_SECTION_SKIN_NERVE},
                 {"reflexes", RW_SECTION_REFLEX},
                 {"signs", RW_SECTION_SIGN}};
    size_t mistakes = 0;
    char word[64];
    while (next_word(&sections, " ", word, sizeof word)) {
        size_t i = 0;
        while (i < sizeof known / sizeof *known && strcmp(word, known[i].word) != 0)
            i++;
        if (i == sizeof known / sizeof *known || rw_exam_fill_normal(exam, known[i].section) != RW_OK) {
            fprintf(stderr, "%s: %s cannot be filled in\n", row, word);
            mistakes++;
        }
    }
    return mistakes;
}
