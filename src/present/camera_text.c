/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include <math.h>
#include <string.h>

#include "notes.h"

static const char *band_words(enum sr_band band)
{
    switch (band) {
    case SR_BAND_LEAN:
        return "the whole picture sways or leans: not wobble";
    case SR_BAND_BEND:
        return "straight edges bend";
    case SR_BAND_WAVE:
        return "edges turn wavy";
    case SR_BAND_RIPPLE:
        return "fine ripples";
    case SR_BAND_GRAIN:
        return "too fine to see as waves: rough edges";
    case SR_BAND_COUNT:
        break;
    }
    return "";
}

/* Width of the range of a readout, as a part of it, from which it is no measurement. */
#define VAGUE 0.6

static void print_flicker(FILE *out, const struct sr_style *style, const struct sr_camera_report *report)
{
    const struct sr_flicker_report *test = report->flicker;

    fprintf(out, "%sreadout from the flicker test%s\n", sr_ink(style, SR_INK_STRONG),
            sr_ink(style, SR_INK_PLAIN));
    fprintf(out, "  %.4g ms, between %.4g and %.4g ms (%g bands, give or take %g, at %g Hz)\n",
            1e3 * test->readout_s, 1e3 * test->low_s, 1e3 * test->high_s, test->bands, test->count_error,
            test->flicker_hz);
    if (!test->fits_frame) {
        fprintf(out,
                "  That is longer than a frame at %.4g fps (%.4g ms): check the count, the lamp\n"
                "  and --fps. The tables below are for a readout of %.4g ms.\n\n",
                report->rig->camera.fps, 1e3 / report->rig->camera.fps, 1e3 * report->rig->camera.readout_s);
        return;
    }
    if (test->high_s - test->low_s > VAGUE * test->readout_s) {
        fprintf(out, "  Too uncertain for a rig file: count more bands, under a lamp that flickers\n"
                     "  faster, or in a mode that reads out slower.\n\n");
        return;
    }
    fprintf(out, "  In the rig file:\n\n      [camera]\n      readout_ms = %.4g\n\n", 1e3 * test->readout_s);
}

static void print_bands(FILE *out, const struct sr_style *style, const struct sr_camera *camera)
{
    char range[48];

    fprintf(out, "\n  %sband              Hz%s  what it does to the picture\n", sr_ink(style, SR_INK_STRONG),
            sr_ink(style, SR_INK_PLAIN));
    for (int i = 0; i < SR_BAND_COUNT; i++) {
        const enum sr_band band = (enum sr_band)i;
        sr_band_range(sr_band_low_hz(camera, band), sr_band_high_hz(camera, band), range, sizeof range);
        fprintf(out, "  %-6s  %12s  %s\n", sr_band_name(band), range, band_words(band));
    }
}

static void print_rows(FILE *out, const struct sr_style *style, const struct sr_camera_report *report)
{
    fprintf(out,
            "\n  %s                                   px RMS per deg/s RMS        allowance%s\n"
            "  %s     Hz   waves  band    crawl Hz     roll    pitch      yaw   deg/s RMS%s\n",
            sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN), sr_ink(style, SR_INK_STRONG),
            sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < report->n_rows; i++) {
        const struct sr_camera_row *row = &report->rows[i];
        char waves[32], gain[3][32], allowance[32];
        for (int axis = 0; axis < 3; axis++)
            sr_format_value(row->gain_px[axis], gain[axis], sizeof gain[axis]);
        fprintf(out, "  %7.6g  %6s  %-6s  %8.1f  %8s %8s %8s   %9s\n", row->hz,
                sr_format_value(row->waves, waves, sizeof waves), sr_band_name(row->band), row->crawl_hz,
                gain[SR_ROLL], gain[SR_PITCH], gain[SR_YAW],
                sr_format_value(row->least_dps, allowance, sizeof allowance));
    }
    fprintf(out, "\n  Allowance: the rotation at that frequency, about the most sensitive axis, that\n"
                 "  alone reaches the threshold; a dash where the camera does not respond. Lean is\n"
                 "  not scored.\n");
}

static void print_modes(FILE *out, const struct sr_style *style, const struct sr_rig *rig)
{
    char line[200];

    if (rig->n_modes == 0)
        return;
    fprintf(out, "\n  %smodes of the rig%s\n", sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < rig->n_modes; i++) {
        sr_camera_line(&rig->modes[i].camera, line, sizeof line);
        fputs("  ", out);
        sr_print_safe(out, rig->modes[i].name);
        fputs(": ", out);
        sr_print_wrapped(out, line, 4 + strlen(rig->modes[i].name), 6, SR_TEXT_WIDTH);
    }
}

void sr_camera_text(FILE *out, const struct sr_style *style, const struct sr_camera_report *report)
{
    const struct sr_rig *rig = report->rig;
    char line[SR_NOTE_MAX];

    if (report->flicker != NULL)
        print_flicker(out, style, report);
    fprintf(out, "%scamera%s  ", sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    sr_camera_line(&rig->camera, line, sizeof line);
    sr_print_wrapped(out, line, 8, 8, SR_TEXT_WIDTH);
    fprintf(out, "  focal length %.0f px, threshold %.3g px RMS%s\n", report->focal_px, report->threshold_px,
            isnan(rig->threshold_px) ? " (the default for this width)" : "");
    sr_rig_assumption(rig, line, sizeof line);
    if (line[0] != '\0') {
        fprintf(out, "  %snote:%s ", sr_ink(style, SR_INK_DIM), sr_ink(style, SR_INK_PLAIN));
        sr_print_wrapped(out, line, 8, 8, SR_TEXT_WIDTH);
    }
    print_bands(out, style, &rig->camera);
    print_rows(out, style, report);
    print_modes(out, style, rig);
}
