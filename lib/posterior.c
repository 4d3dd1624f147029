#include "posterior.h"

double rw_site_loss(unsigned severity, unsigned depth) {
    return severity == RW_PARTIAL ? rw_model()->partial_loss[depth] : severity == RW_COMPLETE ? 1.0 : 0.0;
}

double rw_intact_fraction(const struct rw_case *c, uint16_t target, enum rw_spread *spread) {
    const struct rw_model *m = rw_model();
    const struct rw_range range = m->ranges[(size_t)c->variant * m->target_count + target];
    const double partial_left = 1.0 - m->partial_loss[c->depth];
    double fraction = 0.0;
    bool uneven = false;
    for (size_t i = 0; i < range.count; i++) {
        const struct rw_bundle *b = &m->bundles[range.first + i];
        double left = b->weight;
        for (size_t k = 0; k < b->site_count; k++) {
            const unsigned severity = c->severity[b->sites[k]];
            if (severity == RW_PARTIAL) {
                left *= partial_left;
                uneven = true;
            } else if (severity == RW_COMPLETE) {
                left = 0.0;
            }
        }
        fraction += left;
    }
    *spread = uneven ? RW_SPREAD_UNEVEN : RW_SPREAD_SHARP;
    return fraction;
}

/* The grid point below a fraction, clamped to [0,1], and how far it lies towards the next. */
static size_t grid_place(double fraction, double *beyond) {
    const double x = fraction <= 0.0 ? 0.0 : fraction >= 1.0 ? RW_GRID - 1 : fraction * (RW_GRID - 1);
    const size_t i = x >= RW_GRID - 2 ? RW_GRID - 2 : (size_t)x;
    *beyond = x - (double)i;
    return i;
}

double rw_table_probability(const struct rw_table *table, enum rw_spread spread, double fraction,
                            unsigned observation) {
    const size_t n = table->observation_count;
    double x;
    const double *p =
        table->probability + ((size_t)spread * RW_GRID + grid_place(fraction, &x)) * n + observation;
    return p[0] + x * (p[n] - p[0]);
}

double rw_table_ready(const struct rw_table *table, const struct rw_exam *exam) {
    if (exam->onset_day == RW_NO_DAY)
        return 1.0;
    const double days = (double)exam->examined_day - (double)exam->onset_day;
    if (days < table->min_days)
        return 0.0;
    return days >= table->full_days ? 1.0 : (days - table->min_days) / (table->full_days - table->min_days);
}

/* P(observation | fraction) of a sign that has come so far. */
static double at_time(const struct rw_table *table, double ready, enum rw_spread spread, double fraction,
                      unsigned observation) {
    const double p = rw_table_probability(table, spread, fraction, observation);
    return ready < 1.0
               ? ready * p + (1.0 - ready) * rw_table_probability(table, RW_SPREAD_SHARP, 1.0, observation)
               : p;
}

void rw_table_predict(const struct rw_table *table, double ready, enum rw_spread spread, double fraction,
                      double *p) {
    const size_t n = table->observation_count;
    double x;
    const double *low = table->probability + ((size_t)spread * RW_GRID + grid_place(fraction, &x)) * n;
    for (size_t o = 0; o < n; o++)
        p[o] = low[o] + x * (low[n + o] - low[o]);
    if (ready < 1.0)
        for (size_t o = 0; o < n; o++)
            p[o] = ready * p[o] + (1.0 - ready) * table->probability[(RW_GRID - 1) * n + o];
}

double rw_finding_probability(const struct rw_case *c, const struct rw_finding *finding, double ready) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[finding->check];
    const struct rw_table *table = &m->tables[check->table];
    const struct rw_value *value = &m->scales[check->scale].values[finding->value];
    enum rw_spread spread = RW_SPREAD_SHARP;
    const double fraction = c->outside ? 1.0 : rw_intact_fraction(c, check->target, &spread);
    double p = 0.0, outside = 0.0;
    for (size_t i = 0; i < value->count; i++) {
        const unsigned o = value->observation[i];
        outside += value->weight[i] * table->outside[o];
        p += value->weight[i] * at_time(table, ready, spread, fraction, o);
    }
    if (c->outside)
        return outside;
    if (finding->filled_in)
        p = (1.0 - table->filled_outlier) * p + table->filled_outlier * outside;
    return p;
}
