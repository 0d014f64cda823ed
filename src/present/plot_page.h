/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Private to the room: the page that every picture is drawn on: terminal, colours,
 * type sizes, title, verdict, key, footer, axes. Places are pixels from the
 * lower left corner; the script gets them as shares of the screen.
 *
 * Colours: categories by Okabe and Ito, "Color Universal Design: how to make
 * figures and presentations that are friendly to colorblind people" (2008), a
 * palette that the common kinds of colour blindness can tell apart; heat by
 * cividis (Nunez, Anderton and Renslow, "Optimizing colormaps with consideration
 * for color vision deficiency", PLoS ONE 13(7): e0199239, 2018), even in
 * lightness. No meaning is carried by colour alone.
 */
#ifndef PRESENT_PLOT_PAGE_H
#define PRESENT_PLOT_PAGE_H

#include <stdbool.h>
#include <stddef.h>

#include "present/plot_labels.h"
#include "present/plot_script.h"
#include "stillrow/plot.h"

struct sr_palette {
    const char *paper, *ink, *muted, *grid; /* "#RRGGBB" */
    const char *shade[2];                   /* bands, in turns */
    const char *curve, *curve_fill;         /* the flight; the fill is see-through ("#AARRGGBB") */
    const char *alarm, *alarm_fill;         /* above the allowance or threshold */
    const char *limit;                      /* allowance, threshold */
    const char *mark;                       /* a knock */
    const char *halo;                       /* around points on heat */
};

const struct sr_palette *sr_palette_get(bool dark);

/* Colour of a verdict, and of text on it. */
const char *sr_verdict_color(enum sr_verdict verdict);
const char *sr_verdict_ink(enum sr_verdict verdict);

#define SR_CIVIDIS_STEPS 10
extern const char *const sr_cividis[SR_CIVIDIS_STEPS]; /* from low to high, evenly spaced */

struct sr_page {
    struct sr_script *script;
    const struct sr_plot_flight *flight;
    const struct sr_plot_options *options;
    const struct sr_palette *palette;
    double width, height;                  /* [px] */
    double title, head, text, tics, small; /* type sizes [px] */
    double unit;                           /* [px] 1 on a page 1200 wide; lengths scale by it */
    double font_factor;                    /* size for this terminal = px * factor */
    bool has_bold;                         /* this terminal sets bold type */
    double verdict_y;                      /* [px] middle of the verdict row */
    double key_y;                          /* [px] middle of the key row, just above the plot */
    struct sr_box plot;                    /* where the axes lie */
    struct sr_box taken[16];               /* texts within the plot that labels must keep off */
    size_t n_taken;
};

/* Dash types, by the numbers under which the page defines them. */
#define SR_DASH       "11" /* of all that is dashed and has no other */
#define SR_DASH_SHORT "12"
#define SR_DASH_DOTS  "13"
#define SR_DASH_DOT   "14"

enum sr_align { SR_LEFT = 0, SR_MIDDLE, SR_RIGHT };

/* How a text is set. */
struct sr_type {
    double size; /* [px] */
    bool bold;
    const char *color;
    enum sr_align align;
};

/* Terminal, paper, title, verdict, footer; leaves the plot's box set. Call first. */
void sr_page_open(struct sr_page *page, struct sr_script *script, const struct sr_plot_flight *flight,
                  const struct sr_plot_options *options);

/* What the page of a flight says of it, where that is something else than its score. */
struct sr_verdict_words {
    const char *chip, *numbers;
    enum sr_verdict color;
};
void sr_page_open_as(struct sr_page *page, struct sr_script *script, const struct sr_plot_flight *flight,
                     const struct sr_plot_options *options, const struct sr_verdict_words *words);

/* What stands around a plot. */
struct sr_heading {
    const char *title;
    const char *chip, *chip_color, *chip_ink; /* a word on a colour, below the title */
    const char *numbers;                      /* beside it */
    const char *foot, *foot_low;              /* two lines of small print */
};

/* The same with any heading; page->flight is left as it is (zero the page first). */
void sr_page_start(struct sr_page *page, struct sr_script *script, const struct sr_plot_options *options,
                   const struct sr_heading *heading);

/* "1920x1080, 60 fps, readout 16 ms, camera assumed" into text[size]. */
void sr_page_camera_words(const struct sr_rig *rig, char *text, size_t size);

/* A text centred in height on y. Whatever it holds, it is drawn as text. */
void sr_page_text(struct sr_page *page, double x, double y, const struct sr_type *type, const char *text);
void sr_page_box(struct sr_page *page, const struct sr_box *box, const char *color);
void sr_page_stroke(struct sr_page *page, double x0, double y0, double x1, double y1, const char *color,
                    double width, bool dash);
/* A filled dot with a rim of the paper's colour. */
void sr_page_dot(struct sr_page *page, double x, double y, double radius, const char *color);

/* One item of the key above the plot: a sample, then a text. Returns where the next may start. */
enum sr_sample { SR_SAMPLE_LINE, SR_SAMPLE_THIN, SR_SAMPLE_DASH, SR_SAMPLE_FILL, SR_SAMPLE_DOT };
double sr_page_key(struct sr_page *page, double x, enum sr_sample sample, const char *color,
                   const char *text);
/* The same with a line drawn as a curve is: dash type, "1" for none, and width in px at unit 1. */
double sr_page_key_dashed(struct sr_page *page, double x, const char *dash, double width, const char *color,
                          const char *text);
/* Width that it takes [px]. */
double sr_page_key_width(const struct sr_page *page, const char *text);

/* Keep labels off a box within the plot. */
void sr_page_take(struct sr_page *page, const struct sr_box *box);

/* "set lmargin…" so that the axes lie in `box`. */
void sr_page_margins(struct sr_page *page, const struct sr_box *box);

/* Draw tags placed by sr_tags_place: dot, leader, text; dropped > 0: "+3 more". */
void sr_page_tags(struct sr_page *page, const struct sr_tag *tags, size_t n, size_t dropped);

/* Steps for an axis from low to high: 1, 2 or 5 times a power of ten, at most `most` of them. */
double sr_axis_step(double low, double high, double most);

/* "set xtics (…)" or y: at low, low + step… up to high, labelled by value / unit. */
void sr_page_tics(struct sr_page *page, char axis, double low, double high, double step, double unit);
/* 1, 2, 5 of each power of ten (or 1 alone if crowded), for a log axis. most: how many labels there is room
 * for. */
void sr_page_log_tics(struct sr_page *page, char axis, double low, double high, size_t most);
/* The same for an axis that carries log10 of the value. */
void sr_page_log10_tics(struct sr_page *page, char axis, double low, double high, size_t most);
/* Minutes and seconds on x, from low to high [s]; shift [s] is added to what is written; not labelled: the
 * lines only. */
void sr_page_clock_tics(struct sr_page *page, double low, double high, double shift, bool labelled);

#endif
