/* Does choosing the next check by its information pay?
 *
 * Each simulated patient has a whole bedside examination, of which a third, drawn at random, is given. The
 * rest is then given one by one, either in the fixed order of a bedside examination or in the order of the
 * answer's next checks, until the leading set of lesions (by level and name, whatever their severity) has a
 * probability of LEADER. Counted are the patients to whom the whole examination gives such a leader: which ones
 * these are depends on no order, and both orders bring each of them there, at the latest with the last check. */
#include <math.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <threads.h>
#include <unistd.h>

#include "examine.h"

#define LEADER 0.9
enum { MAX_THREADS = 64 };
enum order { FIXED, BY_BITS, ORDERS };

struct outcome {
    bool counted;         /* the whole examination has a leader */
    size_t steps[ORDERS]; /* checks until the leader stood */
    bool right[ORDERS];
    size_t left; /* checks not given at the start */
};

struct study {
    const struct priors *priors;
    const struct practice *practice;
    uint64_t seed;
    size_t count;
    struct outcome *outcomes;
    atomic_size_t next;
    atomic_bool failed;
};

struct desk {
    struct rw_exam whole, shown;
    struct rw_assessment answer;
    bool given[RW_MAX_CHECKS]; /* by place in `whole` */
    void *workspace;
};

/* A hypothesis by level and name, in the terms in which published cases are scored: a whole trunk is its
 * roots, the deep branch of the ulnar nerve is the ulnar nerve. */
struct name {
    enum rw_level level;
    const char *name;
};
struct named {
    size_t count;
    struct name list[2 * RW_MAX_LESIONS];
};

static bool same_name(const struct name *a, const struct name *b) {
    return a->level == b->level && strcmp(a->name, b->name) == 0;
}

static void add_name(struct named *named, enum rw_level level, const char *name) {
    const struct name own = {level, strcmp(name, "deep_ulnar") == 0 ? "ulnar" : name};
    size_t k = 0;
    while (k < named->count && !same_name(&named->list[k], &own))
        k++;
    if (k == named->count)
        named->list[named->count++] = own;
}

static const char *const *roots_of(const struct rw_site *site) {
    static const struct {
        const char *trunk, *roots[2];
    } rows[] = {{"upper", {"C5", "C6"}}, {"middle", {"C7", NULL}}, {"lower", {"C8", "T1"}}};
    for (size_t i = 0; site->level == RW_LEVEL_TRUNK && i < sizeof rows / sizeof rows[0]; i++)
        if (strcmp(site->name, rows[i].trunk) == 0)
            return rows[i].roots;
    return NULL;
}

static struct named name_lesions(const struct rw_lesion *lesions, size_t count) {
    struct named named = {.count = 0};
    for (size_t i = 0; i < count; i++) {
        const struct rw_site *site = &rw_model()->sites[lesions[i].site];
        const char *const *roots = roots_of(site);
        for (size_t k = 0; roots != NULL && k < 2 && roots[k] != NULL; k++)
            add_name(&named, RW_LEVEL_ROOT, roots[k]);
        if (roots == NULL)
            add_name(&named, site->level, site->name);
    }
    return named;
}

static bool same_lesions(const struct named *a, const struct named *b) {
    for (size_t i = 0; i < a->count; i++) {
        size_t k = 0;
        while (k < b->count && !same_name(&a->list[i], &b->list[k]))
            k++;
        if (k == b->count)
            return false;
    }
    return a->count == b->count;
}

/* The heaviest named set of the list. "No lesion" and "outside" are sets of their own kind. */
static double leading_set(const struct rw_localisation *l, struct named *leader, enum rw_prior_kind *kind) {
    struct named sets[RW_MAX_HYPOTHESES];
    double weight[RW_MAX_HYPOTHESES] = {0};
    size_t best = 0;
    for (size_t i = 0; i < l->hypothesis_count; i++) {
        const struct rw_hypothesis *h = &l->hypotheses[i];
        size_t k = 0;
        sets[i] = name_lesions(h->lesions, h->lesion_count);
        while (k < i &&
               !(same_lesions(&sets[k], &sets[i]) && (sets[i].count > 0 || l->hypotheses[k].kind == h->kind)))
            k++;
        weight[k] += h->probability;
        best = weight[k] > weight[best] ? k : best;
    }
    *leader = sets[best];
    *kind = l->hypotheses[best].kind;
    return weight[best];
}

static bool is_right(const struct patient *patient, const struct named *leader, enum rw_prior_kind kind) {
    struct rw_lesion lesions[RW_MAX_SITES];
    size_t count = 0;
    for (size_t s = 0; s < rw_model()->site_count; s++)
        if (patient->severity[s] != RW_INTACT && count < RW_MAX_LESIONS)
            lesions[count++] = (struct rw_lesion){(uint8_t)s, patient->severity[s]};
    const struct named truth = name_lesions(lesions, count);
    return same_lesions(&truth, leader) && (kind == RW_PRIOR_OUTSIDE) == patient->truth.outside;
}

/* The place in `whole` of the check to give next. */
static size_t choose(const struct desk *desk, enum order order) {
    const struct rw_model *m = rw_model();
    const struct rw_exam *whole = &desk->whole;
    size_t first = SIZE_MAX;
    for (size_t n = 0; order == BY_BITS && n < desk->answer.localisation.next_count; n++)
        for (size_t i = 0; i < whole->finding_count; i++)
            if (!desk->given[i] && whole->findings[i].check == desk->answer.localisation.next[n].check)
                return i;
    for (size_t i = 0; i < whole->finding_count; i++)
        if (!desk->given[i] &&
            (first == SIZE_MAX || m->checks[whole->findings[i].check].bedside_order <
                                      m->checks[whole->findings[first].check].bedside_order))
            first = i;
    return first;
}

/* The probability of the leading set of what is shown; negative when the engine refuses it. */
static double lead(struct desk *desk, const struct patient *patient, bool *right) {
    struct rw_error error;
    struct named leader;
    enum rw_prior_kind kind;
    if (rw_assess(&desk->shown, desk->workspace, rw_workspace_size(), &desk->answer, &error) != RW_OK)
        return -1.0;
    const double p = leading_set(&desk->answer.localisation, &leader, &kind);
    *right = is_right(patient, &leader, kind);
    return p;
}

/* Gives a third of the findings, the same in every order. */
static void give_third(const struct study *study, struct desk *desk, size_t number) {
    const size_t all = desk->whole.finding_count;
    struct stream stream = stream_open(study->seed, number, PURPOSE_PROTOCOL, 1);
    memset(desk->given, 0, sizeof desk->given);
    desk->shown.finding_count = 0;
    while (desk->shown.finding_count < all / 3) {
        const size_t i = stream_below(&stream, all);
        if (desk->given[i])
            continue;
        desk->given[i] = true;
        desk->shown.findings[desk->shown.finding_count++] = desk->whole.findings[i];
    }
}

static bool follow(struct desk *desk, const struct patient *patient, enum order order, struct outcome *out) {
    for (out->steps[order] = 0;; out->steps[order]++) {
        const double p = lead(desk, patient, &out->right[order]);
        if (p < 0.0)
            return false;
        if (p >= LEADER || desk->shown.finding_count == desk->whole.finding_count)
            return true;
        const size_t next = choose(desk, order);
        desk->given[next] = true;
        desk->shown.findings[desk->shown.finding_count++] = desk->whole.findings[next];
    }
}

static bool see_patient(const struct study *study, struct desk *desk, size_t number, struct outcome *out) {
    const struct conditions conditions = {.protocol = PROTOCOL_BEDSIDE, .outlier_times = 1.0};
    struct patient patient;
    bool right;
    draw_patient(study->priors, study->seed, number, &patient);
    examine(&patient, &conditions, study->practice, &desk->whole);
    desk->shown = desk->whole;
    const double p = lead(desk, &patient, &right);
    out->counted = p >= LEADER;
    out->left = desk->whole.finding_count - desk->whole.finding_count / 3;
    for (size_t order = 0; out->counted && order < ORDERS; order++) {
        give_third(study, desk, number);
        if (!follow(desk, &patient, (enum order)order, out))
            return false;
    }
    return p >= 0.0;
}

static int work(void *argument) {
    struct study *study = argument;
    struct desk *desk = calloc(1, sizeof *desk);
    if (desk == NULL || (desk->workspace = malloc(rw_workspace_size())) == NULL)
        study->failed = true;
    for (size_t i = study->next++; i < study->count && !study->failed; i = study->next++)
        if (!see_patient(study, desk, i, &study->outcomes[i]))
            study->failed = true;
    if (desk != NULL)
        free(desk->workspace);
    free(desk);
    return 0;
}

static void run(struct study *study) {
    thrd_t threads[MAX_THREADS];
    const long cores = sysconf(_SC_NPROCESSORS_ONLN);
    size_t started = 0;
    while (started < (size_t)(cores < 1             ? 1
                              : cores > MAX_THREADS ? MAX_THREADS
                                                    : cores) &&
           thrd_create(&threads[started], work, study) == thrd_success)
        started++;
    study->failed = study->failed || started == 0;
    for (size_t i = 0; i < started; i++)
        thrd_join(threads[i], NULL);
}

/* Prints the figures; true when information needs at most half of the checks. */
static bool report(const struct study *study) {
    static const char *const names[ORDERS] = {"in the fixed order", "by information"};
    double steps[ORDERS] = {0.0}, left = 0.0;
    size_t counted = 0, right[ORDERS] = {0}, fewer = 0, more = 0;
    for (size_t i = 0; i < study->count; i++) {
        const struct outcome *o = &study->outcomes[i];
        if (!o->counted)
            continue;
        counted++;
        left += (double)o->left;
        fewer += o->steps[BY_BITS] < o->steps[FIXED];
        more += o->steps[BY_BITS] > o->steps[FIXED];
        for (size_t order = 0; order < ORDERS; order++) {
            steps[order] += (double)o->steps[order];
            right[order] += o->right[order];
        }
    }
    printf("%zu patients; the whole bedside examination gives %zu of them a leader of %.1f\n", study->count,
           counted, LEADER);
    if (counted == 0)
        return false;
    printf("a third of it given, %.1f checks left on average\n", left / (double)counted);
    for (size_t order = 0; order < ORDERS; order++)
        printf("%-18s: a leader after %.2f checks, right in %zu\n", names[order],
               steps[order] / (double)counted, right[order]);
    printf("fewer by information in %zu, more in %zu; ratio %.3f, at most 0.5\n", fewer, more,
           steps[BY_BITS] / steps[FIXED]);
    return steps[BY_BITS] <= 0.5 * steps[FIXED];
}

int main(int argc, char **argv) {
    struct priors priors;
    struct practice practice;
    struct study study = {.priors = &priors, .practice = &practice, .seed = 20261125};
    study.count = argc > 1 ? strtoul(argv[1], NULL, 10) : 500;
    study.outcomes = calloc(study.count + 1, sizeof *study.outcomes);
    if (study.count == 0 || study.outcomes == NULL || !practice_open(&practice, "lib/knowledge/tables.tsv") ||
        !priors_open(&priors))
        return 2;
    run(&study);
    const bool passed = !study.failed && report(&study);
    puts(passed ? "passed" : "failed");
    priors_close(&priors);
    free(study.outcomes);
    return passed ? 0 : 1;
}
