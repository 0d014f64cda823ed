/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The timeline: when it wobbles. A bar a second against the threshold, with what the throttle did below. */
#include "present/plot_kinds.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "present/plot_page.h"
#include "present/plot_words.h"

struct timeline {
    struct sr_page page;
    double from_s, to_s; /* x */
    double high_px;      /* y, from 0 */
    struct sr_box bars;  /* upper panel; page.plot is both */
    struct sr_box speed; /* lower panel, empty if nothing was logged */
    bool has_throttle, has_speed;
    double *roof; /* [columns] tops of the bars */
    double *line; /* [columns] the threshold */
    size_t columns;
};

static double x_at(const struct timeline *t, double s)
{
    return t->bars.left + (t->bars.right - t->bars.left) * (s - t->from_s) / (t->to_s - t->from_s);
}

static double y_at(const struct timeline *t, double px)
{
    return t->bars.bottom + (t->bars.top - t->bars.bottom) * px / t->high_px;
}

static void set_ranges(struct timeline *t)
{
    const struct sr_plot_flight *flight = t->page.flight;
    const struct sr_slices *slices = flight->slices;
    double most = flight->score->threshold_px * 1.1;

    t->from_s = slices->slice[0].from_s;
    t->to_s = slices->slice[slices->count - 1].to_s;
    for (size_t i = 0; i < slices->count; i++) {
        most = fmax(most, flight->score->slice_px[i]);
        t->has_speed = t->has_speed || isfinite(sr_slice_rpm(&slices->slice[i]));
    }
    t->has_throttle = slices->has_throttle;
    t->high_px = most / 0.74; /* room for two rows of labels */
}

static void set_panels(struct timeline *t)
{
    const struct sr_page *page = &t->page;

    t->bars = t->speed = page->plot;
    if (!t->has_throttle && !t->has_speed)
        return;
    t->speed.top = t->speed.bottom + 84 * page->unit;
    t->bars.bottom = t->speed.top + 18 * page->unit;
}

static void trace(struct timeline *t)
{
    const struct sr_plot_flight *flight = t->page.flight;

    for (size_t c = 0; c < t->columns; c++) {
        t->roof[c] = t->bars.bottom;
        t->line[c] = y_at(t, flight->score->threshold_px);
    }
    for (size_t i = 0; i < flight->slices->count; i++) {
        const struct sr_slice *slice = &flight->slices->slice[i];
        double first = floor(x_at(t, slice->from_s) - t->bars.left);
        double last = ceil(x_at(t, slice->to_s) - t->bars.left);
        for (size_t c = (size_t)fmax(first, 0); c < t->columns && (double)c <= last; c++)
            t->roof[c] = fmax(t->roof[c], y_at(t, flight->score->slice_px[i]));
    }
}

/* A label over the highest second of a moment. */
static void set_tag(const struct timeline *t, struct sr_tag *tag, const struct sr_moment *moment)
{
    const struct sr_plot_flight *flight = t->page.flight;
    size_t i = sr_plot_worst_second(flight, moment);
    double middle_s = (moment->from_s + moment->to_s) / 2, px = moment->wobble_px;

    if (i < flight->slices->count) {
        middle_s = (flight->slices->slice[i].from_s + flight->slices->slice[i].to_s) / 2;
        px = flight->score->slice_px[i];
    }
    sr_plot_moment_text(flight, moment, t->page.options->footage_offset_s, tag->text, sizeof tag->text);
    tag->x = x_at(t, middle_s);
    tag->y = y_at(t, px);
    /* Side by side on the smallest pages, too, no two labels read as one. */
    const double apart_px = 6, gap_px = 8 * t->page.unit;
    tag->width = sr_words_width(tag->text, t->page.tics, false) + fmax(0, apart_px - gap_px);
    tag->height = 1.15 * t->page.tics;
    tag->weight = px;
}

static void draw_moments(struct timeline *t)
{
    struct sr_page *page = &t->page;
    const struct sr_plot_flight *flight = page->flight;
    struct sr_tag tags[SR_WORST_MAX] = {{0}};
    size_t n = sr_plot_moments(flight);

    for (size_t i = 0; i < n; i++) {
        const struct sr_moment moment = sr_plot_moment(flight, i);
        set_tag(t, &tags[i], &moment);
    }
    struct sr_ground ground = {t->bars, page->taken, page->n_taken, t->roof,
                               t->line, t->columns,  8 * page->unit};
    size_t dropped = sr_tags_place(tags, n, &ground);
    sr_page_tags(page, tags, n, dropped);
}

/* A change of level: a line over both panels, named at its top. */
static void draw_change(struct timeline *t)
{
    struct sr_page *page = &t->page;
    const struct sr_change *change = page->flight->change;
    struct sr_type type = {page->tics, true, page->palette->mark, SR_LEFT};
    char clock[24], text[64];

    if (change == NULL || !change->found || change->at_s < t->from_s || change->at_s > t->to_s)
        return;
    snprintf(text, sizeof text, "%s %s, %s%.1f dB", change->ratio_db > 0 ? "knock" : "change",
             sr_words_clock(change->at_s + page->options->footage_offset_s, false, clock, sizeof clock),
             change->ratio_db < 0 ? "\xE2\x88\x92" : "+", fabs(change->ratio_db));
    double x = x_at(t, change->at_s), width = sr_words_width(text, type.size, true), pad = 10 * page->unit;
    bool leftwards = x + pad + width > t->bars.right;
    double y = t->bars.top - 0.7 * page->tics;
    struct sr_box box = {leftwards ? x - pad - width : x, y - 0.6 * page->tics,
                         leftwards ? x : x + pad + width, t->bars.top};

    type.align = leftwards ? SR_RIGHT : SR_LEFT;
    sr_page_stroke(page, x, page->plot.bottom, x, t->bars.top, page->palette->mark, 2.5, true);
    sr_page_text(page, leftwards ? x - pad : x + pad, y, &type, text);
    struct sr_box line = {x - 2, t->bars.bottom, x + 2, t->bars.top};
    sr_page_take(page, &box);
    sr_page_take(page, &line);
}

static void add_data(struct timeline *t)
{
    struct sr_script *script = t->page.script;
    const struct sr_plot_flight *flight = t->page.flight;

    sr_script_add(script,
                  "# from and to in s of the log, wobble in px RMS, throttle in %% (or mean motor speed in "
                  "rpm)\n$seconds << EOD\n");
    for (size_t i = 0; i < flight->slices->count; i++) {
        const struct sr_slice *slice = &flight->slices->slice[i];
        double speed = t->has_throttle ? slice->throttle * 100 : sr_slice_rpm(slice);
        sr_script_add(script, "%.3f %.3f ", slice->from_s, slice->to_s);
        sr_script_number(script, flight->score->slice_px[i]);
        sr_script_add(script, " ");
        sr_script_number(script, speed);
        sr_script_add(script, "\n");
    }
    sr_script_add(script, "EOD\n");
}

static void draw_key(struct timeline *t)
{
    struct sr_page *page = &t->page;
    char text[64], px[24];
    double x = 28 * page->unit;

    x = sr_page_key(page, x, SR_SAMPLE_FILL, page->palette->curve, "wobble each second, px");
    x = sr_page_key(page, x, SR_SAMPLE_FILL, page->palette->alarm, "too much");
    snprintf(text, sizeof text, "threshold %s",
             sr_words_px(page->flight->score->threshold_px, px, sizeof px));
    sr_page_key(page, x, SR_SAMPLE_DASH, page->palette->limit, text);
}

static void draw_bars(struct timeline *t)
{
    struct sr_page *page = &t->page;
    const struct sr_palette *p = page->palette;
    double threshold = page->flight->score->threshold_px;
    double step = sr_axis_step(0, t->high_px, 4);

    sr_page_margins(page, &t->bars);
    sr_script_add(page->script, "set xrange [%.9g:%.9g] noextend\nset yrange [0:%.9g] noextend\n", t->from_s,
                  t->to_s, t->high_px);
    sr_page_tics(page, 'y', 0, t->high_px * 0.92, step, 1);
    /* Its lines run on in the panel below, which has the labels. */
    sr_page_clock_tics(page, t->from_s, t->to_s, page->options->footage_offset_s,
                       t->bars.bottom <= page->plot.bottom);
    sr_script_add(page->script,
                  "set style fill solid 1 noborder\n"
                  "plot $seconds using (($1+$2)/2):($3 > %.9g ? NaN : $3):1:2:(0):3 with boxxyerror "
                  "fillcolor rgb '%s' notitle, \\\n"
                  "  $seconds using (($1+$2)/2):($3 > %.9g ? $3 : NaN):1:2:(0):3 with boxxyerror "
                  "fillcolor rgb '%s' notitle, \\\n"
                  "  %.9g with lines linecolor rgb '%s' linewidth %.2f notitle, \\\n"
                  "  %.9g with lines linecolor rgb '%s' linewidth %.2f dashtype " SR_DASH " notitle\n",
                  threshold, p->curve, threshold, p->alarm, threshold, p->paper, 6 * page->unit, threshold,
                  p->limit, 2.5 * page->unit);
}

static void draw_speed(struct timeline *t)
{
    struct sr_page *page = &t->page;
    double most = 100;
    struct sr_type type = {0.82 * page->tics, false, page->palette->ink, SR_LEFT};

    if (!t->has_throttle) {
        most = 0;
        for (size_t i = 0; i < page->flight->slices->count; i++)
            most = fmax(most, sr_slice_rpm(&page->flight->slices->slice[i]));
        most *= 1.1;
    }
    sr_script_add(page->script, "unset label\nunset arrow\nunset object\n");
    sr_page_margins(page, &t->speed);
    sr_page_text(page, t->speed.left + 10 * page->unit, t->speed.top - 0.45 * page->tics, &type,
                 t->has_throttle ? "throttle, %" : "motor speed, 1000 rpm");
    /* The panel's name stands above the bars of motor speeds; a throttle is seldom so high. */
    sr_script_add(page->script, "set yrange [0:%.9g] noextend\n", t->has_throttle ? most : 1.4 * most);
    if (t->has_throttle)
        sr_page_tics(page, 'y', 0, 60, 50, 1);
    else
        sr_page_tics(page, 'y', 0, most, sr_axis_step(0, most, 2), 1000);
    sr_page_clock_tics(page, t->from_s, t->to_s, page->options->footage_offset_s, true);
    sr_script_add(page->script,
                  "plot $seconds using (($1+$2)/2):4:1:2:(0):4 with boxxyerror fillcolor rgb '%s' notitle\n",
                  page->palette->muted);
}

enum sr_status sr_plot_timeline(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err)
{
    struct timeline t = {.has_throttle = false};

    sr_page_open(&t.page, script, flight, options);
    t.columns = (size_t)(t.page.plot.right - t.page.plot.left);
    t.roof = calloc(t.columns, sizeof *t.roof);
    t.line = calloc(t.columns, sizeof *t.line);
    if (t.roof == NULL || t.line == NULL) {
        free(t.line);
        free(t.roof);
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a timeline");
    }
    set_ranges(&t);
    set_panels(&t);
    trace(&t);
    bool two = t.has_throttle || t.has_speed;
    draw_change(&t);
    draw_key(&t);
    draw_moments(&t);
    add_data(&t);
    if (two)
        sr_script_add(script, "set multiplot\n");
    draw_bars(&t);
    if (two) {
        draw_speed(&t);
        sr_script_add(script, "unset multiplot\n");
    }
    free(t.line);
    free(t.roof);
    return SR_OK;
}
