#include "recovery.h"

#include "deficits.h"

#include <math.h>
#include <string.h>

#include "decide.h"
#include "front.h"
#include "spans.h"

double rw_transfer_mm(const struct rw_transfer *transfer) {
    return isnan(transfer->distance_mm) ? rw_fact_value("transfer_distance_unknown_mm")
                                        : transfer->distance_mm;
}

void rw_growth_days(const double rate_mm_per_day[2], double distance_mm, double days[2]) {
    days[0] = rw_fact_value("latency_low_days") + distance_mm / rate_mm_per_day[1];
    days[1] = rw_fact_value("latency_high_days") + distance_mm / rate_mm_per_day[0];
}

bool rw_mostly_torn(const struct rw_loss *loss) {
    return loss->torn > 0.5 * loss->lost;
}

static double way_mm(uint16_t muscle, double start_mm) {
    return fmax(rw_fact_value("least_distance_mm"), rw_motor_point_mm(muscle) - start_mm);
}

double rw_regrowth_mm(const struct rw_loss *loss) {
    const bool known = !isnan(rw_motor_point_mm(loss->muscle)) && !rw_mostly_torn(loss);
    return known ? way_mm(loss->muscle, loss->start_mm) : (double)NAN;
}

/* An interval of days after onset, rounded outwards. */
static void dates(int32_t onset, const double days[2], int32_t out[2]) {
    out[0] = onset + (int32_t)floor(days[0]);
    out[1] = onset + (int32_t)ceil(days[1]);
}

/* What the sites of one muscle are worked out from. */
struct origins {
    const struct rw_exam *exam;
    const struct rw_losses *losses;
    struct rw_sites preganglionic;
    double site_mm[RW_MAX_SITES], named; /* named: the least share of the loss that is */
};

/* Keeps the list ordered, likeliest first, and drops what does not fit. */
static void name_site(const struct rw_recovery_site *site, struct rw_muscle_recovery *out) {
    size_t k = out->site_count < RW_MAX_RECOVERY_SITES ? out->site_count++ : RW_MAX_RECOVERY_SITES;
    for (; k > 0 && out->sites[k - 1].probability < site->probability; k--)
        if (k < RW_MAX_RECOVERY_SITES)
            out->sites[k] = out->sites[k - 1];
    if (k < RW_MAX_RECOVERY_SITES)
        out->sites[k] = *site;
}

/* Adds one site where loss starts; gives its part in the mixture of first signs, of weight 0 where nothing
 * regrows. */
static struct rw_span see_site(const struct origins *o, const struct rw_loss *loss, size_t site,
                               struct rw_muscle_recovery *out) {
    const struct rw_regrowth *r = &o->losses->regrowth;
    const struct rw_start *start = &loss->starts[site];
    double sign[2], in_time[2];
    rw_regrowth_sign(r, o->site_mm[site], rw_motor_point_mm(loss->muscle), sign);
    rw_regrowth_in_time(r, sign, in_time);
    const double grows =
        (1.0 - r->block) * (start->back[0] + start->back[1] * rw_regrowth_reaches(r, sign, true));
    out->p_block += r->block * (start->back[0] + start->back[1]) / loss->lost;
    out->p_regrows += grows / loss->lost;
    struct rw_recovery_site named = {.site = (uint8_t)site,
                                     .probability = start->lost / loss->lost,
                                     .distance_mm = way_mm(loss->muscle, o->site_mm[site]),
                                     .first_sign = {RW_NO_DAY, RW_NO_DAY}};
    if (o->exam->onset_day != RW_NO_DAY && !rw_sites_hold(o->preganglionic, site))
        dates(o->exam->onset_day, sign, named.first_sign);
    if (!isnan(o->site_mm[site]) && named.probability >= o->named)
        name_site(&named, out);
    return (struct rw_span){.weight = grows, .from = in_time[0], .to = in_time[1]};
}

/* Graded, and not without any power. */
static bool moves(const struct rw_exam *exam, uint16_t muscle) {
    struct rw_measured measured;
    rw_measure(exam, muscle, &measured);
    return measured.given && measured.grade[0] < 0.5;
}

static void add_muscle(const struct origins *o, const struct rw_loss *loss, struct rw_recovery *out) {
    const int32_t onset = o->exam->onset_day;
    if (isnan(rw_motor_point_mm(loss->muscle)) || out->muscle_count >= RW_MAX_MUSCLES)
        return;
    struct rw_muscle_recovery *m = &out->muscles[out->muscle_count++];
    struct rw_span spans[RW_MAX_SITES];
    size_t count = 0;
    *m = (struct rw_muscle_recovery){.muscle = loss->muscle,
                                     .distance_mm = way_mm(loss->muscle, loss->start_mm),
                                     .moves = moves(o->exam, loss->muscle),
                                     .first_sign = {RW_NO_DAY, RW_NO_DAY},
                                     .block_clears_by = RW_NO_DAY,
                                     .window_closes = RW_NO_DAY};
    for (size_t s = 0; s < rw_model()->site_count; s++)
        if (loss->starts[s].lost > 0.0) {
            spans[count] = see_site(o, loss, s, m);
            count += spans[count].weight > 0.0;
        }
    m->p_never = fmax(0.0, 1.0 - m->p_block - m->p_regrows);
    if (onset == RW_NO_DAY)
        return;
    m->window_closes = onset + (int32_t)floor(o->losses->regrowth.window);
    if (o->losses->regrowth.block > 0.0)
        m->block_clears_by = onset + (int32_t)ceil(rw_fact_value("block_clears_days"));
    if (count == 0 || rw_mostly_torn(loss) || m->moves)
        return;
    double days[2];
    rw_spans_middle(spans, count, rw_fact_value("first_sign_share"), days);
    dates(onset, days, m->first_sign);
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
    memcpy(out->rate_mm_per_day, losses->regrowth.rate[0], sizeof out->rate_mm_per_day);
    struct origins origins = {.exam = exam,
                              .losses = losses,
                              .preganglionic = rw_sites_preganglionic(),
                              .named = rw_fact_value("recovery_site_named")};
    rw_site_distances(origins.site_mm);
    for (size_t i = 0; i < deficits->muscle_count; i++) {
        const struct rw_muscle_state *state = &deficits->muscles[i];
        const struct rw_loss *loss = rw_loss_of(losses, state->muscle);
        if (state->p_m4 < 0.5 && loss->denervated > 0.5)
            add_muscle(&origins, loss, out);
    }
    rw_decide(exam, losses, out);
    rw_fronts(exam, losses, out);
}
