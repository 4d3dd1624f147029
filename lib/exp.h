/* e^x and ln x for the search's inner loops, written so that compilers turn a loop of them into vector code.
 *
 * rw_exp: x = n·ln 2 + r with |r| <= ln 2 / 2 (Cody and Waite, two-part ln 2), e^r by its Taylor polynomial
 * of degree 13 (truncation below 1e-17), scaled by 2^n through the exponent bits. Relative error below 5e-16
 * for −700 <= x <= 700; below −700 the result is 0. x must not be above 700.
 *
 * rw_log: x = 2^n·m with √½ <= m < √2, ln m = 2·artanh(s) with s = (m − 1)/(m + 1) by its series up to s^21
 * (truncation below 1e-17 of the whole). Relative error below 5e-16 for positive, normal x; of 0 it makes a
 * finite number. */
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

/* For what such loops are made of: compiled with them, once for each width. */
#if defined(__GNUC__)
#define RW_INLINE static inline __attribute__((always_inline))
#else
#define RW_INLINE static inline
#endif

#define RW_LEAST_EXPONENT (-700.0)

/* e^x, and 0 where x is below `least`, which is RW_LEAST_EXPONENT or more. */
RW_INLINE double rw_exp_above(double x, double least) {
    const double shift = 0x1.8p52; /* adding it rounds to an integer held in the low bits */
    /* A mask, not a branch, so that vector code needs no select that GCC would turn back into a branch. */
    const uint64_t keep = (uint64_t)0 - (uint64_t)(x >= least);
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

RW_INLINE double rw_exp(double x) {
    return rw_exp_above(x, RW_LEAST_EXPONENT);
}

RW_INLINE double rw_log(double x) {
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

/* Rows are padded to whole blocks, so that loops have no tail and every vector width does the same. */
enum { RW_BLOCK = 8 };

RW_INLINE size_t rw_round_up(size_t count) {
    return (count + RW_BLOCK - 1) / RW_BLOCK * RW_BLOCK;
}

/* A count that is whole blocks, said so that the compiler leaves out the tails. */
RW_INLINE size_t rw_whole(size_t count) {
    return count & ~(size_t)(RW_BLOCK - 1);
}

/* Whether a number of the block reaches `least`. Spelt in vectors: GCC 12 makes single comparisons of a loop.
 */
RW_INLINE bool rw_block_reaches(const double *x, double least) {
    typedef double half __attribute__((vector_size(RW_BLOCK / 2 * sizeof(double))));
    typedef int64_t hits __attribute__((vector_size(RW_BLOCK / 2 * sizeof(int64_t))));
    half low, high;
    memcpy(&low, x, sizeof low);
    memcpy(&high, x + RW_BLOCK / 2, sizeof high);
    const hits hit = (hits)(low >= least) | (hits)(high >= least);
    return ((hit[0] | hit[1]) | (hit[2] | hit[3])) != 0;
}

/* The sum of whole blocks. */
RW_INLINE double rw_sum(size_t count, const double *x) {
    double sum[RW_BLOCK] = {0};
    for (size_t i = 0; i < rw_whole(count); i += RW_BLOCK)
        for (size_t j = 0; j < RW_BLOCK; j++)
            sum[j] += x[i + j];
    return ((sum[0] + sum[1]) + (sum[2] + sum[3])) + ((sum[4] + sum[5]) + (sum[6] + sum[7]));
}

#endif
