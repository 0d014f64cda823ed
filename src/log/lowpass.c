/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Does the log look low-pass filtered, and where?
 *
 * A gyro has noise of its own up to any frequency. Where the floor of the spectrum
 * towards Nyquist lies below what any small gyro has, or where the spectrum drops
 * off a cliff and stays down, a filter has been at work. The corner is fitted to
 * the floor between. A spectrum that merely falls, as a flight's does, is no sign.
 */
#include <gsl/gsl_fft_real.h>
#include <math.h>
#include <stdlib.h>

#include "log/note.h"
#include "log/quality.h"

#define SEGMENT      1024
#define BINS         512 /* SEGMENT / 2 */
#define SEGMENTS_MAX 64
#define POINTS       32
#define LOW_HZ       40.0 /* [Hz] below it flight itself decides the shape */
#define NYQUIST_HZ   80.0 /* [Hz] least Nyquist for which the question makes sense */
/* (0.002 dps/rtHz)^2 in (deg/s)^2/Hz; the quietest small MEMS gyros have 0.003 (data sheets, from memory) */
#define QUIET_PSD 4e-6
#define DROP_DB   12.0 /* least fall from the plateau to the end */
/* Noise floors of small gyros, 0.0025 to 0.02 dps/rtHz (from memory), in dB of (deg/s)^2/Hz */
#define NOISE_LOW_DB  (-52.0)
#define NOISE_HIGH_DB (-34.0)
#define CLIFF_DB      25.0 /* fall within half an octave that no structure makes */

/* The floor of the spectrum at POINTS frequencies, evenly spaced on a log scale. */
struct floor {
    double hz[POINTS];
    double db[POINTS]; /* 10 log10 of (deg/s)^2/Hz, mean of the axes */
};

/* 4-term Blackman-Harris (Harris 1978): lines must not leak into the floor. */
static void make_window(double *window)
{
    const double turn = 6.283185307179586 / SEGMENT;

    for (int i = 0; i < SEGMENT; i++)
        window[i] =
            0.35875 - 0.48829 * cos(turn * i) + 0.14128 * cos(2.0 * turn * i) - 0.01168 * cos(3.0 * turn * i);
}

/* Add the power of SEGMENT samples x, less their mean, to power[BINS]. */
static void add_power(const double *x, const double *window, double *power)
{
    double work[SEGMENT];
    double mean = 0.0;

    for (size_t i = 0; i < SEGMENT; i++)
        mean += x[i] / SEGMENT;
    for (size_t i = 0; i < SEGMENT; i++)
        work[i] = (x[i] - mean) * window[i];
    gsl_fft_real_radix2_transform(work, 1, SEGMENT); /* half-complex: real parts up, imaginary parts down */
    for (size_t k = 1; k < BINS; k++)
        power[k] += work[k] * work[k] + work[SEGMENT - k] * work[SEGMENT - k];
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

/* Mean power over segments spread evenly over the flight; 0 segments: too short. */
static size_t mean_power(const struct sr_log *log, const double *window, double *power)
{
    size_t whole = 0;
    size_t taken = 0;

    for (int pass = 0; pass < 2; pass++) {
        const size_t stride = whole / SEGMENTS_MAX + 1;
        size_t number = 0;
        for (size_t s = 0; s < log->n_airborne; s++)
            for (size_t r = 0; r < log->n_runs; r++) {
                size_t first, count;
                overlap(log, &log->runs[r], &log->airborne[s], &first, &count);
                for (; count >= SEGMENT; count -= SEGMENT, first += SEGMENT, number++) {
                    if (pass == 0 || number % stride != 0)
                        continue;
                    for (size_t axis = 0; axis < 3; axis++)
                        add_power(log->gyro_dps[axis] + first, window, power);
                    taken++;
                }
            }
        whole = number;
    }
    return taken;
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Running median of the density psd[BINS] over a twelfth of an octave or nine bins. */
static void find_floor(const double *psd, double bin_hz, struct floor *line)
{
    double work[BINS] = {0};
    const double low = LOW_HZ / bin_hz;
    const double high = 0.97 * BINS;

    for (size_t p = 0; p < POINTS; p++) {
        const double middle = low * pow(high / low, (double)p / (POINTS - 1));
        const double half = fmax(4.0, 0.03 * middle);
        const size_t from = (size_t)fmax(1.0, middle - half);
        const size_t to = (size_t)fmin(BINS - 1, middle + half);
        size_t n = 0;
        for (size_t k = from; k <= to; k++)
            work[n++] = psd[k];
        qsort(work, n, sizeof *work, by_value);
        line->hz[p] = middle * bin_hz;
        line->db[p] = 10.0 * log10(work[n / 2] + 1e-300);
    }
}

/*
 * What the floor is taken to be: (W + C (f/100 Hz)^-a) / (1 + (f/fc)^2n), W the
 * sensor's own noise, C the flight's, clipped from below at the lowest floor seen.
 */
struct model {
    double corner_hz;
    int order;   /* n */
    int fall;    /* a */
    double more; /* C / W [dB] */
};

/* Shape of the model in dB at each point, W = 1. */
static void shape_of(const struct model *model, const struct floor *line, double *shape)
{
    const double ratio = pow(10.0, model->more / 10.0);

    for (size_t p = 0; p < POINTS; p++) {
        double flight = ratio;
        double filter = 1.0;
        for (int i = 0; i < model->fall; i++)
            flight *= 100.0 / line->hz[p];
        for (int i = 0; i < model->order; i++)
            filter *= line->hz[p] * line->hz[p] / (model->corner_hz * model->corner_hz);
        shape[p] = 10.0 * log10((1.0 + flight) / (1.0 + filter));
    }
}

/*
 * How badly it fits. What stands out above it (resonances, lines) counts up to a
 * limit, what lies below it in full; a W that no small gyro has is held against it.
 */
static double misfit_of(const struct floor *line, const double *shape, double bottom)
{
    double level = 0.0;
    double misfit = 0.0;
    size_t n = 0;

    for (size_t p = 0; p < POINTS; p++)
        if (line->db[p] > bottom + 3.0) {
            level += line->db[p] - shape[p];
            n++;
        }
    if (n < POINTS / 6)
        return INFINITY;
    level /= (double)n;
    for (size_t p = 0; p < POINTS; p++) {
        const double off = line->db[p] - fmax(shape[p] + level, bottom);
        misfit += off > 6.0 ? 36.0 : off * off;
    }
    const double unlikely = level < NOISE_LOW_DB ? NOISE_LOW_DB - level : fmax(0.0, level - NOISE_HIGH_DB);
    return misfit + unlikely * unlikely;
}

static double fit_corner(const struct floor *line)
{
    double shape[POINTS];
    double bottom = INFINITY;
    double best_hz = 0.0;
    double least = INFINITY;
    struct model model = {.corner_hz = LOW_HZ};

    for (size_t p = 0; p < POINTS; p++)
        bottom = fmin(bottom, line->db[p]);
    for (; model.corner_hz < line->hz[POINTS - 1]; model.corner_hz *= 1.05)
        for (model.order = 1; model.order <= 4; model.order++)
            for (model.fall = 0; model.fall <= 4; model.fall += 2)
                for (model.more = -10.0; model.more <= 50.0; model.more += 5.0) {
                    shape_of(&model, line, shape);
                    const double misfit = misfit_of(line, shape, bottom);
                    if (misfit < least) {
                        least = misfit;
                        best_hz = model.corner_hz;
                    }
                }
    return best_hz;
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

/* A fall within half an octave, down to the end: the frequency it starts at, 0 if there is none. */
static double find_cliff(const struct floor *line)
{
    for (size_t p = 4; p + 4 < POINTS; p++) {
        double most = -INFINITY;
        size_t from = p;
        while (from > 0 && line->hz[from] > line->hz[p] / 1.5)
            from--;
        for (size_t q = p; q < POINTS; q++)
            if (line->hz[q] >= line->hz[p] * 1.42)
                most = fmax(most, line->db[q]);
        if (most > -INFINITY && level_of(line, from, p + 1) - most >= CLIFF_DB)
            return line->hz[p];
    }
    return 0.0;
}

static double judge(const struct floor *line)
{
    const double quiet_db = 10.0 * log10(QUIET_PSD);
    double plateau = -INFINITY;
    double end = -INFINITY;
    const double cliff_hz = find_cliff(line);

    for (size_t p = 0; p + 4 < POINTS; p++)
        plateau = fmax(plateau, level_of(line, p, p + 5));
    for (size_t p = 0; p < POINTS; p++)
        if (line->hz[p] > 0.8 * line->hz[POINTS - 1])
            end = fmax(end, line->db[p]);
    if (plateau < quiet_db)
        return 0.0;
    if (cliff_hz > 0.0 || (end < quiet_db && plateau - end > DROP_DB))
        return fit_corner(line);
    return 0.0;
}

/* The corner is no surer than that. */
static double two_digits(double hz)
{
    const double unit = pow(10.0, floor(log10(hz)) - 1.0);

    return round(hz / unit) * unit;
}

enum sr_status sr_quality_low_pass(struct sr_log *log, struct sr_error *err)
{
    double *work = calloc(SEGMENT + BINS, sizeof *work);
    double *window = work;
    double *power = work != NULL ? work + SEGMENT : NULL;
    double squares = 0.0;
    struct floor line;
    bool ok = work != NULL;

    if (ok && log->quality.nyquist_hz >= NYQUIST_HZ) {
        make_window(window);
        for (size_t i = 0; i < SEGMENT; i++)
            squares += window[i] * window[i];
        const size_t segments = mean_power(log, window, power);
        for (size_t k = 0; k < BINS && segments > 0; k++)
            power[k] *= 2.0 / (log->rate_hz * squares * (double)segments * 3.0);
        if (segments >= 4) {
            find_floor(power, log->rate_hz / SEGMENT, &line);
            log->quality.low_pass_hz = judge(&line);
            /* interpolated rows make a fall of their own, from bridged_hz on */
            if (log->quality.bridged_hz > 0.0 && log->quality.low_pass_hz > log->quality.bridged_hz)
                log->quality.low_pass_hz = 0.0;
        }
    }
    free(work);
    if (ok && log->quality.low_pass_hz > 0.0)
        ok = sr_log_note(log,
                         "looks low-pass filtered at about %.0f Hz: what shakes above that is shown too weak",
                         two_digits(log->quality.low_pass_hz));
    return ok ? SR_OK : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
}
