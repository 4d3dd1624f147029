/* rw_exp and rw_log against the C library in long double. */
#include <criterion/criterion.h>
#include <math.h>

#include "exp.h"

enum { STEPS = 1000003 };
static const double tolerance = 5e-16;

static double relative_error(double got, long double right) {
    return (double)fabsl(((long double)got - right) / right);
}

Test(exp, exponential_is_right_to_the_last_bits) {
    double worst = 0.0;
    for (int i = 0; i <= STEPS; i++) {
        const double x = -700.0 + 1400.0 * i / STEPS;
        worst = fmax(worst, relative_error(rw_exp(x), expl((long double)x)));
    }
    cr_assert_lt(worst, tolerance, "worst relative error %g", worst);
    cr_assert_eq(rw_exp(0.0), 1.0);
}

Test(exp, exponential_is_zero_below_its_range) {
    cr_assert_gt(rw_exp(RW_LEAST_EXPONENT), 0.0);
    cr_assert_eq(rw_exp(nextafter(RW_LEAST_EXPONENT, -1e9)), 0.0);
    cr_assert_eq(rw_exp(-1e300), 0.0);
    cr_assert_eq(rw_exp(-(double)INFINITY), 0.0);
    cr_assert_gt(rw_exp_above(-50.0, -50.0), 0.0);
    cr_assert_eq(rw_exp_above(-50.1, -50.0), 0.0);
}

Test(exp, logarithm_is_right_to_the_last_bits) {
    double worst = 0.0;
    for (int i = 1; i < STEPS; i++) {
        const double share = (double)i / STEPS;
        const double at[] = {share,       1.0 - 1e-3 * share,  1.0 + 1e-3 * share,
                             0.5 + share, exp(-700.0 * share), exp(700.0 * share)};
        for (size_t k = 0; k < sizeof at / sizeof at[0]; k++)
            worst = fmax(worst, relative_error(rw_log(at[k]), logl((long double)at[k])));
    }
    cr_assert_lt(worst, tolerance, "worst relative error %g", worst);
    cr_assert_eq(rw_log(1.0), 0.0);
    cr_assert(isfinite(rw_log(0.0)));
}

Test(exp, blocks_are_summed_and_searched_whole) {
    double x[2 * RW_BLOCK];
    for (size_t i = 0; i < 2 * RW_BLOCK; i++)
        x[i] = (double)i;
    cr_assert_eq(rw_sum(2 * RW_BLOCK, x), RW_BLOCK * (2.0 * RW_BLOCK - 1.0));
    cr_assert_eq(rw_round_up(RW_BLOCK + 1), 2u * RW_BLOCK);
    for (size_t i = 0; i < RW_BLOCK; i++) {
        double block[RW_BLOCK] = {0};
        block[i] = 1.0;
        cr_assert(rw_block_reaches(block, 1.0));
        cr_assert_not(rw_block_reaches(block, 1.5));
    }
}
