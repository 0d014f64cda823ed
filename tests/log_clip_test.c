/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Samples at the sensor's limit: found where there are, and nowhere else. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "log/quality.h"
#include "sim/flight.h"
#include "stillrow/log.h"
#include "support/near.h"
#include "support/text_log.h"

#define TURN 6.283185307179586
#define ROWS 12000

/* How a gyro shakes, and how it is written down. */
struct shake {
    double rate_hz;
    double tone_hz, tone_dps; /* a sine; its amplitude about y, 0.4 and 0.7 of it about x and z */
    double noise_dps;         /* standard deviation */
    double limit_dps;         /* cut here; 0: nowhere */
    double step_dps;          /* rounded to whole steps; 0: not at all */
    int hold;                 /* rows a value */
    double sweep;             /* the tone's frequency swings by this share */
};

/* The samples, into rate[3][ROWS]; how many stand on the limit, any axis, is returned. */
static size_t make(const struct shake *shake, uint64_t *seed, double *rate[3])
{
    static const double share[3] = {0.4, 1.0, 0.7};
    double phase = 0.0;
    size_t cut = 0;

    for (int i = 0; i < ROWS; i++) {
        bool on = false;
        phase += shake->tone_hz / shake->rate_hz * (1.0 + shake->sweep * sin(TURN * i / 4000.0));
        for (int axis = 0; axis < 3; axis++) {
            const bool air = i > ROWS / 10 && i < ROWS - ROWS / 10;
            double x = 0.1 * sim_normal(seed) + 0.02;
            if (air)
                x += shake->tone_dps * share[axis] * sin(TURN * phase) + shake->noise_dps * sim_normal(seed);
            if (shake->step_dps > 0.0)
                x = round(x / shake->step_dps) * shake->step_dps;
            if (shake->limit_dps > 0.0)
                x = fmax(-shake->limit_dps, fmin(shake->limit_dps, x));
            if (shake->hold > 1 && i % shake->hold != 0)
                x = rate[axis][i - 1];
            rate[axis][i] = x;
            on = on || (shake->limit_dps > 0.0 && fabs(x) == shake->limit_dps);
        }
        cut += on;
    }
    return cut;
}

/* What the reader's rule makes of it. */
static struct sr_quality look(const struct shake *shake, uint64_t seed, size_t *cut)
{
    static double samples[3][ROWS];
    struct sr_store store = {.count = ROWS, .rate = {samples[0], samples[1], samples[2]}};
    struct sr_log log = {.name = (char *)"flight.csv", .rate_hz = shake->rate_hz};
    struct sr_sight sight;
    struct sr_error err;

    *cut = make(shake, &seed, store.rate);
    for (size_t part = 0; part < SR_SIGHT_PARTS; part++)
        sr_quality_look(&sight, &store, part);
    assert_int_equal(sr_quality_clipping(&log, &store, &sight, &err), SR_OK);
    const struct sr_quality quality = log.quality;
    log.name = NULL;
    sr_log_release(&log);
    return quality;
}

/* A tone cut by the sensor's range: the tops are one or two samples long, and most of the time on. */
static void clipped_tones(void **state)
{
    static const double limits[] = {200.0, 250.0, 249.9924, 500.0, 1000.0, 1998.17, 2000.0};
    static const double over[] = {1.1, 1.5, 4.0};
    static const double steps[] = {0.0, 0.0076, 0.1, 1.0};
    (void)state;
    for (size_t l = 0; l < sizeof limits / sizeof limits[0]; l++)
        for (size_t o = 0; o < sizeof over / sizeof over[0]; o++)
            for (size_t s = 0; s < sizeof steps / sizeof steps[0]; s++)
                for (int hold = 1; hold <= 3; hold += 2) {
                    const struct shake shake = {.rate_hz = 1000.0,
                                                .tone_hz = 150.0,
                                                .tone_dps = over[o] * limits[l],
                                                .noise_dps = 0.05 * limits[l],
                                                .limit_dps = limits[l],
                                                .step_dps = steps[s],
                                                .hold = hold};
                    size_t cut;
                    const struct sr_quality quality = look(&shake, 7 + l, &cut);
                    assert_true(cut > 500);
                    if (quality.clipped != cut || fabs(quality.clip_dps - limits[l]) > 1e-9 * limits[l])
                        fail_msg("%g times %g, step %g, hold %d: %llu of %zu, at %g", over[o], limits[l],
                                 steps[s], hold, (unsigned long long)quality.clipped, cut, quality.clip_dps);
                }
}

/* Noise whose tails were cut: single touches, on axes that met the limit a few times only, count as well. */
static void few_touches(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        struct shake shake = {.rate_hz = 1000.0, .noise_dps = 83.0, .limit_dps = 250.0, .step_dps = 0.0076};
        size_t cut;
        struct sr_quality quality = look(&shake, seed, &cut); /* three standard deviations: 1 in 370 */
        assert_true(cut > 30 && cut < 150);
        assert_int_equal(quality.clipped, cut);
        shake.limit_dps = 260.0;
        quality = look(&shake, seed, &cut);
        assert_int_equal(quality.clipped, cut);
    }
}

/* Nothing was cut: no sample may be taken for one on a limit. */
static void no_false_alarm(void **state)
{
    static const double rates[] = {500.0, 1000.0, 4000.0};
    static const double steps[] = {0.0, 0.0076, 0.061, 0.1, 1.0, 5.0, 25.0};
    static const double noises[] = {0.0, 0.5, 8.0, 60.0};
    static const double tones[] = {0.0, 30.0, 90.0, 240.0, 400.0, 990.0};
    static const double hz[] = {31.0, 100.0, 125.0, 150.0, 166.667, 187.3, 250.0};
    size_t logs = 0;
    (void)state;
    for (size_t t = 0; t < sizeof tones / sizeof tones[0]; t++)
        for (size_t n = 0; n < sizeof noises / sizeof noises[0]; n++)
            for (size_t s = 0; s < sizeof steps / sizeof steps[0]; s++)
                for (size_t f = 0; f < (tones[t] > 0.0 ? sizeof hz / sizeof hz[0] : 1); f++)
                    for (int kind = 0; kind < 3; kind++) {
                        const struct shake shake = {.rate_hz = rates[(f + s) % 3],
                                                    .tone_hz = hz[f],
                                                    .tone_dps = tones[t],
                                                    .noise_dps = noises[n],
                                                    .step_dps = steps[s],
                                                    .hold = kind == 1 ? 4 : 1,
                                                    .sweep = kind == 2 ? 0.2 : 0.0};
                        size_t cut;
                        const struct sr_quality quality = look(&shake, 1000 + logs, &cut);
                        logs++;
                        if (quality.clipped != 0)
                            fail_msg("tone %g at %g of %g Hz, noise %g, step %g, kind %d: %llu at %g",
                                     tones[t], hz[f], shake.rate_hz, noises[n], steps[s], kind,
                                     (unsigned long long)quality.clipped, quality.clip_dps);
                    }
    assert_true(logs > 2000);
}

/* The same by way of the file, and what is said of it. */
static void from_a_file(void **state)
{
    const struct shake shake = {
        .rate_hz = 1000.0, .tone_hz = 150.0, .tone_dps = 640.0, .noise_dps = 48.0, .limit_dps = 250.0};
    static double samples[3][ROWS];
    double *rate[3] = {samples[0], samples[1], samples[2]};
    uint64_t seed = 3;
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    (void)state;
    const size_t cut = make(&shake, &seed, rate);
    text_add(&text, "time (ms),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
    for (int i = 0; i < ROWS; i++)
        text_add(&text, "%d,%.4f,%.4f,%.4f\n", i, rate[0][i], rate[1][i], rate[2][i]);
    assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
    assert_int_equal(log.quality.clipped, cut);
    assert_near(log.quality.clip_dps, 250.0, 1e-9);
    assert_true(has_note(&log, "sensor's limit of 250 deg/s"));
    sr_log_release(&log);
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clipped_tones),
        cmocka_unit_test(few_touches),
        cmocka_unit_test(no_false_alarm),
        cmocka_unit_test(from_a_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
