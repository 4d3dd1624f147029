#include "recovery.h"

#include <math.h>
#include <string.h>

#include "unaided.h"

/* ---- distances and dates ---- */

double rw_motor_point_mm(uint16_t muscle) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->distance_count; i++)
        if (m->distances[i].muscle == muscle)
            return m->distances[i].from_foramen_mm;
    return (double)NAN;
}

double rw_site_mm(uint8_t site) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->site_distance_count; i++)
        if (m->site_distances[i].site == site)
            return m->site_distances[i].from_foramen_mm;
    return (double)NAN;
}

double rw_transfer_mm(const struct rw_transfer *transfer) {
    return isnan(transfer->distance_mm) ? rw_fact_value("transfer_distance_unknown_mm")
                                        : transfer->distance_mm;
}

void rw_growth_days(const double rate_mm_per_day[2], double distance_mm, double days[2]) {
    days[0] = rw_fact_value("latency_low_days") + distance_mm / rate_mm_per_day[1];
    days[1] = rw_fact_value("latency_high_days") + distance_mm / rate_mm_per_day[0];
}

static void rates(const struct rw_exam *exam, double rate[2]) {
    const bool old = exam->age_years > rw_fact_value("old_age_years"); /* false when the age is not known */
    const double factor = old ? rw_fact_value("old_rate_factor") : 1.0;
    rate[0] = factor * rw_fact_value("rate_low_mm_per_day");
    rate[1] = factor * rw_fact_value("rate_high_mm_per_day");
}

static int32_t day_before(int32_t from, double days) {
    return from + (int32_t)floor(days);
}

static int32_t day_after(int32_t from, double days) {
    return from + (int32_t)ceil(days);
}

/* ---- the way to a muscle ---- */

/* The most proximal injured site of a bundle, and whether any root is torn on it. */
static bool injured(const struct rw_case *c, const struct rw_bundle *b, uint8_t *first, bool *torn) {
    bool any = false;
    *torn = false;
    for (size_t k = 0; k < b->site_count; k++) {
        if (c->severity[b->sites[k]] == RW_INTACT)
            continue;
        if (!any)
            *first = b->sites[k];
        any = true;
        *torn |= rw_site_is_preganglionic(b->sites[k]);
    }
    return any;
}

double rw_denervated(const struct rw_posterior *posterior, uint16_t muscle) {
    const struct rw_model *m = rw_model();
    double p = 0.0;
    for (size_t i = 0; i < posterior->count; i++) {
        const struct rw_case *c = &posterior->cases[i];
        const struct rw_range range = m->ranges[(size_t)c->variant * m->target_count + muscle];
        bool any = false, torn = false;
        uint8_t first = 0;
        for (size_t k = 0; !c->outside && !any && k < range.count; k++)
            any = injured(c, &m->bundles[range.first + k], &first, &torn);
        if (any)
            p += c->weight;
    }
    return p;
}

static double left_on(const struct rw_case *c, const struct rw_bundle *b) {
    double left = 1.0;
    for (size_t k = 0; k < b->site_count; k++)
        left *= 1.0 - rw_site_loss(c->severity[b->sites[k]], c->depth);
    return left;
}

/* What is lost on the way to a muscle, over all cases: in all, behind torn roots, and where it starts. */
struct way {
    double lost, torn, measured, start_mm;
};

static struct way way_to(const struct rw_posterior *posterior, uint16_t muscle) {
    const struct rw_model *m = rw_model();
    struct way way = {0};
    for (size_t i = 0; i < posterior->count; i++) {
        const struct rw_case *c = &posterior->cases[i];
        const struct rw_range range = m->ranges[(size_t)c->variant * m->target_count + muscle];
        for (size_t k = 0; !c->outside && k < range.count; k++) {
            const struct rw_bundle *b = &m->bundles[range.first + k];
            uint8_t first = 0;
            bool torn = false;
            if (!injured(c, b, &first, &torn))
                continue;
            const double lost = c->weight * b->weight * (1.0 - left_on(c, b)), mm = rw_site_mm(first);
            way.lost += lost;
            way.torn += torn ? lost : 0.0;
            if (isnan(mm))
                continue;
            way.measured += lost;
            way.start_mm += lost * mm;
        }
    }
    way.start_mm = way.measured > 0.0 ? way.start_mm / way.measured : 0.0;
    return way;
}

static double from_injury_mm(const struct way *way, uint16_t muscle) {
    return fmax(rw_fact_value("least_distance_mm"), rw_motor_point_mm(muscle) - way->start_mm);
}

double rw_regrowth_mm(const struct rw_posterior *posterior, uint16_t muscle) {
    const struct way way = way_to(posterior, muscle);
    const bool known = !isnan(rw_motor_point_mm(muscle)) && way.torn <= 0.5 * way.lost;
    return known ? from_injury_mm(&way, muscle) : (double)NAN;
}

static void add_muscle(const struct rw_exam *exam, const struct rw_posterior *posterior, uint16_t muscle,
                       struct rw_recovery *out) {
    const struct way way = way_to(posterior, muscle);
    if (isnan(rw_motor_point_mm(muscle)) || out->muscle_count >= RW_MAX_MUSCLES)
        return;
    struct rw_muscle_recovery *r = &out->muscles[out->muscle_count++];
    r->muscle = muscle;
    r->distance_mm = from_injury_mm(&way, muscle);
    r->first_sign[0] = r->first_sign[1] = r->window_closes = RW_NO_DAY;
    if (exam->onset_day == RW_NO_DAY)
        return;
    r->window_closes = day_before(exam->onset_day, rw_fact_value("window_days"));
    if (way.torn > 0.5 * way.lost)
        return;
    double days[2];
    rw_growth_days(out->rate_mm_per_day, r->distance_mm, days);
    r->first_sign[0] = day_before(exam->onset_day, days[0]);
    r->first_sign[1] = day_after(exam->onset_day, days[1]);
}

/* ---- the date of decision ---- */

/* The shortest way over which a sourced motor transfer reaches the muscle; NAN when none does in reach. */
static double nearest_transfer_mm(uint16_t muscle) {
    const struct rw_model *m = rw_model();
    double nearest = (double)NAN;
    for (size_t i = 0; i < m->transfer_count; i++) {
        const struct rw_transfer *t = &m->transfers[i];
        if (strcmp(t->kind, "motor") != 0 || t->memory || rw_transfer_mm(t) > rw_fact_value("reachable_mm"))
            continue;
        for (size_t k = 0; k < t->muscle_count; k++)
            if (t->muscles[k] == muscle)
                nearest = fmin(nearest, rw_transfer_mm(t)); /* fmin takes the number beside a NAN */
    }
    return nearest;
}

static double late_days(const struct rw_exam *exam) {
    double days = rw_fact_value("decide_late_days");
    if (exam->mechanism == RW_MECHANISM_GUNSHOT)
        days += rw_fact_value("wait_gunshot_extra_days");
    else if (exam->mechanism == RW_MECHANISM_INFLAMMATORY)
        days += rw_fact_value("wait_inflammatory_extra_days");
    return days;
}

static int32_t decide_by(const struct rw_exam *exam, const struct rw_recovery *recovery) {
    double latest = (double)NAN;
    if (exam->onset_day == RW_NO_DAY)
        return RW_NO_DAY;
    for (size_t i = 0; i < recovery->muscle_count; i++) {
        const double mm = nearest_transfer_mm(recovery->muscles[i].muscle);
        double days[2];
        if (isnan(mm))
            continue;
        rw_growth_days(recovery->rate_mm_per_day, mm, days);
        latest = fmin(latest, rw_fact_value("window_days") - rw_fact_value("decision_margin_days") - days[1]);
    }
    return isnan(latest) ? RW_NO_DAY : day_before(exam->onset_day, fmin(latest, late_days(exam)));
}

void rw_recovery(const struct rw_exam *exam, const struct rw_posterior *posterior,
                 const struct rw_deficits *deficits, struct rw_recovery *out) {
    memset(out, 0, sizeof *out);
    out->decide_by = RW_NO_DAY;
    if (exam->mechanism == RW_MECHANISM_BIRTH)
        out->because = "birth injury: the figures on recovery and transfers are those of adults";
    else if (exam->age_years < rw_fact_value("child_age_years"))
        out->because = "child: the figures on recovery and transfers are those of adults";
    if (out->because != NULL)
        return;
    out->available = true;
    rates(exam, out->rate_mm_per_day);
    for (size_t i = 0; i < deficits->muscle_count; i++) {
        const struct rw_muscle_state *state = &deficits->muscles[i];
        if (state->p_m4 < 0.5 && rw_denervated(posterior, state->muscle) > 0.5)
            add_muscle(exam, posterior, state->muscle, out);
    }
    out->decide_by = decide_by(exam, out);
}
