/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The speeds that lines are followed along, and where a line then lies in a slice. */
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "tracks.h"

#define SLOWEST_HZ    5.0 /* [rev/s] a motor that is logged slower than this in flight is not logged */
#define PAIRS_BELOW   8.0 /* [bins] of smear, that half the points are close enough for */
#define SMEAR_COUNTS  6.0 /* [bins] a smeared line counts for no more than this: it fits by chance */
#define KNOWN_LEAST   0.5 /* part of the slices that must carry a channel */
#define WINDOW_POINTS 240 /* of a window's shape: a step is a whole number of them */

/*
 * These run some million times a flight: casts, which cut towards 0, stand for floor() and round(), whose
 * calls would take most of the time. Nothing here is negative.
 */
static double whole(double x)
{
    return (double)(size_t)x;
}

static double lesser(double a, double b)
{
    return a < b ? a : b;
}

static double greater(double a, double b)
{
    return a > b ? a : b;
}

double sr_fold_hz(double hz, double rate_hz)
{
    double off = hz - rate_hz * whole(hz / rate_hz + 0.5);
    return off < 0 ? -off : off;
}

/* The part of a slice's spectrum that each step contributes: the squared windows of its segments added up. */
static void fill_step_shares(double share[SR_SLICE_STEPS], enum sr_window window)
{
    double w[WINDOW_POINTS], sum = 0;
    size_t slice = WINDOW_POINTS * 2, hop = WINDOW_POINTS / 2, step = slice / SR_SLICE_STEPS;

    memset(share, 0, SR_SLICE_STEPS * sizeof *share);
    sr_window_fill(window, w, WINDOW_POINTS);
    for (size_t start = 0; start + WINDOW_POINTS <= slice; start += hop)
        for (size_t n = 0; n < WINDOW_POINTS; n++) {
            share[(start + n) / step] += w[n] * w[n];
            sum += w[n] * w[n];
        }
    for (size_t j = 0; j < SR_SLICE_STEPS; j++)
        share[j] /= sum;
}

/* Motors whose speed is logged through most of the flight, 1-based, into motor[]. */
static size_t logged_motors(const struct sr_slices *slices, int motor[SR_MOTORS_MAX])
{
    size_t count = 0;
    for (size_t m = 0; m < slices->n_motors && m < SR_MOTORS_MAX; m++) {
        size_t held = 0;
        for (size_t i = 0; i < slices->count; i++)
            held += slices->slice[i].motor_rpm[m] / 60 > SLOWEST_HZ;
        if ((double)held >= KNOWN_LEAST * (double)slices->count && held > 0)
            motor[count++] = (int)m + 1;
    }
    return count;
}

/* Speeds of one slice, in rev/s, mean first; false if one is missing. */
static bool motor_steps(const struct sr_speeds *s, const struct sr_slice *slice, double *step)
{
    size_t motors = s->channels - 1;
    for (size_t j = 0; j < SR_SLICE_STEPS; j++)
        step[j] = 0;
    for (size_t c = 1; c < s->channels; c++) {
        size_t m = (size_t)s->motor[c] - 1;
        if (!(slice->motor_rpm[m] / 60 > SLOWEST_HZ))
            return false;
        for (size_t j = 0; j < SR_SLICE_STEPS; j++) {
            step[c * SR_SLICE_STEPS + j] = slice->motor_step_rpm[m][j] / 60;
            step[j] += slice->motor_step_rpm[m][j] / 60 / (double)motors;
        }
    }
    return true;
}

/*
 * Lift of a propeller goes with the square of its speed, so speed goes about with the root of throttle, and
 * follows it some tens of milliseconds later: half a step is taken (common practice, no source).
 */
static bool throttle_steps(const struct sr_slice *slice, double *step)
{
    const double *t = slice->throttle_step;
    if (!(slice->throttle > 0))
        return false;
    for (size_t j = 0; j < SR_SLICE_STEPS; j++) {
        double throttle = fmax(j > 0 ? (t[j] + t[j - 1]) / 2 : (3 * t[0] - t[1]) / 2, 0);
        step[j] = sqrt(throttle);
        step[SR_SLICE_STEPS + j] = throttle;
    }
    return true;
}

static void summarise_slice(struct sr_speeds *s, size_t i)
{
    for (size_t c = 0; c < s->channels; c++) {
        size_t at = i * s->channels + c;
        const double *step = s->step + at * SR_SLICE_STEPS;
        s->mean[at] = 0;
        s->low[at] = s->high[at] = step[0];
        for (size_t j = 0; j < SR_SLICE_STEPS; j++) {
            s->mean[at] += s->share[j] * step[j];
            s->low[at] = fmin(s->low[at], step[j]);
            s->high[at] = fmax(s->high[at], step[j]);
        }
    }
}

/* Divide by the flight's mean: of the motors together, so that their ratios stay; of each throttle law alone.
 */
static void make_relative(struct sr_speeds *s, size_t slices)
{
    double mean[SR_CHANNELS_MAX] = {0};
    for (size_t i = 0; i < slices; i++)
        for (size_t c = 0; c < s->channels && s->known[i]; c++)
            mean[c] += s->mean[i * s->channels + c] / (double)s->known_count;
    for (size_t i = 0; i < slices; i++) {
        for (size_t c = 0; c < s->channels && s->known[i]; c++) {
            double by = s->source == SR_SPEED_MOTORS ? mean[0] : mean[c];
            size_t at = i * s->channels + c;
            s->mean[at] /= by;
            s->low[at] /= by;
            s->high[at] /= by;
            for (size_t j = 0; j < SR_SLICE_STEPS; j++)
                s->step[at * SR_SLICE_STEPS + j] /= by;
        }
    }
    for (size_t c = 0; c < s->channels; c++)
        s->level[c] = s->source == SR_SPEED_MOTORS ? mean[c] / mean[0] : 1;
    s->mean_hz = s->source == SR_SPEED_MOTORS ? mean[0] : 0;
}

static enum sr_status measure_spread(struct sr_speeds *s, size_t slices, struct sr_error *err)
{
    double *sorted = malloc(slices * sizeof *sorted);
    size_t n = 0;
    if (sorted == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", slices);
    for (size_t i = 0; i < slices; i++)
        if (s->known[i])
            sorted[n++] = s->mean[i * s->channels];
    gsl_sort(sorted, 1, n);
    s->spread = (gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.95) -
                 gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.05)) /
                gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.5);
    free(sorted);
    return SR_OK;
}

static enum sr_status allocate(struct sr_speeds *s, size_t slices, struct sr_error *err)
{
    size_t cells = slices * s->channels;
    s->step = calloc(cells + 1, (SR_SLICE_STEPS + 3) * sizeof(double));
    s->level = calloc(s->channels, sizeof(double));
    s->known = calloc(slices, sizeof *s->known);
    if (s->step == NULL || s->level == NULL || s->known == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", slices);
    s->mean = s->step + cells * SR_SLICE_STEPS;
    s->low = s->mean + cells;
    s->high = s->low + cells;
    return SR_OK;
}

/* Choose what to go by: motor speeds, else throttle, else nothing. */
static void choose_source(struct sr_speeds *s, const struct sr_slices *slices)
{
    int motor[SR_MOTORS_MAX];
    size_t motors = logged_motors(slices, motor), held = 0;

    for (size_t i = 0; i < slices->count; i++)
        held += slices->slice[i].throttle > 0;
    if (motors > 0) {
        s->source = SR_SPEED_MOTORS;
        s->channels = motors + 1;
        s->scanned = 1;
        for (size_t m = 0; m < motors; m++)
            s->motor[m + 1] = motor[m];
    } else if (held > 0 && (double)held >= KNOWN_LEAST * (double)slices->count) {
        s->source = SR_SPEED_THROTTLE;
        s->channels = s->scanned = 2;
    }
}

enum sr_status sr_speeds_make(struct sr_speeds *speeds, const struct sr_slices *slices, struct sr_error *err)
{
    struct sr_speeds s = {.source = SR_SPEED_NONE};
    enum sr_status status;

    choose_source(&s, slices);
    if (s.channels == 0) {
        *speeds = s;
        return SR_OK;
    }
    fill_step_shares(s.share, slices->window);
    status = allocate(&s, slices->count, err);
    for (size_t i = 0; status == SR_OK && i < slices->count; i++) {
        double *step = s.step + i * s.channels * SR_SLICE_STEPS;
        s.known[i] = s.source == SR_SPEED_MOTORS ? motor_steps(&s, &slices->slice[i], step)
                                                 : throttle_steps(&slices->slice[i], step);
        s.known_count += s.known[i];
        if (s.known[i])
            summarise_slice(&s, i);
    }
    if (status == SR_OK && s.known_count == 0) {
        sr_speeds_release(&s);
        *speeds = s;
        return SR_OK;
    }
    if (status == SR_OK) {
        make_relative(&s, slices->count);
        status = measure_spread(&s, slices->count, err);
    }
    if (status != SR_OK)
        sr_speeds_release(&s);
    else
        *speeds = s;
    return status;
}

void sr_speeds_gear(struct sr_speeds *speeds, double pole_pairs)
{
    /* Relative speeds stay as they are. */
    speeds->mean_hz /= pole_pairs;
}

void sr_speeds_release(struct sr_speeds *speeds)
{
    free(speeds->step);
    free(speeds->level);
    free(speeds->known);
    memset(speeds, 0, sizeof *speeds);
}

/* Bins that true frequencies low..high [Hz] may show in, folded. */
static void folded_span(const struct sr_gram *gram, double low_hz, double high_hz, double *from, double *to)
{
    double a = sr_fold_hz(low_hz, gram->rate_hz), b = sr_fold_hz(high_hz, gram->rate_hz);
    size_t zone_low = (size_t)(low_hz / gram->rate_hz * 2), zone_high = (size_t)(high_hz / gram->rate_hz * 2);

    *from = lesser(a, b);
    *to = greater(a, b);
    if (zone_high > zone_low) {
        /* It turns round at Nyquist where it enters an odd zone, at 0 where it enters an even one. */
        bool odd = zone_high % 2 != 0, both = zone_high > zone_low + 1;
        if (odd || both)
            *to = gram->rate_hz / 2;
        if (!odd || both)
            *from = 0;
    }
}

void sr_track_window(const struct sr_gram *gram, const struct sr_speeds *speeds, int channel, double f_lo,
                     double f_hi, double pad_bins, size_t i, size_t *low, size_t *high)
{
    double from = f_lo, to = f_hi;
    *low = 1;
    *high = 0;
    if (channel != SR_CHANNEL_NONE) {
        if (!speeds->known[i])
            return;
        size_t at = i * speeds->channels + (size_t)channel;
        folded_span(gram, f_lo * speeds->low[at], f_hi * speeds->high[at], &from, &to);
    }
    double first = from / gram->bin_hz - pad_bins - 0.5, last = to / gram->bin_hz + pad_bins + 0.5;
    first = greater(first, (double)gram->first);
    last = lesser(last, (double)gram->bins - 1);
    if (last >= first) {
        *low = (size_t)first;
        *low += (double)*low < first;
        *high = (size_t)last;
    }
}

void sr_order_window(const struct sr_gram *gram, const struct sr_speeds *speeds, size_t order,
                     double pad_bins, size_t i, size_t *low, size_t *high)
{
    double f0 = (double)order * speeds->mean_hz;
    *low = 1;
    *high = 0;
    for (size_t c = 1; c < speeds->channels; c++) {
        size_t a, b;
        sr_track_window(gram, speeds, (int)c, f0, f0, pad_bins, i, &a, &b);
        if (a > b)
            continue;
        *low = *low > *high || a < *low ? a : *low;
        *high = b > *high ? b : *high;
    }
}

double sr_track_energy(const struct sr_gram *gram, const struct sr_speeds *speeds, int channel, double f0)
{
    double sum = 0;
    for (size_t i = 0; i < gram->slices; i++) {
        const double *cum = gram->cum + i * (gram->bins + 1);
        size_t low, high;
        sr_track_window(gram, speeds, channel, f0, f0, SR_LOBE_BINS - 0.5, i, &low, &high);
        if (low <= high)
            sum += cum[high + 1] - cum[low];
    }
    return sum;
}

/* Sums along a track in one slice. */
struct along {
    double stand, weight; /* means along the track */
    double bins;          /* it is spread over */
};

static void add_point(const struct sr_gram *gram, size_t i, double hz, double share, struct along *a)
{
    size_t bin = (size_t)(sr_fold_hz(hz, gram->rate_hz) / gram->bin_hz + 0.5);
    if (bin < gram->first || bin >= gram->bins)
        return;
    size_t cell = i * gram->bins + bin;
    a->stand += share * gram->smooth[cell];
    a->weight += share * gram->weight[cell];
}

static struct along follow(const struct sr_gram *gram, const struct sr_speeds *speeds, int channel, double f0,
                           size_t i)
{
    struct along a = {0, 0, 0};
    if (channel == SR_CHANNEL_NONE) {
        a.bins = 3;
        add_point(gram, i, f0, 1, &a);
        return a;
    }
    size_t at = i * speeds->channels + (size_t)channel;
    const double *step = speeds->step + at * SR_SLICE_STEPS;
    double smear = f0 * (speeds->high[at] - speeds->low[at]) / gram->bin_hz;
    a.bins = 3 + lesser(smear, SMEAR_COUNTS);
    if (smear < 1) {
        add_point(gram, i, f0 * speeds->mean[at], 1, &a);
        return a;
    }
    if (smear < PAIRS_BELOW) {
        for (size_t j = 0; j + 1 < SR_SLICE_STEPS; j += 2)
            add_point(gram, i, f0 * (step[j] + step[j + 1]) / 2, speeds->share[j] + speeds->share[j + 1], &a);
        return a;
    }
    for (size_t j = 0; j < SR_SLICE_STEPS; j++)
        add_point(gram, i, f0 * step[j], speeds->share[j], &a);
    return a;
}

double sr_track_gain(const struct sr_gram *gram, const struct sr_speeds *speeds, int channel, double f0,
                     double *stand)
{
    double sum = 0, weight = 0;
    for (size_t i = 0; i < gram->slices; i++) {
        /* Hypotheses are compared over the same slices: those whose speed is known, if any is. */
        if (speeds->channels > 0 && !speeds->known[i])
            continue;
        struct along a = follow(gram, speeds, channel, f0, i);
        sum += a.bins * a.stand;
        weight += a.bins * a.weight;
    }
    if (stand != NULL)
        *stand = weight > 0 ? sum / weight : 0;
    return sum > 0 ? sum * sum / weight : 0;
}
