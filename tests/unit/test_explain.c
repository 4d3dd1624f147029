/* Explanations and next checks, held against what really leaving out or adding a finding does. */
#include "hand_made.h"

#include "explain.h"
#include "localise.h"

/* An ulnar palsy after a cut, as a bedside sees it: several levels of the nerve explain it alike. */
static struct rw_exam *ulnar_palsy(void) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_LACERATION, 19900, 20000);
    give_motor(exam, "first_dorsal_interosseous=0 abductor_digiti_minimi=0 abductor_pollicis_brevis=5");
    give(exam, RW_SECTION_SKIN_NERVE, "ulnar_digital", "absent");
    give(exam, RW_SECTION_SKIN_NERVE, "median_digital", "normal");
    return exam;
}

static struct rw_exam *upper_palsy(void) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    give_motor(exam, "deltoid_lateral=0 infraspinatus=0 biceps_brachii=1 rhomboids=5 triceps_long_head=5 "
                     "first_dorsal_interosseous=5");
    give(exam, RW_SECTION_SKIN_ROOT, "C5", "absent");
    give(exam, RW_SECTION_REFLEX, "biceps", "absent");
    return exam;
}

static double log10_odds(double p) {
    return log10(p / (1.0 - p));
}

static struct rw_assessment *assess_without(const struct rw_exam *exam, uint16_t check) {
    struct rw_exam less = *exam;
    less.finding_count = 0;
    for (size_t f = 0; f < exam->finding_count; f++)
        if (exam->findings[f].check != check)
            less.findings[less.finding_count++] = exam->findings[f];
    return assess(&less);
}

/* What the explanation was not taken over may think otherwise. */
#define BEYOND_THE_LIST 0.1

Test(explain, evidence_is_what_leaving_out_does) {
    struct rw_exam *const exams[] = {ulnar_palsy(), upper_palsy()};
    for (size_t e = 0; e < 2; e++) {
        struct rw_exam *exam = exams[e];
        struct rw_assessment *with = assess(exam);
        const struct rw_localisation *l = &with->localisation;
        const struct rw_hypothesis *leader = &l->hypotheses[0];
        size_t compared = 0;
        cr_expect_eq(l->evidence_count, exam->finding_count);
        for (size_t i = 0; i < l->evidence_count; i++) {
            struct rw_assessment *without = assess_without(exam, l->evidence[i].check);
            const double p = probability_of(without, leader);
            free(without);
            if (!(p > 0.0))
                continue;
            compared++;
            cr_expect_float_eq(l->evidence[i].log10_odds, log10_odds(leader->probability) - log10_odds(p),
                               BEYOND_THE_LIST, "%s: said %.3f, done %.3f",
                               rw_model()->checks[l->evidence[i].check].item, l->evidence[i].log10_odds,
                               log10_odds(leader->probability) - log10_odds(p));
        }
        cr_expect_geq(compared, exam->finding_count - 2);
        free(with);
        free(exam);
    }
}

/* The exam with one more finding, assessed; *p is how likely that was. */
static struct rw_assessment *after(struct rw_exam *exam, const struct rw_assessment *now, uint16_t check,
                                   uint8_t value, double *p) {
    exam->findings[exam->finding_count++] = (struct rw_finding){.check = check, .value = value};
    struct rw_assessment *then = assess(exam);
    exam->finding_count--;
    *p = exp(then->localisation.log_evidence - now->localisation.log_evidence);
    return then;
}

static bool same_sites(const struct rw_hypothesis *a, const struct rw_hypothesis *b) {
    bool same =
        a->lesion_count == b->lesion_count && (a->kind == RW_PRIOR_OUTSIDE) == (b->kind == RW_PRIOR_OUTSIDE);
    for (size_t i = 0; same && i < a->lesion_count; i++)
        same = a->lesions[i].site == b->lesions[i].site;
    return same;
}

/* Of the listed hypotheses, those that injure the sites of `h`. */
static double probability_of_sites(const struct rw_assessment *a, const struct rw_hypothesis *h) {
    double p = 0.0;
    for (size_t i = 0; i < a->localisation.hypothesis_count; i++)
        p += same_sites(&a->localisation.hypotheses[i], h) ? a->localisation.hypotheses[i].probability : 0.0;
    return p;
}

/* Information by really making the check: Σ P(o) Σ P(w | o) log2 P(w | o) / P(w), w the injured sites of the
 * listed hypotheses. */
static double information(struct rw_exam *exam, const struct rw_assessment *now, uint16_t check) {
    const struct rw_localisation *l = &now->localisation;
    uint8_t values[UINT8_MAX];
    const size_t count = pure_values(check, values);
    double bits = 0.0;
    for (size_t i = 0; i < count; i++) {
        double p;
        struct rw_assessment *then = after(exam, now, check, values[i], &p);
        for (size_t h = 0; h < l->hypothesis_count; h++) {
            size_t first = 0;
            while (!same_sites(&l->hypotheses[first], &l->hypotheses[h]))
                first++;
            const double q = first == h ? probability_of_sites(then, &l->hypotheses[h]) : 0.0;
            if (q > 0.0)
                bits += p * q * log2(q / probability_of_sites(now, &l->hypotheses[h]));
        }
        free(then);
    }
    return bits;
}

Test(explain, bits_are_what_making_the_check_tells) {
    struct rw_exam *exam = ulnar_palsy();
    struct rw_assessment *now = assess(exam);
    const struct rw_localisation *l = &now->localisation;
    cr_assert_gt(l->next_count, 100u);
    for (size_t i = 0; i < 30; i += 10) {
        const struct rw_next_check *next = &l->next[i];
        const double done = information(exam, now, next->check);
        cr_expect(done <= 1.05 * next->bits && done >= 0.75 * next->bits, "%s: said %.4f, done %.4f",
                  rw_model()->checks[next->check].item, next->bits, done);
    }
    free(now);
    free(exam);
}

Test(explain, every_check_that_can_speak_is_named_once) {
    const struct rw_model *m = rw_model();
    struct rw_exam *exam = upper_palsy();
    exam->onset_day = exam->examined_day - 5; /* too early for most investigations */
    struct rw_assessment *a = assess(exam);
    const struct rw_localisation *l = &a->localisation;
    size_t times[RW_MAX_CHECKS] = {0};
    for (size_t i = 0; i < l->next_count; i++) {
        times[l->next[i].check]++;
        cr_expect_geq(l->next[i].bits, 0.0);
        if (i > 0)
            cr_expect(rw_check_bedside(l->next[i - 1].check) || !rw_check_bedside(l->next[i].check));
    }
    for (uint16_t i = 0; i < m->check_count; i++) {
        bool examined = false;
        for (size_t f = 0; f < exam->finding_count; f++)
            examined |= exam->findings[f].check == i;
        const bool speaks =
            m->checks[i].target != RW_NONE && rw_table_ready(&m->tables[m->checks[i].table], exam) > 0.0;
        cr_expect_eq(times[i], speaks && !examined ? 1u : 0u, "%s", m->checks[i].item);
    }
    free(a);
    free(exam);
}

/* Whether some outcome of a check moves the odds between a hypothesis and the leader. */
static bool moves_odds(struct rw_exam *exam, const struct rw_assessment *now, uint16_t check, size_t h) {
    uint8_t values[UINT8_MAX];
    const size_t count = pure_values(check, values);
    const struct rw_hypothesis *x = now->localisation.hypotheses;
    bool moves = false;
    for (size_t i = 0; i < count; i++) {
        double p;
        struct rw_assessment *then = after(exam, now, check, values[i], &p);
        const double leader = probability_of(then, &x[0]), rival = probability_of(then, &x[h]);
        moves |= leader > 0.0 && rival > 0.0 &&
                 fabs(log(rival / leader) - log(x[h].probability / x[0].probability)) > 1e-6;
        moves |= (leader > 0.0) != (rival > 0.0);
        free(then);
    }
    return moves;
}

Test(explain, the_check_that_separates_does) {
    struct rw_exam *exam = ulnar_palsy();
    struct rw_assessment *now = assess(exam);
    size_t separated = 0, inseparable = 0;
    cr_expect_eq(now->localisation.hypotheses[0].separated_by, RW_NONE);
    for (size_t h = 1; h < 8; h++) {
        const struct rw_hypothesis *x = &now->localisation.hypotheses[h];
        inseparable += x->inseparable;
        if (x->separated_by == RW_NONE)
            continue;
        separated++;
        cr_expect_gt(x->separated_bits, 0.0);
        cr_expect(moves_odds(exam, now, x->separated_by, h), "hypothesis %zu, %s", h,
                  rw_model()->checks[x->separated_by].item);
    }
    cr_expect_gt(separated, 3u);
    cr_expect_gt(inseparable, 0u, "the exam was chosen so that levels of the nerve look alike");
    free(now);
    free(exam);
}

/* A lone sign that the leader explains, beside what otherwise_normal filled in. */
Test(explain, what_the_leader_explains_is_not_unexplained) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_INFLAMMATORY, 19900, 20000);
    give_motor(exam, "serratus_anterior=1");
    cr_assert_eq(rw_exam_fill_normal(exam, RW_SECTION_MOTOR), RW_OK);
    struct rw_assessment *a = assess(exam);
    cr_assert_eq(a->localisation.hypotheses[0].lesions[0].site, site_of("long_thoracic"));
    cr_expect_eq(a->localisation.unexplained_count, 0u);
    cr_expect_lt(a->localisation.surprise, 0.2);
    free(a);
    free(exam);
}

/* A muscle of another nerve at 0: the leader does not explain it, and nothing likely does. */
Test(explain, what_no_likely_lesion_explains_is_named) {
    struct rw_exam *exam = ulnar_palsy();
    give_motor(exam, "flexor_carpi_ulnaris=5 biceps_brachii=5 brachialis=0 "
                     "brachioradialis=5 deltoid_lateral=5");
    give(exam, RW_SECTION_SKIN_NERVE, "lateral_antebrachial_cutaneous", "normal");
    struct rw_assessment *a = assess(exam);
    bool named = false;
    for (size_t i = 0; i < a->localisation.unexplained_count; i++)
        named |= strcmp(rw_model()->checks[a->localisation.unexplained[i].check].item, "brachialis") == 0;
    cr_expect(named);
    free(a);
    free(exam);
}

/* ---- the same by brute force: every state in every world, from the sites it injures ---- */

struct brute {
    struct rw_exam *exam;
    struct rw_arena arena;
    struct rw_localise_result result;
    struct rw_states states;
    struct rw_localisation out;
};

static struct brute *brute_of(struct rw_exam *exam) {
    struct brute *b = calloc(1, sizeof *b);
    b->exam = exam;
    b->arena.size = rw_workspace_size();
    b->arena.base = malloc(b->arena.size);
    cr_assert_eq(rw_localise(exam, &b->arena, &b->out, &b->result), RW_OK);
    cr_assert(rw_states_make(&b->result, &b->arena, &b->states));
    rw_explain_next(exam, &b->states, &b->out);
    return b;
}

static void free_brute(struct brute *b) {
    free(b->arena.base);
    free(b->exam);
    free(b);
}

/* P(outcome, state) of a check, joint[outcome], returned with the weight of the state. */
static double joint_of(const struct brute *b, size_t state, uint16_t check, double *joint) {
    const struct rw_model *m = rw_model();
    const struct rw_table *table = &m->tables[m->checks[check].table];
    const struct rw_resolved *h = &b->result.hypotheses[state];
    const double ready = rw_table_ready(table, b->exam);
    double mass = 0.0;
    memset(joint, 0, table->observation_count * sizeof *joint);
    for (size_t v = 0; v < m->variant_count; v++)
        for (size_t depth = 0; depth < RW_DEPTHS; depth++) {
            struct rw_case c = {.variant = (uint16_t)v, .depth = (uint8_t)depth};
            enum rw_spread spread = RW_SPREAD_SHARP;
            memcpy(c.severity, h->severity, sizeof c.severity);
            const double weight = b->states.list[state].weight[rw_world_of(v, depth)],
                         left = rw_intact_fraction(&c, m->checks[check].target, &spread);
            mass += weight;
            for (unsigned o = 0; o < table->observation_count; o++) {
                const double p = ready * rw_table_probability(table, spread, left, o) +
                                 (1.0 - ready) * rw_table_probability(table, RW_SPREAD_SHARP, 1.0, o);
                joint[o] += weight * (h->shown.kind == RW_PRIOR_OUTSIDE ? table->outside[o] : p);
            }
        }
    return mass;
}

/* Σ P(o, h) log2 P(o, h) / (P(o) P(h)) over the given states, scaled to 1; or, with `where`, those that
 * injure the same sites as one. */
static double mutual(const struct brute *b, uint16_t check, const size_t *states, size_t count, bool where) {
    const size_t n = rw_model()->tables[rw_model()->checks[check].table].observation_count;
    double(*joint)[UINT8_MAX] = calloc(count, sizeof *joint), *mass = calloc(count, sizeof *mass);
    double all = 0.0, outcome[UINT8_MAX] = {0.0}, bits = 0.0;
    for (size_t i = 0; i < count; i++) {
        double own[UINT8_MAX];
        size_t to = where ? 0 : i;
        while (to < i &&
               !same_sites(&b->result.hypotheses[states[to]].shown, &b->result.hypotheses[states[i]].shown))
            to++;
        const double weight = joint_of(b, states[i], check, own);
        mass[to] += weight;
        all += weight;
        for (size_t o = 0; o < n; o++) {
            joint[to][o] += own[o];
            outcome[o] += own[o];
        }
    }
    for (size_t i = 0; i < count; i++)
        for (size_t o = 0; o < n; o++)
            if (joint[i][o] > 0.0)
                bits += joint[i][o] / all * log2(joint[i][o] * all / (mass[i] * outcome[o]));
    free(mass);
    free(joint);
    return bits;
}

#define ROUNDED 1e-9 /* sums of thousands of terms, differently ordered */

Test(explain, bits_agree_with_brute_force) {
    struct brute *b = brute_of(ulnar_palsy());
    size_t all[RW_MAX_STATES];
    for (size_t i = 0; i < b->states.count; i++)
        all[i] = i;
    for (size_t i = 0; i < b->out.next_count; i += 7) {
        const uint16_t check = b->out.next[i].check;
        const double bits = mutual(b, check, all, b->states.count, true);
        cr_expect_float_eq(b->out.next[i].bits, bits, ROUNDED, "%s: said %.12f, summed %.12f",
                           rw_model()->checks[check].item, b->out.next[i].bits, bits);
    }
    free_brute(b);
}

/* Nothing at the bedside tells whether C8 is torn from the cord or hurt beyond the ganglion. */
static struct rw_exam *lower_palsy(void) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    give_motor(exam, "first_dorsal_interosseous=0 abductor_pollicis_brevis=0 flexor_carpi_ulnaris=0 "
                     "flexor_digitorum_superficialis=1 extensor_indicis=1 deltoid=5 biceps_brachii=5");
    give(exam, RW_SECTION_SKIN_ROOT, "C8", "absent");
    give(exam, RW_SECTION_SKIN_ROOT, "T1", "absent");
    give(exam, RW_SECTION_SIGN, "ptosis", "false");
    give(exam, RW_SECTION_SIGN, "miosis", "false");
    return exam;
}

/* The rule of explain.h, by brute force over all checks that are left. */
Test(explain, separated_by_is_the_best_check_and_none_only_where_nothing_differs) {
    static const size_t hypotheses[] = {1, 2, 3, 5, 8};
    struct rw_exam *const exams[] = {ulnar_palsy(), upper_palsy(), lower_palsy()};
    size_t investigations = 0;
    for (size_t e = 0; e < 3; e++) {
        struct brute *b = brute_of(exams[e]);
        for (size_t k = 0; k < sizeof hypotheses / sizeof hypotheses[0]; k++) {
            const size_t pair[] = {0, hypotheses[k]};
            const struct rw_hypothesis *h = &b->out.hypotheses[hypotheses[k]];
            double best[2] = {0.0}; /* investigation, bedside */
            for (size_t i = 0; i < b->out.next_count; i++) {
                const uint16_t check = b->out.next[i].check;
                const double bits = mutual(b, check, pair, 2, false);
                double *to = &best[rw_check_bedside(check)];
                *to = bits > *to ? bits : *to;
            }
            const double most = best[0] > RW_FAR_BETTER * best[1] ? best[0] : best[1];
            cr_expect_eq(h->separated_by == RW_NONE, most < ROUNDED, "hypothesis %zu: %g bits left",
                         hypotheses[k], most);
            cr_expect_float_eq(h->separated_bits, most, ROUNDED);
            if (h->separated_by == RW_NONE)
                continue;
            cr_expect_float_eq(mutual(b, h->separated_by, pair, 2, false), most, ROUNDED);
            investigations += !rw_check_bedside(h->separated_by);
        }
        free_brute(b);
    }
    cr_expect_gt(investigations, 0u, "the rule that lets an investigation go first was not tried");
}

/* A whole exam, so that nothing is left to ask. */
Test(explain, nothing_separates_when_all_is_examined) {
    const struct rw_model *m = rw_model();
    struct rw_exam *exam = ulnar_palsy();
    bool examined[RW_MAX_CHECKS] = {false};
    for (size_t i = 0; i < exam->finding_count; i++)
        examined[exam->findings[i].check] = true;
    for (uint16_t i = 0; i < m->check_count; i++)
        if (!examined[i])
            exam->findings[exam->finding_count++] =
                (struct rw_finding){.check = i, .value = m->scales[m->checks[i].scale].normal};
    struct rw_assessment *a = assess(exam);
    cr_expect_eq(a->localisation.next_count, 0u);
    for (size_t h = 0; h < a->localisation.hypothesis_count; h++)
        cr_expect_eq(a->localisation.hypotheses[h].separated_by, RW_NONE);
    free(a);
    free(exam);
}

/* A part of a graded group, and a group with a graded part, are named after the other bedside checks. */
Test(explain, what_repeats_a_grade_comes_last_at_the_bedside) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, 19900, 20000);
    give_motor(exam, "deltoid=0 triceps_long_head=5 infraspinatus=0");
    struct rw_assessment *a = assess(exam);
    const struct rw_localisation *l = &a->localisation;
    const uint16_t part = rw_check_find(RW_SECTION_MOTOR, "deltoid_lateral"),
                   group = rw_check_find(RW_SECTION_MOTOR, "triceps_brachii"),
                   other = rw_check_find(RW_SECTION_MOTOR, "biceps_brachii");
    size_t repeats = 0;
    for (size_t i = 0; i < l->next_count; i++) {
        const uint16_t check = l->next[i].check;
        repeats += l->next[i].repeats;
        cr_expect(!l->next[i].repeats || check != other);
        cr_expect(l->next[i].repeats || (check != part && check != group));
        cr_expect(repeats == 0 || l->next[i].repeats || !rw_check_bedside(check));
    }
    cr_expect_gt(repeats, 1u);
    free(a);
    free(exam);
}

/* Evidence about a leader that is no lesion, or none of these nerves: the odds really move so. */
Test(explain, evidence_holds_for_a_leader_without_a_lesion) {
    static const struct {
        enum rw_mechanism mechanism;
        const char *skin;
        enum rw_prior_kind kind;
    } rows[] = {{RW_MECHANISM_UNKNOWN, "normal", RW_PRIOR_NONE},
                {RW_MECHANISM_COMPRESSION, "painful", RW_PRIOR_OUTSIDE}};
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        struct rw_exam *exam = new_exam(rows[r].mechanism, RW_NO_DAY, 20000);
        give_motor(exam,
                   "deltoid_lateral=5 biceps_brachii=5 first_dorsal_interosseous=5 extensor_digitorum=5 "
                   "triceps_long_head=5");
        give(exam, RW_SECTION_SKIN_NERVE, "axillary", rows[r].skin);
        give(exam, RW_SECTION_SKIN_NERVE, "medial_brachial_cutaneous", rows[r].skin);
        struct rw_assessment *with = assess(exam);
        const struct rw_localisation *l = &with->localisation;
        cr_assert_eq(l->hypotheses[0].kind, rows[r].kind, "row %zu", r);
        double strongest = 0.0;
        for (size_t i = 0; i < l->evidence_count; i++) {
            struct rw_assessment *without = assess_without(exam, l->evidence[i].check);
            const double p = probability_of(without, &l->hypotheses[0]);
            cr_assert_gt(p, 0.0);
            cr_expect_float_eq(l->evidence[i].log10_odds,
                               log10_odds(l->hypotheses[0].probability) - log10_odds(p), BEYOND_THE_LIST,
                               "row %zu, %s: %.3f", r, rw_model()->checks[l->evidence[i].check].item,
                               l->evidence[i].log10_odds);
            strongest = fmax(strongest, fabs(l->evidence[i].log10_odds));
            free(without);
        }
        cr_expect_gt(strongest, 0.01, "row %zu: nothing argues for or against the leader", r);
        free(with);
        free(exam);
    }
}
