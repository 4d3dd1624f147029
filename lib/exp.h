/* e^x and ln x for the search's inner loops, written so that compilers turn a loop of them into vector code.
 *
 * rw_exp: x = n·ln 2 + r with |r| <= ln 2 / 2 (Cody and Waite, two-part ln 2), e^r by its Taylor polynomial
 * of degree 13 (truncation below 1e-17), scaled by 2^n through the exponent bits. Relative error below 5e-16
 * for −700
 * <= x <= 700; below −700 the result is 0. x must not be above 700.
 *
 * rw_log: x = 2^n·m with √½ <= m < √2, ln m = 2·artanh(s) with s = (m − 1)/(m + 1) by its series up to s^21
 * (truncation below 1e-17 of the whole). Relative error below 5e-16. x must be a positive, normal number. */
#ifndef RW_EXP_H
#define RW_EXP_H

#include <stdbool.h>
#include <stddef.h>
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

#define RW_LEAST_EXPONENT (-700.0)

static inline double rw_exp(double x) {
    const double shift = 0x1.8p52; /* adding it rounds to an integer held in the low bits */
    /* A mask, not a branch, so that vector code needs no select that GCC would turn back into a branch. */
    const uint64_t keep = (uint64_t)0 - (uint64_t)(x >= RW_LEAST_EXPONENT);
    uint64_t bits, scale_bits;
    memcpy(&bits, &x, sizeof bits);
    bits &= keep;
    double clamped, scale;
    memcpy(&clamped, &bits, sizeof clamped);
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
    memcpy(&bits, &t, sizeof bits);
    scale_bits = ((bits << 52) + ((uint64_t)1023 << 52)) & keep;
    memcpy(&scale, &scale_bits, sizeof scale);
    return p * scale;
}

static inline double rw_log(double x) {
    const uint64_t root_half = 0x3fe6a09e667f3bcd,
                   mantissa = 0x000fffffffffffff; /* √½; the fraction's bits */
    const uint64_t two_52 = 0x4330000000000000;   /* or-ing an integer into 2^52 makes it a double */
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    bits += 0x3ff0000000000000 - root_half; /* the exponent rises where the fraction is at or above √2 */
    const uint64_t n_bits = two_52 | bits >> 52, m_bits = (bits & mantissa) + root_half;
    double n, m;
    memcpy(&n, &n_bits, sizeof n);
    memcpy(&m, &m_bits, sizeof m);
    n -= 0x1p52 + 1023.0;
    const double f = m - 1.0, s = f / (m + 1.0), q = s * s;
    double p = 1.0 / 21.0;
    p = p * q + 1.0 / 19.0;
    p = p * q + 1.0 / 17.0;
    p = p * q + 1.0 / 15.0;
    p = p * q + 1.0 / 13.0;
    p = p * q + 1.0 / 11.0;
    p = p * q + 1.0 / 9.0;
    p = p * q + 1.0 / 7.0;
    p = p * q + 1.0 / 5.0;
    p = p * q + 1.0 / 3.0;
    /* 2s = f − s·f spares the rounding of s where it would matter: ln m = f − s·(f − 2·q·p). */
    return n * 0x1.62e42fee00000p-1 + (f - (s * (f - 2.0 * q * p) - n * 0x1.a39ef35793c76p-33));
}

/* Doubles are added and skipped in blocks of this many, so that every vector width does the same. */
enum { RW_BLOCK = 8 };

/* Whether an exponent of the block reaches `least`. */
static inline bool rw_block_reaches(const double *x, double least) {
    int64_t reaches = 0;
    for (size_t j = 0; j < RW_BLOCK; j++)
        reaches |= x[j] >= least ? -1 : 0;
    return reaches != 0;
}

static inline double rw_block_sum(const double *x) {
    return ((x[0] + x[1]) + (x[2] + x[3])) + ((x[4] + x[5]) + (x[6] + x[7]));
}

#endif
