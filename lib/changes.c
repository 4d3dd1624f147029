/* What changed between visits, and how recovery keeps to its time. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "course.h"
#include "recovery.h"

/* Findings whose going or coming is good or bad news only together with others. */
static bool is_neutral(const struct rw_check *check) {
    return check->section == RW_SECTION_PERCUSSION || check->section == RW_SECTION_PSEUDOMENINGOCELE ||
           check->section == RW_SECTION_ROOT_AVULSION;
}

static enum rw_direction direction(const struct rw_paths *paths, const struct rw_change *change) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[change->check];
    if (change->value[0] == change->value[1])
        return RW_CHANGE_SAME;
    if (check->target == RW_NONE) {
        const uint8_t normal = m->scales[check->scale].normal;
        return change->value[0] == normal   ? RW_CHANGE_WORSE
               : change->value[1] == normal ? RW_CHANGE_BETTER
                                            : RW_CHANGE_OTHER;
    }
    const struct rw_table *table = &m->tables[check->table];
    for (size_t end = 0; end < 2; end++)
        if (is_neutral(check) || rw_table_ready(table, &paths->exams[change->visit[end]]) < 1.0)
            return RW_CHANGE_OTHER;
    const double before = rw_word_speaks_for(check, change->value[0]);
    const double after = rw_word_speaks_for(check, change->value[1]);
    return after > before ? RW_CHANGE_BETTER : after < before ? RW_CHANGE_WORSE : RW_CHANGE_OTHER;
}

/* ---- chance ---- */

/* Observations that speak for at least (end 0) or at most (end 1) as much as another. */
static bool is_as_far(const struct rw_table *table, unsigned observation, unsigned than, size_t end) {
    const double a = rw_speaks_for(table, observation), b = rw_speaks_for(table, than);
    return end == 0 ? a >= b : a <= b;
}

static void probe_end(const struct rw_finding *finding, size_t end, struct rw_probe *probe) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[finding->check];
    const struct rw_table *table = &m->tables[check->table];
    const struct rw_value *value = &m->scales[check->scale].values[finding->value];
    const double filled = finding->filled_in ? table->filled_outlier : 0.0;
    double weight[RW_GRID] = {0}; /* by observation */
    for (unsigned o = 0; o < table->observation_count && o < RW_GRID; o++)
        for (size_t i = 0; i < value->count; i++)
            weight[o] += is_as_far(table, o, value->observation[i], end) ? value->weight[i] : 0.0;
    probe->outside[end] = 0.0;
    for (unsigned o = 0; o < table->observation_count && o < RW_GRID; o++)
        probe->outside[end] += weight[o] * table->outside[o];
    for (size_t s = 0; s < RW_SPREAD_COUNT; s++)
        for (size_t g = 0; g < RW_GRID; g++) {
            const double f = (double)g / (RW_GRID - 1);
            double p = 0.0;
            for (unsigned o = 0; o < table->observation_count && o < RW_GRID; o++)
                p += weight[o] * rw_table_probability(table, (enum rw_spread)s, f, o);
            probe->grid[end][s][g] = (1.0 - filled) * p + filled * probe->outside[end];
        }
}

/* P(the later finding goes by the earlier one no further than to such a word), while nothing changes. */
static double anew(const struct rw_finding *from, const struct rw_finding *to) {
    const struct rw_model *m = rw_model();
    const struct rw_value *values = m->scales[m->checks[from->check].scale].values, *v = &values[from->value],
                          *w = &values[to->value];
    bool near = false;
    for (size_t i = 0; i < v->count; i++)
        for (size_t k = 0; k < w->count; k++)
            near |= abs((int)v->observation[i] - (int)w->observation[k]) <= 1;
    if (from->filled_in || to->filled_in)
        return 1.0;
    return (1.0 - rw_fact_value("finding_persists")) * (near ? 1.0 : rw_fact_value("finding_strays"));
}

/* ---- changes ---- */

static const struct rw_finding *finding_of(const struct rw_exam *exam, uint16_t check) {
    for (size_t i = 0; i < exam->finding_count; i++)
        if (exam->findings[i].check == check)
            return &exam->findings[i];
    return NULL;
}

static const struct rw_finding *next_record(const struct rw_paths *paths, size_t visit, uint16_t check,
                                            size_t *next) {
    for (*next = visit + 1; *next < paths->visit_count; ++*next) {
        const struct rw_finding *f = finding_of(&paths->exams[*next], check);
        if (f != NULL)
            return f;
    }
    return NULL;
}

size_t rw_changes_find(const struct rw_paths *paths, struct rw_change *changes, struct rw_probe *probes,
                       size_t *probe_count) {
    const struct rw_model *m = rw_model();
    size_t count = 0;
    *probe_count = 0;
    for (size_t v = 0; v + 1 < paths->visit_count; v++)
        for (size_t i = 0; i < paths->exams[v].finding_count; i++) {
            const struct rw_finding *from = &paths->exams[v].findings[i];
            size_t next;
            const struct rw_finding *to = next_record(paths, v, from->check, &next);
            if (to == NULL || (from->filled_in && to->filled_in)) /* nobody looked at it closely */
                continue;
            struct rw_change *c = &changes[count++];
            *c = (struct rw_change){.check = from->check,
                                    .visit = {(uint8_t)v, (uint8_t)next},
                                    .value = {from->value, to->value},
                                    .p_recovered = (double)NAN,
                                    .p_chance = (double)NAN};
            c->direction = (uint8_t)direction(paths, c);
            const uint16_t target = m->checks[c->check].target;
            if (c->direction != RW_CHANGE_WORSE || target == RW_NONE)
                continue;
            struct rw_probe *probe = &probes[(*probe_count)++];
            probe->watched = paths->watched_of[target];
            memcpy(probe->visit, c->visit, sizeof probe->visit);
            probe->anew = anew(from, to);
            probe->chance = 0.0;
            probe_end(from, 0, probe);
            probe_end(to, 1, probe);
        }
    return count;
}

static int compare(double a, double b) {
    return (a > b) - (a < b);
}

static double surety(const struct rw_change *c) {
    return isnan(c->p_recovered) ? -1.0 : c->p_recovered;
}

/* What got worse first, the least likely chance first; then what got better, the surest first. */
static int by_matter(const void *a, const void *b) {
    const struct rw_change *x = a, *y = b;
    int order = (int)x->direction - (int)y->direction;
    if (order == 0)
        order = (int)y->beyond_chance - (int)x->beyond_chance;
    if (order == 0 && !isnan(x->p_chance) && !isnan(y->p_chance))
        order = compare(x->p_chance, y->p_chance);
    if (order == 0)
        order = compare(surety(y), surety(x));
    if (order == 0)
        order = (int)y->visit[1] - (int)x->visit[1];
    return order != 0 ? order : (int)x->check - (int)y->check;
}

void rw_changes_finish(const struct rw_paths *paths, const struct rw_sums *sums,
                       const struct rw_probe *probes, struct rw_change *changes, size_t count) {
    const double chance = rw_fact_value("worsening_chance");
    size_t next = 0;
    for (size_t i = 0; i < count; i++) {
        struct rw_change *c = &changes[i];
        const uint16_t target = rw_model()->checks[c->check].target;
        if (target != RW_NONE)
            c->p_recovered = sums->recovered[c->visit[1]][paths->watched_of[target]] / sums->total;
        if (c->direction != RW_CHANGE_WORSE)
            continue;
        if (target != RW_NONE)
            c->p_chance = probes[next++].chance / sums->total;
        c->beyond_chance = target == RW_NONE || c->p_chance < chance;
    }
    qsort(changes, count, sizeof *changes, by_matter);
}
