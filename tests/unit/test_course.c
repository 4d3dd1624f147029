/* Several visits of one injury: the joint posterior against plain enumeration, and what must hold of any
 * course. */
#include "hand_made.h"
#include "localise.h"
#include "paths.h"
#include "unaided.h"

#define AGREES 1e-9 /* a few thousand roundings */

enum { ONSET = 20000 };

struct visits {
    size_t count;
    struct rw_exam *exams[RW_MAX_VISITS + 1];
};

static struct rw_course *course_of(const struct visits *visits) {
    struct rw_course *out = malloc(sizeof *out);
    struct rw_error error;
    const struct rw_exam *exams[RW_MAX_VISITS];
    for (size_t v = 0; v < visits->count; v++)
        exams[v] = visits->exams[v];
    void *workspace = malloc(rw_course_workspace_size());
    cr_assert_eq(rw_course(exams, visits->count, workspace, rw_course_workspace_size(), out, &error), RW_OK,
                 "%s", error.message);
    free(workspace);
    return out;
}

static struct rw_exam *add(struct visits *visits, int32_t days, const char *grades) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + days);
    give_motor(exam, grades);
    visits->exams[visits->count++] = exam;
    return exam;
}

static void release(struct visits *visits) {
    for (size_t v = 0; v < visits->count; v++)
        free(visits->exams[v]);
}

static const struct rw_change *change_of(const struct rw_course *c, const char *muscle) {
    const uint16_t check = rw_check_find(RW_SECTION_MOTOR, muscle);
    for (size_t i = 0; i < c->change_count; i++)
        if (c->changes[i].check == check)
            return &c->changes[i];
    cr_assert_fail("no change of %s", muscle);
    return NULL;
}

static const struct rw_muscle_pace *pace_of(const struct rw_course *c, const char *muscle) {
    for (size_t i = 0; i < c->muscle_count; i++)
        if (c->muscles[i].muscle == muscle_of(muscle))
            return &c->muscles[i];
    cr_assert_fail("no pace of %s", muscle);
    return NULL;
}

#define UPPER_GONE                                                                                           \
    "supraspinatus=0 infraspinatus=0 deltoid_lateral=0 biceps_brachii=0 brachioradialis=0 rhomboids=5 "      \
    "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5"
#define UPPER_WHOLE                                                                                          \
    "supraspinatus=5 infraspinatus=5 deltoid_lateral=5 biceps_brachii=5 brachioradialis=5 rhomboids=5 "      \
    "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5"
#define UPPER_BACK                                                                                           \
    "supraspinatus=4 infraspinatus=4 deltoid_lateral=4 biceps_brachii=4 brachioradialis=3 rhomboids=5 "      \
    "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5"

static bool is_torn_site(size_t site) {
    return rw_sites_hold(rw_sites_preganglionic(), site);
}

/* ---- one visit ---- */

Test(course, one_visit_is_its_own_posterior_over_the_list) {
    struct visits visits = {0};
    add(&visits, 60, UPPER_GONE);
    struct rw_course *c = course_of(&visits);
    struct rw_arena arena = {.size = rw_workspace_size(), .base = malloc(rw_workspace_size())};
    struct rw_localisation *l = malloc(sizeof *l);
    struct rw_localise_result result;
    cr_assert_eq(rw_localise(visits.exams[0], &arena, l, &result), RW_OK);
    double held = 0.0;
    for (size_t i = 0; i < result.hypothesis_count; i++)
        held += result.hypotheses[i].shown.probability;
    cr_assert_float_eq(c->covers, held, AGREES);
    cr_assert_gt(c->hypothesis_count, 9);
    for (size_t i = 0; i < c->hypothesis_count; i++) {
        const struct rw_hypothesis *h = &c->hypotheses[i].first, *own = &result.hypotheses[i].shown;
        cr_assert_float_eq(h->probability, own->probability / held, AGREES);
        cr_assert_float_eq(c->hypotheses[i].p_alone, own->probability, AGREES);
        cr_assert_float_eq(h->log_likelihood, own->log_likelihood, AGREES);
    }
    cr_assert_eq(c->change_count, 0);
    free(l);
    free(arena.base);
    free(c);
    release(&visits);
}

/* ---- plain enumeration ---- */

enum { BLOCK, FAST, SLOW, MANNERS };

/* The rule of course.h, written down once more. */
struct plain {
    const struct visits *visits;
    const struct rw_hypothesis *h;
    struct rw_unaided unaided;
    double site_mm[RW_MAX_SITES];
    size_t variant, manner, last; /* visits 0 to last */
    uint8_t severity[RW_MAX_VISITS][RW_MAX_LESIONS], depth[RW_MAX_VISITS];
    double now[RW_MAX_LESIONS][3];    /* at the last visit */
    double recovered[RW_MAX_TARGETS]; /* likewise: the target shows more than at first */
};

static double day_of(const struct plain *p, size_t visit) {
    return (double)p->visits->exams[visit]->examined_day - ONSET;
}

static void rates(const struct plain *p, double *sign, double *onward) {
    *sign = *onward = log(2.0) / rw_fact_value("recovery_block_half_days");
    if (p->manner == BLOCK)
        return;
    *sign = -log(1.0 - rw_fact_value("recovery_sign_share")) / rw_fact_value("recovery_sign_days");
    *onward = log(2.0) / rw_fact_value("recovery_onward_half_days");
}

/* P(complete at t), P(partial at t) of a lesion complete at 0 that recovers with chance u; by small steps
 * when the rates are equal would be as good, so both forms stand here. */
static double from_complete(double u, double p, double q, double from, double to, unsigned severity) {
    const double before = 1.0 - u + u * exp(-p * from), stays = 1.0 - u + u * exp(-p * to);
    const double between = fabs(p - q) < 1e-12
                               ? p * (to - from) * exp(-p * to)
                               : p / (p - q) * (exp(-p * from - q * (to - from)) - exp(-p * to));
    if (severity == RW_COMPLETE)
        return stays / before;
    return severity == RW_PARTIAL ? u * between / before : 1.0 - (stays + u * between) / before;
}

static double partial_stays(const struct plain *p, double rate, size_t visit) {
    const double w = p->unaided.at[site_of("upper_trunk_proximal")][RW_PARTIAL],
                 from = day_of(p, visit - 1) - day_of(p, 0), to = day_of(p, visit) - day_of(p, 0);
    return (1.0 - w + w * exp(-rate * to)) / (1.0 - w + w * exp(-rate * from));
}

static double step_of(const struct plain *p, size_t visit, size_t lesion) {
    const struct rw_site *site = &rw_model()->sites[p->h->lesions[lesion].site];
    const unsigned first = p->h->lesions[lesion].severity, from = p->severity[visit - 1][lesion],
                   to = p->severity[visit][lesion];
    double sign, onward;
    rates(p, &sign, &onward);
    if (site->relation != NULL && strcmp(site->relation, "preganglionic") == 0)
        return from == to ? 1.0 : 0.0;
    if (to > from)
        return 0.0;
    if (from == RW_INTACT)
        return 1.0;
    if (from == RW_COMPLETE)
        return from_complete(p->unaided.at[p->h->lesions[lesion].site][RW_COMPLETE], sign, onward,
                             day_of(p, visit - 1) - day_of(p, 0), day_of(p, visit) - day_of(p, 0), to);
    const double stays = first == RW_PARTIAL ? partial_stays(p, onward, visit)
                                             : exp(-onward * (day_of(p, visit) - day_of(p, visit - 1)));
    return to == RW_PARTIAL ? stays : 1.0 - stays;
}

static double depth_step(const struct plain *p, size_t visit) {
    bool heals = false, torn_partial = false;
    double sign, onward;
    rates(p, &sign, &onward);
    for (size_t i = 0; i < p->h->lesion_count; i++) {
        const bool torn = is_torn_site(p->h->lesions[i].site);
        heals |= !torn;
        torn_partial |= torn && p->h->lesions[i].severity == RW_PARTIAL;
    }
    const double stays = heals && !torn_partial ? partial_stays(p, onward, visit) : 1.0;
    if (p->depth[visit - 1] == 0)
        return p->depth[visit] == 0 ? 1.0 : 0.0;
    return p->depth[visit] == 1 ? stays : 1.0 - stays;
}

/* What a target can see of its lesions at a visit. */
static struct rw_case seen_by(const struct plain *p, size_t visit, uint16_t target) {
    struct rw_case c = {.weight = 1.0, .variant = (uint16_t)p->variant, .depth = p->depth[visit]};
    double mm = rw_motor_point_mm(target);
    for (size_t i = 0; i < rw_model()->member_count; i++)
        if (rw_model()->members[i].owner == target)
            mm = fmin(mm, rw_motor_point_mm(rw_model()->members[i].muscle));
    for (size_t i = 0; i < p->h->lesion_count; i++) {
        const struct rw_lesion *l = &p->h->lesions[i];
        double way = mm - p->site_mm[l->site], days[2];
        way = isnan(way) ? 0.0 : fmax(rw_fact_value("least_distance_mm"), way);
        const double rate[2] = {rw_fact_value("rate_low_mm_per_day"), rw_fact_value("rate_high_mm_per_day")};
        rw_growth_days(rate, way, days);
        const bool waits = p->manner != BLOCK && l->severity == RW_COMPLETE &&
                           day_of(p, visit) < days[p->manner == FAST ? 0 : 1];
        c.severity[l->site] = waits ? RW_COMPLETE : p->severity[visit][i];
    }
    return c;
}

static const struct rw_finding *recorded(const struct plain *p, size_t visit, uint16_t check) {
    for (size_t i = 0; i < p->visits->exams[visit]->finding_count; i++)
        if (p->visits->exams[visit]->findings[i].check == check)
            return &p->visits->exams[visit]->findings[i];
    return NULL;
}

/* Two plain words of one check, at one point of the grid. */
struct point {
    const struct rw_table *table;
    unsigned before, now;
    double g, n; /* finding_persists, and n of course.h */
    double p[UINT8_MAX];
};

/* N of course.h. */
static double near_at(const struct point *at, unsigned w) {
    const unsigned v = at->before;
    double joint = 0.0;
    for (unsigned odd = 0; odd < 2; odd++) { /* 01 23 45, or 0 12 34 5 */
        const unsigned first = v % 2 == odd ? v : v - 1;
        double class = 0.0;
        for (unsigned o = 0; o < at->table->observation_count; o++)
            class += o == first || o == first + 1 ? at->p[o] : 0.0;
        joint += w == first || w == first + 1 ? 0.5 * at->p[v] * at->p[w] / class : 0.0;
    }
    return joint;
}

/* A of course.h. */
static double unchanged_at(const struct point *at, unsigned w) {
    return (w == at->before ? at->g : 0.0) + at->n * near_at(at, w) / at->p[at->before] +
           (1.0 - at->g - at->n) * at->p[w];
}

static double stands_for(const struct rw_table *table, unsigned o) {
    double sum = 0.0, all = 0.0;
    for (size_t g = 0; g < RW_GRID; g++) {
        const double p = rw_table_probability(table, RW_SPREAD_SHARP, (double)g / (RW_GRID - 1), o);
        sum += p * (double)g / (RW_GRID - 1);
        all += p;
    }
    return sum / all;
}

/* P' of course.h. */
static double risen_at(const struct point *at) {
    const double before = stands_for(at->table, at->before) - AGREES;
    double falls = 0.0, others = 0.0;
    for (unsigned o = 0; o < at->table->observation_count; o++)
        if (stands_for(at->table, o) < before)
            falls += unchanged_at(at, o);
        else
            others += at->p[o];
    if (stands_for(at->table, at->now) < before)
        return unchanged_at(at, at->now);
    return (1.0 - falls) * at->p[at->now] / others;
}

/* N and P' of course.h, between the points of the grid. */
static void near_and_risen(const struct rw_case *c, struct point *at, uint16_t target, double *near,
                           double *risen) {
    enum rw_spread spread;
    const double x = rw_intact_fraction(c, target, &spread) * (RW_GRID - 1);
    *near = *risen = 0.0;
    for (size_t g = 0; g < RW_GRID; g++) {
        const double weight = fmax(0.0, 1.0 - fabs(x - (double)g));
        for (unsigned o = 0; o < at->table->observation_count; o++)
            at->p[o] = rw_table_probability(at->table, spread, (double)g / (RW_GRID - 1), o);
        *near += weight * near_at(at, at->now);
        *risen += weight * risen_at(at);
    }
}

/* P(a finding of `visit` | the target as it is at visit `as`). Plain words of one observation only, of tables
 * that speak at once. */
static double finding_p(const struct plain *p, size_t visit, size_t as, const struct rw_finding *f) {
    const struct rw_check *check = &rw_model()->checks[f->check];
    const struct rw_case c = seen_by(p, as, check->target), first = seen_by(p, 0, check->target);
    const double now = rw_finding_probability(&c, f, 1.0);
    for (size_t v = visit; v-- > 0;) {
        const struct rw_finding *before = recorded(p, v, f->check);
        if (before == NULL)
            continue;
        if (before->filled_in || f->filled_in)
            return now;
        enum rw_spread spread;
        const bool picture = check->section == RW_SECTION_ROOT_AVULSION;
        const double risen = rw_intact_fraction(&c, check->target, &spread) -
                             rw_intact_fraction(&first, check->target, &spread);
        const struct rw_value *values = rw_model()->scales[check->scale].values;
        struct point at = {.table = &rw_model()->tables[check->table],
                           .before = values[before->value].observation[0],
                           .now = values[f->value].observation[0],
                           .g = rw_fact_value(picture ? "picture_persists" : "finding_persists")};
        at.n = picture ? 0.0 : (1.0 - at.g) * (1.0 - rw_fact_value("finding_strays"));
        double near, anew;
        near_and_risen(&c, &at, check->target, &near, &anew);
        const double k = fmax(0.0, 1.0 - risen / rw_fact_value("change_shows")),
                     same = before->value == f->value ? at.g : 0.0,
                     unchanged = same + at.n * near / rw_finding_probability(&c, before, 1.0) +
                                 (1.0 - at.g - at.n) * now;
        return k * unchanged + (1.0 - k) * anew;
    }
    return now;
}

/* Whether nothing that can heal is left of the lesions that the target sees. */
static bool whole(const struct plain *p, size_t visit, uint16_t target) {
    const struct rw_case c = seen_by(p, visit, target);
    const struct rw_sites sees = rw_sites_to_any(target);
    bool is = true;
    for (size_t site = 0; site < rw_model()->site_count; site++)
        is = is && (c.severity[site] == RW_INTACT || is_torn_site(site) || !rw_sites_hold(sees, site));
    return is;
}

/* P(all findings of one target at a visit), it following its lesions (0) or standing as at first (1), each with
 * its chance. */
static void target_p(const struct plain *p, size_t visit, uint16_t target, double either[2]) {
    const struct rw_exam *exam = p->visits->exams[visit];
    const double shows =
        rw_fact_value(whole(p, visit, target) ? "recovery_shows_whole" : "recovery_shows_partial");
    either[0] = shows;
    either[1] = 1.0 - shows;
    for (size_t i = 0; i < exam->finding_count; i++) {
        if (rw_model()->checks[exam->findings[i].check].target != target)
            continue;
        either[0] *= finding_p(p, visit, visit, &exam->findings[i]);
        either[1] *= finding_p(p, visit, 0, &exam->findings[i]);
    }
}

/* Adds a path to what each target shows at the last visit. */
static void add_recovered(struct plain *p, double weight) {
    for (uint16_t target = 0; target < rw_model()->target_count; target++) {
        const struct rw_case c = seen_by(p, p->last, target), first = seen_by(p, 0, target);
        enum rw_spread spread;
        double either[2];
        if (!(rw_intact_fraction(&c, target, &spread) > rw_intact_fraction(&first, target, &spread) + AGREES))
            continue;
        target_p(p, p->last, target, either);
        p->recovered[target] += weight * either[0] / (either[0] + either[1]);
    }
}

static double manner_p(const struct plain *p) {
    double sign, onward, lifts, none;
    struct plain other = *p;
    other.manner = FAST;
    rates(&other, &sign, &onward);
    other.manner = BLOCK;
    rates(&other, &lifts, &none);
    const double b = rw_fact_value("recovery_block_share") * exp(-lifts * day_of(p, 0));
    const double g = (1.0 - rw_fact_value("recovery_block_share")) * exp(-sign * day_of(p, 0));
    return p->manner == BLOCK ? b / (b + g) : 0.5 * g / (b + g);
}

static double visit_p(const struct plain *p, size_t visit) {
    double product = 1.0;
    for (uint16_t target = 0; target < rw_model()->target_count; target++) {
        double either[2];
        target_p(p, visit, target, either);
        product *= either[0] + either[1];
    }
    return product;
}

/* Sum over everything from `visit` on, times `weight`. */
static double all_paths(struct plain *p, size_t visit, double weight) {
    size_t states = 2;
    double sum = 0.0;
    if (visit > p->last) {
        for (size_t i = 0; i < p->h->lesion_count; i++)
            p->now[i][p->severity[p->last][i]] += weight;
        add_recovered(p, weight);
        return weight;
    }
    for (size_t i = 0; i < p->h->lesion_count; i++)
        states *= 3;
    for (size_t state = 0; state < states; state++) {
        size_t rest = state / 2;
        double step = 1.0;
        p->depth[visit] = (uint8_t)(state % 2);
        for (size_t i = 0; i < p->h->lesion_count; i++, rest /= 3) {
            p->severity[visit][i] = (uint8_t)(rest % 3);
            step *= visit > 0                                        ? step_of(p, visit, i)
                    : p->severity[0][i] == p->h->lesions[i].severity ? 1.0
                                                                     : 0.0;
        }
        const double mild = rw_fact_value("partial_share_mild");
        step *= visit > 0 ? depth_step(p, visit) : state % 2 == 0 ? mild : 1.0 - mild;
        if (step > 0.0)
            sum += all_paths(p, visit + 1, weight * step * visit_p(p, visit));
    }
    return sum;
}

static double enumerate(struct plain *p) {
    double sum = 0.0;
    memset(p->now, 0, sizeof p->now);
    memset(p->recovered, 0, sizeof p->recovered);
    for (p->variant = 0; p->variant < rw_model()->variant_count; p->variant++)
        for (p->manner = 0; p->manner < MANNERS; p->manner++)
            sum += all_paths(p, 0, rw_model()->variants[p->variant].prevalence * manner_p(p));
    return sum;
}

/* What targets show at the last visit, for one set of lesions alone. */
static void recovered_agrees(const struct plain *p, double sum) {
    struct rw_exam *exams = calloc(p->last + 1, sizeof *exams);
    uint8_t severity[RW_MAX_SITES] = {0};
    struct rw_arena arena = {.size = rw_course_workspace_size(), .base = malloc(rw_course_workspace_size())};
    struct rw_sums *sums = calloc(1, sizeof *sums);
    struct rw_paths paths;
    for (size_t v = 0; v <= p->last; v++)
        exams[v] = *p->visits->exams[v];
    for (size_t i = 0; i < p->h->lesion_count; i++)
        severity[p->h->lesions[i].site] = p->h->lesions[i].severity;
    cr_assert(rw_paths_init(&paths, exams, p->last + 1, &arena) && rw_paths_scratch_new(&paths, &arena));
    rw_paths_trace(&paths, severity, 1.0, sums, NULL, 0);
    for (size_t i = 0; i < paths.watched_count; i++)
        cr_assert_float_eq(sums->recovered[p->last][i], p->recovered[paths.watched[i].target] / sum, AGREES,
                           "%s: %.12f, not %.12f", rw_model()->targets[paths.watched[i].target].id,
                           sums->recovered[p->last][i], p->recovered[paths.watched[i].target] / sum);
    free(sums);
    free(arena.base);
    free(exams);
}

static void agrees(const struct visits *visits, size_t most) {
    struct rw_course *c = course_of(visits);
    struct plain *p = calloc(1, sizeof *p);
    size_t compared = 0;
    p->visits = visits;
    p->last = visits->count - 1;
    rw_unaided_init(visits->exams[0], &p->unaided);
    rw_site_distances(p->site_mm);
    for (size_t i = 0; i < c->hypothesis_count && compared < most; i++) {
        const struct rw_course_hypothesis *h = &c->hypotheses[i];
        if (h->first.lesion_count > 3 || h->first.kind == RW_PRIOR_OUTSIDE)
            continue;
        p->h = &h->first;
        const double sum = enumerate(p);
        cr_assert_float_eq(h->first.log_likelihood, log(sum), AGREES, "hypothesis %zu: %.15g, not %.15g", i,
                           h->first.log_likelihood, log(sum));
        for (size_t k = 0; k < h->first.lesion_count; k++)
            for (size_t severity = 0; severity < 3; severity++)
                cr_assert_float_eq(h->now[k][severity], p->now[k][severity] / sum, AGREES);
        recovered_agrees(p, sum);
        compared++;
    }
    cr_assert_eq(compared, most, "only %zu hypotheses were small enough", compared);
    free(p);
    free(c);
}

Test(course, agrees_with_plain_enumeration_over_two_visits) {
    struct visits visits = {0};
    add(&visits, 40, "deltoid_lateral=0 biceps_brachii=1 infraspinatus=0");
    give(visits.exams[0], RW_SECTION_ROOT_AVULSION, "C5", "false");
    add(&visits, 150, "deltoid_lateral=2 biceps_brachii=1 triceps_long_head=5");
    give(visits.exams[1], RW_SECTION_ROOT_AVULSION, "C5", "false");
    give(visits.exams[1], RW_SECTION_SKIN_ROOT, "C6", "reduced");
    agrees(&visits, 8);
    release(&visits);
}

Test(course, agrees_with_plain_enumeration_over_three_visits) {
    struct visits visits = {0};
    add(&visits, 20, "abductor_digiti_minimi=0 flexor_carpi_ulnaris=3");
    add(&visits, 21, "flexor_carpi_ulnaris=3");
    add(&visits, 400, "abductor_digiti_minimi=1 flexor_carpi_ulnaris=5");
    agrees(&visits, 5);
    release(&visits);
}

/* ---- what must hold ---- */

Test(course, a_visit_without_findings_changes_nothing) {
    struct visits two = {0}, three = {0};
    add(&two, 40, UPPER_GONE);
    add(&two, 200, UPPER_BACK);
    add(&three, 40, UPPER_GONE);
    three.exams[three.count++] = new_exam(RW_MECHANISM_TRACTION, ONSET, ONSET + 97);
    add(&three, 200, UPPER_BACK);
    struct rw_course *a = course_of(&two), *b = course_of(&three);
    for (size_t i = 0; i < 10; i++) {
        const struct rw_hypothesis *x = &a->hypotheses[i].first, *y = &b->hypotheses[i].first;
        cr_assert_eq(memcmp(x->lesions, y->lesions, sizeof x->lesions), 0);
        cr_assert_float_eq(x->log_likelihood, y->log_likelihood, AGREES);
    }
    free(a);
    free(b);
    release(&two);
    release(&three);
}

Test(course, the_same_findings_again_sharpen_and_are_no_recovery) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE);
    add(&visits, 60, UPPER_GONE);
    struct rw_course *c = course_of(&visits);
    cr_assert_gt(c->hypotheses[0].first.probability, c->hypotheses[0].p_alone);
    cr_assert_lt(c->entropy, c->visits[0].entropy_alone);
    for (size_t i = 0; i < c->change_count; i++) {
        cr_assert_eq(c->changes[i].direction, RW_CHANGE_SAME);
        cr_assert_lt(c->changes[i].p_recovered, 0.1);
    }
    for (size_t i = 0; i < c->muscle_count; i++)
        cr_assert_eq(c->muscles[i].pace, RW_PACE_TOO_SOON);
    free(c);
    release(&visits);
}

/* Imaging says that C6 is torn; the muscles come back all the same. */
Test(course, recovery_clears_a_root_of_being_torn) {
    struct visits visits = {0};
    add(&visits, 60, UPPER_GONE);
    give(visits.exams[0], RW_SECTION_PSEUDOMENINGOCELE, "C6", "true");
    struct rw_course *before = course_of(&visits);
    add(&visits, 300, UPPER_WHOLE);
    struct rw_course *after = course_of(&visits);
    const double doubt = before->visits[0].roots[1].p_preganglionic,
                 left = after->visits[0].roots[1].p_preganglionic;
    cr_assert_gt(doubt, 0.2, "the test needs a doubt: %g", doubt);
    cr_assert_lt(left, 0.25 * doubt, "%g of %g is left", left, doubt);
    free(before);
    free(after);
    release(&visits);
}

Test(course, torn_roots_never_recover) {
    struct visits visits = {0};
    add(&visits, 60, UPPER_GONE);
    give(visits.exams[0], RW_SECTION_ROOT_AVULSION, "C5", "true");
    give(visits.exams[0], RW_SECTION_ROOT_AVULSION, "C6", "true");
    add(&visits, 300, UPPER_BACK);
    struct rw_course *c = course_of(&visits);
    bool some = false;
    for (size_t i = 0; i < c->hypothesis_count; i++)
        for (size_t k = 0; k < c->hypotheses[i].first.lesion_count; k++) {
            const struct rw_lesion *l = &c->hypotheses[i].first.lesions[k];
            if (!is_torn_site(l->site))
                continue;
            some = true;
            cr_assert_float_eq(c->hypotheses[i].now[k][l->severity], 1.0, EXACT);
        }
    cr_assert(some);
    for (size_t s = 0; s < rw_model()->site_count; s++)
        if (is_torn_site(s))
            cr_assert_float_eq(c->visits[1].sites[s].p_recovered, 0.0, EXACT);
    free(c);
    release(&visits);
}

Test(course, nothing_is_worse_later_and_marginals_add_up) {
    struct visits visits = {0};
    add(&visits, 30, UPPER_GONE);
    add(&visits, 170, UPPER_GONE);
    add(&visits, 330, UPPER_BACK);
    struct rw_course *c = course_of(&visits);
    for (size_t v = 0; v < 3; v++)
        for (size_t s = 0; s < rw_model()->site_count; s++) {
            const struct rw_course_site *now = &c->visits[v].sites[s],
                                        *then = &c->visits[v > 0 ? v - 1 : 0].sites[s];
            cr_assert(now->p_complete <= now->p_injured + EXACT && now->p_injured <= 1.0 + EXACT);
            cr_assert(now->p_injured <= then->p_injured + EXACT &&
                      now->p_complete <= then->p_complete + EXACT);
            cr_assert(now->p_recovered >= then->p_recovered - EXACT);
            cr_assert(v > 0 || now->p_recovered <= 0.0);
        }
    for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++)
        cr_assert_float_eq(c->visits[0].roots[r].p_preganglionic, c->visits[2].roots[r].p_preganglionic,
                           EXACT);
    free(c);
    release(&visits);
}

Test(course, visits_are_taken_by_date_in_whatever_order_they_come) {
    struct visits given = {0}, ordered = {0};
    add(&given, 200, UPPER_BACK);
    add(&given, 40, UPPER_GONE);
    add(&ordered, 40, UPPER_GONE);
    add(&ordered, 200, UPPER_BACK);
    struct rw_course *a = course_of(&given), *b = course_of(&ordered);
    cr_assert_eq(a->visits[0].exam, 1);
    cr_assert_eq(a->visits[1].exam, 0);
    a->visits[0].exam = 0;
    a->visits[1].exam = 1;
    cr_assert_eq(memcmp(a, b, sizeof *a), 0);
    free(a);
    free(b);
    release(&given);
    release(&ordered);
}

Test(course, what_one_visit_leaves_out_another_says) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE)->onset_day = RW_NO_DAY;
    add(&visits, 60, UPPER_GONE);
    visits.exams[0]->mechanism = RW_MECHANISM_UNKNOWN;
    struct rw_course *c = course_of(&visits);
    cr_assert_eq(c->mechanism, RW_MECHANISM_TRACTION);
    cr_assert_not(c->mechanisms_differ);
    cr_assert_null(c->no_pace);
    free(c);
    visits.exams[0]->mechanism = RW_MECHANISM_GUNSHOT;
    visits.exams[1]->onset_day = RW_NO_DAY;
    c = course_of(&visits);
    cr_assert_eq(c->mechanism, RW_MECHANISM_GUNSHOT);
    cr_assert(c->mechanisms_differ);
    cr_assert_not_null(c->no_pace);
    free(c);
    release(&visits);
}

/* ---- changes ---- */

Test(course, a_step_of_one_grade_in_one_muscle_is_not_called_recovery) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE);
    add(&visits, 60,
        "supraspinatus=0 infraspinatus=0 deltoid_lateral=0 biceps_brachii=1 brachioradialis=0 rhomboids=5 "
        "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5");
    struct rw_course *c = course_of(&visits);
    const struct rw_change *biceps = change_of(c, "biceps_brachii");
    cr_assert_eq(biceps->direction, RW_CHANGE_BETTER);
    cr_assert_lt(biceps->p_recovered, 0.3, "%g", biceps->p_recovered);
    free(c);
    release(&visits);
}

Test(course, recovery_of_many_muscles_is_called_so) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE);
    add(&visits, 300, UPPER_BACK);
    struct rw_course *c = course_of(&visits);
    cr_assert_gt(change_of(c, "biceps_brachii")->p_recovered, 0.9);
    cr_assert_eq(change_of(c, "rhomboids")->direction, RW_CHANGE_SAME);
    cr_assert_eq(c->changes[0].direction, RW_CHANGE_BETTER, "what matters comes first");
    free(c);
    release(&visits);
}

Test(course, a_fall_beyond_chance_is_named_and_a_small_one_is_not) {
    struct visits visits = {0};
    add(&visits, 40, "triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5 biceps_brachii=5");
    add(&visits, 60, "triceps_long_head=1 extensor_digitorum=4 first_dorsal_interosseous=5 biceps_brachii=5");
    struct rw_course *c = course_of(&visits);
    const struct rw_change *triceps = change_of(c, "triceps_long_head"),
                           *digits = change_of(c, "extensor_digitorum");
    cr_assert_eq(triceps->direction, RW_CHANGE_WORSE);
    cr_assert(triceps->beyond_chance, "%g", triceps->p_chance);
    cr_assert_eq(digits->direction, RW_CHANGE_WORSE);
    cr_assert_not(digits->beyond_chance, "%g", digits->p_chance);
    cr_assert_eq(&c->changes[0], triceps);
    free(c);
    release(&visits);
}

Test(course, signs_that_were_not_due_and_percussion_are_neither_better_nor_worse) {
    struct visits visits = {0};
    add(&visits, 5, "deltoid_lateral=0");
    give(visits.exams[0], RW_SECTION_WASTING, "deltoid_lateral", "false");
    give(visits.exams[0], RW_SECTION_PERCUSSION, "infraclavicular", "none");
    give(visits.exams[0], RW_SECTION_SIGN, "long_tract_signs", "false");
    add(&visits, 60, "deltoid_lateral=0");
    give(visits.exams[1], RW_SECTION_WASTING, "deltoid_lateral", "true");
    give(visits.exams[1], RW_SECTION_PERCUSSION, "infraclavicular", "radiating");
    give(visits.exams[1], RW_SECTION_SIGN, "long_tract_signs", "true");
    struct rw_course *c = course_of(&visits);
    cr_assert_eq(c->change_count, 4);
    for (size_t i = 0; i < c->change_count; i++) {
        const enum rw_section section = rw_model()->checks[c->changes[i].check].section;
        cr_assert_eq(c->changes[i].direction, section == RW_SECTION_SIGN    ? RW_CHANGE_WORSE
                                              : section == RW_SECTION_MOTOR ? RW_CHANGE_SAME
                                                                            : RW_CHANGE_OTHER);
    }
    cr_assert(c->changes[0].beyond_chance, "a red flag that is new");
    cr_assert(isnan(c->changes[0].p_recovered), "and has no part in the inference");
    free(c);
    release(&visits);
}

/* ---- pace ---- */

#define AXILLARY(grade)                                                                                      \
    "deltoid_lateral=" grade " deltoid_posterior=" grade " teres_minor=" grade                               \
    " biceps_brachii=5 infraspinatus=5 triceps_long_head=5 supraspinatus=5"

static enum rw_pace deltoid_pace(int32_t second, const char *grades, int32_t third,
                                 const char *third_grades) {
    struct visits visits = {0};
    add(&visits, 10, AXILLARY("0"));
    add(&visits, second, grades);
    if (third > 0)
        add(&visits, third, third_grades);
    struct rw_course *c = course_of(&visits);
    const enum rw_pace pace = pace_of(c, "deltoid_lateral")->pace;
    free(c);
    release(&visits);
    return pace;
}

/* An axillary lesion: first sign expected 69 to 144 days after onset with today's facts. */
Test(course, pace_goes_by_the_dates_of_the_first_sign) {
    cr_assert_eq(deltoid_pace(40, AXILLARY("3"), 0, NULL), RW_PACE_EARLIER);
    cr_assert_eq(deltoid_pace(120, AXILLARY("3"), 0, NULL), RW_PACE_AS_EXPECTED);
    cr_assert_eq(deltoid_pace(60, AXILLARY("0"), 0, NULL), RW_PACE_TOO_SOON);
    cr_assert_eq(deltoid_pace(250, AXILLARY("0"), 0, NULL), RW_PACE_LATER);
    cr_assert_eq(deltoid_pace(200, AXILLARY("0"), 300, AXILLARY("3")), RW_PACE_LATER);
    cr_assert_eq(deltoid_pace(120, AXILLARY("3"), 300, AXILLARY("5")), RW_PACE_RECOVERED);
}

/* Some of the muscles of an upper trunk lesion come back, in time, and others do not yet. */
Test(course, muscles_of_one_lesion_may_come_back_apart) {
    struct visits visits = {0};
    add(&visits, 50, UPPER_GONE " deltoid_anterior=0 deltoid_posterior=0 extensor_carpi_radialis_longus=2");
    add(&visits, 203,
        "supraspinatus=3 infraspinatus=3 deltoid_lateral=0 biceps_brachii=3 brachioradialis=0 rhomboids=5 "
        "serratus_anterior=5 triceps_long_head=5 extensor_digitorum=5 first_dorsal_interosseous=5 "
        "deltoid_anterior=0 deltoid_posterior=0 extensor_carpi_radialis_longus=2");
    for (size_t v = 0; v < 2; v++)
        give(visits.exams[v], RW_SECTION_MOVEMENT, "elbow_flexion", v == 0 ? "0" : "3");
    struct rw_course *c = course_of(&visits);
    static const char *const risen[] = {"supraspinatus", "infraspinatus", "biceps_brachii"};
    for (size_t i = 0; i < sizeof risen / sizeof *risen; i++) {
        const struct rw_muscle_pace *pace = pace_of(c, risen[i]);
        cr_expect_gt(pace->p_recovered, 0.8, "%s: %.3f", risen[i], pace->p_recovered);
        cr_expect(pace->pace == RW_PACE_AS_EXPECTED || pace->pace == RW_PACE_EARLIER, "%s: %d", risen[i],
                  (int)pace->pace);
    }
    cr_expect_lt(pace_of(c, "deltoid_lateral")->p_recovered, 0.2);
    free(c);
    release(&visits);
}

/* Something may have come back that does not show yet: that is no sign. */
Test(course, a_muscle_graded_as_at_first_shows_no_sign) {
    struct visits visits = {0};
    add(&visits, 50,
        "supraspinatus=0 infraspinatus=0 deltoid=0 biceps_brachii=0 brachioradialis=0 rhomboids=5 "
        "serratus_anterior=5 triceps_brachii=5 first_dorsal_interosseous=5");
    add(&visits, 200,
        "supraspinatus=3 infraspinatus=2 deltoid=0 biceps_brachii=3 brachioradialis=1 rhomboids=5 "
        "serratus_anterior=5 triceps_brachii=5 first_dorsal_interosseous=5");
    struct rw_course *c = course_of(&visits);
    cr_expect_eq(pace_of(c, "deltoid_posterior")->pace, RW_PACE_TOO_SOON);
    cr_expect_eq(pace_of(c, "biceps_brachii")->pace, RW_PACE_AS_EXPECTED);
    free(c);
    release(&visits);
}

/* A group that fell is no sign of its parts, and nothing that fell beyond chance is called recovered. */
Test(course, a_fall_is_no_recovery) {
    struct visits visits = {0};
    add(&visits, 20,
        "deltoid=4 biceps_brachii=4 infraspinatus=4 triceps_brachii=5 rhomboids=5 "
        "extensor_digitorum=5 first_dorsal_interosseous=5");
    add(&visits, 120,
        "deltoid=2 biceps_brachii=2 infraspinatus=4 triceps_brachii=5 rhomboids=5 "
        "extensor_digitorum=5 first_dorsal_interosseous=5");
    struct rw_course *c = course_of(&visits);
    for (size_t i = 0; i < c->muscle_count; i++)
        cr_expect(c->muscles[i].pace != RW_PACE_EARLIER && c->muscles[i].pace != RW_PACE_AS_EXPECTED,
                  "%s: %d", rw_model()->targets[c->muscles[i].muscle].id, (int)c->muscles[i].pace);
    cr_expect_lt(change_of(c, "deltoid")->p_recovered, 0.3);
    cr_expect_lt(change_of(c, "biceps_brachii")->p_recovered, 0.3);
    cr_expect(change_of(c, "biceps_brachii")->beyond_chance);
    free(c);
    release(&visits);
}

/* A group's sign is the sign of its parts. */
Test(course, parts_go_by_the_group_that_was_graded) {
    struct visits visits = {0};
    add(&visits, 30, "deltoid=0 teres_minor=0 biceps_brachii=5 infraspinatus=5 triceps_brachii=5");
    add(&visits, 150, "deltoid=3 teres_minor=2 biceps_brachii=5 infraspinatus=5 triceps_brachii=5");
    struct rw_course *c = course_of(&visits);
    const struct rw_muscle_pace *part = pace_of(c, "deltoid_lateral");
    cr_expect_float_eq(part->p_recovered, change_of(c, "deltoid")->p_recovered, AGREES);
    cr_expect_gt(part->p_recovered, 0.8);
    cr_expect_neq(part->pace, RW_PACE_LATER);
    free(c);
    release(&visits);
}

Test(course, nothing_is_expected_of_torn_roots) {
    struct visits visits = {0};
    for (size_t v = 0; v < 2; v++) {
        add(&visits, 60 + 200 * (int32_t)v, UPPER_GONE);
        for (size_t root = 0; root < 2; root++) {
            give(visits.exams[v], RW_SECTION_ROOT_AVULSION, root == 0 ? "C5" : "C6", "true");
            give(visits.exams[v], RW_SECTION_PSEUDOMENINGOCELE, root == 0 ? "C5" : "C6", "true");
        }
    }
    struct rw_course *c = course_of(&visits);
    cr_assert_eq(pace_of(c, "biceps_brachii")->pace, RW_PACE_NOT_EXPECTED);
    free(c);
    release(&visits);
}

Test(course, children_get_no_dates) {
    struct visits visits = {0};
    add(&visits, 40, UPPER_GONE)->age_years = 4;
    add(&visits, 90, UPPER_GONE)->age_years = 4;
    struct rw_course *c = course_of(&visits);
    cr_assert_not_null(c->no_pace);
    cr_assert_eq(c->muscle_count, 0);
    free(c);
    release(&visits);
}

/* ---- which visits go together ---- */

Test(course, visits_go_together_by_side_and_onset) {
    static const struct rw_visit_key visits[] = {
        {RW_SIDE_LEFT, 200, 100},       /* 1: a later injury of the left */
        {RW_SIDE_LEFT, 50, 10},         /* 0: the first */
        {RW_SIDE_RIGHT, 120, 100},      /* 2: the other side on the same day */
        {RW_SIDE_LEFT, 150, RW_NO_DAY}, /* 1: began by then */
        {RW_SIDE_LEFT, 60, RW_NO_DAY},  /* 0 */
        {RW_SIDE_RIGHT, 90, RW_NO_DAY}, /* none began by then: its own, and first */
    };
    static const size_t expected[] = {2, 1, 3, 2, 1, 0};
    size_t injury[6];
    rw_course_injuries(visits, 6, injury);
    for (size_t i = 0; i < 6; i++)
        cr_assert_eq(injury[i], expected[i], "visit %zu is of injury %zu", i, injury[i]);
}

Test(course, refuses_what_is_not_one_injury) {
    struct visits visits = {0};
    struct rw_course *out = malloc(sizeof *out);
    struct rw_error error;
    const size_t size = rw_course_workspace_size();
    void *workspace = malloc(size);
    for (size_t v = 0; v <= RW_MAX_VISITS; v++)
        add(&visits, 40, "deltoid_lateral=0");
    const struct rw_exam *exams[RW_MAX_VISITS + 1];
    for (size_t v = 0; v <= RW_MAX_VISITS; v++)
        exams[v] = visits.exams[v];
    cr_assert_eq(rw_course(exams, 0, workspace, size, out, &error), RW_EINVAL);
    cr_assert_eq(rw_course(exams, RW_MAX_VISITS + 1, workspace, size, out, &error), RW_EINVAL);
    cr_assert_eq(rw_course(exams, 2, workspace, size - 1, out, &error), RW_ENOSPACE);
    visits.exams[1]->side = RW_SIDE_RIGHT;
    cr_assert_eq(rw_course(exams, 2, workspace, size, out, &error), RW_EINVAL);
    visits.exams[1]->side = visits.exams[0]->side;
    visits.exams[1]->onset_day--;
    cr_assert_eq(rw_course(exams, 2, workspace, size, out, &error), RW_EINVAL);
    visits.exams[1]->onset_day++;
    visits.exams[1]->findings[0].value = 200;
    cr_assert_eq(rw_course(exams, 2, workspace, size, out, &error), RW_EINVAL);
    free(workspace);
    free(out);
    release(&visits);
}

Test(course, the_largest_course_fits_the_workspace) {
    const struct rw_model *m = rw_model();
    struct visits visits = {0};
    while (visits.count < RW_MAX_VISITS) {
        struct rw_exam *exam = add(&visits, 40 + 30 * (int32_t)visits.count, "");
        for (size_t i = 0; i < m->check_count; i++)
            exam->findings[exam->finding_count++] =
                (struct rw_finding){.check = (uint16_t)i,
                                    .value = (uint8_t)((m->scales[m->checks[i].scale].normal + visits.count) %
                                                       m->scales[m->checks[i].scale].value_count)};
    }
    struct rw_course *c = course_of(&visits);
    cr_assert_gt(c->change_count, 7 * (m->check_count - 1));
    free(c);
    release(&visits);
}
