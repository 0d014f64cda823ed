/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "log/note.h"

#define FLAT_SAMPLES   3    /* equal extreme samples in a row that make a flat top */
#define FLAT_CREST     2.5  /* the limit lies so many times over the RMS, or it is just the signal */
#define FLAT_LEAST_DPS 20.0 /* no gyro's range ends below this */

#define HOLD_LEAST   1.8 /* rows a new value, from which the gyro is taken to be slower than the log */
#define HOLD_CHANGES 100 /* fewer changes than this are no motion at all */

struct axis_range {
    double low, high, mean, rms;
};

static struct axis_range range_of(const double *x, size_t n)
{
    struct axis_range range = {.low = x[0], .high = x[0]};
    double squares = 0.0;

    for (size_t i = 0; i < n; i++) {
        range.low = x[i] < range.low ? x[i] : range.low;
        range.high = x[i] > range.high ? x[i] : range.high;
        range.mean += x[i];
        squares += x[i] * x[i];
    }
    range.mean /= (double)n;
    range.rms = sqrt(fmax(0.0, squares / (double)n - range.mean * range.mean));
    return range;
}

/* Rows that a recorder writes for each new sample: 1 where every row is a new one. */
static size_t hold_of(const double *x, size_t n)
{
    size_t changes = 1;

    for (size_t i = 1; i < n; i++)
        changes += x[i] != x[i - 1];
    return (size_t)ceil((double)n / (double)changes - 0.2);
}

/* Mark the flat tops of one axis at `limit`; returns how many samples were marked. */
static size_t mark_flat(const double *x, size_t n, double limit, size_t least, unsigned char *flat)
{
    size_t marked = 0;
    size_t length = 0;

    for (size_t i = 0; i <= n; i++) {
        if (i < n && x[i] == limit) {
            length++;
            continue;
        }
        if (length >= least) {
            marked += length;
            for (size_t k = i - length; k < i; k++)
                flat[k >> 3] |= (unsigned char)(1U << (k & 7U));
        }
        length = 0;
    }
    return marked;
}

/* The two ends of an axis; *limit_dps becomes the lower of the limits met. */
static void mark_axis(const double *x, size_t n, unsigned char *flat, double *limit_dps)
{
    const struct axis_range range = range_of(x, n);
    const double ends[2] = {range.low, range.high};
    const size_t least = FLAT_SAMPLES * hold_of(x, n);

    for (size_t e = 0; e < 2; e++) {
        const double limit = fabs(ends[e]);
        if (limit < FLAT_LEAST_DPS || fabs(ends[e] - range.mean) < FLAT_CREST * range.rms || range.rms == 0.0)
            continue;
        if (mark_flat(x, n, ends[e], least, flat) > 0 && (*limit_dps <= 0.0 || limit < *limit_dps))
            *limit_dps = limit;
    }
}

/*
 * A gyro that is read less often than rows are written repeats itself: what it can
 * show ends at half its own rate.
 */
static bool note_hold(struct sr_log *log, const struct sr_store *store)
{
    const double *const *x = (const double *const *)store->rate;
    size_t changes = 1;

    for (size_t i = 1; i < store->count; i++)
        changes += x[0][i] != x[0][i - 1] || x[1][i] != x[1][i - 1] || x[2][i] != x[2][i - 1];
    const double hold = (double)store->count / (double)changes;
    if (hold < HOLD_LEAST || changes < HOLD_CHANGES)
        return true;
    log->quality.nyquist_hz = log->rate_hz / (2.0 * hold);
    return sr_log_note(
        log,
        "the rates change once in %.3g rows: the gyro was read at %.4g Hz, and shows nothing above %.4g Hz",
        hold, log->rate_hz / hold, log->quality.nyquist_hz);
}

enum sr_status sr_quality_clipping(struct sr_log *log, const struct sr_store *store, struct sr_error *err)
{
    unsigned char *flat = calloc(store->count / 8 + 1, 1);
    struct sr_quality *quality = &log->quality;

    if (flat == NULL)
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    for (size_t axis = 0; axis < 3; axis++)
        mark_axis(store->rate[axis], store->count, flat, &quality->clip_dps);
    for (size_t i = 0; i <= store->count / 8; i++)
        for (unsigned bits = flat[i]; bits != 0; bits &= bits - 1U)
            quality->clipped++;
    free(flat);
    if (!note_hold(log, store))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    if (quality->clipped > 0 &&
        !sr_log_note(log,
                     "%llu samples stand on the sensor's limit of %.4g deg/s: the true motion was larger",
                     (unsigned long long)quality->clipped, quality->clip_dps))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    return SR_OK;
}
