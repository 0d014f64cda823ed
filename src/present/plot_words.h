/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Private to the room: texts for pictures and posts. What comes in may be any
 * bytes; what goes out is one line of valid UTF-8 of a known width.
 */
#ifndef PRESENT_PLOT_WORDS_H
#define PRESENT_PLOT_WORDS_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/explain.h"
#include "stillrow/rig.h"
#include "stillrow/wobble.h"

/*
 * Copy text as one clean line into out[size] and return out: control characters, line breaks and
 * direction marks become spaces, runs of spaces one, bytes that are not UTF-8 U+FFFD. At most `most`
 * characters, the last an ellipsis where it was cut. text NULL: "".
 */
char *sr_words_clean(const char *text, size_t most, char *out, size_t size);

/* Characters of a clean text. */
size_t sr_words_length(const char *text);

/* Width [px] of a clean text drawn `size_px` high. Measured on DejaVu Sans, which is wide: others need less.
 */
double sr_words_width(const char *text, double size_px, bool bold);

/* Clean a text and cut it, with an ellipsis, to fit a width. */
char *sr_words_fit(const char *text, double width_px, double size_px, bool bold, char *out, size_t size);

/* The last part of a path; "standard input" for "-". */
const char *sr_words_base(const char *path);

/* "212 Hz", "0.5 Hz", "1.2 kHz" is never written: Hz throughout. */
char *sr_words_hz(double hz, char *out, size_t size);

/* "1x", "1.5x". */
char *sr_words_order(double order, char *out, size_t size);

/* A line and its cause in few words: "212 Hz, motor 3 1x", "180 Hz, fixed", "650 Hz, 3x blades", "88 Hz,
 * folded from 912". */
char *sr_words_line(const struct sr_peak *peak, const struct sr_causes *causes, const struct sr_rig *rig,
                    char *out, size_t size);

/* "2.41 px", with three significant digits. */
char *sr_words_px(double px, char *out, size_t size);

/* "2.4 px, threshold 1.0 px, headroom -7.6 dB" (a true minus sign). */
char *sr_words_verdict(const struct sr_score *score, char *out, size_t size);

/* What the craft is, as far as the rig says: "heron, 2004 motor, 5x4.3 prop, 3 blades, mount 55 A at 12 C".
 * "" if nothing. */
char *sr_words_build(const struct sr_rig *rig, bool with_name, char *out, size_t size);

/* "1920x1080, 60 fps, readout 16 ms, exposure 1 ms, 95 deg, tilt 20 deg". */
char *sr_words_camera(const struct sr_rig *rig, char *out, size_t size);

/* A footage time [s]: with tenths "1:05.2", without the second it is in, "1:05" up to 1:05.9. */
char *sr_words_clock(double seconds, bool tenths, char *out, size_t size);

#endif
