/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The part of tiptrue.h about the units of what is printed. */
#ifndef TT_TIPTRUE_UNITS_H
#define TT_TIPTRUE_UNITS_H

struct tiptrue_machine;
struct tiptrue_report;

/* The time zone that times are told in. */
#define TIPTRUE_ZONE_NAME 32
struct tiptrue_zone {
    /* Seconds that local time is ahead of UTC at @utc_s (since 1970-01-01T00:00:00Z); its name into
     * @name, NUL-terminated. */
    long (*ahead_s)(void *context, double utc_s, char name[TIPTRUE_ZONE_NAME]);
    void *context;
};

/* The unit that lengths are printed in. Small ones (uncertainties, changes) are in um beside mm, in
 * microinches beside inches. JSON is in mm always. */
enum tiptrue_units {
    TIPTRUE_UNITS_DEFAULT, /* mm */
    TIPTRUE_UNITS_MM,
    TIPTRUE_UNITS_INCH,
    TIPTRUE_UNITS_UM
};

/* The unit of the machine file. */
enum tiptrue_units tiptrue_machine_units(const struct tiptrue_machine *machine);
/* The units of lengths in what is added to @report from here on; without it mm. */
void tiptrue_report_units(struct tiptrue_report *report, enum tiptrue_units units);

#endif
