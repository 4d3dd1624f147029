#include "rules.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A stretch of a rule's text. */
struct span {
    const char *text;
    size_t length;
};

static bool is(struct span span, const char *word) {
    return strlen(word) == span.length && strncmp(span.text, word, span.length) == 0;
}

/* Takes what stands before the next `separator` off the front of `rest`. */
static struct span next(struct span *rest, char separator) {
    const char *end = memchr(rest->text, separator, rest->length);
    const size_t length = end != NULL ? (size_t)(end - rest->text) : rest->length;
    const size_t used = end != NULL ? length + 1 : length;
    const struct span first = {.text = rest->text, .length = length};
    *rest = (struct span){.text = rest->text + used, .length = rest->length - used};
    return first;
}

static uint32_t number(struct span word) {
    return (uint32_t)strtoul(word.text, NULL, 10); /* digits, then a bar, a blank or the end */
}

/* What a rule is asked of, and the rule as far as it is raised. */
struct asked {
    const struct rw_exam *exam;
    const struct rw_localisation *localisation;
    const struct rw_deficits *deficits;
    struct rw_raised_rule *raised;
};

/* ---- what was recorded ---- */

static bool was_recorded(const struct rw_finding *finding, enum rw_section section, struct span word) {
    const struct rw_model *m = rw_model();
    const struct rw_check *check = &m->checks[finding->check];
    const char *value = m->scales[check->scale].values[finding->value].text;
    if (check->section != section)
        return false;
    if (section == RW_SECTION_SIGN)
        return is(word, check->item) && strcmp(value, "true") == 0;
    return is(word, value);
}

/* Whether some finding of a section has the word; each that has it is a reason. */
static bool recorded(const struct asked *asked, enum rw_section section, struct span word) {
    struct rw_raised_rule *raised = asked->raised;
    bool any = false;
    for (size_t i = 0; i < asked->exam->finding_count; i++) {
        const struct rw_finding *finding = &asked->exam->findings[i];
        if (!was_recorded(finding, section, word))
            continue;
        any = true;
        if (raised->because_count < sizeof raised->because / sizeof raised->because[0])
            raised->because[raised->because_count++] = finding->check;
    }
    return any;
}

/* Whether a finding that bears on the nerves is not normal: without one the prior alone would speak. */
static bool some_finding_is_abnormal(const struct rw_exam *exam) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->target != RW_NONE && exam->findings[i].value != m->scales[check->scale].normal)
            return true;
    }
    return false;
}

/* ---- when ---- */

/* Days from the onset to the exam; RW_NO_DAY where no onset is known. */
static int64_t delay_of(const struct rw_exam *exam) {
    static const double days_a_year = 365.25;
    if (exam->onset_day != RW_NO_DAY)
        return (int64_t)exam->examined_day - exam->onset_day;
    if (exam->mechanism == RW_MECHANISM_BIRTH && !isnan(exam->age_years))
        return (int64_t)(exam->age_years * days_a_year);
    return RW_NO_DAY;
}

static bool delay_is_over(const struct rw_exam *exam, struct span days) {
    const int64_t delay = delay_of(exam);
    return delay != RW_NO_DAY && delay > (int64_t)number(days);
}

/* ---- what the assessment holds for likely ---- */

static bool is_torn(const struct rw_lesion *lesion, struct span words) {
    (void)words; /* there is one word */
    const char *relation = rw_model()->sites[lesion->site].relation;
    return relation != NULL && strcmp(relation, "preganglionic") == 0;
}

static bool is_complete(const struct rw_lesion *lesion, struct span regions) {
    bool there = false;
    while (regions.length > 0 && !there) {
        const struct span region = next(&regions, '|');
        there = is(region, "anywhere") || is(region, rw_model()->sites[lesion->site].region);
    }
    return there && lesion->severity == RW_COMPLETE;
}

/* Whether the listed lesions more likely than not hold one of a kind, whichever it is. */
static bool any_likely(const struct rw_localisation *localisation, struct span words,
                       bool (*of_kind)(const struct rw_lesion *lesion, struct span words)) {
    double with = 0.0, all = 0.0;
    for (size_t i = 0; i < localisation->hypothesis_count; i++) {
        const struct rw_hypothesis *h = &localisation->hypotheses[i];
        bool any = false;
        for (size_t k = 0; k < h->lesion_count; k++)
            any = any || of_kind(&h->lesions[k], words);
        all += h->probability;
        with += any ? h->probability : 0.0;
    }
    return with > 0.5 * all;
}

/* Muscles that roots feed by branches of their own count neither way: C3 and C4 may keep them. */
static bool motionless(const struct asked *asked, struct span percent) {
    const struct rw_deficits *d = asked->deficits;
    size_t still = 0, all = 0;
    for (size_t i = 0; i < d->muscle_count; i++) {
        if (rw_model()->targets[d->muscles[i].muscle].entry != RW_ENTRY_ALL)
            continue;
        all++;
        still += d->muscles[i].grade[0] + d->muscles[i].grade[1] > 0.5;
    }
    static const struct span none = {.text = "0", .length = 1};
    if (100 * still <= number(percent) * all)
        return false;
    recorded(asked, RW_SECTION_MOTOR, none); /* for the reasons; what was not graded is inferred */
    recorded(asked, RW_SECTION_MOVEMENT, none);
    return true;
}

static bool is_useless(const struct rw_deficits *deficits, struct span function) {
    for (size_t i = 0; i < deficits->function_count; i++)
        if (is(function, rw_model()->targets[deficits->functions[i].function].id))
            return deficits->functions[i].p_useful < 0.5;
    return false;
}

/* ---- rules ---- */

/* Whether a condition holds with one word. */
static bool word_holds(const struct asked *asked, struct span condition, struct span word) {
    const struct rw_localisation *l = asked->localisation;
    if (is(condition, "sign"))
        return recorded(asked, RW_SECTION_SIGN, word);
    if (is(condition, "hemidiaphragm"))
        return recorded(asked, RW_SECTION_HEMIDIAPHRAGM, word);
    if (is(condition, "reflex"))
        return recorded(asked, RW_SECTION_REFLEX, word);
    if (is(condition, "mechanism"))
        return is(word, rw_mechanism_name(asked->exam->mechanism));
    if (is(condition, "onset"))
        return delay_of(asked->exam) == RW_NO_DAY;
    if (is(condition, "delay_over_days"))
        return delay_is_over(asked->exam, word);
    if (is(condition, "delay_within_days"))
        return !delay_is_over(asked->exam, word);
    if (is(condition, "lesion"))
        return l->informative && l->no_lesion + l->outside_plexus < 0.5 &&
               some_finding_is_abnormal(asked->exam);
    if (is(condition, "roots"))
        return any_likely(l, word, is_torn);
    if (is(condition, "motionless_over_percent"))
        return motionless(asked, word);
    return is(condition, "useless") && is_useless(asked->deficits, word);
}

static bool condition_holds(const struct asked *asked, struct span condition, struct span words) {
    /* One question about all regions: in doubt between two, neither alone is likely. */
    if (is(condition, "complete"))
        return any_likely(asked->localisation, words, is_complete);
    bool any = false;
    while (words.length > 0)
        any = word_holds(asked, condition, next(&words, '|')) || any; /* all of them, for the reasons */
    return any;
}

static bool rule_holds(const struct asked *asked, uint16_t rule) {
    const char *when = rw_model()->rules[rule].when;
    struct span rest = {.text = when, .length = strlen(when)};
    *asked->raised = (struct rw_raised_rule){.rule = rule};
    while (rest.length > 0) {
        struct span words = next(&rest, ' ');
        const struct span condition = next(&words, ':');
        if (!condition_holds(asked, condition, words))
            return false;
    }
    return true;
}

void rw_rules(const struct rw_exam *exam, const struct rw_localisation *localisation,
              struct rw_assessment *out) {
    const struct rw_model *m = rw_model();
    out->urgent_count = 0;
    out->referral = (struct rw_raised_rule){.rule = RW_NONE};
    for (uint16_t i = 0; i < m->rule_count; i++) {
        const bool urgent = strcmp(m->rules[i].kind, "urgent") == 0;
        struct rw_raised_rule raised;
        const struct asked asked = {
            .exam = exam, .localisation = localisation, .deficits = &out->deficits, .raised = &raised};
        if ((!urgent && strcmp(m->rules[i].kind, "referral") != 0) || !rule_holds(&asked, i))
            continue;
        if (urgent && out->urgent_count < RW_MAX_RULES)
            out->urgent[out->urgent_count++] = raised;
        else if (!urgent && (out->referral.rule == RW_NONE ||
                             m->rules[i].how_soon < m->rules[out->referral.rule].how_soon))
            out->referral = raised;
    }
}
