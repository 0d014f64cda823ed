/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shape of a motor's line. A line that sweeps by less than a bin within a segment is not the sum of lines
 * at the speeds it takes: that is broader at the top and shorter in the skirts, which is enough to hide a
 * balanced motor under the skirts of one that is out. So it is made in time and transformed as the log was.
 */
#include "shapes.h"

#include <gsl/gsl_fft_complex.h>
#include <gsl/gsl_math.h>
#include <math.h>
#include <string.h>

#define SEGMENTS     3  /* of a slice: each half of it long, half overlapped */
#define POINTS_LEAST 32 /* of a segment */
#define SKIRTS       16 /* [bins] that a line fills beside its sweep, both sides together */

/* Speed at the border before step j: a cubic through the four steps about it, or the three at an end. */
static double border(const double *s, size_t j)
{
    const size_t n = SR_SLICE_STEPS;
    if (j == 0)
        return (11 * s[0] - 7 * s[1] + 2 * s[2]) / 6;
    if (j == 1)
        return (2 * s[0] + 5 * s[1] - s[2]) / 6;
    if (j == n - 1)
        return (2 * s[n - 1] + 5 * s[n - 2] - s[n - 3]) / 6;
    if (j == n)
        return (11 * s[n - 1] - 7 * s[n - 2] + 2 * s[n - 3]) / 6;
    return (7 * (s[j - 1] + s[j]) - s[j - 2] - s[j + 1]) / 12;
}

/* The speed over a step: from border to border, bent so that its mean is the step's. */
struct bow {
    double left, rise, bend;
};

static struct bow bow_of(const double step[SR_SLICE_STEPS], size_t j)
{
    double left = border(step, j), right = border(step, j + 1);
    return (struct bow){left, right - left, 6 * (step[j] - (left + right) / 2)};
}

/* x: 0 to 1 over the step. */
static double speed_on(const struct bow *bow, double x)
{
    return bow->left + x * (bow->rise + bow->bend * (1 - x));
}

double sr_speed_within(const double step[SR_SLICE_STEPS], double at)
{
    size_t j = at >= SR_SLICE_STEPS ? SR_SLICE_STEPS - 1 : (size_t)at;
    const struct bow bow = bow_of(step, j);
    return speed_on(&bow, at - (double)j);
}

/* Points a segment, so that the sweep does not fold. */
static size_t points_for(double sweep_bins)
{
    size_t points = POINTS_LEAST;
    while (points < SR_SHAPE_POINTS && (double)points < 2 * sweep_bins + SKIRTS)
        points *= 2;
    return points;
}

/* The line over the whole slice, turned down by `middle` bins. */
static void make_line(struct sr_shaper *s, const double *step, double f0, double middle, size_t points)
{
    const double steps_each = SR_SLICE_STEPS / (2 * (double)points), bins_each = f0 / s->gram->bin_hz;
    double turns = 0, before = 0;
    struct bow bow[SR_SLICE_STEPS];

    for (size_t j = 0; j < SR_SLICE_STEPS; j++)
        bow[j] = bow_of(step, j);
    for (size_t n = 0; n < 2 * points; n++) {
        double at = (double)n * steps_each;
        size_t j = (size_t)at; /* rounding cannot make it the one after the last */
        double speed = speed_on(&bow[j], at - (double)j);
        double bins = bins_each * speed - middle; /* turns a segment */
        if (n > 0)
            turns += (bins + before) / 2 / (double)points;
        before = bins;
        s->phasor[2 * n] = speed * speed * cos(2 * M_PI * turns);
        s->phasor[2 * n + 1] = speed * speed * sin(2 * M_PI * turns);
    }
}

static double gain_at(const struct sr_view *view, size_t k)
{
    return view->wobble[0][k] + view->wobble[1][k] + view->wobble[2][k];
}

/* Add a segment's spectrum to shape[low..high]; its energy in all bins. */
static double add_segment(const struct sr_shaper *s, double middle, size_t low, size_t high, double *shape)
{
    const size_t period = (size_t)lround(s->gram->rate_hz / s->gram->bin_hz);
    double sum = 0;
    for (size_t n = 0; n < s->points; n++) {
        double at = middle + (double)n - (n < s->points / 2 ? 0 : (double)s->points);
        size_t k = (size_t)fabs(at) % period;
        k = 2 * k > period ? period - k : k; /* as it folds in the log */
        if (k >= s->gram->bins)
            continue;
        double re = s->segment[2 * n], im = s->segment[2 * n + 1];
        double energy = (re * re + im * im) * gain_at(s->view, k);
        sum += energy;
        if (k >= low && k <= high)
            shape[k] += energy;
    }
    return sum;
}

void sr_shape_draw(struct sr_shaper *s, size_t i, size_t channel, double f0, size_t low, size_t high,
                   double *shape)
{
    size_t at = i * s->speeds->channels + channel;
    double from = f0 * s->speeds->low[at] / s->gram->bin_hz, to = f0 * s->speeds->high[at] / s->gram->bin_hz;
    double middle = round((from + to) / 2), sum = 0;
    size_t points = points_for(to - from);

    if (points != s->points) {
        sr_window_fill(s->window, s->weight, points);
        s->points = points;
    }
    memset(shape + low, 0, (high - low + 1) * sizeof *shape);
    make_line(s, s->speeds->step + at * SR_SLICE_STEPS, f0, middle, points);
    for (size_t segment = 0; segment < SEGMENTS; segment++) {
        const double *line = s->phasor + segment * points; /* half a segment further, two numbers a point */
        for (size_t n = 0; n < points; n++) {
            s->segment[2 * n] = s->weight[n] * line[2 * n];
            s->segment[2 * n + 1] = s->weight[n] * line[2 * n + 1];
        }
        gsl_fft_complex_radix2_forward(s->segment, 1, points);
        sum += add_segment(s, middle, low, high, shape);
    }
    for (size_t k = low; k <= high && sum > 0; k++)
        shape[k] /= sum;
}
