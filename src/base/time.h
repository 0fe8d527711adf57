/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Times of RFC 3339. */
#ifndef TT_BASE_TIME_H
#define TT_BASE_TIME_H

#include <stdbool.h>
#include <stddef.h>

#include "tiptrue.h"

/* Seconds from 1970-01-01T00:00:00Z, leap seconds not counted, of the RFC 3339 date-time that fills
 * text[0..length) wholly: with a time zone ('Z' or an offset), 't', 'z' and a blank for 'T'
 * allowed. Exact to half a microsecond in this century. */
bool tt_time_read(const char *text, size_t length, double *seconds);

/* Seconds since midnight of the time of day "HH:MM:SS", perhaps with a fraction, that fills
 * text[0..length) wholly. */
bool tt_time_read_clock(const char *text, size_t length, double *seconds);

/* "2026-03-02T07:41:12Z" and NUL: the whole second at or before @seconds; beyond the years 0 to
 * 9999, the nearest that can be written. */
#define TT_TIME_SIZE 21
void tt_time_write(double seconds, char text[TT_TIME_SIZE]);

/* "26.4 h" into @text, which is returned. */
#define TT_HOURS_SIZE 40
const char *tt_hours(double seconds, char text[TT_HOURS_SIZE]);

/* What began later than now by more than this, in seconds, says that a clock is wrong: clocks of a
 * workshop differ by minutes. */
#define TT_CLOCK_DIFFERENCE_S 600.0

/* A time as the clock in a zone shows it. */
struct tt_local_time {
    char text[TT_TIME_SIZE]; /* "2026-03-02 08:41:12" */
    char ahead[8];           /* of UTC: "+01:00" */
    char zone[TIPTRUE_ZONE_NAME];
    long ahead_s;
};
/* @zone NULL, or without a clock: UTC. */
struct tt_local_time tt_local_time(const struct tiptrue_zone *zone, double utc_s);

#endif
