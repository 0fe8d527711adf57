/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "output/text/follow.h"

#include <string.h>

#include "output/verdict.h"

/* What a finding rests on, of which a cause may take away the ground; none: it stands by itself. */
enum {
    LACK = 1,        /* too little is left of the touches */
    CONTACTS = 2,    /* touches that do not fit the others */
    GROSS = 4,       /* touches off by more than contacts are */
    SIGHTINGS = 8,   /* how well sightings repeat */
    PLACES = 16,     /* where edges and marks lie, how the plate stands */
    STATEMENTS = 32, /* what was stated of tips and rotation */
    NUMBERS = 64     /* other numbers that the adjustment comes to */
};

/* Below this misfit (root mean square of residuals of touches, sightings and statements in their
 * standard deviations) a run taken otherwise fits so well that nothing else is wrong with it. */
#define FITS_WELL 2
/* Touches of a tip that are not too few (docs/method.md, section 9, `few-touches`). */
#define ENOUGH 6

/* By code, and by kind unless that is NULL; the first line that fits counts. */
struct ground {
    enum tt_finding_code code;
    const char *kind;
    unsigned on;
};

static const struct ground GROUNDS[] = {
    {TT_FINDING_UNDETERMINED, "sighting-repeatability", 0},
    {TT_FINDING_UNDETERMINED, "view-repeatability", 0},
    {TT_FINDING_UNDETERMINED, NULL, LACK},
    {TT_FINDING_PRIOR_BOUND, NULL, LACK},
    {TT_FINDING_FEW_TOUCHES, NULL, LACK},
    {TT_FINDING_ROTATION_GAP, NULL, LACK},
    {TT_FINDING_UNCERTAINTY_OVER, "out-of-reach", 0},
    {TT_FINDING_UNCERTAINTY_OVER, "out-of-reach-on-plate", 0},
    {TT_FINDING_UNCERTAINTY_OVER, NULL, LACK},
    {TT_FINDING_LATE_CONTACT, "alone", LACK},
    {TT_FINDING_LATE_CONTACT, "little", LACK},
    {TT_FINDING_LATE_CONTACT, "uneven", NUMBERS},
    {TT_FINDING_LATE_CONTACT, "filmed", NUMBERS},
    {TT_FINDING_LATE_CONTACT, NULL, CONTACTS},
    {TT_FINDING_SCATTERED, "early", CONTACTS},
    {TT_FINDING_SCATTERED, "early-gross", CONTACTS},
    {TT_FINDING_SCATTERED, "sightings", SIGHTINGS},
    {TT_FINDING_SCATTERED, NULL, NUMBERS},
    {TT_FINDING_EDGE_OFF, "out", CONTACTS},
    {TT_FINDING_EDGE_OFF, NULL, PLACES},
    {TT_FINDING_MARKS_OFF, NULL, PLACES},
    {TT_FINDING_YAW_OFF, NULL, PLACES},
    {TT_FINDING_MIRRORED, "radii", STATEMENTS},
    {TT_FINDING_DOES_NOT_FIT, "touches", GROSS},
    {TT_FINDING_DOES_NOT_FIT, NULL, PLACES},
    {TT_FINDING_RADIUS_OFF, NULL, STATEMENTS},
    {TT_FINDING_ROTATION_SENSE, NULL, STATEMENTS},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, NULL, STATEMENTS},
    {TT_FINDING_IMPLAUSIBLE, "radius-diameter", STATEMENTS},
    {TT_FINDING_IMPLAUSIBLE, "radius-halved", STATEMENTS},
    {TT_FINDING_IMPLAUSIBLE, "radii-alike", STATEMENTS},
    {TT_FINDING_IMPLAUSIBLE, "statement", 0},
    {TT_FINDING_IMPLAUSIBLE, "temperature", 0},
    {TT_FINDING_IMPLAUSIBLE, "expansion", 0},
    {TT_FINDING_IMPLAUSIBLE, "rotations-radians", 0},
    {TT_FINDING_IMPLAUSIBLE, "pixels", 0},
    {TT_FINDING_IMPLAUSIBLE, "pixel-size", 0},
    {TT_FINDING_IMPLAUSIBLE, "one-sided", 0},
    {TT_FINDING_IMPLAUSIBLE, NULL, NUMBERS},
    {TT_FINDING_AMBIGUOUS, NULL, NUMBERS},
    {TT_FINDING_MOVED_PLATE, NULL, NUMBERS},
    {TT_FINDING_MOVED_CAMERA, NULL, NUMBERS},
    {TT_FINDING_MOVED_TIP, NULL, NUMBERS},
    {TT_FINDING_DRIFT_IN_RUN, NULL, NUMBERS},
    {TT_FINDING_ROTATION_SLIP, NULL, NUMBERS},
    {TT_FINDING_CORRELATED_TOUCHES, NULL, NUMBERS},
    {TT_FINDING_TIP_NOT_ROUND, NULL, NUMBERS},
    {TT_FINDING_LOST_MOTION, NULL, NUMBERS},
    {TT_FINDING_LATENCY, NULL, NUMBERS},
    {TT_FINDING_RUNOUT_OVER, NULL, NUMBERS},
    {TT_FINDING_FIT_DISAGREES, NULL, NUMBERS},
    {TT_FINDING_EDGE_FILM, NULL, NUMBERS},
    {TT_FINDING_AXES_SCALE, NULL, NUMBERS},
    {TT_FINDING_AXES_NOT_SQUARE, NULL, NUMBERS},
};

/* What an error takes the ground from. */
static const struct ground CAUSES[] = {
    {TT_FINDING_MIRRORED, "radii", 0}, /* sides may be exchanged as well, as others say */
    {TT_FINDING_MIRRORED, NULL, LACK | CONTACTS | GROSS | PLACES}, /* all, where it fits well */
    {TT_FINDING_TIPS_EXCHANGED, NULL, STATEMENTS},
    {TT_FINDING_OTHER_PLATE, NULL, PLACES | GROSS},
    {TT_FINDING_OTHER_MACHINE, NULL, STATEMENTS},
    {TT_FINDING_DOES_NOT_FIT, "sightings", SIGHTINGS | GROSS},
    {TT_FINDING_DOES_NOT_FIT, "sightings-aside", SIGHTINGS | GROSS},
    {TT_FINDING_DOES_NOT_FIT, "touches", LACK | CONTACTS},
    {TT_FINDING_LATE_CONTACT, "most", LACK},
};

static unsigned look_up(const struct ground *table, size_t n, const struct tt_finding *finding)
{
    for (size_t i = 0; i < n; i++) {
        if (table[i].code == finding->code &&
            (table[i].kind == NULL || strcmp(table[i].kind, tt_finding_kind(finding)) == 0)) {
            return table[i].on;
        }
    }
    return 0;
}

/* What the error @cause takes the ground from; nothing of what is no error. */
static unsigned taken_by(const struct tt_finding *cause)
{
    const struct tt_value *misfit = tt_finding_value(cause, "misfit");
    unsigned taken = cause->severity == TIPTRUE_ERROR
                         ? look_up(CAUSES, sizeof CAUSES / sizeof CAUSES[0], cause)
                         : 0;

    return taken != 0 && misfit != NULL && misfit->number < FITS_WELL ? ~0u : taken;
}

/* Whether @cause is about the tip @tip of the run: of exchanged ones, that is one of the two. */
static bool is_about(const struct tiptrue_solution *s, const struct tt_finding *cause, size_t tip)
{
    const struct tt_value *first = tt_finding_value(cause, "first"),
                          *second = tt_finding_value(cause, "second");

    if (cause->code == TT_FINDING_TIPS_EXCHANGED && first != NULL && second != NULL) {
        return strcmp(first->text, s->tip_names[tip]) == 0 ||
               strcmp(second->text, s->tip_names[tip]) == 0;
    }
    return cause->tip == TT_NONE || cause->tip == tip;
}

/* Whether some error takes the ground @on from all that is said of the tip @tip of the run. */
static bool is_taken_of(const struct tiptrue_solution *s, const struct tt_finding *finding,
                        unsigned on, size_t tip)
{
    for (size_t i = 0; i < s->n_findings; i++) {
        const struct tt_finding *cause = &s->findings[i];
        if (cause != finding && (taken_by(cause) & on) != 0 && is_about(s, cause, tip)) {
            return true;
        }
    }
    return false;
}

/* Whether that holds of the tip that @finding is about, or of every tip of the run. */
static bool is_taken(const struct tiptrue_solution *s, const struct tt_finding *finding,
                     unsigned on)
{
    if (finding->tip != TT_NONE) {
        return is_taken_of(s, finding, on, finding->tip);
    }
    for (size_t i = 0; i < s->n_tip_names; i++) {
        if (!is_taken_of(s, finding, on, i)) {
            return false;
        }
    }
    return s->n_tip_names > 0;
}

/* Whether touches were left out of those that @finding says to be too few. */
static bool some_left_out(const struct tiptrue_solution *s, const struct tt_finding *finding)
{
    const char *name = tt_finding_edge(s, finding);
    const struct tt_tip_result *tip =
        finding->tip != TT_NONE ? tt_solution_tip(s, s->tip_names[finding->tip]) : NULL;

    for (size_t i = 0; name != NULL && i < s->n_edges; i++) {
        if (strcmp(s->edges[i].name, name) == 0) {
            return s->edges[i].used < s->edges[i].touches;
        }
    }
    return tip != NULL ? tip->used < tip->touches && tip->touches >= ENOUGH
                       : s->touches_set_aside > 0;
}

bool tt_follows(const struct tiptrue_solution *s, const struct tt_finding *finding)
{
    unsigned on = tt_finding_is_of_heights(finding)
                      ? 0
                      : look_up(GROUNDS, sizeof GROUNDS / sizeof GROUNDS[0], finding);

    return on != 0 && (on != LACK || some_left_out(s, finding)) && is_taken(s, finding, on);
}

bool tt_left_out_follow(const struct tiptrue_solution *s)
{
    bool most = 2 * s->touches_set_aside > s->touches_read;

    for (size_t i = 0; i < s->n_findings; i++) {
        const struct tt_finding *f = &s->findings[i];
        bool of_files = f->code == TT_FINDING_UNIT_SUSPECT ||
                        (f->code == TT_FINDING_MIRRORED && (taken_by(f) & CONTACTS) != 0);
        if (of_files && f->severity == TIPTRUE_ERROR && f->tip == TT_NONE) {
            return true;
        }
    }
    for (size_t i = 0; i < s->n_tip_names && most; i++) {
        most = is_taken_of(s, NULL, CONTACTS, i);
    }
    return most;
}

bool tt_is_of_files(const struct tiptrue_solution *s)
{
    static const enum tt_finding_code OF_FILES[] = {
        TT_FINDING_MIRRORED, TT_FINDING_TIPS_EXCHANGED, TT_FINDING_OTHER_MACHINE,
        TT_FINDING_OTHER_PLATE, TT_FINDING_UNIT_SUSPECT};
    bool any = false;

    for (size_t i = 0; i < sizeof OF_FILES / sizeof OF_FILES[0] && s->n_findings > 0; i++) {
        any =
            any || (s->findings[0].code == OF_FILES[i] && s->findings[0].severity == TIPTRUE_ERROR);
    }
    return any;
}
