#include "decide.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "recovery.h"

enum cause { NOTHING, SHARP, WINDOW, TORN, LATE };

struct choice {
    double days; /* after onset */
    enum cause cause;
    uint16_t muscle;
};

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

static double late_days(enum rw_mechanism mechanism) {
    const double days = rw_fact_value("decide_late_days");
    if (mechanism == RW_MECHANISM_GUNSHOT)
        return days + rw_fact_value("wait_gunshot_extra_days");
    if (mechanism == RW_MECHANISM_INFLAMMATORY)
        return days + rw_fact_value("wait_inflammatory_extra_days");
    return days;
}

static void take(struct choice *least, double days, enum cause cause, uint16_t muscle) {
    if (least->cause == NOTHING || days < least->days)
        *least = (struct choice){.days = days, .cause = cause, .muscle = muscle};
}

/* How long a rule lets one wait, and until when a transfer is in time. */
static void choose(const struct rw_exam *exam, const struct rw_losses *losses,
                   const struct rw_recovery *recovery, struct choice *rule, struct choice *window) {
    double nearest[RW_MAX_TARGETS];
    nearest_transfers(nearest);
    for (size_t i = 0; i < recovery->muscle_count; i++) {
        const uint16_t muscle = recovery->muscles[i].muscle;
        double growth[2];
        if (exam->mechanism == RW_MECHANISM_LACERATION)
            take(rule, rw_fact_value("decide_sharp_days"), SHARP, muscle);
        if (isnan(nearest[muscle]))
            continue;
        rw_growth_days(recovery->rate_mm_per_day, nearest[muscle], growth);
        take(window, rw_fact_value("window_days") - rw_fact_value("decision_margin_days") - growth[1], WINDOW,
             muscle);
        if (rw_mostly_torn(rw_loss_of(losses, muscle)))
            take(rule, rw_fact_value("decide_early_days"), TORN, muscle);
        else
            take(rule, late_days(exam->mechanism), LATE, muscle);
    }
}

static void explain(const struct choice *choice, enum rw_mechanism mechanism, bool passed, char *text,
                    size_t size) {
    const char *label = rw_model()->targets[choice->muscle].label;
    const char *late = mechanism == RW_MECHANISM_GUNSHOT        ? "a gunshot mostly leaves nerves whole; "
                       : mechanism == RW_MECHANISM_INFLAMMATORY ? "neuritis mostly recovers; "
                                                                : "";
    const char *now = passed ? "; that has passed: now" : "";
    switch (choice->cause) {
    case SHARP:
        snprintf(text, size,
                 "a sharp wound: what is cut does not grow back, so explore as soon as possible%s", now);
        break;
    case TORN:
        snprintf(text, size, "%s: most of its loss lies behind torn roots, so waiting brings little back%s",
                 label, now);
        break;
    case WINDOW:
        snprintf(text, size, "a nerve transfer to %s would come too late for the muscle after that%s", label,
                 passed ? ", and that day has passed" : "");
        break;
    case LATE:
        snprintf(text, size, "%swithout recovery, reconstruction should not wait beyond %.0f days%s", late,
                 choice->days, now);
        break;
    case NOTHING:
        snprintf(text, size, "no muscle is likely without its nerve and in reach of a nerve transfer");
        break;
    }
}

void rw_decide(const struct rw_exam *exam, const struct rw_losses *losses, struct rw_recovery *recovery) {
    struct choice rule = {.cause = NOTHING}, window = {.cause = NOTHING};
    char *text = recovery->decide_because;
    const size_t size = sizeof recovery->decide_because;
    recovery->decide_by = RW_NO_DAY;
    choose(exam, losses, recovery, &rule, &window);
    if (rule.cause == NOTHING) {
        explain(&rule, exam->mechanism, false, text, size);
        return;
    }
    if (exam->onset_day == RW_NO_DAY) {
        snprintf(text, size, "the onset is not given");
        return;
    }
    const int32_t by_rule = exam->onset_day + (int32_t)floor(rule.days), today = exam->examined_day;
    const int32_t in_time = exam->onset_day + (int32_t)floor(window.days);
    recovery->decide_by = by_rule < today ? today : by_rule;
    if (window.cause != NOTHING && in_time < recovery->decide_by) {
        recovery->decide_by = in_time;
        explain(&window, exam->mechanism, in_time < today, text, size);
    } else {
        explain(&rule, exam->mechanism, by_rule < today, text, size);
    }
}
