#include "recovery.h"

#include <math.h>
#include <string.h>

/* ---- distances and dates ---- */

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

static bool mostly_torn(const struct rw_loss *loss) {
    return loss->torn > 0.5 * loss->lost;
}

static double from_injury_mm(const struct rw_loss *loss) {
    return fmax(rw_fact_value("least_distance_mm"), rw_motor_point_mm(loss->muscle) - loss->start_mm);
}

double rw_regrowth_mm(const struct rw_loss *loss) {
    const bool known = !isnan(rw_motor_point_mm(loss->muscle)) && !mostly_torn(loss);
    return known ? from_injury_mm(loss) : (double)NAN;
}

static void add_muscle(const struct rw_exam *exam, const struct rw_loss *loss, struct rw_recovery *out) {
    if (isnan(rw_motor_point_mm(loss->muscle)) || out->muscle_count >= RW_MAX_MUSCLES)
        return;
    struct rw_muscle_recovery *r = &out->muscles[out->muscle_count++];
    r->muscle = loss->muscle;
    r->distance_mm = from_injury_mm(loss);
    r->first_sign[0] = r->first_sign[1] = r->window_closes = RW_NO_DAY;
    if (exam->onset_day == RW_NO_DAY)
        return;
    r->window_closes = day_before(exam->onset_day, rw_fact_value("window_days"));
    if (mostly_torn(loss))
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

void rw_recovery(const struct rw_exam *exam, const struct rw_losses *losses,
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
        const struct rw_loss *loss = rw_loss_of(losses, state->muscle);
        if (state->p_m4 < 0.5 && loss->denervated > 0.5)
            add_muscle(exam, loss, out);
    }
    out->decide_by = decide_by(exam, out);
}
