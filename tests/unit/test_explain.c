/* Explanations and next checks, held against what really leaving out or adding a finding does. */
#include "hand_made.h"

#include "explain.h"

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
            struct rw_exam less = *exam;
            less.finding_count = 0;
            for (size_t f = 0; f < exam->finding_count; f++)
                if (exam->findings[f].check != l->evidence[i].check)
                    less.findings[less.finding_count++] = exam->findings[f];
            struct rw_assessment *without = assess(&less);
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

/* Information by really making the check: Σ P(o) Σ P(h | o) log2 P(h | o) / P(h), over the listed hypotheses.
 */
static double information(struct rw_exam *exam, const struct rw_assessment *now, uint16_t check) {
    uint8_t values[UINT8_MAX];
    const size_t count = pure_values(check, values);
    double bits = 0.0;
    for (size_t i = 0; i < count; i++) {
        double p;
        struct rw_assessment *then = after(exam, now, check, values[i], &p);
        for (size_t h = 0; h < now->localisation.hypothesis_count; h++) {
            const double before = now->localisation.hypotheses[h].probability;
            const double q = probability_of(then, &now->localisation.hypotheses[h]);
            if (q > 0.0)
                bits += p * q * log2(q / before);
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
