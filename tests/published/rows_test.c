/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The score against the time domain: what the rows of a picture would really do.
 *
 * An analytic orientation is given, with its derivative as the gyro log. The
 * picture side never sees a spectrum: frames start every millisecond; each row
 * has its own instant and averages the angle over its exposure; the constant-rate
 * motion that fits the frame best (least squares in the angle, equal weight in
 * time) is taken off; what is left displaces picture points, and its mean square
 * over rows, columns and frames is the truth. A shift of the whole picture is
 * focal length times angle, as at the picture's centre.
 *
 * Sources: the definition above is the project's own. Tilted axes: optical axis (cos a,
 * 0, -sin a), right (0, 1, 0), down (sin a, 0, cos a) in forward-right-down axes. The
 * quantile: Hyndman and Fan 1996, type 7. Nothing here calls a gain of the library.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/wobble.h"

#define PI        3.14159265358979323846
#define FLIGHT_S  24
#define MARGIN_S  0.1 /* truth is known this far beyond both ends */
#define PARTS_MAX 64
#define RESTART   1000 /* steps after which a turning phasor is set up anew */
#define TOLERANCE 0.03

/* One body axis: angle(t) = envelope(t) sum a sin(2 pi f t + phase). */
struct motion {
    size_t parts;
    double hz[PARTS_MAX], rad[PARTS_MAX], turns[PARTS_MAX];
    double swell, swell_hz; /* envelope 1 + swell sin(2 pi swell_hz t) */
};

struct setup {
    const char *name;
    struct sr_camera camera;
    enum sr_axes axes;
    double rate_hz;
    size_t rows;      /* instants looked at in a readout; readout / rows is the grid step */
    size_t exposure;  /* grid steps of an exposure, even */
    double low_waves; /* lowest and highest frequency of the motion, in waves per picture */
    double high_hz;
};

static const struct setup setups[] = {
    {"full HD, rectilinear",
     {1920, 1080, 60, 16e-3, 1e-3, 95, SR_LENS_RECTILINEAR, 20},
     SR_AXES_FRD,
     1000,
     320,
     20,
     0.3,
     470},
    {"2.7K, equidistant, slow readout",
     {2704, 1520, 30, 28e-3, 3.5e-3, 130, SR_LENS_EQUIDISTANT, 30},
     SR_AXES_FLU,
     1000,
     320,
     40,
     0.3,
     470},
    {"slow motion, long exposure",
     {1280, 720, 120, 7.5e-3, 4e-3, 80, SR_LENS_RECTILINEAR, 0},
     SR_AXES_FRD,
     2000,
     300,
     160,
     0.3,
     950},
};

static double envelope(const struct motion *m, double t_s)
{
    return 1 + m->swell * sin(2 * PI * m->swell_hz * t_s);
}

/* d angle / dt [deg/s], by the product rule. */
static double rate_dps(const struct motion *m, double t_s)
{
    double slope = 2 * PI * m->swell_hz * m->swell * cos(2 * PI * m->swell_hz * t_s), sum = 0;
    for (size_t k = 0; k < m->parts; k++) {
        double w = 2 * PI * m->hz[k], x = w * t_s + 2 * PI * m->turns[k];
        sum += m->rad[k] * (envelope(m, t_s) * w * cos(x) + slope * sin(x));
    }
    return sum * 180 / PI;
}

/* Angle [rad] at first_s, first_s + step_s, …: each part as a phasor that turns. */
static void angle_grid(const struct motion *m, double first_s, double step_s, size_t n, double *angle)
{
    memset(angle, 0, n * sizeof *angle);
    for (size_t k = 0; k < m->parts; k++) {
        double turn_re = cos(2 * PI * m->hz[k] * step_s), turn_im = sin(2 * PI * m->hz[k] * step_s);
        double re = 0, im = 0;
        for (size_t i = 0; i < n; i++) {
            if (i % RESTART == 0) {
                double turns = m->hz[k] * (first_s + (double)i * step_s) + m->turns[k];
                re = m->rad[k] * cos(2 * PI * turns);
                im = m->rad[k] * sin(2 * PI * turns);
            }
            angle[i] += im;
            double next = re * turn_re - im * turn_im;
            im = re * turn_im + im * turn_re;
            re = next;
        }
    }
    for (size_t i = 0; i < n; i++)
        angle[i] *= envelope(m, first_s + (double)i * step_s);
}

/* Replace the angle by its mean over `exposure` steps around each instant. */
static void expose(double *angle, size_t n, size_t exposure)
{
    double *integral = malloc(n * sizeof *integral);
    assert_non_null(integral);
    integral[0] = integral[1] = 0;
    /* Fourth-order rule for one step: (-1, 13, 13, -1) / 24. */
    for (size_t i = 1; i + 2 < n; i++)
        integral[i + 1] =
            integral[i] + (-angle[i - 1] + 13 * angle[i] + 13 * angle[i + 1] - angle[i + 2]) / 24;
    integral[n - 1] = integral[n - 2];
    for (size_t i = exposure / 2; exposure > 0 && i + exposure / 2 < n; i++)
        angle[i] = (integral[i + exposure / 2] - integral[i - exposure / 2]) / (double)exposure;
    free(integral);
}

/* What a frame of rows at angle[0..rows) shows beyond its best constant rate: left[rows]. */
static void take_trend_off(const double *angle, size_t rows, double *left)
{
    double mean = 0, slope = 0, weight = 0, middle = ((double)rows - 1) / 2;
    for (size_t i = 0; i < rows; i++)
        mean += angle[i] / (double)rows;
    for (size_t i = 0; i < rows; i++) {
        slope += ((double)i - middle) * angle[i];
        weight += ((double)i - middle) * ((double)i - middle);
    }
    for (size_t i = 0; i < rows; i++)
        left[i] = angle[i] - mean - slope / weight * ((double)i - middle);
}

/* Mean square displacement [px^2] over one frame's picture; angles about optical, right, down axis. */
static double frame_px2(const struct setup *s, double focal_px, const double *const angle[3])
{
    /* Simpson's rule across the width is exact: the squares are quadratic in x. */
    static const double across[3] = {-0.5, 0, 0.5}, share[3] = {1.0 / 6, 4.0 / 6, 1.0 / 6};
    double left[3][512], sum = 0;
    for (int a = 0; a < 3; a++)
        take_trend_off(angle[a], s->rows, left[a]);
    for (size_t i = 0; i < s->rows; i++) {
        double y = (((double)i + 0.5) / (double)s->rows - 0.5) * s->camera.height_px;
        for (int k = 0; k < 3; k++) {
            double x = across[k] * s->camera.width_px;
            double dx = -focal_px * left[2][i] + y * left[0][i];
            double dy = focal_px * left[1][i] - x * left[0][i];
            sum += share[k] * (dx * dx + dy * dy) / (double)s->rows;
        }
    }
    return sum;
}

static double focal_px(const struct sr_camera *c)
{
    double hfov = c->hfov_deg * PI / 180;
    return c->lens == SR_LENS_EQUIDISTANT ? c->width_px / hfov : c->width_px / (2 * tan(hfov / 2));
}

/* Body angles into angles about the camera's optical, right and down axis, in place. */
static void tilt(double *const angle[3], size_t n, double tilt_deg)
{
    double c = cos(tilt_deg * PI / 180), s = sin(tilt_deg * PI / 180);
    for (size_t i = 0; i < n; i++) {
        double x = angle[0][i], z = angle[2][i];
        angle[0][i] = x * c - z * s;
        angle[2][i] = x * s + z * c;
    }
}

/* The truth: px RMS of each second, all frames whose readout begins in it. */
static void watch_rows(const struct setup *s, const struct motion motion[3], double *slice_px)
{
    double step_s = s->camera.readout_s / (double)s->rows;
    size_t n = (size_t)ceil((FLIGHT_S + 2 * MARGIN_S) / step_s), frames = 1000;
    double *angle[3];

    for (int a = 0; a < 3; a++) {
        angle[a] = malloc(n * sizeof *angle[a]);
        assert_non_null(angle[a]);
        angle_grid(&motion[a], -MARGIN_S, step_s, n, angle[a]);
        expose(angle[a], n, s->exposure);
    }
    tilt(angle, n, s->camera.tilt_deg);
    for (size_t second = 0; second < FLIGHT_S; second++) {
        double sum = 0;
        for (size_t f = 0; f < frames; f++) {
            double middle_s = (double)second + ((double)f + 0.5) / (double)frames;
            size_t first = (size_t)lround((middle_s + MARGIN_S) / step_s) - s->rows / 2;
            const double *at[3] = {angle[0] + first, angle[1] + first, angle[2] + first};
            sum += frame_px2(s, focal_px(&s->camera), at);
        }
        slice_px[second] = sqrt(sum / (double)frames);
    }
    for (int a = 0; a < 3; a++)
        free(angle[a]);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double quantile(const double *x, size_t n, double q)
{
    double sorted[FLIGHT_S];
    memcpy(sorted, x, n * sizeof *x);
    qsort(sorted, n, sizeof *sorted, by_size);
    double h = q * (double)(n - 1);
    size_t k = (size_t)h;
    return k + 1 < n ? sorted[k] + (h - (double)k) * (sorted[k + 1] - sorted[k]) : sorted[n - 1];
}

/* Samples of the motion as a log that has been read. */
static void make_log(struct sr_log *log, const struct setup *s, const struct motion motion[3])
{
    static char name[] = "rows";
    memset(log, 0, sizeof *log);
    log->name = name;
    log->rate_hz = s->rate_hz;
    log->count = (size_t)(FLIGHT_S * s->rate_hz);
    log->runs = calloc(1, sizeof *log->runs);
    log->airborne = calloc(1, sizeof *log->airborne);
    assert_non_null(log->runs);
    assert_non_null(log->airborne);
    log->n_runs = log->n_airborne = 1;
    log->runs[0].count = log->count;
    log->airborne[0].to_s = FLIGHT_S;
    for (int a = 0; a < 3; a++) {
        double sign = a > 0 && s->axes == SR_AXES_FLU ? -1 : 1;
        log->gyro_dps[a] = malloc(log->count * sizeof *log->gyro_dps[a]);
        assert_non_null(log->gyro_dps[a]);
        for (size_t i = 0; i < log->count; i++)
            log->gyro_dps[a][i] = sign * rate_dps(&motion[a], (double)i / s->rate_hz);
    }
}

static void score_log(const struct setup *s, const struct motion motion[3], const struct sr_camera *camera,
                      struct sr_score *score)
{
    struct sr_log log;
    struct sr_rig rig;
    struct sr_slices slices;
    struct sr_view view;
    memset(&rig, 0, sizeof rig);
    rig.camera = *camera;
    rig.axes = s->axes;
    make_log(&log, s, motion);
    assert_int_equal(sr_slices_make(&slices, &log, &rig, SR_WINDOW_HANN, NULL), SR_OK);
    assert_int_equal(slices.count, FLIGHT_S);
    assert_int_equal(sr_view_init(&view, &slices, camera, NULL), SR_OK);
    assert_int_equal(sr_score_make(score, &slices, &view, 1, NULL), SR_OK);
    sr_view_release(&view);
    sr_slices_release(&slices);
    for (int a = 0; a < 3; a++)
        free(log.gyro_dps[a]);
    free(log.runs);
    free(log.airborne);
}

static void add_part(struct motion *m, double hz, double dps_rms, double turns)
{
    assert_true(m->parts < PARTS_MAX);
    m->hz[m->parts] = hz;
    m->rad[m->parts] = dps_rms * sqrt(2) * PI / 180 / (2 * PI * hz);
    m->turns[m->parts++] = turns;
}

/*
 * Tones from c = 0.3 to near Nyquist, evenly in the logarithm, each with about the
 * same weight in the picture; one of them on two axes at once, so that the tilt's cross-terms count.
 */
static void make_tones(const struct setup *s, struct motion motion[3], uint64_t seed)
{
    double low_hz = s->low_waves / s->camera.readout_s, ratio = s->high_hz / low_hz;
    memset(motion, 0, 3 * sizeof *motion);
    for (int k = 0; k < 24; k++) {
        double hz = low_hz * pow(ratio, k / 23.0), waves = hz * s->camera.readout_s;
        double dps = 0.3 * hz * (1 + 1 / (waves * waves));
        add_part(&motion[k % 3], hz, dps, sim_uniform(&seed));
    }
    add_part(&motion[0], 2.2 / s->camera.readout_s, 60, 0.1);
    add_part(&motion[2], 2.2 / s->camera.readout_s, 60, 0.25);
}

/* Noise `wide_hz` wide about a centre in waves per picture, another centre on each axis. */
static void make_noise(const struct setup *s, struct motion motion[3], const double waves[3], double wide_hz,
                       uint64_t seed)
{
    memset(motion, 0, 3 * sizeof *motion);
    for (int a = 0; a < 3; a++)
        for (int k = 0; k < PARTS_MAX; k++) {
            double place = (k + sim_uniform(&seed)) / PARTS_MAX - 0.5;
            double hz = waves[a] / s->camera.readout_s + wide_hz * place;
            add_part(&motion[a], hz, 40 / sqrt(PARTS_MAX), sim_uniform(&seed));
        }
}

static void swell(struct motion motion[3], double depth, double hz)
{
    for (int a = 0; a < 3; a++) {
        motion[a].swell = depth;
        motion[a].swell_hz = hz;
    }
}

static double rms(const double *x, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] * x[i];
    return sqrt(sum / (double)n);
}

static void compare(const struct setup *s, const struct motion motion[3], const char *what)
{
    double truth[FLIGHT_S];
    struct sr_score score;
    watch_rows(s, motion, truth);
    score_log(s, motion, &s->camera, &score);
    double p95 = quantile(truth, FLIGHT_S, 0.95), all = rms(truth, FLIGHT_S), worst = 0;
    for (size_t i = 0; i < FLIGHT_S; i++)
        worst = fmax(worst, fabs(score.slice_px[i] / truth[i] - 1));
    print_message("%s, %s: rows %.4f px, score %.4f px (%+.2f %%), rms %+.2f %%, worst slice %.2f %%\n",
                  s->name, what, p95, score.wobble_px.value, 100 * (score.wobble_px.value / p95 - 1),
                  100 * (score.rms_px / all - 1), 100 * worst);
    assert_true(p95 > 0.05);
    assert_true(fabs(score.wobble_px.value / p95 - 1) < TOLERANCE);
    assert_true(fabs(score.rms_px / all - 1) < TOLERANCE);
    sr_score_release(&score);
}

static void test_tones(void **state)
{
    struct motion motion[3];
    (void)state;
    for (size_t k = 0; k < sizeof setups / sizeof *setups; k++) {
        make_tones(&setups[k], motion, 11 + k);
        compare(&setups[k], motion, "tones");
        swell(motion, 0.4, 0.043);
        compare(&setups[k], motion, "tones that swell");
    }
}

/*
 * Noise differs more than tones do, though without bias over the flight: a second's
 * windows weigh its middle more than its ends, the rows weigh all of it alike, and
 * noise is not the same in both. The narrower the noise, the more.
 */
static void test_noise(void **state)
{
    static const double low[3] = {0.9, 0.7, 0.8}, high[3] = {3.1, 2.3, 2.7};
    struct motion motion[3];
    (void)state;
    for (size_t k = 0; k < sizeof setups / sizeof *setups; k++) {
        double wide_hz = 0.8 / setups[k].camera.readout_s;
        make_noise(&setups[k], motion, low, wide_hz, 101 + k);
        swell(motion, 0.4, 0.043);
        compare(&setups[k], motion, "slow noise");
        make_noise(&setups[k], motion, high, 60, 201 + k);
        swell(motion, 0.4, 0.043);
        compare(&setups[k], motion, "fast noise");
    }
}

/* The tolerance bites: a readout 10 % off, or an exposure left out, does not pass. */
static void test_tolerance_bites(void **state)
{
    struct motion motion[3];
    double truth[FLIGHT_S];
    const struct setup *s = &setups[2];
    struct sr_camera camera = s->camera;
    struct sr_score score;
    (void)state;
    make_tones(s, motion, 5);
    watch_rows(s, motion, truth);
    double p95 = quantile(truth, FLIGHT_S, 0.95);

    camera.readout_s *= 1.1;
    score_log(s, motion, &camera, &score);
    assert_true(fabs(score.wobble_px.value / p95 - 1) > TOLERANCE);
    sr_score_release(&score);
    camera = s->camera;
    camera.exposure_s = 0;
    score_log(s, motion, &camera, &score);
    assert_true(fabs(score.wobble_px.value / p95 - 1) > TOLERANCE);
    sr_score_release(&score);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_tones),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_tolerance_bites),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
