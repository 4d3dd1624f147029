/* e^x for the search's inner loops, written so that compilers turn a loop of it into vector code.
 *
 * x = n·ln 2 + r with |r| <= ln 2 / 2 (Cody and Waite, two-part ln 2), e^r by its Taylor polynomial of degree
 * 13 (truncation below 1e-17), scaled by 2^n through the exponent bits. Relative error below 5e-16 for −700
 * <= x <= 700; below −700 the result is 0. x must not be NAN nor above 700. */
#ifndef RW_EXP_H
#define RW_EXP_H

#include <stdint.h>
#include <string.h>

/* Loops so marked are compiled thrice and chosen when the program starts; all give the same bits, since
 * nothing is contracted. Sanitizers run before the choice is made, so they get one version. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) &&     \
    !defined(__SANITIZE_THREAD__)
#define RW_VECTOR __attribute__((target_clones("avx512f", "avx2", "default")))
#else
#define RW_VECTOR
#endif

static inline double rw_exp(double x) {
    const double shift = 0x1.8p52; /* adding it rounds to an integer held in the low bits */
    const double clamped = x < -700.0 ? -700.0 : x;
    const double t = clamped * 0x1.71547652b82fep0 + shift;
    const double n = t - shift;
    const double r = (clamped - n * 0x1.62e42fee00000p-1) - n * 0x1.a39ef35793c76p-33;
    double p = 1.0 / 6227020800.0;
    p = p * r + 1.0 / 479001600.0;
    p = p * r + 1.0 / 39916800.0;
    p = p * r + 1.0 / 3628800.0;
    p = p * r + 1.0 / 362880.0;
    p = p * r + 1.0 / 40320.0;
    p = p * r + 1.0 / 5040.0;
    p = p * r + 1.0 / 720.0;
    p = p * r + 1.0 / 120.0;
    p = p * r + 1.0 / 24.0;
    p = p * r + 1.0 / 6.0;
    p = p * r + 0.5;
    p = p * r + 1.0;
    p = p * r + 1.0;
    uint64_t bits, scale_bits;
    memcpy(&bits, &t, sizeof bits);
    scale_bits = (bits << 52) + ((uint64_t)1023 << 52);
    double scale;
    memcpy(&scale, &scale_bits, sizeof scale);
    return x < -700.0 ? 0.0 : p * scale;
}

#endif
