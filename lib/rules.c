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

static bool root_torn(const struct rw_localisation *localisation) {
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        if (localisation->roots[i].p_preganglionic > 0.5)
            return true;
    return false;
}

static bool site_complete(const struct rw_localisation *localisation) {
    for (size_t i = 0; i < rw_model()->site_count; i++)
        if (localisation->sites[i].p_complete > 0.5)
            return true;
    return false;
}

static bool delay_over(const struct rw_exam *exam, struct span days) {
    return exam->onset_day != RW_NO_DAY &&
           (int64_t)exam->examined_day - exam->onset_day >
               strtol(days.text, NULL, 10); /* digits, then a blank or the end */
}

/* Whether one word of a condition holds; *check is the finding behind it, if there is one. */
static bool holds(const struct rw_exam *exam, const struct rw_localisation *localisation,
                  struct span condition, struct span word, uint16_t *check) {
    *check = RW_NONE;
    if (is(condition, "sign"))
        *check = recorded(exam, RW_SECTION_SIGN, word);
    else if (is(condition, "hemidiaphragm"))
        *check = recorded(exam, RW_SECTION_HEMIDIAPHRAGM, word);
    else if (is(condition, "mechanism"))
        return is(word, rw_mechanism_name(exam->mechanism));
    else if (is(condition, "lesion"))
        return localisation->informative && localisation->no_lesion + localisation->outside_plexus < 0.5;
    else if (is(condition, "roots"))
        return root_torn(localisation);
    else if (is(condition, "severity"))
        return site_complete(localisation);
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
