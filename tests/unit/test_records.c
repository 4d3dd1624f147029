/* Records in: what is taken, what is refused and where the fault is said to lie; and the forms that are
 * written. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "dates.h"
#include "records.h"
#include "scan.h"

enum { TODAY = 20514 }; /* 2026-03-02 */

#define COUNT(array) (sizeof(array) / sizeof *(array))
/* A record that lacks nothing but findings. */
#define RECORD(members) "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\"" members "}"
#define ONE             ",\"reflexes\":{\"biceps\":\"absent\"}"

struct reading {
    int status;
    struct rw_exam exam;
    json_t *record;
    struct rw_issues issues;
};

static struct reading *read_bytes(const char *body, size_t size) {
    struct reading *r = calloc(1, sizeof *r);
    r->status = rw_record_parse(body, size, TODAY, &r->exam, &r->record, &r->issues);
    cr_assert_eq(r->status == 0, r->record != NULL);
    cr_assert(r->status == 0 ? r->issues.count == 0 : r->issues.count > 0 || r->status == 500);
    return r;
}

static struct reading *read_text(const char *body) {
    return read_bytes(body, strlen(body));
}

static void release(struct reading *r) {
    json_decref(r->record);
    rw_issues_release(&r->issues);
    free(r);
}

static char *file_text(const char *path, size_t *size) {
    FILE *file = fopen(path, "rb");
    cr_assert_not_null(file, "%s", path);
    char *text = malloc(RW_BODY_MAX);
    *size = fread(text, 1, RW_BODY_MAX, file);
    fclose(file);
    return text;
}

/* Pointers of all issues, parted by blanks. */
static void pointers(const struct reading *r, char *out, size_t size) {
    out[0] = '\0';
    for (size_t i = 0; i < r->issues.count; i++)
        snprintf(out + strlen(out), size - strlen(out), "%s%s", i ? " " : "", r->issues.items[i].pointer);
}

/* ---- good records ---- */

static const struct {
    const char *body;
    size_t findings; /* without those filled in */
} good[] = {
    {RECORD(ONE), 1},
    {" \r\n\t" RECORD(ONE) "\n", 1},
    {RECORD(ONE ",\"exam_version\":1,\"subject\":\"a\",\"examiner\":\"A-z_0.9\""), 1},
    {RECORD(ONE ",\"exam_version\":1.0"), 1},
    {RECORD(",\"motor\":{\"deltoid\":0,\"biceps_brachii\":5,\"trapezius\":4.0,\"rhomboids\":\"4-\"}"), 4},
    {RECORD(",\"motor\":{\"biceps_brachii\":-0.0,\"trapezius\":3e0}"), 2},
    {RECORD(",\"motor\":{\"biceps_brachii\":\"untestable\"}"), 0},
    {RECORD(",\"sensation\":{\"roots\":{\"C3\":\"normal\",\"T2\":\"painful\"},\"nerves\":{\"axillary\":"
            "\"untestable\"}}"),
     2},
    {RECORD(",\"movements\":{\"grip\":\"3\"},\"signs\":{\"open_wound\":true},\"wasting\":{\"thenar\":false}"),
     3},
    {RECORD(",\"percussion\":{\"first_web\":\"local\"},\"motor\":{},\"sensation\":{\"roots\":{}}"), 1},
    {RECORD(",\"investigations\":{\"hemidiaphragm\":\"reduced\"}"), 1},
    {RECORD(",\"investigations\":{\"emg\":{\"deltoid\":{\"denervation\":true,\"recruitment\":\"none\"}},"
            "\"snap\":"
            "{\"axillary\":\"absent\"},\"cmap\":{\"thenar\":\"reduced\"},\"paraspinal_denervation\":{\"C7\":"
            "false},"
            "\"imaging\":{\"pseudomeningocele\":{\"C5\":true},\"root_avulsion\":{\"T1\":false}}}"),
     7},
    {RECORD(",\"otherwise_normal\":[\"reflexes\"]"), 0},
    {RECORD(ONE ",\"pain_0_10\":0,\"age_years\":120,\"daily_routine\":\"unable\""), 1},
    {RECORD(ONE ",\"pain_0_10\":6.5,\"age_years\":0.25,\"donor_limits\":{}"), 1},
    {RECORD(ONE
            ",\"donor_limits\":{\"rib_fractures\":true,\"declined\":[\"phrenic\"],\"used\":[\"phrenic\"]}"),
     1},
    {RECORD(ONE ",\"plan_options\":{}"), 1},
    {RECORD(ONE ",\"plan_options\":{\"donors_fixed\":[],\"donors_excluded\":[],\"priorities\":[]}"), 1},
    {RECORD(ONE ",\"plan_options\":{\"surgery_date\":\"2026-03-02\"}"), 1},
    {RECORD(ONE ",\"plan_options\":{\"surgery_date\":\"2036-03-02\"}"), 1},
    {RECORD(
         ONE
         ",\"donor_limits\":{\"used\":[\"phrenic\"]},\"plan_options\":{\"donors_excluded\":[\"phrenic\"]}"),
     1},
    {RECORD(ONE ",\"onset_at\":\"2026-03-02\""), 1},
    {RECORD(ONE ",\"age_years\":20,\"onset_at\":\"2005-06-03\""), 1}, /* at birth, or near it */
    {RECORD(ONE ",\"onset_at\":\"2026-03-02T09:40:00Z\""), 1},
    {RECORD(ONE ",\"onset_at\":\"2026-03-02T14:00:00+05:30\""), 1},
};

Test(records, takes_good_records) {
    for (size_t i = 0; i < COUNT(good); i++) {
        struct reading *r = read_text(good[i].body);
        size_t given = 0;
        for (size_t f = 0; f < r->exam.finding_count; f++)
            given += !r->exam.findings[f].filled_in;
        cr_expect_eq(r->status, 0, "%s: %d %s", good[i].body, r->status,
                     r->issues.count ? r->issues.items[0].detail : "");
        cr_expect_eq(given, good[i].findings, "%s: %zu findings", good[i].body, given);
        release(r);
    }
}

Test(records, fills_the_exam) {
    struct reading *r = read_text("{\"side\":\"right\",\"examined_at\":\"2026-03-01T23:30:00-05:00\",\"onset_"
                                  "at\":\"2026-01-11\",\"age_years\":27,"
                                  "\"mechanism\":\"gunshot\",\"motor\":{\"biceps_brachii\":\"4-\"},"
                                  "\"donor_limits\":{\"rib_fractures\":true,\"declined\":[\"phrenic\"]}}");
    cr_assert_eq(r->status, 0);
    cr_assert_eq(r->exam.side, RW_SIDE_RIGHT);
    cr_assert_eq(r->exam.examined_day, TODAY - 1,
                 "the day in the offset given, although it is the 2nd in UTC");
    cr_assert_eq(r->exam.onset_day, rw_day_of(2026, 1, 11));
    cr_assert_eq(r->exam.mechanism, RW_MECHANISM_GUNSHOT);
    cr_assert_float_eq(r->exam.age_years, 27, 0.0);
    cr_assert_eq(r->exam.findings[0].check, rw_check_find(RW_SECTION_MOTOR, "biceps_brachii"));
    cr_assert_eq(r->exam.findings[0].value, rw_value_find(r->exam.findings[0].check, "4-"));
    cr_assert(r->exam.rib_fractures);
    for (size_t d = 0; d < rw_model()->donor_count; d++) {
        cr_assert_eq(r->exam.declined[d], strcmp(rw_model()->donors[d].id, "phrenic") == 0);
        cr_assert_not(r->exam.used[d]);
    }
    release(r);
}

Test(records, fills_the_plan_options) {
    struct reading *r =
        read_text(RECORD(ONE ",\"plan_options\":{\"donors_fixed\":[\"intercostals\",\"rhomboid\"],"
                             "\"donors_excluded\":[\"phrenic\"],\"priorities\":[\"grip\","
                             "\"elbow_flexion\"],\"surgery_date\":\"2026-05-04\"}"));
    cr_assert_eq(r->status, 0);
    const struct rw_plan_options *options = &r->exam.options;
    for (size_t d = 0; d < rw_model()->donor_count; d++) {
        const char *id = rw_model()->donors[d].id;
        cr_expect_eq(options->fixed[d], strcmp(id, "intercostals") == 0 || strcmp(id, "rhomboid") == 0, "%s",
                     id);
        cr_expect_eq(options->excluded[d], strcmp(id, "phrenic") == 0, "%s", id);
        cr_expect_not(r->exam.declined[d] || r->exam.used[d], "%s", id);
    }
    cr_assert_eq(options->priority_count, 2);
    cr_expect_eq(options->priorities[0], rw_target_find(RW_TARGET_FUNCTION, "grip"));
    cr_expect_eq(options->priorities[1], rw_target_find(RW_TARGET_FUNCTION, "elbow_flexion"));
    cr_expect_eq(options->surgery_day, rw_day_of(2026, 5, 4));
    release(r);
    r = read_text(RECORD(ONE));
    cr_expect_eq(r->exam.options.surgery_day, 0);
    cr_expect_eq(r->exam.options.priority_count, 0);
    release(r);
}

Test(records, leaves_open_what_is_not_given) {
    struct reading *r = read_text(RECORD(ONE));
    cr_assert_eq(r->exam.mechanism, RW_MECHANISM_UNKNOWN);
    cr_assert_eq(r->exam.onset_day, RW_NO_DAY);
    cr_assert(isnan(r->exam.age_years));
    release(r);
}

/* An onset in an offset further east can bear the next day's date, and still lie before the examination. */
Test(records, onset_day_never_follows_the_examination) {
    struct reading *r = read_text("{\"side\":\"left\",\"examined_at\":\"2026-03-01T23:00:00Z\","
                                  "\"onset_at\":\"2026-03-02T00:30:00+02:00\"" ONE "}");
    cr_assert_eq(r->status, 0);
    cr_assert_eq(r->exam.onset_day, r->exam.examined_day);
    release(r);
}

static void enclose(const char *pointer, const char *value, char *body, size_t size) {
    char opening[256] = "", path[96], closing[8] = "";
    snprintf(path, sizeof path, "%s", pointer + 1);
    for (char *part = path, *slash; part; part = slash ? slash + 1 : NULL) {
        slash = strchr(part, '/');
        if (slash)
            *slash = '\0';
        snprintf(opening + strlen(opening), sizeof opening - strlen(opening), "\"%s\":%s", part,
                 slash ? "{" : "");
        snprintf(closing + strlen(closing), sizeof closing - strlen(closing), "%s", slash ? "}" : "");
    }
    snprintf(body, size, RECORD(",%s%s%s"), opening, value, closing);
}

/* Every value of every check is read as itself, in the JSON type of its scale. */
Test(records, takes_every_value_of_every_check) {
    const struct rw_model *model = rw_model();
    size_t read = 0;
    for (size_t c = 0; c < model->check_count; c++) {
        const struct rw_scale *scale = &model->scales[model->checks[c].scale];
        char pointer[96], body[512], value[32];
        rw_check_pointer((uint16_t)c, pointer, sizeof pointer);
        for (size_t v = 0; v < scale->value_count; v++, read++) {
            const bool word = strcmp(scale->id, "bool") != 0;
            snprintf(value, sizeof value, "%s%s%s", word ? "\"" : "", scale->values[v].text,
                     word ? "\"" : "");
            enclose(pointer, value, body, sizeof body);
            struct reading *r = read_text(body);
            cr_assert_eq(r->status, 0, "%s: %s", body, r->issues.count ? r->issues.items[0].detail : "");
            cr_assert_eq(r->exam.finding_count, 1);
            cr_assert_eq(r->exam.findings[0].check, c);
            cr_assert_eq(r->exam.findings[0].value, v);
            cr_assert_not(r->exam.findings[0].filled_in);
            release(r);
        }
    }
    cr_assert_gt(read, model->check_count);
}

/* ---- otherwise normal ---- */

/* "given", "filled in" or "absent" */
static const char *finding(const struct reading *r, enum rw_section section, const char *item) {
    const uint16_t check = rw_check_find(section, item);
    cr_assert_neq(check, RW_NONE, "%s", item);
    for (size_t i = 0; i < r->exam.finding_count; i++)
        if (r->exam.findings[i].check == check)
            return r->exam.findings[i].filled_in ? "filled in" : "given";
    return "absent";
}

Test(records, fills_what_is_otherwise_normal) {
    struct reading *r = read_text(RECORD(ONE ",\"otherwise_normal\":[\"reflexes\"]"));
    cr_expect_str_eq(finding(r, RW_SECTION_REFLEX, "triceps"), "filled in");
    cr_expect_str_eq(finding(r, RW_SECTION_REFLEX, "biceps"), "given");
    cr_expect_str_eq(finding(r, RW_SECTION_REFLEX, "finger_flexor"), "absent", "not of the standard set");
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "trapezius"), "absent", "another section");
    for (size_t i = 0; i < r->exam.finding_count; i++) {
        const struct rw_finding *f = &r->exam.findings[i];
        const struct rw_check *check = &rw_model()->checks[f->check];
        cr_expect(!f->filled_in || f->value == rw_model()->scales[check->scale].normal, "%s", check->item);
    }
    release(r);
}

/* A hanging wrist speaks for its extensors, as a grade of wrist extension does. */
Test(records, fills_nothing_that_a_sign_speaks_for) {
    struct reading *r =
        read_text(RECORD(",\"signs\":{\"wrist_drop\":true},\"otherwise_normal\":[\"motor\"]"));
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "extensor_carpi_radialis_longus"), "absent");
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "biceps_brachii"), "filled in");
    release(r);
    r = read_text(RECORD(",\"signs\":{\"wrist_drop\":false},\"otherwise_normal\":[\"motor\"]"));
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "extensor_carpi_radialis_longus"), "filled in");
    release(r);
}

Test(records, fills_nothing_that_was_untestable) {
    struct reading *r =
        read_text(RECORD(",\"motor\":{\"trapezius\":\"untestable\",\"deltoid\":\"untestable\"},"
                         "\"movements\":{\"elbow_flexion\":\"untestable\"},"
                         "\"sensation\":{\"roots\":{\"C6\":\"untestable\"}},"
                         "\"otherwise_normal\":[\"motor\",\"sensation\"]"));
    cr_assert_eq(r->status, 0);
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "trapezius"), "absent");
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "deltoid_lateral"), "absent",
                     "part of an untestable group");
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "biceps_brachii"), "absent",
                     "part of an untestable movement");
    cr_expect_str_eq(finding(r, RW_SECTION_MOVEMENT, "elbow_flexion"), "absent");
    cr_expect_str_eq(finding(r, RW_SECTION_SKIN_ROOT, "C6"), "absent");
    cr_expect_str_eq(finding(r, RW_SECTION_SKIN_ROOT, "C7"), "filled in");
    cr_expect_str_eq(finding(r, RW_SECTION_MOTOR, "first_dorsal_interosseous"), "filled in");
    release(r);
}

/* ---- bad records ---- */

static const struct {
    const char *body;
    int status;
    const char *pointers; /* of all issues, in order; "" is one issue about the whole */
} bad[] = {
    {"", 400, ""},
    {" ", 400, ""},
    {"nonsense", 400, ""},
    {"{", 400, ""},
    {"1", 400, ""},
    {"\"text\"", 400, ""},
    {RECORD(ONE) "x", 400, ""},
    {RECORD(ONE) RECORD(ONE), 400, ""},
    {RECORD(ONE ",\"age_years\":NaN"), 400, ""},
    {RECORD(ONE ",\"age_years\":1e400"), 400, ""},
    {RECORD(ONE ",\"age_years\":99999999999999999999"), 400, ""},
    {RECORD(ONE ",\"subject\":\"a\\u0000\""), 400, ""},
    {RECORD(ONE ",\"subject\":\"\\ud800\""), 400, ""},
    {RECORD(ONE ",\"subject\":\"\xff\""), 400, ""},
    {RECORD(ONE ",\"subject\":\"\xed\xa0\x80\""), 400, ""},
    {RECORD(ONE ",\"subject\":\"\xc0\x80\""), 400, ""},
    {"\xef\xbb\xbf" RECORD(ONE), 400, ""},
    {RECORD(ONE ",\"side\":\"left\""), 400, "/side"},
    {RECORD(",\"motor\":{\"deltoid\":\"0\",\"trapezius\":[1,{\"a\":2}],\"deltoid\":\"0\"}"), 400,
     "/motor/deltoid"},
    {RECORD(",\"motor\":{\"deltoid\":\"0\",\"d\\u0065ltoid\":\"1\"}"), 400, "/motor"},
    {RECORD(ONE ",\"x\":[[],{\"a/b\":{\"c~\":1,\"c~\":2}}]"), 400, "/x/1/a~1b/c~0"},
    {"[]", 422, ""},
    {"{}", 422, "/side /examined_at "},
    {RECORD(""), 422, ""},
    {RECORD(",\"motor\":{},\"sensation\":{},\"investigations\":{\"emg\":{}},\"otherwise_normal\":[]"), 422,
     ""},
    {RECORD(",\"donor_limits\":{\"rib_fractures\":true},\"pain_0_10\":3"), 422, ""},
    {RECORD(ONE ",\"exam_version\":2,\"subject\":\"\",\"examiner\":\"a b\""), 422,
     "/exam_version /subject /examiner"},
    {RECORD(ONE ",\"exam_version\":\"1\",\"subject\":7"), 422, "/exam_version /subject"},
    {RECORD(ONE ",\"patient\":1,\"a/b\":1,\"c~d\":1,\"\":1"), 422, "/patient /a~1b /c~0d /"},
    {RECORD(ONE ",\"age_years\":-1,\"pain_0_10\":11"), 422, "/age_years /pain_0_10"},
    {RECORD(ONE ",\"age_years\":\"27\",\"pain_0_10\":true"), 422, "/age_years /pain_0_10"},
    {RECORD(ONE ",\"mechanism\":\"fall\",\"daily_routine\":null"), 422, "/mechanism /daily_routine"},
    {RECORD(",\"motor\":[],\"movements\":1,\"sensation\":null,\"reflexes\":{\"biceps\":\"absent\"}"), 422,
     "/motor /movements /sensation"},
    {RECORD(",\"motor\":{\"biceps\":5,\"deltoid\":6,\"trapezius\":-1,\"rhomboids\":2.5,\"thenar\":\"5+\"}"),
     422, "/motor/biceps /motor/deltoid /motor/trapezius /motor/rhomboids /motor/thenar"},
    {RECORD(",\"motor\":{\"deltoid\":true,\"trapezius\":null,\"rhomboids\":\"\",\"thenar\":\"04\"}"), 422,
     "/motor/deltoid /motor/trapezius /motor/rhomboids /motor/thenar"},
    {RECORD(",\"sensation\":{\"roots\":{\"C9\":\"absent\",\"C5\":\"numb\"},\"skin\":{}}"), 422,
     "/sensation/roots/C9 /sensation/roots/C5 /sensation/skin"},
    {RECORD(",\"reflexes\":{\"biceps\":\"untestable\"},\"signs\":{\"ptosis\":\"true\",\"horner\":true,"
            "\"miosis\":1}"),
     422, "/reflexes/biceps /signs/ptosis /signs/horner /signs/miosis"},
    {RECORD(",\"wasting\":{\"elbow_flexion\":true},\"percussion\":{\"carpal_tunnel\":true}"), 422,
     "/wasting/elbow_flexion /percussion/carpal_tunnel"},
    {RECORD(",\"investigations\":{\"emg\":{\"deltoid\":{},\"elbow\":{\"denervation\":true},\"thenar\":true,"
            "\"trapezius\":{\"denervation\":\"yes\",\"units\":1}}}"),
     422,
     "/investigations/emg/deltoid /investigations/emg/elbow /investigations/emg/thenar "
     "/investigations/emg/trapezius/denervation /investigations/emg/trapezius/units"},
    {RECORD(",\"investigations\":{\"hemidiaphragm\":true,\"imaging\":{\"mri\":{},\"root_avulsion\":{\"C4\":"
            "true}},"
            "\"paraspinal_denervation\":{\"C5\":\"true\"},\"snap\":{\"median\":\"absent\"},\"ncs\":{}}"),
     422,
     "/investigations/hemidiaphragm /investigations/imaging/mri /investigations/imaging/root_avulsion/C4 "
     "/investigations/paraspinal_denervation/C5 /investigations/snap/median /investigations/ncs"},
    {RECORD(",\"otherwise_normal\":\"motor\"" ONE), 422, "/otherwise_normal"},
    {RECORD(",\"otherwise_normal\":[\"motor\",\"wasting\",7,\"motor\"]"), 422,
     "/otherwise_normal/1 /otherwise_normal/2 /otherwise_normal/3"},
    {RECORD(ONE ",\"donor_limits\":{\"rib_fractures\":0,\"declined\":\"phrenic\",\"used\":[\"phrenic\","
                "\"leg\",\"phrenic\"],"
                "\"age\":1}"),
     422,
     "/donor_limits/rib_fractures /donor_limits/declined /donor_limits/used/1 /donor_limits/used/2 "
     "/donor_limits/age"},
    {RECORD(ONE ",\"plan_options\":[]"), 422, "/plan_options"},
    {RECORD(ONE
            ",\"plan_options\":{\"donors_fixed\":\"phrenic\",\"donors_excluded\":{},\"priorities\":\"grip\","
            "\"surgery_date\":20260504,\"donors\":[]}"),
     422,
     "/plan_options/donors_fixed /plan_options/donors_excluded /plan_options/priorities "
     "/plan_options/surgery_date /plan_options/donors"},
    {RECORD(ONE ",\"plan_options\":{\"donors_fixed\":[\"phrenic\",\"leg\",\"phrenic\",7],"
                "\"donors_excluded\":[\"rhomboid\",null,\"rhomboid\"]}"),
     422,
     "/plan_options/donors_fixed/1 /plan_options/donors_fixed/2 /plan_options/donors_fixed/3 "
     "/plan_options/donors_excluded/1 /plan_options/donors_excluded/2"},
    {RECORD(ONE ",\"plan_options\":{\"donors_fixed\":[\"phrenic\"],\"donors_excluded\":[\"phrenic\"]}"), 422,
     "/plan_options"},
    {RECORD(ONE
            ",\"plan_options\":{\"priorities\":[\"grip\",\"biceps_brachii\",\"grip\",1,\"elbow_flexion\"]}"),
     422, "/plan_options/priorities/1 /plan_options/priorities/2 /plan_options/priorities/3"},
    {RECORD(ONE ",\"plan_options\":{\"surgery_date\":\"2026-03-01\"}"), 422, "/plan_options/surgery_date"},
    {RECORD(ONE ",\"plan_options\":{\"surgery_date\":\"2036-03-03\"}"), 422, "/plan_options/surgery_date"},
    {RECORD(ONE ",\"plan_options\":{\"surgery_date\":\"2026-02-29\"}"), 422, "/plan_options/surgery_date"},
    {RECORD(ONE ",\"plan_options\":{\"surgery_date\":\"2026-05-04T09:00:00Z\"}"), 422,
     "/plan_options/surgery_date"},
    {RECORD(ONE ",\"onset_at\":\"2026-03-03\""), 422, "/onset_at"},
    {RECORD(ONE ",\"age_years\":20,\"onset_at\":\"2003-03-03\""), 422, "/onset_at"}, /* before birth */
    {RECORD(ONE ",\"onset_at\":\"2026-03-02T09:40:01Z\""), 422, "/onset_at"},
    {RECORD(ONE ",\"onset_at\":\"2026-03-02T09:40:00.001Z\""), 422, "/onset_at"},
    {RECORD(ONE ",\"onset_at\":\"2026-03-02T00:00\""), 422, "/onset_at"},
    {RECORD(ONE ",\"onset_at\":\"2026-02-29\""), 422, "/onset_at"},
    {"{\"onset_at\":\"2026-03-02T10:00:00Z\",\"side\":\"LEFT\",\"examined_at\":\"2026-03-02T09:40:00Z\"" ONE
     "}",
     422, "/onset_at /side"},
    {"{\"onset_at\":\"2026-03-09\",\"side\":\"left\",\"examined_at\":\"yesterday\"" ONE "}", 422,
     "/onset_at /examined_at"},
    {"{\"side\":\"left\",\"examined_at\":20514" ONE "}", 422, "/examined_at"},
    {"{\"side\":null,\"examined_at\":\"2026-03-02\"" ONE "}", 422, "/side /examined_at"},
    {"{\"side\":\"left\",\"examined_at\":\"2026-03-04T00:00:00Z\"" ONE "}", 422, "/examined_at"},
};

Test(records, refuses_bad_records_and_says_where) {
    for (size_t i = 0; i < COUNT(bad); i++) {
        char found[1024];
        struct reading *r = read_text(bad[i].body);
        pointers(r, found, sizeof found);
        cr_expect_eq(r->status, bad[i].status, "%s: %d", bad[i].body, r->status);
        cr_expect_str_eq(found, bad[i].pointers, "%s", bad[i].body);
        for (size_t k = 0; k < r->issues.count; k++)
            cr_expect_neq(r->issues.items[k].detail[0], '\0');
        release(r);
    }
}

Test(records, refuses_bytes_that_are_no_text) {
    static const char nul[] = RECORD(ONE) "\0";
    struct reading *r = read_bytes(nul, sizeof nul - 1);
    cr_assert_eq(r->status, 400);
    release(r);
    static const char inside[] = "{\"side\":\"le\0ft\"}";
    r = read_bytes(inside, sizeof inside - 1);
    cr_assert_eq(r->status, 400);
    release(r);
}

Test(records, refuses_what_is_too_deep_too_long_or_too_many) {
    char *body = malloc(RW_BODY_MAX + 64);
    memset(body, '[', 64);
    struct reading *r = read_bytes(body, 17);
    cr_assert_eq(r->status, 400);
    cr_assert_not_null(strstr(r->issues.items[0].detail, "nested"));
    release(r);

    memset(body, ' ', RW_BODY_MAX + 64);
    memcpy(body, RECORD(ONE), strlen(RECORD(ONE)));
    r = read_bytes(body, RW_BODY_MAX);
    cr_assert_eq(r->status, 0, "256 KiB are allowed");
    release(r);
    r = read_bytes(body, RW_BODY_MAX + 1);
    cr_assert_eq(r->status, 400);
    release(r);

    body[0] = '[';
    for (size_t i = 0; i < RW_TOKENS_MAX; i++)
        memcpy(body + 1 + i * 2, "1,", 2);
    r = read_bytes(body, 1 + RW_TOKENS_MAX * 2);
    cr_assert_eq(r->status, 400);
    cr_assert_not_null(strstr(r->issues.items[0].detail, "more members"));
    release(r);
    free(body);
}

/* A name too long for a pointer is answered with its parent's, and never cut within a character. */
Test(records, points_at_the_parent_of_a_name_too_long) {
    char name[400], body[640];
    memset(name, 'x', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    snprintf(body, sizeof body, RECORD(",\"motor\":{\"%s\":1}"), name);
    struct reading *r = read_text(body);
    cr_assert_eq(r->status, 422);
    cr_assert_str_eq(r->issues.items[0].pointer, "/motor");
    release(r);
}

Test(records, says_nothing_that_was_sent) {
    struct reading *r = read_text(RECORD(",\"motor\":{\"deltoid\":\"Canary\"},\"mechanism\":\"Canary\""));
    for (size_t i = 0; i < r->issues.count; i++)
        cr_assert_null(strstr(r->issues.items[i].detail, "Canary"));
    release(r);
    r = read_text("{\"Canary\" 1}");
    cr_assert_null(strstr(r->issues.items[0].detail, "Canary"));
    release(r);
}

/* ---- memory ---- */

static size_t allocations_left;

static void *limited(size_t size) {
    if (allocations_left == 0)
        return NULL;
    allocations_left--;
    return malloc(size);
}

/* The n-th allocation fails, for every n until none does. The reader may blame the text for it, but a record
 * is taken whole or not at all, and nothing leaks. */
Test(records, survives_every_failed_allocation) {
    size_t size;
    char *body = file_text("schema/examples/demo.json", &size);
    json_set_alloc_funcs(limited, free);
    for (size_t n = 0;; n++) {
        cr_assert_lt(n, 20000);
        allocations_left = n;
        struct reading *r = read_bytes(body, size);
        const bool taken = r->status == 0;
        cr_assert(taken ? r->exam.finding_count == 52 : r->status == 500 || r->status == 400,
                  "allocation %zu", n);
        release(r);
        if (taken)
            break;
    }
    json_set_alloc_funcs(malloc, free);
    free(body);
}

/* ---- the examples and schemas that are handed out ---- */

Test(records, reads_the_examples) {
    static const struct {
        const char *path;
        int status;
        size_t issues, findings;
    } examples[] = {{"schema/examples/demo.json", 0, 0, 52},
                    {"schema/examples/partial.json", 0, 0, 5},
                    {"schema/examples/bad.json", 422, 22, 0}};
    for (size_t i = 0; i < COUNT(examples); i++) {
        size_t size, given = 0;
        char *body = file_text(examples[i].path, &size);
        struct reading *r = read_bytes(body, size);
        for (size_t f = 0; f < r->exam.finding_count; f++)
            given += !r->exam.findings[f].filled_in;
        cr_expect_eq(r->status, examples[i].status, "%s: %d", examples[i].path, r->status);
        cr_expect_eq(r->issues.count, examples[i].issues, "%s: %zu", examples[i].path, r->issues.count);
        cr_expect(examples[i].status != 0 || given == examples[i].findings, "%s: %zu", examples[i].path,
                  given);
        release(r);
        free(body);
    }
}

static json_t *schema_at(json_t *schema, const char *path) {
    char name[64];
    for (json_t *at = schema; at; path += strspn(path, "/")) {
        const size_t size = strcspn(path, "/");
        if (size == 0)
            return at;
        snprintf(name, sizeof name, "%.*s", (int)size, path);
        json_t *properties = json_object_get(at, "properties");
        at = json_object_get(properties ? properties : at, name);
        path += size;
    }
    return NULL;
}

static const char *donor_at(size_t place) {
    return place < rw_model()->donor_count ? rw_model()->donors[place].id : NULL;
}

static const char *transfer_at(size_t place) {
    return place < rw_model()->transfer_count ? rw_model()->transfers[place].id : NULL;
}

static const char *function_at(size_t place) {
    const struct rw_model *model = rw_model();
    for (size_t t = 0; t < model->target_count; t++)
        if (model->targets[t].kind == RW_TARGET_FUNCTION && place-- == 0)
            return model->targets[t].id;
    return NULL;
}

/* An enum of the schema's $defs holds these ids, in this order, and no others. */
static void expect_enum(json_t *schema, const char *path, const char *(*id_at)(size_t place)) {
    const json_t *ids = schema_at(json_object_get(schema, "$defs"), path);
    size_t count = 0;
    for (const char *id; (id = id_at(count)) != NULL; count++) {
        const char *known = json_string_value(json_array_get(ids, count));
        cr_expect_str_eq(known ? known : "nothing", id, "%s, place %zu", path, count);
    }
    cr_expect_eq(json_array_size(ids), count, "%s: %zu ids, %zu known", path, json_array_size(ids), count);
}

/* The schema names the ids that the engine knows, section by section, and no others. */
Test(records, schema_and_vocabulary_name_the_same_ids) {
    static const char *const sections[RW_SECTION_COUNT] = {
#define X(name, text) text,
        RW_SECTIONS(X)
#undef X
    };
    const struct rw_model *model = rw_model();
    json_t *schema = json_load_file("schema/exam.schema.json", 0, NULL);
    cr_assert_not_null(schema);
    for (int s = 0; s < RW_SECTION_HEMIDIAPHRAGM; s++) {
        char path[96];
        snprintf(path, sizeof path, "%s", sections[s]);
        if (s == RW_SECTION_EMG_DENERVATION || s == RW_SECTION_EMG_RECRUITMENT)
            *strrchr(path, '/') = '\0';
        json_t *section = schema_at(schema, path);
        cr_assert_not_null(section, "%s", path);
        if (json_object_get(section, "$ref"))
            section = json_object_get(json_object_get(schema, "$defs"), "by_root");
        const json_t *ids = json_object_get(section, "properties");
        size_t known = 0;
        for (size_t i = 0; i < model->check_count; i++)
            if ((int)model->checks[i].section == s) {
                known++;
                cr_expect_not_null(json_object_get(ids, model->checks[i].item), "%s %s", path,
                                   model->checks[i].item);
            }
        cr_expect_eq(json_object_size(ids), known, "%s: %zu ids, %zu known", path, json_object_size(ids),
                     known);
    }
    expect_enum(schema, "donors/items/enum", donor_at);
    expect_enum(schema, "function/enum", function_at);
    json_decref(schema);
    schema = json_load_file("schema/assessment.schema.json", 0, NULL);
    cr_assert_not_null(schema);
    expect_enum(schema, "donor/enum", donor_at);
    expect_enum(schema, "transfer/enum", transfer_at);
    expect_enum(schema, "function/enum", function_at);
    json_decref(schema);
}

Test(records, vocabulary_and_model_are_json) {
    size_t size;
    char *text = rw_vocabulary_json(&size);
    json_t *vocabulary = json_loadb(text, size, JSON_REJECT_DUPLICATES, NULL);
    cr_assert_eq(json_array_size(json_object_get(vocabulary, "checks")), rw_model()->check_count);
    json_decref(vocabulary);
    free(text);
    text = rw_model_json(&size);
    json_t *model = json_loadb(text, size, JSON_REJECT_DUPLICATES, NULL);
    cr_assert_eq(json_array_size(json_object_get(model, "bundles")), rw_model()->bundle_count);
    cr_assert_eq(json_object_size(json_object_get(model, "priors")), RW_MECHANISM_COUNT);
    json_decref(model);
    free(text);
}
