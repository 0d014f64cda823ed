/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The drift between two clocks to a few parts in a million: blocks of the flight
 * against its whole. What a mount does to the phase is in both, so it cancels, and
 * all frequencies at which the two agree take part, motor lines too.
 */
#include <gsl/gsl_math.h>
#include <math.h>
#include <stdlib.h>

#include "mount/align.h"

#define BLOCK_S    8.0
#define SEGMENT_S  0.5
#define LOW_HZ     5.0
#define HIGH_HZ    250.0
#define STEP_S     5e-5
#define REACH      80  /* steps that a block may still be off */
#define CLEAR      0.5 /* of its bins in step, from where a block counts */
#define BLOCKS_MIN 3

/* Delay [s] of a block's cross-spectrum against the whole flight's; its share of bins in step. */
static double block_delay(const struct sr_cross *block, const struct sr_cross *whole, double bin_hz,
                          double *clear)
{
    size_t first = (size_t)ceil(LOW_HZ / bin_hz),
           last = (size_t)fmin(HIGH_HZ / bin_hz, (double)block->bins - 1);
    double best_s = 0, best = -INFINITY, most = 0;
    for (int step = -REACH; step <= REACH; step++) {
        double sum = 0, delay_s = step * STEP_S;
        most = 0;
        for (size_t k = first; k <= last; k++) {
            double size = hypot(whole->re[k], whole->im[k]), power = sqrt(block->xx[k] * block->yy[k]);
            if (!(size > 0 && power > 0))
                continue;
            double re = (block->re[k] * whole->re[k] + block->im[k] * whole->im[k]) / (size * power);
            double im = (block->im[k] * whole->re[k] - block->re[k] * whole->im[k]) / (size * power);
            double turn = 2 * M_PI * (double)k * bin_hz * delay_s;
            sum += re * cos(turn) - im * sin(turn);
            most += hypot(re, im);
        }
        if (sum > best) {
            best = sum;
            best_s = delay_s;
        }
    }
    *clear = most > 0 ? best / most : 0;
    return best_s;
}

static void clear_sums(struct sr_cross *cross)
{
    for (size_t k = 0; k < cross->bins; k++)
        cross->xx[k] = cross->yy[k] = cross->re[k] = cross->im[k] = 0;
    cross->segments = 0;
}

static void add_stretches(struct sr_cross *cross, const struct aligned *al, size_t first, size_t end)
{
    while (first < end) {
        size_t last = first;
        while (last < end && al->both[last])
            last++;
        for (int a = 0; a < 3 && last > first; a++)
            sr_cross_add(cross, al->frame[a] + first, al->camera[a] + first, last - first);
        first = last + 1;
    }
}

void align_add(struct sr_cross *cross, const struct aligned *al)
{
    add_stretches(cross, al, 0, al->count);
}

size_t align_segment(double length_s, double rate_hz)
{
    size_t n = 8;
    while ((double)n * M_SQRT2 < length_s * rate_hz)
        n *= 2;
    return n;
}

enum sr_status align_refine(struct alignment *alignment, const struct aligned *al, struct sr_error *err)
{
    size_t segment = align_segment(SEGMENT_S, al->rate_hz), length = (size_t)(BLOCK_S * al->rate_hz);
    double bin_hz = al->rate_hz / (double)segment, n = 0, t = 0, y = 0, tt = 0, ty = 0;
    struct sr_cross whole = {0}, block = {0};
    enum sr_status status = sr_cross_init(&whole, SR_WINDOW_HANN, segment, segment / 2, err);
    if (status == SR_OK)
        status = sr_cross_init(&block, SR_WINDOW_HANN, segment, segment / 2, err);
    if (status != SR_OK)
        goto done;

    align_add(&whole, al);
    for (size_t first = 0; first + length <= al->count; first += length) {
        double clear, at_s = ((double)first + 0.5 * (double)length) / al->rate_hz - alignment->at_s;
        clear_sums(&block);
        add_stretches(&block, al, first, first + length);
        double delay_s = block_delay(&block, &whole, bin_hz, &clear);
        if (block.segments == 0 || clear < CLEAR)
            continue;
        n++;
        t += at_s;
        y += delay_s;
        tt += at_s * at_s;
        ty += at_s * delay_s;
    }
    if (n >= BLOCKS_MIN && tt - t * t / n > 0)
        alignment->drift += (ty - t * y / n) / (tt - t * t / n);

done:
    sr_cross_release(&whole);
    sr_cross_release(&block);
    return status;
}
