/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Does the log look low-pass filtered, and where?
 *
 * A gyro has noise of its own up to any frequency. Where the floor of the spectrum
 * towards Nyquist lies below what any small gyro has, or where it drops off a cliff
 * and stays down, a filter has been at work. The corner is fitted to the floor
 * between. A spectrum that merely falls, as a flight's does, is no sign; and what
 * rises above the floor and comes down to it again, a line or the hump of a motor
 * order that wanders, is no part of the floor.
 */
#include <gsl/gsl_fft_real.h>
#include <math.h>
#include <stdlib.h>

#include "log/note.h"
#include "log/quality.h"
#include "support/ordered.h"

#define SEGMENT_LEAST  1024
#define SEGMENT_MOST   4096
#define BIN_MOST_HZ    2.0 /* [Hz] wider bins would close the gaps between humps */
#define SEGMENTS_LEAST 4
#define SEGMENTS_MAX   64
#define POINTS         48
#define QUANTILE       0.3 /* of the bins about a point: on the floor with up to half of them in lines */
#define RIGHT_ANGLE    1.5707963267948966
#define HUMP           2.0 /* what rises above the floor for up to an octave is a hump */
#define HUMP_DB        1.0
#define HIGH_SHARE     0.97   /* of Nyquist, where the floor's last point stands */
#define HALF_BINS      8.0    /* [bins] on each side of a point, at the least */
#define HALF_SHARE     0.04   /* of the point's frequency: together an eighth of an octave */
#define TINY_PSD       1e-300 /* (deg/s)^2/Hz, so that nothing has a logarithm */
#define LOW_HZ         40.0   /* [Hz] below it flight itself decides the shape */
#define NYQUIST_HZ     80.0   /* [Hz] least Nyquist for which the question makes sense */
/* (0.002 dps/rtHz)^2 in (deg/s)^2/Hz; the quietest small MEMS gyros have 0.003 (data sheets, from memory) */
#define QUIET_PSD 4e-6
#define DROP_DB   12.0 /* least fall from the plateau to the end */
/* Noise floors of small gyros, 0.0025 to 0.02 dps/rtHz (from memory), in dB of (deg/s)^2/Hz */
#define NOISE_LOW_DB  (-52.0)
#define NOISE_HIGH_DB (-34.0)
#define CLIFF_DB      26.0 /* fall within an octave: a resonance and wash make 24 together */
#define EDGE_DB       18.5 /* within half an octave: they make 18 */
#define FALLS         4
#define FLIGHTS       (15 * FALLS) /* fifteen strengths of each fall */
#define BOTTOM_DB     3.0          /* over the lowest floor, from which a point tells the level */
#define ABOVE_DB      6.0          /* what stands out above a model counts no more than this */
#define ROUGH_WEIGHT  0.1          /* of a noise that is too high, against one too low */
#define END_SHARE     0.8          /* of the last point's frequency, from which the floor ends */
#define CORNERS       64           /* tried, evenly spaced on a log scale */
/* [dB^2] by which a fit must be worse to count 1/e: so that the range told has the corner in it in
 * 84 to 100 % of each kind of filter tried (tests/log_lowpass_test.c) */
#define MISFIT_UNIT 80.0

/* The floor of the spectrum at POINTS frequencies, evenly spaced on a log scale. */
struct floor {
    double hz[POINTS];
    double db[POINTS];   /* 10 log10 of (deg/s)^2/Hz, the lowest of the axes */
    double warp[POINTS]; /* tan of pi/2 times hz over Nyquist */
    double nyquist_hz;
};

/* 4-term Blackman-Harris (Harris 1978): lines must not leak into the floor. */
static void make_window(double *window, size_t segment)
{
    const double turn = 6.283185307179586 / (double)segment;

    for (size_t i = 0; i < segment; i++) {
        const double x = turn * (double)i;
        window[i] = 0.35875 - 0.48829 * cos(x) + 0.14128 * cos(2.0 * x) - 0.01168 * cos(3.0 * x);
    }
}

/* Add the power of x[segment], less its mean, to power[segment / 2]. */
static void add_power(const double *x, const double *window, size_t segment, double *power)
{
    double work[SEGMENT_MOST];
    double mean = 0.0;

    for (size_t i = 0; i < segment; i++)
        mean += x[i] / (double)segment;
    for (size_t i = 0; i < segment; i++)
        work[i] = (x[i] - mean) * window[i];
    gsl_fft_real_radix2_transform(work, 1, segment); /* half-complex: real parts up, imaginary parts down */
    for (size_t k = 1; k < segment / 2; k++)
        power[k] += work[k] * work[k] + work[segment - k] * work[segment - k];
}

/* Segments of a run that lie in a span: the first sample in *first, how many samples in *count. */
static void overlap(const struct sr_log *log, const struct sr_run *run, const struct sr_span *span,
                    size_t *first, size_t *count)
{
    const double from = fmax(0.0, ceil((span->from_s - run->start_s) * log->rate_hz));
    const double to = fmin((double)run->count, floor((span->to_s - run->start_s) * log->rate_hz));

    *first = run->first + (size_t)from;
    *count = to > from ? (size_t)(to - from) : 0;
}

/* The mean power of each axis in the making. */
struct powers {
    const struct sr_log *log;
    const double *window;
    size_t segment, stride; /* every stride-th segment is taken */
    double *power;          /* [3][segment / 2] */
};

/* Segments in the flight; with `axis` below 3 its power in every stride-th of them is added up. */
static size_t go_through(const struct powers *p, size_t axis)
{
    const struct sr_log *log = p->log;
    size_t number = 0;

    for (size_t s = 0; s < log->n_airborne; s++)
        for (size_t r = 0; r < log->n_runs; r++) {
            size_t first, count;
            overlap(log, &log->runs[r], &log->airborne[s], &first, &count);
            for (; count >= p->segment; count -= p->segment, first += p->segment, number++)
                if (axis < 3 && number % p->stride == 0)
                    add_power(log->gyro_dps[axis] + first, p->window, p->segment,
                              p->power + axis * (p->segment / 2));
        }
    return number;
}

static void add_axis(void *context, size_t axis, size_t hand)
{
    (void)hand;
    (void)go_through(context, axis);
}

/* Mean power of each axis over segments spread evenly over the flight; 0 segments: too short. */
static size_t mean_power(const struct sr_log *log, const double *window, size_t segment, double *power)
{
    struct powers p = {.log = log, .window = window, .segment = segment, .stride = 1, .power = power};
    const size_t whole = go_through(&p, 3);

    p.stride = whole / SEGMENTS_MAX + 1;
    sr_each(add_axis, &p, 3, log->jobs);
    return (whole + p.stride - 1) / p.stride;
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/*
 * Lower the floor to a running low quantile of the density psd[bins] over an eighth of
 * an octave or 17 bins. The axes go through the same filter and have the same noise:
 * what one shows and another does not is motion, so the lowest of them is the floor.
 */
static void lower_floor(const double *psd, size_t bins, double bin_hz, struct floor *line)
{
    double work[SEGMENT_MOST / 2] = {0};
    const double low = LOW_HZ / bin_hz;
    const double high = HIGH_SHARE * line->nyquist_hz / bin_hz;

    for (size_t p = 0; p < POINTS; p++) {
        const double middle = low * pow(high / low, (double)p / (POINTS - 1));
        const double half = fmax(HALF_BINS, HALF_SHARE * middle);
        const size_t from = (size_t)fmax(1.0, middle - half);
        const size_t to = (size_t)fmin((double)bins - 1.0, middle + half);
        size_t n = 0;
        for (size_t k = from; k <= to; k++)
            work[n++] = psd[k];
        qsort(work, n, sizeof *work, by_value);
        line->hz[p] = middle * bin_hz;
        line->warp[p] = tan(RIGHT_ANGLE * line->hz[p] / line->nyquist_hz);
        line->db[p] = fmin(line->db[p], 10.0 * log10(work[(size_t)(QUANTILE * (double)n)] + TINY_PSD));
    }
}

/* The greatest curve below the floor without a hump narrower than HUMP (a morphological opening). */
static void open_floor(const struct floor *line, double *opened)
{
    double least[POINTS];

    for (size_t p = 0; p < POINTS; p++) {
        least[p] = line->db[p];
        for (size_t q = p; q < POINTS && line->hz[q] <= HUMP * line->hz[p]; q++)
            least[p] = fmin(least[p], line->db[q]);
    }
    double first =
        INFINITY; /* of the floor so far: what reaches over the low end may be wider than it looks */
    for (size_t p = 0; p < POINTS; p++) {
        first = fmin(first, line->db[p]);
        opened[p] = line->hz[p] < HUMP * line->hz[0] ? fmax(first, least[p]) : least[p];
        for (size_t q = p; q-- > 0 && line->hz[p] <= HUMP * line->hz[q];)
            opened[p] = fmax(opened[p], least[q]);
    }
}

/* Take the humps out, and draw straight lines below them: a floor that only falls stays as it is. */
static void take_humps(struct floor *line)
{
    double opened[POINTS];

    open_floor(line, opened);
    for (size_t p = 0, end; p < POINTS; p = end) {
        end = p + 1;
        if (line->db[p] <= opened[p] + HUMP_DB)
            continue;
        while (end < POINTS && line->db[end] > opened[end] + HUMP_DB)
            end++;
        const double left = p > 0 ? line->db[p - 1] : opened[p];
        const double right = end < POINTS ? fmin(line->db[end], left) : opened[POINTS - 1];
        for (size_t q = p; q < end; q++)
            line->db[q] =
                fmin(line->db[q], left + (right - left) * (double)(q - p + 1) / (double)(end - p + 1));
    }
}

/*
 * What the floor is taken to be: (W + C (f/100 Hz)^-a) / (1 + (f/fc)^2n), W the noise
 * that is white to Nyquist, C what the flight adds, clipped from below at the lowest
 * floor seen. A filter may be digital and run at the log's own rate, zero at Nyquist:
 * then tan(pi/2 f/Nyquist) stands for f. All in dB, W = 1.
 */
struct flights {
    double db[FLIGHTS][POINTS];
};

static void make_flights(const struct floor *line, struct flights *flights)
{
    static const double falls[FALLS] = {0.0, 2.0, 4.0, 8.0}; /* a */

    for (size_t i = 0; i < FLIGHTS; i++) {
        const size_t strength = i / FALLS;
        const double more_db = -20.0 + 5.0 * (double)strength; /* C / W */
        for (size_t p = 0; p < POINTS; p++)
            flights->db[i][p] =
                10.0 * log10(1.0 + pow(10.0, more_db / 10.0) * pow(100.0 / line->hz[p], falls[i % FALLS]));
    }
}

static void filter_of(const struct floor *line, double corner_hz, int order, bool warped, double *db)
{
    const double corner_warp = tan(RIGHT_ANGLE * corner_hz / line->nyquist_hz);

    for (size_t p = 0; p < POINTS; p++) {
        const double ratio = warped ? line->warp[p] / corner_warp : line->hz[p] / corner_hz;
        db[p] = 10.0 * log10(1.0 + pow(ratio, 2.0 * order));
    }
}

/*
 * How badly it fits [dB^2]. What stands out above it (resonances, lines) counts up to
 * a limit, what lies below it in full. A W that no small gyro has is held against it;
 * less so if it is high, for a rough flight has noise of its own.
 */
static double misfit_of(const struct floor *line, const double *flight, const double *filter, double bottom)
{
    double level = 0.0;
    double misfit = 0.0;
    size_t n = 0;

    for (size_t p = 0; p < POINTS; p++)
        if (line->db[p] > bottom + BOTTOM_DB) {
            level += line->db[p] - flight[p] + filter[p];
            n++;
        }
    if (n < POINTS / 6)
        return INFINITY;
    level /= (double)n;
    for (size_t p = 0; p < POINTS; p++) {
        const double off = line->db[p] - fmax(flight[p] - filter[p] + level, bottom);
        misfit += off > ABOVE_DB ? ABOVE_DB * ABOVE_DB : off * off;
    }
    const double low = fmax(0.0, NOISE_LOW_DB - level);
    const double high = fmax(0.0, level - NOISE_HIGH_DB);
    return misfit + low * low + ROUGH_WEIGHT * high * high;
}

/* Logarithm of the weight of all models with a corner. */
static double weigh_corner(const struct floor *line, const struct flights *flights, double corner_hz,
                           double bottom)
{
    double filter[POINTS];
    double weight = -INFINITY;

    for (int order = 1; order <= 4; order++)
        for (int warped = 0; warped < 2; warped++) {
            filter_of(line, corner_hz, order, warped == 1, filter);
            for (size_t i = 0; i < FLIGHTS; i++) {
                const double more = -misfit_of(line, flights->db[i], filter, bottom) / MISFIT_UNIT;
                const double most = fmax(weight, more);
                if (most > -INFINITY)
                    weight = most + log(exp(weight - most) + exp(more - most));
            }
        }
    return weight;
}

/*
 * Many filters fit a floor about as well. Each corner counts with the weight of its
 * models; told is the weighted median, with what lies between a tenth and nine tenths.
 */
static void fit_corner(const struct floor *line, struct sr_quality *quality)
{
    static const double shares[3] = {0.1, 0.5, 0.9};
    double *const told[3] = {&quality->low_pass_low_hz, &quality->low_pass_hz, &quality->low_pass_high_hz};
    const double step = log(line->hz[POINTS - 1] / LOW_HZ) / CORNERS;
    double bottom = INFINITY, most = -INFINITY;
    double weight[CORNERS];
    double sum = 0.0, sofar = 0.0;
    struct flights flights;

    make_flights(line, &flights);
    for (size_t p = 0; p < POINTS; p++)
        bottom = fmin(bottom, line->db[p]);
    for (size_t c = 0; c < CORNERS; c++) {
        weight[c] = weigh_corner(line, &flights, LOW_HZ * exp(step * ((double)c + 0.5)), bottom);
        most = fmax(most, weight[c]);
    }
    for (size_t c = 0; c < CORNERS; c++) {
        weight[c] = most > -INFINITY ? exp(weight[c] - most) : 1.0;
        sum += weight[c];
    }
    for (size_t c = 0, share = 0; c < CORNERS && share < 3; sofar += weight[c], c++)
        for (; share < 3 && shares[share] * sum <= sofar + weight[c]; share++)
            *told[share] = LOW_HZ * exp(step * ((double)c + (shares[share] * sum - sofar) / weight[c]));
}

/* Median of the floor's points [from, to). */
static double level_of(const struct floor *line, size_t from, size_t to)
{
    double work[POINTS] = {0};
    size_t n = 0;

    for (size_t p = from; p < to; p++)
        work[n++] = line->db[p];
    qsort(work, n, sizeof *work, by_value);
    return work[n / 2];
}

/* The greatest fall from any point to all that lies `ratio` times higher or more. */
static double greatest_fall(const struct floor *line, double ratio)
{
    double greatest = 0.0;

    for (size_t p = 0; p < POINTS; p++) {
        double most = -INFINITY;
        for (size_t q = p; q < POINTS; q++)
            if (line->hz[q] >= ratio * line->hz[p])
                most = fmax(most, line->db[q]);
        if (most > -INFINITY)
            greatest = fmax(greatest, line->db[p] - most);
    }
    return greatest;
}

static bool looks_filtered(const struct floor *line)
{
    const double quiet_db = 10.0 * log10(QUIET_PSD);
    double plateau = -INFINITY;
    double end = -INFINITY;
    const bool cliff = greatest_fall(line, 2.0) > CLIFF_DB || greatest_fall(line, 1.414) > EDGE_DB;

    for (size_t p = 0; p + 4 < POINTS; p++)
        plateau = fmax(plateau, level_of(line, p, p + 5));
    for (size_t p = 0; p < POINTS; p++)
        if (line->hz[p] > END_SHARE * line->hz[POINTS - 1])
            end = fmax(end, line->db[p]);
    return plateau >= quiet_db && (cliff || (end < quiet_db && plateau - end > DROP_DB));
}

/* The corner is no surer than that. */
static double two_digits(double hz)
{
    const double unit = pow(10.0, floor(log10(hz)) - 1.0);

    return round(hz / unit) * unit;
}

/* Judge the density of three axes, bins of each one after another. */
static void judge(const double *psd, size_t bins, double bin_hz, struct sr_quality *quality)
{
    struct floor line = {.nyquist_hz = quality->nyquist_hz};

    for (size_t p = 0; p < POINTS; p++)
        line.db[p] = INFINITY;
    for (size_t axis = 0; axis < 3; axis++)
        lower_floor(psd + axis * bins, bins, bin_hz, &line);
    take_humps(&line);
    if (looks_filtered(&line))
        fit_corner(&line, quality);
    /* interpolated rows make a fall of their own, from bridged_hz on */
    if (quality->bridged_hz > 0.0 && quality->low_pass_hz > quality->bridged_hz)
        quality->low_pass_hz = quality->low_pass_low_hz = quality->low_pass_high_hz = 0.0;
}

enum sr_status sr_quality_low_pass(struct sr_log *log, struct sr_error *err)
{
    struct sr_quality *quality = &log->quality;
    size_t segment = SEGMENT_LEAST;
    while (segment < SEGMENT_MOST && log->rate_hz > BIN_MOST_HZ * (double)segment)
        segment *= 2;
    const size_t bins = segment / 2;
    double *window = calloc(segment + 3 * bins, sizeof *window);
    double squares = 0.0;
    bool ok = window != NULL;

    if (ok && quality->nyquist_hz >= NYQUIST_HZ) {
        double *power = window + segment;
        make_window(window, segment);
        for (size_t i = 0; i < segment; i++)
            squares += window[i] * window[i];
        const size_t segments = mean_power(log, window, segment, power);
        for (size_t k = 0; k < 3 * bins && segments > 0; k++)
            power[k] *= 2.0 / (log->rate_hz * squares * (double)segments);
        if (segments >= SEGMENTS_LEAST)
            judge(power, bins, log->rate_hz / (double)segment, quality);
    }
    free(window);
    if (ok && quality->low_pass_hz > 0.0)
        ok = sr_log_note(log,
                         "looks low-pass filtered at about %.0f Hz (%.0f to %.0f): what shakes above that is "
                         "shown too weak",
                         two_digits(quality->low_pass_hz), two_digits(quality->low_pass_low_hz),
                         two_digits(quality->low_pass_high_hz));
    return ok ? SR_OK : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
}
