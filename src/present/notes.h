/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small parts that the text reports share. */
#ifndef PRESENT_NOTES_H
#define PRESENT_NOTES_H

#include <stdio.h>

#include "stillrow/log.h"
#include "stillrow/present.h"
#include "stillrow/rig.h"

/* "  note: text", wrapped. */
void sr_note_text(FILE *out, const struct sr_style *style, const char *text);

/* "  note: …" wrapped: what was assumed of the camera, then the log's own notes. Returns how many. */
size_t sr_notes_text(FILE *out, const struct sr_style *style, const struct sr_log *log,
                     const struct sr_rig *rig);

/* What ends a report of a flight: a blank line and every note, the mount's too; nothing where there is none.
 */
void sr_report_notes(FILE *out, const struct sr_style *style, const struct sr_score_report *report);

/* "1920x1080 at 60 fps, readout 16 ms, exposure 1 ms, 95 deg rectilinear, tilt 20 deg" into text[size]. */
void sr_camera_line(const struct sr_camera *camera, char *text, size_t size);

/*
 * What to log before anything is changed, where the verdict is `unproven`: "log the gyro faster: …" into
 * text[size]. nyquist_hz: of the log; bridged_hz: of its quality, NAN where that is not known.
 */
const char *sr_log_first_words(const struct sr_score *score, const struct sr_camera *camera,
                               double nyquist_hz, double bridged_hz, char *text, size_t size);

/* The name of a log for a reader: "standard input" for "-". */
const char *sr_log_title(const char *name);

/* Whether the worst moments stand out of the flight: not where they are within 1 dB of its median second
 * while nearly all seconds are on one side of the threshold. */
bool sr_moments_stand_out(const struct sr_score *score);

/* "62.5 to 250", "below 15.6" or "over 1000" into text[size]. */
void sr_band_range(double low_hz, double high_hz, char *text, size_t size);

/* Append ", COUNT words" to text[size], ": COUNT words" for the first; nothing where it is 0. */
void sr_count_words(char *text, size_t size, size_t count, const char *words);

#endif
