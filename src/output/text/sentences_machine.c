/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sentences of findings about the camera's picture, the machine's axes, and of edges elsewhere than
 * stated or than in earlier runs: the second table of sentences.c. */
#include "config.h"

#include "output/text/template.h"

#define ROWS_UP                                                                                    \
    "the picture is mirrored: either its image is (a mirror in front of the camera, a setting of " \
    "the driver), or "
#define HARMLESS "; offsets are right all the same, unless the stated centre is not the middle"
#define CORNER                                                                                     \
    "the camera's scale and turn in use misplace a feature at the corner of the picture by {off} " \
    "(u = {u}): scale times {factor_x:scale} along the picture's x and {factor_y:scale} along "    \
    "its y, turned by {turned}"

static const struct tt_template TEMPLATES[] = {
    {TT_FINDING_EDGE_OFF, "off",
     "edge '{edge}' lies {off} further {way} than its stated u of {u} allows; the other edges "
     "agree with each other, and its place was not used. Look for a film or a burr on it, or "
     "measure the plate again"},
    {TT_FINDING_EDGE_OFF, "far",
     "edge '{edge}' lies {off} further {way} than the plate file says; the other edges agree with "
     "each other, and its place was not used. Correct its place in the plate file, or its name in "
     "the log"},
    {TT_FINDING_EDGE_OFF, "several",
     "edge '{edge}' lies {off} further {way} than the plate file says, and not it alone: are the "
     "edges' names exchanged in the log? Correct the log or the plate file"},
    {TT_FINDING_EDGE_OFF, "out",
     "most touches on edge '{edge}' are off by more than {most}, which no film is: check its place "
     "in the plate file, and its name in the log"},
    {TT_FINDING_EDGE_FILM, "later",
     "edge '{edge}' makes contact {off} (u {u}) later than in {runs} earlier runs on this plate, "
     "which moves an offset by {effect}[ ({others} would explain it as well)]: clean it (film, "
     "flux, swarf) and touch again; if it stays, the edge is bent: correct its place in the plate "
     "file"},
    {TT_FINDING_EDGE_FILM, "earlier",
     "edge '{edge}' makes contact {off} (u {u}) earlier than in {runs} earlier runs on this plate, "
     "which moves an offset by {effect}: a film that was there then is gone (keep those runs out: "
     "`tiptrue history exclude'), or swarf sits on it, or it is bent: look at it"},
    {TT_FINDING_EDGE_FILM, NULL,
     "[edge '{edge}' ]makes contact elsewhere than in earlier runs ({values}): look at it, clean "
     "it and repeat"},
    {TT_FINDING_UNDETERMINED, "view-repeatability",
     "how well a view repeats is not determined: there are no more views than unknowns, and the "
     "machine file states no repeatability; view each mark at two more places of the picture, or "
     "state 'camera': {'u_px': ...}"},
    {TT_FINDING_SCATTERED, "views",
     "views repeat to {found_px} pixels, not to the {stated_px} that the machine file states; the "
     "run's own repeatability was used. Look for poor focus or light, a soiled mark or a loose "
     "camera, or correct 'u_px' in the machine file"},
    {TT_FINDING_SCATTERED, "views-alike",
     "places of the picture disagree by more than the views of one place do: these err alike, so "
     "{of} views count as {count}. More views of the same places tell no more; spread them over "
     "the picture, and look for uneven light or a soiled mark"},
    {TT_FINDING_DOES_NOT_FIT, "views",
     "views repeat to {found}, and {stated} is stated ({lines} is the worst): another thing was "
     "taken for the mark, or 'u_px' in the machine file is wrong; view the marks again"},
    {TT_FINDING_IMPLAUSIBLE, "pixels",
     "px and py of all views are less than {least} of the picture's size: are they in pixels, or "
     "in millimetres, in thousands of pixels, or parts of the picture?"},
    {TT_FINDING_IMPLAUSIBLE, "one-sided",
     "all views are on one side of the picture's middle, which offsets refer to: is 'size_px' in "
     "the machine file that of this picture? A wrong middle moves every offset alike. State "
     "'centre_px', or view the marks on all sides of the middle"},
    {TT_FINDING_IMPLAUSIBLE, "pixel-size",
     "a pixel comes out as {found} on the board, and {least} to {most} are believed: check the "
     "units of x and y, and whether px and py are pixels"},
    {TT_FINDING_IMPLAUSIBLE, "axes",
     "the machine's axes come out wrong by {found}, and {most} is the most that is believed: check "
     "which marks were seen, their places in the plate file, and the units of the log"},
    {TT_FINDING_PICTURE_MIRRORED, "rows-up",
     ROWS_UP
     "py is counted upwards from the lower edge; it counts down from the upper one" HARMLESS},
    {TT_FINDING_PICTURE_MIRRORED, "columns-left",
     ROWS_UP "px is counted from the right edge; it counts from the left one" HARMLESS},
    {TT_FINDING_PICTURE_MIRRORED, "not-mirrored",
     "the picture is not mirrored, and the machine file says it is; correct \"camera\": "
     "{\"mirrored\": ...}, or check the axes of px and py" HARMLESS},
    {TT_FINDING_PICTURE_MIRRORED, NULL,
     ROWS_UP "px and py are exchanged; px counts to the right, py down" HARMLESS},
    {TT_FINDING_CAMERA_OFF, "unit-um",
     "the scale of the picture is {factor_x} times the stated one: 'scale_mm_per_px' is in "
     "millimetres per pixel; is it stated in micrometres?"},
    {TT_FINDING_CAMERA_OFF, "unit-m",
     "the scale of the picture is {factor_x} times the stated one: 'scale_mm_per_px' is in "
     "millimetres per pixel; is it stated in metres?"},
    {TT_FINDING_CAMERA_OFF, "unit-inch",
     "the scale of the picture is {factor_x} times the stated one: 'scale_mm_per_px' is in "
     "millimetres per pixel, whatever the file's units; is it stated in inches?"},
    {TT_FINDING_CAMERA_OFF, "lens",
     "the scale of the picture is {factor_x} times the stated one along its x and {factor_y} along "
     "its y: another lens, another focus, or a picture of another size. State the new scale; "
     "offsets do not depend on it"},
    {TT_FINDING_CAMERA_OFF, "half-turn",
     "the picture is turned by {turned} against the stated turn: is the camera mounted the other "
     "way round, or do px and py count from the lower right corner?"},
    {TT_FINDING_CAMERA_OFF, "turned",
     "the picture is turned by {turned} against the stated turn: check how the camera is mounted, "
     "and state the new turn"},
    {TT_FINDING_CAMERA_OFF, "limit",
     CORNER "; that is not shown to be within the permitted {permitted}. Write the new scale and "
            "turn into the machine"},
    {TT_FINDING_CAMERA_OFF, NULL, CORNER "; write the new ones into the machine"},
    {TT_FINDING_LENS_DISTORTION, NULL,
     "the lens distorts the picture: a feature at its corner is seen off by {corner_px} pixels, "
     "{corner} on the board, from where the scale at the centre puts it; it was taken into "
     "account. Place by features near the centre"},
    {TT_FINDING_AXES_SCALE, NULL,
     "the machine's axes are not true to scale: a reported move of 100 mm is truly longer by "
     "{x_over_100} (u = {u_x}) along x and by {y_over_100} (u = {u_y}) along y. It was taken into "
     "account; offsets are in the machine's own units of motion. Correct the steps per millimetre, "
     "then repeat the run"},
    {TT_FINDING_AXES_NOT_SQUARE, NULL,
     "the machine's axes are not square: its y axis leans {way} by {over_100} over 100 mm of board "
     "(u = {u}). It was taken into account; offsets are in the machine's own units of motion. "
     "Square the axes, or correct the machine's squareness, then repeat the run"},
};
const struct tt_templates tt_machine_templates = {TEMPLATES,
                                                  sizeof TEMPLATES / sizeof TEMPLATES[0]};
