#include "deficits.h"

#include <math.h>
#include <string.h>

#include "unaided.h"

enum { NO_SLOT = 0xff };

/* What does not change from case to case. */
struct work {
    const struct rw_table *motor, *movement;
    struct rw_unaided unaided;
    uint8_t slot[RW_MAX_TARGETS]; /* place of a muscle or function in the deficits */
    struct rw_measured muscle[RW_MAX_MUSCLES], function[RW_MAX_FUNCTIONS];
    double graded_fraction[RW_MAX_MUSCLES];
};

/* The muscles in one case. */
struct scene {
    struct rw_loss loss[RW_MAX_MUSCLES];
    double reaches[RW_MAX_MUSCLES][RW_GRADES]; /* P(a grade or better) */
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
    for (unsigned o = 0; o < table->observation_count; o++)
        grade[table->observations[o][0] - '0'] =
            outside ? table->outside[o] : rw_table_probability(table, spread, fraction, o);
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

static void see_muscles(const struct work *w, const struct rw_case *c, struct scene *scene,
                        struct rw_deficits *out) {
    for (size_t i = 0; i < out->muscle_count; i++) {
        struct rw_muscle_state *state = &out->muscles[i];
        struct rw_loss *loss = &scene->loss[i];
        double grade[RW_GRADES] = {0.0};
        *loss = rw_loss_of(&w->unaided, c, state->muscle);
        predict(w->motor, c->outside, loss->uneven ? RW_SPREAD_UNEVEN : RW_SPREAD_SHARP, 1.0 - loss->lost,
                grade);
        if (w->muscle[i].given) {
            loss->lost = 1.0 - w->graded_fraction[i];
            loss->uneven = false;
        }
        for (size_t g = 0; g < RW_GRADES; g++) {
            state->grade[g] += c->weight * grade[g];
            scene->reaches[i][g] = at_least(w->muscle[i].given ? w->muscle[i].grade : grade, g);
        }
    }
}

/* A function in one case: the sums over its muscles, and P(no prime mover reaches a grade). */
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
        capped[g] = fmin(above, 1.0 - p->none_reaches[g]);
    }
    capped[0] = above + grade[0];
    for (size_t g = 0; g < RW_GRADES; g++)
        grade[g] = capped[g] - capped[g + 1];
}

static void predict_function(const struct work *w, const struct rw_case *c, const struct part *p,
                             double grade[RW_GRADES]) {
    if (c->outside) {
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

static void add_function(const struct work *w, const struct rw_case *c, const struct part *p,
                         struct rw_function_deficit *out) {
    const double returns = p->lost > 0.0 ? p->returns / p->lost : w->unaided.other;
    const struct rw_measured *given = &w->function[w->slot[out->function]];
    double grade[RW_GRADES] = {0.0};
    if (given->given)
        memcpy(grade, given->grade, sizeof grade);
    else
        predict_function(w, c, p, grade);
    const double useful = at_least(grade, RW_GRADE_USEFUL);
    out->expected_grade += c->weight * mean_grade(grade);
    out->p_useful += c->weight * useful;
    out->p_recovers_unaided += c->weight * (useful + (1.0 - useful) * returns);
}

static void add_member(const struct work *w, const struct scene *scene, const struct rw_member *member,
                       struct part *p) {
    const size_t muscle = w->slot[member->muscle];
    const struct rw_loss *loss = &scene->loss[muscle];
    p->fraction += member->share * (1.0 - loss->lost);
    p->lost += member->share * loss->lost;
    p->returns += member->share * loss->lost * loss->returns;
    p->uneven |= loss->uneven;
    if (w->muscle[muscle].given) {
        p->graded_share += member->share;
        p->graded_fraction += member->share * w->graded_fraction[muscle];
    }
    if (strcmp(member->role, "prime") != 0)
        return;
    for (size_t g = 0; g < RW_GRADES; g++)
        p->none_reaches[g] = (p->primes ? p->none_reaches[g] : 1.0) * (1.0 - scene->reaches[muscle][g]);
    p->primes = true;
}

static void see_functions(const struct work *w, const struct rw_case *c, const struct scene *scene,
                          struct rw_deficits *out) {
    const struct rw_model *m = rw_model();
    struct part parts[RW_MAX_FUNCTIONS] = {{0}};
    for (size_t i = 0; i < m->member_count; i++)
        if (m->targets[m->members[i].owner].kind == RW_TARGET_FUNCTION)
            add_member(w, scene, &m->members[i], &parts[w->slot[m->members[i].owner]]);
    for (size_t i = 0; i < out->function_count; i++)
        add_function(w, c, &parts[i], &out->functions[i]);
}

/* ---- skin and pupil ---- */

static double loss_word(const char *word) {
    return strcmp(word, "reduced") == 0 || strcmp(word, "absent") == 0 ? 1.0 : 0.0;
}

/* P(reduced or absent): as recorded where it was tested, else predicted from the check's table. */
static double area_lost(const struct rw_exam *exam, const struct rw_posterior *posterior, uint16_t check) {
    const struct rw_model *m = rw_model();
    const struct rw_check *k = &m->checks[check];
    const struct rw_table *table = &m->tables[k->table];
    for (size_t i = 0; i < exam->finding_count; i++)
        if (exam->findings[i].check == check && !exam->findings[i].filled_in)
            return loss_word(m->scales[k->scale].values[exam->findings[i].value].text);
    double lost = 0.0;
    for (size_t i = 0; i < posterior->count; i++) {
        const struct rw_case *c = &posterior->cases[i];
        enum rw_spread spread = RW_SPREAD_SHARP;
        const double fraction = c->outside ? 1.0 : rw_intact_fraction(c, k->target, &spread);
        for (unsigned o = 0; o < table->observation_count; o++)
            lost += c->weight * loss_word(table->observations[o]) *
                    (c->outside ? table->outside[o] : rw_table_probability(table, spread, fraction, o));
    }
    return lost;
}

static bool is_area(const struct rw_check *check) {
    return check->section == RW_SECTION_SKIN_NERVE || check->section == RW_SECTION_SKIN_ROOT;
}

/* Skin by nerve, and by root only for the roots of the plexus. */
static void see_areas(const struct rw_exam *exam, const struct rw_posterior *posterior,
                      struct rw_deficits *out) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->check_count && out->area_count < RW_MAX_AREAS; i++) {
        const struct rw_check *check = &m->checks[i];
        bool of_plexus = check->section == RW_SECTION_SKIN_NERVE;
        for (enum rw_segment s = RW_SEGMENT_C5; s <= RW_SEGMENT_T1; s++)
            of_plexus |= strcmp(check->item, rw_segment_name(s)) == 0;
        if (!is_area(check) || !of_plexus || check->target == RW_NONE)
            continue;
        const double lost = area_lost(exam, posterior, (uint16_t)i);
        out->areas[out->area_count++] =
            (struct rw_area_deficit){.area = check->target, .p_lost = lost, .protective = lost < 0.5};
    }
}

static double sympathetic_lost(const struct rw_posterior *posterior) {
    const uint16_t horner = rw_target_find(RW_TARGET_SIGN, "horner");
    double lost = 0.0;
    for (size_t i = 0; horner != RW_NONE && i < posterior->count; i++) {
        const struct rw_case *c = &posterior->cases[i];
        enum rw_spread spread = RW_SPREAD_SHARP;
        if (!c->outside)
            lost += c->weight * (1.0 - rw_intact_fraction(c, horner, &spread));
    }
    return lost;
}

/* ---- the whole ---- */

static void prepare(struct work *w, const struct rw_exam *exam, struct rw_deficits *out) {
    const struct rw_model *m = rw_model();
    memset(w, 0, sizeof *w);
    memset(w->slot, NO_SLOT, sizeof w->slot);
    w->motor = table_named("motor_muscle");
    w->movement = table_named("movement");
    rw_unaided_init(exam, &w->unaided);
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

void rw_deficits(const struct rw_exam *exam, const struct rw_posterior *posterior, struct rw_deficits *out) {
    struct work work;
    struct scene scene;
    memset(out, 0, sizeof *out);
    prepare(&work, exam, out);
    for (size_t i = 0; i < posterior->count; i++) {
        see_muscles(&work, &posterior->cases[i], &scene, out);
        see_functions(&work, &posterior->cases[i], &scene, out);
    }
    for (size_t i = 0; i < out->muscle_count; i++) {
        struct rw_muscle_state *state = &out->muscles[i];
        if (work.muscle[i].given)
            memcpy(state->grade, work.muscle[i].grade, sizeof state->grade);
        state->expected_grade = mean_grade(state->grade);
        state->p_m3 = at_least(state->grade, RW_GRADE_USEFUL);
        state->p_m4 = at_least(state->grade, RW_GRADE_STRONG);
    }
    see_areas(exam, posterior, out);
    out->p_sympathetic_lost = sympathetic_lost(posterior);
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
