/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The digest that a file is known by: XXH64 (Y. Collet, the xxHash algorithm description, seed 0).
 * It takes 32 bytes at a time in four independent lanes; a digest that takes byte after byte waits
 * for a multiplication at each, which for a log of 98 rows was as long as reading its numbers.
 */
#include "config.h"

#include "base/digest.h"

#include <stdint.h>

#define LANES 4
#define STRIPE (8 * LANES) /* bytes */

static const uint64_t prime[] = {UINT64_C(0x9E3779B185EBCA87), UINT64_C(0xC2B2AE3D27D4EB4F),
                                 UINT64_C(0x165667B19E3779F9), UINT64_C(0x85EBCA77C2B2AE63),
                                 UINT64_C(0x27D4EB2F165667C5)};

static uint64_t rotated(uint64_t word, unsigned bits)
{
    return word << bits | word >> (64 - bits);
}

/* Four bytes, the lowest first on any machine. */
static uint64_t read_4(const unsigned char *at)
{
    return (uint64_t)at[0] | (uint64_t)at[1] << 8 | (uint64_t)at[2] << 16 | (uint64_t)at[3] << 24;
}

static uint64_t read_8(const unsigned char *at)
{
    return read_4(at) | read_4(at + 4) << 32;
}

static uint64_t stirred(uint64_t lane, uint64_t word)
{
    return rotated(lane + word * prime[1], 31) * prime[0];
}

/* All whole stripes from *at on; it is moved behind them. */
static uint64_t mix_stripes(const unsigned char **at, const unsigned char *end)
{
    static const unsigned turns[LANES] = {1, 7, 12, 18};
    uint64_t lanes[LANES] = {prime[0] + prime[1], prime[1], 0, 0 - prime[0]};
    for (; end - *at >= STRIPE; *at += STRIPE) {
        for (size_t i = 0; i < LANES; i++) {
            lanes[i] = stirred(lanes[i], read_8(*at + 8 * i));
        }
    }
    uint64_t hash = 0;
    for (size_t i = 0; i < LANES; i++) {
        hash += rotated(lanes[i], turns[i]);
    }
    for (size_t i = 0; i < LANES; i++) {
        hash = (hash ^ stirred(0, lanes[i])) * prime[0] + prime[3];
    }
    return hash;
}

/* The less than 32 bytes that are left. */
static uint64_t mix_rest(uint64_t hash, const unsigned char *at, const unsigned char *end)
{
    for (; end - at >= 8; at += 8) {
        hash = rotated(hash ^ stirred(0, read_8(at)), 27) * prime[0] + prime[3];
    }
    if (end - at >= 4) {
        hash = rotated(hash ^ read_4(at) * prime[0], 23) * prime[1] + prime[2];
        at += 4;
    }
    for (; at < end; at++) {
        hash = rotated(hash ^ *at * prime[4], 11) * prime[0];
    }
    return hash;
}

void tt_digest(const char *text, size_t length, char digest[17])
{
    const unsigned char *at = (const unsigned char *)text, *end = at + length;
    uint64_t hash = length >= STRIPE ? mix_stripes(&at, end) : prime[4];
    hash = mix_rest(hash + length, at, end);
    hash = (hash ^ hash >> 33) * prime[1];
    hash = (hash ^ hash >> 29) * prime[2];
    hash ^= hash >> 32;
    for (int i = 15; i >= 0; i--) {
        digest[i] = "0123456789abcdef"[hash & 15];
        hash >>= 4;
    }
    digest[16] = '\0';
}
