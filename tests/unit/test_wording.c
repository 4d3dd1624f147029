/* Sentences of an answer, and the answer as a whole: in words and as JSON. */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "layout.h"
#include "records.h"
#include "wording.h"

enum { TODAY = 20514 }; /* 2026-03-02 */

#define COUNT(array) (sizeof(array) / sizeof *(array))

/* ---- summaries ---- */

static uint8_t site_named(const char *id) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < model->site_count; i++)
        if (strcmp(model->sites[i].id, id) == 0)
            return (uint8_t)i;
    cr_assert_fail("no site %s", id);
    return 0;
}

/* "c5_preganglionic c7_distal:partial" → a hypothesis */
static struct rw_hypothesis hypothesis(const char *lesions) {
    struct rw_hypothesis h = {.kind = *lesions ? RW_PRIOR_ROOTS : RW_PRIOR_NONE};
    char id[64];
    for (size_t size; (size = strcspn(lesions, " ")) > 0; lesions += size + (lesions[size] == ' ')) {
        snprintf(id, sizeof id, "%.*s", (int)size, lesions);
        char *partial = strchr(id, ':');
        if (partial)
            *partial = '\0';
        h.lesions[h.lesion_count++] =
            (struct rw_lesion){.site = site_named(id), .severity = partial ? RW_PARTIAL : RW_COMPLETE};
    }
    return h;
}

static const struct {
    enum rw_mechanism mechanism;
    const char *lesions, *summary;
} summaries[] = {
    {RW_MECHANISM_TRACTION, "", "No lesion of these nerves"},
    {RW_MECHANISM_TRACTION, "c5_preganglionic", "C5 torn from the cord (preganglionic)"},
    {RW_MECHANISM_TRACTION, "c5_preganglionic:partial", "C5 partly torn from the cord (preganglionic)"},
    {RW_MECHANISM_TUMOUR, "t1_preganglionic", "T1 completely injured before the ganglion (preganglionic)"},
    {RW_MECHANISM_TRACTION, "c5_preganglionic c6_preganglionic c7_distal:partial",
     "C5 and C6 torn from the cord (preganglionic), C7 partly injured beyond the ganglion (early branches "
     "spared)"},
    {RW_MECHANISM_TRACTION,
     "c5_preganglionic c6_preganglionic c7_preganglionic c8_preganglionic t1_preganglionic",
     "C5 to T1 torn from the cord (preganglionic)"},
    {RW_MECHANISM_TRACTION, "c5_distal c6_distal c7_distal:partial",
     "C5 and C6 completely, C7 partly injured beyond the ganglion (early branches spared)"},
    {RW_MECHANISM_TRACTION, "c5_proximal c7_proximal t1_proximal",
     "C5, C7 and T1 completely injured beyond the ganglion (early branches too)"},
    {RW_MECHANISM_TRACTION, "c8_preganglionic c8_distal t1_preganglionic:partial",
     "C8 torn from the cord (preganglionic) and injured again beyond the ganglion, T1 partly torn from the "
     "cord "
     "(preganglionic)"},
    {RW_MECHANISM_TRACTION, "upper_trunk_distal",
     "Upper trunk, complete, after the suprascapular nerve has left"},
    {RW_MECHANISM_FRACTURE, "middle_trunk:partial", "Middle trunk, partial"},
    {RW_MECHANISM_TRACTION, "c5_distal axillary_main:partial suprascapular_notch",
     "C5 completely injured beyond the ganglion (early branches spared); axillary nerve, partial, before its "
     "branches leave; suprascapular nerve at the suprascapular notch, complete"},
};

Test(wording, names_lesions_in_plain_terms) {
    for (size_t i = 0; i < COUNT(summaries); i++) {
        const struct rw_hypothesis h = hypothesis(summaries[i].lesions);
        char text[RW_SUMMARY_SIZE];
        rw_summary(&h, summaries[i].mechanism, text, sizeof text);
        cr_expect_str_eq(text, summaries[i].summary, "%s: %s", summaries[i].lesions, text);
    }
}

Test(wording, tells_no_lesion_from_another_cause) {
    const struct rw_hypothesis h = {.kind = RW_PRIOR_OUTSIDE};
    char text[RW_SUMMARY_SIZE];
    rw_summary(&h, RW_MECHANISM_UNKNOWN, text, sizeof text);
    cr_assert_str_eq(text, "Not a lesion of these nerves (cord, joint, tendon, pain or effort)");
}

Test(wording, cuts_what_does_not_fit) {
    const struct rw_hypothesis h = hypothesis("c5_preganglionic axillary_main");
    char text[16];
    rw_summary(&h, RW_MECHANISM_TRACTION, text, sizeof text);
    cr_assert_str_eq(text, "C5 torn from th");
}

/* ---- probabilities and findings ---- */

static const struct {
    double probability;
    const char *percent, *word;
} probabilities[] = {
    {0, "under 1%", "unlikely"},
    {0.009, "under 1%", "unlikely"},
    {0.01, "1%", "unlikely"},
    {0.049, "5%", "unlikely"},
    {0.05, "5%", "less likely"},
    {0.2, "20%", "possible"},
    {0.5, "50%", "more likely than not"},
    {0.8, "80%", "likely"},
    {0.949, "95%", "likely"},
    {0.99, "99%", "very likely"},
    {0.999, "over 99%", "very likely"},
    {1, "over 99%", "very likely"},
};

Test(wording, is_never_certain) {
    for (size_t i = 0; i < COUNT(probabilities); i++) {
        char percent[16];
        rw_percent(probabilities[i].probability, percent, sizeof percent);
        cr_expect_str_eq(percent, probabilities[i].percent);
        cr_expect_str_eq(rw_probability_word(probabilities[i].probability), probabilities[i].word);
    }
}

Test(wording, names_every_finding) {
    const struct rw_model *model = rw_model();
    for (size_t c = 0; c < model->check_count; c++) {
        char name[RW_PHRASE_SIZE], value[RW_PHRASE_SIZE];
        rw_check_name((uint16_t)c, name, sizeof name);
        rw_check_value((uint16_t)c, 0, value, sizeof value);
        cr_expect_neq(name[0], '\0');
        cr_expect_null(strchr(name, '_'), "%s", name);
        cr_expect_eq(strncmp(name, value, strlen(name)), 0);
    }
}

/* ---- layout ---- */

Test(wording, breaks_lines_between_words) {
    struct rw_buffer out = {0};
    rw_layout_heading(&out, "Heading");
    rw_layout_item(&out, "  - ", "%s %s",
                   "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen",
                   "sixteen");
    rw_layout_heading(&out, "Next");
    char *text = rw_buffer_take(&out, NULL);
    cr_assert_str_eq(text,
                     "Heading\n"
                     "  - one two three four five six seven eight nine ten eleven twelve thirteen fourteen\n"
                     "    fifteen sixteen\n"
                     "\nNext\n");
    free(text);
}

/* ---- whole answers ---- */

struct answer {
    struct rw_exam exam;
    struct rw_assessment assessment;
    json_t *record;
};

static struct answer *assess(const char *body, size_t size) {
    struct answer *answer = calloc(1, sizeof *answer);
    struct rw_issues issues;
    struct rw_error error;
    cr_assert_eq(rw_record_parse(body, size, TODAY, &answer->exam, &answer->record, &issues), 0);
    void *workspace = malloc(rw_workspace_size());
    cr_assert_eq(rw_assess(&answer->exam, workspace, rw_workspace_size(), &answer->assessment, &error),
                 RW_OK);
    free(workspace);
    return answer;
}

static struct answer *assess_file(const char *path) {
    static char body[65536];
    FILE *file = fopen(path, "rb");
    cr_assert_not_null(file, "%s", path);
    const size_t size = fread(body, 1, sizeof body, file);
    fclose(file);
    return assess(body, size);
}

static void release(struct answer *answer) {
    json_decref(answer->record);
    free(answer);
}

static json_t *json_answer(const struct answer *answer) {
    size_t size;
    char *text = rw_answer_json(answer->record, &answer->exam, &answer->assessment, NULL, NULL, &size);
    json_t *json = json_loadb(text, size, JSON_REJECT_DUPLICATES, NULL);
    cr_assert_not_null(json);
    free(text);
    return json;
}

static const char *const examples[] = {"schema/examples/demo.json", "schema/examples/partial.json"};

Test(wording, text_keeps_its_order_and_width) {
    static const char *const headings[] = {"\nWhat the examination says\n", "\nWhat is lost\n",
                                           "\nRecovery\n", "\nCautions\n"};
    for (size_t i = 0; i < COUNT(examples); i++) {
        struct answer *answer = assess_file(examples[i]);
        char *text = rw_answer_text(&answer->exam, &answer->assessment);
        const char *at = text;
        for (size_t h = 0; h < COUNT(headings); h++) {
            at = strstr(at, headings[h]);
            cr_assert_not_null(at, "%s: %s", examples[i], headings[h]);
        }
        cr_expect_null(strstr(text, "nan"));
        cr_expect_null(strstr(text, "(null)"));
        for (const char *line = text; *line; line += strcspn(line, "\n") + 1) {
            size_t width = 0;
            for (const char *c = line; *c != '\n'; c++)
                width += ((unsigned char)*c & 0xC0) != 0x80;
            cr_expect_leq(width, RW_TEXT_COLUMNS, "%.*s", (int)strcspn(line, "\n"), line);
        }
        free(text);
        release(answer);
    }
}

Test(wording, same_assessment_same_bytes) {
    struct answer *answer = assess_file(examples[0]);
    char *one = rw_answer_json(answer->record, &answer->exam, &answer->assessment, "ab",
                               "2026-03-02T10:00:00Z", NULL);
    char *other = rw_answer_json(answer->record, &answer->exam, &answer->assessment, "ab",
                                 "2026-03-02T10:00:00Z", NULL);
    cr_assert_str_eq(one, other);
    cr_assert_eq(strncmp(one, "{\"id\":\"ab\",\"exam_digest\":\"sha256:", 33), 0);
    free(one);
    free(other);
    release(answer);
}

/* Each list starts with what matters most, and no number leaves its range. */
static void expect_falling(const json_t *list, const char *key, double sign) {
    double last = INFINITY;
    for (size_t i = 0; i < json_array_size(list); i++) {
        const double value = sign * json_number_value(json_object_get(json_array_get(list, i), key));
        cr_expect_leq(value, last, "%s, place %zu", key, i);
        last = value;
    }
}

/* Next checks: bedside, then those of them that repeat what was graded, then investigations; each most
 * telling first. */
static void expect_bedside_first(const json_t *list) {
    double last = INFINITY;
    int stage = 0;
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *check = json_array_get(list, i);
        const char *finding = json_string_value(json_object_get(check, "finding"));
        const int now = strncmp(finding, "investigations.", 15) == 0      ? 2
                        : json_is_true(json_object_get(check, "repeats")) ? 1
                                                                          : 0;
        const double bits = json_number_value(json_object_get(check, "bits"));
        cr_expect(now >= stage, "%s", finding);
        cr_expect(now > stage || bits <= last, "%s", finding);
        stage = now;
        last = bits;
    }
}

static double sum_of(const json_t *list, const char *key) {
    double sum = 0;
    for (size_t i = 0; i < json_array_size(list); i++)
        sum += json_number_value(json_object_get(json_array_get(list, i), key));
    return sum;
}

Test(wording, json_answer_keeps_the_contract) {
    static const char *const members[] = {"exam_digest", "engine",    "localisation", "deficits",
                                          "recovery",    "transfers", "referral",     "urgent",
                                          "cautions",    "filled_in", "not_examined"};
    for (size_t i = 0; i < COUNT(examples); i++) {
        struct answer *answer = assess_file(examples[i]);
        json_t *json = json_answer(answer);
        void *member = json_object_iter(json);
        for (size_t m = 0; m < COUNT(members); m++, member = json_object_iter_next(json, member))
            cr_expect_str_eq(json_object_iter_key(member), members[m]);
        cr_expect_null(member);

        const json_t *l = json_object_get(json, "localisation");
        const json_t *hypotheses = json_object_get(l, "hypotheses");
        const size_t count = json_array_size(hypotheses);
        cr_expect(count >= 10 && count <= 100);
        cr_expect(sum_of(hypotheses, "probability") >= 0.95 - 1e-4 || count == 100);
        expect_falling(hypotheses, "probability", 1);
        expect_falling(json_object_get(l, "sites"), "p_injured", 1);
        expect_falling(json_object_get(l, "roots"), "p_intact", -1);
        expect_bedside_first(json_object_get(l, "next_checks"));
        cr_expect_eq(json_array_size(json_object_get(l, "sites")), rw_model()->site_count);
        expect_falling(json_object_get(json_object_get(json, "deficits"), "functions"), "expected_grade", -1);
        expect_falling(json_object_get(json_object_get(json, "deficits"), "sensation"), "p_lost", 1);
        json_decref(json);
        release(answer);
    }
}

/* The answer in words, in one line. */
static char *one_line(const struct answer *answer) {
    char *text = rw_answer_text(&answer->exam, &answer->assessment), *to = text;
    for (const char *from = text; *from; from++) {
        const bool blank = *from == ' ' || *from == '\n';
        if (!blank || (to > text && to[-1] != ' '))
            *to++ = blank ? ' ' : *from;
    }
    *to = '\0';
    return text;
}

#define EXPECT_SAID(text, ...)                                                                               \
    do {                                                                                                     \
        char said_[1024];                                                                                    \
        snprintf(said_, sizeof said_, __VA_ARGS__);                                                          \
        cr_expect_not_null(strstr(text, said_), "not said: %s", said_);                                      \
    } while (0)

/* "Cannot" is said of what is lost beyond doubt, "probably" of what is likelier lost than not. */
Test(wording, says_what_cannot_be_done_and_never_surer_than_it_is) {
    struct answer *answer = assess_file(examples[0]);
    const struct rw_deficits *d = &answer->assessment.deficits;
    char *text = one_line(answer);
    size_t lost = 0, probably = 0;
    for (size_t i = 0; i < d->function_count; i++) {
        const struct rw_function_deficit *f = &d->functions[i];
        const struct rw_target *t = &rw_model()->targets[f->function];
        char sentence[256];
        snprintf(sentence, sizeof sentence, "annot %s:", t->help);
        const char *at = strstr(text, sentence);
        cr_expect_eq(at != NULL, f->p_useful < 0.5, "%s: %g", t->id, f->p_useful);
        if (!at)
            continue;
        cr_expect_eq(at[-1] == 'C', f->p_useful < 0.05, "%s: %g", t->id, f->p_useful);
        lost += at[-1] == 'C';
        probably += at[-1] == 'c';
    }
    cr_assert(lost > 0 && probably > 0, "%zu and %zu", lost, probably);
    free(text);
    release(answer);
}

static void expect_step(const char *text, const struct rw_step *step) {
    const struct rw_transfer *t = &rw_model()->transfers[step->transfer];
    char useful[16], low[16], high[16], series[64] = "";
    rw_percent(step->p_useful, useful, sizeof useful);
    rw_percent(step->interval[0], low, sizeof low);
    rw_percent(step->interval[1], high, sizeof high);
    if (t->patients > 0)
        snprintf(series, sizeof series, "; %.0f patient%s in the series", t->patients,
                 t->patients > 1 ? "s" : "");
    EXPECT_SAID(text, "%s, for %s", t->label, rw_model()->targets[t->functions[0]].label);
    EXPECT_SAID(text, "useful in about %s (from %s to %s%s)", useful, low, high, series);
    if (t->patients <= 0)
        EXPECT_SAID(text, "no published series with counts");
    for (size_t i = 0; i < step->alternative_count; i++)
        EXPECT_SAID(text, "%s", rw_model()->transfers[step->alternatives[i]].label);
}

Test(wording, tells_every_plan) {
    struct answer *answer = assess_file(examples[0]);
    const struct rw_transfers *t = &answer->assessment.transfers;
    char *text = one_line(answer);
    cr_assert_gt(t->plan_count, 1);
    for (size_t p = 0; p < t->plan_count; p++) {
        EXPECT_SAID(text, "Plan %zu of %zu, expected gain", p + 1, t->plan_count);
        for (size_t s = 0; s < t->plans[p].step_count; s++)
            expect_step(text, &t->plans[p].steps[s]);
    }
    for (size_t i = 0; i < t->plans[0].loss_count; i++)
        EXPECT_SAID(text, "%s %.1f", rw_model()->targets[t->plans[0].losses[i].function].label,
                    t->plans[0].losses[i].grade);
    EXPECT_SAID(text, "Late options, named for discussion, not planned: ");
    free(text);
    release(answer);
}

Test(wording, tells_of_recovery_and_why_to_decide) {
    for (size_t e = 0; e < COUNT(examples); e++) {
        struct answer *answer = assess_file(examples[e]);
        const struct rw_recovery *r = &answer->assessment.recovery;
        char *text = one_line(answer);
        cr_assert(r->available && r->muscle_count > 0 && r->front_count > 0);
        for (size_t i = 0; i < r->muscle_count; i++)
            EXPECT_SAID(text, "%s", rw_model()->targets[r->muscles[i].muscle].label);
        for (size_t i = 0; i < r->front_count; i++) {
            const double *mm = r->fronts[i].expected_mm;
            cr_expect_not_null(strstr(text, rw_course_nerve_name((enum rw_course_nerve)r->fronts[i].course)));
            if (mm[1] >= 1)
                EXPECT_SAID(text, "the front should stand %.0f to %.0f mm from the injury", mm[0], mm[1]);
            else
                EXPECT_SAID(text, "the front should hardly have left the injury yet");
        }
        EXPECT_SAID(text, ": %s.", r->decide_because);
        EXPECT_SAID(text, "Decide by 2026-");
        free(text);
        release(answer);
    }
}

/* A donor that was not examined is named with what decides it. */
Test(wording, says_what_decides_a_donor) {
    static const char body[] =
        "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"onset_at\":\"2025-11-01\",\"age_"
        "years\":30,"
        "\"mechanism\":\"traction\",\"motor\":{\"biceps_brachii\":0,\"brachioradialis\":0,\"deltoid\":0,"
        "\"supraspinatus\":0,\"infraspinatus\":0,\"first_dorsal_interosseous\":5},"
        "\"sensation\":{\"roots\":{\"C5\":\"absent\",\"C6\":\"absent\"}}}";
    struct answer *answer = assess(body, sizeof body - 1);
    const struct rw_transfers *t = &answer->assessment.transfers;
    char *text = one_line(answer);
    size_t told = 0;
    for (size_t p = 0; p < t->plan_count; p++)
        for (size_t s = 0; s < t->plans[p].step_count; s++) {
            const struct rw_donor_status *donor =
                &t->donors[rw_model()->transfers[t->plans[p].steps[s].transfer].donor];
            char name[RW_PHRASE_SIZE];
            if (donor->state != RW_DONOR_UNKNOWN || donor->decided_by == RW_NONE)
                continue;
            rw_check_name(donor->decided_by, name, sizeof name);
            EXPECT_SAID(text, "(decided by: %s)", name);
            told++;
        }
    cr_assert_gt(told, 0, "some donor of the plans was not examined");
    free(text);
    release(answer);
}

Test(wording, tells_what_was_asked_of_the_plan) {
    static const char body[] =
        "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"onset_at\":\"2025-11-01\",\"age_"
        "years\":30,"
        "\"mechanism\":\"traction\",\"motor\":{\"biceps_brachii\":0,\"brachioradialis\":0,\"deltoid\":0,"
        "\"supraspinatus\":0,\"infraspinatus\":0},\"plan_options\":{\"donors_fixed\":[\"intercostals\"],"
        "\"donors_excluded\":[\"phrenic\",\"rhomboid\"],\"priorities\":[\"grip\",\"elbow_flexion\"],"
        "\"surgery_date\":\"2026-05-04\"}}";
    struct answer *answer = assess(body, sizeof body - 1);
    char *text = one_line(answer);
    EXPECT_SAID(text, "Asked for first: grip, then bending the elbow.");
    EXPECT_SAID(text, "Asked to be spent: two to four intercostal motor nerves.");
    EXPECT_SAID(text, "Asked to be left out: phrenic nerve; rhomboid branch of the dorsal scapular nerve.");
    EXPECT_SAID(text, "Asked for surgery on 2026-05-04.");
    EXPECT_SAID(text, "operation reckoned on 2026-05-04");
    free(text);
    release(answer);
    answer = assess_file(examples[0]);
    text = one_line(answer);
    cr_expect_null(strstr(text, "Asked "), "nothing was asked");
    free(text);
    release(answer);
}

static bool lists(const json_t *list, const char *text) {
    for (size_t i = 0; i < json_array_size(list); i++)
        if (strcmp(json_string_value(json_array_get(list, i)), text) == 0)
            return true;
    return false;
}

Test(wording, says_what_was_filled_in_and_what_was_not_examined) {
    static const char body[] =
        "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"mechanism\":\"laceration\","
        "\"motor\":{\"deltoid\":\"0\",\"trapezius\":\"untestable\"},\"signs\":{\"open_wound\":true},"
        "\"otherwise_normal\":[\"reflexes\"]}";
    struct answer *answer = assess(body, sizeof body - 1);
    json_t *json = json_answer(answer);
    const json_t *filled = json_object_get(json, "filled_in"),
                 *missing = json_object_get(json, "not_examined");
    cr_expect(lists(filled, "/reflexes/triceps"));
    cr_expect_not(lists(missing, "/reflexes/triceps"));
    cr_expect(lists(missing, "/motor/biceps_brachii"));
    cr_expect_not(lists(missing, "/motor/deltoid_lateral"), "graded with its group");
    cr_expect_not(lists(missing, "/motor/trapezius"), "given, although untestable");

    const json_t *urgent = json_array_get(json_object_get(json, "urgent"), 0);
    const json_t *because = json_object_get(urgent, "because");
    cr_expect(lists(because, "/signs/open_wound"));
    cr_expect(lists(because, "/mechanism"));
    json_decref(json);
    release(answer);
}

/* A record that was only found untestable is answered, and the answer says that it knows nothing. */
Test(wording, says_when_there_is_nothing_to_go_on) {
    static const char body[] = "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\","
                               "\"motor\":{\"deltoid\":\"untestable\"}}";
    struct answer *answer = assess(body, sizeof body - 1);
    json_t *json = json_answer(answer);
    const json_t *cautions = json_object_get(json, "cautions");
    bool said = false;
    for (size_t i = 0; i < json_array_size(cautions); i++)
        said = said || strncmp(json_string_value(json_array_get(cautions, i)), "Nothing in this examination",
                               27) == 0;
    cr_expect(said);
    char *text = rw_answer_text(&answer->exam, &answer->assessment);
    cr_expect_not_null(strstr(text, "no lesion is named"));
    cr_expect_null(strstr(text, "  1. "), "what is merely common must not look like an answer: %s", text);
    cr_expect_null(strstr(text, "Root   torn"));
    free(text);
    json_decref(json);
    release(answer);
}
