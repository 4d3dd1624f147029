#include "functions.h"

#include <math.h>
#include <string.h>

bool rw_is_prime(const struct rw_member *member) {
    return strcmp(member->role, "prime") == 0;
}

void rw_strength_add(struct rw_strength *strength, bool prime, double share, double left,
                     const double reaches[RW_GRADES]) {
    if (!prime) {
        strength->others *= 1.0 - share * (1.0 - left);
        return;
    }
    strength->prime += share * left;
    strength->primes += share;
    for (size_t g = 0; g < RW_GRADES; g++)
        strength->reaches[g] = fmax(strength->reaches[g], reaches[g]);
}

double rw_strength_fraction(const struct rw_strength *strength) {
    return strength->primes > 0.0 ? strength->prime / strength->primes * strength->others : 0.0;
}

void rw_strength_cap(const struct rw_strength *strength, double grade[RW_GRADES]) {
    double reaches[RW_GRADES];
    rw_grade_reaches(grade, reaches);
    for (size_t g = 1; g < RW_GRADES; g++)
        reaches[g] = fmin(reaches[g], strength->reaches[g]);
    for (size_t g = 0; g < RW_GRADES; g++)
        grade[g] = reaches[g] - (g + 1 < RW_GRADES ? reaches[g + 1] : 0.0);
}

void rw_grades_at(const struct rw_table *table, enum rw_spread spread, double fraction,
                  double grade[RW_GRADES]) {
    double p[UINT8_MAX];
    rw_table_predict(table, 1.0, spread, fraction, p);
    memset(grade, 0, RW_GRADES * sizeof *grade);
    for (size_t o = 0; o < table->observation_count; o++)
        grade[table->observations[o][0] - '0'] = p[o];
}

double rw_grade_mean(const double grade[RW_GRADES]) {
    double mean = 0.0;
    for (size_t g = 1; g < RW_GRADES; g++)
        mean += (double)g * grade[g];
    return mean;
}

double rw_grade_at_least(const double grade[RW_GRADES], size_t least) {
    double p = 0.0;
    for (size_t g = least; g < RW_GRADES; g++)
        p += grade[g];
    return p;
}

void rw_grade_reaches(const double grade[RW_GRADES], double reaches[RW_GRADES]) {
    double above = 0.0;
    for (size_t g = RW_GRADES; g-- > 0;) {
        above += grade[g];
        reaches[g] = above;
    }
}
