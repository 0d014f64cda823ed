/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Results in, text or JSON out. Nothing here computes: every number was made by
 * another room. Text goes to the stream the caller names and nowhere else; write
 * errors stay in that stream's error flag, for the caller to check once.
 *
 * Text that comes out of files (names, column titles, notes) is never trusted:
 * control characters are printed as '?', so that a log cannot drive a terminal,
 * and in JSON bytes that are not UTF-8 become U+FFFD.
 */
#ifndef STILLROW_PRESENT_H
#define STILLROW_PRESENT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "stillrow/log.h"
#include "stillrow/rig.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_TEXT_WIDTH 80 /* columns that text is laid out for */

/* How text is drawn. All false: plain ASCII without colour. */
struct sr_style {
    bool color; /* ANSI colours */
    bool utf8;  /* the terminal shows UTF-8: bars are drawn with blocks */
};

enum sr_ink { SR_INK_PLAIN = 0, SR_INK_GOOD, SR_INK_WARN, SR_INK_BAD, SR_INK_STRONG, SR_INK_DIM };

/* Escape sequence that starts an ink (SR_INK_PLAIN ends it), "" without colour; never NULL. */
const char *sr_ink(const struct sr_style *style, enum sr_ink ink);

/* Print `text` with control characters as '?'. */
void sr_print_safe(FILE *out, const char *text);

/*
 * Print `text` broken at spaces, its lines filled up to column `width` and ended by
 * a newline. column: where the first line starts [columns]; indent: where the
 * others do. A word longer than a line is not broken. Printed as sr_print_safe() does.
 */
void sr_print_wrapped(FILE *out, const char *text, size_t column, size_t indent, size_t width);

/*
 * A bar on a level scale: `value` against `mark`, which stands in the middle; the
 * ends are a tenth of the mark and ten times it. cells: bar cells on each side of
 * the mark. A value that is not finite or not above 0 draws an empty bar.
 */
void sr_print_bar(FILE *out, const struct sr_style *style, double value, double mark, size_t cells);

/* A time [s] as m:ss.s, "-m:ss.s" below zero, into text[size]. */
void sr_format_clock(double seconds, char *text, size_t size);

/*
 * About three significant digits without an exponent, at most six decimals, "-" for
 * what is not finite, into text[size]; returns text.
 */
const char *sr_format_value(double value, char *text, size_t size);

/* Progress of long work on a terminal. Silent for the first second, and elsewhere. */
struct sr_progress {
    FILE *out; /* NULL: silent */
    const char *what;
    double started_s;
    double shown_s; /* time of the last line, 0: none shown */
};

/* Start: progress of reading `what` on `out` if that is a terminal. The text must stay valid. */
void sr_progress_start(struct sr_progress *progress, FILE *out, const char *what);
/* As sr_log_options.progress wants it; `context` is the struct sr_progress. total 0: unknown. */
void sr_progress_step(void *context, uint64_t done, uint64_t total);
/* Wipe the line, if one was shown. */
void sr_progress_end(struct sr_progress *progress);

/* A scored flight, as far as a report needs it. Nothing is owned. */
struct sr_score_report {
    const struct sr_log *log;
    const struct sr_rig *rig;
    const struct sr_slices *slices;
    const struct sr_score *score;
    double footage_offset_s; /* [s] footage time of the log's first sample; NAN: unknown */
    const char *mount_note;  /* what the camera's mount was taken for; NULL or "": nothing to say */
};

/* Name, verdict, and the verdict in plain words: the first line of a block. */
void sr_score_headline(FILE *out, const struct sr_style *style, const struct sr_score_report *report);

/* One block a flight. */
void sr_score_text(FILE *out, const struct sr_style *style, const struct sr_score_report *report);

/* One line of the table that ends a batch. */
struct sr_score_line {
    char name[256];
    enum sr_verdict verdict;
    double wobble_px, threshold_px, headroom_db, steady_share;
};

/* The table of a batch: `count` scored flights, and how many logs failed. */
void sr_score_table(FILE *out, const struct sr_style *style, const struct sr_score_line *lines, size_t count,
                    size_t failed);

/* One line of JSON, schema "stillrow.score/1". Errors: SR_ERR_MEMORY, SR_ERR_WRITE. */
enum sr_status sr_score_json(FILE *out, const struct sr_score_report *report, struct sr_error *err);

/* Mean and spread of one gyro axis over all kept samples [deg/s]. */
struct sr_axis_stats {
    double mean_dps, sd_dps, peak_dps; /* peak: largest magnitude */
};

/* What was understood of a log. Nothing is owned. */
struct sr_inspect_report {
    const struct sr_log *log;
    const struct sr_rig *rig;
    struct sr_axis_stats axis[3];
    double sees_hz;            /* [Hz] up to where the log can vouch: Nyquist, or the corner of a low-pass */
    enum sr_band highest_band; /* the highest that begins below that */
    double clear_hz;           /* [Hz] what a log must see to clear a flight (top of the wave band) */
};

void sr_inspect_text(FILE *out, const struct sr_style *style, const struct sr_inspect_report *report);
/* Schema "stillrow.inspect/1". Errors: SR_ERR_MEMORY, SR_ERR_WRITE. */
enum sr_status sr_inspect_json(FILE *out, const struct sr_inspect_report *report, struct sr_error *err);

/* A short phrase: how airborne time was found. */
const char *sr_airborne_how_text(enum sr_airborne_how how);

/* What the camera does at one frequency. */
struct sr_camera_row {
    double hz, waves, crawl_hz;
    enum sr_band band;
    double gain_px[3];       /* [px RMS per deg/s RMS] roll, pitch, yaw */
    double allowance_dps[3]; /* [deg/s RMS] alone at the threshold; INFINITY: no response */
    double least_dps;        /* [deg/s RMS] the least of the three */
};

/* Readout time from a flicker test. */
struct sr_flicker_report {
    double flicker_hz, bands, count_error;
    double readout_s, low_s, high_s;
    bool fits_frame; /* not longer than a frame of the camera */
};

/* A camera described. Nothing is owned. */
struct sr_camera_report {
    const struct sr_rig *rig;
    double focal_px, threshold_px;
    const struct sr_camera_row *rows;
    size_t n_rows;
    const struct sr_flicker_report *flicker; /* NULL: no flicker test */
};

void sr_camera_text(FILE *out, const struct sr_style *style, const struct sr_camera_report *report);
/* Schema "stillrow.camera/1". Errors: SR_ERR_MEMORY, SR_ERR_WRITE. */
enum sr_status sr_camera_json(FILE *out, const struct sr_camera_report *report, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
