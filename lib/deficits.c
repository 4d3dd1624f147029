#include "deficits.h"

#include <math.h>
#include <string.h>

enum { NO_SLOT = 0xff };

/* A muscle under one effect in one world. */
struct power {
    double lost, reaches[RW_GRADES]; /* reaches: P(a grade or better) */
    bool uneven;
};

struct work {
    const struct rw_states *states;
    const struct rw_table *motor, *movement;
    const struct rw_losses *losses;
    uint8_t slot[RW_MAX_TARGETS]; /* place of a muscle or function in the deficits */
    struct rw_measured muscle[RW_MAX_MUSCLES], function[RW_MAX_FUNCTIONS];
    double graded_fraction[RW_MAX_MUSCLES];
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

/* A group without any power, or with full power, speaks for each of its parts. */
static void take_group(struct rw_measured *out, const struct rw_finding *f) {
    struct rw_measured group = *out;
    take_grade(&group, f);
    if (group.grade[0] >= 1.0 || group.grade[RW_GRADES - 1] >= 1.0)
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

/* A movement with the function's own name, graded by the examiner. */
static void measure_function(const struct rw_exam *exam, const char *id, struct rw_measured *out) {
    const struct rw_model *m = rw_model();
    memset(out, 0, sizeof *out);
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        const struct rw_check *check = &m->checks[f->check];
        if (check->section == RW_SECTION_MOVEMENT && !f->filled_in && strcmp(check->item, id) == 0)
            take_grade(out, f);
    }
}

/* Mean intact fraction given a grade, every fraction being equally likely beforehand. */
static double fraction_of_grade(const struct rw_table *motor, const double grade[RW_GRADES]) {
    double sum = 0.0, weight = 0.0;
    for (size_t i = 0; i < RW_GRID; i++) {
        const double fraction = (double)i / (RW_GRID - 1);
        double p = 0.0;
        for (unsigned o = 0; o < motor->observation_count; o++)
            p += grade[motor->observations[o][0] - '0'] *
                 rw_table_probability(motor, RW_SPREAD_SHARP, fraction, o);
        sum += p * fraction;
        weight += p;
    }
    return weight > 0.0 ? sum / weight : 1.0;
}

/* ---- prediction ---- */

static void predict(const struct rw_table *table, bool outside, enum rw_spread spread, double fraction,
                    double grade[RW_GRADES]) {
    double predicted[UINT8_MAX];
    const double *p = outside ? table->outside : predicted;
    if (!outside)
        rw_table_predict(table, 1.0, spread, fraction, predicted);
    for (size_t o = 0; o < table->observation_count; o++)
        grade[table->observations[o][0] - '0'] = p[o];
}

static double at_least(const double grade[RW_GRADES], size_t least) {
    double p = 0.0;
    for (size_t g = least; g < RW_GRADES; g++)
        p += grade[g];
    return p;
}

static double mean_grade(const double grade[RW_GRADES]) {
    double mean = 0.0;
    for (size_t g = 1; g < RW_GRADES; g++)
        mean += (double)g * grade[g];
    return mean;
}

/* Also gives the grade as predicted, whatever was measured. */
static void see_power(const struct work *w, size_t muscle, const struct rw_effect *e, size_t world,
                      double grade[RW_GRADES], struct power *out) {
    const struct rw_measured *measured = &w->muscle[muscle];
    memset(grade, 0, RW_GRADES * sizeof *grade);
    predict(w->motor, e->outside, (enum rw_spread)e->spread[world], e->left[world], grade);
    out->lost = 1.0 - (measured->given ? w->graded_fraction[muscle] : e->left[world]);
    out->uneven = !measured->given && e->spread[world] == RW_SPREAD_UNEVEN;
    double above = 0.0;
    for (size_t g = RW_GRADES; g-- > 0;) {
        above += measured->given ? measured->grade[g] : grade[g];
        out->reaches[g] = above;
    }
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
            see_power(w, muscle, &effects->list[e], v, grade, &power[e * worlds + v]);
            for (size_t k = 0; k < RW_GRADES; k++)
                out->grade[k] += weight[e][v] * grade[k];
        }
    return true;
}

/* A function in one state and world: the sums over its muscles, and P(no prime mover reaches a grade). */
struct part {
    double fraction, graded_fraction, graded_share, lost, returns;
    double none_reaches[RW_GRADES];
    bool uneven, primes;
};

/* No movement is stronger than the strongest of its prime movers: caps P(grade or better), grade by grade. */
static void cap(const struct part *p, double grade[RW_GRADES]) {
    double above = 0.0, capped[RW_GRADES + 1] = {0.0};
    for (size_t g = RW_GRADES - 1; g > 0; g--) {
        above += grade[g];
        const double most = 1.0 - p->none_reaches[g];
        capped[g] = above < most ? above : most;
    }
    capped[0] = above + grade[0];
    for (size_t g = 0; g < RW_GRADES; g++)
        grade[g] = capped[g] - capped[g + 1];
}

static void predict_function(const struct work *w, bool outside, const struct part *p,
                             double grade[RW_GRADES]) {
    if (outside) {
        double graded[RW_GRADES] = {0.0};
        predict(w->movement, true, RW_SPREAD_SHARP, 1.0, grade);
        if (p->graded_share > 0.0)
            predict(w->movement, false, RW_SPREAD_SHARP, p->graded_fraction / p->graded_share, graded);
        for (size_t g = 0; g < RW_GRADES; g++)
            grade[g] = (1.0 - p->graded_share) * grade[g] + p->graded_share * graded[g];
    } else {
        predict(w->movement, false, p->uneven ? RW_SPREAD_UNEVEN : RW_SPREAD_SHARP, p->fraction, grade);
    }
    if (p->primes)
        cap(p, grade);
}

static void add_part(const struct work *w, bool outside, double weight, const struct part *p,
                     struct rw_function_deficit *out) {
    const double returns = p->lost > 0.0 ? p->returns / p->lost : w->losses->unaided.other;
    const struct rw_measured *given = &w->function[w->slot[out->function]];
    double grade[RW_GRADES] = {0.0};
    if (given->given)
        memcpy(grade, given->grade, sizeof grade);
    else
        predict_function(w, outside, p, grade);
    const double useful = at_least(grade, RW_GRADE_USEFUL);
    out->expected_grade += weight * mean_grade(grade);
    out->p_useful += weight * useful;
    out->p_recovers_unaided += weight * (useful + (1.0 - useful) * returns);
}

/* A muscle of a function. */
struct share {
    size_t muscle;
    const uint16_t *effect; /* by state */
    const struct rw_loss *loss;
    double share;
    bool prime;
};

static void add_member(const struct work *w, const struct share *member, const struct power *power,
                       double returns, struct part *p) {
    p->fraction += member->share * (1.0 - power->lost);
    p->lost += member->share * power->lost;
    p->returns += member->share * power->lost * returns;
    p->uneven |= power->uneven;
    if (w->muscle[member->muscle].given) {
        p->graded_share += member->share;
        p->graded_fraction += member->share * w->graded_fraction[member->muscle];
    }
    if (!member->prime)
        return;
    for (size_t g = 0; g < RW_GRADES; g++)
        p->none_reaches[g] = (p->primes ? p->none_reaches[g] : 1.0) * (1.0 - power->reaches[g]);
    p->primes = true;
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
                                      .prime = strcmp(member->role, "prime") == 0};
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
    const size_t count = shares_of(w, out->function, shares, &sites);
    rw_group(w->states, sites, &groups);
    rw_group_weights(w->states, &groups, weight);
    for (size_t g = 0; g < groups.count; g++)
        for (size_t v = 0; v < worlds; v++) {
            struct part part = {0};
            for (size_t i = 0; i < count; i++) {
                const struct share *member = &shares[i];
                const size_t example = groups.list[g].example;
                add_member(w, member, &w->power[member->muscle][member->effect[example] * worlds + v],
                           member->loss->returns[member->loss->group[example] * worlds + v], &part);
            }
            add_part(w, groups.list[g].outside, weight[g][v], &part, out);
        }
}

/* ---- skin and pupil ---- */

static double loss_word(const char *word) {
    return strcmp(word, "reduced") == 0 || strcmp(word, "absent") == 0 ? 1.0 : 0.0;
}

/* P(reduced or absent): as recorded where it was tested, else predicted from the check's table. */
static double area_lost(const struct rw_exam *exam, const struct rw_states *states, uint16_t check) {
    const struct rw_model *m = rw_model();
    const struct rw_check *k = &m->checks[check];
    const struct rw_table *table = &m->tables[k->table];
    for (size_t i = 0; i < exam->finding_count; i++)
        if (exam->findings[i].check == check && !exam->findings[i].filled_in)
            return loss_word(m->scales[k->scale].values[exam->findings[i].value].text);
    const struct rw_effects *effects = &states->effects[k->target];
    double weight[RW_MAX_STATES][RW_MAX_WORLDS], seen[UINT8_MAX] = {0.0}, p[UINT8_MAX], lost = 0.0;
    rw_effect_weights(states, 0, effects, weight);
    for (size_t e = 0; e < effects->count; e++)
        for (size_t w = 0; w < states->world_count; w++) {
            rw_effect_predict(table, 1.0, &effects->list[e], w, p);
            for (size_t o = 0; o < table->observation_count; o++)
                seen[o] += weight[e][w] * p[o];
        }
    for (size_t o = 0; o < table->observation_count; o++)
        lost += loss_word(table->observations[o]) * seen[o];
    return lost;
}

static bool is_area(const struct rw_check *check) {
    return check->section == RW_SECTION_SKIN_NERVE || check->section == RW_SECTION_SKIN_ROOT;
}

/* Skin by nerve, and by root only for the roots of the plexus. */
static void see_areas(const struct rw_exam *exam, const struct rw_states *states, struct rw_deficits *out) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->check_count && out->area_count < RW_MAX_AREAS; i++) {
        const struct rw_check *check = &m->checks[i];
        bool of_plexus = check->section == RW_SECTION_SKIN_NERVE;
        for (enum rw_segment s = RW_SEGMENT_C5; s <= RW_SEGMENT_T1; s++)
            of_plexus |= strcmp(check->item, rw_segment_name(s)) == 0;
        if (!is_area(check) || !of_plexus || check->target == RW_NONE)
            continue;
        const double lost = area_lost(exam, states, (uint16_t)i);
        out->areas[out->area_count++] =
            (struct rw_area_deficit){.area = check->target, .p_lost = lost, .protective = lost < 0.5};
    }
}

static double sympathetic_lost(const struct rw_states *states) {
    const uint16_t horner = rw_target_find(RW_TARGET_SIGN, "horner");
    double weight[RW_MAX_STATES][RW_MAX_WORLDS], lost = 0.0;
    if (horner == RW_NONE)
        return 0.0;
    const struct rw_effects *effects = &states->effects[horner];
    rw_effect_weights(states, 0, effects, weight);
    for (size_t e = 0; e < effects->count; e++)
        for (size_t w = 0; w < states->world_count; w++)
            lost += weight[e][w] * (1.0 - effects->list[e].left[w]);
    return lost;
}

/* ---- the whole ---- */

static void prepare(struct work *w, const struct rw_exam *exam, struct rw_deficits *out) {
    const struct rw_model *m = rw_model();
    memset(w, 0, sizeof *w);
    memset(w->slot, NO_SLOT, sizeof w->slot);
    w->motor = table_named("motor_muscle");
    w->movement = table_named("movement");
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
            measure_function(exam, target->id, &w->function[slot]);
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
        state->expected_grade = mean_grade(state->grade);
        state->p_m3 = at_least(state->grade, RW_GRADE_USEFUL);
        state->p_m4 = at_least(state->grade, RW_GRADE_STRONG);
    }
    for (size_t i = 0; i < out->function_count; i++)
        see_function(work, &out->functions[i]);
    see_areas(exam, states, out);
    out->p_sympathetic_lost = sympathetic_lost(states);
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
