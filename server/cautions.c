/* What an answer must be read with: the standing cautions of the knowledge, and those that this answer calls
 * for. */
#include "answer_parts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Above this, the examination as a whole is unusual for everything considered. */
/* Fewer than one in fifty simulated patients with whole examinations come to this. */
static const double high_surprise = 0.4;
enum { WHOLE = 5 }; /* findings; fewer are no whole to wonder at */
/* Below this, the leading ten are far from the whole. */
static const double low_cover = 0.5;

struct taker {
    rw_take_text *take;
    void *context;
};

/* Hands on a text that was put together here. */
static void take_buffer(const struct taker *taker, struct rw_buffer *buffer) {
    char *text = rw_buffer_take(buffer, NULL);
    if (text)
        taker->take(taker->context, text);
    free(text);
}

void rw_each_standing_caution(rw_take_text *take, void *context) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < model->rule_count; i++)
        if (strcmp(model->rules[i].kind, "caution") == 0)
            take(context, model->rules[i].text);
}

static void too_early(const struct rw_localisation *l, const struct taker *taker) {
    if (l->too_early_count == 0)
        return;
    struct rw_buffer text = {0};
    rw_buffer_text(&text, "Too soon after the onset to count, and left out of the reasoning: ");
    for (size_t i = 0; i < l->too_early_count; i++) {
        char name[RW_PHRASE_SIZE];
        rw_check_name(l->too_early[i], name, sizeof name);
        rw_buffer_print(&text, "%s%s", i ? "; " : "", name);
    }
    rw_buffer_text(&text, ".");
    take_buffer(taker, &text);
}

static void inseparable(const struct rw_localisation *l, const struct taker *taker) {
    size_t count = 0;
    for (size_t i = 1, listed = rw_hypotheses_listed(l); i < listed; i++)
        count += rw_rivals_first(l, i);
    if (count == 0)
        return;
    struct rw_buffer text = {0};
    rw_buffer_print(
        &text,
        "This examination cannot tell the first lesion of the list from %zu other%s of it: only how often "
        "each happens puts it first.",
        count, count == 1 ? "" : "s");
    take_buffer(taker, &text);
}

/* Probability of the ten leading hypotheses. */
static double leading(const struct rw_localisation *l) {
    double sum = 0;
    for (size_t i = 0; i < l->hypothesis_count && i < 10; i++)
        sum += l->hypotheses[i].probability;
    return sum;
}

static void from_memory(const struct rw_transfers *t, const struct taker *taker) {
    const struct rw_model *model = rw_model();
    bool told[RW_MAX_TRANSFERS] = {false};
    struct rw_buffer text = {0};
    for (size_t p = 0; t->available && p < t->plan_count; p++)
        for (size_t s = 0; s < t->plans[p].step_count; s++) {
            const uint16_t transfer = t->plans[p].steps[s].transfer;
            if (!model->transfers[transfer].memory || told[transfer])
                continue;
            told[transfer] = true;
            rw_buffer_text(&text,
                           text.length ? "; " : "These transfers stand here from memory, without a source: ");
            rw_buffer_text(&text, model->transfers[transfer].label);
        }
    if (text.length == 0)
        return;
    rw_buffer_text(&text, ".");
    take_buffer(taker, &text);
}

/* Muscles whose time for a first sign has passed in silence. */
static void overdue(const struct rw_exam *exam, const struct rw_recovery *r, const struct taker *taker) {
    struct rw_buffer text = {0};
    for (size_t i = 0; i < r->muscle_count; i++) {
        const struct rw_muscle_recovery *m = &r->muscles[i];
        if (m->first_sign[1] == RW_NO_DAY || m->first_sign[1] >= exam->examined_day)
            continue;
        rw_buffer_text(&text, text.length ? ", " : "The time for a first sign has passed without one in: ");
        rw_buffer_text(&text, rw_model()->targets[m->muscle].label);
    }
    if (text.length == 0)
        return;
    rw_buffer_text(&text, ".");
    take_buffer(taker, &text);
}

/* What comes before any transfer. */
static void of_plans(const struct rw_exam *exam, const struct rw_assessment *a, const struct taker *taker) {
    if (exam->mechanism == RW_MECHANISM_LACERATION)
        taker->take(taker->context,
                    "A cut nerve is explored, and sutured or grafted, first: transfers stand here for "
                    "what repair cannot reach in time.");
    else if (a->recovery.decide_by != RW_NO_DAY && a->recovery.decide_by > exam->examined_day)
        taker->take(taker->context,
                    "The plans reckon with a decision today. Until the date to decide by, recovery may "
                    "show and change them: examine again first.");
    if (exam->mechanism == RW_MECHANISM_COMPRESSION)
        taker->take(taker->context,
                    "Pressure is taken off the nerve first: transfers stand here for what does not come "
                    "back after that.");
    if (a->localisation.hypothesis_count > 0 && a->localisation.hypotheses[0].probability < 0.5)
        taker->take(taker->context,
                    "No single localisation is likelier than not, and the plans are an average over "
                    "many: examine first what tells them apart.");
}

void rw_each_caution(const struct rw_exam *exam, const struct rw_assessment *a, rw_take_text *take,
                     void *context) {
    const struct taker taker = {take, context};
    const struct rw_localisation *l = &a->localisation;
    rw_each_standing_caution(take, context);
    if (!l->informative)
        take(context,
             "Nothing in this examination bears on the question: the list only says what is common.");
    else
        inseparable(l, &taker);
    if (l->informative && leading(l) < low_cover)
        take(context, "The examination leaves the lesion open: no short list of lesions holds most of the "
                      "probability.");
    if (l->evidence_count >= WHOLE && l->surprise > high_surprise)
        take(context, "As a whole this examination is unusual for every lesion considered: check the "
                      "findings, and think "
                      "of a second cause.");
    too_early(l, &taker);
    if (exam->onset_day == RW_NO_DAY)
        take(context, "The onset is not given: findings that need time to appear are taken at their face, "
                      "and no dates are "
                      "worked out.");
    if (a->recovery.available)
        overdue(exam, &a->recovery, &taker);
    from_memory(&a->transfers, &taker);
    if (a->transfers.available && a->transfers.plan_count > 0)
        of_plans(exam, a, &taker);
}
