#include "report.h"

#include <math.h>

#include "plot.h"
#include "stats.h"

enum { STRIDE = sizeof(struct score) / sizeof(double) };
_Static_assert(sizeof(struct score) % sizeof(double) == 0, "scores are read at a stride of doubles");

/* One line of the verdict. */
static void judge(struct report *report, bool good, const char *what) {
    report->faults += !good;
    fprintf(report->text, "%s: %s\n\n", good ? "ok" : "FAILED", what);
}

void report_prior(struct report *report, const struct prior_check *check) {
    fprintf(
        report->text,
        "1. The simulator draws the stated prior\n\n"
        "%zu lesions a mechanism, drawn by a program of its own, against the engine's answer to an empty\n"
        "examination: %zu shares compared; the largest difference is %.2f standard errors (%s, %s),\n"
        "p = %.3g after Bonferroni.\n",
        check->draws, check->compared, check->largest_z, rw_mechanism_name(check->mechanism), check->where,
        check->p);
    judge(report, check->p > report->least_p, "prior");
}

/* Whether the engine's likelihood of the truth is the one that the findings were drawn by. */
static void report_gap(struct report *report, const struct study *study) {
    double largest = 0;
    size_t compared = 0;
    for (size_t i = 0; i < study->count; i++) {
        const double gap = study->scores[i].likelihood_gap;
        if (isnan(gap))
            continue;
        compared++;
        largest = fmax(largest, gap);
    }
    fprintf(report->text,
            "The engine's ln P(exam | truth) against the simulator's own, where the truth is listed: %zu "
            "patients,\nlargest difference %.2g; to pass: 1e-6.\n",
            compared, largest);
    judge(report, largest <= 1e-6 && compared > 0, "likelihood");
}

/* Sections with fewer findings are too few for the normal law. */
enum { LEAST_FINDINGS = 200 };

void report_findings(struct report *report, const struct study *study) {
    static const char *const sections[RW_SECTION_COUNT] = {
#define X(name, text) text,
        RW_SECTIONS(X)
#undef X
    };
    double least = 1;
    size_t tested = 0;
    fputs("2. The findings follow the stated likelihood\n\n"
          "Mean ln P(finding | truth, world), by what the engine was told, and what it should be.\n\n"
          "  findings     mean  expected       p  section\n",
          report->text);
    for (size_t k = 0; k < RW_SECTION_COUNT; k++) {
        double count = 0, sum = 0, expected = 0, variance = 0;
        for (size_t i = 0; i < study->count; i++) {
            count += study->scores[i].findings[k].count;
            sum += study->scores[i].findings[k].log;
            expected += study->scores[i].findings[k].expected;
            variance += study->scores[i].findings[k].variance;
        }
        if (count < LEAST_FINDINGS)
            continue;
        const double p = normal_tails((sum - expected) / sqrt(variance));
        tested++;
        least = fmin(least, p);
        fprintf(report->text, "  %8.0f  %7.4f  %8.4f  %6.3g  %s\n", count, sum / count, expected / count, p,
                sections[k]);
    }
    const double corrected = fmin(1, least * (double)tested);
    fprintf(report->text, "\nLeast p times %zu sections: %.3g.\n", tested, corrected);
    judge(report, tested > 0 && corrected > report->least_p, "findings");
    report_gap(report, study);
}

static void plot_quantity(struct report *report, enum quantity q, const size_t bins[BINS], size_t count,
                          double p) {
    char path[512];
    snprintf(path, sizeof path, "%s/ranks-%s.svg", report->folder, quantity_ids[q]);
    report->broken |= !plot_ranks(path, quantity_labels[q], bins, count, p);
}

void report_ranks(struct report *report, const struct study *study) {
    double least = 1, fisher = 0;
    fprintf(report->text,
            "3. Ranks of the truth in its posterior (Talts and others 2018, arXiv:1804.06788)\n\n"
            "Uniform when the posterior is calibrated. %d bins, chi-square with %d degrees of freedom.\n\n"
            "  patients  chi-square       p  quantity\n",
            BINS, BINS - 1);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        size_t bins[BINS];
        const size_t count = histogram(&study->scores[0].rank[q], STRIDE, study->count, bins);
        const double chi = histogram_chi_square(bins), p = chi_square_tail(chi, BINS - 1);
        least = fmin(least, p);
        fisher -= 2 * log(p);
        fprintf(report->text, "  %8zu  %10.1f  %6.3g  %s\n", count, chi, p, quantity_labels[q]);
        plot_quantity(report, q, bins, count, p);
    }
    const double corrected = fmin(1, least * QUANTITY_COUNT);
    fprintf(
        report->text,
        "\nLeast p times %d quantities (Bonferroni): %.3g; fails at %.3g or less. -2 times the sum of ln p is"
        " %.1f\n(%d expected); the quantities of one patient are not independent, so it has no p of its "
        "own.\n",
        QUANTITY_COUNT, corrected, report->least_p, fisher, 2 * QUANTITY_COUNT);
    judge(report, corrected > report->least_p, "ranks");
}

void report_sets(struct report *report, const struct study *study) {
    double within = 0, plain = 0, mass = 0, size = 0, reached = 0, n = (double)study->count;
    for (size_t i = 0; i < study->count; i++) {
        const struct score *s = &study->scores[i];
        within += s->in_random_set;
        if (isnan(s->plain_mass))
            continue;
        reached++;
        plain += s->in_plain_set;
        mass += s->plain_mass;
        size += s->plain_size;
    }
    const struct interval random = wilson(within, n), set = wilson(plain, reached);
    const double slack = fmax(0.02, 3.3 * sqrt(CREDIBLE * (1 - CREDIBLE) / n));
    fprintf(
        report->text,
        "4. Credible sets of hypotheses\n\n"
        "  randomised sets of exactly %.0f %%: hold the truth in %.2f %% (95 %% interval %.2f to %.2f) of "
        "%zu;\n    to pass: within %.1f points of %.0f %%\n"
        "  smallest sets of at least %.0f %%: hold it in %.2f %% (%.2f to %.2f), stated %.2f %%, mean size "
        "%.1f;\n    of %.0f patients, whose list of at most %d hypotheses reaches %.0f %%\n",
        100 * CREDIBLE, 100 * within / n, 100 * random.low, 100 * random.high, study->count, 100 * slack,
        100 * CREDIBLE, 100 * CREDIBLE, 100 * plain / reached, 100 * set.low, 100 * set.high,
        100 * mass / reached, size / reached, reached, RW_MAX_HYPOTHESES, 100 * CREDIBLE);
    judge(report, fabs(within / n - CREDIBLE) <= slack, "coverage");
}

/* A score whose expectation the posterior states itself: how far the mean is from it. Returns p. */
static double report_expected(struct report *report, const char *what, double sum, double expected,
                              double squares, double n) {
    const double over = (sum - expected) / n, error = sqrt((squares / n - over * over) / n);
    const double p = normal_tails(over / error);
    fprintf(report->text, "  %-52s %7.4f  expected %7.4f ± %.4f  p %.3g\n", what, sum / n, expected / n,
            error, p);
    return p;
}

void report_scores(struct report *report, const struct study *study) {
    double sum[3] = {0}, expected[3] = {0}, squares[3] = {0}, n = (double)study->count, least = 1;
    static const char *const what[3] = {"Brier score over all sites, sum a patient",
                                        "Brier score of the first hypothesis",
                                        "the first hypothesis is right"};
    for (size_t i = 0; i < study->count; i++) {
        const struct score *s = &study->scores[i];
        const double right = s->leader_right ? 1 : 0, spread = s->leader * (1 - s->leader);
        const double own[3] = {s->brier_sites, (right - s->leader) * (right - s->leader), right};
        const double stated[3] = {s->brier_sites_stated, spread, s->leader};
        for (size_t k = 0; k < 3; k++) {
            sum[k] += own[k];
            expected[k] += stated[k];
            squares[k] += (own[k] - stated[k]) * (own[k] - stated[k]);
        }
    }
    fputs("5. Scores, and what the posterior itself expects them to be\n\n", report->text);
    for (size_t k = 0; k < 3; k++)
        least = fmin(least, report_expected(report, what[k], sum[k], expected[k], squares[k], n));
    fprintf(
        report->text,
        "  mean ln P(truth | exam) %.3f; the list holds %.4f of the posterior in the mean, predictions were "
        "taken\n  over %.4f\n",
        mean_of(&study->scores[0].log_probability, STRIDE, study->count).mean,
        mean_of(&study->scores[0].listed, STRIDE, study->count).mean,
        mean_of(&study->scores[0].covered, STRIDE, study->count).mean);
    judge(report, fmin(1, 3 * least) > report->least_p, "scores (least p times 3)");
}

void report_leader(struct report *report, const struct study *study) {
    enum { LEADER_BINS = 10 };
    struct reliability bins[LEADER_BINS] = {{0}};
    double merged = 0, merged_right = 0, n = (double)study->count;
    char path[512];
    for (size_t i = 0; i < study->count; i++) {
        const struct score *s = &study->scores[i];
        const size_t at = (size_t)fmin(LEADER_BINS - 1, s->leader * LEADER_BINS);
        bins[at].count++;
        bins[at].stated += s->leader;
        bins[at].right += s->leader_right;
        merged += s->merged;
        merged_right += s->merged_right;
    }
    fputs("6. The first hypothesis: stated probability, and how often it is exactly right\n\n"
          "      stated  patients    mean   right  95 % interval (Wilson)\n",
          report->text);
    for (size_t b = 0; b < LEADER_BINS; b++) {
        if (bins[b].count < 1)
            continue;
        bins[b].interval = wilson(bins[b].right, bins[b].count);
        bins[b].stated /= bins[b].count;
        bins[b].right /= bins[b].count;
        fprintf(report->text, "  %3zu to %3zu %%  %8.0f  %6.3f  %6.3f  %.3f to %.3f\n", 10 * b, 10 * b + 10,
                bins[b].count, bins[b].stated, bins[b].right, bins[b].interval.low, bins[b].interval.high);
    }
    snprintf(path, sizeof path, "%s/reliability.svg", report->folder);
    report->broken |= !plot_reliability(path, bins, LEADER_BINS);
    fprintf(report->text,
            "\nHypotheses merged by level and name: the heaviest set is right in %.1f %%; stated, as far as "
            "listed, %.1f %%.\n\n",
            100 * merged_right / n, 100 * merged / n);
}

/* ---- robustness ---- */

/* Mean of a score's difference from the first row. */
static struct moments difference(const struct row *row, const struct row *first, size_t patients,
                                 double (*of)(const struct score *)) {
    double sum = 0, squares = 0, n = (double)patients;
    for (size_t i = 0; i < patients; i++) {
        const double d = of(&row->scores[i]) - of(&first->scores[i]);
        sum += d;
        squares += d * d;
    }
    const double mean = sum / n;
    return (struct moments){n, mean, sqrt(fmax(0, squares / n - mean * mean) / n)};
}

static double right_of(const struct score *s) {
    return s->merged_right ? 1 : 0;
}

static double mean_score(const struct row *row, size_t patients, double (*of)(const struct score *)) {
    double sum = 0;
    for (size_t i = 0; i < patients; i++)
        sum += of(&row->scores[i]);
    return sum / (double)patients;
}

static double log_of(const struct score *s) {
    return s->log_probability;
}

static double within_of(const struct score *s) {
    return s->in_random_set ? 1 : 0;
}

static double brier_of(const struct score *s) {
    return s->brier_sites;
}

void report_robustness(struct report *report, const struct row *rows, size_t row_count, size_t patients) {
    fprintf(
        report->text,
        "7. When the world departs from the model\n\n"
        "%zu patients a row, the same in each; the bedside set, two months after onset. Right: the heaviest\n"
        "set of (level, name). Lost: points of that, with its standard error. Held: by the randomised 90 %% "
        "sets.\n\n"
        "  right %%        lost  ln P(truth)  held %%  Brier  departure\n",
        patients);
    for (size_t r = 0; r < row_count; r++) {
        const struct moments d = difference(&rows[r], &rows[0], patients, right_of);
        fprintf(report->text, "  %7.1f  ", 100 * mean_score(&rows[r], patients, right_of));
        if (r == 0)
            fputs("          ", report->text);
        else
            fprintf(report->text, "%5.1f ±%3.1f", 0 - 100 * d.mean, 100 * d.error);
        fprintf(report->text, "  %11.2f  %6.1f  %5.3f  %s\n", mean_score(&rows[r], patients, log_of),
                100 * mean_score(&rows[r], patients, within_of), mean_score(&rows[r], patients, brier_of),
                rows[r].label);
    }
    fputs("\n", report->text);
}

void report_verdict(struct report *report) {
    if (report->faults == 0)
        fputs("calibrate: passed\n", report->text);
    else
        fprintf(report->text, "calibrate: FAILED in %zu of 6 parts\n", report->faults);
}
