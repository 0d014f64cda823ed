/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "present/plot_page.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "present/plot_words.h"

static const double EDGE = 28;        /* [px at unit 1] around the page */
static const double MORE_WIDTH = 130; /* [px at unit 1] kept free beside the verdict for "+12 more" */

static void open_terminal(struct sr_page *page)
{
    const char *paper = page->palette->paper;
    double size = page->text * page->font_factor;

    switch (page->options->format) {
    case SR_PLOT_PNG:
        /* Where gnuplot was built without Cairo, the plainer terminal must do. */
        sr_script_add(
            page->script,
            "if (strstrt(GPVAL_TERMINALS, ' pngcairo ') > 0) {\n"
            "  set terminal pngcairo noenhanced rounded size %.0f, %.0f font 'sans-serif,%.1f' "
            "background rgb '%s'\n"
            "} else {\n"
            "  set terminal png noenhanced truecolor rounded size %.0f, %.0f font 'sans-serif,%.1f' "
            "background rgb '%s'\n"
            "}\n",
            page->width, page->height, size, paper, page->width, page->height, size, paper);
        break;
    case SR_PLOT_SVG:
        sr_script_add(page->script,
                      "set terminal svg noenhanced rounded dynamic size %.0f, %.0f font 'sans-serif,%.1f' "
                      "background rgb '%s'\n",
                      page->width, page->height, size, paper);
        break;
    case SR_PLOT_PDF:
        sr_script_add(
            page->script,
            "set terminal pdfcairo noenhanced rounded fontscale 1 linewidth 1.5 size %.3fin, %.3fin font "
            "'sans-serif,%.1f' background rgb '%s'\n",
            page->width / 96, page->height / 96, size, paper);
        break;
    case SR_PLOT_TEXT:
        break;
    }
}

void sr_page_text(struct sr_page *page, double x, double y, const struct sr_type *type, const char *text)
{
    static const char *const align[] = {"left", "center", "right"};

    sr_script_add(page->script, "set label ");
    sr_script_text(page->script, text);
    sr_script_add(page->script,
                  " at screen %.5f, %.5f %s noenhanced front font 'sans-serif%s,%.1f' textcolor rgb '%s'\n",
                  x / page->width, y / page->height, align[type->align],
                  type->bold && page->has_bold ? ":Bold" : "", type->size * page->font_factor, type->color);
}

void sr_page_box(struct sr_page *page, const struct sr_box *box, const char *color)
{
    sr_script_add(
        page->script,
        "set object rectangle from screen %.5f, %.5f to screen %.5f, %.5f back fillcolor rgb '%s' fillstyle "
        "solid 1 noborder\n",
        box->left / page->width, box->bottom / page->height, box->right / page->width,
        box->top / page->height, color);
}

static void stroke(struct sr_page *page, struct sr_box ends, const char *color, double width,
                   const char *dash)
{
    sr_script_add(
        page->script,
        "set arrow from screen %.5f, %.5f to screen %.5f, %.5f nohead front linecolor rgb '%s' linewidth "
        "%.2f dashtype %s\n",
        ends.left / page->width, ends.bottom / page->height, ends.right / page->width,
        ends.top / page->height, color, width * page->unit, dash);
}

void sr_page_stroke(struct sr_page *page, double x0, double y0, double x1, double y1, const char *color,
                    double width, bool dash)
{
    stroke(page, (struct sr_box){x0, y0, x1, y1}, color, width, dash ? SR_DASH : "1");
}

void sr_page_dot(struct sr_page *page, double x, double y, double radius, const char *color)
{
    for (int rim = 1; rim >= 0; rim--)
        sr_script_add(
            page->script,
            "set object circle at screen %.5f, %.5f size screen %.5f front fillcolor rgb '%s' fillstyle "
            "solid 1 noborder\n",
            x / page->width, y / page->height, (radius + 2.5 * rim) * page->unit / page->width,
            rim ? page->palette->paper : color);
}

static double sample_width(const struct sr_page *page)
{
    return 36 * page->unit;
}

double sr_page_key_width(const struct sr_page *page, const char *text)
{
    return sample_width(page) + 10 * page->unit + sr_words_width(text, page->tics, false) + 22 * page->unit;
}

static double key_text(struct sr_page *page, double x, const char *text)
{
    struct sr_type type = {page->tics, false, page->palette->ink, SR_LEFT};

    sr_page_text(page, x + sample_width(page) + 10 * page->unit, page->key_y, &type, text);
    return x + sr_page_key_width(page, text);
}

double sr_page_key(struct sr_page *page, double x, enum sr_sample sample, const char *color, const char *text)
{
    double y = page->key_y, end = x + sample_width(page);
    struct sr_box box = {x, y - 0.32 * page->tics, end, y + 0.32 * page->tics};

    if (sample == SR_SAMPLE_FILL)
        sr_page_box(page, &box, color);
    else if (sample == SR_SAMPLE_DOT)
        sr_page_dot(page, (x + end) / 2, y, 6, color);
    else
        sr_page_stroke(page, x, y, end, y, color, sample == SR_SAMPLE_THIN ? 1.5 : 3.5,
                       sample == SR_SAMPLE_DASH);
    return key_text(page, x, text);
}

double sr_page_key_dashed(struct sr_page *page, double x, const char *dash, double width, const char *color,
                          const char *text)
{
    stroke(page, (struct sr_box){x, page->key_y, x + sample_width(page), page->key_y}, color, width, dash);
    return key_text(page, x, text);
}

void sr_page_take(struct sr_page *page, const struct sr_box *box)
{
    if (page->n_taken < sizeof page->taken / sizeof page->taken[0])
        page->taken[page->n_taken++] = *box;
}

void sr_page_margins(struct sr_page *page, const struct sr_box *box)
{
    sr_script_add(
        page->script,
        "set lmargin at screen %.5f\nset rmargin at screen %.5f\nset bmargin at screen %.5f\nset tmargin at "
        "screen %.5f\n",
        box->left / page->width, box->right / page->width, box->bottom / page->height,
        box->top / page->height);
}

/* A word on its colour, then the numbers. */
static void draw_chip(struct sr_page *page, const struct sr_heading *heading, double y)
{
    struct sr_type word = {page->head, true, heading->chip_ink, SR_LEFT};
    struct sr_type numbers = {page->head, false, page->palette->ink, SR_LEFT};
    char fitted[200];
    double edge = EDGE * page->unit, pad = 0.45 * page->head;
    double width = sr_words_width(heading->chip, page->head, page->has_bold);
    struct sr_box chip = {edge, y - 0.72 * page->head, edge + width + 2 * pad, y + 0.72 * page->head};

    sr_page_box(page, &chip, heading->chip_color);
    sr_page_text(page, edge + pad, y, &word, heading->chip);
    double x = chip.right + 0.6 * page->head;
    sr_words_fit(heading->numbers, page->width - edge - MORE_WIDTH * page->unit - x, page->head, false,
                 fitted, sizeof fitted);
    sr_page_text(page, x, y, &numbers, fitted);
}

static const char *title_of(const struct sr_page *page)
{
    if (page->options->title != NULL && page->options->title[0] != '\0')
        return page->options->title;
    if (page->flight->rig->build.name[0] != '\0')
        return page->flight->rig->build.name;
    return sr_words_base(page->flight->log_name);
}

static void draw_title(struct sr_page *page, const char *title, double y)
{
    struct sr_type type = {page->title, true, page->palette->ink, SR_LEFT};
    char fitted[400];

    sr_words_fit(title, page->width - 2 * EDGE * page->unit, page->title, true, fitted, sizeof fitted);
    sr_page_text(page, EDGE * page->unit, y, &type, fitted);
}

/* Two lines of small print; the lower one ends in who drew it. */
static void draw_footer(struct sr_page *page, const struct sr_heading *heading)
{
    struct sr_type left = {page->small, false, page->palette->muted, SR_LEFT};
    struct sr_type right = {page->small, false, page->palette->muted, SR_RIGHT};
    char fitted[600];
    double edge = EDGE * page->unit, low = 19 * page->unit;
    double room = page->width - 2 * edge,
           maker = sr_words_width("stillrow " SR_VERSION, page->small, false) + edge;

    sr_words_fit(heading->foot, room, page->small, false, fitted, sizeof fitted);
    sr_page_text(page, edge, low + 1.25 * page->small, &left, fitted);
    sr_words_fit(heading->foot_low, room - maker, page->small, false, fitted, sizeof fitted);
    sr_page_text(page, edge, low, &left, fitted);
    sr_page_text(page, page->width - edge, low, &right, "stillrow " SR_VERSION);
}

static void set_sizes(struct sr_page *page)
{
    /* Type size that comes out as one pixel, tried out on gnuplot 5.4; PDF pages count 96 px an inch here. */
    static const double factor[] = {0.75, 1, 0.5625, 1};

    page->unit = fmin(page->width / 1200, page->height / 675);
    page->title = 42 * page->unit;
    page->head = 31 * page->unit;
    page->text = 27 * page->unit;
    page->tics = 25 * page->unit;
    page->small = 19 * page->unit;
    page->font_factor = factor[page->options->format];
    page->has_bold =
        page->options->format != SR_PLOT_SVG; /* there ":Bold" would be part of the family's name */
}

/* What the SVG terminal does its own way, tried out on gnuplot 5.4: dashes twice as long, labels on x lower.
 */
static void level_terminals(struct sr_page *page)
{
    static const char *const numbers[] = {SR_DASH, SR_DASH_SHORT, SR_DASH_DOTS, SR_DASH_DOT};
    static const double lengths[][4] = {{20, 12, 20, 12}, {14, 8, 14, 8}, {4, 6, 4, 6}, {20, 6, 4, 6}};
    bool svg = page->options->format == SR_PLOT_SVG;

    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        sr_script_add(page->script, "set dashtype %s (", numbers[i]);
        for (int j = 0; j < 4; j++)
            sr_script_add(page->script, j > 0 ? ", %g" : "%g", lengths[i][j] * (svg ? 0.5 : 1));
        sr_script_add(page->script, ")\n");
    }
    if (svg)
        sr_script_add(page->script, "set xtics offset 0, screen %.5f\n", 19 * page->unit / page->height);
}

void sr_page_camera_words(const struct sr_rig *rig, char *text, size_t size)
{
    const struct sr_camera *camera = &rig->camera;
    const unsigned given = rig->camera_given & SR_KEY_ALL;

    snprintf(text, size, "%.0fx%.0f, %.4g fps, readout %.3g ms%s", camera->width_px, camera->height_px,
             camera->fps, camera->readout_s * 1e3,
             given == SR_KEY_ALL ? ""
             : given == 0        ? ", camera assumed"
                                 : ", camera partly assumed");
}

void sr_page_start(struct sr_page *page, struct sr_script *script, const struct sr_plot_options *options,
                   const struct sr_heading *heading)
{
    page->script = script;
    page->options = options;
    page->palette = sr_palette_get(options->dark);
    page->width = round(options->width_px);
    page->height = round(options->height_px);
    set_sizes(page);

    sr_script_begin(script);
    sr_script_add(script, "reset\nset encoding utf8\n");
    open_terminal(page);
    sr_script_add(script,
                  "unset key\nset border 0 linecolor rgb '#FFFFFFFF'\nset tics scale 0 nomirror\nset grid "
                  "front linecolor rgb '%s' "
                  "linewidth %.2f linetype 1\nset tics front textcolor rgb '%s' font 'sans-serif,%.1f'\n",
                  page->palette->grid, page->unit, page->palette->muted, page->tics * page->font_factor);
    level_terminals(page);
    page->verdict_y = page->height - 92 * page->unit;
    draw_title(page, heading->title, page->height - 38 * page->unit);
    draw_chip(page, heading, page->verdict_y);
    draw_footer(page, heading);
    page->plot.left = 92 * page->unit;
    page->plot.right = page->width - EDGE * page->unit;
    page->plot.bottom = 100 * page->unit;
    page->plot.top = page->height - 158 * page->unit;
    page->key_y = page->plot.top + 0.8 * page->tics;
}

void sr_page_open_as(struct sr_page *page, struct sr_script *script, const struct sr_plot_flight *flight,
                     const struct sr_plot_options *options, const struct sr_verdict_words *words)
{
    char build[600], camera[200], low[600];

    memset(page, 0, sizeof *page);
    page->flight = flight;
    page->options = options;
    const char *title = title_of(page);
    sr_words_build(flight->rig, title != flight->rig->build.name, build, sizeof build);
    sr_page_camera_words(flight->rig, camera, sizeof camera);
    snprintf(low, sizeof low, "%s \xC2\xB7 %s", sr_words_base(flight->log_name), camera);
    const struct sr_heading heading = {.title = title,
                                       .chip = words->chip,
                                       .chip_color = sr_verdict_color(words->color),
                                       .chip_ink = sr_verdict_ink(words->color),
                                       .numbers = words->numbers,
                                       .foot = build,
                                       .foot_low = low};
    sr_page_start(page, script, options, &heading);
}

void sr_page_open(struct sr_page *page, struct sr_script *script, const struct sr_plot_flight *flight,
                  const struct sr_plot_options *options)
{
    const enum sr_verdict verdict = flight->score->verdict;
    char numbers[120];

    sr_words_verdict(flight->score, numbers, sizeof numbers);
    const struct sr_verdict_words words = {sr_verdict_name(verdict), numbers, verdict};
    sr_page_open_as(page, script, flight, options, &words);
}

/* Takes the edge off a curve that runs through a text. */
static void soften(struct sr_page *page, const struct sr_box *box)
{
    sr_script_add(
        page->script,
        "set object rectangle from screen %.5f, %.5f to screen %.5f, %.5f front fillcolor rgb '#30%s' "
        "fillstyle solid 1 noborder\n",
        box->left / page->width, box->bottom / page->height, box->right / page->width,
        box->top / page->height, page->palette->paper + 1);
}

static void draw_tag(struct sr_page *page, const struct sr_tag *tag)
{
    struct sr_type type = {tag->height / 1.15, false, page->palette->ink, SR_LEFT};

    sr_page_stroke(page, tag->x, tag->y, tag->x, tag->box.bottom - 2 * page->unit, page->palette->muted, 1.5,
                   false);
    if (tag->crossed)
        soften(page, &tag->box);
    /* gnuplot centres on the capitals; what hangs below them is to be within the box. */
    sr_page_text(page, tag->box.left, tag->box.bottom + 0.62 * type.size, &type, tag->text);
}

void sr_page_tags(struct sr_page *page, const struct sr_tag *tags, size_t n, size_t dropped)
{
    struct sr_type type = {page->tics, false, page->palette->muted, SR_RIGHT};
    char more[40];

    for (size_t i = 0; i < n; i++) {
        if (tags[i].placed)
            draw_tag(page, &tags[i]);
        sr_page_dot(page, tags[i].x, tags[i].y, tags[i].placed ? 6 : 4, page->palette->ink);
    }
    if (dropped == 0)
        return;
    snprintf(more, sizeof more, "+%zu more", dropped);
    sr_page_text(page, page->width - EDGE * page->unit, page->verdict_y, &type, more);
}
