#include "draw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* ---- random numbers ---- */

/* splitmix64: Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA 2014 */
static uint64_t splitmix(uint64_t *state) {
    uint64_t z = *state += 0x9e3779b97f4a7c15u;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

struct stream stream_open(uint64_t seed, uint64_t patient, enum purpose purpose, uint64_t item) {
    const uint64_t name[] = {seed, patient, (uint64_t)purpose, item};
    uint64_t mixed = 0;
    struct stream stream;
    for (size_t i = 0; i < sizeof name / sizeof *name; i++) {
        mixed ^= name[i];
        mixed = splitmix(&mixed);
    }
    for (size_t i = 0; i < 4; i++)
        stream.state[i] = splitmix(&mixed);
    return stream;
}

static uint64_t rotate(uint64_t x, unsigned by) {
    return x << by | x >> (64 - by);
}

/* xoshiro256**: Blackman and Vigna, Scrambled linear pseudorandom number generators, ACM TOMS 2021 */
static uint64_t next(struct stream *stream) {
    uint64_t *s = stream->state;
    const uint64_t result = rotate(s[1] * 5, 7) * 9, shifted = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= shifted;
    s[3] = rotate(s[3], 45);
    return result;
}

double stream_uniform(struct stream *stream) {
    return (double)(next(stream) >> 11) * 0x1p-53;
}

/* Box and Muller 1958 */
double stream_normal(struct stream *stream) {
    const double radius = sqrt(-2 * log(1 - stream_uniform(stream)));
    return radius * cos(2 * 3.14159265358979323846 * stream_uniform(stream));
}

size_t stream_below(struct stream *stream, size_t limit) {
    return (size_t)(stream_uniform(stream) * (double)limit);
}

size_t stream_pick(struct stream *stream, const double *weight, size_t count) {
    double total = 0, upto = 0;
    for (size_t i = 0; i < count; i++)
        total += weight[i];
    const double at = stream_uniform(stream) * total;
    size_t last = 0; /* with a weight: where rounding lets the sum end short of `at` */
    for (size_t i = 0; i < count; i++) {
        upto += weight[i];
        if (weight[i] > 0)
            last = i;
        if (at < upto)
            return i;
    }
    return last;
}

/* ---- the prior ---- */

enum roots { NO_ROOT, ONE_ROOT, ANY_ROOTS };
static const struct {
    enum roots roots;
    size_t further;
} shapes[RW_PRIOR_KIND_COUNT] = {
    [RW_PRIOR_ROOTS] = {ANY_ROOTS, 0},
    [RW_PRIOR_SINGLE] = {NO_ROOT, 1},
    [RW_PRIOR_PAIR] = {NO_ROOT, 2},
    [RW_PRIOR_TRIPLE] = {NO_ROOT, 3},
    [RW_PRIOR_ROOTS_AND_ONE] = {ANY_ROOTS, 1},
    [RW_PRIOR_ROOT_AND_TWO] = {ONE_ROOT, 2},
};

/* By how much the prior of a hypothesis departs from a product of its roots' and its further sites' own. */
static double dependence(const struct oracle *oracle, const struct oracle_hypothesis *h, bool roots) {
    struct oracle_hypothesis alone = *h;
    double product = 1;
    alone.further_count = 0;
    for (size_t i = 0; i < h->further_count; i++)
        product *= oracle->prior->site[h->further[i].site][h->further[i].severity];
    return oracle_prior(oracle, h) / (product * (roots ? oracle_prior(oracle, &alone) : 1));
}

/* Largest dependence over all sets that add `more` of the first `limit` further sites to `h`. Severities and
 * states do not matter to it; draw_shape sees to that. */
static double most_dependence(const struct oracle *oracle, const struct oracle_hypothesis *h, bool roots,
                              size_t more, size_t limit) {
    double most = 0;
    if (more == 0)
        return dependence(oracle, h, roots);
    for (size_t i = 0; i < limit; i++) {
        struct oracle_hypothesis next = *h;
        next.further[next.further_count++] = (struct rw_lesion){oracle->further_sites[i], RW_PARTIAL};
        most = fmax(most, most_dependence(oracle, &next, roots, more - 1, i));
    }
    return most;
}

static bool has_roots(enum roots roots, size_t mask) {
    return roots == NO_ROOT ? mask == 0 : mask != 0 && (roots == ANY_ROOTS || (mask & (mask - 1)) == 0);
}

static void bound(struct prior *prior, enum rw_prior_kind kind) {
    const enum roots roots = shapes[kind].roots;
    for (size_t mask = 0; mask < 1 << RW_PLEXUS_ROOTS; mask++) {
        struct oracle_hypothesis h = {0};
        if (!has_roots(roots, mask))
            continue;
        for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
            h.states[root] = (mask >> root & 1) != 0 ? RW_ROOT_PRE_PARTIAL : RW_ROOT_INTACT;
        prior->most[kind] =
            fmax(prior->most[kind], most_dependence(&prior->oracle, &h, roots != NO_ROOT,
                                                    shapes[kind].further, prior->oracle.further_count));
    }
}

bool priors_open(struct priors *priors) {
    struct rw_exam *exam = calloc(1, sizeof *exam);
    bool good = exam != NULL;
    *priors = (struct priors){0};
    for (size_t m = 0; good && m < RW_MECHANISM_COUNT; m++) {
        struct prior *prior = priors->by_mechanism[m] = calloc(1, sizeof *prior);
        good = prior != NULL;
        exam->mechanism = (enum rw_mechanism)m;
        if (good)
            oracle_prepare(&prior->oracle, exam);
        for (size_t kind = 0; good && kind < RW_PRIOR_KIND_COUNT; kind++)
            if (shapes[kind].further > 0)
                bound(prior, (enum rw_prior_kind)kind);
    }
    free(exam);
    return good;
}

void priors_close(struct priors *priors) {
    for (size_t m = 0; m < RW_MECHANISM_COUNT; m++)
        free(priors->by_mechanism[m]);
}

static size_t draw_mask(struct stream *stream, const struct rw_prior *prior, enum roots roots) {
    double weight[1 << RW_PLEXUS_ROOTS] = {0};
    for (size_t mask = 1; mask < 1 << RW_PLEXUS_ROOTS; mask++)
        if (has_roots(roots, mask))
            weight[mask] = prior->pattern[mask];
    return stream_pick(stream, weight, 1 << RW_PLEXUS_ROOTS);
}

/* What two neighbouring roots, both injured, add to C(r). */
static double agreement(const struct rw_prior *prior, size_t a, size_t b) {
    static const bool complete[RW_ROOT_STATES] = {
        [RW_ROOT_PRE_COMPLETE] = true,
        [RW_ROOT_PROXIMAL_COMPLETE] = true,
        [RW_ROOT_DISTAL_COMPLETE] = true,
        [RW_ROOT_DOUBLE] = true,
    };
    static const char level[RW_ROOT_STATES + 1] =
        "-ppxxddp"; /* intact, torn, proximal, distal, double: torn */
    return (complete[a] == complete[b] ? prior->agree_complete : 1) *
           (level[a] == level[b] ? prior->agree_level : 1);
}

static double link(const struct rw_prior *prior, size_t a, size_t b) {
    return a != RW_ROOT_INTACT && b != RW_ROOT_INTACT ? agreement(prior, a, b) : 1;
}

/* States in proportion to C(r) within a mask. The roots form a chain: what lies beyond each root is summed
 * from T1 upwards, then states are drawn from C5 downwards. */
static void draw_states(struct stream *stream, const struct rw_prior *prior, size_t mask,
                        uint8_t states[RW_PLEXUS_ROOTS]) {
    double own[RW_PLEXUS_ROOTS][RW_ROOT_STATES] = {{0}}, beyond[RW_PLEXUS_ROOTS][RW_ROOT_STATES];
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        for (size_t s = 0; s < RW_ROOT_STATES; s++)
            own[root][s] = (mask >> root & 1) != 0 ? (s != RW_ROOT_INTACT ? prior->state[root][s] : 0)
                                                   : (s == RW_ROOT_INTACT ? 1 : 0);
    for (size_t root = RW_PLEXUS_ROOTS; root-- > 0;)
        for (size_t s = 0; s < RW_ROOT_STATES; s++) {
            beyond[root][s] = root + 1 == RW_PLEXUS_ROOTS ? 1 : 0;
            for (size_t t = 0; root + 1 < RW_PLEXUS_ROOTS && t < RW_ROOT_STATES; t++)
                beyond[root][s] += own[root + 1][t] * link(prior, s, t) * beyond[root + 1][t];
        }
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        double weight[RW_ROOT_STATES];
        for (size_t s = 0; s < RW_ROOT_STATES; s++)
            weight[s] = own[root][s] * beyond[root][s] * (root > 0 ? link(prior, states[root - 1], s) : 1);
        states[root] = (uint8_t)stream_pick(stream, weight, RW_ROOT_STATES);
    }
}

static struct rw_lesion draw_further(struct stream *stream, const struct oracle *oracle) {
    double weight[2 * RW_MAX_SITES];
    for (size_t i = 0; i < oracle->further_count; i++)
        for (size_t s = 0; s < 2; s++)
            weight[2 * i + s] = oracle->prior->site[oracle->further_sites[i]][RW_PARTIAL + s];
    const size_t at = stream_pick(stream, weight, 2 * oracle->further_count);
    return (struct rw_lesion){oracle->further_sites[at / 2], (uint8_t)(RW_PARTIAL + at % 2)};
}

/* Draws a shape from a product of roots and sites alone; false where their dependence refuses it. */
static bool draw_shape(struct stream *stream, const struct prior *prior, enum rw_prior_kind kind,
                       struct oracle_hypothesis *h) {
    const struct oracle *oracle = &prior->oracle;
    const enum roots roots = shapes[kind].roots;
    *h = (struct oracle_hypothesis){.further_count = shapes[kind].further};
    if (roots != NO_ROOT)
        draw_states(stream, oracle->prior, draw_mask(stream, oracle->prior, roots), h->states);
    for (size_t i = 0; i < h->further_count; i++) {
        h->further[i] = draw_further(stream, oracle);
        for (size_t j = 0; j < i; j++)
            if (h->further[i].site == h->further[j].site)
                return false;
    }
    if (h->further_count == 0)
        return true;
    const double share = dependence(oracle, h, roots != NO_ROOT) / prior->most[kind];
    if (share > 1 + 1e-9) {
        fputs("calibrate: sites depend on each other in a way that the simulator does not know\n", stderr);
        abort();
    }
    return stream_uniform(stream) < share;
}

/* Each site independently with the probability of its odds; false where the set has a size that the space
 * does not hold. Given its size the set then has the stated weight. */
static bool draw_scattered(struct stream *stream, const struct oracle *oracle, struct oracle_hypothesis *h) {
    *h = (struct oracle_hypothesis){0};
    for (size_t i = 0; i < oracle->scatter_count; i++) {
        const uint8_t site = oracle->scatter_sites[i];
        const double *odds = oracle->prior->scattered[site];
        const double weight[] = {1, odds[RW_PARTIAL], odds[RW_COMPLETE]};
        const size_t severity = stream_pick(stream, weight, 3);
        if (severity == RW_INTACT)
            continue;
        if (h->further_count == RW_MAX_SCATTER)
            return false;
        h->further[h->further_count++] = (struct rw_lesion){site, (uint8_t)severity};
    }
    return h->further_count >= RW_MIN_SCATTER;
}

void draw_hypothesis(struct stream *stream, const struct prior *prior, struct oracle_hypothesis *out) {
    const enum rw_prior_kind kind =
        (enum rw_prior_kind)stream_pick(stream, prior->oracle.prior->kind, RW_PRIOR_KIND_COUNT);
    *out = (struct oracle_hypothesis){.outside = kind == RW_PRIOR_OUTSIDE};
    if (kind == RW_PRIOR_NONE || kind == RW_PRIOR_OUTSIDE)
        return;
    if (kind == RW_PRIOR_SCATTERED)
        while (!draw_scattered(stream, &prior->oracle, out))
            continue;
    else
        while (!draw_shape(stream, prior, kind, out))
            continue;
}

void draw_patient(const struct priors *priors, uint64_t seed, uint64_t number, struct patient *out) {
    const struct rw_model *model = rw_model();
    struct stream stream = stream_open(seed, number, PURPOSE_LESION, 0);
    double prevalence[RW_MAX_SITES];
    *out = (struct patient){.seed = seed, .number = number};
    out->mechanism = (enum rw_mechanism)stream_below(&stream, RW_MECHANISM_COUNT);
    draw_hypothesis(&stream, priors->by_mechanism[out->mechanism], &out->truth);
    out->oracle = &priors->by_mechanism[out->mechanism]->oracle;
    oracle_severities(out->oracle, &out->truth, out->severity);
    for (size_t v = 0; v < model->variant_count; v++)
        prevalence[v] = model->variants[v].prevalence;
    out->variant = stream_pick(&stream, prevalence, model->variant_count);
    out->depth = stream_pick(&stream, out->oracle->depth_share, ORACLE_DEPTHS);
}
