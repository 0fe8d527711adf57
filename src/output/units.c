/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See units.h. An inch is 25.4 mm exactly (NIST SP 811, B.6). Small lengths in inches are
 * microinches: a thousandth of an inch is "mil" to some, and "mil" is millimetre to others. */
#include "config.h"

#include "output/units.h"

#include <ctype.h>
#include <string.h>

#include "base/number.h"
#include "model/frames.h"
#include "output/page.h"

#define TIED "\xc2\xa0"
#define MOST_LISTED 4 /* numbers before one unit */

#define UIN "\xc2\xb5in"
#define PER_MM "per millimetre"
#define SLOPE "mm/m", 1, 0, "tens of micrometres", PER_MM
#define MM                                                                                         \
    {                                                                                              \
        "mm", TT_UM, "mm", 1, 1000, 4, 0, SLOPE                                                    \
    }

static const struct tt_units UNITS[] = {
    [TIPTRUE_UNITS_DEFAULT] = MM,
    [TIPTRUE_UNITS_MM] = MM,
    [TIPTRUE_UNITS_INCH] = {"in", UIN, "inch", 1 / TT_MM_PER_INCH, 1e6 / TT_MM_PER_INCH, 5, 2,
                            UIN "/in", 1000, 3, "a thousandth of an inch", "per inch"},
    [TIPTRUE_UNITS_UM] = {TT_UM, TT_UM, "um", 1000, 1000, 1, 0, SLOPE},
};

const struct tt_units *tt_units_of(enum tiptrue_units chosen)
{
    return &UNITS[chosen];
}

const struct tt_units *tt_units_or_mm(const struct tt_units *units)
{
    return units != NULL ? units : &UNITS[TIPTRUE_UNITS_MM];
}

/* As fine as it was, whatever the unit: 0.1 mm is 0.0039 in, 0.0001 mm is 0.1 um. */
int tt_units_length_decimals(const struct tt_units *units, int decimals)
{
    int more = units->decimals - 4 + (units->decimals > 4 && decimals < 4);

    return decimals + more > 0 ? decimals + more : 0;
}

int tt_units_small_decimals(const struct tt_units *units, int decimals)
{
    return decimals > units->small_drop ? decimals - units->small_drop : 0;
}

/* ---- sentences ---- */

struct number {
    const char *from, *to; /* its digits, without the sign */
    int decimals;
    bool marked; /* a sign or an opening parenthesis stands before it */
};

static bool starts(const char *text, const char *with)
{
    return strncmp(text, with, strlen(with)) == 0;
}

/* Bytes of one space, tied or not; 0 = there is none. */
static size_t space(const char *s)
{
    return *s == ' ' ? 1 : starts(s, TIED) ? strlen(TIED) : 0;
}

/* Bytes of a sign at @s. */
static size_t sign(const char *s)
{
    return *s == '+' || *s == '-' ? 1 : starts(s, TT_MINUS) ? strlen(TT_MINUS) : 0;
}

/* Reads the digits at @s; false: there are none. */
static bool read_number(const char *s, struct number *number)
{
    size_t whole = strspn(s, "0123456789"), rest = 0;

    if (whole == 0) {
        return false;
    }
    if (s[whole] == '.' && isdigit((unsigned char)s[whole + 1])) {
        rest = strspn(s + whole + 1, "0123456789");
    }
    number->from = s;
    number->to = s + whole + (rest > 0 ? rest + 1 : 0);
    number->decimals = (int)rest;
    return true;
}

/* What separates two numbers of one unit, at @s: its bytes; *loose: it separates other things too.
 */
static size_t separator(const char *s, bool *loose)
{
    static const struct {
        const char *text;
        bool loose;
    } WORDS[] = {{" to ", false},  {" " TT_PLUS_MINUS " ", false},
                 {" +- ", false},  {", ", true},
                 {"," TIED, true}, {" and ", true}};

    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        if (starts(s, WORDS[i].text)) {
            *loose = WORDS[i].loose;
            return strlen(WORDS[i].text);
        }
    }
    return 0;
}

enum unit { NO_UNIT, LENGTH, SMALL, SLOPES };

static const struct {
    const char *text;
    enum unit unit;
} WORDS[] = {{"mm/m", SLOPES}, {"mm", LENGTH}, {TT_UM, SMALL}, {"um", SMALL}};

/* The unit that @s begins with; *to: where it ends. */
static enum unit unit_word(const char *s, const char **to)
{
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        *to = s + strlen(WORDS[i].text);
        if (starts(s, WORDS[i].text) && !isalnum((unsigned char)**to)) {
            return WORDS[i].unit;
        }
    }
    return NO_UNIT;
}

/* The unit at @s, behind a space and perhaps a closing parenthesis; *from and *to: where it is. */
static enum unit unit_at(const char *s, const char **from, const char **to)
{
    s += *s == ')';
    *from = s + space(s);
    enum unit unit = *from > s ? unit_word(*from, to) : NO_UNIT;
    return unit != NO_UNIT && !starts(*to, "\xc2\xb2") ? unit : NO_UNIT;
}

/* A number, or several, with a unit behind. */
struct quantity {
    struct number numbers[MOST_LISTED];
    size_t n;
    enum unit unit;
    const char *unit_from, *end;
};

/* Whether the last two numbers, parted by a comma or 'and', may be of one unit: printed alike, and
 * not as counts or lines are. */
static bool are_alike(const struct quantity *q)
{
    const struct number *a = &q->numbers[q->n - 2], *b = &q->numbers[q->n - 1];

    return a->decimals == b->decimals && (a->decimals > 0 || (a->marked || b->marked));
}

/* The quantity whose first digits are at @s; false: it is none. */
static bool read_quantity(const char *s, bool marked, struct quantity *q)
{
    bool loose = false;

    q->n = 0;
    while (q->n < MOST_LISTED && read_number(s, &q->numbers[q->n])) {
        q->numbers[q->n].marked = marked;
        s = q->numbers[q->n++].to;
        if (loose && !are_alike(q)) {
            return false;
        }
        q->unit = unit_at(s, &q->unit_from, &q->end);
        if (q->unit != NO_UNIT) {
            return true;
        }
        size_t gap = separator(s, &loose);
        if (gap == 0) {
            return false;
        }
        s += gap;
        size_t signed_by = sign(s);
        marked = signed_by > 0;
        s += signed_by;
    }
    return false;
}

static void put_converted(const struct tt_units *units, enum unit unit, const struct number *number,
                          struct tt_buffer *out)
{
    double value = 0;
    int decimals = number->decimals;

    if (tt_number_read(number->from, (size_t)(number->to - number->from), '.', &value, NULL) !=
        TT_NUMBER_OK) {
        return; /* it is digits */
    }
    if (unit == SMALL) {
        decimals = tt_units_small_decimals(units, decimals);
        value *= units->small_per_mm / 1000;
    } else if (unit == SLOPES) {
        decimals = decimals > units->slope_drop ? decimals - units->slope_drop : 0;
        value *= units->slope_per_mm_m;
    } else {
        decimals = tt_units_length_decimals(units, decimals);
        value *= units->per_mm;
    }
    tt_number_write_fixed(out, value, decimals, false);
}

static const char *name_of(const struct tt_units *units, enum unit unit)
{
    return unit == LENGTH ? units->length : unit == SMALL ? units->small : units->slope;
}

static void put_quantity(const struct tt_units *units, const struct quantity *q,
                         struct tt_buffer *out)
{
    const char *at = q->numbers[0].from;

    for (size_t i = 0; i < q->n; i++) {
        tt_buffer_add(out, at, (size_t)(q->numbers[i].from - at));
        put_converted(units, q->unit, &q->numbers[i], out);
        at = q->numbers[i].to;
    }
    tt_buffer_add(out, at, *at == ')');
    tt_buffer_puts(out, TIED);
    tt_buffer_puts(out, name_of(units, q->unit));
}

void tt_units_heading(const struct tt_units *units, const char *text, struct tt_buffer *out)
{
    for (bool begins = true; *text != '\0'; begins = !isalnum((unsigned char)text[-1])) {
        const char *end = text;
        enum unit unit = begins ? unit_word(text, &end) : NO_UNIT;
        if (unit != NO_UNIT) {
            tt_buffer_puts(out, name_of(units, unit));
            text = end;
        } else {
            tt_buffer_putc(out, *text++);
        }
    }
}

/* Bytes of the user's own name at @s, whole words; 0 = none. The longest counts. A tip called "1"
 * is no reason to pass over a length. */
static size_t own_name(const struct tt_own_names own[], size_t n_own, const char *s)
{
    size_t longest = 0;

    for (size_t k = 0; k < n_own; k++) {
        for (size_t i = 0; i < own[k].n; i++) {
            const char *const *at = (const void *)((const char *)own[k].names + i * own[k].stride);
            size_t length = *at != NULL ? strlen(*at) : 0;
            bool number = length > 0 && strspn(*at, "0123456789.") == length;
            if (length > longest && !number && starts(s, *at) &&
                !isalnum((unsigned char)s[length])) {
                longest = length;
            }
        }
    }
    return longest;
}

/* Bytes of what stands in single quotes at @s, up to the last quotation mark that can end it before
 * a word begins; 0 = nothing does. */
static size_t quoted(const char *s)
{
    for (const char *end = *s == '\'' ? strchr(s + 1, '\'') : NULL; end != NULL;
         end = strchr(end + 1, '\'')) {
        if (!isalnum((unsigned char)end[1])) {
            return (size_t)(end - s) + 1;
        }
    }
    return 0;
}

/* Whether a quantity may begin behind @before, the character before it: not within a date, an id, a
 * version or a word. */
static bool may_begin(const char *text, const char *at)
{
    unsigned char before = at > text ? (unsigned char)at[-1] : ' ';
    bool tied = at - text >= 2 && (starts(at - 2, TIED) || starts(at - 2, TT_PLUS_MINUS));

    return before < 0x80 ? !isalnum(before) && strchr("+-.:/_", before) == NULL : tied;
}

/* What begins at @at of @text and is to be converted, onto @out: a quantity, or "per millimetre".
 * Its bytes; 0 = there is none. */
static size_t put_converted_words(const struct tt_units *units, const char *text, const char *at,
                                  struct tt_buffer *out)
{
    size_t signed_by = sign(at), per = strlen(PER_MM);
    struct quantity q;

    if (!may_begin(text, at)) {
        return 0;
    }
    if (read_quantity(at + signed_by, signed_by > 0 || (at > text && at[-1] == '('), &q)) {
        tt_buffer_add(out, at, signed_by);
        put_quantity(units, &q, out);
        return (size_t)(q.end - at);
    }
    if (starts(at, PER_MM) && !isalnum((unsigned char)at[per])) {
        tt_buffer_puts(out, units->per);
        return per;
    }
    return 0;
}

void tt_units_sentence(const struct tt_units *units, const struct tt_own_names own[], size_t n_own,
                       const char *text, struct tt_buffer *out)
{
    for (const char *at = text; *at != '\0';) {
        bool word = at == text || !isalnum((unsigned char)at[-1]);
        size_t taken = word ? own_name(own, n_own, at) : 0;
        taken = taken == 0 && word ? quoted(at) : taken;
        size_t converted = taken == 0 ? put_converted_words(units, text, at, out) : 0;
        if (taken + converted == 0) {
            size_t digits = strspn(at, "0123456789."); /* a number that is no length, whole */
            taken = digits > 0 ? digits : 1;
        }
        tt_buffer_add(out, at, taken);
        at += taken + converted;
    }
}

void tt_units_shown(const struct tt_units *units, const struct tt_own_names own[2],
                    const char *text, struct tt_buffer *out)
{
    if (tt_units_or_mm(units)->per_mm == 1) {
        tt_buffer_puts(out, text);
    } else {
        tt_units_sentence(units, own, 2, text, out);
    }
}
