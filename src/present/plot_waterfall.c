/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The waterfall: which frequencies wobble when. Time to the right, frequency upwards, wobble as colour. */
#include "present/plot_kinds.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "present/plot_heat.h"
#include "present/plot_page.h"
#include "present/plot_words.h"

enum { ROWS = 180, COLUMNS_MOST = 900 };

struct waterfall {
    struct sr_page page;
    struct sr_heat heat;
    double from_s, to_s;
    double low_hz, high_hz;
};

static double row_hz(const struct waterfall *w, double row)
{
    return w->low_hz * pow(w->high_hz / w->low_hz, row / ROWS);
}

/* The bins of a row; where rows are finer than bins, the nearest. */
static void row_bins(const struct waterfall *w, size_t row, size_t *first, size_t *last)
{
    const struct sr_slices *slices = w->page.flight->slices;
    double most = (double)(slices->bins - 1);
    double low = ceil(row_hz(w, (double)row) / slices->bin_hz);
    double high = floor(row_hz(w, (double)row + 1) / slices->bin_hz);

    if (high < low)
        low = high = round(row_hz(w, (double)row + 0.5) / slices->bin_hz);
    *first = (size_t)fmin(low, most);
    *last = (size_t)fmin(high, most);
}

/* Mean power of the slices [first, last), and the strongest bin of each row: a line must not fade in a wide
 * row. */
static void fill_column(struct waterfall *w, size_t column, size_t first_slice, size_t last_slice)
{
    const struct sr_plot_flight *flight = w->page.flight;

    for (size_t row = 0; row < ROWS; row++) {
        size_t first, last;
        double most = 0;
        row_bins(w, row, &first, &last);
        for (size_t k = first; k <= last; k++) {
            double power = 0;
            for (size_t i = first_slice; i < last_slice; i++)
                power += pow(sr_slice_cell_px(flight, i, k), 2);
            most = fmax(most, power / (double)(last_slice - first_slice));
        }
        w->heat.px[row * w->heat.columns + column] = sqrt(most);
    }
}

/* Slices lie in order of time, with gaps: a column shows those whose middle it holds, or the one it lies in.
 */
static void fill(struct waterfall *w)
{
    const struct sr_slices *slices = w->page.flight->slices;
    double step = (w->to_s - w->from_s) / (double)w->heat.columns;
    size_t next = 0;

    for (size_t c = 0; c < w->heat.columns; c++) {
        double from = w->from_s + step * (double)c, to = from + step;
        while (next < slices->count && slices->slice[next].to_s <= (from + to) / 2)
            next++;
        size_t last = next;
        while (last < slices->count && (slices->slice[last].from_s + slices->slice[last].to_s) / 2 < to)
            last++;
        if (last == next && next < slices->count && slices->slice[next].from_s <= (from + to) / 2)
            last = next + 1;
        if (last > next)
            fill_column(w, c, next, last);
    }
}

/* Names of the bands beside the picture, and thin lines between them. */
static void draw_bands(struct waterfall *w)
{
    struct sr_page *page = &w->page;
    const struct sr_camera *camera = &page->flight->view->camera;
    struct sr_type type = {page->tics, false, page->palette->muted, SR_LEFT};
    double height = page->plot.top - page->plot.bottom, span = log(w->high_hz / w->low_hz);

    for (int b = SR_BAND_BEND; b < SR_BAND_COUNT; b++) {
        double low = fmax(sr_band_low_hz(camera, (enum sr_band)b), w->low_hz);
        double high = fmin(sr_band_high_hz(camera, (enum sr_band)b), w->high_hz);
        if (low >= high)
            continue;
        double bottom = page->plot.bottom + height * log(low / w->low_hz) / span;
        double top = page->plot.bottom + height * log(high / w->low_hz) / span;
        if (top - bottom > 1.1 * page->tics)
            sr_page_text(page, page->plot.right + 12 * page->unit, (bottom + top) / 2, &type,
                         sr_band_name((enum sr_band)b));
        if (low > w->low_hz)
            sr_page_stroke(page, page->plot.left, bottom, page->plot.right + 10 * page->unit, bottom,
                           "#A0FFFFFF", 1.5, false);
    }
}

static void draw_change(struct waterfall *w)
{
    struct sr_page *page = &w->page;
    const struct sr_change *change = page->flight->change;

    if (change == NULL || !change->found || change->at_s < w->from_s || change->at_s > w->to_s)
        return;
    double x = page->plot.left +
               (page->plot.right - page->plot.left) * (change->at_s - w->from_s) / (w->to_s - w->from_s);
    char clock[24], text[48];
    struct sr_type type = {page->tics, true, "#FFFFFF",
                           x > page->plot.left + 0.8 * (page->plot.right - page->plot.left) ? SR_RIGHT
                                                                                            : SR_LEFT};

    snprintf(text, sizeof text, "%s %s", change->ratio_db > 0 ? "knock" : "change",
             sr_words_clock(change->at_s + page->options->footage_offset_s, false, clock, sizeof clock));
    sr_page_stroke(page, x, page->plot.bottom, x, page->plot.top, "#FFFFFF", 2.5, true);
    sr_page_text(page, type.align == SR_RIGHT ? x - 8 * page->unit : x + 8 * page->unit,
                 page->plot.top - 0.8 * page->tics, &type, text);
}

static void draw(struct waterfall *w)
{
    struct sr_page *page = &w->page;
    struct sr_type unit = {page->tics, false, page->palette->muted, SR_RIGHT};
    double low = log10(w->low_hz), high = log10(w->high_hz);
    double dx = (w->to_s - w->from_s) / (double)w->heat.columns, dy = (high - low) / ROWS;

    draw_bands(w);
    draw_change(w);
    sr_heat_ground(page);
    sr_heat_key(&w->heat, page, page->plot.left);
    sr_page_text(page, page->plot.left - 10 * page->unit, page->key_y, &unit, "Hz");
    sr_page_margins(page, &page->plot);
    sr_script_add(page->script,
                  "unset grid\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n", w->from_s,
                  w->to_s, low, high);
    sr_page_clock_tics(page, w->from_s, w->to_s, page->options->footage_offset_s, true);
    sr_page_log10_tics(page, 'y', w->low_hz, w->high_hz * 0.93, 8);
    sr_heat_add(&w->heat, page->script);
    sr_script_add(page->script,
                  "plot $heat matrix using (%.9g + %.9g*$1):(%.9g + %.9g*$2):3 with image notitle\n",
                  w->from_s + dx / 2, dx, low + dy / 2, dy);
}

enum sr_status sr_plot_waterfall(struct sr_script *script, const struct sr_plot_flight *flight,
                                 const struct sr_plot_options *options, struct sr_error *err)
{
    const struct sr_slices *slices = flight->slices;
    struct waterfall w = {.from_s = slices->slice[0].from_s, .to_s = slices->slice[slices->count - 1].to_s};

    sr_page_open(&w.page, script, flight, options);
    w.page.plot.right -= 84 * w.page.unit;
    w.low_hz = fmax((double)flight->view->first_bin, 1) * slices->bin_hz;
    w.high_hz = slices->bin_hz * (double)(slices->bins - 1);
    if (options->max_hz > 0)
        w.high_hz = fmin(w.high_hz, options->max_hz);
    if (w.high_hz < w.low_hz * 1.2)
        return sr_fail(err, SR_ERR_DATA, NULL, 0, "no wobble below %.3g Hz: it starts at %.3g Hz", w.high_hz,
                       w.low_hz);
    enum sr_status status =
        sr_heat_new(&w.heat, (size_t)fmin(fmax(ceil(w.to_s - w.from_s), 1), COLUMNS_MOST), ROWS, err);
    if (status != SR_OK)
        return status;
    fill(&w);
    sr_heat_range(&w.heat, flight->score->threshold_px);
    draw(&w);
    sr_heat_release(&w.heat);
    return SR_OK;
}
