#include "front.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "spans.h"

const char *rw_course_nerve_name(enum rw_course_nerve nerve) {
    static const char *const names[RW_COURSES] = {
#define X(name, text) text,
        RW_COURSE_NERVES(X)
#undef X
    };
    return (unsigned)nerve < RW_COURSES ? names[nerve] : NULL;
}

const char *rw_front_state_name(enum rw_front_state state) {
    static const char *const names[RW_FRONT_COUNT] = {
#define X(name, text) text,
        RW_FRONTS(X)
#undef X
    };
    return (unsigned)state < RW_FRONT_COUNT ? names[state] : NULL;
}

/* A point of a course, and what tapping it gave. */
struct point {
    double mm; /* from the foramen */
    uint16_t check;
    bool tapped, radiates;
};

static void look_up(const struct rw_exam *exam, struct point *point) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        if (f->check != point->check || f->filled_in)
            continue;
        const struct rw_value *value = &m->scales[m->checks[f->check].scale].values[f->value];
        point->tapped = true;
        point->radiates = strcmp(value->text, "radiating") == 0;
    }
}

/* From the neck outwards. */
static size_t points_of(const struct rw_exam *exam, enum rw_course_nerve course,
                        struct point points[RW_MAX_PERCUSSION_POINTS]) {
    const struct rw_model *m = rw_model();
    char prefix[32];
    size_t count = 0;
    snprintf(prefix, sizeof prefix, "front_mm.%s.", rw_course_nerve_name(course));
    for (size_t i = 0; i < m->fact_count && count < RW_MAX_PERCUSSION_POINTS; i++) {
        const char *id = m->facts[i].id;
        if (strncmp(id, prefix, strlen(prefix)) != 0)
            continue;
        struct point point = {.mm = m->facts[i].value,
                              .check = rw_check_find(RW_SECTION_PERCUSSION, id + strlen(prefix))};
        if (point.check == RW_NONE)
            continue;
        look_up(exam, &point);
        size_t k = count++;
        for (; k > 0 && points[k - 1].mm > point.mm; k--)
            points[k] = points[k - 1];
        points[k] = point;
    }
    return count;
}

/* Where the front may be: ways grown and places, with the likeliest start. Returns the number of spans. */
static size_t spread(const struct rw_losses *losses, const struct rw_loss *loss, double last_mm,
                     struct rw_span *ways, struct rw_span *places, size_t *start) {
    const struct rw_regrowth *r = &losses->regrowth;
    double mm[RW_MAX_SITES], most = 0.0;
    size_t count = 0;
    rw_site_distances(mm);
    for (size_t s = 0; s < rw_model()->site_count; s++) {
        const double lost = loss->starts[s].lost;
        if (lost <= 0.0 || isnan(mm[s]))
            continue;
        const double room = fmax(0.0, last_mm - mm[s]);
        const double slow = fmin(room, rw_regrowth_way(r, mm[s], r->examined, 0)),
                     fast = fmin(room, rw_regrowth_way(r, mm[s], r->examined, 1));
        ways[count] = (struct rw_span){.weight = lost, .from = slow, .to = fast};
        places[count++] = (struct rw_span){.weight = lost, .from = mm[s] + slow, .to = mm[s] + fast};
        if (lost > most) {
            most = lost;
            *start = s;
        }
    }
    return count;
}

/* `due`: even slow growth has passed the first point expected. */
static enum rw_front_state compare(const struct point *points, size_t count, size_t first, size_t past,
                                   bool due) {
    bool any = false, ahead = false, there = false, tapped = false;
    for (size_t i = 0; i < count; i++) {
        const bool expected = i >= first && i < past;
        any |= points[i].tapped;
        tapped |= expected && points[i].tapped;
        there |= expected && points[i].radiates;
        ahead |= i >= past && points[i].radiates;
    }
    if (ahead)
        return RW_FRONT_AHEAD;
    if (there || (!due && any))
        return RW_FRONT_AS_EXPECTED;
    return tapped ? RW_FRONT_BEHIND : RW_FRONT_NOT_PERCUSSED;
}

/* False: the feeling fibres of this course are probably not hurt. */
static bool see_front(const struct rw_exam *exam, const struct rw_losses *losses, enum rw_course_nerve course,
                      struct rw_front *out) {
    const struct rw_loss *loss = &losses->courses[course];
    struct point points[RW_MAX_PERCUSSION_POINTS];
    struct rw_span ways[RW_MAX_SITES], places[RW_MAX_SITES];
    double mm[RW_MAX_SITES], place[2];
    size_t start = 0;
    const size_t count = points_of(exam, course, points);
    if (count == 0 || loss->muscle == RW_NONE || loss->denervated <= 0.5)
        return false;
    const size_t spans = spread(losses, loss, points[count - 1].mm, ways, places, &start);
    if (spans == 0)
        return false;
    *out = (struct rw_front){.course = (uint8_t)course, .site = (uint8_t)start, .found_at = RW_NONE};
    rw_spans_middle(ways, spans, rw_fact_value("front_share"), out->expected_mm);
    rw_spans_middle(places, spans, rw_fact_value("front_share"), place);
    rw_site_distances(mm);
    const double tolerance = rw_fact_value("front_tolerance_mm");
    size_t first = 0, past = 0, beyond = 0;
    for (size_t i = 0; i < count; i++) {
        beyond += points[i].mm <= mm[start];
        first += points[i].mm <= place[0] - tolerance;
        past += points[i].mm <= place[1] + tolerance;
        if (points[i].radiates)
            out->found_at = points[i].check;
    }
    const bool due = first > beyond;
    first = due ? first - 1 : beyond;
    past = past > first ? past : first;
    for (size_t i = first; i < past; i++)
        out->expected_at[out->expected_count++] = points[i].check;
    /* the last point before the interval proves nothing where one within its nearer half could be tapped */
    const bool nearer = due && first + 1 < past && points[first + 1].mm <= 0.5 * (place[0] + place[1]);
    out->state = (uint8_t)compare(points, count, nearer ? first + 1 : first, past, due);
    return true;
}

void rw_fronts(const struct rw_exam *exam, const struct rw_losses *losses, struct rw_recovery *recovery) {
    recovery->front_count = 0;
    for (enum rw_course_nerve course = 0; course < RW_COURSES && !isnan(losses->regrowth.examined); course++)
        if (see_front(exam, losses, course, &recovery->fronts[recovery->front_count]))
            recovery->front_count++;
}
