/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the views tell of the camera, and the marks of the machine's axes. None of it makes an
 * offset wrong: where the picture or the axes are off, the model holds them. */
#include "config.h"

#include <math.h>

#include "adjust/findings.h"

/* Without a stated limit the present scale and turn are told to be off from this many u on, and
 * from a pixel: what nobody can see in the picture is off nothing. */
#define CAMERA_OFF 4.0
/* A scale that differs by more than this share is that of another lens or another height of focus;
 * one this close (natural logarithm) to 1000 or 25.4 times, that of another unit. */
#define OTHER_LENS 0.05
#define OTHER_UNIT 0.05
/* A turn that differs by more than this is no careless mounting. */
#define TURNED_RAD (5 * TT_PI / 180)
/* One-sided normal factor of 95 %: a limit is passed unless it is shown not to be (JCGM 106:2012
 * 8.3.2, as for offsets). */
#define ONE_SIDED 1.645
/* One of the axes' numbers is told by itself from this many of its u on. */
#define AXIS_SHOWN 3.0
/* No machine's axes are further off than this, of 1 and in rad (common practice, no source): what
 * looks so is something else. */
#define AXES_BELIEVED 0.02
/* Views that all lie within this share of the picture from its corner were not logged in pixels. */
#define CORNER_SHARE 0.02
/* Fewer views are on one side of the picture's middle by chance. */
#define LEAST_ONE_SIDED 4
/* No pixel is smaller on the board: a microscope's are ten times as large. */
#define SMALLEST_PIXEL_MM 1e-5
/* What errors of the axes come to is said over this length of board. */
#define BOARD_MM 100.0

static enum tiptrue_status undetermined(struct tt_view *view)
{
    const struct tt_fit *fit = view->fit;

    if (view->model->picture.n == 0 || fit->noise->view_dof > 0 || fit->dof_view >= 0.5) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(view, TT_FINDING_UNDETERMINED, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                 TT_VALUES(TT_TEXT("what", "view-repeatability")));
}

static enum tiptrue_status scattered(struct tt_view *view)
{
    const struct tt_fit *fit = view->fit;
    double pixel_mm = view->model->picture.pixel_mm;

    if (fit->noise->view_alike > 0) {
        enum tiptrue_status status = tt_finding_add_values(
            view, TT_FINDING_SCATTERED, TIPTRUE_NOTE, TT_ABOUT_RUN,
            TT_VALUES(TT_TEXT("what", "views-alike"), TT_PLAIN("of", view->model->picture.n),
                      TT_PLAIN("count", tt_fit_views_counted(fit)),
                      TT_PLAIN("correlation", fit->noise->view_alike)));
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    if (view->model->picture.n == 0 || !fit->view_scattered) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_SCATTERED, TIPTRUE_WARNING, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("what", "views"),
                  TT_PLAIN("found_px", sqrt(fit->scatter_view_mm2) / pixel_mm),
                  TT_PLAIN("stated_px", fit->noise->view_px)));
}

/* The turn against the stated one, or against none. */
static double turned(const struct tt_view *view)
{
    const struct tt_camera *stated = &view->machine->camera;
    return tt_angle_wrap(view->solution->camera.turn_rad -
                         (stated->has_turn ? stated->turn_rad : 0));
}

/* Whether the picture is mirrored against what is stated. */
static bool is_mirrored(const struct tt_view *view)
{
    return view->solution->camera.mirrored != view->machine->camera.mirrored;
}

static enum tiptrue_status mirrored(struct tt_view *view)
{
    double turn = fabs(turned(view));

    if (!view->solution->camera.determined || !is_mirrored(view)) {
        return TIPTRUE_OK;
    }
    const char *kind = view->machine->camera.mirrored ? "not-mirrored"
                       : turn < TT_PI / 4             ? "rows-up"
                       : turn > 3 * TT_PI / 4         ? "columns-left"
                                                      : "exchanged";
    return tt_finding_add_values(view, TT_FINDING_PICTURE_MIRRORED, TIPTRUE_WARNING, TT_ABOUT_RUN,
                                 TT_VALUES(TT_TEXT("kind", kind)));
}

/* Whether all views are on one side of the centre that is taken for the picture's middle, because
 * none is stated: what a picture of another size looks like. */
static bool one_sided(const struct tt_view *view)
{
    const struct tt_camera *camera = &view->machine->camera;
    bool beside[4] = {true, true, true, true}, middle = true; /* left, right, above, below */
    size_t n = 0;

    for (size_t i = 0; i < view->run->n_observations; i++) {
        const struct tt_observation *o = &view->run->observations[i];
        if (o->kind == TT_VIEW && o->use == TT_USE) {
            const double v[2] = {o->px - camera->centre_px[0], o->py - camera->centre_px[1]};
            for (size_t k = 0; k < 4; k++) {
                beside[k] = beside[k] && (k % 2 == 0 ? v[k / 2] < 0 : v[k / 2] > 0);
            }
            n++;
        }
    }
    for (size_t k = 0; k < 2; k++) {
        middle = middle && camera->centre_px[k] == 0.5 * camera->size_px[k];
    }
    return middle && n >= LEAST_ONE_SIDED && (beside[0] || beside[1] || beside[2] || beside[3]);
}

/* The largest px and py of the views, as a share of the picture. */
static double farthest(const struct tt_view *view)
{
    const double *size = view->machine->camera.size_px;
    double most = 0;

    for (size_t i = 0; i < view->run->n_observations; i++) {
        const struct tt_observation *o = &view->run->observations[i];
        if (o->kind == TT_VIEW && o->use == TT_USE) {
            most = fmax(most, fmax(fabs(o->px) / size[0], fabs(o->py) / size[1]));
        }
    }
    return most;
}

/* What no camera and no axes have. */
static enum tiptrue_status implausible(struct tt_view *view)
{
    const struct tt_camera_result *camera = &view->solution->camera;
    const struct tt_axes_result *a = &view->solution->axes;
    double pixel_mm = sqrt(camera->scale_x_mm * camera->scale_y_mm),
           most = fmax(fmax(fabs(a->scale_x), fabs(a->scale_y)), fabs(a->square_rad));
    enum tiptrue_status status = TIPTRUE_OK;

    if (camera->views > 0 && farthest(view) < CORNER_SHARE) {
        status = tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                       TT_VALUES(TT_TEXT("what", "pixels"),
                                                 TT_SHARE("found", farthest(view)),
                                                 TT_SHARE("least", CORNER_SHARE)));
    } else if (one_sided(view)) {
        status = tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_WARNING, TT_ABOUT_RUN,
                                       TT_VALUES(TT_TEXT("what", "one-sided")));
    } else if (camera->determined &&
               !(pixel_mm > SMALLEST_PIXEL_MM && pixel_mm < TT_LARGEST_PIXEL_MM)) {
        status = tt_finding_add_values(
            view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
            TT_VALUES(TT_TEXT("what", "pixel-size"), TT_IN_MM("found", pixel_mm),
                      TT_IN_MM("most", TT_LARGEST_PIXEL_MM), TT_IN_MM("least", SMALLEST_PIXEL_MM)));
    }
    if (status == TIPTRUE_OK && a->found && most > AXES_BELIEVED) {
        status = tt_finding_add_values(view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_ABOUT_RUN,
                                       TT_VALUES(TT_TEXT("what", "axes"), TT_SHARE("found", most),
                                                 TT_SHARE("most", AXES_BELIEVED)));
    }
    return status;
}

/* What the scale that was found looks like beside the stated one: the word of camera-off, or NULL.
 */
static const char *other_scale(double factor)
{
    static const struct {
        double factor;
        const char *kind;
    } UNITS[] = {{1e3, "unit-m"}, {1e-3, "unit-um"}, {25.4, "unit-inch"}, {1 / 25.4, "unit-inch"}};

    for (size_t k = 0; k < sizeof UNITS / sizeof UNITS[0]; k++) {
        if (fabs(log(factor / UNITS[k].factor)) < OTHER_UNIT) {
            return UNITS[k].kind;
        }
    }
    return fabs(log(factor)) > OTHER_LENS ? "lens" : NULL;
}

/* Why the present scale and turn are off: the word of camera-off, or NULL. */
static const char *camera_kind(const struct tt_view *view, double factor)
{
    const struct tt_camera_result *camera = &view->solution->camera;
    const struct tt_limits *limits = &view->machine->limits;
    const char *kind = other_scale(factor);
    double off = camera->off_at_corner_mm, u = camera->u_off_at_corner_mm;

    if (kind != NULL) {
        return kind;
    }
    if (!is_mirrored(view) && fabs(turned(view)) > TT_PI - TURNED_RAD) {
        return "half-turn";
    }
    if (!is_mirrored(view) && fabs(turned(view)) > TURNED_RAD) {
        return "turned";
    }
    if (limits->has_permitted_view) {
        return off + ONE_SIDED * u > limits->permitted_view_mm ? "limit" : NULL;
    }
    return off > CAMERA_OFF * u && off > view->model->picture.pixel_mm ? "off" : NULL;
}

static enum tiptrue_status camera_off(struct tt_view *view)
{
    const struct tt_camera_result *camera = &view->solution->camera;
    const struct tt_camera *stated = &view->machine->camera;

    if (!camera->has_off) {
        return TIPTRUE_OK;
    }
    double x = camera->scale_x_mm / stated->scale_mm[0],
           y = camera->scale_y_mm / stated->scale_mm[1];
    const char *kind = camera_kind(view, sqrt(x * y));
    if (kind == NULL || (is_mirrored(view) && other_scale(sqrt(x * y)) == NULL)) {
        return TIPTRUE_OK; /* a mirrored picture is told as such */
    }
    bool note = kind[0] == 'o' && !view->machine->limits.has_permitted_view;
    return tt_finding_add_values(
        view, TT_FINDING_CAMERA_OFF, note ? TIPTRUE_NOTE : TIPTRUE_WARNING, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("kind", kind), TT_IN_MM("off", camera->off_at_corner_mm),
                  TT_IN_MM("u", camera->u_off_at_corner_mm),
                  TT_IN_MM("permitted", view->machine->limits.has_permitted_view
                                            ? view->machine->limits.permitted_view_mm
                                            : NAN),
                  TT_PLAIN("factor_x", x), TT_PLAIN("factor_y", y),
                  TT_IN_DEG("turned", turned(view))));
}

static enum tiptrue_status distortion(struct tt_view *view)
{
    const struct tt_camera_result *camera = &view->solution->camera;

    if (!camera->determined || !camera->has_distortion) {
        return TIPTRUE_OK;
    }
    double corner_mm = fabs(camera->at_corner_px) * view->model->picture.pixel_mm;
    const struct tt_limits *limits = &view->machine->limits;
    bool over = limits->has_permitted_view && corner_mm > limits->permitted_view_mm;
    return tt_finding_add_values(
        view, TT_FINDING_LENS_DISTORTION, over ? TIPTRUE_WARNING : TIPTRUE_NOTE, TT_ABOUT_RUN,
        TT_VALUES(TT_PLAIN("kappa", camera->kappa), TT_PLAIN("u_kappa", camera->u_kappa),
                  TT_PLAIN("corner_px", camera->at_corner_px), TT_IN_MM("corner", corner_mm)));
}

static enum tiptrue_status axes(struct tt_view *view)
{
    const struct tt_axes_result *a = &view->solution->axes;
    enum tiptrue_status status = TIPTRUE_OK;

    if (!a->found) {
        return TIPTRUE_OK;
    }
    double x = fabs(a->scale_x) / a->u_scale_x, y = fabs(a->scale_y) / a->u_scale_y,
           g = fabs(a->square_rad) / a->u_square_rad, scale = fmax(x, y);
    if (scale > AXIS_SHOWN || scale >= g) {
        status = tt_finding_add_values(view, TT_FINDING_AXES_SCALE, TIPTRUE_WARNING, TT_ABOUT_RUN,
                                       TT_VALUES(TT_IN_MM("x_over_100", a->scale_x * BOARD_MM),
                                                 TT_IN_MM("u_x", a->u_scale_x * BOARD_MM),
                                                 TT_IN_MM("y_over_100", a->scale_y * BOARD_MM),
                                                 TT_IN_MM("u_y", a->u_scale_y * BOARD_MM)));
    }
    if (status == TIPTRUE_OK && (g > AXIS_SHOWN || g > scale)) {
        status = tt_finding_add_values(
            view, TT_FINDING_AXES_NOT_SQUARE, TIPTRUE_WARNING, TT_ABOUT_RUN,
            TT_VALUES(TT_IN_MM("over_100", fabs(a->square_rad) * BOARD_MM),
                      TT_IN_MM("u", a->u_square_rad * BOARD_MM),
                      TT_TEXT("way", a->square_rad > 0 ? "counter-clockwise" : "clockwise")));
    }
    return status;
}

enum tiptrue_status tt_findings_of_views(struct tt_view *view)
{
    static tt_finder *const FINDERS[] = {implausible, undetermined, scattered, mirrored,
                                         camera_off,  distortion,   axes};
    bool in_pixels = view->model->picture.n == 0 || farthest(view) >= CORNER_SHARE;

    return tt_find_all(view, FINDERS, in_pixels ? sizeof FINDERS / sizeof FINDERS[0] : 1);
}
