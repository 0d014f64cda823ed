/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Transmissibility over the spectrum: what shakes the frame, and which of it each
 * hardness would hand on to the camera.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "present/plot_kinds.h"
#include "present/plot_page.h"
#include "present/plot_words.h"
#include "stillrow/mount_report.h"

#define POINTS 400
#define LEAST  0.01 /* transmissibility drawn; more is above */
#define CURVES 8

/* Okabe and Ito 2008, those that are told apart on the fill of the spectrum; dashes tell them apart too. */
static const char *const colors[CURVES] = {"#D55E00", "#009E73", "#CC79A7", "#E69F00",
                                           "#8A4F7D", "#56B4E9", "#7A5C00", "#5C666E"};
static const char *const dashes[CURVES] = {"1", SR_DASH_SHORT, SR_DASH_DOTS, SR_DASH_DOT,
                                           "1", SR_DASH_SHORT, SR_DASH_DOTS, SR_DASH_DOT};

struct mounts {
    struct sr_page page;
    const struct sr_mount_table *table;
    struct sr_isolator curve[CURVES];
    size_t n_curves;
    double *rate; /* [bins] deg/s RMS per resolution cell */
    size_t bins;
    double bin_hz, low_hz, high_hz, low_dps, high_dps, high_gain;
};

static void find_curves(struct mounts *m)
{
    const struct sr_mount_table *table = m->table;
    for (size_t i = 0; i < table->ask.n_shore && i < CURVES; i++) {
        struct sr_mount_other other;
        if (sr_mount_scale(&other, &table->own, table->ask.shore_a[i], table->own.temperature_c, NULL) ==
            SR_OK)
            m->curve[m->n_curves++] = (struct sr_isolator){other.fn_hz.value, table->own.damping.value};
    }
}

static void find_ranges(struct mounts *m, const struct sr_plot_options *options)
{
    const struct sr_plot_flight *flight = m->page.flight;
    double nyquist_hz = m->bin_hz * (double)(m->bins - 1), most = 0;
    m->high_hz = options->max_hz > 0 && options->max_hz < nyquist_hz ? options->max_hz : nyquist_hz;
    m->low_hz = fmax(fmin(sr_band_low_hz(&flight->view->camera, SR_BAND_BEND) / 2, 10), m->bin_hz);
    m->low_hz = m->bin_hz * floor(fmin(m->low_hz, m->high_hz / 4) / m->bin_hz + 1e-9);
    m->low_hz = fmax(m->low_hz, m->bin_hz);
    for (size_t k = (size_t)(m->low_hz / m->bin_hz); k < m->bins; k++)
        most = fmax(most, m->rate[k]);
    m->high_dps = (most > 0 ? most : 1) * 3;
    m->low_dps = m->high_dps * 1e-4;
    m->high_gain = 14;
    for (size_t i = 0; i < m->n_curves; i++)
        m->high_gain = fmax(m->high_gain, 1.6 * sr_isolator_peak_gain(&m->curve[i]));
}

static void add_data(struct mounts *m)
{
    struct sr_script *script = m->page.script;
    sr_script_add(script, "# Hz, rate in deg/s RMS\n$spectrum << EOD\n");
    for (size_t k = (size_t)ceil(m->low_hz / m->bin_hz); k < m->bins; k++) {
        sr_script_number(script, m->bin_hz * (double)k);
        sr_script_add(script, " ");
        sr_script_number(script, fmax(m->rate[k], 1e-9));
        sr_script_add(script, "\n");
    }
    sr_script_add(script, "EOD\n# Hz, then |H| of each hardness\n$mounts << EOD\n");
    for (int i = 0; i <= POINTS; i++) {
        double hz = m->low_hz * pow(m->high_hz / m->low_hz, (double)i / POINTS);
        sr_script_number(script, hz);
        for (size_t c = 0; c < m->n_curves; c++) {
            sr_script_add(script, " ");
            sr_script_number(script, sqrt(sr_isolator_power(&m->curve[c], hz)));
        }
        sr_script_add(script, "\n");
    }
    sr_script_add(script, "EOD\n");
}

static void draw_axes(struct mounts *m)
{
    struct sr_page *page = &m->page;
    struct sr_type unit = {page->tics, false, page->palette->muted, SR_RIGHT};
    page->plot.right -= 70 * page->unit; /* for the second scale */
    sr_script_add(page->script,
                  "set logscale xyy2\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n"
                  "set y2range [%.9g:%.9g] noextend\nset ytics nomirror\n",
                  m->low_hz, m->high_hz, m->low_dps, m->high_dps, LEAST, m->high_gain);
    sr_page_log_tics(page, 'x', m->low_hz, m->high_hz * 0.86, 9);
    sr_page_log_tics(page, 'y', m->low_dps, m->high_dps, 6);
    sr_script_add(page->script, "set y2tics ('x0.01' 0.01, 'x0.1' 0.1, 'x1' 1, 'x10' 10, 'x100' 100)\n");
    sr_page_text(page, page->plot.right, page->plot.bottom - 0.95 * page->tics, &unit, "Hz");
}

static double line_width(const struct mounts *m, size_t curve)
{
    return curve == m->table->now_best ? 4.5 : 2.5;
}

static void draw_key(struct mounts *m)
{
    struct sr_page *page = &m->page;
    const struct sr_mount_table *table = m->table;
    double x =
        sr_page_key(page, 28 * page->unit, SR_SAMPLE_FILL, page->palette->curve_fill, "shake, deg/s RMS");
    for (size_t c = 0; c < m->n_curves; c++) {
        char text[64];
        snprintf(text, sizeof text, "%g A%s", table->ask.shore_a[c], c == table->now_best ? ", best" : "");
        if (x + sr_page_key_width(page, text) > page->width)
            break;
        x = sr_page_key_dashed(page, x, dashes[c], line_width(m, c), colors[c], text);
    }
    struct sr_type type = {page->tics, false, page->palette->muted, SR_RIGHT};
    if (x + sr_words_width("let through", page->tics, false) < page->width - 28 * page->unit)
        sr_page_text(page, page->width - 28 * page->unit, page->key_y, &type, "let through");
}

/* "60 A, 81 Hz" over the top of each curve. */
static void draw_tops(struct mounts *m)
{
    struct sr_page *page = &m->page;
    const struct sr_box *plot = &page->plot;
    struct sr_type type = {page->small, true, page->palette->ink, SR_MIDDLE};
    for (size_t c = 0; c < m->n_curves; c++) {
        char text[32];
        double hz = sr_isolator_peak_hz(&m->curve[c]), gain = sr_isolator_peak_gain(&m->curve[c]);
        if (hz < m->low_hz || hz > m->high_hz)
            continue;
        double x =
            plot->left + (plot->right - plot->left) * log(hz / m->low_hz) / log(m->high_hz / m->low_hz);
        double y = plot->bottom + (plot->top - plot->bottom) * log(gain / LEAST) / log(m->high_gain / LEAST);
        snprintf(text, sizeof text, "%.0f", m->curve[c].fn_hz);
        type.color = colors[c];
        sr_page_text(page, x, y + 0.8 * page->small, &type, text);
    }
}

static void draw(struct mounts *m)
{
    struct sr_page *page = &m->page;
    const struct sr_palette *p = page->palette;

    draw_axes(m);
    draw_key(m);
    draw_tops(m);
    sr_page_margins(page, &page->plot);
    add_data(m);
    sr_script_add(page->script,
                  "plot $spectrum using 1:(%.9g):2 with filledcurves fillcolor rgb '%s' notitle, \\\n"
                  "  $spectrum using 1:2 with lines linecolor rgb '%s' linewidth %.2f notitle, \\\n"
                  "  1 axes x1y2 with lines linecolor rgb '%s' linewidth %.2f notitle",
                  m->low_dps, p->curve_fill, p->curve, 1.5 * page->unit, p->muted, 1.2 * page->unit);
    for (size_t c = 0; c < m->n_curves; c++)
        sr_script_add(
            page->script,
            ", \\\n  $mounts using 1:%zu axes x1y2 with lines linecolor rgb '%s' linewidth %.2f dashtype %s "
            "notitle",
            c + 2, colors[c], line_width(m, c) * page->unit, dashes[c]);
    sr_script_add(page->script, "\n");
}

/* What the table says: the wobble behind the pieces flown. */
static void open_page(struct sr_page *page, struct sr_script *script, const struct sr_plot_flight *flight,
                      const struct sr_mount_table *table, const struct sr_plot_options *options)
{
    const struct sr_interval *px = &table->own_px;
    struct sr_verdict_words words = {.color = SR_MARGINAL};
    char chip[48], numbers[160], value[32], low[32], high[32], threshold[32];

    if (isfinite(table->own.modulus_mpa))
        snprintf(chip, sizeof chip, "behind %.3g MPa", table->own.modulus_mpa);
    else
        snprintf(chip, sizeof chip, "behind %.3g A", table->own.shore_a);
    snprintf(numbers, sizeof numbers, "%s px (%s to %s), threshold %s px",
             sr_format_value(px->value, value, sizeof value), sr_format_value(px->low, low, sizeof low),
             sr_format_value(px->high, high, sizeof high),
             sr_format_value(table->threshold_px, threshold, sizeof threshold));
    if (px->low > table->threshold_px)
        words.color = SR_WOBBLY;
    else if (px->high < table->threshold_px)
        words.color = SR_STEADY;
    words.chip = chip;
    words.numbers = numbers;
    sr_page_open_as(page, script, flight, options, &words);
}

static enum sr_status make_script(struct sr_script *script, const struct sr_plot_flight *flight,
                                  const struct sr_mount_table *table, const struct sr_plot_options *options,
                                  struct sr_error *err)
{
    struct mounts m = {.table = table, .bins = flight->slices->bins, .bin_hz = flight->slices->bin_hz};
    double *scratch = calloc(m.bins, 2 * sizeof *scratch);
    if (scratch == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a spectrum of %zu bins", m.bins);
    sr_script_add(script, "# Drawn by stillrow " SR_VERSION ": mounts over a flight's spectrum.\n");
    open_page(&m.page, script, flight, table, options);
    m.rate = scratch;
    sr_plot_rates(flight->slices, m.rate, scratch + m.bins);
    find_curves(&m);
    find_ranges(&m, options);
    draw(&m);
    free(scratch);
    return sr_script_check(script, err);
}

enum sr_status sr_plot_mounts(const struct sr_plot_flight *flight, const struct sr_mount_table *table,
                              const struct sr_plot_options *options, struct sr_error *err)
{
    struct sr_script script = {0};
    enum sr_status status = SR_OK;
    if (options->format == SR_PLOT_TEXT)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "mounts are drawn as png, svg or pdf, not as text");
    status = sr_plot_check(flight, options, err);
    if (status == SR_OK)
        status = make_script(&script, flight, table, options, err);
    if (status == SR_OK)
        status = sr_plot_run(&script, options, err);
    sr_script_release(&script);
    return status;
}
