#include "deficits.h"
#include "feeling.h"

#include <math.h>
#include <string.h>

enum { NO_SLOT = 0xff };

/* A muscle under one effect in one world. */
struct power {
    double left, reaches[RW_GRADES]; /* reaches: P(a grade or better) */
    bool uneven;
};

struct work {
    const struct rw_states *states;
    const struct rw_table *motor, *movement;
    const struct rw_losses *losses;
    uint8_t slot[RW_MAX_TARGETS]; /* place of a muscle or function in the deficits */
    struct rw_measured muscle[RW_MAX_MUSCLES], function[RW_MAX_FUNCTIONS];
    double graded_fraction[RW_MAX_MUSCLES], strong_given_useful;
    struct power *power[RW_MAX_MUSCLES]; /* [effect · worlds + world] */
};

static const struct rw_table *table_named(const char *id) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->table_count; i++)
        if (strcmp(m->tables[i].id, id) == 0)
            return &m->tables[i];
    return NULL;
}

/* ---- what was measured ---- */

static bool is_part(uint16_t group, uint16_t muscle) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->member_count; i++)
        if (m->members[i].owner == group && m->members[i].muscle == muscle)
            return true;
    return false;
}

static void take_grade(struct rw_measured *out, const struct rw_finding *f) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[f->check];
    const struct rw_value *value = &m->scales[check->scale].values[f->value];
    out->given = true;
    out->word = value->text;
    memset(out->grade, 0, sizeof out->grade);
    for (size_t i = 0; i < value->count; i++) {
        const int grade = m->tables[check->table].observations[value->observation[i]][0] - '0';
        if (grade >= 0 && grade < RW_GRADES)
            out->grade[grade] += value->weight[i];
    }
}

/* The nerve that every bundle to a muscle first runs in, in the usual anatomy; NULL when they differ. */
static const char *nerve_of(uint16_t muscle) {
    const struct rw_model *m = rw_model();
    const struct rw_range range = m->ranges[muscle];
    const char *nerve = NULL;
    for (size_t b = range.first; b < (size_t)range.first + range.count; b++) {
        const struct rw_bundle *bundle = &m->bundles[b];
        const char *first = NULL;
        for (size_t i = 0; i < bundle->site_count && first == NULL; i++)
            if (m->sites[bundle->sites[i]].level == RW_LEVEL_NERVE)
                first = m->sites[bundle->sites[i]].name;
        if (first == NULL || (nerve != NULL && strcmp(first, nerve) != 0))
            return NULL;
        nerve = first;
    }
    return nerve;
}

static bool of_one_nerve(uint16_t group) {
    const struct rw_model *m = rw_model();
    const char *nerve = NULL;
    for (size_t i = 0; i < m->member_count; i++) {
        if (m->members[i].owner != group)
            continue;
        const char *own = nerve_of(m->members[i].muscle);
        if (own == NULL || (nerve != NULL && strcmp(own, nerve) != 0))
            return false;
        nerve = own;
    }
    return nerve != NULL;
}

/* A group without any power, or with full power, speaks for each of its parts; one whose parts share a nerve
 * does so at any grade. */
static void take_group(struct rw_measured *out, const struct rw_finding *f) {
    struct rw_measured group = *out;
    take_grade(&group, f);
    if (group.grade[0] >= 1.0 || group.grade[RW_GRADES - 1] >= 1.0 ||
        of_one_nerve(rw_model()->checks[f->check].target))
        *out = group;
}

static void take_hemidiaphragm(struct rw_measured *out, const struct rw_finding *f) {
    const struct rw_check *check = &rw_model()->checks[f->check];
    const char *word = rw_model()->scales[check->scale].values[f->value].text;
    const bool full = strcmp(word, "normal") == 0;
    if (!full && strcmp(word, "paralysed") != 0)
        return; /* sluggish: neither full nor none */
    out->given = true;
    out->word = word;
    memset(out->grade, 0, sizeof out->grade);
    out->grade[full ? RW_GRADES - 1 : 0] = 1.0;
}

void rw_measure(const struct rw_exam *exam, uint16_t muscle, struct rw_measured *out) {
    const struct rw_model *m = rw_model();
    const struct rw_finding *own = NULL;
    memset(out, 0, sizeof *out);
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        const struct rw_check *check = &m->checks[f->check];
        const bool whole = check->section == RW_SECTION_MOTOR && check->target != RW_NONE &&
                           m->targets[check->target].kind == RW_TARGET_GROUP &&
                           is_part(check->target, muscle);
        if (!whole && check->target != muscle)
            continue;
        if (!whole && check->section != RW_SECTION_MOTOR && check->section != RW_SECTION_HEMIDIAPHRAGM)
            continue;
        out->examined = true;
        if (f->filled_in)
            continue;
        if (whole)
            take_group(out, f);
        else if (check->section == RW_SECTION_MOTOR)
            own = f;
        else
            take_hemidiaphragm(out, f);
    }
    if (own != NULL)
        take_grade(out, own);
}

/* A movement with the function's own name or words, graded by the examiner. */
static void measure_function(const struct rw_exam *exam, const struct rw_target *function,
                             struct rw_measured *out) {
    const struct rw_model *m = rw_model();
    memset(out, 0, sizeof *out);
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        const struct rw_check *check = &m->checks[f->check];
        if (check->section == RW_SECTION_MOVEMENT && !f->filled_in &&
            (strcmp(check->item, function->id) == 0 ||
             strcmp(m->targets[check->target].label, function->label) == 0))
            take_grade(out, f);
    }
}

/* The fraction whose mean grade is that of the grades given; beyond the table's ends none or all. */
static double fraction_of_grade(const struct rw_table *motor, const double given[RW_GRADES]) {
    const double wanted = rw_grade_mean(given);
    double grade[RW_GRADES], below = 0.0;
    for (size_t i = 0; i < RW_GRID; i++) {
        rw_grades_at(motor, RW_SPREAD_SHARP, (double)i / (RW_GRID - 1), grade);
        const double mean = rw_grade_mean(grade);
        if (mean >= wanted)
            return i == 0 ? 0.0 : ((double)i - (mean - wanted) / (mean - below)) / (RW_GRID - 1);
        below = mean;
    }
    return 1.0;
}

/* ---- prediction ---- */

static void predict(const struct rw_table *table, bool outside, enum rw_spread spread, double fraction,
                    double grade[RW_GRADES]) {
    if (!outside) {
        rw_grades_at(table, spread, fraction, grade);
        return;
    }
    memset(grade, 0, RW_GRADES * sizeof *grade);
    for (size_t o = 0; o < table->observation_count; o++)
        grade[table->observations[o][0] - '0'] = table->outside[o];
}

/* Also gives the grade as predicted, whatever was measured. */
static void see_power(const struct work *w, size_t muscle, const struct rw_effect *e, size_t world,
                      double grade[RW_GRADES], struct power *out) {
    const struct rw_measured *measured = &w->muscle[muscle];
    predict(w->motor, e->outside, (enum rw_spread)e->spread[world], e->left[world], grade);
    out->left = measured->given ? w->graded_fraction[muscle] : e->left[world];
    out->uneven = !measured->given && e->spread[world] == RW_SPREAD_UNEVEN;
    rw_grade_reaches(measured->given ? measured->grade : grade, out->reaches);
}

static bool see_muscle(struct work *w, size_t muscle, struct rw_arena *arena, struct rw_muscle_state *out) {
    const size_t worlds = w->states->world_count;
    const struct rw_effects *effects = &w->states->effects[out->muscle];
    struct power *power = rw_arena_take(arena, effects->count * worlds, sizeof *power);
    double weight[RW_MAX_STATES][RW_MAX_WORLDS], grade[RW_GRADES];
    if (power == NULL)
        return false;
    w->power[muscle] = power;
    rw_effect_weights(w->states, 0, effects, weight);
    for (size_t e = 0; e < effects->count; e++)
        for (size_t v = 0; v < worlds; v++) {
            struct power *here = &power[e * worlds + v];
            see_power(w, muscle, &effects->list[e], v, grade, here);
            out->intact += weight[e][v] * here->left;
            for (size_t k = 0; k < RW_GRADES; k++)
                out->grade[k] += weight[e][v] * grade[k];
        }
    return true;
}

/* A function in one state and world. */
struct part {
    struct rw_strength strength;
    double graded, all;                                   /* shares of the muscles graded, and of all */
    double lost, returns[RW_HORIZONS], idle[RW_HORIZONS]; /* idle: returns of a muscle that lost nothing */
    bool uneven;
};

/* Where the cause lies outside these nerves, only what was graded says more than the outside table. */
static void predict_function(const struct work *w, bool outside, const struct part *p,
                             double grade[RW_GRADES]) {
    const double fraction = rw_strength_fraction(&p->strength), known = p->graded / p->all;
    double other[RW_GRADES] = {0.0};
    predict(w->movement, false, p->uneven ? RW_SPREAD_UNEVEN : RW_SPREAD_SHARP, fraction, grade);
    if (outside)
        predict(w->movement, true, RW_SPREAD_SHARP, fraction, other);
    for (size_t g = 0; outside && g < RW_GRADES; g++)
        grade[g] = (1.0 - known) * other[g] + known * grade[g];
    rw_strength_cap(&p->strength, grade);
}

static void add_part(const struct work *w, bool outside, double weight, const struct part *p,
                     struct rw_function_deficit *out, struct rw_outlook ahead[RW_HORIZONS]) {
    const struct rw_measured *given = &w->function[w->slot[out->function]];
    double grade[RW_GRADES];
    if (given->given)
        memcpy(grade, given->grade, sizeof grade);
    else
        predict_function(w, outside, p, grade);
    const double useful = rw_grade_at_least(grade, RW_GRADE_USEFUL),
                 strong = rw_grade_at_least(grade, RW_GRADE_STRONG);
    out->expected_grade += weight * rw_grade_mean(grade);
    out->p_useful += weight * useful;
    out->p_strong += weight * strong;
    for (size_t h = 0; h < RW_HORIZONS; h++) {
        const double returns = p->lost > 0.0 ? p->returns[h] / p->lost : p->idle[h];
        ahead[h].p_useful += weight * (useful + (1.0 - useful) * returns);
        ahead[h].p_strong += weight * (strong + (1.0 - strong) * returns * w->strong_given_useful);
    }
}

/* A muscle of a function. */
struct share {
    size_t muscle;
    const uint16_t *effect; /* by state */
    const struct rw_loss *loss;
    double share;
    bool prime;
};

/* `place`: of the state and world in what the muscle's losses list. */
static void add_member(const struct work *w, const struct share *member, const struct power *power,
                       size_t place, struct part *p) {
    const double lost = member->share * (1.0 - power->left);
    rw_strength_add(&p->strength, member->prime, member->share, power->left, power->reaches);
    p->all += member->share;
    p->graded += w->muscle[member->muscle].given ? member->share : 0.0;
    p->uneven |= power->uneven;
    p->lost += lost;
    for (size_t h = 0; h < RW_HORIZONS; h++) {
        p->idle[h] = member->loss->returns[h][place];
        p->returns[h] += lost * p->idle[h];
    }
}

/* The muscles of a function, and every site on the way to one of them. */
static size_t shares_of(const struct work *w, uint16_t function, struct share out[RW_MAX_MUSCLES],
                        struct rw_sites *sites) {
    const struct rw_model *m = rw_model();
    size_t count = 0;
    *sites = (struct rw_sites){{0}};
    for (size_t i = 0; i < m->member_count; i++) {
        const struct rw_member *member = &m->members[i];
        if (member->owner != function)
            continue;
        out[count++] = (struct share){.muscle = w->slot[member->muscle],
                                      .effect = w->states->effects[member->muscle].of,
                                      .loss = rw_loss_of(w->losses, member->muscle),
                                      .share = member->share,
                                      .prime = rw_is_prime(member)};
        *sites = rw_sites_either(*sites, rw_sites_to_any(member->muscle));
    }
    return count;
}

static void see_function(const struct work *w, struct rw_function_deficit *out) {
    const size_t worlds = w->states->world_count;
    struct share shares[RW_MAX_MUSCLES];
    struct rw_sites sites;
    struct rw_groups groups;
    double weight[RW_MAX_STATES][RW_MAX_WORLDS];
    struct rw_outlook ahead[RW_HORIZONS] = {{0.0, 0.0}};
    const size_t count = shares_of(w, out->function, shares, &sites);
    rw_group(w->states, sites, &groups);
    rw_group_weights(w->states, &groups, weight);
    for (size_t g = 0; g < groups.count; g++)
        for (size_t v = 0; v < worlds; v++) {
            const size_t example = groups.list[g].example;
            struct part part = {.strength = rw_strength_none()};
            for (size_t i = 0; i < count; i++) {
                const struct share *member = &shares[i];
                add_member(w, member, &w->power[member->muscle][member->effect[example] * worlds + v],
                           member->loss->group[example] * worlds + v, &part);
            }
            add_part(w, groups.list[g].outside, weight[g][v], &part, out, ahead);
        }
    out->p_recovers_unaided = ahead[RW_HORIZON_EVER].p_useful;
    out->p_strong_unaided = ahead[RW_HORIZON_EVER].p_strong;
    out->months_12 = ahead[RW_HORIZON_12];
    out->months_24 = ahead[RW_HORIZON_24];
}

/* ---- the whole ---- */

static void prepare(struct work *w, const struct rw_exam *exam, struct rw_deficits *out) {
    const struct rw_model *m = rw_model();
    memset(w, 0, sizeof *w);
    memset(w->slot, NO_SLOT, sizeof w->slot);
    w->motor = table_named("motor_muscle");
    w->movement = table_named("movement");
    w->strong_given_useful = rw_fact_value("unaided_m4_given_m3");
    for (uint16_t i = 0; i < m->target_count; i++) {
        const struct rw_target *target = &m->targets[i];
        if (target->kind == RW_TARGET_MUSCLE && out->muscle_count < RW_MAX_MUSCLES) {
            const size_t slot = out->muscle_count++;
            w->slot[i] = (uint8_t)slot;
            out->muscles[slot].muscle = i;
            rw_measure(exam, i, &w->muscle[slot]);
            w->graded_fraction[slot] =
                w->muscle[slot].given ? fraction_of_grade(w->motor, w->muscle[slot].grade) : 1.0;
        } else if (target->kind == RW_TARGET_FUNCTION && out->function_count < RW_MAX_FUNCTIONS) {
            const size_t slot = out->function_count++;
            w->slot[i] = (uint8_t)slot;
            out->functions[slot].function = i;
            measure_function(exam, target, &w->function[slot]);
        }
    }
}

bool rw_deficits(const struct rw_exam *exam, const struct rw_states *states, const struct rw_losses *losses,
                 struct rw_arena *arena, struct rw_deficits *out) {
    struct work *work = rw_arena_take(arena, 1, sizeof *work);
    if (work == NULL)
        return false;
    memset(out, 0, sizeof *out);
    prepare(work, exam, out);
    work->states = states;
    work->losses = losses;
    for (size_t i = 0; i < out->muscle_count; i++) {
        struct rw_muscle_state *state = &out->muscles[i];
        if (!see_muscle(work, i, arena, state))
            return false;
        if (work->muscle[i].given)
            memcpy(state->grade, work->muscle[i].grade, sizeof state->grade);
        state->expected_grade = rw_grade_mean(state->grade);
        state->p_m3 = rw_grade_at_least(state->grade, RW_GRADE_USEFUL);
        state->p_m4 = rw_grade_at_least(state->grade, RW_GRADE_STRONG);
    }
    for (size_t i = 0; i < out->function_count; i++)
        see_function(work, &out->functions[i]);
    rw_feeling(exam, states, &losses->unaided, out);
    return true;
}

const struct rw_muscle_state *rw_muscle_state_of(const struct rw_deficits *deficits, uint16_t muscle) {
    for (size_t i = 0; i < deficits->muscle_count; i++)
        if (deficits->muscles[i].muscle == muscle)
            return &deficits->muscles[i];
    return NULL;
}

const struct rw_function_deficit *rw_function_deficit_of(const struct rw_deficits *deficits,
                                                         uint16_t function) {
    for (size_t i = 0; i < deficits->function_count; i++)
        if (deficits->functions[i].function == function)
            return &deficits->functions[i];
    return NULL;
}

/* ---- spent donors ---- */

/* A muscle of which a share is spent reaches no grade more surely than before. */
static double spend(const struct rw_table *motor, const struct rw_muscle_state *state,
                    const struct rw_spend *spends, size_t count, double reaches[RW_GRADES]) {
    double kept = 1.0, grade[RW_GRADES], after[RW_GRADES];
    rw_grade_reaches(state->grade, reaches);
    for (size_t i = 0; i < count; i++)
        if (spends[i].muscle == state->muscle)
            kept *= 1.0 - spends[i].share;
    if (kept < 1.0) {
        rw_grades_at(motor, RW_SPREAD_SHARP, kept * state->intact, grade);
        rw_grade_reaches(grade, after);
        for (size_t g = 0; g < RW_GRADES; g++)
            reaches[g] = fmin(reaches[g], after[g]);
    }
    return kept * state->intact;
}

void rw_function_power(const struct rw_deficits *deficits, uint16_t function, const struct rw_spend *spends,
                       size_t count, struct rw_function_power *out) {
    const struct rw_model *m = rw_model();
    const struct rw_table *motor = table_named("motor_muscle"), *movement = table_named("movement");
    struct rw_strength strength = rw_strength_none();
    double grade[RW_GRADES], reaches[RW_GRADES];
    for (size_t i = 0; i < m->member_count; i++) {
        const struct rw_muscle_state *state =
            m->members[i].owner == function ? rw_muscle_state_of(deficits, m->members[i].muscle) : NULL;
        if (state == NULL)
            continue;
        const double left = spend(motor, state, spends, count, reaches);
        rw_strength_add(&strength, rw_is_prime(&m->members[i]), m->members[i].share, left, reaches);
    }
    rw_grades_at(movement, RW_SPREAD_SHARP, rw_strength_fraction(&strength), grade);
    rw_strength_cap(&strength, grade);
    out->grade = rw_grade_mean(grade);
    out->p_useful = rw_grade_at_least(grade, RW_GRADE_USEFUL);
    out->p_strong = rw_grade_at_least(grade, RW_GRADE_STRONG);
}
