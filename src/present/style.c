/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include <math.h>
#include <string.h>

const char *sr_ink(const struct sr_style *style, enum sr_ink ink)
{
    if (!style->color)
        return "";
    switch (ink) {
    case SR_INK_PLAIN:
        return "\033[0m";
    case SR_INK_GOOD:
        return "\033[1;32m";
    case SR_INK_WARN:
        return "\033[1;33m";
    case SR_INK_BAD:
        return "\033[1;31m";
    case SR_INK_STRONG:
        return "\033[1m";
    case SR_INK_DIM:
        return "\033[2m";
    }
    return "";
}

/* C0, DEL, and C1 as UTF-8 writes it (0xc2 0x80..0x9f): all of them can drive a terminal. */
static size_t control_length(const unsigned char *at)
{
    if (at[0] < 0x20 || at[0] == 0x7f)
        return 1;
    if (at[0] == 0xc2 && at[1] >= 0x80 && at[1] <= 0x9f)
        return 2;
    return 0;
}

static void print_safe(FILE *out, const char *text, size_t length)
{
    for (size_t i = 0; i < length;) {
        size_t control = control_length((const unsigned char *)text + i);
        fputc(control > 0 ? '?' : text[i], out);
        i += control > 0 ? control : 1;
    }
}

void sr_print_safe(FILE *out, const char *text)
{
    print_safe(out, text, strlen(text));
}

/* Columns that text takes: bytes that begin a character. */
static size_t columns_of(const char *text, size_t length)
{
    size_t columns = 0;

    for (size_t i = 0; i < length; i++)
        columns += ((unsigned char)text[i] & 0xc0) != 0x80;
    return columns;
}

void sr_print_wrapped(FILE *out, const char *text, size_t column, size_t indent, size_t width)
{
    bool line_empty = true;

    for (;;) {
        text += strspn(text, " ");
        size_t length = strcspn(text, " ");
        if (length == 0)
            break;
        size_t columns = columns_of(text, length);
        if (!line_empty && column + 1 + columns > width) {
            fprintf(out, "\n%*s", (int)indent, "");
            column = indent;
            line_empty = true;
        }
        if (!line_empty) {
            fputc(' ', out);
            column++;
        }
        print_safe(out, text, length);
        column += columns;
        line_empty = false;
        text += length;
    }
    fputc('\n', out);
}

static void print_cells(FILE *out, const struct sr_style *style, enum sr_ink ink, const char *cell,
                        size_t count)
{
    if (count == 0)
        return;
    fputs(sr_ink(style, ink), out);
    for (size_t i = 0; i < count; i++)
        fputs(cell, out);
    fputs(sr_ink(style, SR_INK_PLAIN), out);
}

void sr_print_bar(FILE *out, const struct sr_style *style, double value, double mark, size_t cells)
{
    const char *full = style->utf8 ? "\u2588" : "#";
    const char *empty = style->utf8 ? "\u00b7" : ".";
    const enum sr_ink ink = value >= mark ? SR_INK_BAD : SR_INK_GOOD;
    double level = 0.0; /* filled cells of both sides */

    if (value > 0.0 && mark > 0.0 && isfinite(value) && isfinite(mark))
        level = round((1.0 + log10(value / mark)) * (double)cells);
    const size_t filled = (size_t)fmin(fmax(level, 0.0), 2.0 * (double)cells);
    const size_t left = filled < cells ? filled : cells;

    print_cells(out, style, ink, full, left);
    print_cells(out, style, SR_INK_DIM, empty, cells - left);
    print_cells(out, style, SR_INK_STRONG, style->utf8 ? "\u2502" : "|", 1);
    print_cells(out, style, ink, full, filled - left);
    print_cells(out, style, SR_INK_DIM, empty, 2 * cells - filled - (cells - left));
}

void sr_format_clock(double seconds, char *text, size_t size)
{
    if (!isfinite(seconds) || fabs(seconds) > 1e9) {
        snprintf(text, size, "-");
        return;
    }
    /* Round first: 59.96 s is 1:00.0, not 0:60.0. */
    const double tenths = round(fabs(seconds) * 10.0);
    const double minutes = floor(tenths / 600.0);
    const char *sign = seconds < 0.0 && tenths > 0.0 ? "-" : "";
    snprintf(text, size, "%s%.0f:%04.1f", sign, minutes, (tenths - minutes * 600.0) / 10.0);
}

const char *sr_format_value(double value, char *text, size_t size)
{
    const double magnitude = fabs(value);
    int digits = 3;
    double limit = 0.09995;

    if (!isfinite(value)) {
        snprintf(text, size, "-");
        return text;
    }
    if (magnitude >= 99.95 || magnitude == 0.0)
        digits = 0;
    else if (magnitude >= 9.995)
        digits = 1;
    else if (magnitude >= 0.9995)
        digits = 2;
    for (; magnitude > 0.0 && magnitude < limit && digits < 6; limit /= 10.0)
        digits++;
    snprintf(text, size, "%.*f", digits, value);
    return text;
}
