/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The orders: what follows the motors and what stays put. Motor speed to the
 * right, frequency upwards: an order is a slanted line, a resonance a level one.
 */
#include "present/plot_kinds.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "present/plot_heat.h"
#include "present/plot_page.h"
#include "present/plot_words.h"

enum { ORDERS_MOST = 8 };

struct orders {
    struct sr_page page;
    struct sr_heat heat;
    double low_rpm, high_rpm;
    size_t first_bin, last_bin;
    double low_hz, high_hz; /* half a bin beyond those */
    double order[ORDERS_MOST];
    size_t n_orders;
};

static void add_order(struct orders *o, double order)
{
    for (size_t i = 0; i < o->n_orders; i++)
        if (fabs(o->order[i] - order) < 0.02)
            return;
    if (o->n_orders < ORDERS_MOST)
        o->order[o->n_orders++] = order;
}

/* Those of every motor, the blades', and those that were found. */
static void set_orders(struct orders *o)
{
    const struct sr_plot_flight *flight = o->page.flight;
    bool relative = flight->causes != NULL && flight->causes->source != SR_SPEED_MOTORS;

    add_order(o, 1);
    add_order(o, 2);
    add_order(o, flight->rig->build.blades >= 2 ? flight->rig->build.blades : 3);
    for (size_t i = 0; i < flight->score->n_peaks && !relative; i++)
        if (flight->score->peaks[i].cause == SR_CAUSE_ORDER && flight->score->peaks[i].order > 0)
            add_order(o, flight->score->peaks[i].order);
}

static void set_frequencies(struct orders *o)
{
    const struct sr_plot_flight *flight = o->page.flight;
    const struct sr_slices *slices = flight->slices;
    double most_order = 0, most = (double)(slices->bins - 1) * slices->bin_hz;

    for (size_t i = 0; i < o->n_orders; i++)
        most_order = fmax(most_order, o->order[i]);
    double high = fmin(most, most_order * o->high_rpm / 60 * 1.12);
    for (size_t i = 0; i < flight->score->n_peaks; i++)
        high = fmin(most, fmax(high, flight->score->peaks[i].hz * 1.1));
    if (o->page.options->max_hz > 0)
        high = fmin(most, o->page.options->max_hz);
    o->first_bin = flight->view->first_bin;
    o->last_bin = (size_t)fmax(floor(high / slices->bin_hz), (double)o->first_bin + 1);
    if (o->last_bin > slices->bins - 1)
        o->last_bin = slices->bins - 1;
    o->low_hz = ((double)o->first_bin - 0.5) * slices->bin_hz;
    o->high_hz = ((double)o->last_bin + 0.5) * slices->bin_hz;
}

/* Mean power of the slices of each speed. */
static void fill(struct orders *o)
{
    const struct sr_plot_flight *flight = o->page.flight;
    double step = (o->high_rpm - o->low_rpm) / (double)o->heat.columns;

    for (size_t c = 0; c < o->heat.columns; c++) {
        double from = o->low_rpm + step * (double)c;
        size_t n = 0;
        for (size_t i = 0; i < flight->slices->count; i++) {
            double rpm = sr_plot_rpm(flight, i);
            if (!(rpm >= from && rpm < from + step))
                continue;
            n++;
            for (size_t r = 0; r < o->heat.rows; r++) {
                double *cell = &o->heat.px[r * o->heat.columns + c];
                double power = pow(sr_slice_cell_px(flight, i, o->first_bin + r), 2);
                *cell = n == 1 ? power : *cell + power;
            }
        }
        for (size_t r = 0; r < o->heat.rows && n > 0; r++)
            o->heat.px[r * o->heat.columns + c] = sqrt(o->heat.px[r * o->heat.columns + c] / (double)n);
    }
}

static double x_at(const struct orders *o, double rpm)
{
    const struct sr_box *plot = &o->page.plot;
    return plot->left + (plot->right - plot->left) * (rpm - o->low_rpm) / (o->high_rpm - o->low_rpm);
}

static double y_at(const struct orders *o, double hz)
{
    const struct sr_box *plot = &o->page.plot;
    return plot->bottom + (plot->top - plot->bottom) * (hz - o->low_hz) / (o->high_hz - o->low_hz);
}

/* One order line, cut at the plot's edges, named where it leaves it: at the right, or inside at the top. */
static void draw_order(struct orders *o, double order, double *free_above)
{
    struct sr_page *page = &o->page;
    double from = fmax(o->low_rpm, o->low_hz * 60 / order), to = fmin(o->high_rpm, o->high_hz * 60 / order);
    char text[32];

    if (from >= to)
        return;
    double x0 = x_at(o, from), y0 = y_at(o, order * from / 60), x1 = x_at(o, to),
           y1 = y_at(o, order * to / 60);
    sr_page_stroke(page, x0, y0, x1, y1, "#60FFFFFF", 2, true);
    sr_words_order(order, text, sizeof text);
    if (to >= o->high_rpm * (1 - 1e-9)) {
        struct sr_type type = {page->tics, true, page->palette->ink, SR_LEFT};
        double y = fmax(y1, *free_above + 1.1 * page->tics);
        *free_above = y;
        sr_page_text(page, page->plot.right + 12 * page->unit, y, &type, text);
    } else {
        struct sr_type type = {page->tics, true, "#FFFFFF", SR_RIGHT};
        sr_page_text(page, x1 - 14 * page->unit, y1 - 0.8 * page->tics, &type, text);
    }
}

static void draw_orders(struct orders *o)
{
    double free_above = -INFINITY, done = 0;

    for (size_t n = 0; n < o->n_orders; n++) { /* from low to high: names are pushed upwards */
        double next = INFINITY;
        for (size_t i = 0; i < o->n_orders; i++)
            if (o->order[i] > done && o->order[i] < next)
                next = o->order[i];
        if (!isfinite(next))
            break;
        draw_order(o, next, &free_above);
        done = next;
    }
}

/* Where each line stood out, second by second: dots for what moves with the motors, squares for the rest. */
static size_t add_tracks(struct orders *o)
{
    const struct sr_plot_flight *flight = o->page.flight;
    struct sr_script *script = o->page.script;
    size_t n = 0;

    if (flight->causes == NULL)
        return 0;
    sr_script_add(script, "# rpm, Hz of a line, 1: it moves with the motors\n$tracks << EOD\n");
    for (size_t t = 0; t < flight->causes->n_tracks && t < flight->score->n_peaks; t++) {
        enum sr_cause cause = flight->score->peaks[t].cause;
        for (size_t i = 0; i < flight->slices->count && i < flight->causes->slices; i++) {
            double rpm = sr_plot_rpm(flight, i), hz = flight->causes->tracks[t].hz[i];
            if (!isfinite(rpm) || !isfinite(hz))
                continue;
            sr_script_add(script, "%.6g %.6g %d\n", rpm, hz,
                          cause == SR_CAUSE_ORDER || cause == SR_CAUSE_FOLDED);
            n++;
        }
    }
    sr_script_add(script, "EOD\n");
    return n;
}

static void draw(struct orders *o)
{
    struct sr_page *page = &o->page;
    struct sr_type hz = {page->tics, false, page->palette->muted, SR_RIGHT};
    struct sr_type rpm = {page->tics, false, page->palette->muted, SR_RIGHT};
    const struct sr_causes *causes = page->flight->causes;
    bool electrical = causes != NULL && causes->electrical && !(causes->pole_pairs > 0);
    double dx = (o->high_rpm - o->low_rpm) / (double)o->heat.columns;

    draw_orders(o);
    sr_heat_ground(page);
    sr_heat_key(&o->heat, page, page->plot.left);
    sr_page_text(page, page->plot.left - 10 * page->unit, page->key_y, &hz, "Hz");
    sr_page_text(page, page->width - 28 * page->unit, page->plot.bottom - 0.95 * page->tics, &rpm,
                 electrical ? "el. rpm" : "rpm");
    sr_page_margins(page, &page->plot);
    sr_script_add(page->script,
                  "unset grid\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n",
                  o->low_rpm, o->high_rpm, o->low_hz, o->high_hz);
    sr_page_tics(page, 'x', o->low_rpm, o->high_rpm - 0.03 * (o->high_rpm - o->low_rpm),
                 sr_axis_step(o->low_rpm, o->high_rpm, 6), 1);
    sr_page_tics(page, 'y', o->low_hz, o->high_hz * 0.96, sr_axis_step(0, o->high_hz, 6), 1);
    sr_heat_add(&o->heat, page->script);
    bool tracks = add_tracks(o) > 0;
    sr_script_add(
        page->script, "plot $heat matrix using (%.9g + %.9g*$1):(%.9g + %.9g*$2):3 with image notitle",
        o->low_rpm + dx / 2, dx, o->low_hz + page->flight->slices->bin_hz / 2, page->flight->slices->bin_hz);
    if (tracks)
        sr_script_add(
            page->script,
            ", \\\n  $tracks using 1:($3 == 1 ? $2 : NaN) with points pointtype 7 pointsize %.2f linecolor "
            "rgb "
            "'#70FFFFFF' notitle, \\\n"
            "  $tracks using 1:($3 == 1 ? NaN : $2) with points pointtype 5 pointsize %.2f linecolor rgb "
            "'#70FFFFFF' notitle",
            0.6 * page->unit, 0.45 * page->unit);
    sr_script_add(page->script, "\n");
}

enum sr_status sr_plot_orders(struct sr_script *script, const struct sr_plot_flight *flight,
                              const struct sr_plot_options *options, struct sr_error *err)
{
    struct orders o = {.n_orders = 0};

    sr_page_open(&o.page, script, flight, options);
    o.page.plot.right -= 84 * o.page.unit;
    if (!sr_plot_speeds(flight, &o.low_rpm, &o.high_rpm))
        return sr_fail(err, SR_ERR_DATA, NULL, 0, SR_NO_SPEEDS);
    set_orders(&o);
    set_frequencies(&o);
    double columns = fmin(fmax(floor((double)flight->slices->count / 4), 8), 40);
    enum sr_status status = sr_heat_new(&o.heat, (size_t)columns, o.last_bin + 1 - o.first_bin, err);
    if (status != SR_OK)
        return status;
    fill(&o);
    sr_heat_range(&o.heat, flight->score->threshold_px);
    draw(&o);
    sr_heat_release(&o.heat);
    return SR_OK;
}
