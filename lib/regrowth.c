#include "regrowth.h"

#include <math.h>
#include <stdio.h>

static double slowed(const struct rw_exam *exam) {
    const bool old = exam->age_years > rw_fact_value("old_age_years"); /* false when the age is not known */
    return old ? rw_fact_value("old_rate_factor") : 1.0;
}

static double share_of_blocks(enum rw_mechanism mechanism) {
    char id[64];
    snprintf(id, sizeof id, "recovery_block_share_%s", rw_mechanism_name(mechanism));
    const double own = rw_fact_value(id);
    return isnan(own) ? rw_fact_value("recovery_block_share") : own;
}

void rw_regrowth_init(const struct rw_exam *exam, struct rw_regrowth *out) {
    static const char *const fastest[RW_STRETCHES] = {"rate_high_mm_per_day", "rate_high_forearm_mm_per_day",
                                                      "rate_high_hand_mm_per_day"};
    const double slow = slowed(exam);
    for (size_t i = 0; i < RW_STRETCHES; i++) {
        out->rate[i][0] = slow * rw_fact_value("rate_low_mm_per_day");
        out->rate[i][1] = slow * rw_fact_value(fastest[i]);
    }
    out->stretch_end[0] = rw_fact_value("elbow_mm");
    out->stretch_end[1] = rw_fact_value("wrist_mm");
    out->stretch_end[2] = (double)INFINITY;
    out->latency[0] = rw_fact_value("latency_low_days");
    out->latency[1] = rw_fact_value("latency_high_days");
    out->sprouts[0] = rw_fact_value("sprouts_low_days");
    out->sprouts[1] = rw_fact_value("sprouts_high_days");
    out->useful[0] = rw_fact_value("useful_after_sign_low_days");
    out->useful[1] = rw_fact_value("useful_after_sign_high_days");
    out->window = rw_fact_value("window_days");
    out->least_mm = rw_fact_value("least_distance_mm");
    out->lifts = log(2.0) / rw_fact_value("recovery_block_half_days");
    out->examined =
        exam->onset_day == RW_NO_DAY ? (double)NAN : fmax(0.0, (double)exam->examined_day - exam->onset_day);
    const double sign =
        -log(1.0 - rw_fact_value("recovery_sign_share")) / rw_fact_value("recovery_sign_days");
    const double since = isnan(out->examined) ? 0.0 : out->examined;
    const double share = share_of_blocks(exam->mechanism);
    const double block = share * exp(-out->lifts * since), grow = (1.0 - share) * exp(-sign * since);
    out->block = block / (block + grow);
}

/* Days over a way, all of it at the fastest rates (1) or the slowest (0). */
static double days_over(const struct rw_regrowth *r, double from_mm, double to_mm, size_t pace) {
    double days = 0.0;
    for (size_t i = 0; i < RW_STRETCHES && from_mm < to_mm; i++) {
        const double end = fmin(to_mm, r->stretch_end[i]);
        days += fmax(0.0, end - from_mm) / r->rate[i][pace];
        from_mm = fmax(from_mm, end);
    }
    return days;
}

void rw_regrowth_sign(const struct rw_regrowth *r, double from_mm, double to_mm, double days[2]) {
    days[0] = r->latency[0];
    days[1] = r->window;
    if (isnan(from_mm) || isnan(to_mm))
        return;
    from_mm = fmin(from_mm, to_mm - r->least_mm);
    days[0] = r->latency[0] + days_over(r, from_mm, to_mm, 1);
    days[1] = r->latency[1] + days_over(r, from_mm, to_mm, 0);
}

/* P(sum of two uniform variables <= x). */
static double sum_of_uniforms(const double a[2], const double b[2], double x) {
    double area = 0.0;
    for (size_t i = 0; i < 2; i++)
        for (size_t k = 0; k < 2; k++) {
            const double over = fmax(0.0, x - a[i] - b[k]);
            area += (i == k ? 0.5 : -0.5) * over * over;
        }
    return area / ((a[1] - a[0]) * (b[1] - b[0]));
}

void rw_regrowth_in_time(const struct rw_regrowth *r, const double sign[2], double in_time[2]) {
    in_time[1] = fmin(sign[1], r->window);
    in_time[0] = fmin(sign[0], in_time[1] - 1.0);
}

double rw_regrowth_reaches(const struct rw_regrowth *r, const double sign[2], bool cut) {
    const double from = fmax(sign[0], r->examined); /* fmax takes the number beside a NAN */
    if (!cut || (from < r->window && sign[1] <= r->window))
        return 1.0;
    return from < r->window ? (r->window - from) / (sign[1] - from) : 0.0;
}

double rw_regrowth_there_by(const struct rw_regrowth *r, const double sign[2], bool cut, double days) {
    const double reaches = rw_regrowth_reaches(r, sign, cut);
    if (isinf(days))
        return r->block + (1.0 - r->block) * reaches;
    if (isnan(r->examined) || days < r->examined)
        return (double)NAN;
    double open[2];
    rw_regrowth_in_time(r, sign, open);
    open[0] = fmax(open[0], r->examined);
    open[1] = fmax(open[1], open[0] + 1.0);
    const double steps = r->lifts * (days - r->examined);
    return r->block * (1.0 - (1.0 + steps) * exp(-steps)) +
           (1.0 - r->block) * reaches * sum_of_uniforms(open, r->useful, days);
}

double rw_regrowth_way(const struct rw_regrowth *r, double from_mm, double days, size_t pace) {
    double way = 0.0, left = days - r->sprouts[1 - pace]; /* who is slow also starts late */
    for (size_t i = 0; i < RW_STRETCHES && left > 0.0; i++) {
        const double stretch = fmax(0.0, r->stretch_end[i] - from_mm - way);
        const double grown = fmin(stretch, left * r->rate[i][pace]);
        way += grown;
        left -= grown / r->rate[i][pace];
    }
    return way;
}
