/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * "Looks low-pass filtered": how often it is said for nothing, how often it is missed, and
 * how far off the corner is. The figures are those of docs/method.md.
 */
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

#define TURN     6.283185307179586
#define HALF     (TURN / 2.0)
#define LENGTH_S 12.0
#define ROOM     100000 /* samples: 8 kHz for LENGTH_S */

/* A flight's gyro and the filter it went through. */
struct plan {
    double rate_hz;
    double noise;     /* [dps/rtHz] white to Nyquist: 0.007 is a sensor alone, 0.3 a rough flight */
    double wash;      /* [dps/rtHz] below 30 Hz, 12 dB an octave above */
    double line_dps;  /* amplitude of a motor order about 183 Hz, 0.3 of it at twice that */
    bool swept;       /* it wanders from 142 to 224 Hz */
    double corner_hz; /* 0: no filter */
    int order;        /* 1, or an even number: Butterworth */
    int every;        /* the filter runs so many times faster than the log */
};

/* A filter's state: sections of second order, or one of first. */
struct section {
    double z[2];
};

/* Low-pass by the bilinear transform, k = tan(pi fc / fs) (a textbook's, from memory). */
static double filter(struct section *section, int order, double k, double x)
{
    if (order == 1) {
        const double y = k / (1.0 + k) * (x + section->z[0]) + (1.0 - k) / (1.0 + k) * section->z[1];
        section->z[0] = x;
        section->z[1] = y;
        return y;
    }
    for (int s = 0; s < order / 2; s++) {
        const double damp = 2.0 * cos(HALF / 2.0 * (2.0 * s + 1.0) / order) * k;
        const double norm = 1.0 / (1.0 + damp + k * k);
        const double b = k * k * norm;
        const double y = b * x + section[s].z[0];
        section[s].z[0] = 2.0 * b * x - 2.0 * (k * k - 1.0) * norm * y + section[s].z[1];
        section[s].z[1] = b * x - (1.0 - damp + k * k) * norm * y;
        x = y;
    }
    return x;
}

/* Normal deviates from a store that every log starts at another place of: to make them takes longest. */
static double draw(uint64_t *place)
{
    static double store[1 << 20];
    static bool filled;

    for (uint64_t i = 0, seed = 1; !filled && i < 1 << 20; i++)
        store[i] = sim_normal(&seed);
    filled = true;
    return store[(*place)++ % (1 << 20)];
}

static void make_axis(const struct plan *plan, int axis, uint64_t *seed, double *out)
{
    static const double share[3] = {0.4, 1.0, 0.7};
    const double fast_hz = plan->rate_hz * plan->every;
    const double pole = exp(-TURN * 30.0 / fast_hz), k = tan(HALF * plan->corner_hz / fast_hz);
    struct section section[2] = {{{0}}};
    double phase = 0.0, one = 0.0, wash = 0.0;
    uint64_t place = (uint64_t)(1e6 * sim_uniform(seed));

    for (int i = 0; i < (int)(LENGTH_S * fast_hz); i++) {
        phase += (183.0 + (plan->swept ? 41.0 * sin(TURN * i / fast_hz / 9.0) : 0.0)) / fast_hz;
        one = pole * one + (1.0 - pole) * plan->wash * sqrt(fast_hz / 2.0) * draw(&place);
        wash = pole * wash + (1.0 - pole) * one;
        double x = plan->noise * sqrt(fast_hz / 2.0) * draw(&place) + wash +
                   plan->line_dps * share[axis] * (sin(TURN * phase) + 0.3 * sin(2.0 * TURN * phase));
        if (plan->corner_hz > 0.0)
            x = filter(section, plan->order, k, x);
        if (i % plan->every == 0)
            out[i / plan->every] = round(x / 0.0076) * 0.0076;
    }
}

/* What is found; low_pass_hz is 0 where no filter is. */
static struct sr_quality find(const struct plan *plan, uint64_t seed)
{
    static double samples[3][ROOM];
    struct sr_run run = {.count = (size_t)(LENGTH_S * plan->rate_hz)};
    struct sr_span span = {.to_s = LENGTH_S};
    struct sr_log log = {.name = (char *)"flight.csv",
                         .rate_hz = plan->rate_hz,
                         .count = run.count,
                         .gyro_dps = {samples[0], samples[1], samples[2]},
                         .runs = &run,
                         .n_runs = 1,
                         .airborne = &span,
                         .n_airborne = 1,
                         .quality.nyquist_hz = plan->rate_hz / 2.0};
    struct sr_error err;

    for (int axis = 0; axis < 3; axis++)
        make_axis(plan, axis, &seed, samples[axis]);
    assert_int_equal(sr_quality_low_pass(&log, &err), SR_OK);
    free(log.notes);
    return log.quality;
}

static const double rates[] = {1000.0, 2000.0, 4000.0, 8000.0};
static const double noises[] = {0.007, 0.05, 0.3};
static const double corners[] = {60.0, 90.0, 150.0, 250.0, 400.0, 500.0};

/* No filter: none may be found, whatever the motors do. */
static void no_filter(void **state)
{
    static const double lines[] = {0.0, 60.0, 200.0};
    static const double washes[] = {0.0, 0.5, 3.0};
    size_t logs = 0;
    (void)state;
    for (size_t r = 0; r < 4; r++)
        for (size_t n = 0; n < 3; n++)
            for (size_t l = 0; l < 3; l++)
                for (size_t w = 0; w < 3; w++) {
                    const struct plan plan = {.rate_hz = rates[r],
                                              .noise = noises[n],
                                              .wash = washes[w],
                                              .line_dps = lines[l],
                                              .swept = (r + w) % 3 != 2,
                                              .every = 1};
                    const double hz = find(&plan, 100 + logs++).low_pass_hz;
                    if (hz > 0.0)
                        fail_msg("%g Hz, noise %g, wash %g, line %g: filtered at %g", rates[r], noises[n],
                                 washes[w], lines[l], hz);
                }
}

/* Filters of one kind, at all rates and corners, without a line and with one. */
struct kind {
    int order;
    bool decimated; /* it ran at 8 kHz, and the log took some of its samples */
    double noise;
    size_t least; /* found, of those tried */
    size_t high;  /* with a corner that is too high by over half an octave, at most */
    size_t low;   /* too low by as much, at most */
};

static void try_kind(const struct kind *kind)
{
    size_t tried = 0, found = 0, high = 0, low = 0, inside = 0;

    for (size_t c = 0; c < 6; c++)
        for (size_t r = 0; r < (kind->decimated ? 3 : 4); r++)
            for (int line = 0; line < 2; line++) {
                if (corners[c] > 0.35 * rates[r])
                    continue;
                const struct plan plan = {.rate_hz = rates[r],
                                          .noise = kind->noise,
                                          .wash = 0.5,
                                          .line_dps = line * 60.0,
                                          .swept = true,
                                          .corner_hz = corners[c],
                                          .order = kind->order,
                                          .every = kind->decimated ? (int)(8000.0 / rates[r]) : 1};
                const struct sr_quality q = find(&plan, 1000 + 31 * c + 7 * r + (size_t)line);
                const bool is_found = q.low_pass_hz > 0.0;
                tried++;
                found += is_found;
                high += is_found && log2(q.low_pass_hz / corners[c]) > 0.5;
                low += is_found && log2(q.low_pass_hz / corners[c]) < -0.5;
                inside += is_found && q.low_pass_low_hz <= corners[c] && corners[c] <= q.low_pass_high_hz;
            }
    print_message("order %d%s, noise %g: %zu of %zu found, corner too high in %zu, too low in %zu; "
                  "in the range told in %zu\n",
                  kind->order, kind->decimated ? ", decimated" : "", kind->noise, found, tried, high, low,
                  inside);
    if (found < kind->least || high > kind->high || low > kind->low)
        fail_msg("fewer than %zu found, or more than %zu too high or %zu too low", kind->least, kind->high,
                 kind->low);
    if (100 * inside < 80 * found)
        fail_msg("the range told has the corner in it in %zu of %zu", inside, found);
}

/* As counted, give or take two for other seeds and another machine's sines. */
static void filters(void **state)
{
    static const struct kind kinds[] = {
        {1, false, 0.007, 42, 17, 25}, {1, false, 0.05, 42, 13, 15}, {1, false, 0.3, 42, 3, 2},
        {1, true, 0.007, 20, 18, 4},   {1, true, 0.05, 0, 4, 2},     {1, true, 0.3, 0, 2, 2},
        {2, false, 0.007, 42, 2, 23},  {2, false, 0.05, 42, 3, 9},   {2, false, 0.3, 42, 2, 2},
        {2, true, 0.007, 26, 2, 19},   {2, true, 0.05, 14, 8, 4},    {2, true, 0.3, 6, 2, 2},
        {4, false, 0.007, 42, 2, 6},   {4, false, 0.05, 42, 2, 2},   {4, false, 0.3, 42, 2, 2},
        {4, true, 0.007, 30, 2, 16},   {4, true, 0.05, 23, 2, 2},    {4, true, 0.3, 24, 2, 2},
    };
    (void)state;
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++)
        try_kind(&kinds[k]);
}

/* Flights of the model craft, resonances and all, whose log has no filter. */
static void model_flights(void **state)
{
    size_t flights = 0;
    (void)state;
    for (size_t r = 0; r < 3; r++)
        for (int profile = SIM_HOVER; profile <= SIM_CHASE; profile++)
            for (int mode = 0; mode < 3; mode++) {
                struct sim_flight plan;
                struct sim_samples samples;
                struct sr_error err;
                sim_flight_init(&plan);
                plan.rate_hz = rates[r];
                plan.flight_s = LENGTH_S;
                plan.ground_s = 0.0;
                plan.profile = (enum sim_profile)profile;
                plan.seed = 50 + flights++;
                plan.antialias_hz = 0.0;
                if (mode > 0)
                    plan.mode[0] = (struct sim_mode){.hz = mode == 1 ? 70.0 : 190.0,
                                                     .damping = 0.02,
                                                     .drive = 5.0,
                                                     .axis = {0.3, 1.0, 0.2}};
                assert_int_equal(sim_fly(&plan, &samples), 0);
                struct sr_run run = {.count = samples.count};
                struct sr_span span = {.to_s = (double)samples.count / plan.rate_hz};
                struct sr_log log = {
                    .name = (char *)"flight.csv",
                    .rate_hz = plan.rate_hz,
                    .count = samples.count,
                    .gyro_dps = {samples.gyro_dps[0], samples.gyro_dps[1], samples.gyro_dps[2]},
                    .runs = &run,
                    .n_runs = 1,
                    .airborne = &span,
                    .n_airborne = 1,
                    .quality.nyquist_hz = plan.rate_hz / 2.0};
                assert_int_equal(sr_quality_low_pass(&log, &err), SR_OK);
                if (log.quality.low_pass_hz > 0.0)
                    fail_msg("%g Hz, profile %d, mode %d: filtered at %g", plan.rate_hz, profile, mode,
                             log.quality.low_pass_hz);
                free(log.notes);
                sim_samples_release(&samples);
            }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_filter),
        cmocka_unit_test(model_flights),
        cmocka_unit_test(filters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
