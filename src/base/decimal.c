/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* size = m 2^e with a whole m < 2^53. Times 10^k, k such that 17 or 18 digits stand before the
 * point, it is m 5^k 2^(e+k): the whole number m 5^k, of as many 32-bit limbs as it takes, with a
 * binary point in it. So what stands before the point and the rounding are exact. A decimal reads
 * back as @size when it is nearer than half the distance of the neighbours, which here is 5^k/2
 * and, below a power of two, 5^k/4: no difference of whole numbers equals either, and doubles tell
 * all but differences of less than MARGIN.
 */
#include "config.h"

#include "base/decimal.h"

#include <math.h>
#include <stddef.h>

#define LIMB_BITS 32
/* DBL_MIN takes k = 324: 53 + 324 log2(5) = 806 bits. Two more, so that reading 64 bits anywhere
 * stays inside. */
#define LIMBS 28
/* 5^13 is the largest power of five in a limb. */
#define STEP 13
static const uint32_t power_of_five[STEP + 1] = {1,       5,        25,        125,       625,
                                                 3125,    15625,    78125,     390625,    1953125,
                                                 9765625, 48828125, 244140625, 1220703125};

/* Units of the 17th or 18th digit. What is compared is below 1000 and known to 1e-12. */
#define MARGIN 1e-9

struct scaled {
    uint64_t whole;       /* what stands before the point */
    uint64_t fraction;    /* the first 64 bits behind it; what follows them is cut off */
    double half_distance; /* to the next larger double, in the same units */
    bool power_of_two;    /* the next smaller double is half as far away */
    int k;
};

static size_t multiply(uint32_t limbs[LIMBS], size_t n, uint32_t factor)
{
    uint64_t carry = 0;
    for (size_t i = 0; i < n; i++) {
        carry += (uint64_t)limbs[i] * factor;
        limbs[i] = (uint32_t)carry;
        carry >>= LIMB_BITS;
    }
    if (carry > 0) {
        limbs[n++] = (uint32_t)carry;
    }
    return n;
}

/* 64 bits from bit @first on. */
static uint64_t bits_from(const uint32_t limbs[LIMBS], int first)
{
    size_t i = (size_t)first / LIMB_BITS;
    int shift = first % LIMB_BITS;
    uint64_t bits = limbs[i] | (uint64_t)limbs[i + 1] << LIMB_BITS;
    return shift == 0 ? bits : bits >> shift | (uint64_t)limbs[i + 2] << (2 * LIMB_BITS - shift);
}

static struct scaled scale(double size)
{
    uint32_t limbs[LIMBS] = {0};
    struct scaled scaled;
    int binary_exponent = 0;
    uint64_t m = (uint64_t)ldexp(frexp(size, &binary_exponent), DBL_MANT_DIG);
    /* log10(2) is 0.30103 to 1e-8; at 2^±1024 that is far from deciding where the floor lies, since
     * no power of two is near one of ten, 1 aside, whose logarithm is 0 either way. */
    scaled.k = 16 - (int)floor((binary_exponent - 1) * 0.30102999566398120);
    limbs[0] = (uint32_t)m;
    limbs[1] = (uint32_t)(m >> LIMB_BITS);
    size_t n = 2;
    int left = scaled.k;
    for (; left > STEP; left -= STEP) {
        n = multiply(limbs, n, power_of_five[STEP]);
    }
    multiply(limbs, n, power_of_five[left]);
    int point = DBL_MANT_DIG - binary_exponent -
                scaled.k; /* bits behind the binary point: at least 1 below 10^15 */
    scaled.whole = bits_from(limbs, point);
    scaled.fraction =
        point >= 64 ? bits_from(limbs, point - 64) : bits_from(limbs, 0) << (64 - point);
    scaled.half_distance = (double)scaled.whole / (2.0 * (double)m);
    scaled.power_of_two = m == UINT64_C(1) << (DBL_MANT_DIG - 1);
    return scaled;
}

enum answer { NO, YES, CANNOT_TELL };

/* Whether @rounded, in the units of @scaled, reads back. */
static enum answer reads_back(const struct scaled *scaled, uint64_t rounded)
{
    double off = (double)(int64_t)(rounded - scaled->whole) - (double)scaled->fraction * 0x1p-64;
    double allowed =
        off < 0.0 && scaled->power_of_two ? scaled->half_distance / 2.0 : scaled->half_distance;
    double room = allowed - fabs(off);
    return room > MARGIN ? YES : room < -MARGIN ? NO : CANNOT_TELL;
}

/* Whether half-way between two multiples of @unit, as far as the fraction is known. */
static bool is_tie(const struct scaled *scaled, uint64_t unit)
{
    uint64_t half = unit > 1 ? 0 : UINT64_C(1) << 63;
    return 2 * (scaled->whole % unit) == (unit > 1 ? unit : 0) && scaled->fraction == half;
}

/* To the nearest multiple of @unit, a power of ten; at a tie upwards, where more is allowed. */
static uint64_t round_to(const struct scaled *scaled, uint64_t unit)
{
    uint64_t rest = scaled->whole % unit;
    bool up = unit > 1 ? 2 * rest >= unit : scaled->fraction >= UINT64_C(1) << 63;
    return scaled->whole - rest + (up ? unit : 0);
}

bool tt_decimal_shortest(double size, uint64_t *digits, int *exponent)
{
    const struct scaled scaled = scale(size);
    const uint64_t last =
        scaled.whole < UINT64_C(100000000000000000) ? 1 : 10; /* the unit of the 17th digit */
    uint64_t rounded = 0;
    enum answer answer = NO;
    for (uint64_t unit = 100 * last; answer == NO && unit >= last; unit /= 10) {
        rounded = round_to(&scaled, unit);
        answer = reads_back(&scaled, rounded);
        answer = answer == YES && is_tie(&scaled, unit) ? CANNOT_TELL : answer;
    }
    if (answer != YES) {
        return false;
    }
    *exponent = -scaled.k;
    while (rounded % 10 == 0) {
        rounded /= 10;
        ++*exponent;
    }
    *digits = rounded;
    return true;
}
