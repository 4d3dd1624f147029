/* log2 x for inner loops, written so that compilers turn a loop of it into vector code (see exp.h).
 *
 * x = 2^e · m with 0.7071 <= m < 1.4143, and ln m = 2 · artanh f, f = (m − 1)/(m + 1), by its power series:
 * |f| < 0.1716, so that eleven terms leave less than 1e-17. Absolute error below 1e-15 for normal x in (0,
 * 1]; of 0 it makes a finite number, so that x · log2 x is 0 there as it should be. */
#ifndef RW_LOG2_H
#define RW_LOG2_H

#include <stdint.h>
#include <string.h>

static inline double rw_log2(double x) {
    const uint64_t root_half = UINT64_C(0x3fe6a09e667f3bcd), one = UINT64_C(0x3ff0000000000000);
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    const uint64_t biased = (bits + (one - root_half)) >> 52; /* e + 1023 */
    bits = bits - (biased << 52) + one;
    const uint64_t as_integer = biased | UINT64_C(0x4330000000000000); /* 2^52 + e + 1023 */
    double m, e;
    memcpy(&m, &bits, sizeof m);
    memcpy(&e, &as_integer, sizeof e);
    e -= 0x1p52 + 1023.0;
    const double f = (m - 1.0) / (m + 1.0), s = f * f;
    double p = 1.0 / 21.0;
    p = p * s + 1.0 / 19.0;
    p = p * s + 1.0 / 17.0;
    p = p * s + 1.0 / 15.0;
    p = p * s + 1.0 / 13.0;
    p = p * s + 1.0 / 11.0;
    p = p * s + 1.0 / 9.0;
    p = p * s + 1.0 / 7.0;
    p = p * s + 1.0 / 5.0;
    p = p * s + 1.0 / 3.0;
    p = p * s + 1.0;
    return e + 2.0 * f * p * 0x1.71547652b82fep0; /* 1 / ln 2 */
}

#endif
