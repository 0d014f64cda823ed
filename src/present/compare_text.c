/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "notes.h"
#include "stillrow/compare_report.h"

enum { LINES_SHOWN = 5 };

static const char *const axis_names[3] = {"roll", "pitch", "yaw"};

static enum sr_ink winner_ink(enum sr_winner winner)
{
    return winner == SR_NO_DIFFERENCE ? SR_INK_WARN : SR_INK_GOOD;
}

void sr_compare_sentence(const struct sr_compare_report *report, char *text, size_t size)
{
    const struct sr_comparison *c = report->comparison;
    const struct sr_ratio *r = &c->whole;
    const char *quiet = c->winner == SR_A_QUIETER ? report->a->name : report->b->name;
    const char *loud = c->winner == SR_A_QUIETER ? report->b->name : report->a->name;
    double low = fmin(fabs(r->low_db), fabs(r->high_db)), high = fmax(fabs(r->low_db), fabs(r->high_db));

    if (c->winner == SR_NO_DIFFERENCE)
        snprintf(
            text, size,
            "no difference shown: %s against %s is %+.1f dB (95 %% interval %+.1f to %+.1f); these flights "
            "would have shown %.1f dB or more",
            report->b->name, report->a->name, r->db, r->low_db, r->high_db, c->smallest_db);
    else
        snprintf(
            text, size,
            "%s is quieter: %s wobbles %.1f dB more, %.2f times as much (95 %% interval %.1f to %.1f dB)",
            quiet, loud, fabs(r->db), pow(10, fabs(r->db) / 20), low, high);
}

static void print_group(FILE *out, const struct sr_style *style, const char *letter,
                        const struct sr_compare_group *group, size_t kept, size_t left_out)
{
    fprintf(out, "%s%s", sr_ink(style, SR_INK_STRONG), letter);
    if (strcmp(group->name, letter) != 0) {
        fputs("  ", out);
        sr_print_safe(out, group->name);
    }
    fprintf(out, "%s  %zu flight%s, %zu s compared", sr_ink(style, SR_INK_PLAIN), group->count,
            group->count == 1 ? "" : "s", kept);
    if (left_out > 0)
        fprintf(out, ", %zu s flown otherwise and left out", left_out);
    fputc('\n', out);
    for (size_t i = 0; i < group->count; i++) {
        fputs("     ", out);
        sr_print_safe(out, group->flights[i].name);
        fputc('\n', out);
    }
}

static void print_match(FILE *out, const struct sr_comparison *c)
{
    double low = c->match_centre[0] - c->match_width / 2;
    double high = c->match_centre[c->match_bins - 1] + c->match_width / 2;

    switch (c->match) {
    case SR_MATCH_THROTTLE:
        fprintf(out, "  matched on throttle: %zu bin%s of %.0f %% between %.0f and %.0f %%, equal weights\n",
                c->match_bins, c->match_bins == 1 ? "" : "s", 100 * c->match_width, 100 * low, 100 * high);
        break;
    case SR_MATCH_SPEED:
        fprintf(out,
                "  matched on motor speed: %zu bin%s of %.0f rpm between %.0f and %.0f rpm, equal weights\n",
                c->match_bins, c->match_bins == 1 ? "" : "s", c->match_width, low, high);
        break;
    case SR_MATCH_NONE:
        fprintf(out, "  not matched: compared as flown\n");
        break;
    }
}

static const char *p_text(double p, char *text, size_t size)
{
    snprintf(text, size, p < 0.001 ? "<0.001" : "%.3f", p);
    return text;
}

static void print_ratio(FILE *out, const struct sr_style *style, const char *name, const struct sr_ratio *r)
{
    char a[32], b[32], p[16];

    if (!r->seen) {
        fprintf(out, "  %-7s not seen by all the logs\n", name);
        return;
    }
    fprintf(out, "  %-7s %7s %7s  %+7.1f dB  %+6.1f to %+6.1f  %6s  ", name,
            sr_format_value(r->a_px, a, sizeof a), sr_format_value(r->b_px, b, sizeof b), r->db, r->low_db,
            r->high_db, p_text(r->p_adjusted, p, sizeof p));
    if (r->shown) {
        fprintf(out, "%s%s quieter%s\n", sr_ink(style, SR_INK_GOOD), r->db > 0 ? "A" : "B",
                sr_ink(style, SR_INK_PLAIN));
    } else {
        fprintf(out, "none shown\n");
    }
}

static void print_ratios(FILE *out, const struct sr_style *style, const struct sr_compare_report *report)
{
    const struct sr_comparison *c = report->comparison;

    fprintf(out, "\n  %s           A px    B px   B against A    95 %% interval       p  difference%s\n",
            sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    print_ratio(out, style, "whole", &c->whole);
    for (size_t i = 0; i < SR_BAND_COUNT - 1; i++)
        print_ratio(out, style, sr_band_name((enum sr_band)(SR_BAND_BEND + i)), &c->band[i]);
    for (size_t i = 0; i < 3 && report->per_axis; i++)
        print_ratio(out, style, axis_names[i], &c->axis[i]);
    fprintf(out, "  px RMS at matched conditions; p corrected for the number of bands%s;\n",
            report->per_axis ? ", and of axes" : "");
    fprintf(out, "  interval from %s\n",
            c->from == SR_FROM_FLIGHTS ? "the scatter between flights" : "the seconds of these flights only");
}

const char *sr_compare_line_name(const struct sr_compare_line *line, char *text, size_t size)
{
    char hz[48];
    bool a = isfinite(line->hz_a), b = isfinite(line->hz_b);

    if (a && b && fabs(line->hz_a - line->hz_b) >= 1)
        snprintf(hz, sizeof hz, "%.0f to %.0f Hz", line->hz_a, line->hz_b);
    else
        snprintf(hz, sizeof hz, "%.0f Hz", a ? line->hz_a : line->hz_b);
    if (line->order > 0)
        snprintf(text, size, "order %.3g (%s)", line->order, hz);
    else
        snprintf(text, size, "%s", hz);
    return text;
}

static void print_lines(FILE *out, const struct sr_style *style, const struct sr_comparison *c)
{
    char name[96], a[32], b[32];

    if (c->n_lines == 0) {
        if (c->winner != SR_NO_DIFFERENCE)
            fprintf(out, "\n  No single line stands out in either: the difference is spread over all "
                         "frequencies.\n");
        return;
    }
    fprintf(out, "\n  %slines that account for it       A px    B px  from A to B%s\n",
            sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < c->n_lines && i < LINES_SHOWN; i++) {
        const struct sr_compare_line *line = &c->lines[i];
        fprintf(out, "  %-26s %9s %7s  %-6s  %3.0f %% of all changes\n",
                sr_compare_line_name(line, name, sizeof name),
                line->px_a > 0 ? sr_format_value(line->px_a, a, sizeof a) : "-",
                line->px_b > 0 ? sr_format_value(line->px_b, b, sizeof b) : "-", line->change,
                100 * fabs(line->share));
    }
}

void sr_compare_text(FILE *out, const struct sr_style *style, const struct sr_compare_report *report)
{
    const struct sr_comparison *c = report->comparison;
    char text[512];

    print_group(out, style, "A", report->a, c->slices_a, c->left_out_a);
    print_group(out, style, "B", report->b, c->slices_b, c->left_out_b);
    fprintf(out, "\n  %s", sr_ink(style, winner_ink(c->winner)));
    sr_compare_sentence(report, text, sizeof text);
    sr_print_wrapped(out, text, 2, 2, SR_TEXT_WIDTH);
    fprintf(out, "%s", sr_ink(style, SR_INK_PLAIN));
    print_match(out, c);
    print_ratios(out, style, report);
    print_lines(out, style, c);
    sr_rig_assumption(report->rig, text, sizeof text);
    if (c->n_notes > 0 || text[0] != '\0')
        fputc('\n', out);
    for (size_t i = 0; i < c->n_notes; i++)
        sr_note_text(out, style, c->notes[i]);
    if (text[0] != '\0')
        sr_note_text(out, style, text);
}

void sr_compare_ranking_text(FILE *out, const struct sr_style *style, const struct sr_compare_rank *ranks,
                             size_t count)
{
    char px[32];

    fprintf(out, "\n%sranking   px  flights  quieter than  louder than  group%s\n",
            sr_ink(style, SR_INK_STRONG), sr_ink(style, SR_INK_PLAIN));
    for (size_t i = 0; i < count; i++) {
        fprintf(out, "%3zu %9s %8zu %13zu %12zu  ", i + 1, sr_format_value(ranks[i].mean_px, px, sizeof px),
                ranks[i].flights, ranks[i].beats, ranks[i].beaten);
        sr_print_safe(out, ranks[i].name);
        fputc('\n', out);
    }
    fputs("px: mean over flights of their wobble, as flown; quieter and louder: pairs in which that was "
          "shown at\n"
          "matched conditions, corrected for the number of pairs\n",
          out);
}
