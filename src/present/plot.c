/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/plot.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "present/gnuplot_pipe.h"
#include "present/plot_file.h"
#include "present/plot_kinds.h"
#include "present/plot_words.h"

void sr_plot_options_init(struct sr_plot_options *options)
{
    *options = (struct sr_plot_options){.kind = SR_PLOT_SPECTRUM,
                                        .format = SR_PLOT_PNG,
                                        .width_px = SR_PLOT_WIDTH_PX,
                                        .height_px = SR_PLOT_HEIGHT_PX};
}

const char *sr_plot_kind_name(enum sr_plot_kind kind)
{
    switch (kind) {
    case SR_PLOT_SPECTRUM:
        return "spectrum";
    case SR_PLOT_TIMELINE:
        return "timeline";
    case SR_PLOT_WATERFALL:
        return "waterfall";
    case SR_PLOT_ORDERS:
        return "orders";
    }
    return "unknown";
}

bool sr_plot_kind_find(const char *name, enum sr_plot_kind *kind)
{
    for (int k = 0; k < SR_PLOT_KINDS; k++)
        if (strcmp(name, sr_plot_kind_name((enum sr_plot_kind)k)) == 0) {
            *kind = (enum sr_plot_kind)k;
            return true;
        }
    return false;
}

const char *sr_plot_format_ending(enum sr_plot_format format)
{
    static const char *const endings[] = {"png", "svg", "pdf", "txt"};
    return endings[format];
}

static bool within(double value, double low, double high)
{
    return value >= low && value <= high;
}

enum sr_status sr_plot_check(const struct sr_plot_flight *flight, const struct sr_plot_options *options,
                             struct sr_error *err)
{
    const char *wrong = NULL;

    if (flight->rig == NULL || flight->slices == NULL || flight->view == NULL || flight->score == NULL)
        wrong = "a flight without rig, slices, view or score";
    else if (flight->slices->count == 0 || flight->slices->count != flight->score->slices ||
             flight->slices->bins != flight->view->bins)
        wrong = "slices, view and score are not of one flight";
    else if ((int)options->kind < 0 || (int)options->kind >= SR_PLOT_KINDS)
        wrong = "no such kind of plot";
    else if ((int)options->format < 0 || options->format > SR_PLOT_TEXT)
        wrong = "no such format";
    else if (options->format != SR_PLOT_TEXT &&
             (!within(options->width_px, SR_PLOT_LEAST_PX, SR_PLOT_MOST_PX) ||
              !within(options->height_px, SR_PLOT_LEAST_PX, SR_PLOT_MOST_PX)))
        wrong = "a picture is 240 to 8000 pixels wide and high";
    else if (options->format == SR_PLOT_TEXT &&
             (!within(options->text_columns, 0, 1000) || !within(options->text_rows, 0, 1000) ||
              within(options->text_columns, 1, 39) || within(options->text_rows, 1, 11)))
        wrong = "a text plot is 40 to 1000 columns wide and 12 to 1000 rows high";
    else if (!(options->timeout_s >= 0) || !(options->max_hz >= 0) || !isfinite(options->footage_offset_s))
        wrong = "a time-out or frequency below 0, or an offset that is no number";
    else if (options->format != SR_PLOT_TEXT && options->output == NULL)
        wrong = "a picture needs a file to go to";
    return wrong == NULL ? SR_OK : sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "%s", wrong);
}

static enum sr_status make_script(struct sr_script *script, const struct sr_plot_flight *flight,
                                  const struct sr_plot_options *options, struct sr_error *err)
{
    static enum sr_status (*const draw[])(struct sr_script *, const struct sr_plot_flight *,
                                          const struct sr_plot_options *, struct sr_error *) = {
        sr_plot_spectrum, sr_plot_timeline, sr_plot_waterfall, sr_plot_orders};
    const char *ending = sr_plot_format_ending(options->format);

    sr_script_add(script, "# Drawn by stillrow " SR_VERSION ": a flight's %s. All data are in this file.\n",
                  sr_plot_kind_name(options->kind));
    if (options->format == SR_PLOT_TEXT)
        sr_script_add(script, "# gnuplot -d FILE   (this file) draws it again.\n");
    else
        sr_script_add(script, "# gnuplot -d FILE > picture.%s   (FILE: this one) draws it again.\n", ending);
    enum sr_status status = options->format == SR_PLOT_TEXT
                                ? sr_plot_in_text(script, flight, options, err)
                                : draw[options->kind](script, flight, options, err);
    return status == SR_OK ? sr_script_check(script, err) : status;
}

/* gnuplot may be stopped half-way and still say that all went well: a whole picture has its ends. */
static enum sr_status check_whole(const struct sr_bytes *picture, enum sr_plot_format format,
                                  struct sr_error *err)
{
    static const struct {
        const char *start;
        size_t start_length;
        const char *end; /* within the last 64 bytes */
        size_t end_length;
    } marks[] = {{"\x89PNG\r\n\x1a\n", 8, "IEND", 4},
                 {"<?xml", 5, "</svg>", 6},
                 {"%PDF", 4, "%%EOF", 5},
                 {"", 0, "", 0}};
    size_t length = picture->length, window = length < 64 ? length : 64;
    bool whole = length >= marks[format].start_length &&
                 memcmp(picture->data, marks[format].start, marks[format].start_length) == 0;
    bool ended = marks[format].end_length == 0;

    for (size_t i = length - window; i + marks[format].end_length <= length && !ended; i++)
        ended = memcmp(picture->data + i, marks[format].end, marks[format].end_length) == 0;
    if (whole && ended)
        return SR_OK;
    return sr_fail(err, SR_ERR_PLOT, NULL, 0, "what gnuplot drew is no whole %s picture",
                   sr_plot_format_ending(format));
}

/* gnuplot pads lines and starts a text page with a form feed. */
static void tidy_text(struct sr_bytes *picture)
{
    size_t out = 0;

    for (size_t i = 0; i < picture->length; i++) {
        char c = picture->data[i];
        if (c == '\f' || (c == '\n' && out == 0))
            continue;
        if (c == '\n')
            while (out > 0 && picture->data[out - 1] == ' ')
                out--;
        picture->data[out++] = c;
    }
    while (out > 1 && picture->data[out - 1] == '\n' && picture->data[out - 2] == '\n')
        out--;
    picture->length = out;
    picture->data[out] = '\0';
}

static enum sr_status deliver(const struct sr_bytes *picture, const char *output, struct sr_error *err)
{
    if (output != NULL && strcmp(output, "-") != 0)
        return sr_file_write(output, picture->data, picture->length, err);
    if (fwrite(picture->data, 1, picture->length, stdout) != picture->length || fflush(stdout) != 0)
        return sr_fail(err, SR_ERR_WRITE, NULL, 0, "cannot write to standard output");
    return SR_OK;
}

enum sr_status sr_plot_run(const struct sr_script *script, const struct sr_plot_options *options,
                           struct sr_error *err)
{
    struct sr_bytes picture = {0};
    enum sr_status status = SR_OK;

    /* The script is kept first: it is what one wants to see when gnuplot then fails. */
    if (options->script != NULL)
        status = sr_file_write(options->script, script->data, script->length, err);
    if (status == SR_OK)
        status =
            sr_gnuplot_run(options->gnuplot, script->data, script->length,
                           options->timeout_s > 0 ? options->timeout_s : SR_GNUPLOT_TIMEOUT_S, &picture, err);
    if (status == SR_OK)
        status = check_whole(&picture, options->format, err);
    if (status == SR_OK && options->format == SR_PLOT_TEXT)
        tidy_text(&picture);
    if (status == SR_OK)
        status = deliver(&picture, options->output, err);
    free(picture.data);
    return status;
}

enum sr_status sr_plot_flight(const struct sr_plot_flight *flight, const struct sr_plot_options *options,
                              struct sr_error *err)
{
    struct sr_script script = {0};
    enum sr_status status = sr_plot_check(flight, options, err);

    if (status == SR_OK)
        status = make_script(&script, flight, options, err);
    if (status == SR_OK)
        status = sr_plot_run(&script, options, err);
    sr_script_release(&script);
    return status;
}
