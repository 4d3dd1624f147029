/* The strength of a function, from what is left of its muscles.
 *
 * The prime movers make it, by their shares. Each of the others takes its own share of that with it when it is
 * lost: assists and substitutes, which help or feign the action and do not carry it alone, and what steadies
 * the shoulder blade or the wrist while the prime movers pull.
 *
 *   fraction = Σ share · left / Σ share  (prime movers)  ·  Π (1 − share · (1 − left))  (the others)
 *
 * The grade follows from table movement at that fraction, and no grade is reached more surely than the surest
 * of the prime movers reaches it. Expected grade, P(M3) and P(M4) are read off this one distribution. */
#ifndef RW_FUNCTIONS_H
#define RW_FUNCTIONS_H

#include "posterior.h"

enum { RW_GRADES = 6, RW_GRADE_USEFUL = 3, RW_GRADE_STRONG = 4 };

struct rw_strength {
    double prime, primes,
        others; /* Σ share · left and Σ share of the prime movers; the product of the others */
    double reaches[RW_GRADES]; /* P(a grade or better) of the surest prime mover */
};
static inline struct rw_strength rw_strength_none(void) {
    return (struct rw_strength){.others = 1.0};
}
bool rw_is_prime(const struct rw_member *member);
/* Adds a muscle of which this fraction is left, and which reaches each grade or better so surely. */
void rw_strength_add(struct rw_strength *strength, bool prime, double share, double left,
                     const double reaches[RW_GRADES]);
double rw_strength_fraction(const struct rw_strength *strength);
/* No grade is reached more surely than by the surest prime mover. */
void rw_strength_cap(const struct rw_strength *strength, double grade[RW_GRADES]);

/* P(each grade) of a table of grades at a fraction. */
void rw_grades_at(const struct rw_table *table, enum rw_spread spread, double fraction,
                  double grade[RW_GRADES]);
double rw_grade_mean(const double grade[RW_GRADES]);
double rw_grade_at_least(const double grade[RW_GRADES], size_t least);
/* P(each grade or better). */
void rw_grade_reaches(const double grade[RW_GRADES], double reaches[RW_GRADES]);

#endif
