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

void rw_site_distances(double mm[RW_MAX_SITES]) {
    const struct rw_model *m = rw_model();
    for (size_t s = 0; s < RW_MAX_SITES; s++)
        mm[s] = (double)NAN;
    for (size_t i = m->site_distance_count; i-- > 0;)
        mm[m->site_distances[i].site] = m->site_distances[i].from_foramen_mm;
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

double rw_denervated(const struct rw_states *states, uint16_t muscle) {
    double p = 0.0;
    for (size_t v = 0; v < rw_model()->variant_count; v++) {
        const struct rw_sites way = rw_sites_to(v, muscle);
        for (size_t i = 0; i < states->count; i++) {
            const struct rw_state *s = &states->list[i];
            if (!s->outside && rw_sites_meet(rw_sites_either(s->partial, s->complete), way))
                p += s->weight[rw_world_of(v, 0)] + s->weight[rw_world_of(v, 1)];
        }
    }
    return p;
}

/* The most proximal of the hurt sites of a bundle. */
static uint8_t first_hurt(const struct rw_bundle *b, struct rw_sites hurt) {
    size_t k = 0;
    while (!rw_sites_hold(hurt, b->sites[k]))
        k++;
    return b->sites[k];
}

/* What is lost on the way to a muscle, over all states: in all, behind torn roots, and where it starts. */
struct way {
    double lost, torn, measured, start_mm;
};

/* Adds one bundle in one variant, for states that injure the same of it. */
static void add_strand(const struct rw_state_group *g, const struct rw_strand *strand,
                       const double weight[RW_DEPTHS], const double *site_mm, struct rw_sites preganglionic,
                       struct way *way) {
    const struct rw_sites partial = rw_sites_both(g->partial, strand->sites),
                          complete = rw_sites_both(g->complete, strand->sites),
                          hurt = rw_sites_either(partial, complete);
    if (!rw_sites_any(hurt))
        return;
    double lost = 0.0;
    for (size_t depth = 0; depth < RW_DEPTHS; depth++)
        lost += weight[depth] * strand->bundle->weight *
                (1.0 - rw_bundle_left(partial, complete, 1.0 - rw_model()->partial_loss[depth]));
    const double mm = site_mm[first_hurt(strand->bundle, hurt)];
    way->lost += lost;
    way->torn += rw_sites_meet(hurt, preganglionic) ? lost : 0.0;
    if (isnan(mm))
        return;
    way->measured += lost;
    way->start_mm += lost * mm;
}

static struct way way_to(const struct rw_states *states, uint16_t muscle) {
    const struct rw_sites preganglionic = rw_sites_preganglionic();
    struct rw_groups groups;
    double weight[RW_MAX_STATES][RW_MAX_WORLDS], site_mm[RW_MAX_SITES];
    struct way way = {0};
    rw_site_distances(site_mm);
    rw_group(states, rw_sites_to_any(muscle), &groups);
    rw_group_weights(states, &groups, weight);
    for (size_t v = 0; v < rw_model()->variant_count; v++) {
        struct rw_strand strands[RW_MAX_VIEW_BUNDLES];
        const size_t count = rw_strands_of(v, muscle, strands);
        for (size_t g = 0; g < groups.count; g++)
            for (size_t i = 0; !groups.list[g].outside && i < count; i++)
                add_strand(&groups.list[g], &strands[i], &weight[g][rw_world_of(v, 0)], site_mm,
                           preganglionic, &way);
    }
    way.start_mm = way.measured > 0.0 ? way.start_mm / way.measured : 0.0;
    return way;
}

static double from_injury_mm(const struct way *way, uint16_t muscle) {
    return fmax(rw_fact_value("least_distance_mm"), rw_motor_point_mm(muscle) - way->start_mm);
}

double rw_regrowth_mm(const struct rw_states *states, uint16_t muscle) {
    const struct way way = way_to(states, muscle);
    const bool known = !isnan(rw_motor_point_mm(muscle)) && way.torn <= 0.5 * way.lost;
    return known ? from_injury_mm(&way, muscle) : (double)NAN;
}

static void add_muscle(const struct rw_exam *exam, const struct rw_states *states, uint16_t muscle,
                       struct rw_recovery *out) {
    const struct way way = way_to(states, muscle);
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

/* The shortest way over which a sourced motor transfer reaches each muscle; NAN when none does in reach. */
static void nearest_transfers(double mm[RW_MAX_TARGETS]) {
    const struct rw_model *m = rw_model();
    const double reachable = rw_fact_value("reachable_mm");
    for (size_t i = 0; i < m->target_count; i++)
        mm[i] = (double)NAN;
    for (size_t i = 0; i < m->transfer_count; i++) {
        const struct rw_transfer *t = &m->transfers[i];
        const double length = rw_transfer_mm(t);
        if (strcmp(t->kind, "motor") != 0 || t->memory || length > reachable)
            continue;
        for (size_t k = 0; k < t->muscle_count; k++)
            mm[t->muscles[k]] = fmin(mm[t->muscles[k]], length); /* fmin takes the number beside a NAN */
    }
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
    double latest = (double)NAN, nearest[RW_MAX_TARGETS];
    if (exam->onset_day == RW_NO_DAY)
        return RW_NO_DAY;
    nearest_transfers(nearest);
    for (size_t i = 0; i < recovery->muscle_count; i++) {
        const double mm = nearest[recovery->muscles[i].muscle];
        double days[2];
        if (isnan(mm))
            continue;
        rw_growth_days(recovery->rate_mm_per_day, mm, days);
        latest = fmin(latest, rw_fact_value("window_days") - rw_fact_value("decision_margin_days") - days[1]);
    }
    return isnan(latest) ? RW_NO_DAY : day_before(exam->onset_day, fmin(latest, late_days(exam)));
}

void rw_recovery(const struct rw_exam *exam, const struct rw_states *states,
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
        if (state->p_m4 < 0.5 && rw_denervated(states, state->muscle) > 0.5)
            add_muscle(exam, states, state->muscle, out);
    }
    out->decide_by = decide_by(exam, out);
}
