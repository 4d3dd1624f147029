#include "course.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "localise.h"

enum { MOST_LISTED = RW_MAX_VISITS * (RW_SHORTLIST + 2) };

struct course {
    struct rw_arena *arena;
    struct rw_exam *exams; /* by date */
    size_t visit_count, listed_count;
    struct rw_listed *listed;
    double log_evidence[RW_MAX_VISITS];
    struct rw_paths *paths;
    struct rw_sums *sums;
    struct rw_state *states; /* the heavy hypotheses, as of the first visit */
    struct rw_probe *probes;
    size_t probe_count, state_count;
};

static size_t lists_size(void) {
    return MOST_LISTED * sizeof(struct rw_listed) + RW_MAX_VISITS * sizeof(struct rw_exam) + 64;
}

static size_t kept_size(void) {
    return sizeof(struct rw_paths) + sizeof(struct rw_sums) + RW_MAX_STATES * sizeof(struct rw_state) +
           RW_MAX_TARGETS * sizeof(struct rw_watched) +
           RW_MAX_VISITS * RW_MAX_CHECKS * sizeof(struct rw_reading) + 64;
}

/* After the searches, in the same place; then what the pace needs, which is less than an assessment does. */
static size_t sums_size(void) {
    return rw_paths_scratch_size() + RW_MAX_CHANGES * sizeof(struct rw_probe) + 64;
}

size_t rw_course_workspace_size(void) {
    const size_t search = rw_workspace_size() + sizeof(struct rw_localisation);
    return lists_size() + kept_size() + (search > sums_size() ? search : sums_size());
}

/* ---- injuries ---- */

static bool same_injury(const struct rw_visit_key *a, const struct rw_visit_key *b) {
    return a->side == b->side && a->onset_day == b->onset_day;
}

/* The onset of the injury that a visit belongs to. */
static int32_t onset_of(const struct rw_visit_key *visits, size_t count, size_t visit) {
    int32_t latest = visits[visit].onset_day;
    for (size_t i = 0; i < count && visits[visit].onset_day == RW_NO_DAY; i++)
        if (visits[i].side == visits[visit].side && visits[i].onset_day <= visits[visit].examined_day &&
            visits[i].onset_day > latest) /* RW_NO_DAY is the least */
            latest = visits[i].onset_day;
    return latest;
}

void rw_course_injuries(const struct rw_visit_key *visits, size_t count, size_t *injury) {
    for (size_t i = 0; i < count; i++) {
        const struct rw_visit_key own = {visits[i].side, 0, onset_of(visits, count, i)};
        size_t before = 0;
        for (size_t k = 0; k < count; k++) { /* other injuries that come first, each once */
            const struct rw_visit_key other = {visits[k].side, 0, onset_of(visits, count, k)};
            bool counted = same_injury(&own, &other);
            for (size_t j = 0; j < k && !counted; j++) {
                const struct rw_visit_key earlier = {visits[j].side, 0, onset_of(visits, count, j)};
                counted = same_injury(&other, &earlier);
            }
            before += !counted && (other.onset_day < own.onset_day ||
                                   (other.onset_day == own.onset_day && other.side < own.side));
        }
        injury[i] = before;
    }
}

/* ---- the exams ---- */

static enum rw_status refuse(struct rw_error *error, enum rw_status status, const char *why) {
    error->status = status;
    snprintf(error->message, sizeof error->message, "%s", why);
    return status;
}

static enum rw_status check_exam(const struct rw_exam *exam, struct rw_error *error) {
    const struct rw_model *m = rw_model();
    if (exam->finding_count > RW_MAX_CHECKS || exam->mechanism >= RW_MECHANISM_COUNT)
        return refuse(error, RW_EINVAL, "more findings than checks exist, or an unknown mechanism");
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        if (f->check >= m->check_count || f->value >= m->scales[m->checks[f->check].scale].value_count)
            return refuse(error, RW_EINVAL, "a finding names no check, or no value of its scale");
    }
    return RW_OK;
}

static enum rw_status check_exams(const struct rw_exam *const *exams, size_t count, struct rw_error *error) {
    int32_t onset = RW_NO_DAY;
    if (count < 1 || count > RW_MAX_VISITS)
        return refuse(error, RW_EINVAL, "a course has one to eight visits");
    for (size_t v = 0; v < count; v++) {
        if (check_exam(exams[v], error) != RW_OK)
            return RW_EINVAL;
        if (exams[v]->side != exams[0]->side)
            return refuse(error, RW_EINVAL, "the visits are of different sides");
        if (exams[v]->onset_day == RW_NO_DAY)
            continue;
        if (onset != RW_NO_DAY && exams[v]->onset_day != onset)
            return refuse(error, RW_EINVAL, "the visits have different onsets");
        onset = exams[v]->onset_day;
    }
    return RW_OK;
}

/* By date; what one visit says of onset, mechanism and age holds for all. */
static void order_exams(struct course *course, const struct rw_exam *const *exams, struct rw_course *out) {
    int32_t onset = RW_NO_DAY;
    double age = (double)NAN;
    out->mechanism = RW_MECHANISM_UNKNOWN;
    for (size_t v = 0; v < course->visit_count; v++) {
        size_t at = v;
        for (; at > 0 && course->exams[at - 1].examined_day > exams[v]->examined_day; at--) {
            course->exams[at] = course->exams[at - 1];
            out->visits[at].exam = out->visits[at - 1].exam;
        }
        course->exams[at] = *exams[v];
        out->visits[at].exam = v;
    }
    for (size_t v = 0; v < course->visit_count; v++) {
        const struct rw_exam *exam = &course->exams[v];
        onset = exam->onset_day != RW_NO_DAY ? exam->onset_day : onset;
        age = isnan(age) ? exam->age_years : age;
        if (exam->mechanism != RW_MECHANISM_UNKNOWN && out->mechanism != RW_MECHANISM_UNKNOWN)
            out->mechanisms_differ |= exam->mechanism != out->mechanism;
        else if (exam->mechanism != RW_MECHANISM_UNKNOWN)
            out->mechanism = exam->mechanism;
    }
    for (size_t v = 0; v < course->visit_count; v++) {
        course->exams[v].onset_day = onset;
        course->exams[v].mechanism = out->mechanism;
        course->exams[v].age_years = age;
    }
}

/* ---- the list ---- */

/* The prior is what is left of the posterior without the likelihood; the model names that of the bare two. */
static double log_prior(const struct rw_hypothesis *h, enum rw_mechanism mechanism, double log_evidence) {
    if (h->kind == RW_PRIOR_NONE || h->kind == RW_PRIOR_OUTSIDE)
        return log(rw_model()->priors[mechanism].kind[h->kind]);
    return h->probability > 0.0 ? log(h->probability) + log_evidence - h->log_likelihood : -(double)INFINITY;
}

static enum rw_status search_visit(struct course *course, size_t visit, struct rw_course *out) {
    const size_t used = course->arena->used;
    struct rw_localisation *localisation = rw_arena_take(course->arena, 1, sizeof *localisation);
    struct rw_localise_result result;
    if (localisation == NULL)
        return RW_ENOSPACE;
    const struct rw_exam *exam = &course->exams[visit];
    const enum rw_status status = rw_localise(exam, course->arena, localisation, &result);
    if (status != RW_OK)
        return status;
    course->log_evidence[visit] = localisation->log_evidence;
    out->visits[visit].alone = result.hypotheses[0].shown;
    for (size_t i = 0; i < result.hypothesis_count && course->listed_count < MOST_LISTED; i++) {
        const struct rw_resolved *h = &result.hypotheses[i];
        struct rw_listed *l = &course->listed[course->listed_count];
        *l = (struct rw_listed){.shown = h->shown,
                                .best = h->shown.probability,
                                .log_prior =
                                    log_prior(&h->shown, exam->mechanism, localisation->log_evidence)};
        memcpy(l->severity, h->severity, sizeof l->severity);
        course->listed_count += isfinite(l->log_prior) ? 1 : 0;
    }
    course->arena->used = used;
    return RW_OK;
}

static bool is_outside(const struct rw_listed *l) {
    return l->shown.kind == RW_PRIOR_OUTSIDE;
}

static int by_lesions(const void *a, const void *b) {
    const struct rw_listed *x = a, *y = b;
    const int order = memcmp(x->severity, y->severity, sizeof x->severity);
    return order != 0 ? order : (int)is_outside(x) - (int)is_outside(y);
}

static int by_best(const void *a, const void *b) {
    const struct rw_listed *x = a, *y = b;
    if (x->best > y->best)
        return -1;
    return x->best < y->best ? 1 : by_lesions(a, b);
}

static void drop_doubles(struct course *course) {
    size_t kept = 0;
    qsort(course->listed, course->listed_count, sizeof *course->listed, by_lesions);
    for (size_t i = 0; i < course->listed_count; i++) {
        if (kept == 0 || by_lesions(&course->listed[kept - 1], &course->listed[i]) != 0)
            course->listed[kept++] = course->listed[i];
        else
            course->listed[kept - 1].best = fmax(course->listed[kept - 1].best, course->listed[i].best);
    }
    course->listed_count = kept;
}

/* How many severity vectors its lesions can pass through. */
static double vectors_of(const struct rw_listed *l) {
    const struct rw_sites torn = rw_sites_preganglionic();
    double count = 1.0;
    for (size_t i = 0; i < l->shown.lesion_count; i++)
        if (!rw_sites_hold(torn, l->shown.lesions[i].site))
            count *= l->shown.lesions[i].severity + 1.0;
    return count;
}

/* So that no set of visits, however odd, takes more than a few seconds. */
static void limit_work(struct course *course) {
    double findings = 0.0, work = 0.0;
    size_t kept = 0;
    for (size_t v = 0; v < course->visit_count; v++)
        findings += (double)course->exams[v].finding_count;
    qsort(course->listed, course->listed_count, sizeof *course->listed, by_best);
    for (size_t i = 0; i < course->listed_count; i++) {
        work += findings * vectors_of(&course->listed[i]);
        if (work <= RW_COURSE_WORK || course->listed[i].shown.lesion_count == 0)
            course->listed[kept++] = course->listed[i];
    }
    course->listed_count = kept;
}

static int by_probability(const void *a, const void *b) {
    const struct rw_listed *x = a, *y = b;
    if (x->shown.probability > y->shown.probability)
        return -1;
    return x->shown.probability < y->shown.probability ? 1 : by_lesions(a, b);
}

/* Likelihoods this close in nats are equal: rounding alone separates them. */
#define EQUAL_NATS 1e-9

/* The joint posterior over the list, and what each visit alone says of it. */
static void weigh(struct course *course) {
    double top = -(double)INFINITY, sum = 0.0;
    for (size_t i = 0; i < course->listed_count; i++) {
        struct rw_listed *l = &course->listed[i];
        l->shown.log_likelihood = is_outside(l) ? rw_paths_weigh_outside(course->paths, l->alone)
                                                : rw_paths_weigh(course->paths, l->severity, l->alone);
        for (size_t v = 0; v < course->visit_count; v++)
            l->alone[v] = exp(l->log_prior + l->alone[v] - course->log_evidence[v]);
        l->shown.probability = l->log_prior + l->shown.log_likelihood;
        top = fmax(top, l->shown.probability);
    }
    for (size_t i = 0; i < course->listed_count; i++)
        sum += course->listed[i].shown.probability = exp(course->listed[i].shown.probability - top);
    for (size_t i = 0; i < course->listed_count; i++)
        course->listed[i].shown.probability /= sum;
    qsort(course->listed, course->listed_count, sizeof *course->listed, by_probability);
    for (size_t i = 0; i < course->listed_count; i++) {
        struct rw_hypothesis *h = &course->listed[i].shown;
        h->separated_by = RW_NONE;
        h->separated_bits = 0.0;
        h->inseparable =
            i > 0 && fabs(h->log_likelihood - course->listed[0].shown.log_likelihood) < EQUAL_NATS;
    }
}

/* ---- what the list says ---- */

static double bits(double p) {
    return p > 0.0 ? -p * log2(p) : 0.0;
}

static void fill_totals(const struct course *course, struct rw_course *out) {
    out->covers = 1.0;
    for (size_t i = 0; i < course->listed_count; i++) {
        const struct rw_listed *l = &course->listed[i];
        out->entropy += bits(l->shown.probability);
        if (is_outside(l))
            out->outside_plexus = l->shown.probability;
        else if (l->shown.lesion_count == 0)
            out->no_lesion = l->shown.probability;
        for (size_t v = 0; v < course->visit_count; v++)
            out->visits[v].covers += l->alone[v];
    }
    for (size_t v = 0; v < course->visit_count; v++) {
        for (size_t i = 0; i < course->listed_count; i++)
            out->visits[v].entropy_alone += bits(course->listed[i].alone[v] / out->visits[v].covers);
        out->visits[v].covers = fmin(1.0, out->visits[v].covers); /* rounding */
        out->covers = fmin(out->covers, out->visits[v].covers);
    }
}

static size_t listed_in_answer(const struct course *course) {
    double told = 0.0;
    size_t n = 0;
    while (n < course->listed_count && n < RW_MAX_HYPOTHESES && (n < 10 || told < 0.95))
        told += course->listed[n++].shown.probability;
    return n;
}

/* The hypothesis traced last, spread over all worlds of the model. */
static void add_state(struct course *course, const struct rw_listed *l) {
    const struct rw_model *m = rw_model();
    const struct rw_paths *paths = course->paths;
    if (course->state_count == RW_MAX_STATES)
        return;
    struct rw_state *state = &course->states[course->state_count++];
    memset(state, 0, sizeof *state);
    state->outside = is_outside(l);
    for (size_t s = 0; s < m->site_count; s++)
        if (l->severity[s] != RW_INTACT)
            rw_sites_add(l->severity[s] == RW_PARTIAL ? &state->partial : &state->complete, s);
    for (size_t v = 0; v < m->variant_count; v++)
        for (size_t depth = 0; depth < RW_DEPTHS; depth++)
            state->weight[rw_world_of(v, depth)] =
                l->shown.probability * course->sums->world[paths->lot_of[v]][depth] *
                m->variants[v].prevalence / paths->variant_weight[paths->lot_of[v]];
}

/* The heavy part of the list in detail: all of the answer's, and down to the cut. */
static void trace(struct course *course, struct rw_course *out) {
    double done = 0.0;
    out->hypothesis_count = listed_in_answer(course);
    for (size_t i = 0; i < course->listed_count && (i < out->hypothesis_count || done < 1.0 - RW_COURSE_CUT);
         i++) {
        const struct rw_listed *l = &course->listed[i];
        const double p = l->shown.probability;
        if (is_outside(l))
            rw_paths_trace_outside(course->paths, p, course->sums, course->probes, course->probe_count);
        else
            rw_paths_trace(course->paths, l->severity, p, course->sums, course->probes, course->probe_count);
        done += p;
        add_state(course, l);
        if (i >= out->hypothesis_count)
            continue;
        out->hypotheses[i] = (struct rw_course_hypothesis){.first = l->shown, .p_alone = l->alone[0]};
        for (size_t k = 0; k < l->shown.lesion_count; k++)
            memcpy(out->hypotheses[i].now[k], course->sums->now[k], sizeof out->hypotheses[i].now[k]);
    }
}

static void fill_marginals(const struct course *course, struct rw_course *out) {
    const struct rw_sums *sums = course->sums;
    out->p_block = sums->block / sums->total;
    for (size_t v = 0; v < course->visit_count; v++) {
        for (size_t s = 0; s < rw_model()->site_count; s++)
            out->visits[v].sites[s] =
                (struct rw_course_site){sums->site[v][s][0] / sums->total, sums->site[v][s][1] / sums->total,
                                        sums->site[v][s][2] / sums->total};
        for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++) {
            const double torn = sums->root[v][r][0] / sums->total, other = sums->root[v][r][1] / sums->total;
            out->visits[v].roots[r] = (struct rw_root_posterior){1.0 - torn - other, torn, other};
        }
    }
}

static bool fill_pace(const struct course *course, struct rw_course *out) {
    struct rw_states states = {.list = course->states,
                               .count = course->state_count,
                               .world_count = RW_DEPTHS * rw_model()->variant_count};
    for (size_t i = 0; i < states.count; i++)
        for (size_t w = 0; w < states.world_count; w++)
            states.covers += course->states[i].weight[w];
    for (size_t i = 0; i < states.count; i++)
        for (size_t w = 0; w < states.world_count; w++)
            course->states[i].weight[w] /= states.covers;
    return rw_states_see(&states, course->arena) &&
           rw_course_pace(course->paths, course->sums, &states, course->arena, out);
}

static bool sum_up(struct course *course, struct rw_course *out) {
    struct rw_arena *arena = course->arena;
    course->paths = rw_arena_take(arena, 1, sizeof *course->paths);
    course->sums = rw_arena_take(arena, 1, sizeof *course->sums);
    course->states = rw_arena_take(arena, RW_MAX_STATES, sizeof *course->states);
    if (course->paths == NULL || course->sums == NULL || course->states == NULL ||
        !rw_paths_init(course->paths, course->exams, course->visit_count, arena))
        return false;
    const size_t kept = arena->used;
    course->probes = rw_arena_take(arena, RW_MAX_CHANGES, sizeof *course->probes);
    if (course->probes == NULL || !rw_paths_scratch_new(course->paths, arena))
        return false;
    memset(course->sums, 0, sizeof *course->sums);
    drop_doubles(course);
    limit_work(course);
    weigh(course);
    fill_totals(course, out);
    out->change_count = rw_changes_find(course->paths, out->changes, course->probes, &course->probe_count);
    trace(course, out);
    fill_marginals(course, out);
    rw_changes_finish(course->paths, course->sums, course->probes, out->changes, out->change_count);
    arena->used = kept; /* scratch and probes have done their work */
    return fill_pace(course, out);
}

static enum rw_status join(struct course *course, struct rw_course *out) {
    enum rw_status status = RW_OK;
    for (size_t v = 0; v < course->visit_count && status == RW_OK; v++)
        status = search_visit(course, v, out);
    if (status != RW_OK)
        return status;
    return sum_up(course, out) ? RW_OK : RW_ENOSPACE;
}

enum rw_status rw_course(const struct rw_exam *const *exams, size_t count, void *workspace,
                         size_t workspace_size, struct rw_course *out, struct rw_error *error) {
    struct rw_arena arena = {.base = workspace, .size = workspace_size};
    struct course course = {.arena = &arena, .visit_count = count};
    memset(error, 0, sizeof *error);
    if (workspace_size < rw_course_workspace_size())
        return refuse(error, RW_ENOSPACE, "the workspace is too small");
    enum rw_status status = check_exams(exams, count, error);
    if (status != RW_OK)
        return status;
    memset(out, 0, sizeof *out);
    out->visit_count = count;
    course.exams = rw_arena_take(&arena, RW_MAX_VISITS, sizeof *course.exams);
    course.listed = rw_arena_take(&arena, MOST_LISTED, sizeof *course.listed);
    if (course.exams == NULL || course.listed == NULL)
        return refuse(error, RW_ENOSPACE, "the workspace is too small");
    order_exams(&course, exams, out);
    status = join(&course, out);
    return status == RW_OK ? RW_OK : refuse(error, status, "the workspace is too small");
}
