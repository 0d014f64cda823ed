/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "stillrow/mount_report.h"

static void print_own(FILE *out, const struct sr_style *style, const struct sr_mount_report *report)
{
    const struct sr_mount_table *table = report->table;
    char px[32], low[32], high[32];

    fprintf(out, "%s", sr_ink(style, SR_INK_STRONG));
    sr_print_safe(out, report->log->name);
    fprintf(out, "%s  flown ", sr_ink(style, SR_INK_PLAIN));
    if (isfinite(table->own.modulus_mpa))
        fprintf(out, "on pieces of %.3g MPa", table->own.modulus_mpa);
    else
        fprintf(out, "on %.3g A", table->own.shore_a);
    fprintf(out, " at %.3g C%s: %.3g Hz, damping %.2g\n", table->own.temperature_c,
            table->own.temperature_assumed ? " (assumed)" : "", table->own_now.fn_hz.value,
            table->own.damping.value);
    fprintf(out, "  wobble behind it %s px (%s to %s), threshold ",
            sr_format_value(table->own_px.value, px, sizeof px),
            sr_format_value(table->own_px.low, low, sizeof low),
            sr_format_value(table->own_px.high, high, sizeof high));
    fprintf(out, "%s px\n", sr_format_value(table->threshold_px, px, sizeof px));
}

static enum sr_ink cell_ink(const struct sr_mount_cell *cell, double threshold_px)
{
    if (cell->clears)
        return SR_INK_GOOD;
    return cell->wobble_px.low > threshold_px ? SR_INK_BAD : SR_INK_WARN;
}

enum { LABEL_WIDTH = 9 }; /* of a temperature, in front of its row, and the space behind it */

/* "*1.09 0.739-1.60!": best, value, interval, resonance near a line. low: "" without an interval. */
struct cell_text {
    char value[16], low[16], high[16];
    const char *best, *mark;
    enum sr_ink ink;
};

/* A table of hardness by temperature shows one thing of each cell. */
typedef void tell_fn(const struct sr_mount_table *table, size_t i, size_t j, struct cell_text *text);

/* How wide the parts of a column's cells are. */
struct column {
    char head[16];
    int value, low, high;
};

static void tell_wobble(const struct sr_mount_table *table, size_t i, size_t j, struct cell_text *text)
{
    const struct sr_mount_cell *cell = sr_mount_cell_at(table, i, j);
    const struct sr_mount_pick *pick = &table->picks[j];

    text->best = pick->known && pick->best == i ? "*" : " ";
    text->mark = !(cell->line_hz > 0) ? "" : cell->line_perhaps ? "?" : "!";
    text->ink = cell_ink(cell, table->threshold_px);
    sr_format_value(cell->wobble_px.value, text->value, sizeof text->value);
    sr_format_value(cell->wobble_px.low, text->low, sizeof text->low);
    sr_format_value(cell->wobble_px.high, text->high, sizeof text->high);
}

static void tell_resonance(const struct sr_mount_table *table, size_t i, size_t j, struct cell_text *text)
{
    const struct sr_interval *fn_hz = &sr_mount_cell_at(table, i, j)->fn_hz;

    text->best = " ";
    text->mark = "";
    text->ink = SR_INK_PLAIN;
    snprintf(text->value, sizeof text->value, "%.0f", fn_hz->value);
    snprintf(text->low, sizeof text->low, "%.0f", fn_hz->low);
    snprintf(text->high, sizeof text->high, "%.0f", fn_hz->high);
}

/* What is not known is a dash. */
static struct cell_text cell_text(const struct sr_mount_table *table, size_t i, size_t j, tell_fn *tell)
{
    struct cell_text text = {.value = "-", .best = " ", .mark = "", .ink = SR_INK_PLAIN};

    if (sr_mount_cell_at(table, i, j)->known)
        tell(table, i, j, &text);
    return text;
}

static int wider(int width, const char *text)
{
    const int length = (int)strlen(text);
    return length > width ? length : width;
}

static struct column measure(const struct sr_mount_table *table, size_t i, tell_fn *tell)
{
    struct column column = {.value = 0};

    snprintf(column.head, sizeof column.head, "%.4g A", table->ask.shore_a[i]);
    column.value = wider(0, column.head);
    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        const struct cell_text text = cell_text(table, i, j, tell);
        column.value = wider(column.value, text.value);
        column.low = wider(column.low, text.low);
        column.high = wider(column.high, text.high);
    }
    return column;
}

/* Of the interval and the mark, with what parts them. */
static int right_width(const struct column *column)
{
    return 1 + column->low + 1 + column->high + 1;
}

/* gap: what is left open before the cell. Returns what is left open behind it. */
static int print_cell(FILE *out, const struct sr_style *style, const struct column *column,
                      const struct cell_text *text, int gap)
{
    gap += column->value - (int)strlen(text->value);
    fprintf(out, "%*s%s%s%s", gap, "", sr_ink(style, text->ink), text->best, text->value);
    gap = right_width(column);
    if (text->low[0] != '\0') {
        fprintf(out, " %*s-%s%s", column->low, text->low, text->high, text->mark);
        gap = column->high - (int)strlen(text->high) + 1 - (int)strlen(text->mark);
    }
    fprintf(out, "%s", sr_ink(style, SR_INK_PLAIN));
    return gap;
}

/* Hardnesses first to last - 1 side by side. */
static void print_block(FILE *out, const struct sr_style *style, const struct sr_mount_table *table,
                        const struct column *columns, size_t first, size_t last, tell_fn *tell)
{
    int gap = LABEL_WIDTH;

    fprintf(out, "%s", sr_ink(style, SR_INK_STRONG));
    for (size_t i = first; i < last; i++) {
        fprintf(out, "%*s %*s", gap, "", columns[i].value, columns[i].head);
        gap = right_width(&columns[i]);
    }
    fprintf(out, "%s\n", sr_ink(style, SR_INK_PLAIN));
    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        fprintf(out, "%*.4g C ", LABEL_WIDTH - 3, table->ask.temperature_c[j]);
        gap = 0;
        for (size_t i = first; i < last; i++) {
            const struct cell_text text = cell_text(table, i, j, tell);
            gap = print_cell(out, style, &columns[i], &text, gap);
        }
        fputc('\n', out);
    }
}

/* As many hardnesses side by side as there is room for, the others below them. */
static void print_table(FILE *out, const struct sr_style *style, const struct sr_mount_table *table,
                        tell_fn *tell)
{
    struct column columns[SR_HARDNESSES_MAX];

    for (size_t i = 0; i < table->ask.n_shore; i++)
        columns[i] = measure(table, i, tell);
    for (size_t first = 0, last; first < table->ask.n_shore; first = last) {
        int width = LABEL_WIDTH;
        for (last = first; last < table->ask.n_shore; last++) {
            width += 1 + columns[last].value + right_width(&columns[last]);
            if (last > first && width > SR_TEXT_WIDTH)
                break;
        }
        if (first > 0)
            fputc('\n', out);
        print_block(out, style, table, columns, first, last, tell);
    }
}

static void print_note(FILE *out, const struct sr_style *style, const char *text)
{
    fprintf(out, "  %snote:%s ", sr_ink(style, SR_INK_DIM), sr_ink(style, SR_INK_PLAIN));
    sr_print_wrapped(out, text, 8, 8, SR_TEXT_WIDTH);
}

/* What the resonance marks in the table mean, where there are any. */
static void print_legend(FILE *out, const struct sr_mount_table *table)
{
    size_t cells = table->ask.n_shore * table->ask.n_temperature;
    double line_hz = 0;
    bool perhaps = false, passed_over = false;
    char text[200];

    for (size_t i = 0; i < cells; i++) {
        perhaps = perhaps || table->cells[i].line_perhaps;
        if (table->cells[i].line_hz > 0 && !table->cells[i].line_perhaps)
            line_hz = table->cells[i].line_hz;
    }
    for (size_t j = 0; j < table->ask.n_temperature; j++)
        passed_over = passed_over || (table->picks[j].known && table->picks[j].best != table->picks[j].least);
    snprintf(text, sizeof text, "px RMS with 95 %% interval; * least%s",
             passed_over ? ", or at most 3 dB more but away from strong lines" : "");
    if (line_hz > 0)
        snprintf(text + strlen(text), sizeof text - strlen(text),
                 "; ! resonates with a strong line (%.0f Hz)", line_hz);
    if (perhaps)
        snprintf(text + strlen(text), sizeof text - strlen(text), "; ? %s",
                 line_hz > 0 ? "it may" : "may resonate with a strong line");
    fputs("  ", out);
    sr_print_wrapped(out, text, 2, 2, SR_TEXT_WIDTH);
}

void sr_mounts_text(FILE *out, const struct sr_style *style, const struct sr_mount_report *report)
{
    const struct sr_mount_table *table = report->table;
    char advice[SR_MOUNT_ADVICE];

    print_own(out, style, report);
    fputc('\n', out);
    print_table(out, style, table, tell_wobble);
    print_legend(out, table);
    fprintf(out, "\n  %snatural frequency, Hz%s\n", sr_ink(style, SR_INK_STRONG),
            sr_ink(style, SR_INK_PLAIN));
    print_table(out, style, table, tell_resonance);

    sr_mount_advice(table, advice, sizeof advice);
    fprintf(out, "\n  %sfor you:%s ", sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    sr_print_wrapped(out, advice, 11, 11, SR_TEXT_WIDTH);
    fputc('\n', out);
    if (report->identified != NULL)
        print_note(out, style, report->identified->text);
    for (size_t i = 0; i < table->n_notes; i++)
        print_note(out, style, table->notes[i]);
}
