/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/plot_cases.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Frequencies as crowded as real ones: around the motors' first order, and some far off. */
static const struct {
    double hz, dps;
    enum sr_cause cause;
    double order;
    int motor;
} lines[12] = {
    {212, 60, SR_CAUSE_ORDER, 1, 3},    {178, 34, SR_CAUSE_FIXED, 0, 0},    {88, 20, SR_CAUSE_FOLDED, 0, 0},
    {44, 12, SR_CAUSE_UNDECIDED, 0, 0}, {330, 24, SR_CAUSE_ORDER, 2, 1},    {206, 30, SR_CAUSE_FIXED, 0, 0},
    {221, 28, SR_CAUSE_ORDER, 1.5, 0},  {130, 8, SR_CAUSE_FIXED, 0, 0},     {32, 6, SR_CAUSE_BROADBAND, 0, 0},
    {150, 7, SR_CAUSE_FIXED, 0, 0},     {284, 9, SR_CAUSE_UNDECIDED, 0, 0}, {372, 8, SR_CAUSE_ORDER, 3, 0},
};

/* A Hann line: all of its power within three bins. */
static void add_line(struct sr_slices *slices, double hz, double dps, size_t axis)
{
    for (size_t i = 0; i < slices->count; i++)
        for (size_t k = 0; k < slices->bins; k++) {
            double off = ((double)k * slices->bin_hz - hz) / slices->bin_hz;
            double share = off > -1.5 && off < 1.5 ? (off > -0.5 && off < 0.5 ? 2.0 / 3 : 1.0 / 6) : 0;
            slices->psd[(i * 3 + axis) * slices->bins + k] += share * dps * dps / slices->bin_hz;
        }
}

static void must(bool good, const char *what)
{
    if (!good) {
        fprintf(stderr, "plot case: %s\n", what);
        abort();
    }
}

static void set_speeds(struct sr_slices *slices)
{
    slices->n_motors = 4;
    for (size_t i = 0; i < slices->count; i++)
        for (size_t m = 0; m < SR_MOTORS_MAX; m++)
            slices->slice[i].motor_rpm[m] = m < 4 ? 9000 + 150 * (double)i + 40 * (double)m : (double)NAN;
}

static void set_peak(struct plot_case *c, size_t i)
{
    struct sr_peak *peak = &c->fake.score.peaks[i];

    *peak = (struct sr_peak){.hz = lines[i].hz,
                             .rate_dps = 3 * lines[i].dps,
                             .wobble_px = 0.9 / (double)(i + 1),
                             .share = 0.5 / (double)(i + 1),
                             .axis = (enum sr_picture_axis)(i % 3),
                             .cause = lines[i].cause,
                             .order = lines[i].order,
                             .motor = lines[i].motor,
                             .true_hz = lines[i].cause == SR_CAUSE_FOLDED ? 912 : lines[i].hz};
    snprintf(peak->evidence, sizeof peak->evidence, "it holds its place in 38 of 40 seconds");
    for (size_t s = 0; s < PLOT_CASE_SLICES; s++) {
        c->track_hz[i][s] = lines[i].order > 0 ? lines[i].order * (9000 + 150 * (double)s) / 60 : lines[i].hz;
        c->track_px[i][s] = peak->wobble_px;
    }
    c->causes.tracks[i].hz = c->track_hz[i];
    c->causes.tracks[i].wobble_px = c->track_px[i];
}

void plot_case_make(struct plot_case *c, size_t n_lines)
{
    const struct fake_flight calm = {.seconds = PLOT_CASE_SLICES,
                                     .level_db = -9,
                                     .scatter_db = 3,
                                     .correlation = 0.4,
                                     .throttle_low = 0.3,
                                     .throttle_high = 0.6};
    uint64_t seed = 7;

    memset(c, 0, sizeof *c);
    must(n_lines <= 12, "at most 12 lines");
    must(fake_fly(&c->fake, &calm, &seed) == 0, "cannot make the flight");
    for (size_t i = 0; i < n_lines; i++)
        add_line(&c->fake.slices, lines[i].hz, 3 * lines[i].dps, i % 3);
    sr_score_release(&c->fake.score);
    must(sr_score_make(&c->fake.score, &c->fake.slices, &c->fake.view, 1.0, NULL) == SR_OK,
         "cannot score it");
    set_speeds(&c->fake.slices);
    sr_rig_init(&c->rig);
    must(sr_rig_finish(&c->rig, NULL) == SR_OK, "cannot finish the rig");
    snprintf(c->rig.build.name, sizeof c->rig.build.name, "heron");
    snprintf(c->rig.build.motor, sizeof c->rig.build.motor, "2004, 1850 turns a volt");
    snprintf(c->rig.build.prop, sizeof c->rig.build.prop, "5.1 x 2.5");
    c->rig.build.blades = 3;
    c->rig.build.mass_g = 238;
    c->rig.mount.shore_a = 55;
    c->rig.mount.temperature_c = 12;

    c->fake.score.n_peaks = n_lines;
    c->causes.source = SR_SPEED_MOTORS;
    c->causes.slices = PLOT_CASE_SLICES;
    c->causes.n_tracks = n_lines;
    for (size_t i = 0; i < n_lines; i++)
        set_peak(c, i);
    c->change =
        (struct sr_change){.found = true, .at_s = 24, .before_px = 0.6, .after_px = 1.2, .ratio_db = 6.02};
    c->flight = (struct sr_plot_flight){.log_name = "logs/heron-lake.csv",
                                        .rig = &c->rig,
                                        .slices = &c->fake.slices,
                                        .view = &c->fake.view,
                                        .score = &c->fake.score,
                                        .causes = &c->causes,
                                        .change = &c->change};
}

void plot_case_release(struct plot_case *c)
{
    fake_release(&c->fake);
}
