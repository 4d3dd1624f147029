/* Several visits laid out for the sums over paths: what is watched, what was read, how fast things heal. */
#include <math.h>
#include <string.h>

#include "paths.h"
#include "recovery.h"
#include "unaided.h"

/* Words that speak for the same but for rounding. */
#define SAME_WORD 1e-9

/* ---- what is watched ---- */

static void watch(struct rw_paths *paths, uint16_t target) {
    if (paths->watched_of[target] != RW_NONE)
        return;
    paths->watched_of[target] = (uint16_t)paths->watched_count;
    paths->watched[paths->watched_count++] = (struct rw_watched){.target = target};
}

static void watch_all(struct rw_paths *paths) {
    const struct rw_model *m = rw_model();
    memset(paths->watched_of, 0xff, sizeof paths->watched_of); /* RW_NONE */
    for (size_t v = 0; v < paths->visit_count; v++)
        for (size_t i = 0; i < paths->exams[v].finding_count; i++) {
            const uint16_t target = m->checks[paths->exams[v].findings[i].check].target;
            if (target != RW_NONE)
                watch(paths, target);
        }
    for (size_t i = 0; i < m->member_count; i++) /* parts of a group graded as a whole */
        if (m->targets[m->members[i].owner].kind == RW_TARGET_GROUP &&
            paths->watched_of[m->members[i].owner] != RW_NONE)
            watch(paths, m->members[i].muscle);
}

static bool same_anatomy(const struct rw_paths *paths, size_t a, size_t b) {
    for (size_t i = 0; i < paths->watched_count; i++)
        if (rw_variant_like(a, paths->watched[i].target) != rw_variant_like(b, paths->watched[i].target))
            return false;
    return true;
}

/* Variants that no watched target tells apart are one lot. */
static void sort_variants(struct rw_paths *paths) {
    const struct rw_model *m = rw_model();
    for (size_t v = 0; v < m->variant_count; v++) {
        size_t k = 0;
        while (k < paths->variant_count && !same_anatomy(paths, paths->variant[k], v))
            k++;
        if (k == paths->variant_count)
            paths->variant[paths->variant_count++] = (uint16_t)v;
        paths->variant_weight[k] += m->variants[v].prevalence;
        paths->lot_of[v] = (uint8_t)k;
    }
}

static void find_kinds(const struct rw_paths *paths, struct rw_watched *w) {
    for (size_t a = 0; a < paths->variant_count; a++) {
        const size_t like = rw_variant_like(paths->variant[a], w->target);
        uint8_t kind = 0;
        while (kind < w->kind_count &&
               rw_variant_like(paths->variant[w->kind_variant[kind]], w->target) != like)
            kind++;
        if (kind == w->kind_count)
            w->kind_variant[w->kind_count++] = (uint8_t)a;
        w->kind_of[a] = kind;
    }
}

/* Of a target made of muscles the nearest counts: it shows the first sign. */
static double way_mm(uint16_t target) {
    const struct rw_model *m = rw_model();
    double mm = rw_motor_point_mm(target);
    for (size_t i = 0; i < m->member_count; i++)
        if (m->members[i].owner == target)
            mm = fmin(mm, rw_motor_point_mm(m->members[i].muscle)); /* fmin takes the number beside a NAN */
    return mm;
}

/* ---- what was read ---- */

static void read_finding(const struct rw_finding *finding, double ready, struct rw_reading *out) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[finding->check];
    const struct rw_table *table = &m->tables[check->table];
    const struct rw_value *value = &m->scales[check->scale].values[finding->value];
    const double filled = finding->filled_in ? table->filled_outlier : 0.0;
    out->outside = 0.0;
    for (size_t i = 0; i < value->count; i++)
        out->outside += value->weight[i] * table->outside[value->observation[i]];
    for (size_t s = 0; s < RW_SPREAD_COUNT; s++)
        for (size_t g = 0; g < RW_GRID; g++) {
            double p = 0.0, spared = 0.0;
            for (size_t i = 0; i < value->count; i++) {
                const unsigned o = value->observation[i];
                p += value->weight[i] *
                     rw_table_probability(table, (enum rw_spread)s, (double)g / (RW_GRID - 1), o);
                spared += value->weight[i] * rw_table_probability(table, RW_SPREAD_SHARP, 1.0, o);
            }
            p = ready * p + (1.0 - ready) * spared;
            out->grid[s][g] = (1.0 - filled) * p + filled * out->outside;
        }
}

double rw_on_grid(const double grid[RW_GRID], double fraction) {
    const double x = fraction <= 0.0 ? 0.0 : fraction >= 1.0 ? RW_GRID - 1 : fraction * (RW_GRID - 1);
    const size_t g = x >= RW_GRID - 2 ? RW_GRID - 2 : (size_t)x;
    return grid[g] + (x - (double)g) * (grid[g + 1] - grid[g]);
}

static double weight_of(const struct rw_value *value, unsigned observation) {
    for (size_t i = 0; i < value->count; i++)
        if (value->observation[i] == observation)
            return value->weight[i];
    return 0.0;
}

double rw_speaks_for(const struct rw_table *table, unsigned observation) {
    double sum = 0.0, weight = 0.0;
    for (size_t g = 0; g < RW_GRID; g++) {
        const double f = (double)g / (RW_GRID - 1);
        const double p = rw_table_probability(table, RW_SPREAD_SHARP, f, observation);
        sum += f * p;
        weight += p;
    }
    return sum / weight;
}

double rw_word_speaks_for(const struct rw_check *check, uint8_t word) {
    const struct rw_model *m = rw_model();
    const struct rw_value *value = &m->scales[check->scale].values[word];
    double sum = 0.0;
    for (size_t i = 0; i < value->count; i++)
        sum += value->weight[i] * rw_speaks_for(&m->tables[check->table], value->observation[i]);
    return sum;
}

/* How far a finding goes by the last one while nothing changes: the same again, or one of its class. Pictures
 * show the same, as they may be the same. */
struct likeness {
    double same, near;
};

static struct likeness likeness_of(enum rw_section section) {
    const double same = rw_fact_value("finding_persists");
    if (section == RW_SECTION_PSEUDOMENINGOCELE || section == RW_SECTION_ROOT_AVULSION)
        return (struct likeness){.same = rw_fact_value("picture_persists")};
    return (struct likeness){.same = same, .near = (1.0 - same) * (1.0 - rw_fact_value("finding_strays"))};
}

/* A finding, the one before it, and what observations do at one intact fraction. */
struct pair {
    const struct rw_table *table;
    const struct rw_value *before, *now;
    struct likeness like;
    bool falls[UINT8_MAX]; /* by observation: it speaks for less than the word before */
    double p[UINT8_MAX];
};

/* N of course.h. Classes are two neighbouring observations, in both ways to pair them. */
static double joint_by_class(const struct pair *pair, const struct rw_value *now) {
    double joint = 0.0;
    for (unsigned shift = 0; shift < 2; shift++)
        for (unsigned class = 0; 2 * class < pair->table->observation_count + shift; class ++) {
            double all = 0.0, first = 0.0, second = 0.0;
            for (unsigned k = 2 * class; k < 2 * class + 2; k++) {
                const unsigned o = k - shift; /* wraps below 0 */
                if (o >= pair->table->observation_count)
                    continue;
                all += pair->p[o];
                first += weight_of(pair->before, o) * pair->p[o];
                second += weight_of(now, o) * pair->p[o];
            }
            joint += 0.5 * first * second / all;
        }
    return joint;
}

/* g S + n N of course.h. */
static double joint_of(const struct pair *pair, const struct rw_value *now) {
    double same = 0.0;
    for (unsigned o = 0; o < pair->table->observation_count; o++)
        same += fmin(weight_of(pair->before, o), weight_of(now, o)) * pair->p[o];
    return pair->like.same * same + pair->like.near * joint_by_class(pair, now);
}

/* P'(w | v) of course.h. */
static double risen(const struct pair *pair) {
    double before = 0.0, falls = 0.0, own_falls = 0.0, others = 0.0, own_others = 0.0;
    for (unsigned o = 0; o < pair->table->observation_count; o++)
        before += weight_of(pair->before, o) * pair->p[o];
    for (unsigned o = 0; o < pair->table->observation_count; o++) {
        const struct rw_value alone = {.count = 1, .observation = {(uint8_t)o}, .weight = {1.0}};
        const double weight = weight_of(pair->now, o);
        if (pair->falls[o]) {
            const double p =
                joint_of(pair, &alone) / before + (1.0 - pair->like.same - pair->like.near) * pair->p[o];
            falls += p;
            own_falls += weight * p;
        } else {
            others += pair->p[o];
            own_others += weight * pair->p[o];
        }
    }
    return own_falls + own_others * (1.0 - falls) / others;
}

static void compare(const struct rw_finding *before, const struct rw_finding *now, struct likeness like,
                    struct rw_reading *out) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[now->check];
    const struct rw_value *values = m->scales[check->scale].values;
    struct pair pair = {.table = &m->tables[check->table],
                        .before = &values[before->value],
                        .now = &values[now->value],
                        .like = like};
    const double spoken = rw_word_speaks_for(check, before->value);
    for (unsigned o = 0; o < pair.table->observation_count; o++)
        pair.falls[o] = rw_speaks_for(pair.table, o) < spoken - SAME_WORD;
    out->persists = like.same + like.near;
    for (size_t s = 0; s < RW_SPREAD_COUNT; s++)
        for (size_t g = 0; g < RW_GRID; g++) {
            for (unsigned o = 0; o < pair.table->observation_count; o++)
                pair.p[o] = rw_table_probability(pair.table, (enum rw_spread)s, (double)g / (RW_GRID - 1), o);
            out->shared[s][g] = joint_of(&pair, pair.now) / out->persists;
            out->risen[s][g] = risen(&pair);
        }
    memcpy(pair.p, pair.table->outside, pair.table->observation_count * sizeof *pair.p);
    out->shared_outside = joint_of(&pair, pair.now) / out->persists;
}

/* Goes by the last finding of this check, unless either was filled in or its sign was still coming. */
static void look_back(const struct rw_paths *paths, const struct rw_watched *w, size_t visit,
                      const struct rw_finding *finding, struct rw_reading *out) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[finding->check];
    out->persists = 0.0;
    for (size_t v = visit; v-- > 0;) {
        const struct rw_exam *exam = &paths->exams[v];
        size_t reading = w->first[v];
        for (size_t i = 0; i < exam->finding_count; i++) {
            const struct rw_finding *f = &exam->findings[i];
            if (m->checks[f->check].target != w->target)
                continue;
            const double ready = rw_table_ready(&m->tables[m->checks[f->check].table], exam);
            if (ready <= 0.0)
                continue;
            if (f->check == finding->check) {
                if (ready < 1.0 || f->filled_in || finding->filled_in)
                    return;
                out->before = reading;
                compare(f, finding, likeness_of(check->section), out);
                return;
            }
            reading++;
        }
    }
}

/* P(a finding | what was found before); p, before, shared: at one intact fraction. */
static double again(double persists, double p, double before, double shared) {
    return persists > 0.0 ? persists * shared / before + (1.0 - persists) * p : p;
}

double rw_reading_again(const struct rw_paths *paths, const struct rw_reading *r, enum rw_spread spread,
                        double fraction, double risen) {
    const double p = rw_on_grid(r->grid[spread], fraction);
    if (r->persists <= 0.0)
        return p;
    const double k = fmax(0.0, 1.0 - risen / paths->change_shows);
    return k * again(r->persists, p, rw_on_grid(paths->readings[r->before].grid[spread], fraction),
                     rw_on_grid(r->shared[spread], fraction)) +
           (1.0 - k) * rw_on_grid(r->risen[spread], fraction);
}

/* The readings of one target at one visit, from readings[*count] on. */
static void read_target(struct rw_paths *paths, struct rw_watched *w, size_t visit, size_t *count) {
    const struct rw_model *m = rw_model();
    const struct rw_exam *exam = &paths->exams[visit];
    w->first[visit] = *count;
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->target != w->target)
            continue;
        const double ready = rw_table_ready(&m->tables[check->table], exam);
        if (ready <= 0.0)
            continue;
        struct rw_reading *r = &paths->readings[(*count)++];
        *r = (struct rw_reading){.before = 0};
        read_finding(&exam->findings[i], ready, r);
        if (ready >= 1.0)
            look_back(paths, w, visit, &exam->findings[i], r);
        w->none[visit] += log(r->grid[RW_SPREAD_SHARP][RW_GRID - 1]);
        w->none_again[visit] += log(rw_reading_again(paths, r, RW_SPREAD_SHARP, 1.0, 0.0));
        paths->log_outside[visit] += log(r->outside);
        paths->log_outside_again[visit] +=
            log(again(r->persists, r->outside, paths->readings[r->before].outside, r->shared_outside));
    }
    w->count[visit] = *count - w->first[visit];
    paths->log_none[visit] += w->none[visit];
    paths->log_none_again[visit] += w->none_again[visit];
}

/* ---- how things heal ---- */

/* ∫ over the days of becoming partial of P(then) P(still partial at the end), less the chance u. */
static double through_partial(double p, double q, double from, double to) {
    const double days = to - from, gap = p - q;
    return p * exp(-p * from - q * days) * (fabs(gap) > 0.0 ? -expm1(-gap * days) / gap : days);
}

static double never_yet(double chance, double rate, double days) {
    return 1.0 + chance * expm1(-rate * days);
}

/* `from` and `to`: days since the first visit. `partial`: the chance of a partial lesion. */
static struct rw_healing healing(const struct rw_unaided *unaided, double partial, double p, double q,
                                 double from, double to) {
    struct rw_healing h;
    for (size_t site = 0; site < rw_model()->site_count; site++) {
        const double u = unaided->at[site][RW_COMPLETE], before = never_yet(u, p, from);
        h.stays[site] = never_yet(u, p, to) / before;
        h.to_partial[site] = u * through_partial(p, q, from, to) / before;
    }
    h.onward_stays = exp(-q * (to - from));
    h.partial_stays = never_yet(partial, q, to) / never_yet(partial, q, from);
    return h;
}

/* Of any site but the torn ones: all have the same. */
static double chance_of_partial(const struct rw_unaided *unaided) {
    const struct rw_sites torn = rw_sites_preganglionic();
    size_t site = 0;
    while (site + 1 < rw_model()->site_count && rw_sites_hold(torn, site))
        site++;
    return unaided->at[site][RW_PARTIAL];
}

static void prepare_manners(struct rw_paths *paths) {
    const struct rw_exam *first = &paths->exams[0];
    const double sign =
        -log(1.0 - rw_fact_value("recovery_sign_share")) / rw_fact_value("recovery_sign_days");
    const double lifts = log(2.0) / rw_fact_value("recovery_block_half_days");
    const double onward = log(2.0) / rw_fact_value("recovery_onward_half_days");
    const double share = rw_fact_value("recovery_block_share");
    const double since = first->onset_day == RW_NO_DAY ? 0.0 : (double)first->examined_day - first->onset_day;
    const double block = share * exp(-lifts * since), grow = (1.0 - share) * exp(-sign * since);
    struct rw_unaided unaided;
    rw_unaided_init(first, &unaided);
    const double partial = chance_of_partial(&unaided);
    paths->manner_weight[RW_MANNER_BLOCK] = block / (block + grow);
    paths->manner_weight[RW_MANNER_FAST] = paths->manner_weight[RW_MANNER_SLOW] = 0.5 * grow / (block + grow);
    for (size_t v = 1; v < paths->visit_count; v++) {
        const double from = (double)paths->exams[v - 1].examined_day - first->examined_day;
        const double to = (double)paths->exams[v].examined_day - first->examined_day;
        paths->healing[RW_MANNER_BLOCK][v] = healing(&unaided, partial, lifts, lifts, from, to);
        paths->healing[RW_MANNER_FAST][v] = paths->healing[RW_MANNER_SLOW][v] =
            healing(&unaided, partial, sign, onward, from, to);
    }
}

static double growth_factor(const struct rw_exam *first) {
    if (first->mechanism == RW_MECHANISM_BIRTH || first->age_years < rw_fact_value("child_age_years"))
        return rw_fact_value("child_rate_factor");
    return first->age_years > rw_fact_value("old_age_years") ? rw_fact_value("old_rate_factor") : 1.0;
}

static void prepare_growth(struct rw_paths *paths) {
    const double factor = growth_factor(&paths->exams[0]);
    const double rate[2] = {factor * rw_fact_value("rate_low_mm_per_day"),
                            factor * rw_fact_value("rate_high_mm_per_day")};
    paths->latency[RW_MANNER_FAST] = rw_fact_value("latency_low_days");
    paths->latency[RW_MANNER_SLOW] = rw_fact_value("latency_high_days");
    paths->days_per_mm[RW_MANNER_FAST] = 1.0 / rate[1];
    paths->days_per_mm[RW_MANNER_SLOW] = 1.0 / rate[0];
    paths->least_mm = rw_fact_value("least_distance_mm");
    rw_site_distances(paths->site_mm);
}

double rw_paths_waits(const struct rw_paths *paths, size_t watched, uint8_t site, enum rw_manner manner) {
    if (manner == RW_MANNER_BLOCK || paths->exams[0].onset_day == RW_NO_DAY)
        return -(double)INFINITY;
    const double mm = paths->watched[watched].mm - paths->site_mm[site];
    return paths->latency[manner] +
           (isnan(mm) ? 0.0 : fmax(paths->least_mm, mm) * paths->days_per_mm[manner]);
}

/* ---- the whole ---- */

bool rw_paths_init(struct rw_paths *paths, const struct rw_exam *exams, size_t count,
                   struct rw_arena *arena) {
    size_t findings = 0, readings = 0;
    for (size_t v = 0; v < count; v++)
        findings += exams[v].finding_count;
    *paths = (struct rw_paths){.exams = exams, .visit_count = count};
    paths->watched = rw_arena_take(arena, RW_MAX_TARGETS, sizeof *paths->watched);
    paths->readings = rw_arena_take(arena, findings, sizeof *paths->readings);
    if (paths->watched == NULL || paths->readings == NULL)
        return false;
    paths->change_shows = rw_fact_value("change_shows");
    paths->shows[0] = rw_fact_value("recovery_shows_partial");
    paths->shows[1] = rw_fact_value("recovery_shows_whole");
    watch_all(paths);
    sort_variants(paths);
    for (size_t i = 0; i < paths->watched_count; i++) {
        struct rw_watched *w = &paths->watched[i];
        w->mm = way_mm(w->target);
        w->sites = rw_sites_to_any(w->target);
        find_kinds(paths, w);
        for (size_t v = 0; v < count; v++)
            read_target(paths, w, v, &readings);
    }
    const double mild = rw_fact_value("partial_share_mild");
    paths->depth_weight[0] = mild;
    paths->depth_weight[1] = 1.0 - mild;
    prepare_manners(paths);
    prepare_growth(paths);
    return true;
}
