/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "present/post_text.h"
#include "stillrow/compare_report.h"

enum { LINES_SHOWN = 3 };

/* One line of the list: a dash or star, text, end. */
static void item(FILE *out, enum sr_post_format format, const char *text)
{
    fputs(format == SR_POST_BBCODE ? "[*]" : "- ", out);
    sr_post_text(out, format, text);
    fputc('\n', out);
}

static void list(FILE *out, enum sr_post_format format, bool begin)
{
    if (format == SR_POST_BBCODE)
        fputs(begin ? "[list]\n" : "[/list]\n", out);
    else if (format == SR_POST_MARKDOWN && begin)
        fputc('\n', out);
}

static void group(FILE *out, enum sr_post_format format, const char *letter, const struct sr_compare_group *g,
                  const struct sr_compare_report *report)
{
    const struct sr_comparison *c = report->comparison;
    bool a = g == report->a;
    char text[400], px[32];
    bool named = strcmp(g->name, letter) != 0;

    snprintf(text, sizeof text, "%s%s%s: %zu flight%s, %zu s compared, %s px RMS", letter, named ? ", " : "",
             named ? g->name : "", g->count, g->count == 1 ? "" : "s", a ? c->slices_a : c->slices_b,
             sr_format_value(a ? c->whole.a_px : c->whole.b_px, px, sizeof px));
    item(out, format, text);
}

void sr_compare_post(FILE *out, enum sr_post_format format, const struct sr_compare_report *report)
{
    const struct sr_comparison *c = report->comparison;
    char text[640], name[96];

    sr_compare_sentence(report, text, sizeof text);
    fputs(format == SR_POST_MARKDOWN ? "**" : format == SR_POST_BBCODE ? "[b]" : "", out);
    sr_post_text(out, format, text);
    fputs(format == SR_POST_MARKDOWN ? "**\n" : format == SR_POST_BBCODE ? "[/b]\n" : "\n", out);
    list(out, format, true);
    group(out, format, "A", report->a, report);
    group(out, format, "B", report->b, report);
    for (size_t i = 0; i < c->n_lines && i < LINES_SHOWN; i++) {
        snprintf(text, sizeof text, "%s, %s from A to B: %.0f %% of all changes in lines",
                 sr_compare_line_name(&c->lines[i], name, sizeof name), c->lines[i].change,
                 100 * fabs(c->lines[i].share));
        item(out, format, text);
    }
    for (size_t i = 0; i < c->n_notes; i++)
        item(out, format, c->notes[i]);
    snprintf(
        text, sizeof text,
        "camera %.0fx%.0f, %.4g fps, readout %.3g ms, exposure %.3g ms; compared with stillrow " SR_VERSION,
        report->rig->camera.width_px, report->rig->camera.height_px, report->rig->camera.fps,
        1e3 * report->rig->camera.readout_s, 1e3 * report->rig->camera.exposure_s);
    item(out, format, text);
    list(out, format, false);
}
