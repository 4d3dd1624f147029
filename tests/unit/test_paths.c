/* The sums over paths against plain enumeration of everything that may have come back, and when. */
#include "paths.h"
#include "unaided.h"
#include "visits.h"

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

Test(paths, agrees_with_plain_enumeration_over_two_visits) {
    struct visits visits = {0};
    add(&visits, 40, "deltoid_lateral=0 biceps_brachii=1 infraspinatus=0");
    give(visits.exams[0], RW_SECTION_ROOT_AVULSION, "C5", "false");
    add(&visits, 150, "deltoid_lateral=2 biceps_brachii=1 triceps_long_head=5");
    give(visits.exams[1], RW_SECTION_ROOT_AVULSION, "C5", "false");
    give(visits.exams[1], RW_SECTION_SKIN_ROOT, "C6", "reduced");
    agrees(&visits, 8);
    release(&visits);
}

Test(paths, agrees_with_plain_enumeration_over_three_visits) {
    struct visits visits = {0};
    add(&visits, 20, "abductor_digiti_minimi=0 flexor_carpi_ulnaris=3");
    add(&visits, 21, "flexor_carpi_ulnaris=3");
    add(&visits, 400, "abductor_digiti_minimi=1 flexor_carpi_ulnaris=5");
    agrees(&visits, 5);
    release(&visits);
}
