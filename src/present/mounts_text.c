/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "stillrow/mount_report.h"

enum { ACROSS = 4 }; /* hardnesses side by side */

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

/* "*0.42 0.31-0.60!": best, value, interval, resonance near a line. */
static void print_cell(FILE *out, const struct sr_style *style, const struct sr_mount_table *table, size_t i,
                       size_t j)
{
    const struct sr_mount_cell *cell = sr_mount_cell_at(table, i, j);
    const struct sr_mount_pick *pick = &table->picks[j];
    char value[32], low[32], high[32], text[80];
    const char *best = pick->known && pick->best == i ? "*" : " ";
    const char *mark = !(cell->line_hz > 0) ? " " : cell->line_perhaps ? "?" : "!";

    if (!cell->known) {
        fprintf(out, "%18s", "-");
        return;
    }
    snprintf(text, sizeof text, "%s%s %s-%s%s", best,
             sr_format_value(cell->wobble_px.value, value, sizeof value),
             sr_format_value(cell->wobble_px.low, low, sizeof low),
             sr_format_value(cell->wobble_px.high, high, sizeof high), mark);
    fprintf(out, " %s%17s%s", sr_ink(style, cell_ink(cell, table->threshold_px)), text,
            sr_ink(style, SR_INK_PLAIN));
}

static void print_block(FILE *out, const struct sr_style *style, const struct sr_mount_table *table,
                        size_t first, size_t last)
{
    fprintf(out, "\n  %s      ", sr_ink(style, SR_INK_STRONG));
    for (size_t i = first; i < last; i++)
        fprintf(out, " %14.4g A ", table->ask.shore_a[i]);
    fprintf(out, "%s\n", sr_ink(style, SR_INK_PLAIN));
    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        fprintf(out, "  %4.4g C", table->ask.temperature_c[j]);
        for (size_t i = first; i < last; i++)
            print_cell(out, style, table, i, j);
        fputc('\n', out);
    }
}

static void print_resonances(FILE *out, const struct sr_style *style, const struct sr_mount_table *table)
{
    fprintf(out, "\n  %snatural frequency, Hz%s\n", sr_ink(style, SR_INK_STRONG),
            sr_ink(style, SR_INK_PLAIN));
    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        fprintf(out, "  %4.4g C", table->ask.temperature_c[j]);
        for (size_t i = 0; i < table->ask.n_shore; i++) {
            const struct sr_mount_cell *cell = sr_mount_cell_at(table, i, j);
            if (cell->known)
                fprintf(out, "  %3.0f (%.0f-%.0f)", cell->fn_hz.value, cell->fn_hz.low, cell->fn_hz.high);
            else
                fputs("  -", out);
        }
        fputc('\n', out);
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
    bool perhaps = false;
    for (size_t i = 0; i < cells; i++) {
        perhaps = perhaps || table->cells[i].line_perhaps;
        if (table->cells[i].line_hz > 0 && !table->cells[i].line_perhaps)
            line_hz = table->cells[i].line_hz;
    }
    fprintf(out, "  px RMS with 95 %% interval; * least");
    if (line_hz > 0)
        fprintf(out, "; ! resonates with a strong line (%.0f Hz)", line_hz);
    if (perhaps)
        fprintf(out, line_hz > 0 ? "; ? it may" : "; ? may resonate with a strong line");
    fputc('\n', out);
}

void sr_mounts_text(FILE *out, const struct sr_style *style, const struct sr_mount_report *report)
{
    const struct sr_mount_table *table = report->table;
    char advice[SR_MOUNT_TEXT];

    print_own(out, style, report);
    for (size_t first = 0; first < table->ask.n_shore; first += ACROSS) {
        size_t last = first + ACROSS < table->ask.n_shore ? first + ACROSS : table->ask.n_shore;
        print_block(out, style, table, first, last);
    }
    print_legend(out, table);
    print_resonances(out, style, table);

    sr_mount_advice(table, advice, sizeof advice);
    fprintf(out, "\n  %sfor you:%s ", sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    sr_print_wrapped(out, advice, 11, 11, SR_TEXT_WIDTH);
    fputc('\n', out);
    if (report->identified != NULL)
        print_note(out, style, report->identified->text);
    for (size_t i = 0; i < table->n_notes; i++)
        print_note(out, style, table->notes[i]);
}
