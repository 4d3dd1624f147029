/* The course of a subject as JSON. */
#include "answer_course.h"

#include <stdio.h>

#include "answer_parts.h"

/* Below this, the joined list leaves out most of what one of the visits would say by itself. */
static const double low_cover = 0.5;

static void write_summary(struct rw_json *json, const char *key, const struct rw_course *course,
                          const struct rw_hypothesis *hypothesis) {
    char summary[RW_SUMMARY_SIZE];
    rw_summary(hypothesis, course->mechanism, summary, sizeof summary);
    rw_json_key_string(json, key, summary);
}

static void write_day(struct rw_json *json, int32_t day) {
    char text[11];
    rw_day_text(day, text);
    rw_json_string(json, text);
}

/* A member of the record as it was sent; left out when it was not. */
static void write_given(struct rw_json *json, const struct rw_visit *visit, const char *key) {
    const json_t *value = json_object_get(visit->record, key);
    if (json_is_string(value))
        rw_json_key_string(json, key, json_string_value(value));
    else if (json_is_number(value))
        rw_json_key_number(json, key, json_number_value(value));
}

/* ---- visits ---- */

static void write_leader(struct rw_json *json, const struct rw_subject *subject,
                         const struct rw_visit *visit) {
    const struct rw_visit *source = visit->repeats ? visit->repeats : visit;
    const struct rw_course *course = subject->injuries[visit->injury].course;
    rw_json_key(json, "leader");
    if (source->joined == RW_MAX_VISITS) {
        rw_json_null(json);
        return;
    }
    const struct rw_hypothesis *alone = &course->visits[source->joined].alone;
    rw_json_open(json, '{');
    rw_json_key_number(json, "probability", alone->probability);
    write_summary(json, "summary", course, alone);
    rw_json_close(json, '}');
}

static void write_visits(struct rw_json *json, const struct rw_subject *subject) {
    rw_json_key_open(json, "visits", '[');
    for (size_t i = 0; i < subject->visit_count; i++) {
        const struct rw_visit *visit = &subject->visits[i];
        rw_json_open(json, '{');
        rw_json_key_string(json, "id", visit->id);
        write_given(json, visit, "examined_at");
        write_given(json, visit, "side");
        write_given(json, visit, "onset_at");
        write_leader(json, subject, visit);
        write_given(json, visit, "pain_0_10");
        write_given(json, visit, "daily_routine");
        if (visit->repeats)
            rw_json_key_string(json, "repeats", visit->repeats->id);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* ---- what the visits of one injury say together ---- */

static void write_hypotheses(struct rw_json *json, const struct rw_course *course) {
    rw_json_key_open(json, "hypotheses", '[');
    for (size_t i = 0; i < course->hypothesis_count; i++) {
        const struct rw_course_hypothesis *h = &course->hypotheses[i];
        rw_json_open(json, '{');
        rw_json_key_number(json, "probability", h->first.probability);
        rw_json_key_number(json, "p_alone", h->p_alone);
        write_summary(json, "summary", course, &h->first);
        rw_write_lesions(json, &h->first);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* As of the last visit; what has come back matters as much as what has not. */
static void write_sites(struct rw_json *json, const struct rw_course_visit *last) {
    const struct rw_model *model = rw_model();
    struct rw_rank ranks[RW_MAX_SITES];
    for (size_t i = 0; i < model->site_count; i++)
        ranks[i] = (struct rw_rank){last->sites[i].p_injured + last->sites[i].p_recovered, (uint16_t)i};
    rw_rank(ranks, model->site_count);
    rw_json_key_open(json, "sites", '[');
    for (size_t i = 0; i < model->site_count; i++) {
        const struct rw_course_site *site = &last->sites[ranks[i].index];
        rw_json_open(json, '{');
        rw_json_key_string(json, "site", model->sites[ranks[i].index].id);
        rw_json_key_number(json, "p_injured", site->p_injured);
        rw_json_key_number(json, "p_complete", site->p_complete);
        rw_json_key_number(json, "p_recovered", site->p_recovered);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_by_visit(struct rw_json *json, const struct rw_injury *injury) {
    const struct rw_course *course = injury->course;
    rw_json_key_open(json, "by_visit", '[');
    for (size_t v = 0; v < course->visit_count; v++) {
        rw_json_open(json, '{');
        rw_json_key_string(json, "id", injury->joined[v]->id);
        rw_json_key_number(json, "entropy_alone_bits", course->visits[v].entropy_alone);
        write_summary(json, "leader_alone", course, &course->visits[v].alone);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

static void write_joint(struct rw_json *json, const struct rw_injury *injury) {
    const struct rw_course *course = injury->course;
    const struct rw_course_visit *last = &course->visits[course->visit_count - 1];
    rw_json_key_open(json, "joint", '{');
    write_hypotheses(json, course);
    write_sites(json, last);
    rw_write_roots(json, last->roots);
    rw_json_key_number(json, "no_lesion", course->no_lesion);
    rw_json_key_number(json, "outside_plexus", course->outside_plexus);
    rw_json_key_number(json, "entropy_bits", course->entropy);
    rw_json_key_number(json, "covers", course->covers);
    write_by_visit(json, injury);
    rw_json_close(json, '}');
}

/* ---- what changed ---- */

static const char *const directions[] = {[RW_CHANGE_WORSE] = "worse",
                                         [RW_CHANGE_BETTER] = "better",
                                         [RW_CHANGE_OTHER] = "other",
                                         [RW_CHANGE_SAME] = "same"};

static const char *const paces[RW_PACE_COUNT] = {
    [RW_PACE_UNCLEAR] = "unclear",    [RW_PACE_LATER] = "later",     [RW_PACE_NOT_EXPECTED] = "not_expected",
    [RW_PACE_TOO_SOON] = "too_soon",  [RW_PACE_EARLIER] = "earlier", [RW_PACE_AS_EXPECTED] = "as_expected",
    [RW_PACE_RECOVERED] = "recovered"};

static void write_change(struct rw_json *json, const struct rw_injury *injury,
                         const struct rw_change *change) {
    const struct rw_model *model = rw_model();
    const struct rw_value *values = model->scales[model->checks[change->check].scale].values;
    char pointer[96];
    rw_check_pointer(change->check, pointer, sizeof pointer);
    rw_json_open(json, '{');
    rw_json_key_string(json, "pointer", pointer);
    rw_json_key_string(json, "from", values[change->value[0]].text);
    rw_json_key_string(json, "to", values[change->value[1]].text);
    rw_json_key_open(json, "between", '[');
    for (size_t i = 0; i < 2; i++)
        rw_json_string(json, injury->joined[change->visit[i]]->id);
    rw_json_close(json, ']');
    rw_json_key_string(json, "direction", directions[change->direction]);
    if (model->checks[change->check].target != RW_NONE)
        rw_json_key_number(json, "p_recovered", change->p_recovered);
    if (change->direction == RW_CHANGE_WORSE)
        rw_json_key_bool(json, "beyond_chance", change->beyond_chance);
    rw_json_close(json, '}');
}

static void write_changes(struct rw_json *json, const struct rw_injury *injury) {
    rw_json_key_open(json, "changes", '[');
    for (size_t i = 0; i < injury->course->change_count; i++)
        write_change(json, injury, &injury->course->changes[i]);
    rw_json_close(json, ']');
}

static bool is_worsening(const struct rw_change *change) {
    return change->direction == RW_CHANGE_WORSE && change->beyond_chance;
}

/* Each check once, however often it fell. */
static void write_worsening(struct rw_json *json, const struct rw_course *course) {
    bool told[RW_MAX_CHECKS] = {false};
    rw_json_key_open(json, "worsening", '[');
    for (size_t i = 0; i < course->change_count; i++) {
        const struct rw_change *change = &course->changes[i];
        char pointer[96];
        if (!is_worsening(change) || told[change->check])
            continue;
        told[change->check] = true;
        rw_check_pointer(change->check, pointer, sizeof pointer);
        rw_json_string(json, pointer);
    }
    rw_json_close(json, ']');
}

static void write_pace(struct rw_json *json, const struct rw_course *course) {
    rw_json_key_open(json, "pace", '[');
    for (size_t i = 0; i < course->muscle_count; i++) {
        const struct rw_muscle_pace *muscle = &course->muscles[i];
        rw_json_open(json, '{');
        rw_json_key_string(json, "muscle", rw_model()->targets[muscle->muscle].id);
        rw_json_key_string(json, "pace", paces[muscle->pace]);
        if (muscle->first_sign[0] != RW_NO_DAY) {
            rw_json_key_open(json, "first_sign_expected", '[');
            write_day(json, muscle->first_sign[0]);
            write_day(json, muscle->first_sign[1]);
            rw_json_close(json, ']');
        }
        rw_json_key_number(json, "p_recovered", muscle->p_recovered);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
    if (course->no_pace)
        rw_json_key_string(json, "no_pace", course->no_pace);
}

/* ---- injuries ---- */

static bool of_injury(const struct rw_subject *subject, size_t visit, size_t injury) {
    return subject->visits[visit].injury == injury && !subject->visits[visit].repeats;
}

/* What the patient said, at each visit that asked. */
static void write_said(struct rw_json *json, const struct rw_subject *subject, size_t injury,
                       const char *list, const char *key) {
    rw_json_key_open(json, list, '[');
    for (size_t i = 0; i < subject->visit_count; i++) {
        const struct rw_visit *visit = &subject->visits[i];
        if (!of_injury(subject, i, injury) || !json_object_get(visit->record, key))
            continue;
        rw_json_open(json, '{');
        rw_json_key_string(json, "id", visit->id);
        write_given(json, visit, "examined_at");
        write_given(json, visit, key);
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* Side and onset, the onset as the first visit that gives one words it; then the visits. */
static void write_injury_head(struct rw_json *json, const struct rw_subject *subject, size_t injury) {
    const struct rw_visit *with_onset = NULL;
    for (size_t i = 0; i < subject->visit_count && !with_onset; i++)
        if (of_injury(subject, i, injury) && json_object_get(subject->visits[i].record, "onset_at"))
            with_onset = &subject->visits[i];
    write_given(json, subject->injuries[injury].joined[0], "side");
    if (with_onset)
        write_given(json, with_onset, "onset_at");
    rw_json_key_open(json, "visits", '[');
    for (size_t i = 0; i < subject->visit_count; i++)
        if (of_injury(subject, i, injury))
            rw_json_string(json, subject->visits[i].id);
    rw_json_close(json, ']');
}

static void write_injuries(struct rw_json *json, const struct rw_subject *subject) {
    rw_json_key_open(json, "injuries", '[');
    for (size_t i = 0; i < subject->injury_count; i++) {
        const struct rw_injury *injury = &subject->injuries[i];
        rw_json_open(json, '{');
        write_injury_head(json, subject, i);
        write_joint(json, injury);
        write_changes(json, injury);
        write_pace(json, injury->course);
        write_worsening(json, injury->course);
        write_said(json, subject, i, "pain", "pain_0_10");
        write_said(json, subject, i, "daily_routine", "daily_routine");
        rw_json_close(json, '}');
    }
    rw_json_close(json, ']');
}

/* ---- cautions ---- */

static void take_caution(void *context, const char *text) {
    rw_json_string(context, text);
}

/* "Visits without an onset: 2. …"; left out when there are none. */
static void write_count(struct rw_json *json, const char *what, size_t count, const char *then) {
    char text[240];
    if (count == 0)
        return;
    snprintf(text, sizeof text, "%s: %zu. %s", what, count, then);
    rw_json_string(json, text);
}

/* Visits that give no onset while their injury has one. */
static size_t count_undated(const struct rw_subject *subject) {
    size_t count = 0;
    for (size_t i = 0; i < subject->visit_count; i++) {
        bool dated = false;
        for (size_t k = 0; k < subject->visit_count && !dated; k++)
            dated = subject->visits[k].injury == subject->visits[i].injury &&
                    subject->visits[k].exam.onset_day != RW_NO_DAY;
        count += dated && subject->visits[i].exam.onset_day == RW_NO_DAY;
    }
    return count;
}

/* Some muscle was graded better than the joint view can account for. */
static bool is_unclear(const struct rw_course *course) {
    for (size_t i = 0; i < course->muscle_count; i++)
        if (course->muscles[i].pace == RW_PACE_UNCLEAR)
            return true;
    return false;
}

static bool got_worse(const struct rw_course *course) {
    for (size_t i = 0; i < course->change_count; i++)
        if (is_worsening(&course->changes[i]))
            return true;
    return false;
}

static void write_cautions(struct rw_json *json, const struct rw_subject *subject) {
    size_t left_out = 0;
    bool differ = false, thin = false, unclear = false, worse = false;
    for (size_t i = 0; i < subject->injury_count; i++) {
        left_out += subject->injuries[i].left_out;
        differ |= subject->injuries[i].course->mechanisms_differ;
        thin |= subject->injuries[i].course->covers < low_cover;
        unclear |= is_unclear(subject->injuries[i].course);
        worse |= got_worse(subject->injuries[i].course);
    }
    rw_json_key_open(json, "cautions", '[');
    rw_each_standing_caution(take_caution, json);
    if (worse)
        rw_json_string(json,
                       "Some findings are worse than before by more than examinations usually differ. The "
                       "joint view takes it that nothing gets worse, so do not rely on it here: look for "
                       "a new injury, bleeding, pressure or a growing cause, and refer early.");
    rw_json_string(json, "Surgery between visits is not known to the joint view: what a repair or a transfer "
                         "gave back counts there as recovery of the nerve itself.");
    write_count(json, "Visits without an onset", count_undated(subject),
                "Each is taken to belong to the latest injury of that side that had begun by then.");
    if (differ)
        rw_json_string(json, "The visits of one injury state different mechanisms: the first that is stated "
                             "counts for all.");
    if (thin)
        rw_json_string(json, "The visits of one injury point to different lesions: the joint list holds less "
                             "than half of what one of them says alone. Check the findings, the side and the "
                             "onset.");
    if (unclear)
        rw_json_string(
            json, "Some muscles were graded better than the joint view can account for: by what it knows "
                  "of these lesions, true recovery there is less likely than not. Trust the examination, "
                  "and examine again.");
    write_count(json, "Visits outside the joint view", left_out,
                "Of one injury it takes the first visit and the latest.");
    if (subject->cut)
        rw_json_string(json, "This pseudonym has more assessments than are read at once: the oldest stored "
                             "are not shown, and the first visit may be among them.");
    write_count(json, "Stored records left out", subject->unreadable,
                "This version of the knowledge no longer takes them.");
    rw_json_close(json, ']');
}

char *rw_subject_json(const struct rw_subject *subject, size_t *size) {
    struct rw_json json = {0};
    rw_json_open(&json, '{');
    rw_json_key_string(&json, "subject", subject->name);
    write_visits(&json, subject);
    write_injuries(&json, subject);
    write_cautions(&json, subject);
    rw_json_close(&json, '}');
    return rw_buffer_take(&json.out, size);
}
