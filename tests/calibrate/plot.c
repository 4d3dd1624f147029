#include "plot.h"

#include <math.h>
#include <stdio.h>

enum { WIDTH = 640, HEIGHT = 400, LEFT = 60, RIGHT = 620, TOP = 50, BOTTOM = 340 };

static double across(double share) {
    return LEFT + share * (RIGHT - LEFT);
}

static double up(double share) {
    return BOTTOM - share * (BOTTOM - TOP);
}

static void begin(FILE *file, const char *title, const char *description) {
    fprintf(file,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" role=\"img\" "
            "aria-labelledby=\"t d\" font-family=\"sans-serif\" font-size=\"14\" fill=\"#111\">\n"
            "<title id=\"t\">%s</title>\n<desc id=\"d\">%s</desc>\n"
            "<rect width=\"%d\" height=\"%d\" fill=\"#fff\"/>\n"
            "<text x=\"%d\" y=\"28\" font-size=\"16\">%s</text>\n",
            WIDTH, HEIGHT, title, description, WIDTH, HEIGHT, LEFT, title);
}

static void axes(FILE *file, const char *below, const char *beside) {
    fprintf(file,
            "<path d=\"M%d %dV%dH%d\" fill=\"none\" stroke=\"#111\"/>\n"
            "<text x=\"%d\" y=\"%d\" text-anchor=\"middle\">%s</text>\n"
            "<text transform=\"translate(18 %d) rotate(-90)\" text-anchor=\"middle\">%s</text>\n",
            LEFT, TOP, BOTTOM, RIGHT, (LEFT + RIGHT) / 2, HEIGHT - 16, below, (TOP + BOTTOM) / 2, beside);
    for (int tick = 0; tick <= 10; tick += 2)
        fprintf(file, "<text x=\"%.1f\" y=\"%d\" text-anchor=\"middle\">%.1f</text>\n", across(tick / 10.0),
                BOTTOM + 20, tick / 10.0);
}

static bool finish(FILE *file) {
    fputs("</svg>\n", file);
    const bool good = !ferror(file);
    return fclose(file) == 0 && good;
}

bool plot_ranks(const char *path, const char *label, const size_t bins[BINS], size_t count, double p) {
    const struct interval band = binomial_band(count, 1.0 / BINS);
    const double expected = (double)count / BINS;
    double most = band.high;
    char title[160], description[320];
    FILE *file = fopen(path, "w");
    if (file == NULL)
        return false;
    for (size_t b = 0; b < BINS; b++)
        most = fmax(most, (double)bins[b]);
    most *= 1.08;
    snprintf(title, sizeof title, "Ranks: %s", label);
    snprintf(description, sizeof description,
             "Histogram of %zu ranks in %d bins. A calibrated posterior gives %.0f in each; 99 of 100 bars "
             "keep to the band from %.0f to %.0f. Chi-square p = %.3g.",
             count, BINS, expected, band.low, band.high, p);
    begin(file, title, description);
    fprintf(file, "<rect x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%.1f\" fill=\"#ddd\"/>\n", LEFT,
            up(band.high / most), RIGHT - LEFT, up(band.low / most) - up(band.high / most));
    for (size_t b = 0; b < BINS; b++)
        fprintf(file,
                "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"#1f5a96\" "
                "fill-opacity=\".75\"><title>%zu</title></rect>\n",
                across((double)b / BINS) + 1, up((double)bins[b] / most), across(1.0 / BINS) - LEFT - 2,
                BOTTOM - up((double)bins[b] / most), bins[b]);
    fprintf(file,
            "<path d=\"M%d %.1fH%d\" stroke=\"#111\" stroke-dasharray=\"5 4\"/>\n"
            "<path d=\"M%d %.1fH%dM%d %.1fH%d\" stroke=\"#111\" stroke-width=\".7\"/>\n",
            LEFT, up(expected / most), RIGHT, LEFT, up(band.high / most), RIGHT, LEFT, up(band.low / most),
            RIGHT);
    const double marks[] = {band.low, expected, band.high};
    for (size_t i = 0; i < sizeof marks / sizeof *marks; i++)
        fprintf(file, "<text x=\"%d\" y=\"%.1f\" text-anchor=\"end\">%.0f</text>\n", LEFT - 6,
                up(marks[i] / most) + 5, marks[i]);
    fprintf(file, "<text x=\"%d\" y=\"28\" text-anchor=\"end\">p = %.3g</text>\n", RIGHT, p);
    axes(file, "rank of the truth in the posterior", "patients");
    return finish(file);
}

bool plot_reliability(const char *path, const struct reliability *bins, size_t count) {
    FILE *file = fopen(path, "w");
    if (file == NULL)
        return false;
    begin(file, "How often the first hypothesis is right",
          "Share of patients in whom the first hypothesis is exactly the truth, against its stated "
          "probability, in ten bins, with 95 % Wilson intervals and the number of patients. A calibrated "
          "posterior keeps to the diagonal.");
    fprintf(file, "<path d=\"M%d %dL%d %d\" stroke=\"#111\" stroke-dasharray=\"5 4\"/>\n", LEFT, BOTTOM,
            RIGHT, TOP);
    for (size_t b = 0; b < count; b++) {
        if (bins[b].count < 1)
            continue;
        const double x = across(bins[b].stated);
        fprintf(file,
                "<path d=\"M%.1f %.1fV%.1f\" stroke=\"#1f5a96\" stroke-width=\"2\"/>"
                "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4\" fill=\"#1f5a96\"/>"
                "<text x=\"%.1f\" y=\"%.1f\" font-size=\"12\" text-anchor=\"middle\">%.0f</text>\n",
                x, up(bins[b].interval.low), up(bins[b].interval.high), x, up(bins[b].right), x,
                up(bins[b].interval.high) - 5, bins[b].count);
    }
    for (int tick = 0; tick <= 10; tick += 2)
        fprintf(file, "<text x=\"%d\" y=\"%.1f\" text-anchor=\"end\">%.1f</text>\n", LEFT - 6,
                up(tick / 10.0) + 5, tick / 10.0);
    axes(file, "stated probability of the first hypothesis", "share in whom it is right");
    return finish(file);
}
