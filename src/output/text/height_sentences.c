/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sentences of findings about heights: a part of the table of sentences.c. */
#include "config.h"

#include "output/text/template.h"

#define HIGHER                                                                                     \
    "the height of '{tip}' differs from the one in use by {change}, more than the {most} that "    \
    "are "                                                                                         \
    "plausible"
#define ACCEPT "; if it is right, solve with --accept-change"

#define OUT_OF_RANGE                                                                               \
    "a touch from above at z {found} ({lines}) cannot be: by the limits of z and the safe and "    \
    "touch heights of 'motion' contacts lie between {least} and {most}"

static const struct tt_template TEMPLATES[] = {
    {TT_FINDING_DOES_NOT_FIT, "pads",
     "the pads lie further from their stated heights than their u allows (chi-squared {chi2}, "
     "{dof} degrees of freedom); the worst is '{of}', off by {times_u} times its u: check their "
     "heights, unit and signs in the plate file, and the pads' names and z in the log"},
    {TT_FINDING_IMPLAUSIBLE, "height-repeatability",
     "touches from above repeat to {found} only, and {most} is the most that is believed: look for "
     "a loose tip, a loose plate, a bad contact, or columns of the log mixed up"},
    {TT_FINDING_IMPLAUSIBLE, "height-range-inch",
     OUT_OF_RANGE "; in another unit it would be within: is z in the log in the log's units?"},
    {TT_FINDING_IMPLAUSIBLE, "height-range-negative",
     OUT_OF_RANGE "; with the other sign it would be within: z is counted upwards"},
    {TT_FINDING_IMPLAUSIBLE, "height-range",
     OUT_OF_RANGE ": check z in the log, its zero, whether the controller takes off the tips' "
                  "lengths, and 'motion' in the machine file"},
    {TT_FINDING_SCATTERED, "pad-early",
     "{early} of {of} touches on pad '{pad}' ({lines}) triggered up to {depth_max} above it and "
     "were left out (bounce, or noise on the contact's cable; if it is most of those left out, is "
     "z counted downwards in the log?)"},
    {TT_FINDING_SCATTERED, "height",
     "touches from above repeat to {found}, not to the {stated} that the machine file states; the "
     "run's own scatter was used. Look for a loose tip, a dirty contact or a loose plate, or "
     "correct 'height' in the machine file"},
    {TT_FINDING_AMBIGUOUS, "height",
     "two explanations fit the touches from above (the first {odds:odds} times as probable; 100 "
     "would decide), and the height of '{tip}' depends on which is true: {best}; or {rival}. Clean "
     "pads and tips, check the pads' heights, and repeat; more pads, or 'level' in the machine "
     "file, would tell them apart"},
    {TT_FINDING_MOVED_PLATE, "height",
     "all heights are {moved} higher from {lines} on: the plate, or the Z axis, moved within the "
     "run. Clamp the plate, home Z, and repeat"},
    {TT_FINDING_DRIFT_IN_RUN, "height",
     "all heights drift by {drift} from the first touch from above to the last: let the machine "
     "warm up, and repeat"},
    {TT_FINDING_LATENCY, "height",
     "the latch is late by {latency}: heights depend on the feed, and it was taken into account"},
    {TT_FINDING_FACE_RUNOUT, NULL,
     "the end of '{tip}' is not square to its axis: it reaches {amplitude} deeper and less deep as "
     "it turns (highest contact at rotation {angle}). Seat or change the tip; its height holds in "
     "the mean over a turn"},
    {TT_FINDING_SLOPE, "steep",
     "the plate comes out with a slope of {over_100} over 100 mm, which no plate has that is "
     "bolted down: check the pads' heights and places in the plate file (their unit?), and their "
     "names in the log"},
    {TT_FINDING_SLOPE, NULL,
     "the plate slopes by {over_100} over 100 mm against the machine's plane ({x_over_100} along "
     "x, {y_over_100} along y)"},
    {TT_FINDING_PAD_OFF, "name",
     "touches from above ({lines}) said to be on pad '{pad}' were made {away} from it, where "
     "'{other}' is: check the pads' names in the log and their places in the plate file"},
    {TT_FINDING_PAD_OFF, "place",
     "touches from above ({lines}) said to be on pad '{pad}' were made {away} from its stated "
     "place: check the tips and pads named in the log, and 'at' in the plate file"},
    {TT_FINDING_PAD_OFF, "far",
     "pad '{pad}' lies {off} {way} than the plate file says; the other pads agree with each other, "
     "and its height was not used. Correct its height in the plate file, or its name in the log"},
    {TT_FINDING_PAD_OFF, NULL,
     "pad '{pad}' lies {off} {way} than its stated u of {u} allows; the other pads agree with each "
     "other, and its height was not used. Look for a film or wear, or measure the plate again"},
    {TT_FINDING_HEIGHT_UNDETERMINED, "no-pads",
     "the run has {rows} heights, and the plate file names no pads: state 'pads' with their "
     "heights there"},
    {TT_FINDING_HEIGHT_UNDETERMINED, "no-rows",
     "none of the run's {rows} heights can be used: each needs a tip, and a contact on a pad that "
     "is in use"},
    {TT_FINDING_HEIGHT_UNDETERMINED, "tip",
     "the height of '{tip}' cannot be told: touch pads that other tips touch too, more than once, "
     "or state 'height' (its u) in the machine file"},
    {TT_FINDING_HEIGHT_UNDETERMINED, NULL,
     "the slope of the plate cannot be told from these pads: heights hold at their middle, {x} and "
     "{y} from the reference mark along machine x and y. Touch three pads that are not in a line, "
     "or state 'level' in the machine file"},
    {TT_FINDING_LATE_CONTACT, "pad-one",
     "1 of {of} touches on pad '{pad}' ({lines}) triggered {depth_max} too deep and was left out; "
     "clean pad and tip (film, flux, swarf) before the next run"},
    {TT_FINDING_LATE_CONTACT, "pad",
     "{late} of {of} touches on pad '{pad}' ({lines}) triggered {depth_min} to {depth_max} too "
     "deep and were left out; clean pad and tip (film, flux, swarf) before the next run"},
    {TT_FINDING_LATE_CONTACT, "height-few",
     "{aside} of {of} touches of '{tip}' from above do not fit the others: which of them are good "
     "cannot be told; clean pads and tip, check the contact circuit, and repeat"},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "height-inch",
     HIGHER ", by the factor 25.4: is z in another unit than the file says?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "height-negative",
     HIGHER ", to the negative of the one in use: z is counted upwards; is it so in the log and in "
            "the machine file?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "height-length",
     HIGHER ", and all tips come out alike: has the controller taken the tips' lengths off "
            "already?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "height-other-tip",
     HIGHER
     ": it is that of another tip. Check which tip was touched with, and the 'tip' column" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "height-all",
     HIGHER ", as all tips did: check Z's home, the plate's seat, and z's sign and unit" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "height",
     HIGHER ": check the tip, and the pads' heights in the plate file" ACCEPT},
};

const struct tt_templates tt_height_templates = {TEMPLATES, sizeof TEMPLATES / sizeof TEMPLATES[0]};
