/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A sentence is the first template of its code that fits (template.h). One with a kind fits
 * findings whose value `what` or `kind` is that word; one without fits all. */
#include "config.h"

#include "output/text/sentences.h"

#include <string.h>

#include "output/text/template.h"

#define CHANGED                                                                                    \
    "the offset of '{tip}' differs from the one in use by {change} ({x} in x, {y} in y), more "    \
    "than the {most} that are plausible"
#define TIMES " (misfit {misfit} instead of {misfit_as_read})"
#define ACCEPT "; if it is right, solve with --accept-change"

#define OPEN_OFFSET "the offset of '{tip}'[ along {along:line}] is not determined: "
#define MOVED                                                                                      \
    "the plate or the camera moved within the run, from {lines} on (after {after} of {of} "        \
    "touches): by {x:um} along x and {y:um} along y"                                               \
    "[, turned by {turn:fine}]"
#define ELSEWHERE "; the offset given is the later one. Or one part is not what it says of "
#define DRIFTED                                                                                    \
    "the plate drifted against the camera during the run, by {x:um} along x and {y:um} along y "   \
    "from its first row to its last"
#define SHAPES                                                                                     \
    "[oval by {order_2:um}][, three-lobed by {order_3:um}][, four-lobed by {order_4:um}]"          \
    "[, five-lobed by {order_5:um}][, six-lobed by {order_6:um}]"
#define OUT_OF_REACH                                                                               \
    "no run on this plate can show that the offset of '{tip}' is within the permitted "            \
    "{permitted:um}: what no touch lessens makes its uncertainty {least:um} (95 %); "

static const struct tt_template TEMPLATES[] = {
    {TT_FINDING_UNDETERMINED, "all",
     "nothing of '{tip}' is determined: none of its touches made contact; check its contact "
     "circuit and repeat"},
    {TT_FINDING_UNDETERMINED, "runout",
     "the runout of '{tip}' is not determined: touch at three rotations or more, spread over the "
     "turn"},
    {TT_FINDING_UNDETERMINED, "radius",
     "the contact radius of '{tip}' is not determined: touch two edges that face each other, or "
     "state its radius with its uncertainty in the machine file"},
    {TT_FINDING_UNDETERMINED, "offset-yaw",
     OPEN_OFFSET "it goes with the yaw of the plate, which is open"},
    {TT_FINDING_UNDETERMINED, "offset-unseen",
     OPEN_OFFSET
     "only {facing} were touched; touch an edge that faces {towards:to} or {towards:back}"},
    {TT_FINDING_UNDETERMINED, "offset-runout",
     OPEN_OFFSET
     "it cannot be told from the runout; touch at three rotations or more, spread over the turn"},
    {TT_FINDING_UNDETERMINED, "offset-radius",
     OPEN_OFFSET
     "it cannot be told from the contact radius, since only {facing} were touched; touch one that "
     "faces {towards:to}, or state the tip's radius with its uncertainty in the machine file"},
    {TT_FINDING_UNDETERMINED, "offset-place",
     OPEN_OFFSET "it cannot be told from where the plate lies; sight the reference mark, and a "
                 "second mark for the yaw"},
    {TT_FINDING_UNDETERMINED, "yaw",
     "the yaw of the plate in setup '{setup}' is not determined: sight a second mark, touch an "
     "edge at two places far apart, or state the nominal yaw with its uncertainty in the machine "
     "file"},
    {TT_FINDING_UNDETERMINED, "sighting-repeatability",
     "how well the camera sights is not determined: each mark was sighted once only, and the "
     "machine file states no sighting uncertainty; sight a mark twice, or state 'sighting': {'u': "
     "...}"},
    {TT_FINDING_UNDETERMINED, "touch-repeatability",
     "how well contacts repeat is not determined: there are no more touches than unknowns, and the "
     "machine file states no touch uncertainty; touch more often, or state 'touch': {'u': ...}"},
    {TT_FINDING_PRIOR_BOUND, "radius",
     "the offset of '{tip}' along {along:line} rests on the stated contact radius (u = {u:um}), "
     "not on touches: touch the facing edges as often as each other"},
    {TT_FINDING_PRIOR_BOUND, "radius-one-side",
     "the offset of '{tip}' along {along:line} rests on the stated contact radius (u = {u:um}), "
     "not on touches: {facing} were touched, from one side only; touch {missing}"},
    {TT_FINDING_PRIOR_BOUND, "yaw",
     "the offset of '{tip}' along {along:line} rests on the nominal yaw (u = {u:um}), not on "
     "sightings: sight a second mark, as far from the first as the plate has one"},
    {TT_FINDING_PRIOR_BOUND, "place",
     "the offset of '{tip}' along {along:line} rests on where the machine was homed (u = {u:um}): "
     "no mark was sighted; sight the reference mark"},
    {TT_FINDING_FEW_TOUCHES, "quantities",
     "'{tip}' has too few usable touches ({touches}): offset, runout and contact radius need six "
     "or "
     "more, better twelve"},
    {TT_FINDING_FEW_TOUCHES, "repeatability",
     "'{tip}' has too few usable touches ({touches}) to tell how well contacts repeat, so its "
     "uncertainty is wide; touch more often, or state 'touch': {'u': ...} in the machine file"},
    {TT_FINDING_ROTATION_GAP, NULL,
     "the rotations of '{tip}' leave a gap of {gap:deg}: spread them over the whole turn, a third "
     "of a turn apart at most"},
    {TT_FINDING_LATE_CONTACT, "film",
     "{late} of {of} touches on edge '{edge}' triggered {depth_min}[ to {depth_max}] too "
     "deep and were left out; clean edge and tip (film, flux, swarf) before the next run"},
    {TT_FINDING_LATE_CONTACT, "gross",
     "{late} of {of} touches on edge '{edge}' triggered {depth_min}[ to {depth_max}] too "
     "deep and were left out; by so much no contact is late: check the edge's name and the digits "
     "of these rows"},
    {TT_FINDING_LATE_CONTACT, "most",
     "{aside} of {of} touches of '{tip}' do not fit the others: which of them are good cannot be "
     "told; clean edges and tip, check the contact circuit, and repeat"},
    {TT_FINDING_SCATTERED, "early",
     "{early} of {of} touches on edge '{edge}' triggered up to {off_max} before the edge and "
     "were left out (bounce, or noise on the contact's cable)"},
    {TT_FINDING_SCATTERED, "early-gross",
     "{early} of {of} touches on edge '{edge}' triggered up to {off_max} before the edge and "
     "were left out: by so much no contact is early; check the edge's name and the digits of these "
     "rows"},
    {TT_FINDING_SCATTERED, "touches",
     "contacts repeat to {found:um}, not to the {stated:um} that the machine file states; the "
     "run's own scatter was used. Look for a loose tip, a dirty contact or a loose plate, or "
     "correct 'touch' in the machine file"},
    {TT_FINDING_SCATTERED, "sightings",
     "sightings repeat to {found:um}, not to the {stated:um} that the machine file states; the "
     "run's own scatter was used. Look for a loose camera, poor light or a soiled mark, or correct "
     "'sighting' in the machine file"},
    {TT_FINDING_NO_CONTACT, NULL,
     "{missed} of {of} probing moves of '{tip}' ended without a contact ({lines}): check that the "
     "tip reaches the edge, and its contact circuit"},
    {TT_FINDING_COARSE_DIGITS, NULL,
     "the log prints coordinates in steps of {step:um}, which limits the result more than the "
     "machine does: let the controller print more digits"},
    {TT_FINDING_SIGHTINGS_ONE_SIDED, NULL,
     "all sightings[ of setup {of_setup}] were reached from one side along {along:phrase}: half of "
     "the machine's lost motion is in the offset; sight each mark once from either side"},
    {TT_FINDING_ODD_ROTATIONS, NULL,
     "'{tip}' was touched at {rotations} evenly spaced rotations, an odd number: a shape of the "
     "tip with {rotations} lobes goes into its offset; use an even number, best 6 or 10"},
    {TT_FINDING_MOVED_PLATE, "confirmed",
     MOVED "; the marks sighted again say so too, and it was taken into account. Clamp the plate, "
           "check the camera's mount before the next run"},
    {TT_FINDING_MOVED_PLATE, NULL, MOVED "; clamp the plate, check the camera's mount, and repeat"},
    {TT_FINDING_MOVED_CAMERA, NULL,
     "the camera moved on the head by {x:um} along x and {y:um} along y before {lines}" ELSEWHERE
     "the sightings (focus, zoom, another run); fasten the camera, and repeat"},
    {TT_FINDING_MOVED_TIP, "tips",
     "all tips moved together by {x:um} along x and {y:um} along y before {lines}" ELSEWHERE
     "the touches (another run); fasten what carries them, and repeat"},
    {TT_FINDING_MOVED_TIP, NULL,
     "'{tip}' moved in its holder by {x:um} along x and {y:um} along y before {lines}" ELSEWHERE
     "the touches (another run); fasten the tip, and repeat"},
    {TT_FINDING_DRIFT_IN_RUN, "confirmed",
     DRIFTED "; the marks sighted again say so too, and it was taken into account. Let the machine "
             "warm up before the next run"},
    {TT_FINDING_DRIFT_IN_RUN, NULL, DRIFTED "; let the machine warm up, and repeat"},
    {TT_FINDING_ROTATION_SENSE, NULL,
     "the touches fit clearly better with the sense of rotation turned round: the machine file "
     "says '{stated}', the run says '{found}'. Turn a tip by hand command and look from above, "
     "then correct 'rotation': {'sense': ...}; the numbers shown are for '{found}'"},
    {TT_FINDING_TIP_NOT_ROUND, "impossible",
     "'{tip}' is not round: " SHAPES
     " (amplitude); no tip can be {impossible_order:shape} by that much with a contact radius of "
     "{radius:um} (at most {most:um}): some touches are wrong, or belong to other edges, tips or "
     "rotations than the log says; check the log, then repeat the run"},
    {TT_FINDING_TIP_NOT_ROUND, NULL,
     "'{tip}' is not round: " SHAPES
     " (amplitude); its shape was taken into account. Look at it for wear or dirt"},
    {TT_FINDING_LOST_MOTION, NULL,
     "the contact radius is {difference:um} {on_x} on edges that are met along x than along y: "
     "lost motion of the machine's axes. Opposed touches cancel it in the offset"},
    {TT_FINDING_LATENCY, NULL,
     "the position depends on the feed: the contact is triggered {way} by {latency:ms}; it was "
     "taken into account. Touch at one slow feed to be rid of it"},
    {TT_FINDING_YAW_OFF, NULL,
     "the plate[ in setup {in_setup}] stands turned by {off:fine} against the nominal yaw, more "
     "than its stated uncertainty allows; the run was believed. Check how the plate is bolted, and "
     "which marks were sighted"},
    {TT_FINDING_UNIT_SUSPECT, NULL,
     "distances between the {between} in the log are {ratio:factor} times those of the plate file: "
     "probably {what:phrase}; correct 'units'"},
    {TT_FINDING_RUNOUT_OVER, NULL,
     "the runout of '{tip}' is {found:over} (full indicator movement {indicator_movement:um}), "
     "over the limit of {limit:um}: the tip is bent or not seated; seat or change it"},
    {TT_FINDING_UNCERTAINTY_OVER, "out-of-reach",
     OUT_OF_REACH "measure the plate, add a second setup with the plate turned by 180\xc2\xb0, or "
                  "state 'offset_plate' where the offset in use was found with this plate"},
    {TT_FINDING_UNCERTAINTY_OVER, "out-of-reach-on-plate",
     OUT_OF_REACH
     "state radius, yaw or place of the mark better, or sight marks and touch facing edges"},
    {TT_FINDING_UNCERTAINTY_OVER, "little",
     "what explains this run leaves the offset too uncertain: put right what else is named, and "
     "repeat"},
    {TT_FINDING_UNCERTAINTY_OVER, NULL,
     "the expanded uncertainty of the offset of '{tip}'[ on this {on}] is {found:over}, over the "
     "{what:phrase} of {limit:um}; {most_is:phrase}"},
    {TT_FINDING_DOES_NOT_FIT, "sightings",
     "sightings repeat to {found}, and {stated} is stated ({lines} is the worst): a wrong mark was "
     "sighted, or 'sighting' in the machine file is wrong; sight the marks again"},
    {TT_FINDING_DOES_NOT_FIT, "sightings-aside",
     "{aside} of {of} sightings disagree with the others: which are right cannot be told. Sight "
     "every mark again, twice"},
    {TT_FINDING_DOES_NOT_FIT, "touches",
     "{gross} of {of} touches of '{tip}' are off by more than {most} ({lines}), which no contact "
     "is: check the names of edges, tips and setups, and the columns and units of the log"},
    {TT_FINDING_DOES_NOT_FIT, "marks",
     "the marks lie further from their stated places than their u allows (chi-squared {chi2}, "
     "{dof} degrees of freedom); the worst is '{of}', off by {times_u} times its u: check which "
     "marks were sighted, and their places in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, "edges",
     "the edges lie further from their stated places than their u allows (chi-squared {chi2}, "
     "{dof} degrees of freedom); the worst is '{of}', off by {times_u} times its u: check their "
     "places and u in the plate file, and the targets in the log"},
    {TT_FINDING_DOES_NOT_FIT, "groups",
     "the groups of edges lie further from their stated places than their u allows (chi-squared "
     "{chi2}, {dof} degrees of freedom); the worst is '{of}', off by {times_u} times its u: check "
     "its u in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, "square",
     "the run fits only if the machine's axes are not square, by {over_100} over 100 mm: check the "
     "axes, or the marks' places in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, "scale",
     "the run fits only if one of x and y runs too long and the other too short, by {each} over "
     "100 mm each (where the run hardly spans one of them, the other alone is known): check the "
     "axes' steps per millimetre, or the marks' places in the plate file"},
    {TT_FINDING_DOES_NOT_FIT, NULL,
     "the run does not fit what was stated ({values}): check the plate file, the machine file and "
     "the columns of the log"},
    {TT_FINDING_LATE_CONTACT, "alone",
     "nothing in this run contradicts the touch of '{tip}' on edge '{edge}' ({lines}) if it is "
     "late by {late}, which moves the offset by {effect}, {times_u} times its uncertainty: touch "
     "that edge three times or more, at rotations spread over the turn"},
    {TT_FINDING_IMPLAUSIBLE, "repeatability",
     "touches repeat to {found} only, and {most} is the most that is believed: look for a loose "
     "tip, a loose plate, a bad contact, or columns of the log mixed up"},
    {TT_FINDING_IMPLAUSIBLE, "lost-motion",
     "the lost motion comes out as {found}, and {most} is the most that is believed: check the "
     "edges' places and free sides in the plate file, and which marks were sighted"},
    {TT_FINDING_IMPLAUSIBLE, "uncertainty",
     "the offset of '{tip}' is uncertain by {found} even on this plate, and {most} is the most "
     "that is believed: touch more edges in both directions at more rotations, and check the "
     "stated uncertainties and units"},
    {TT_FINDING_IMPLAUSIBLE, "uncertainty-total",
     "the offset of '{tip}' is uncertain by {found}, and {most} is the most that is believed: "
     "check the 'u' and 'tolerance' of the plate file (are they in its units?), or measure the "
     "plate"},
    {TT_FINDING_IMPLAUSIBLE, "radius-negative",
     "the contact radius of '{tip}' comes out as {found}: are free sides exchanged in the plate "
     "file, or has the controller taken the tip's radius off already?"},
    {TT_FINDING_IMPLAUSIBLE, "radius-diameter",
     "'{tip}' has a contact radius of {found}, and {stated} is stated: is that the diameter? "
     "Correct 'radius' in the machine file"},
    {TT_FINDING_IMPLAUSIBLE, "radius-halved",
     "'{tip}' has a contact radius of {found}, and {stated} is stated, half of it: correct "
     "'radius' in the machine file, or check the edges' places"},
    {TT_FINDING_IMPLAUSIBLE, "radius-none",
     "'{tip}' has a contact radius of {found}, which no tip has, and {stated} is stated: has the "
     "controller taken the tip's radius off already?"},
    {TT_FINDING_IMPLAUSIBLE, "radii-alike",
     "all tips have contact radii off from the stated ones by the same {off}, which is no tip's "
     "doing: check the edges' places in the plate file, and for a coating; else every 'radius'"},
    {TT_FINDING_IMPLAUSIBLE, "radius-opening",
     "'{tip}' comes out {found} wide, and touched two edges that are {most} apart and face each "
     "other: check the edges' free sides and places in the plate file, and the targets in the log"},
    {TT_FINDING_IMPLAUSIBLE, "runout",
     "'{tip}' comes out with a runout of {found}, and {most} is the most that is believed: change "
     "the tip if it is bent; else check the rotations in the log (unit, sense, gear) and its "
     "targets"},
    {TT_FINDING_IMPLAUSIBLE, "shape",
     "'{tip}' comes out with {order} lobes of {found}, and no tip of its radius can have more than "
     "{most}: check the rotations and targets in the log, and the plate file"},
    {TT_FINDING_IMPLAUSIBLE, "rotations-radians",
     "all rotations in the log are within {range} of each other: are they in radians? The log "
     "states degrees"},
    {TT_FINDING_IMPLAUSIBLE, "temperature",
     "a temperature of {found} ({where}[, {lines}]) is not a room's: is it in {unit}? Degrees "
     "Celsius are read"},
    {TT_FINDING_IMPLAUSIBLE, "expansion",
     "'expansion_ppm_per_K' of the plate file is {found}, less than any material has: was {meant} "
     "meant?"},
    {TT_FINDING_IMPLAUSIBLE, "offset-zero",
     "the offset of '{tip}' is only {found}: were the tip's own positions logged, instead of the "
     "head's? If the tip is in the camera's axis, state its 'offset' in the machine file"},
    {TT_FINDING_IMPLAUSIBLE, "same-tip",
     "'{tip}' and '{other}' come out at one place ({apart} apart): was one tip touched twice? If "
     "both go on one holder, state the 'offset' of each in the machine file"},
    {TT_FINDING_IMPLAUSIBLE, "statement",
     "'{tip}' would be kept, but '{field}'[ of '{of}'] is {stated}, more than {most}: is it in "
     "another unit? Correct it"},
    {TT_FINDING_IMPLAUSIBLE, NULL,
     "[the result of '{tip}' ]cannot be right ({values}): check the files and the log"},
    {TT_FINDING_SCATTERED, "sightings-alike",
     "the sightings in {lines} are off alike, by {x} along x and {y} along y: the camera or the "
     "plate stood elsewhere then, or these are rows of another log, and nothing tells whether the "
     "touches belong to them. Sight the marks again, and repeat"},
    {TT_FINDING_SCATTERED, "sighting-as-moved",
     "the sighting of mark '{mark}' in {lines} is off by {off}, just as the plate seems to have "
     "moved at another row: the camera moved, or these are rows of another log. Sight the marks "
     "again, and repeat"},
    {TT_FINDING_SCATTERED, "sighting",
     "the sighting of mark '{mark}' in {lines} is off by {off} and was left out: look for a soiled "
     "mark, poor light or a loose camera, or another mark in its place"},
    {TT_FINDING_LATE_CONTACT, "filmed",
     "{early} of {of} touches of '{tip}' on edge '{edge}' ({lines}) came {depth} early, by as much "
     "as others in this run are off: these may be the good ones, and the rest there under a film. "
     "Clean edges and tip (film, flux, swarf) and repeat"},
    {TT_FINDING_LATE_CONTACT, "uneven",
     "the touches kept on edge '{edge}' scatter more than the others': late and good ones cannot "
     "be told apart there. Clean edge and tip (film, flux, swarf) and repeat"},
    {TT_FINDING_LATE_CONTACT, "little",
     "without the touches that disagree the offset is hardly known: clean edges and tips (film, "
     "flux, swarf), check the contact circuit, and repeat"},
    {TT_FINDING_AMBIGUOUS, "vague",
     "two explanations fit this run (the first {odds:odds} times as probable; 100 would decide), "
     "and if the second is right the offset[ of '{tip}'] is known to ± {expanded} only: {best}; or "
     "{rival}. Clean edges and tips, check what is named, and repeat; more edges or more rotations "
     "would tell them apart"},
    {TT_FINDING_AMBIGUOUS, NULL,
     "two explanations fit this run (the first {odds:odds} times as probable; 100 would decide), "
     "and the offset[ of '{tip}'] differs by {x} in x and {y} in y between them: {best}; or "
     "{rival}. Clean edges and tips, check what is named, and repeat; more edges or more rotations "
     "would tell them apart"},
    {TT_FINDING_MARKS_OFF, "mark",
     "mark '{mark}' lies {off} from its stated place, whose u is {u}, as the other sightings and "
     "the touches see it: check that it was this mark that was sighted, and its place in the plate "
     "file"},
    {TT_FINDING_MARKS_OFF, NULL,
     "the marks as sighted do not lie as the plate file says ({values}): check which marks were "
     "sighted, and their coordinates in the plate file"},
    {TT_FINDING_RADIUS_OFF, "freed",
     "'{tip}' has a contact radius of {found}, and {stated} with a u of {u} is stated; the "
     "statement was not used. Check that it is this tip, and its 'radius' in the machine file"},
    {TT_FINDING_RADIUS_OFF, NULL,
     "'{tip}' has a contact radius of {found}, and {stated} with a u of {u} is stated: check that "
     "it is this tip, and its 'radius' in the machine file"},
    {TT_FINDING_MIRRORED, "plate-mirrored",
     "the run would fit if the plate were mirrored" TIMES
     ": check the signs of x and the free sides in the plate file; is the plate upside down?"},
    {TT_FINDING_MIRRORED, "x-sign",
     "the run would fit if x were counted the other way" TIMES
     ": check the machine's axes and the log"},
    {TT_FINDING_MIRRORED, "y-sign",
     "the run would fit if y were counted the other way" TIMES
     ": check the machine's axes and the log"},
    {TT_FINDING_MIRRORED, "xy-exchanged",
     "the run would fit if x and y were exchanged" TIMES ": check the columns of the log"},
    {TT_FINDING_MIRRORED, "edges-exchanged",
     "the run would fit if edges '{first}' and '{second}' were exchanged[ in the rows of "
     "'{tip}']" TIMES ": check the targets in the log, and the plate file"},
    {TT_FINDING_MIRRORED, "edges-turned",
     "the run would fit if each edge had the name of its neighbour" TIMES
     ": check the targets in the log, and how the plate is turned"},
    {TT_FINDING_MIRRORED, "marks-exchanged",
     "the run would fit if marks '{first}' and '{second}' were exchanged" TIMES
     ": check which mark was sighted, and the plate file"},
    {TT_FINDING_MIRRORED, "rotations-halved",
     "the run would fit if the tips turned by half of what is logged" TIMES
     ": check the gear of the rotation"},
    {TT_FINDING_MIRRORED, "rotations-doubled",
     "the run would fit if the tips turned by twice what is logged" TIMES
     ": check the gear of the rotation"},
    {TT_FINDING_MIRRORED, "radii",
     "the run would fit with other contact radii than those stated ('{tip}': {found} instead of "
     "{stated})" TIMES
     ": has the controller taken the radius off already, or is 'radius' a diameter?"},
    {TT_FINDING_MIRRORED, NULL,
     "the run would fit if it were taken otherwise ({values}): check log, plate file and machine "
     "file"},
    {TT_FINDING_TIPS_EXCHANGED, "offset",
     "'{first}' is where '{second}' should be, and the other way round: check which tip is on "
     "which holder, and the 'tip' column"},
    {TT_FINDING_TIPS_EXCHANGED, NULL,
     "'{first}' has the radius of '{second}', and the other way round: check which tip is on which "
     "holder, and the 'tip' column"},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "other-tip",
     CHANGED ": it is that of '{other}'. Check which tip was touched, and the 'tip' column" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "all-tips",
     CHANGED ", as all tips did: check the camera, and which mark was sighted" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "with-others",
     "the offset of '{tip}' differs from the one in use by {change} ({x} in x, {y} in y), as all "
     "tips' do, and one of them by more than the {most} that are plausible: check the camera, and "
     "which mark was sighted" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "zero",
     CHANGED
     ", to nearly nothing: were the tip's own positions logged, instead of the head's?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "negative",
     CHANGED ", to the negative of the one in use: which of them has the wrong sign?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "xy-exchanged",
     CHANGED ", to the one in use with x and y exchanged: check the columns of the log and the "
             "machine file" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "x-sign",
     CHANGED ", to the one in use with the sign of x changed: is x counted the other way?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "y-sign",
     CHANGED ", to the one in use with the sign of y changed: is y counted the other way?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "quarter-turn",
     CHANGED ", to the one in use turned by a quarter: does the plate lie turned, and which marks "
             "were sighted?" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "inch",
     CHANGED ", by the factor 25.4: check 'units' in machine file and log" ACCEPT},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, "accepted", CHANGED "; this was accepted"},
    {TT_FINDING_CHANGE_IMPLAUSIBLE, NULL,
     CHANGED ": check the plate file, the marks sighted, and whether the tip was changed" ACCEPT},
    {TT_FINDING_ROTATION_SLIP, NULL,
     "the runout of '{tip}' changed within the run, from {lines} on: eccentricity {before} before, "
     "{after} after, turned by {turned}. Its rotation slipped, or it was bent; both parts were "
     "taken into account, and the runout given is the later one. Check belt, coupling and motor"},
    {TT_FINDING_CORRELATED_TOUCHES, NULL,
     "touches that follow each other err alike (correlation {correlation} in {touches} touches): "
     "the uncertainty was enlarged accordingly. Let the machine warm up, clean tip and edges, and "
     "touch the edges in turn instead of one after the other"},
    {TT_FINDING_REPEATED_ROWS, NULL,
     "the log holds {rows} rows twice (lines {first} to {last}); they were counted once: was a "
     "part pasted or appended again?"},
    {TT_FINDING_SEVERAL_LOGS, NULL, "{logs} logs were solved as one run: {where}"},
    {TT_FINDING_NOT_TOUCHED, NULL,
     "'{tip}' of the machine file was not touched: touch it, or name the tips that are wanted "
     "(--tip), or state 'in_use': false of it"},
    {TT_FINDING_OTHER_MACHINE, NULL,
     "the log is of machine '{log}', the machine file of '{file}': read the run with its own "
     "files"},
    {TT_FINDING_OTHER_PLATE, NULL,
     "the log is of plate '{log}', the plate file of '{file}': read the run with its own files"},
    {TT_FINDING_FIT_DISAGREES, "line",
     "the contacts on edge '{edge}' lie on a line that departs by {apart} (u {u}) over {over} from "
     "where the adjustment has the edge, which moves an offset by up to {effect}: look for a burr "
     "or a film at one end of it, or measure the edge's direction again"},
    {TT_FINDING_FIT_DISAGREES, "circle",
     "the circle through the centres of '{tip}' at {rotations} rotations has its centre {apart} (u "
     "{u}) from the adjusted offset, and a radius of {radius} instead of {eccentricity}: check the "
     "rotations in the log, the play of the spindle and the tip's roundness, and repeat"},
    {TT_FINDING_FIT_DISAGREES, NULL,
     "direct fits of the contacts disagree with the adjustment ({values}): check the edges, and "
     "repeat"},
};

/* Whether a sentence of @template is one for @finding. */
static bool fits(const struct tt_finding *finding, const struct tt_template *template)
{
    return finding->code == template->code &&
           (template->kind == NULL || strcmp(tt_finding_kind(finding), template->kind) == 0);
}

/* NULL: of a kind that a newer version wrote. */
static const char *template_of(const struct tt_finding *finding)
{
    const struct tt_templates tables[] = {tt_height_templates,
                                          tt_placement_templates,
                                          tt_machine_templates,
                                          {TEMPLATES, sizeof TEMPLATES / sizeof TEMPLATES[0]}};

    for (size_t k = 0; k < sizeof tables / sizeof tables[0]; k++) {
        for (size_t i = 0; i < tables[k].n; i++) {
            if (fits(finding, &tables[k].list[i])) {
                return tables[k].list[i].text;
            }
        }
    }
    return NULL;
}

void tt_sentence(struct tt_buffer *buffer, const struct tiptrue_solution *solution,
                 const struct tt_finding *finding)
{
    const char *template = template_of(finding);

    if (template != NULL) {
        tt_template_put(buffer, solution, finding, template);
    } else {
        tt_template_values(buffer, finding);
    }
}

bool tt_sentence_names_lines(const struct tt_finding *finding)
{
    const char *template = template_of(finding);

    return finding->code == TT_FINDING_REPEATED_ROWS ||
           (template != NULL && tt_template_names(template, "lines"));
}
