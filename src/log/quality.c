/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/quality.h"

#include <math.h>
#include <stdlib.h>

#include "log/note.h"

#define FLAT_SAMPLES   3    /* equal extreme samples in a row that make a flat top */
#define FLAT_CREST     2.5  /* the limit lies so many times over the RMS, or it is just the signal */
#define FLAT_LEAST_DPS 20.0 /* no gyro's range ends below this */

/* A limit that is touched alone: how often, against the values right below it. */
#define NEAR_SHARE   0.9  /* of the way from the mean to the extreme: where "right below" begins */
#define NEAR_KINDS   8    /* different values there, or the steps are too coarse to tell */
#define NEAR_SPARSE  200  /* for so many at the extreme a visit there: a tone may always meet its own top */
#define TOUCH_LEAST  6    /* visits at the extreme */
#define TOUCH_TIMES  4    /* so many times more than at any single value right below */
#define SCALE_WITHIN 1e-3 /* of a usual full scale, an extreme is taken for it */
#define SAME_WITHIN  1e-4 /* of each other, two limits are one and the same: 32767 and 32768 are */

#define HOLD_LEAST   1.8 /* rows a new value, from which the gyro is taken to be slower than the log */
#define HOLD_CHANGES 100 /* fewer changes than this are no motion at all */

struct axis_range {
    double low, high, mean, rms;
};

#define LANES 4 /* values side by side, or each would wait for the one before */

static struct axis_range range_of(const double *x, size_t n)
{
    struct axis_range range = {.low = x[0], .high = x[0]};
    double low[LANES], high[LANES], sum[LANES] = {0}, squares[LANES] = {0};

    for (size_t lane = 0; lane < LANES; lane++)
        low[lane] = high[lane] = x[0];
    for (size_t i = 0; i + LANES <= n; i += LANES)
        for (size_t lane = 0; lane < LANES; lane++) {
            const double v = x[i + lane];
            low[lane] = v < low[lane] ? v : low[lane];
            high[lane] = v > high[lane] ? v : high[lane];
            sum[lane] += v;
            squares[lane] += v * v;
        }
    for (size_t i = n - n % LANES; i < n; i++) {
        low[0] = x[i] < low[0] ? x[i] : low[0];
        high[0] = x[i] > high[0] ? x[i] : high[0];
        sum[0] += x[i];
        squares[0] += x[i] * x[i];
    }
    for (size_t lane = 0; lane < LANES; lane++) {
        range.low = low[lane] < range.low ? low[lane] : range.low;
        range.high = high[lane] > range.high ? high[lane] : range.high;
    }
    range.mean = (sum[0] + sum[1] + (sum[2] + sum[3])) / (double)n;
    const double square = (squares[0] + squares[1] + (squares[2] + squares[3])) / (double)n;
    range.rms = sqrt(fmax(0.0, square - range.mean * range.mean));
    return range;
}

/* How the samples stand at the two ends of their range. */
struct stay {
    size_t visits[2];  /* samples there, a stretch of equal ones counted once: a gyro that repeats itself */
    size_t longest[2]; /* such stretch */
    size_t hold;       /* rows that a recorder writes for each new sample: 1 where every row is a new one */
};

static struct stay stay_of(const double *x, size_t n, double low, double high)
{
    struct stay stay = {{0}, {0}, 1};
    size_t changes = n, length[2] = {0};

    for (size_t i = 0; i < n; i++) {
        const bool same = i > 0 && x[i] == x[i - 1];
        if (same)
            changes--;
        if (x[i] != low && x[i] != high) /* nearly all */
            continue;
        const size_t e = x[i] == low ? 0 : 1;
        length[e] = same ? length[e] + 1 : 1;
        stay.visits[e] += !same;
        stay.longest[e] = length[e] > stay.longest[e] ? length[e] : stay.longest[e];
    }
    stay.hold = (size_t)ceil((double)n / (double)changes - 0.2);
    return stay;
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

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/* The values right below an extreme, each by its visits. */
struct below {
    size_t visits; /* in all */
    size_t most;   /* of a single value */
    size_t kinds;  /* different values */
};

static void count_kinds(const double *sorted, size_t n, struct below *below)
{
    size_t start = 0;

    for (size_t i = 0; i < n; i++) {
        if (i == 0 || sorted[i] != sorted[start]) {
            start = i;
            below->kinds++;
        }
        below->most = i - start + 1 > below->most ? i - start + 1 : below->most;
    }
}

/* False: out of memory. */
static bool look_below(const double *x, size_t n, double mean, double extreme, struct below *below)
{
    const double from = mean + NEAR_SHARE * (extreme - mean);
    const double low = extreme > mean ? from : extreme, high = extreme > mean ? extreme : from;
    double *near = NULL;

    for (int pass = 0; pass < 2; pass++) {
        *below = (struct below){0};
        for (size_t i = 0; i < n; i++)
            if (x[i] >= low && x[i] <= high && x[i] != extreme && (i == 0 || x[i] != x[i - 1])) {
                if (near != NULL)
                    near[below->visits] = x[i];
                below->visits++;
            }
        if (pass == 0 && (near = malloc((below->visits + 1) * sizeof *near)) == NULL)
            return false;
    }
    qsort(near, below->visits, sizeof *near, by_value);
    count_kinds(near, below->visits, below);
    free(near);
    return true;
}

/* Where gyros' ranges usually end, in deg/s, and whole numbers of 16 bit (common practice, no source). */
static bool is_full_scale(double limit)
{
    static const double scales[] = {125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 32767.5};

    for (size_t i = 0; i < sizeof scales / sizeof scales[0]; i++)
        if (fabs(limit - scales[i]) < SCALE_WITHIN * scales[i])
            return true;
    return false;
}

/*
 * Whether an extreme is a stop: motion that turns round by itself thins out towards its
 * extreme, so that the last value is met less often than those below it, while a stop
 * gathers all that lies beyond. At a usual full scale little is asked for.
 */
static bool is_stop(const double *x, size_t n, double mean, double extreme, size_t visits, bool *stop)
{
    const bool full = is_full_scale(fabs(extreme));
    struct below below;

    *stop = false;
    if (visits < (full ? 2 : TOUCH_LEAST))
        return true;
    if (!look_below(x, n, mean, extreme, &below))
        return false;
    *stop =
        below.kinds >= NEAR_KINDS && below.visits * NEAR_SPARSE >= visits &&
        ((visits >= TOUCH_LEAST && visits > TOUCH_TIMES * below.most) || (full && visits >= below.most + 2));
    return true;
}

/* The two ends of an axis. False: out of memory. */
static bool find_ends(const double *x, size_t n, struct sr_end *end)
{
    const struct axis_range range = range_of(x, n);
    const struct stay stay = stay_of(x, n, range.low, range.high);
    const size_t least = FLAT_SAMPLES * stay.hold;

    for (size_t e = 0; e < 2; e++) {
        end[e] = (struct sr_end){.x = x, .extreme = e == 0 ? range.low : range.high, .least = least};
        if (fabs(end[e].extreme) < FLAT_LEAST_DPS || range.rms == 0.0)
            continue;
        end[e].flat = stay.longest[e] >= least && fabs(end[e].extreme - range.mean) >= FLAT_CREST * range.rms;
        if (!is_stop(x, n, range.mean, end[e].extreme, stay.visits[e], &end[e].stop))
            return false;
    }
    return true;
}

static size_t count_changes(const struct sr_store *store)
{
    const double *const *x = (const double *const *)store->rate;
    size_t changes = 1;

    for (size_t i = 1; i < store->count; i++)
        changes += x[0][i] != x[0][i - 1] || x[1][i] != x[1][i - 1] || x[2][i] != x[2][i - 1];
    return changes;
}

void sr_quality_look(struct sr_sight *sight, const struct sr_store *store, size_t part)
{
    sight->failed[part] = false;
    if (part < 3)
        sight->failed[part] = !find_ends(store->rate[part], store->count, &sight->end[2 * part]);
    else
        sight->changes = count_changes(store);
}

/* Mark what stands on a limit; *limit_dps becomes the lowest limit met. */
static void mark_all(const struct sr_store *store, const struct sr_end *end, unsigned char *flat,
                     double *limit_dps)
{
    for (size_t e = 0; e < 6; e++) {
        const double limit = fabs(end[e].extreme);
        bool stop = end[e].stop;
        for (size_t k = 0; k < 6; k++) /* the three axes have one range */
            stop = stop || (end[k].stop && fabs(limit - fabs(end[k].extreme)) < SAME_WITHIN * limit);
        if ((stop || end[e].flat) &&
            mark_flat(end[e].x, store->count, end[e].extreme, stop ? 1 : end[e].least, flat) > 0 &&
            (*limit_dps <= 0.0 || limit < *limit_dps))
            *limit_dps = limit;
    }
}

/*
 * A gyro that is read less often than rows are written repeats itself: what it can
 * show ends at half its own rate.
 */
static bool note_hold(struct sr_log *log, const struct sr_store *store, size_t changes)
{
    const double hold = (double)store->count / (double)changes;
    if (hold < HOLD_LEAST || changes < HOLD_CHANGES)
        return true;
    log->quality.nyquist_hz = log->rate_hz / (2.0 * hold);
    return sr_log_note(
        log,
        "the rates change once in %.3g rows: the gyro was read at %.4g Hz, and shows nothing above %.4g Hz",
        hold, log->rate_hz / hold, log->quality.nyquist_hz);
}

enum sr_status sr_quality_clipping(struct sr_log *log, const struct sr_store *store,
                                   const struct sr_sight *sight, struct sr_error *err)
{
    unsigned char *flat = calloc(store->count / 8 + 1, 1);
    struct sr_quality *quality = &log->quality;
    bool failed = flat == NULL;

    for (size_t part = 0; part < SR_SIGHT_PARTS; part++)
        failed = failed || sight->failed[part];
    if (failed) {
        free(flat);
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    }
    mark_all(store, sight->end, flat, &quality->clip_dps);
    for (size_t i = 0; i <= store->count / 8; i++)
        for (unsigned bits = flat[i]; bits != 0; bits &= bits - 1U)
            quality->clipped++;
    free(flat);
    if (!note_hold(log, store, sight->changes))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    if (quality->clipped > 0 &&
        !sr_log_note(log,
                     "%llu samples stand on the sensor's limit of %.4g deg/s: the true motion was larger",
                     (unsigned long long)quality->clipped, quality->clip_dps))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    return SR_OK;
}
