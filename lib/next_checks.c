#include "explain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "exp.h"

enum { MAX_OBSERVATIONS = 8, BEDSIDE = 0, INVESTIGATION = 1 };

/* Less than this in bits is rounding. */
#define NO_BITS 1e-9

/* The target at hand. States stand effect by effect: a place is a state's number in that order. */
struct view {
    const struct rw_effects *effects;
    size_t place[RW_MAX_STATES], begin[RW_MAX_STATES + 1]; /* by state; by effect */
    /* Worlds in which an effect is the same share a slot. */
    size_t slot_count[RW_MAX_STATES];                 /* by effect */
    uint8_t slot_world[RW_MAX_STATES][RW_MAX_WORLDS]; /* one of its worlds */
    double share[RW_MAX_WORLDS][RW_MAX_STATES];       /* P(slot | state), by place */
    double weight[RW_MAX_STATES][RW_MAX_WORLDS];      /* of each slot, by effect */
    double mass[RW_MAX_STATES];                       /* of each state, by place */
    uint16_t where[RW_MAX_STATES];                    /* likewise */
};

/* Outcomes of one check. */
struct outcomes {
    size_t count;
    double all[MAX_OBSERVATIONS];                       /* P(outcome) */
    double p[MAX_OBSERVATIONS][RW_MAX_STATES];          /* P(outcome | state), by place */
    double listed[MAX_OBSERVATIONS][RW_MAX_HYPOTHESES]; /* the same of the listed hypotheses */
    double entropy[RW_MAX_HYPOTHESES];                  /* of these, in bits */
};

/* Where the lesion is: states that injure the same sites, whatever the severity, are one. */
struct where {
    size_t count;
    uint16_t of[RW_MAX_STATES]; /* by state */
    double mass[RW_MAX_STATES];
};

/* What all checks are weighed against. */
struct asking {
    const struct rw_states *states;
    size_t listed;
    double mass[RW_MAX_STATES]; /* of each state */
    struct where where;
    struct view view;
    struct outcomes outcomes;
    struct best {
        double bits;
        uint16_t check;
    } best[RW_MAX_HYPOTHESES][2]; /* to tell a listed hypothesis from the leader: bedside, investigation */
};

/* ---- outcomes ---- */

/* Of 0 it is finite, so that x · log2 x is 0 there as it should be. */
static inline double log2_of(double x) {
    return rw_log(x) * 0x1.71547652b82fep0; /* 1 / ln 2 */
}

/* bits[i] += −p[i] · log2 p[i] */
RW_VECTOR static void add_entropy(const double *p, size_t count, double *bits) {
    for (size_t i = 0; i < count; i++)
        bits[i] -= p[i] * log2_of(p[i]);
}

/* to[i] += share[i] · p */
RW_VECTOR static void add_share(const double *share, double p, size_t count, double *to) {
    for (size_t i = 0; i < count; i++)
        to[i] += share[i] * p;
}

/* Σ a[i] · b[i], in eight sums so that it need not wait for itself. */
static double dot(const double *a, const double *b, size_t count) {
    double lane[8] = {0.0}, sum = 0.0;
    size_t i = 0;
    for (; i + 8 <= count; i += 8)
        for (size_t k = 0; k < 8; k++)
            lane[k] += a[i + k] * b[i + k];
    for (; i < count; i++)
        sum += a[i] * b[i];
    for (size_t k = 0; k < 8; k++)
        sum += lane[k];
    return sum;
}

static bool same_in(const struct rw_effect *e, size_t a, size_t b) {
    return e->spread[a] == e->spread[b] && !(e->left[a] < e->left[b] || e->left[a] > e->left[b]);
}

/* Sorts the worlds of one effect into slots: member[k][w] is 1 where world w belongs to slot k, else 0. */
static size_t find_slots(const struct rw_effect *e, size_t worlds, uint8_t world[RW_MAX_WORLDS],
                         double member[RW_MAX_WORLDS][RW_MAX_WORLDS]) {
    size_t count = 0;
    for (size_t w = 0; w < worlds; w++) {
        size_t k = 0;
        while (k < count && !same_in(e, world[k], w))
            k++;
        if (k == count) {
            memset(member[count], 0, sizeof member[count]);
            world[count++] = (uint8_t)w;
        }
        member[k][w] = 1.0;
    }
    return count;
}

/* The states of one effect, at their places. */
static void fill_slots(const struct asking *a, size_t effect, const uint16_t *state_at, struct view *v) {
    const size_t worlds = a->states->world_count;
    double member[RW_MAX_WORLDS][RW_MAX_WORLDS];
    const size_t count = find_slots(&v->effects->list[effect], worlds, v->slot_world[effect], member);
    v->slot_count[effect] = count;
    memset(v->weight[effect], 0, sizeof v->weight[effect]);
    for (size_t place = v->begin[effect]; place < v->begin[effect + 1]; place++) {
        const size_t i = state_at[place];
        const double scale = a->mass[i] > 0.0 ? 1.0 / a->mass[i] : 0.0;
        v->mass[place] = a->mass[i];
        v->where[place] = a->where.of[i];
        for (size_t k = 0; k < count; k++) {
            const double weight = count == 1 ? a->mass[i] : dot(a->states->list[i].weight, member[k], worlds);
            v->share[k][place] = weight * scale;
            v->weight[effect][k] += weight;
        }
    }
}

static void turn_to(struct asking *a, uint16_t target) {
    struct view *v = &a->view;
    uint16_t state_at[RW_MAX_STATES];
    size_t next[RW_MAX_STATES] = {0};
    v->effects = &a->states->effects[target];
    for (size_t i = 0; i < a->states->count; i++)
        next[v->effects->of[i]]++;
    v->begin[0] = 0;
    for (size_t e = 0; e < v->effects->count; e++) {
        v->begin[e + 1] = v->begin[e] + next[e];
        next[e] = v->begin[e];
    }
    for (size_t i = 0; i < a->states->count; i++) {
        v->place[i] = next[v->effects->of[i]]++;
        state_at[v->place[i]] = (uint16_t)i;
    }
    for (size_t e = 0; e < v->effects->count; e++)
        fill_slots(a, e, state_at, v);
}

static void foresee(struct asking *a, const struct rw_table *table, double ready) {
    const struct view *v = &a->view;
    struct outcomes *out = &a->outcomes;
    memset(out->entropy, 0, sizeof out->entropy);
    memset(out->all, 0, sizeof out->all);
    memset(out->p, 0, table->observation_count * sizeof *out->p);
    out->count = table->observation_count;
    for (size_t e = 0; e < v->effects->count; e++) {
        const size_t from = v->begin[e], count = v->begin[e + 1] - from;
        for (size_t k = 0; k < v->slot_count[e]; k++) {
            double p[MAX_OBSERVATIONS];
            rw_effect_predict(table, ready, &v->effects->list[e], v->slot_world[e][k], p);
            for (size_t o = 0; o < out->count; o++) {
                out->all[o] += v->weight[e][k] * p[o];
                add_share(v->share[k] + from, p[o], count, out->p[o] + from);
            }
        }
    }
    for (size_t o = 0; o < out->count; o++) {
        for (size_t h = 0; h < a->listed; h++)
            out->listed[o][h] = out->p[o][v->place[h]];
        add_entropy(out->listed[o], a->listed, out->entropy);
    }
}

/* ---- information ---- */

static bool same_where(const struct rw_state *a, const struct rw_state *b) {
    return a->outside == b->outside &&
           rw_sites_same(rw_sites_either(a->partial, a->complete), rw_sites_either(b->partial, b->complete));
}

static void find_where(struct asking *a) {
    struct where *where = &a->where;
    uint16_t first[RW_MAX_STATES]; /* its first state */
    for (size_t i = 0; i < a->states->count; i++) {
        size_t k = 0;
        while (k < where->count && !same_where(&a->states->list[first[k]], &a->states->list[i]))
            k++;
        if (k == where->count)
            first[where->count++] = (uint16_t)i;
        where->of[i] = (uint16_t)k;
        where->mass[k] += a->mass[i];
    }
}

/* About where the lesion is. */
static double information(const struct asking *a) {
    const struct outcomes *out = &a->outcomes;
    const struct where *where = &a->where;
    double between = 0.0, entropy[RW_MAX_STATES] = {0.0};
    for (size_t o = 0; o < out->count; o++) {
        double p[RW_MAX_STATES] = {0.0};
        for (size_t i = 0; i < a->states->count; i++)
            p[a->view.where[i]] += a->view.mass[i] * out->p[o][i];
        for (size_t k = 0; k < where->count; k++)
            p[k] /= where->mass[k] > 0.0 ? where->mass[k] : 1.0;
        add_entropy(p, where->count, entropy);
        between -= out->all[o] * log2_of(out->all[o]);
    }
    return fmax(0.0, between - dot(where->mass, entropy, where->count));
}

/* Between the leader and each listed hypothesis, were these two the only ones. */
static void information_between(const struct asking *a, double bits[RW_MAX_HYPOTHESES]) {
    const struct outcomes *out = &a->outcomes;
    double share[RW_MAX_HYPOTHESES];
    for (size_t h = 0; h < a->listed; h++) {
        share[h] = a->mass[h] > 0.0 ? a->mass[h] / (a->mass[0] + a->mass[h]) : 0.0;
        bits[h] = -(1.0 - share[h]) * out->entropy[0] - share[h] * out->entropy[h];
    }
    for (size_t o = 0; o < out->count; o++) {
        double mixed[RW_MAX_HYPOTHESES];
        for (size_t h = 0; h < a->listed; h++)
            mixed[h] = (1.0 - share[h]) * out->listed[o][0] + share[h] * out->listed[o][h];
        add_entropy(mixed, a->listed, bits);
    }
}

/* The rival of the leader of which the check tells most; keeps the best check of each listed hypothesis. */
static uint16_t separate(struct asking *a, uint16_t check) {
    const size_t kind = rw_check_bedside(check) ? BEDSIDE : INVESTIGATION;
    double bits[RW_MAX_HYPOTHESES], most = 0.0;
    uint16_t rival = RW_NONE;
    information_between(a, bits);
    for (size_t h = 1; h < a->listed; h++) {
        const double told = (a->mass[0] + a->mass[h]) * bits[h];
        if (bits[h] < NO_BITS)
            continue;
        if (bits[h] > a->best[h][kind].bits)
            a->best[h][kind] = (struct best){.bits = bits[h], .check = check};
        if (told > most) {
            most = told;
            rival = (uint16_t)h;
        }
    }
    return rival;
}

static void name_separators(const struct asking *a, struct rw_localisation *out) {
    for (size_t h = 0; h < out->hypothesis_count; h++) {
        const struct best *bedside = &a->best[h][BEDSIDE], *other = &a->best[h][INVESTIGATION];
        const struct best *best = other->bits > RW_FAR_BETTER * bedside->bits ? other : bedside;
        out->hypotheses[h].separated_by = best->bits > 0.0 ? best->check : RW_NONE;
        out->hypotheses[h].separated_bits = best->bits;
    }
}

/* ---- which checks ---- */

bool rw_check_bedside(uint16_t check) {
    return rw_model()->checks[check].bedside_order < UINT8_MAX;
}

/* 0: this check says nothing, or nothing yet. */
static double ready_at(const struct rw_exam *exam, const struct rw_check *check) {
    return check->target == RW_NONE ? 0.0 : rw_table_ready(&rw_model()->tables[check->table], exam);
}

static int by_use(const void *a, const void *b) {
    const struct rw_next_check *x = a, *y = b;
    const bool bx = rw_check_bedside(x->check), by = rw_check_bedside(y->check);
    if (bx != by)
        return bx ? -1 : 1;
    if (x->repeats != y->repeats)
        return x->repeats ? 1 : -1;
    if (x->bits > y->bits)
        return -1;
    if (x->bits < y->bits)
        return 1;
    return (int)x->check - (int)y->check;
}

/* Targets of which some power was graded, a group marking its parts and a part its groups. */
static void mark_graded(const struct rw_exam *exam, bool graded[RW_MAX_TARGETS]) {
    const struct rw_model *m = rw_model();
    bool own[RW_MAX_TARGETS] = {false};
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->section == RW_SECTION_MOTOR && check->target != RW_NONE)
            own[check->target] = true;
    }
    for (size_t i = 0; i < m->member_count; i++) {
        const struct rw_member *member = &m->members[i];
        if (m->targets[member->owner].kind != RW_TARGET_GROUP)
            continue;
        graded[member->owner] |= own[member->muscle];
        graded[member->muscle] |= own[member->owner];
    }
}

void rw_explain_next(const struct rw_exam *exam, const struct rw_states *states,
                     struct rw_localisation *out) {
    const struct rw_model *m = rw_model();
    bool examined[RW_MAX_CHECKS] = {false}, graded[RW_MAX_TARGETS] = {false};
    struct asking a = {.states = states, .listed = out->hypothesis_count};
    for (size_t i = 0; i < states->count; i++)
        for (size_t w = 0; w < states->world_count; w++)
            a.mass[i] += states->list[i].weight[w];
    for (size_t i = 0; i < exam->finding_count; i++)
        examined[exam->findings[i].check] = true;
    mark_graded(exam, graded);
    find_where(&a);
    for (uint16_t target = 0; target < m->target_count; target++) {
        bool turned = false;
        for (uint16_t i = 0; i < m->check_count; i++) {
            const struct rw_check *check = &m->checks[i];
            const double ready = check->target == target ? ready_at(exam, check) : 0.0;
            if (examined[i] || !(ready > 0.0))
                continue;
            if (!turned)
                turn_to(&a, target);
            turned = true;
            foresee(&a, &m->tables[check->table], ready);
            out->next[out->next_count++] =
                (struct rw_next_check){.check = i,
                                       .separates = {0, separate(&a, i)},
                                       .bits = information(&a),
                                       .repeats = check->section == RW_SECTION_MOTOR && graded[target]};
        }
    }
    name_separators(&a, out);
    qsort(out->next, out->next_count, sizeof out->next[0], by_use);
}
