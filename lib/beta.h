/* The Beta distribution, for proportions from counts. */
#ifndef RW_BETA_H
#define RW_BETA_H

/* Regularised incomplete beta function I_x(a, b): P(X <= x) for X ~ Beta(a, b), a, b > 0. To about 1e-14. */
double rw_beta_cdf(double x, double a, double b);

/* The x with P(X <= x) = p, by bisection; within 1e-12. */
double rw_beta_quantile(double p, double a, double b);

#endif
