#include "rootward.h"

#include <stdio.h>
#include <string.h>

static const char *const section_paths[RW_SECTION_COUNT] = {
#define X(name, text) text,
    RW_SECTIONS(X)
#undef X
};

void rw_check_pointer(uint16_t check, char *buffer, size_t size) {
    const struct rw_check *c = &rw_model()->checks[check];
    const char *path = section_paths[c->section];
    if (c->section == RW_SECTION_EMG_DENERVATION || c->section == RW_SECTION_EMG_RECRUITMENT)
        snprintf(buffer, size, "/investigations/emg/%s/%s", c->item, strrchr(path, '/') + 1);
    else if (c->item[0] == '\0')
        snprintf(buffer, size, "/%s", path);
    else
        snprintf(buffer, size, "/%s/%s", path, c->item);
}

/* Whether two muscles, groups or movements have a muscle in common. */
static bool overlaps(uint16_t a, uint16_t b) {
    const struct rw_model *m = rw_model();
    if (a == b)
        return true;
    for (size_t i = 0; i < m->member_count; i++) {
        if (m->members[i].owner != a)
            continue;
        if (m->members[i].muscle == b)
            return true;
        for (size_t k = 0; k < m->member_count; k++)
            if (m->members[k].owner == b && m->members[k].muscle == m->members[i].muscle)
                return true;
    }
    for (size_t k = 0; k < m->member_count; k++)
        if (m->members[k].owner == b && m->members[k].muscle == a)
            return true;
    return false;
}

static bool is_motor(enum rw_section s) {
    return s == RW_SECTION_MOTOR || s == RW_SECTION_MOVEMENT;
}

/* Says something of the muscles of its target: a grade, a movement or a sign that is not normal. */
static bool speaks_of_muscles(const struct rw_finding *f) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[f->check];
    const bool normal = f->value == m->scales[check->scale].normal;
    return check->section == RW_SECTION_MOTOR ||
           ((check->section == RW_SECTION_MOVEMENT || check->section == RW_SECTION_SIGN) && !normal &&
            check->target != RW_NONE);
}

/* A muscle already spoken for: graded itself or in its group, or part of a movement graded below normal or of a
 * sign that was found. */
static bool spoken_for(const struct rw_exam *exam, uint16_t check) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        const struct rw_check *given = &m->checks[f->check];
        if (f->check == check)
            return true;
        if (is_motor(m->checks[check].section) && !f->filled_in && speaks_of_muscles(f) &&
            overlaps(given->target, m->checks[check].target))
            return true;
    }
    return false;
}

static bool covered_by(enum rw_section asked, enum rw_section section) {
    const bool skin = section == RW_SECTION_SKIN_ROOT || section == RW_SECTION_SKIN_NERVE;
    if (asked == RW_SECTION_SKIN_ROOT || asked == RW_SECTION_SKIN_NERVE)
        return skin;
    return asked == section;
}

enum rw_status rw_exam_fill_normal(struct rw_exam *exam, enum rw_section section) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->check_count; i++) {
        const struct rw_check *c = &m->checks[i];
        if (!c->standard || !covered_by(section, c->section) || spoken_for(exam, (uint16_t)i))
            continue;
        if (exam->finding_count >= RW_MAX_CHECKS)
            return RW_ERANGE;
        exam->findings[exam->finding_count++] =
            (struct rw_finding){.check = (uint16_t)i, .value = m->scales[c->scale].normal, .filled_in = true};
    }
    return RW_OK;
}
