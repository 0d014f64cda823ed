/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow camera: what a camera makes of a vibration, and how long its readout takes. */
#include <math.h>
#include <stdio.h>

#include "commands/commands.h"
#include "commands/shared.h"

struct camera_args {
    struct option_numbers at;
    double flicker_hz, bands, count_error;
    struct rig_args rig;
    struct output_args output;
};

#define AT(member) offsetof(struct camera_args, member)
static const struct cli_option camera_options[] = {
    {.name = "at",
     .kind = OPTION_NUMBERS,
     .offset = AT(at),
     .argument = "HZ,HZ...",
     .unit = "Hz",
     .min = 0,
     .max = 100000,
     .above = true,
     .help = "frequencies to tell about",
     .fallback = "a ladder from 10 to 1000"},
    {.name = "flicker-hz",
     .kind = OPTION_NUMBER,
     .offset = AT(flicker_hz),
     .argument = "HZ",
     .unit = "Hz",
     .min = 1,
     .max = 100000,
     .help = "flicker test: how often the lamp flickers; twice the mains frequency for most lamps"},
    {.name = "bands",
     .kind = OPTION_NUMBER,
     .offset = AT(bands),
     .argument = "N",
     .min = 0,
     .max = 10000,
     .above = true,
     .help = "flicker test: pairs of a dark and a light band counted over the picture's height"},
    {.name = "count-error",
     .kind = OPTION_NUMBER,
     .offset = AT(count_error),
     .argument = "N",
     .min = 0,
     .max = 1000,
     .help = "flicker test: how many bands the count may be off by",
     .fallback = "0.25"},
};
static const struct option_group camera_group = OPTION_GROUP("The camera", camera_options);
static const struct option_use uses[] = {
    {&camera_group, 0},
    {&rig_group, AT(rig)},
    {&output_group, AT(output)},
};
#undef AT

static const struct command_line line = {
    .verb = "camera",
    .operands = "",
    .about = "Tells which frequencies a camera turns into wobble, how many pixels a rotation of 1 deg/s RMS "
             "makes, and how much rotation it takes to reach the threshold. With --flicker-hz and --bands "
             "it works out the readout time from footage of a flickering lamp, and uses it.",
    .after = "Flicker test: film a lamp that fills the picture, with a short exposure and a still\n"
             "camera, and count the pairs of a dark and a light band from the top of one frame to\n"
             "its bottom:\n"
             "  stillrow camera --fps 60 --flicker-hz 100 --bands 1.5\n"
             "Exit status: 0 done; 2 the command line or the rig file is wrong.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

static const double ladder_hz[] = {10, 20, 50, 100, 150, 200, 250, 300, 400, 500, 700, 1000};

static struct sr_camera_row camera_row(const struct sr_rig *rig, double hz)
{
    const struct sr_camera *camera = &rig->camera;
    const double threshold_px = sr_rig_threshold_px(rig);
    struct sr_camera_row row = {.hz = hz,
                                .waves = hz * camera->readout_s,
                                .crawl_hz = sr_camera_crawl_hz(camera, hz),
                                .band = sr_band_at(camera, hz)};

    for (int i = 0; i < 3; i++) {
        const enum sr_picture_axis axis = (enum sr_picture_axis)i;
        row.gain_px[i] = sqrt(sr_camera_wobble_gain(camera, axis, hz));
        row.allowance_dps[i] = sr_camera_allowance_dps(camera, axis, hz, threshold_px);
    }
    row.least_dps = sr_camera_least_allowance_dps(camera, hz, threshold_px);
    return row;
}

/* The readout from the lamp, and whether the rig's frames are long enough for it. */
static bool test_flicker(const struct camera_args *args, const struct sr_rig *rig,
                         struct sr_flicker_report *flicker)
{
    struct sr_error err = {0};

    *flicker = (struct sr_flicker_report){
        .flicker_hz = args->flicker_hz, .bands = args->bands, .count_error = args->count_error};
    if (sr_flicker_readout(args->bands, args->count_error, args->flicker_hz, &flicker->readout_s,
                           &flicker->low_s, &flicker->high_s, &err) != SR_OK) {
        complain_error(&err);
        return false;
    }
    flicker->fits_frame = flicker->readout_s <= 1.0 / rig->camera.fps;
    return true;
}

/* flicker: NULL without a flicker test. */
static int describe(const struct camera_args *args, const struct sr_rig *rig,
                    const struct sr_flicker_report *flicker)
{
    struct sr_camera_row rows[OPTION_NUMBERS_MAX];
    struct sr_error err = {0};
    struct sr_style style;
    const double *at = args->at.count > 0 ? args->at.value : ladder_hz;
    size_t n_rows = args->at.count > 0 ? args->at.count : sizeof ladder_hz / sizeof ladder_hz[0];

    for (size_t i = 0; i < n_rows; i++)
        rows[i] = camera_row(rig, at[i]);

    const struct sr_camera_report report = {.rig = rig,
                                            .focal_px = sr_camera_focal_px(&rig->camera),
                                            .threshold_px = sr_rig_threshold_px(rig),
                                            .rows = rows,
                                            .n_rows = n_rows,
                                            .flicker = flicker};
    if (!args->output.json) {
        style_from(&style, &args->output);
        sr_camera_text(stdout, &style, &report);
    } else if (sr_camera_json(stdout, &report, &err) != SR_OK) {
        complain_error(&err);
        return EXIT_FAILED;
    }
    return EXIT_DONE;
}

/* The measured readout is laid over the rig as --readout-ms would be, if it fits into a frame. */
static int flicker_test(const struct camera_args *args, struct sr_rig *rig)
{
    struct rig_args rig_args = args->rig;
    struct sr_flicker_report flicker;
    char readout_ms[32];

    if (!test_flicker(args, rig, &flicker))
        return usage_hint(line.verb);
    if (flicker.fits_frame) {
        snprintf(readout_ms, sizeof readout_ms, "%.9g", 1e3 * flicker.readout_s);
        *key_text_of(&rig_group, &rig_args.keys, "readout-ms") = readout_ms;
        if (!rig_from(rig, &rig_args))
            return EXIT_USAGE;
    }
    return describe(args, rig, &flicker);
}

int command_camera(int argc, char **argv)
{
    struct camera_args args = {.flicker_hz = NAN, .bands = NAN, .count_error = 0.25};
    struct sr_rig rig;
    size_t n_operands = 0;
    int status;

    if (!options_take(&line, &args, argc, argv, &n_operands, &status))
        return status;
    if (n_operands > 0) {
        complain("camera: takes no file, but was given '%s' (a rig file goes with --rig)", argv[1]);
        return usage_hint(line.verb);
    }
    if (isnan(args.flicker_hz) != isnan(args.bands)) {
        complain("camera: a flicker test needs both --flicker-hz and --bands");
        return usage_hint(line.verb);
    }
    if (!rig_from(&rig, &args.rig))
        return EXIT_USAGE;
    return isnan(args.flicker_hz) ? describe(&args, &rig, NULL) : flicker_test(&args, &rig);
}
