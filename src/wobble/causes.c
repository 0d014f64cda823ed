/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Why a flight wobbles: each line followed, classed and measured. */
#include "causes.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "peaks.h"

#define BLADES_ASSUMED   3.0
#define BELOW_SPEED      0.34 /* of the logged speed: below it, it is no speed of a propeller */
#define POLE_PAIRS_LEAST 4
#define POLE_PAIRS_MOST  14
#define MOVES_CELLS      2.0   /* bins a line must move through, or have stood against, to be told */
#define RIVAL_CLOSE      0.85  /* a rival with this part of the gain leaves it open */
#define HUMP_PART        0.35  /* a fixed line wider than this part of its frequency is no line, but a hump */
#define RELATED_OFF      0.015 /* two lines are taken as whole multiples within this */

struct work {
    const struct sr_slices *slices;
    const struct sr_view *view;
    const struct sr_rig *rig;
    const struct sr_score *score; /* with its lines as the mean over the flight shows them */
    struct sr_gram gram;
    struct sr_speeds speeds;
    struct sr_picks picks;
    struct sr_motor_shares shares[SR_PEAKS_MAX]; /* of each pick */
};

static double blades_of(const struct sr_rig *rig)
{
    return rig->build.blades >= 1 ? rig->build.blades : BLADES_ASSUMED;
}

static double max_order(const struct work *w, bool electrical)
{
    double most = 2 * blades_of(w->rig) + 1;
    return electrical ? most / POLE_PAIRS_LEAST : fmax(most, w->rig->pole_pairs);
}

static enum sr_status follow(struct work *w, bool electrical, struct sr_error *err)
{
    memset(w->gram.live, true, w->gram.slices * w->gram.bins);
    sr_gram_refresh(&w->gram);
    sr_picks_release(&w->picks);
    enum sr_status status = sr_picks_find(&w->picks, &w->gram, &w->speeds, max_order(w, electrical), err);
    for (size_t k = 0; status == SR_OK && k < w->score->n_peaks; k++)
        sr_picks_add(&w->picks, &w->gram, w->score->peaks[k].low_bin, w->score->peaks[k].high_bin);
    return status == SR_OK ? sr_picks_share(&w->picks, &w->gram, w->slices, w->view, err) : status;
}

/* Whether every strong moving line is a whole multiple of a motor's speed, 1x or blade pass among them. */
static bool pairs_fit(const struct work *w, double pairs)
{
    bool known_one = false;
    for (size_t p = 0; p < w->picks.count; p++) {
        const struct sr_pick *pick = &w->picks.pick[p];
        if (pick->channel == SR_CHANNEL_NONE || pick->share < SR_PEAK_SHARE_MIN)
            continue;
        size_t n = sr_whole_order(&w->gram, &w->speeds, pick->f0, w->speeds.mean_hz / pairs);
        if (n == 0)
            return false;
        known_one = known_one || n == 1 || (double)n == w->rig->build.blades;
    }
    return known_one;
}

/* Whether the lines lie far below the speed: no propeller shakes at a third of its own. */
static bool below_speed(const struct work *w)
{
    const struct sr_pick *most = NULL;
    for (size_t p = 0; p < w->picks.count; p++) {
        const struct sr_pick *pick = &w->picks.pick[p];
        if (pick->order > 0 && pick->share >= SR_PEAK_SHARE_MIN)
            return false;
        if (pick->channel != SR_CHANNEL_NONE && (most == NULL || pick->share > most->share))
            most = pick;
    }
    return most != NULL && most->share >= SR_PEAK_SHARE_MIN && most->f0 < BELOW_SPEED * w->speeds.mean_hz;
}

/* Electrical speeds with unknown pole pairs: the lowest number of pairs that makes sense of the lines. */
static enum sr_status work_out_pairs(struct work *w, struct sr_causes *causes, struct sr_error *err)
{
    bool unknown = w->rig->pole_pairs <= 0 && w->speeds.source == SR_SPEED_MOTORS;
    bool fast = unknown && w->speeds.mean_hz > SR_ELECTRICAL_HZ;
    enum sr_status status = follow(w, fast, err);
    if (status != SR_OK || !unknown || !(fast || below_speed(w)))
        return status;
    causes->electrical = true;
    for (int pairs = POLE_PAIRS_LEAST; pairs <= POLE_PAIRS_MOST && !(causes->pole_pairs > 0); pairs++)
        if (pairs_fit(w, pairs))
            causes->pole_pairs = pairs;
    if (!(causes->pole_pairs > 0))
        return SR_OK;
    sr_speeds_gear(&w->speeds, causes->pole_pairs);
    return follow(w, false, err);
}

static enum sr_cause judge(const struct work *w, const struct sr_pick *pick)
{
    double bin_hz = w->gram.bin_hz;
    if (pick->channel == SR_CHANNEL_NONE && pick->f_hi - pick->f_lo > HUMP_PART * pick->f0)
        return SR_CAUSE_BROADBAND;
    if (w->speeds.channels == 0 || pick->open || pick->moves_hz < MOVES_CELLS * bin_hz ||
        pick->rival_gain > RIVAL_CLOSE * pick->gain)
        return SR_CAUSE_UNDECIDED;
    if (pick->channel == SR_CHANNEL_NONE)
        return SR_CAUSE_FIXED;
    return pick->folded ? SR_CAUSE_FOLDED : SR_CAUSE_ORDER;
}

static bool moves(enum sr_cause cause)
{
    return cause == SR_CAUSE_ORDER || cause == SR_CAUSE_FOLDED;
}

/* Bins that it lies in over most of the flight. */
static void fill_bins(struct sr_peak *peak, const struct sr_gram *gram, const struct sr_pick *pick)
{
    size_t low = gram->bins - 1, high = gram->first;
    for (size_t i = 0; i < gram->slices; i++) {
        if (pick->low[i] > pick->high[i])
            continue;
        low = pick->low[i] < low ? pick->low[i] : low;
        high = pick->high[i] > high ? pick->high[i] : high;
    }
    peak->low_bin = low < high ? low : high;
    peak->high_bin = high;
}

static double gain_ratio(const struct sr_view *view, enum sr_picture_axis axis, double true_hz,
                         double seen_hz)
{
    double seen = sr_camera_wobble_gain(&view->camera, axis, seen_hz);
    return seen > 0 ? sr_camera_wobble_gain(&view->camera, axis, true_hz) / seen : 1;
}

/* True frequency of a moving line at the flight's mean speed: of the motor it comes from, where one is named,
 * so that it stands where the log has it; else of them all. */
static double mean_true_hz(const struct work *w, const struct sr_pick *pick, int motor)
{
    for (size_t c = 0; c < w->speeds.channels && motor > 0; c++)
        if (w->speeds.motor[c] == motor)
            return (double)pick->order * w->speeds.mean_hz * w->speeds.level[c];
    return pick->f0;
}

static void measure(struct sr_peak *peak, const struct work *w, const struct sr_pick *pick, int motor)
{
    double n = (double)w->gram.slices;
    memset(peak, 0, sizeof *peak);
    peak->share = fmin(fmax(pick->share, 0), 1);
    peak->wobble_px = sqrt(fmax(pick->share, 0) * w->gram.total / n);
    peak->rate_dps = sqrt(fmax(pick->rate_energy, 0) / n);
    for (int a = 0; a < 3; a++)
        if (pick->axis[a] > pick->axis[peak->axis])
            peak->axis = (enum sr_picture_axis)a;
    fill_bins(peak, &w->gram, pick);
    peak->cause = judge(w, pick);
    double true_hz = mean_true_hz(w, pick, motor);
    peak->hz = moves(peak->cause) ? sr_fold_hz(true_hz, w->gram.rate_hz) : pick->seen_hz;
    peak->true_hz = peak->cause == SR_CAUSE_FOLDED ? true_hz : peak->hz;
    /* What the footage shows goes by the true frequency, whatever the log makes of it. */
    peak->waves = peak->true_hz * w->view->camera.readout_s;
    peak->crawl_hz = sr_camera_crawl_hz(&w->view->camera, peak->true_hz);
}

/* Throttle as the speed: a line as a whole multiple of the lowest moving one. */
static void relate(struct sr_case *c, const struct work *w)
{
    double lowest = INFINITY;
    for (size_t p = 0; p < w->picks.count; p++) {
        const struct sr_pick *other = &w->picks.pick[p];
        enum sr_cause cause = judge(w, other);
        if (other->share >= SR_PEAK_SHARE_MIN && moves(cause))
            lowest = fmin(lowest, other->f0);
    }
    double ratio = c->pick->f0 / lowest;
    if (!isfinite(lowest) || ratio < 1.5 || fabs(ratio - round(ratio)) > RELATED_OFF * ratio)
        return;
    c->related = round(ratio);
    c->related_hz = lowest;
}

static enum sr_status describe(struct sr_peak *peak, struct sr_track *track, struct sr_causes *causes,
                               struct work *w, size_t p, struct sr_error *err)
{
    const struct sr_pick *pick = &w->picks.pick[p];
    struct sr_motor_shares *shares = &w->shares[p];
    struct sr_case c = {pick, &w->speeds, &w->gram, causes, shares, w->rig->build.blades,
                        0,    0,          w->view,  0,      1};
    enum sr_status status = sr_motors_split(shares, &w->gram, &w->speeds, w->slices, w->view, pick->order, 0,
                                            w->slices->count, err);

    if (status != SR_OK)
        return status;
    measure(peak, w, pick, shares->motor);
    if (moves(peak->cause)) {
        peak->order = sr_case_order(&c);
        peak->motor = shares->motor;
        memcpy(track->motor_share, shares->share, sizeof track->motor_share);
        if (w->speeds.source == SR_SPEED_THROTTLE)
            relate(&c, w);
    }
    if (peak->cause == SR_CAUSE_ORDER) {
        status = sr_crossing_find(&c, &c.crossing_hz, track->plain_px, err);
        if (status != SR_OK)
            return status;
        track->crossing_hz = c.crossing_hz;
    }
    if (peak->cause == SR_CAUSE_FOLDED)
        c.alias_gain = gain_ratio(w->view, peak->axis, peak->true_hz, peak->hz);
    sr_evidence_write(peak, &c);
    for (size_t i = 0; i < w->slices->count; i++) {
        track->hz[i] = pick->centre_hz[i];
        track->wobble_px[i] = sqrt(fmax(pick->energy[i], 0));
        track->plain_px[i] = track->crossing_hz > 0 ? sqrt(track->plain_px[i]) : track->wobble_px[i];
    }
    return SR_OK;
}

/* Picks that carry enough to be told of, strongest first, into order[]. */
static size_t rank(const struct work *w, size_t order[SR_PEAKS_MAX])
{
    size_t count = 0;
    for (size_t p = 0; p < w->picks.count; p++) {
        if (!(w->picks.pick[p].share >= SR_PEAK_SHARE_MIN))
            continue;
        size_t at = count++;
        for (; at > 0 && w->picks.pick[order[at - 1]].share < w->picks.pick[p].share; at--)
            order[at] = order[at - 1];
        order[at] = p;
    }
    return count;
}

static enum sr_status allocate_tracks(struct sr_causes *causes, size_t count, struct sr_error *err)
{
    double *block = calloc(causes->slices, 3 * (count + 1) * sizeof *block);
    if (block == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", causes->slices);
    causes->n_tracks = count;
    /* One block, owned through the first track. */
    for (size_t t = 0; t == 0 || t < count; t++) {
        causes->tracks[t].hz = block + 3 * t * causes->slices;
        causes->tracks[t].wobble_px = causes->tracks[t].hz + causes->slices;
        causes->tracks[t].plain_px = causes->tracks[t].wobble_px + causes->slices;
    }
    return SR_OK;
}

/* Whether slice i lies in a moment: its middle does. */
static bool in_moment(const struct sr_slices *slices, size_t i, const struct sr_moment *moment)
{
    double middle_s = (slices->slice[i].from_s + slices->slice[i].to_s) / 2;
    return middle_s >= moment->from_s && middle_s <= moment->to_s;
}

/* By the tracks: a line's frequency is that where it is loudest in the moment. */
static void name_moment(struct sr_moment *moment, const struct sr_score *score,
                        const struct sr_causes *causes, const struct sr_slices *slices)
{
    double energy[SR_PEAKS_MAX] = {0}, hz[SR_PEAKS_MAX] = {0}, loudest_px[SR_PEAKS_MAX] = {0}, total = 0;
    for (size_t t = 0; t < causes->n_tracks; t++)
        hz[t] = score->peaks[t].hz;
    for (size_t i = 0; i < slices->count; i++) {
        if (!in_moment(slices, i, moment))
            continue;
        total += score->slice_px[i] * score->slice_px[i];
        for (size_t t = 0; t < causes->n_tracks; t++) {
            const struct sr_track *track = &causes->tracks[t];
            double px = track->wobble_px[i];
            energy[t] += px * px;
            if (px > loudest_px[t] && isfinite(track->hz[i])) {
                loudest_px[t] = px;
                hz[t] = track->hz[i];
            }
        }
    }
    sr_moment_name(moment, total, score->peaks, energy, hz, causes->n_tracks);
}

static enum sr_status write_down(struct sr_causes *causes, struct sr_score *score, struct work *w,
                                 struct sr_error *err)
{
    struct sr_peak peaks[SR_PEAKS_MAX];
    size_t order[SR_PEAKS_MAX], count = rank(w, order);
    double rest = 1;
    enum sr_status status = allocate_tracks(causes, count, err);

    for (size_t t = 0; status == SR_OK && t < count; t++) {
        memset(&peaks[t], 0, sizeof peaks[t]);
        status = describe(&peaks[t], &causes->tracks[t], causes, w, order[t], err);
        rest -= peaks[t].share;
    }
    if (status != SR_OK)
        return status;
    if (count > 0)
        memcpy(score->peaks, peaks, count * sizeof *peaks);
    score->n_peaks = count;
    score->rest_share = fmax(rest, 0);
    for (size_t m = 0; m < score->n_worst; m++)
        name_moment(&score->worst[m], score, causes, w->slices);
    return SR_OK;
}

enum sr_status sr_causes_find(struct sr_causes *causes, struct sr_score *score,
                              const struct sr_slices *slices, const struct sr_view *view,
                              const struct sr_rig *rig, struct sr_error *err)
{
    struct sr_causes made = {.slices = slices->count, .mean_rpm = NAN, .speed_spread = NAN};
    if (slices->count == 0 || score->slices != slices->count || view->bins != slices->bins)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0,
                       "causes need the slices and the view that the score was made of");

    struct work *w = calloc(1, sizeof *w);
    if (w == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory");
    w->slices = slices;
    w->view = view;
    w->rig = rig;
    w->score = score;
    enum sr_status status = sr_gram_make(&w->gram, slices, view, err);
    if (status == SR_OK)
        status = sr_speeds_make(&w->speeds, slices, err);
    if (status == SR_OK)
        status = work_out_pairs(w, &made, err);
    if (status == SR_OK) {
        made.source = w->speeds.source;
        if (w->speeds.channels > 0)
            made.speed_spread = w->speeds.spread;
        if (w->speeds.mean_hz > 0)
            made.mean_rpm = w->speeds.mean_hz * 60;
        status = write_down(&made, score, w, err);
    }
    sr_picks_release(&w->picks);
    sr_speeds_release(&w->speeds);
    sr_gram_release(&w->gram);
    free(w);
    if (status != SR_OK)
        sr_causes_release(&made);
    else
        *causes = made;
    return status;
}

void sr_causes_release(struct sr_causes *causes)
{
    free(causes->tracks[0].hz);
    memset(causes, 0, sizeof *causes);
}
