/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* RFC 3339, section 5.6, on the proleptic Gregorian calendar. A leap second (60) is the second
 * after 59. */
#include "config.h"

#include "base/time.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/buffer.h"
#include "base/number.h"

struct reader {
    const char *at, *end;
    bool failed;
};

/* @digits decimal digits, as a number between @lowest and @highest. */
static int read_number(struct reader *reader, int digits, int lowest, int highest)
{
    int value = 0;
    for (int i = 0; i < digits; i++) {
        if (reader->at == reader->end || *reader->at < '0' || *reader->at > '9') {
            reader->failed = true;
            return lowest;
        }
        value = 10 * value + (*reader->at++ - '0');
    }
    reader->failed = reader->failed || value < lowest || value > highest;
    return value;
}

/* Whether one of the characters of @any comes next; it is passed. */
static bool pass(struct reader *reader, const char *any)
{
    for (; *any != '\0' && reader->at < reader->end; any++) {
        if (*reader->at == *any) {
            reader->at++;
            return true;
        }
    }
    return false;
}

static void expect(struct reader *reader, const char *any)
{
    if (!pass(reader, any)) {
        reader->failed = true;
    }
}

static int days_in_month(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && leap ? 29 : days[month - 1];
}

/* Days from 1970-01-01, years counted from March so that the leap day ends them. */
static long day_number(int year, int month, int day)
{
    long y = month > 2 ? year : year - 1;
    long m = month > 2 ? month - 3 : month + 9;
    return 365 * y + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 719469 +
           (y < 0 ? -1 : 0);
}

static long read_date(struct reader *reader)
{
    int year = read_number(reader, 4, 0, 9999);
    expect(reader, "-");
    int month = read_number(reader, 2, 1, 12);
    expect(reader, "-");
    int day = read_number(reader, 2, 1, 31);
    if (reader->failed || day > days_in_month(year, month)) {
        reader->failed = true;
        return 0;
    }
    return day_number(year, month, day);
}

static double read_fraction(struct reader *reader)
{
    double fraction = 0.0, place = 1.0;
    const char *first = reader->at;
    for (; reader->at < reader->end && *reader->at >= '0' && *reader->at <= '9'; reader->at++) {
        place /= 10.0;
        fraction += place * (*reader->at - '0');
    }
    reader->failed = reader->failed || reader->at == first;
    return fraction;
}

/* Seconds that the local time is ahead of UTC. */
static int read_zone(struct reader *reader)
{
    if (pass(reader, "Zz")) {
        return 0;
    }
    bool behind = reader->at < reader->end && *reader->at == '-';
    expect(reader, "+-");
    int hours = read_number(reader, 2, 0, 23);
    expect(reader, ":");
    int minutes = read_number(reader, 2, 0, 59);
    int ahead = 3600 * hours + 60 * minutes;
    return behind ? -ahead : ahead;
}

/* Whole seconds since midnight; *fraction: the rest. */
static int read_clock(struct reader *reader, double *fraction)
{
    int hour = read_number(reader, 2, 0, 23);
    expect(reader, ":");
    int minute = read_number(reader, 2, 0, 59);
    expect(reader, ":");
    int second = read_number(reader, 2, 0, 60);
    *fraction = pass(reader, ".") ? read_fraction(reader) : 0.0;
    return 3600 * hour + 60 * minute + second;
}

bool tt_time_read(const char *text, size_t length, double *seconds)
{
    struct reader reader = {text, text + length, false};
    double fraction;
    long days = read_date(&reader);
    expect(&reader, "Tt ");
    int clock = read_clock(&reader, &fraction);
    int ahead = read_zone(&reader);
    if (reader.failed || reader.at != reader.end) {
        return false;
    }
    *seconds = 86400.0 * (double)days + (clock - ahead) + fraction; /* a long may have 32 bits */
    return true;
}

bool tt_time_read_clock(const char *text, size_t length, double *seconds)
{
    struct reader reader = {text, text + length, false};
    double fraction;
    int clock = read_clock(&reader, &fraction);
    if (reader.failed || reader.at != reader.end) {
        return false;
    }
    *seconds = clock + fraction;
    return true;
}

void tt_time_write(double seconds, char text[TT_TIME_SIZE])
{
    const double day_s = 86400.0, first_s = -719528.0 * day_s, last_s = 2932896.0 * day_s + 86399.0;
    double whole = floor(fmin(fmax(seconds, first_s), last_s)), day = floor(whole / day_s);
    int of_day = (int)(whole - day * day_s);
    /* days from 0000-03-01, so that a leap day ends its year; 146097 days in 400 years (Gregorian
     * calendar) */
    long n = (long)day + 719468, era = (n >= 0 ? n : n - 146096) / 146097,
         of_era = n - era * 146097;
    long year = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
    long of_year = of_era - (365 * year + year / 4 - year / 100);
    long month = (5 * of_year + 2) / 153;
    int d = (int)(of_year - (153 * month + 2) / 5) + 1,
        m = (int)(month < 10 ? month + 3 : month - 9);
    int y = (int)(year + era * 400 + (m <= 2 ? 1 : 0));

    /* the remainders change nothing; they tell the compiler how long the text can get */
    snprintf(text, TT_TIME_SIZE, "%04u-%02u-%02uT%02u:%02u:%02uZ", (unsigned)y % 10000U,
             (unsigned)m % 100U, (unsigned)d % 100U, (unsigned)(of_day / 3600) % 100U,
             (unsigned)(of_day / 60) % 60U, (unsigned)of_day % 60U);
}

struct tt_local_time tt_local_time(const struct tiptrue_zone *zone, double utc_s)
{
    struct tt_local_time local = {.zone = "UTC"};

    if (zone != NULL && zone->ahead_s != NULL) {
        local.ahead_s = zone->ahead_s(zone->context, utc_s, local.zone);
        local.zone[TIPTRUE_ZONE_NAME - 1] = '\0';
    }
    long minutes = labs(local.ahead_s) / 60 % 6000;
    tt_time_write(utc_s + (double)local.ahead_s, local.text);
    local.text[10] = ' ';
    local.text[19] = '\0';
    snprintf(local.ahead, sizeof local.ahead, "%c%02ld:%02ld", local.ahead_s < 0 ? '-' : '+',
             minutes / 60, minutes % 60);
    return local;
}

const char *tt_hours(double seconds, char text[TT_HOURS_SIZE])
{
    struct tt_buffer buffer = {0};
    tt_number_write_rounded(&buffer, seconds / 3600.0, 2);
    snprintf(text, TT_HOURS_SIZE, "%.30s h", buffer.failed ? "?" : buffer.text);
    tt_buffer_clear(&buffer);
    return text;
}
