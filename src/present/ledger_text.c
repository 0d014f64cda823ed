/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "ledger_notes.h"
#include "notes.h"

enum { TITLE = 12 }; /* columns of a build's or a verdict's name */

static const char *plural(size_t count)
{
    return count == 1 ? "" : "s";
}

static void print_note(FILE *out, const struct sr_style *style, const char *text)
{
    fprintf(out, "  %snote:%s ", sr_ink(style, SR_INK_DIM), sr_ink(style, SR_INK_PLAIN));
    sr_print_wrapped(out, text, 8, 8, SR_TEXT_WIDTH);
}

void sr_recorded_text(FILE *out, const struct sr_style *style, const struct sr_recorded *recorded)
{
    struct recorded_notes notes;

    fputs("  ledger    ", out);
    if (recorded->added == SR_ADDED)
        fputs("added to ", out);
    else
        fputs("is there already, nothing written: ", out);
    sr_print_safe(out, recorded->path);
    fprintf(out, " as %s\n", recorded->fingerprint);
    sr_recorded_notes(&notes, recorded, !recorded->rig_told);
    for (size_t i = 0; i < notes.count; i++)
        print_note(out, style, notes.note[i]);
}

static enum sr_ink rating_ink(enum sr_rating rating)
{
    switch (rating) {
    case SR_RATED_CLEAN:
        return SR_INK_GOOD;
    case SR_RATED_SLIGHT:
        return SR_INK_WARN;
    case SR_RATED_BAD:
        return SR_INK_BAD;
    case SR_UNRATED:
        break;
    }
    return SR_INK_PLAIN;
}

/* A name in a column of a table: cut to its width, filled up with blanks. Bytes of one character stay
 * together.
 */
static void print_column(FILE *out, const char *text, size_t width)
{
    char part[256];
    size_t bytes = 0, columns = 0;

    while (bytes < sizeof part - 5 && text[bytes] != '\0') {
        bool starts = ((unsigned char)text[bytes] & 0xc0) != 0x80;
        if (starts && columns == width)
            break;
        columns += starts;
        bytes++;
    }
    snprintf(part, sizeof part, "%.*s", (int)bytes, text);
    sr_print_safe(out, part);
    fprintf(out, "%*s", (int)(width - columns), "");
}

static void print_row(FILE *out, const struct sr_style *style, const struct sr_ledger_row *row)
{
    char hardness[32] = "-", temperature[32] = "-", px[32];

    if (!row->readable) {
        fprintf(out, "%sline %zu cannot be read:%s ", sr_ink(style, SR_INK_BAD), row->line,
                sr_ink(style, SR_INK_PLAIN));
        sr_print_safe(out, row->problem);
        fputc('\n', out);
        return;
    }
    if (isfinite(row->shore_a))
        snprintf(hardness, sizeof hardness, "%.3g", row->shore_a);
    if (isfinite(row->temperature_c))
        snprintf(temperature, sizeof temperature, "%.3g", row->temperature_c);
    print_column(out, row->date[0] != '\0' ? row->date : "-", 10);
    fputs("  ", out);
    print_column(out, row->build[0] != '\0' ? row->build : "-", TITLE);
    fprintf(out, " %4s %5s %7s  ", hardness, temperature, sr_format_value(row->wobble_px, px, sizeof px));
    print_column(out, row->verdict[0] != '\0' ? row->verdict : "-", 8);
    fprintf(out, "  %s%-6s%s  %.8s  ", sr_ink(style, rating_ink(row->rating)),
            row->rating == SR_UNRATED ? "-" : sr_rating_name(row->rating), sr_ink(style, SR_INK_PLAIN),
            row->fingerprint);
    sr_print_safe(out, row->log[0] != '\0' ? row->log : "-");
    fputc('\n', out);
}

static bool wanted(const struct sr_ledger_row *row, const char *build)
{
    return build == NULL || (row->readable && strcmp(row->build, build) == 0);
}

void sr_ledger_list_text(FILE *out, const struct sr_style *style, const struct sr_ledger *ledger,
                         const char *build)
{
    size_t shown = 0;

    fprintf(out, "%sdate        build           A     C      px  verdict   rating  print     log%s\n",
            sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < ledger->n_rows; i++) {
        if (!wanted(&ledger->rows[i], build))
            continue;
        print_row(out, style, &ledger->rows[i]);
        shown += ledger->rows[i].readable;
    }
    fprintf(out, "%zu flight%s", shown, plural(shown));
    if (build == NULL && ledger->n_unreadable > 0)
        fprintf(out, "; %zu row%s cannot be read", ledger->n_unreadable, plural(ledger->n_unreadable));
    fputc('\n', out);
}

static void print_count(FILE *out, size_t count, const char *what)
{
    if (count > 0)
        fprintf(out, "  %zu %s\n", count, what);
}

static void print_count_from(FILE *out, size_t count, const char *what, size_t first_line)
{
    if (count > 0)
        fprintf(out, "  %zu %s (%sline %zu)\n", count, what, count > 1 ? "the first on " : "", first_line);
}

void sr_ledger_check_text(FILE *out, const struct sr_style *style,
                          const struct sr_ledger_check_report *report)
{
    const struct sr_ledger_counts *c = report->counts;
    size_t rated = c->rated[SR_RATED_CLEAN] + c->rated[SR_RATED_SLIGHT] + c->rated[SR_RATED_BAD];

    sr_print_safe(out, report->path);
    fprintf(out,
            "  %zu row%s, %zu of them readable; %zu build%s; %zu rated (%zu clean, %zu slight, %zu bad)\n",
            c->rows, plural(c->rows), c->readable, c->builds, plural(c->builds), rated,
            c->rated[SR_RATED_CLEAN], c->rated[SR_RATED_SLIGHT], c->rated[SR_RATED_BAD]);
    if (report->ledger->delimiter != ',')
        fprintf(out, "  cells between %s, numbers with a %s; what is added is written so, too\n",
                report->ledger->delimiter == ';' ? "semicolons" : "tabs",
                report->ledger->decimal == ',' ? "comma" : "point");
    print_count(out, c->other_rigs, "the log of another row, with another build, hardness or camera");
    print_count_from(out, c->doubled, "the same flight as a row above, not counted: remove one of the two",
                     c->first_doubled_line);
    print_count_from(out, c->odd_dates,
                     "with a date not as 2026-06-14: their order is not known; write it so",
                     c->first_odd_date_line);
    print_count(out, c->no_hardness, "without a hardness: left out of rankings");
    print_count(out, c->no_mount,
                "with a hardness that is not in their wobble (mount_in no): left out of rankings");
    print_count(
        out, c->mount_unknown,
        "with a hardness, but not saying whether it is in their wobble (mount_in): ranked all the same");
    print_count(out, c->no_temperature, "without a temperature: ranked in a band of their own");
    for (size_t i = 0; i < report->ledger->n_rows; i++)
        if (!report->ledger->rows[i].readable)
            print_row(out, style, &report->ledger->rows[i]);
    if (c->rows == c->readable && c->doubled == 0)
        fprintf(out, "  %snothing wrong%s\n", sr_ink(style, SR_INK_GOOD), sr_ink(style, SR_INK_PLAIN));
}

void sr_ledger_merge_text(FILE *out, const char *into, const char *from, const struct sr_merge_count *count)
{
    sr_print_safe(out, from);
    fprintf(out, "  %zu flight%s added to ", count->added, plural(count->added));
    sr_print_safe(out, into);
    fprintf(out, ", %zu known already", count->known);
    if (count->rated > 0)
        fprintf(out, " (%zu not rated yet: rated as there%s", count->rated, count->filled > 0 ? "; " : ")");
    if (count->filled > 0)
        fprintf(out, "%s%zu with empty cells: filled in from there)", count->rated > 0 ? "" : " (",
                count->filled);
    if (count->unreadable > 0)
        fprintf(out, ", %zu row%s that cannot be read carried over as they are", count->unreadable,
                plural(count->unreadable));
    fputc('\n', out);
    if (count->rated_otherwise > 0)
        fprintf(out,
                "  %zu known flight%s rated otherwise there (%sline %zu), not taken over; "
                "'ledger rate' settles it\n",
                count->rated_otherwise, count->rated_otherwise == 1 ? " is" : "s are",
                count->rated_otherwise > 1 ? "first " : "", count->rated_otherwise_line);
    if (count->differ == 0)
        return;
    fprintf(out, "  %zu known flight%s there (%sline %zu, ", count->differ,
            count->differ == 1 ? " differs" : "s differ", count->differ > 1 ? "first " : "",
            count->differ_line);
    sr_print_safe(out, count->differ_column[0] != '\0' ? count->differ_column : "a column without a name");
    fputs("), not taken over\n", out);
}

/* ---- Threshold ------------------------------------------------------------ */

/* Wobble before the mount and behind it are set against one threshold, and are not alike. */
static void print_mixed(FILE *out, const struct sr_style *style, const struct sr_threshold *t)
{
    char text[320];

    if (t->with_mount == 0 || t->without_mount == 0)
        return;
    snprintf(text, sizeof text,
             "the mount is in the wobble of %zu of these flights and not in that of %zu ('mount_in'): what "
             "was seen in the footage came through it every time, so one threshold does not fit both; find "
             "it from one kind, and use it for that kind",
             t->with_mount, t->without_mount);
    print_note(out, style, text);
}

static void print_left_out(FILE *out, const struct sr_style *style, const struct sr_threshold *t)
{
    char text[240];
    size_t left_out = t->unproven + t->no_width + t->no_wobble;

    if (left_out > 0) {
        snprintf(text, sizeof text, "%zu rated flight%s left out", left_out, plural(left_out));
        sr_count_words(text, sizeof text, t->unproven, "unproven (the log sees too little of their wobble)");
        sr_count_words(text, sizeof text, t->no_width, "without a picture width");
        sr_count_words(text, sizeof text, t->no_wobble, "without wobble");
        print_note(out, style, text);
    }
    if (t->doubled > 0) {
        snprintf(text, sizeof text,
                 "%zu row%s of flights that stand there already, counted once; 'ledger check' says where",
                 t->doubled, plural(t->doubled));
        print_note(out, style, text);
    }
    if (t->unreadable > 0) {
        snprintf(text, sizeof text, "%zu row%s of the ledger cannot be read; 'ledger check' names them",
                 t->unreadable, plural(t->unreadable));
        print_note(out, style, text);
    }
}

static void print_found(FILE *out, const struct sr_style *style, const struct sr_threshold *t)
{
    char px[32], low[32], high[32];
    size_t n = t->clean + t->slight + t->bad;

    sr_format_value(t->px.value, px, sizeof px);
    sr_format_value(t->px.low, low, sizeof low);
    sr_format_value(t->px.high, high, sizeof high);
    if (t->kind == SR_THRESHOLD_BRACKET) {
        fprintf(out, "  wobble starts to show between %s%s and %s px RMS%s on a picture 1920 px wide\n",
                sr_ink(style, SR_INK_STRONG), low, high, sr_ink(style, SR_INK_PLAIN));
        fprintf(out,
                "  a bracket: no clean flight wobbles more than one that shows, so no curve can be fitted;\n"
                "  rated flights between the two would narrow it; half way is %s px\n",
                px);
        return;
    }
    fprintf(out, "  wobble starts to show at %s%s px RMS%s on a picture 1920 px wide\n",
            sr_ink(style, SR_INK_STRONG), px, sr_ink(style, SR_INK_PLAIN));
    fprintf(out, "  95 %% interval %s to %s px, by profile likelihood; relation shown with p = %.2g\n", low,
            high, t->logistic.p_value);
    fprintf(out,
            "  from 1 flight in 4 that shows it to 3 in 4: %.1f dB; %zu of %zu flights are rated otherwise\n",
            t->slope_db, t->misrated, n);
}

void sr_threshold_text(FILE *out, const struct sr_style *style, const struct sr_threshold_report *report)
{
    const struct sr_threshold *t = report->threshold;
    char px[32];

    sr_print_safe(out, report->path);
    fprintf(out, "  %zu rated flights: %zu clean, %zu slight, %zu bad; %zu not rated\n\n",
            t->clean + t->slight + t->bad, t->clean, t->slight, t->bad, t->unrated);
    print_found(out, style, t);
    print_mixed(out, style, t);
    print_left_out(out, style, t);
    if (report->written == NULL)
        return;
    fputs(report->made ? "\n  made " : "\n  written to ", out);
    sr_print_safe(out, report->written);
    fprintf(out, ": px = %s, for its picture of %.10g px\n",
            sr_format_value(report->written_px, px, sizeof px), report->width_px);
}
