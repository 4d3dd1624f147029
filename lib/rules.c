#include "rules.h"

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

/* The finding of a section whose item (or, with no item, whose value) is the word; RW_NONE: no such one. */
static uint16_t recorded(const struct rw_exam *exam, enum rw_section section, struct span word) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        const char *value = m->scales[check->scale].values[exam->findings[i].value].text;
        if (check->section != section)
            continue;
        if (check->item[0] == '\0' ? is(word, value) : is(word, check->item) && strcmp(value, "true") == 0)
            return exam->findings[i].check;
    }
    return RW_NONE;
}

static bool is_torn(const struct rw_lesion *lesion) {
    const char *relation = rw_model()->sites[lesion->site].relation;
    return relation != NULL && strcmp(relation, "preganglionic") == 0;
}

static bool is_complete(const struct rw_lesion *lesion) {
    return lesion->severity == RW_COMPLETE;
}

/* Whether the listed lesions more likely than not hold one of a kind, wherever it is. */
static bool any_likely(const struct rw_localisation *localisation,
                       bool (*of_kind)(const struct rw_lesion *lesion)) {
    double with = 0.0, all = 0.0;
    for (size_t i = 0; i < localisation->hypothesis_count; i++) {
        const struct rw_hypothesis *h = &localisation->hypotheses[i];
        bool any = false;
        for (size_t k = 0; k < h->lesion_count; k++)
            any = any || of_kind(&h->lesions[k]);
        all += h->probability;
        with += any ? h->probability : 0.0;
    }
    return with > 0.5 * all;
}

static bool delay_over(const struct rw_exam *exam, struct span days) {
    return exam->onset_day != RW_NO_DAY &&
           (int64_t)exam->examined_day - exam->onset_day >
               strtol(days.text, NULL, 10); /* digits, then a blank or the end */
}

/* A reflex with this value. */
static uint16_t reflex_with(const struct rw_exam *exam, struct span value) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_check *check = &m->checks[exam->findings[i].check];
        if (check->section == RW_SECTION_REFLEX &&
            is(value, m->scales[check->scale].values[exam->findings[i].value].text))
            return exam->findings[i].check;
    }
    return RW_NONE;
}

/* Whether one word of a condition holds; *check is the finding behind it, if there is one. */
static bool holds(const struct rw_exam *exam, const struct rw_localisation *localisation,
                  struct span condition, struct span word, uint16_t *check) {
    *check = RW_NONE;
    if (is(condition, "sign"))
        *check = recorded(exam, RW_SECTION_SIGN, word);
    else if (is(condition, "hemidiaphragm"))
        *check = recorded(exam, RW_SECTION_HEMIDIAPHRAGM, word);
    else if (is(condition, "reflex"))
        *check = reflex_with(exam, word);
    else if (is(condition, "mechanism"))
        return is(word, rw_mechanism_name(exam->mechanism));
    else if (is(condition, "lesion"))
        return localisation->informative && localisation->no_lesion + localisation->outside_plexus < 0.5;
    else if (is(condition, "roots"))
        return any_likely(localisation, is_torn);
    else if (is(condition, "severity"))
        return any_likely(localisation, is_complete);
    else if (is(condition, "delay_over_days"))
        return delay_over(exam, word);
    return *check != RW_NONE;
}

static bool rule_holds(const struct rw_exam *exam, const struct rw_localisation *localisation, uint16_t rule,
                       struct rw_raised_rule *out) {
    const char *when = rw_model()->rules[rule].when;
    struct span rest = {.text = when, .length = strlen(when)};
    *out = (struct rw_raised_rule){.rule = rule};
    while (rest.length > 0) {
        struct span words = next(&rest, ' ');
        const struct span condition = next(&words, ':');
        uint16_t check = RW_NONE;
        bool any = false;
        while (words.length > 0 && !any)
            any = holds(exam, localisation, condition, next(&words, '|'), &check);
        if (!any)
            return false;
        if (check != RW_NONE && out->because_count < sizeof out->because / sizeof out->because[0])
            out->because[out->because_count++] = check;
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
        if ((!urgent && strcmp(m->rules[i].kind, "referral") != 0) ||
            !rule_holds(exam, localisation, i, &raised))
            continue;
        if (urgent && out->urgent_count < RW_MAX_RULES)
            out->urgent[out->urgent_count++] = raised;
        else if (!urgent && (out->referral.rule == RW_NONE ||
                             m->rules[i].how_soon < m->rules[out->referral.rule].how_soon))
            out->referral = raised;
    }
}
