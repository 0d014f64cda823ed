/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Score one flight with the library:
 *
 *     cc -o score_one score_one.c $(pkg-config --cflags --static --libs stillrow)
 *     ./score_one flight.csv [rig.ini]
 *
 * Prints the verdict, the wobble with its interval, and the lines that make it.
 */
#include <stdio.h>

#include <stillrow/log.h>
#include <stillrow/rig.h>
#include <stillrow/wobble.h>

/* The rig in force: the assumed one, or what a file says over it. */
static enum sr_status load_rig(struct sr_rig *rig, const char *path, struct sr_error *err)
{
    enum sr_status status = SR_OK;

    sr_rig_init(rig);
    if (path != NULL)
        status = sr_rig_read(rig, path, err);
    return status == SR_OK ? sr_rig_finish(rig, err) : status;
}

static void print_score(const struct sr_score *score)
{
    printf("verdict %s\n", sr_verdict_name(score->verdict));
    printf("wobble_px %.6g %.6g %.6g\n", score->wobble_px.value, score->wobble_px.low, score->wobble_px.high);
    for (size_t i = 0; i < score->n_peaks; i++)
        printf("line %.6g Hz, %.6g px\n", score->peaks[i].hz, score->peaks[i].wobble_px);
}

/* Log, slices, view, score: each is made from the one before, and released in reverse order. */
static enum sr_status score_one(const char *path, const struct sr_rig *rig, struct sr_error *err)
{
    struct sr_log log = {0};
    struct sr_slices slices = {0};
    struct sr_view view = {0};
    struct sr_score score = {0};
    struct sr_log_options options;

    sr_log_options_init(&options);
    options.pole_pairs = rig->pole_pairs;
    options.speed_scale = rig->speed_scale;
    options.idle_throttle = rig->idle_throttle;

    enum sr_status status = sr_log_read(&log, path, &options, err);
    if (status == SR_OK)
        status = sr_slices_make(&slices, &log, rig, SR_WINDOW_HANN, err);
    if (status == SR_OK)
        status = sr_view_init(&view, &slices, &rig->camera, err);
    if (status == SR_OK)
        status = sr_score_make(&score, &slices, &view, sr_rig_threshold_px(rig), err);
    if (status == SR_OK)
        print_score(&score);
    sr_score_release(&score);
    sr_view_release(&view);
    sr_slices_release(&slices);
    sr_log_release(&log);
    return status;
}

int main(int argc, char **argv)
{
    struct sr_rig rig;
    struct sr_error err = {0};

    if (argc < 2 || argc > 3) {
        fputs("usage: score_one LOG [RIG]\n", stderr);
        return 2;
    }
    if (load_rig(&rig, argc == 3 ? argv[2] : NULL, &err) == SR_OK && score_one(argv[1], &rig, &err) == SR_OK)
        return 0;
    fprintf(stderr, "score_one: %s: %s\n", err.file[0] != '\0' ? err.file : argv[1], err.text);
    return 1;
}
