/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What to try: the same slices scored again, less a line, or seen by a camera set otherwise. */
#include "stillrow/explain.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LISTED_MAX       (2 * SR_PEAKS_MAX + SR_MOTORS_MAX + SR_MODES_MAX + 1)
#define SHUTTER          0.5 /* of the frame period: a 180 degree shutter */
#define PROPS_OFF        "props off before you touch a motor or run it on the bench"
#define PROPS_OFF_FRAME  "props off before you work on the frame, a motor or the camera"
#define CROSSED_LEAST_HZ 6.0 /* a fixed line this near to a crossing is what is crossed */
#define CROSSED_PART     0.05
#define WORTH_STOPS      0.1 /* a longer exposure by less than this is the same one */

struct bench {
    const struct sr_score *score;
    const struct sr_causes *causes;
    const struct sr_slices *slices;
    const struct sr_view *view;
    const struct sr_rig *rig;
    double *px; /* [slices] */
    struct sr_trial list[LISTED_MAX];
    size_t count;
};

static struct sr_trial *add_trial(struct bench *b, enum sr_trial_kind kind)
{
    struct sr_trial *trial = &b->list[b->count++];
    memset(trial, 0, sizeof *trial);
    trial->kind = kind;
    trial->peak = trial->mode = -1;
    trial->exposure_s = b->view->camera.exposure_s;
    trial->smear_px = b->score->smear_px;
    return trial;
}

/* Finish a trial from the slices' wobble in b->px. */
static enum sr_status settle(struct bench *b, struct sr_trial *trial, double threshold_px,
                             struct sr_error *err)
{
    enum sr_status status = sr_quantile(b->px, b->slices->count, SR_SCORE_QUANTILE, &trial->wobble_px, err);
    if (status != SR_OK)
        return status;
    /* A flight that does not wobble cannot be made better. */
    trial->gain_db = b->score->wobble_px.value > 0
                         ? 20 * log10(b->score->wobble_px.value / fmax(trial->wobble_px, 1e-12))
                         : 0;
    trial->clears = trial->wobble_px < threshold_px;
    return SR_OK;
}

/* Part of a line's energy that goes with one motor; all of it where none is named. */
static double motor_part(const struct bench *b, size_t peak, int motor)
{
    double part = motor > 0 ? b->causes->tracks[peak].motor_share[motor - 1] : 1;
    return part > 0 ? part : 1;
}

static bool is_order(const struct sr_peak *peak)
{
    return peak->cause == SR_CAUSE_ORDER || peak->cause == SR_CAUSE_FOLDED;
}

static void word_order(char *what, size_t size, const struct sr_peak *peak, double blades)
{
    char whose[24] = "the motors";
    if (peak->motor > 0)
        snprintf(whose, sizeof whose, "motor %d", peak->motor);
    if (peak->order == 1)
        snprintf(what, size,
                 "balance or replace the prop%s of %s, look for a bent shaft or bell (1x, %.0f Hz)",
                 peak->motor > 0 ? "" : "s", whose, peak->true_hz);
    else if (peak->order > 0 && peak->order == blades)
        snprintf(what, size, "other props, or more room between props and arms (blade pass, %.0f Hz)",
                 peak->true_hz);
    else if (peak->order > 0)
        snprintf(what, size, "look for what shakes at %.3gx of %s (%.0f Hz): prop, bell, bearing, screws",
                 peak->order, whose, peak->true_hz);
    else
        snprintf(what, size,
                 "balance or replace props: this line follows throttle (%.0f Hz at mean throttle)",
                 peak->true_hz);
}

static void word_removal(struct sr_trial *trial, const struct sr_peak *peak, double blades,
                         enum sr_speed_source source)
{
    switch (peak->cause) {
    case SR_CAUSE_ORDER:
    case SR_CAUSE_FOLDED:
        word_order(trial->what, sizeof trial->what, peak, blades);
        snprintf(trial->caution, sizeof trial->caution, "%s", PROPS_OFF);
        break;
    case SR_CAUSE_FIXED:
        snprintf(trial->what, sizeof trial->what,
                 "stiffen, damp or shift what resonates at %.0f Hz: arm, plate, mount or camera", peak->hz);
        snprintf(trial->caution, sizeof trial->caution, "%s", PROPS_OFF_FRAME);
        break;
    case SR_CAUSE_UNDECIDED:
    case SR_CAUSE_BROADBAND:
        snprintf(trial->what, sizeof trial->what, "find and quieten what shakes at %.0f Hz", peak->hz);
        snprintf(trial->caution, sizeof trial->caution, "%s to tell what it is; %s",
                 source == SR_SPEED_NONE ? "log motor speeds or throttle" : "fly with more throttle changes",
                 PROPS_OFF_FRAME);
        break;
    }
}

/* Smear that goes with a line's wobble in a slice [energy per energy]: what the camera makes of one frequency
 * and axis into each. */
static double smear_per_wobble(const struct bench *b, size_t peak, size_t slice)
{
    double seen_hz = b->causes->tracks[peak].hz[slice];
    double hz = isfinite(seen_hz) ? seen_hz : b->score->peaks[peak].hz;
    size_t bin = (size_t)fmin(round(hz / b->view->bin_hz), (double)(b->view->bins - 1));
    int axis = b->score->peaks[peak].axis;
    double wobble = b->view->wobble[axis][bin];

    return wobble > 0 ? b->view->smear[axis][bin] / wobble : 0;
}

/* Take lines out of the slices, each by its part: their wobble, and the smear that goes with it. */
static void take_out(struct bench *b, struct sr_trial *trial, const double part[SR_PEAKS_MAX])
{
    double smear = 0;

    for (size_t i = 0; i < b->slices->count; i++) {
        double left = b->score->slice_px[i] * b->score->slice_px[i];
        for (size_t t = 0; t < b->causes->n_tracks; t++) {
            double px = b->causes->tracks[t].wobble_px[i];
            if (!(part[t] > 0))
                continue;
            left -= part[t] * px * px;
            smear += part[t] * px * px * smear_per_wobble(b, t, i);
        }
        b->px[i] = sqrt(fmax(left, 0));
    }
    smear = trial->smear_px * trial->smear_px - smear / (double)b->slices->count;
    trial->smear_px = sqrt(fmax(smear, 0));
}

/* Whether a fixed line is the resonance that another line drives when it crosses it. */
static bool is_crossed(const struct bench *b, size_t fixed)
{
    double hz = b->score->peaks[fixed].hz;
    for (size_t t = 0; t < b->causes->n_tracks; t++) {
        double crossing = b->causes->tracks[t].crossing_hz;
        if (crossing > 0 && fabs(crossing - hz) <= fmax(CROSSED_LEAST_HZ, CROSSED_PART * hz))
            return true;
    }
    return false;
}

/* An order without the resonance it drives, and that resonance's own ringing gone too. */
static enum sr_status try_crossings(struct bench *b, struct sr_error *err)
{
    enum sr_status status = SR_OK;
    for (size_t t = 0; t < b->causes->n_tracks && status == SR_OK; t++) {
        const struct sr_track *track = &b->causes->tracks[t];
        if (!(track->crossing_hz > 0))
            continue;
        double part[SR_PEAKS_MAX] = {0};
        for (size_t f = 0; f < b->causes->n_tracks; f++)
            part[f] = b->score->peaks[f].cause == SR_CAUSE_FIXED && is_crossed(b, f) ? 1 : 0;
        struct sr_trial *trial = add_trial(b, SR_TRIAL_REMOVE);
        trial->peak = (int)t;
        take_out(b, trial, part);
        double smear = 0;
        for (size_t i = 0; i < b->slices->count; i++) {
            double less = track->wobble_px[i] * track->wobble_px[i] - track->plain_px[i] * track->plain_px[i];
            b->px[i] = sqrt(fmax(b->px[i] * b->px[i] - less, 0));
            smear += less * smear_per_wobble(b, t, i);
        }
        smear = trial->smear_px * trial->smear_px - smear / (double)b->slices->count;
        trial->smear_px = sqrt(fmax(smear, 0));
        snprintf(
            trial->what, sizeof trial->what,
            "stiffen, damp or shift what resonates at %.0f Hz when the motors pass it: arm, plate, mount or "
            "camera",
            track->crossing_hz);
        snprintf(trial->caution, sizeof trial->caution, "%s", PROPS_OFF_FRAME);
        status = settle(b, trial, b->score->threshold_px, err);
    }
    return status;
}

static enum sr_status try_removals(struct bench *b, struct sr_error *err)
{
    enum sr_status status = SR_OK;
    for (size_t t = 0; t < b->causes->n_tracks && status == SR_OK; t++) {
        const struct sr_peak *peak = &b->score->peaks[t];
        double part[SR_PEAKS_MAX] = {0};
        if (peak->cause == SR_CAUSE_BROADBAND || (peak->cause == SR_CAUSE_FIXED && is_crossed(b, t)))
            continue;
        struct sr_trial *trial = add_trial(b, SR_TRIAL_REMOVE);
        trial->peak = (int)t;
        /* Balancing one motor takes out what that motor adds. */
        part[t] = peak->order == 1 ? motor_part(b, t, peak->motor) : 1;
        word_removal(trial, peak, b->rig->build.blades, b->causes->source);
        take_out(b, trial, part);
        status = settle(b, trial, b->score->threshold_px, err);
    }
    return status;
}

/* Everything one motor does, where it does more than one thing. */
static enum sr_status try_motors(struct bench *b, struct sr_error *err)
{
    enum sr_status status = SR_OK;
    for (int motor = 1; motor <= SR_MOTORS_MAX && status == SR_OK; motor++) {
        double part[SR_PEAKS_MAX] = {0};
        size_t orders = 0;
        for (size_t t = 0; t < b->causes->n_tracks; t++) {
            const struct sr_peak *peak = &b->score->peaks[t];
            if (!is_order(peak) || peak->motor != motor)
                continue;
            part[t] = motor_part(b, t, motor);
            orders++;
        }
        if (orders < 2)
            continue;
        struct sr_trial *trial = add_trial(b, SR_TRIAL_REMOVE);
        snprintf(trial->what, sizeof trial->what,
                 "another prop on motor %d, and if it stays, another motor: all its %zu lines", motor,
                 orders);
        snprintf(trial->caution, sizeof trial->caution, "%s", PROPS_OFF);
        take_out(b, trial, part);
        status = settle(b, trial, b->score->threshold_px, err);
    }
    return status;
}

/* The slices through another camera. What a mount does to the view is kept: it is the same at every setting.
 */
static enum sr_status try_camera(struct bench *b, struct sr_trial *trial, const struct sr_camera *camera,
                                 double threshold_px, struct sr_error *err)
{
    struct sr_view view, plain;
    enum sr_status status = sr_view_init(&view, b->slices, camera, err);
    if (status != SR_OK)
        return status;
    status = sr_view_init(&plain, b->slices, &b->view->camera, err);
    if (status == SR_OK) {
        for (size_t a = 0; a < 3; a++)
            for (size_t k = 0; k < view.bins; k++) {
                double mount = plain.wobble[a][k] > 0 ? b->view->wobble[a][k] / plain.wobble[a][k] : 1;
                view.wobble[a][k] *= mount;
                view.smear[a][k] *= mount;
            }
        sr_view_wobble(&view, b->slices, b->px);
        trial->smear_px = sr_view_smear(&view, b->slices);
        trial->exposure_s = camera->exposure_s;
        status = settle(b, trial, threshold_px, err);
        sr_view_release(&plain);
    }
    sr_view_release(&view);
    return status;
}

static enum sr_status try_exposure(struct bench *b, struct sr_error *err)
{
    struct sr_camera camera = b->view->camera;
    double now_s = camera.exposure_s, longer_s = SHUTTER / camera.fps;
    double stops = now_s > 0 ? log2(longer_s / now_s) : 0;

    if (!(longer_s > now_s) || (now_s > 0 && stops < WORTH_STOPS))
        return SR_OK;
    struct sr_trial *trial = add_trial(b, SR_TRIAL_EXPOSURE);
    camera.exposure_s = longer_s;
    trial->nd_stops = stops;
    enum sr_status status = try_camera(b, trial, &camera, b->score->threshold_px, err);
    snprintf(trial->what, sizeof trial->what,
             "expose %.3g ms instead of %.3g ms (half the frame, a 180 degree shutter)", 1000 * longer_s,
             1000 * now_s);
    if (stops > 0)
        snprintf(trial->caution, sizeof trial->caution,
                 "needs an ND filter of %.1f stops; smear goes from %.2g to %.2g px", stops,
                 b->score->smear_px, trial->smear_px);
    else
        snprintf(trial->caution, sizeof trial->caution, "needs an ND filter; smear goes from %.2g to %.2g px",
                 b->score->smear_px, trial->smear_px);
    return status;
}

static bool same_camera(const struct sr_camera *a, const struct sr_camera *b)
{
    return a->width_px == b->width_px && a->height_px == b->height_px && a->fps == b->fps &&
           a->readout_s == b->readout_s && a->exposure_s == b->exposure_s && a->hfov_deg == b->hfov_deg &&
           a->lens == b->lens;
}

static enum sr_status try_modes(struct bench *b, struct sr_error *err)
{
    enum sr_status status = SR_OK;
    for (size_t m = 0; m < b->rig->n_modes && status == SR_OK; m++) {
        const struct sr_camera_mode *mode = &b->rig->modes[m];
        /* A log that does not reach the mode's wobble cannot say anything about it. The slices are turned
         * into the picture axes of one tilt. */
        if (same_camera(&mode->camera, &b->view->camera) ||
            mode->camera.tilt_deg != b->view->camera.tilt_deg ||
            sr_band_low_hz(&mode->camera, SR_BAND_BEND) >= b->slices->sees_hz)
            continue;
        struct sr_trial *trial = add_trial(b, SR_TRIAL_MODE);
        double threshold_px = isnan(b->rig->threshold_px) ? sr_camera_default_threshold_px(&mode->camera)
                                                          : b->score->threshold_px;
        trial->mode = (int)m;
        status = try_camera(b, trial, &mode->camera, threshold_px, err);
        snprintf(trial->what, sizeof trial->what, "camera mode %s: %.0fx%.0f at %.4g fps, readout %.3g ms",
                 mode->name, mode->camera.width_px, mode->camera.height_px, mode->camera.fps,
                 1000 * mode->camera.readout_s);
        if (mode->camera.width_px != b->view->camera.width_px)
            snprintf(trial->caution, sizeof trial->caution,
                     "its px are of its own picture, %.0f wide; threshold there %.2g px",
                     mode->camera.width_px, threshold_px);
    }
    return status;
}

static int by_wobble(const void *a, const void *b)
{
    const struct sr_trial *x = a, *y = b;
    if (x->wobble_px != y->wobble_px)
        return x->wobble_px < y->wobble_px ? -1 : 1;
    return (x->peak > y->peak) - (x->peak < y->peak);
}

enum sr_status sr_trials_make(struct sr_trial *trials, size_t *count, const struct sr_score *score,
                              const struct sr_causes *causes, const struct sr_slices *slices,
                              const struct sr_view *view, const struct sr_rig *rig, struct sr_error *err)
{
    struct bench *b = calloc(1, sizeof *b);
    double *px = calloc(slices->count + 1, sizeof *px);
    enum sr_status status;

    if (b == NULL || px == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", slices->count);
        goto done;
    }
    *b = (struct bench){
        .score = score, .causes = causes, .slices = slices, .view = view, .rig = rig, .px = px};
    status = try_removals(b, err);
    if (status == SR_OK)
        status = try_crossings(b, err);
    if (status == SR_OK)
        status = try_motors(b, err);
    if (status == SR_OK)
        status = try_exposure(b, err);
    if (status == SR_OK)
        status = try_modes(b, err);
    if (status != SR_OK)
        goto done;
    qsort(b->list, b->count, sizeof *b->list, by_wobble);
    *count = b->count < SR_TRIALS_MAX ? b->count : SR_TRIALS_MAX;
    memcpy(trials, b->list, *count * sizeof *trials);

done:
    free(px);
    free(b);
    return status;
}
