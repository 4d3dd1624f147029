/* Whether muscles recover in their time. */
#include <string.h>

#include "course.h"
#include "deficits.h"
#include "recovery.h"

/* A sign is there when it is more likely than not, unless its grade stands as at first. */
#define SIGN 0.5

static bool is_strong(const struct rw_measured *measured) {
    return measured->given && measured->grade[RW_GRADE_STRONG] + measured->grade[RW_GRADES - 1] >= 0.5;
}

/* The motor finding of a target. */
static const struct rw_finding *graded(const struct rw_exam *exam, uint16_t target) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->section == RW_SECTION_MOTOR && check->target == target)
            return &exam->findings[i];
    }
    return NULL;
}

/* Whether the examiner graded a target better than at first, or no better; false for both without two grades. */
struct rise {
    bool better, none;
};

static struct rise rise_of(const struct rw_paths *paths, uint16_t target, size_t visit) {
    const struct rw_finding *first = graded(&paths->exams[0], target),
                            *later = graded(&paths->exams[visit], target);
    if (first == NULL || later == NULL)
        return (struct rise){false, false};
    const struct rw_check *check = &rw_model()->checks[first->check];
    const bool better = rw_word_speaks_for(check, later->value) > rw_word_speaks_for(check, first->value);
    return (struct rise){better, !better};
}

static enum rw_pace pace_of(const struct rw_paths *paths, const struct rw_muscle_pace *m, size_t last,
                            bool strong) {
    const bool none = m->first_sign[0] == RW_NO_DAY, shown = m->sign < RW_MAX_VISITS;
    if (shown && strong)
        return RW_PACE_RECOVERED;
    if (none)
        return shown ? RW_PACE_EARLIER : RW_PACE_NOT_EXPECTED;
    if (shown && paths->exams[m->sign].examined_day < m->first_sign[0])
        return RW_PACE_EARLIER;
    if (paths->exams[shown ? m->silent : last].examined_day > m->first_sign[1])
        return RW_PACE_LATER;
    return shown ? RW_PACE_AS_EXPECTED : RW_PACE_TOO_SOON;
}

/* What speaks for a muscle at a visit: itself, or a graded group of which it is a part. */
static uint16_t speaks_for(const struct rw_paths *paths, uint16_t muscle, size_t visit) {
    const struct rw_model *m = rw_model();
    const uint16_t own = paths->watched_of[muscle];
    for (size_t i = 0; i < m->member_count && paths->watched[own].count[visit] == 0; i++) {
        const uint16_t group = paths->watched_of[m->members[i].owner];
        if (m->members[i].muscle == muscle && m->targets[m->members[i].owner].kind == RW_TARGET_GROUP &&
            group != RW_NONE && paths->watched[group].count[visit] > 0)
            return group;
    }
    return own;
}

/* False: no later visit examined it. */
static bool follow(const struct rw_paths *paths, const struct rw_sums *sums,
                   const struct rw_muscle_recovery *r, struct rw_muscle_pace *out) {
    struct rw_measured measured = {0};
    struct rise rise = {false, false};
    size_t last = 0;
    if (paths->watched_of[r->muscle] == RW_NONE)
        return false;
    *out = (struct rw_muscle_pace){.muscle = r->muscle, .sign = RW_MAX_VISITS};
    memcpy(out->first_sign, r->first_sign, sizeof out->first_sign);
    for (size_t v = 1; v < paths->visit_count; v++) {
        struct rw_measured here;
        rw_measure(&paths->exams[v], r->muscle, &here);
        if (!here.examined)
            continue;
        measured = here;
        last = v;
        const uint16_t watched = speaks_for(paths, r->muscle, v);
        rise = rise_of(paths, paths->watched[watched].target, v);
        out->p_recovered = sums->recovered[v][watched] / sums->total;
        if (out->sign == RW_MAX_VISITS && out->p_recovered >= SIGN && !rise.none)
            out->sign = (uint8_t)v;
        else if (out->sign == RW_MAX_VISITS)
            out->silent = (uint8_t)v;
    }
    out->pace = (uint8_t)(out->sign == RW_MAX_VISITS && rise.better
                              ? RW_PACE_UNCLEAR
                              : pace_of(paths, out, last, is_strong(&measured)));
    return last > 0;
}

/* By pace, then by date, undated first. */
static void sort(struct rw_muscle_pace *muscles, size_t count) {
    for (size_t i = 1; i < count; i++) {
        const struct rw_muscle_pace m = muscles[i];
        size_t k = i;
        for (; k > 0 && (muscles[k - 1].pace > m.pace ||
                         (muscles[k - 1].pace == m.pace && muscles[k - 1].first_sign[0] > m.first_sign[0]));
             k--)
            muscles[k] = muscles[k - 1];
        muscles[k] = m;
    }
}

bool rw_course_pace(const struct rw_paths *paths, const struct rw_sums *sums, const struct rw_states *states,
                    struct rw_arena *arena, struct rw_course *out) {
    struct rw_losses losses;
    struct rw_deficits deficits;
    struct rw_recovery recovery;
    if (!rw_losses_of(&paths->exams[0], states, arena, &losses) ||
        !rw_deficits(&paths->exams[0], states, &losses, arena, &deficits))
        return false;
    rw_recovery(&paths->exams[0], &losses, &deficits, &recovery);
    out->no_pace = recovery.because;
    if (paths->exams[0].onset_day == RW_NO_DAY)
        out->no_pace = "the onset is not given";
    if (out->no_pace != NULL)
        return true;
    for (size_t i = 0; i < recovery.muscle_count; i++)
        if (follow(paths, sums, &recovery.muscles[i], &out->muscles[out->muscle_count]))
            out->muscle_count++;
    sort(out->muscles, out->muscle_count);
    return true;
}
