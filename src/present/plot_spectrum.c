/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The spectrum: what shakes, how strongly, and how much of it the camera bears.
 * A line whose dot is above the allowance makes the footage wobble by itself; one that
 * moves is smeared over the curve, which stays below its dot.
 */
#include "present/plot_kinds.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "present/plot_page.h"
#include "present/plot_words.h"

struct spectrum {
    struct sr_page page;
    size_t bins;
    double bin_hz;
    double *rate;      /* [bins] [deg/s RMS] per resolution cell, mean over the flight */
    double *worst;     /* [bins] the same of the strongest second */
    double *allowance; /* [bins] [deg/s RMS] */
    double *roof;      /* [columns] height of the curve [px] at each pixel of the plot */
    double *line;      /* [columns] height of the allowance [px] */
    size_t columns;
    double stripes_top;       /* [px] bands reach higher than the axes, and have their names there */
    double low_hz, high_hz;   /* x */
    double low_dps, high_dps; /* y */
};

static double x_at(const struct spectrum *s, double hz)
{
    const struct sr_box *plot = &s->page.plot;
    return plot->left + (plot->right - plot->left) * log(hz / s->low_hz) / log(s->high_hz / s->low_hz);
}

static double y_at(const struct spectrum *s, double dps)
{
    const struct sr_box *plot = &s->page.plot;
    return plot->bottom +
           (plot->top - plot->bottom) * log(fmax(dps, 1e-12) / s->low_dps) / log(s->high_dps / s->low_dps);
}

static size_t bin_at(const struct spectrum *s, double hz)
{
    double k = round(hz / s->bin_hz);
    return k < 0 ? 0 : k >= (double)s->bins ? s->bins - 1 : (size_t)k;
}

/* Below a third of the first wobble band the picture only sways; nothing there is worth the room. */
static void set_frequency_range(struct spectrum *s, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options)
{
    double bend_hz = sr_band_low_hz(&flight->view->camera, SR_BAND_BEND);
    double nyquist_hz = s->bin_hz * (double)(s->bins - 1);

    s->high_hz = options->max_hz > 0 && options->max_hz < nyquist_hz ? options->max_hz : nyquist_hz;
    s->low_hz = fmax(fmin(bend_hz / 2.5, 25), s->bin_hz);
    if (s->low_hz > s->high_hz / 4)
        s->low_hz = s->high_hz / 4;
}

static int compare_doubles(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* From just under the quiet part of the curve to well above its top: the labels stand in what is left. */
static void set_rate_range(struct spectrum *s, double *scratch)
{
    size_t first = bin_at(s, s->low_hz), last = bin_at(s, s->high_hz), n = last + 1 - first;
    double most = 0, allowed = INFINITY;

    for (size_t k = first; k <= last; k++) {
        scratch[k - first] = s->rate[k];
        most = fmax(most, s->worst[k]);
        allowed = fmin(allowed, s->allowance[k]); /* passes over NAN */
    }
    qsort(scratch, n, sizeof *scratch, compare_doubles);
    if (!isfinite(allowed) || allowed > most * 1e6)
        allowed = most;
    double top = fmax(most, allowed);
    if (!(top > 0))
        top = most = allowed = 1;
    s->low_dps = fmin(fmax(scratch[n / 10] * 0.6, top * 1e-4), fmin(most, allowed) / 10);
    if (!(s->low_dps > 0))
        s->low_dps = top * 1e-4;
    double part = s->page.flight->score->n_peaks > 6 ? 0.5 : s->page.flight->score->n_peaks > 2 ? 0.6 : 0.72;
    s->high_dps =
        s->low_dps * fmax(pow(fmax(most / s->low_dps, 10), 1 / part), pow(allowed / s->low_dps, 1 / 0.85));
}

/* Curves as heights at each pixel, for the placing of labels. */
static void trace(struct spectrum *s)
{
    const struct sr_box *plot = &s->page.plot;

    for (size_t i = 0; i < s->columns; i++) {
        double hz = s->low_hz * pow(s->high_hz / s->low_hz, (double)i / (plot->right - plot->left));
        double k = fmin(hz / s->bin_hz, (double)(s->bins - 1));
        size_t below = (size_t)k, above = below + 1 < s->bins ? below + 1 : below;
        s->roof[i] = y_at(s, fmax(s->worst[below], s->worst[above]));
        s->line[i] = isnan(s->allowance[below]) ? NAN : y_at(s, s->allowance[below]);
    }
}

static void band_texts(const struct sr_camera *camera, enum sr_band band, char range[2][48])
{
    double low_hz = sr_band_low_hz(camera, band), high_hz = sr_band_high_hz(camera, band);

    if (isfinite(high_hz)) {
        snprintf(range[0], sizeof range[0], "%.0f\xE2\x80\x93%.0f Hz", low_hz, high_hz);
        snprintf(range[1], sizeof range[1], "%g\xE2\x80\x93%g waves", sr_band_low_waves(band),
                 sr_band_high_waves(band));
    } else {
        snprintf(range[0], sizeof range[0], "over %.0f Hz", low_hz);
        snprintf(range[1], sizeof range[1], "over %g waves", sr_band_low_waves(band));
    }
}

/* Name, Hz and waves per picture of a band at the top of its stripe, as many of them as it is wide enough
 * for. */
static void name_band(struct spectrum *s, enum sr_band band, double left, double right)
{
    struct sr_page *page = &s->page;
    const struct sr_camera *camera = &page->flight->view->camera;
    struct sr_type name = {page->tics, true, page->palette->muted, SR_MIDDLE};
    struct sr_type range = {0.82 * page->tics, false, page->palette->muted, SR_MIDDLE};
    char texts[2][48];
    double middle = (left + right) / 2, room = right - left - 8 * page->unit;
    double y = s->stripes_top - 0.75 * page->tics,
           widest = sr_words_width(sr_band_name(band), name.size, true);

    if (widest > room)
        return;
    sr_page_text(page, middle, y, &name, sr_band_name(band));
    band_texts(camera, band, texts);
    for (int i = 0; i < 2; i++) {
        double width = sr_words_width(texts[i], range.size, false);
        if (width > room)
            break;
        y -= 1.02 * page->tics;
        sr_page_text(page, middle, y, &range, texts[i]);
    }
}

static void draw_bands(struct spectrum *s)
{
    struct sr_page *page = &s->page;
    const struct sr_camera *camera = &page->flight->view->camera;

    for (int b = SR_BAND_LEAN; b < SR_BAND_COUNT; b++) {
        double low = fmax(sr_band_low_hz(camera, (enum sr_band)b), s->low_hz);
        double high = fmin(sr_band_high_hz(camera, (enum sr_band)b), s->high_hz);
        if (low >= high)
            continue;
        struct sr_box stripe = {x_at(s, low), page->plot.bottom, x_at(s, high), s->stripes_top};
        if (b != SR_BAND_LEAN)
            sr_page_box(page, &stripe, page->palette->shade[b % 2]);
        name_band(s, (enum sr_band)b, stripe.left, stripe.right);
    }
}

/*
 * A line's amplitude. The curve shows it where the line stays put, perhaps a bin beside its interpolated
 * frequency; one that moves is smeared over the curve, and stands above it.
 */
static double top_of(const struct spectrum *s, const struct sr_peak *peak)
{
    size_t k = bin_at(s, peak->hz);
    double top = fmax(s->rate[k], isfinite(peak->rate_dps) ? peak->rate_dps : 0);

    if (k > 0)
        top = fmax(top, s->rate[k - 1]);
    if (k + 1 < s->bins)
        top = fmax(top, s->rate[k + 1]);
    return fmin(top, s->high_dps);
}

static void draw_lines(struct spectrum *s)
{
    struct sr_page *page = &s->page;
    const struct sr_plot_flight *flight = page->flight;
    struct sr_tag tags[SR_PEAKS_MAX] = {{0}};
    double hz[SR_PEAKS_MAX];
    size_t n = 0;

    for (size_t i = 0; i < flight->score->n_peaks; i++) {
        const struct sr_peak *peak = &flight->score->peaks[i];
        if (peak->hz < s->low_hz || peak->hz > s->high_hz)
            continue;
        sr_words_line(peak, flight->causes, flight->rig, tags[n].text, sizeof tags[n].text);
        hz[n] = peak->hz;
        tags[n].x = x_at(s, peak->hz);
        tags[n].y = y_at(s, top_of(s, peak));
        tags[n].width = sr_words_width(tags[n].text, page->tics, false);
        tags[n].height = 1.15 * page->tics;
        tags[n].weight = peak->share;
        n++;
    }
    for (size_t i = 0; i < n; i++) { /* a dot that floats above its smeared line is tied to it */
        double foot = y_at(s, s->rate[bin_at(s, hz[i])]);
        if (tags[i].y - foot > 12 * page->unit)
            sr_page_stroke(page, tags[i].x, foot, tags[i].x, tags[i].y, page->palette->muted, 1.5, false);
    }
    struct sr_ground ground = {page->plot, page->taken, page->n_taken, s->roof,
                               s->line,    s->columns,  8 * page->unit};
    size_t dropped = sr_tags_place(tags, n, &ground);
    sr_page_tags(page, tags, n, dropped);
}

static void add_data(struct spectrum *s)
{
    struct sr_script *script = s->page.script;
    size_t last = bin_at(s, s->high_hz);

    sr_script_add(script,
                  "# Hz; mean over the flight, allowance, strongest second in deg/s RMS\n$spectrum << EOD\n");
    for (size_t k = bin_at(s, s->low_hz); k <= last; k++) { /* low_hz is at least a bin: never 0 Hz */
        sr_script_number(script, s->bin_hz * (double)k);
        sr_script_add(script, " ");
        sr_script_number(script, fmax(s->rate[k], 1e-9));
        sr_script_add(script, " ");
        sr_script_number(script, s->allowance[k]);
        sr_script_add(script, " ");
        sr_script_number(script, fmax(s->worst[k], 1e-9));
        sr_script_add(script, "\n");
    }
    sr_script_add(script, "EOD\n");
}

static void draw_axes(struct spectrum *s)
{
    struct sr_page *page = &s->page;
    struct sr_type unit = {page->tics, false, page->palette->muted, SR_RIGHT};

    sr_script_add(page->script,
                  "set logscale xy\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n",
                  s->low_hz, s->high_hz, s->low_dps, s->high_dps);
    sr_page_log_tics(page, 'x', s->low_hz, s->high_hz * 0.86, 9);
    sr_page_log_tics(page, 'y', s->low_dps, s->high_dps, 6);
    sr_page_text(page, page->plot.right, page->plot.bottom - 0.95 * page->tics, &unit, "Hz");
}

static void draw_key(struct spectrum *s)
{
    struct sr_page *page = &s->page;
    double x = 28 * page->unit;

    x = sr_page_key(page, x, SR_SAMPLE_LINE, page->palette->curve, "mean, deg/s RMS");
    x = sr_page_key(page, x, SR_SAMPLE_THIN, page->palette->curve, "worst second");
    x = sr_page_key(page, x, SR_SAMPLE_DASH, page->palette->limit, "allowance of one line");
    if (s->page.flight->score->n_peaks > 0)
        sr_page_key(page, x, SR_SAMPLE_DOT, page->palette->ink, "one line, whole");
}

static void draw(struct spectrum *s)
{
    struct sr_page *page = &s->page;
    const struct sr_palette *p = page->palette;

    draw_bands(s);
    draw_axes(s);
    draw_key(s);
    draw_lines(s);
    sr_page_margins(page, &page->plot);
    add_data(s);
    sr_script_add(
        page->script,
        "plot $spectrum using 1:(%.9g):2 with filledcurves fillcolor rgb '%s' notitle, \\\n"
        "  $spectrum using ($3 > 0 ? $1 : NaN):4:3 with filledcurves above fillcolor rgb '%s' notitle, \\\n"
        "  $spectrum using 1:3 with lines linecolor rgb '%s' linewidth %.2f dashtype " SR_DASH
        " notitle, \\\n",
        s->low_dps, p->curve_fill, p->alarm_fill, p->limit, 2.5 * page->unit);
    sr_script_add(page->script,
                  "  $spectrum using 1:4 with lines linecolor rgb '%s' linewidth %.2f notitle, \\\n"
                  "  $spectrum using 1:2 with lines linecolor rgb '%s' linewidth %.2f notitle\n",
                  p->curve, 1.0 * page->unit, p->curve, 3 * page->unit);
}

static enum sr_status gather(struct spectrum *s, double *scratch, struct sr_error *err)
{
    const struct sr_plot_flight *flight = s->page.flight;

    sr_plot_rates(flight->slices, s->rate, scratch);
    sr_plot_worst_rates(flight->slices, s->worst);
    for (size_t k = 0; k < s->bins; k++)
        s->allowance[k] = sr_plot_allowance(flight, k);
    set_frequency_range(s, flight, s->page.options);
    if (bin_at(s, s->high_hz) <= bin_at(s, s->low_hz) + 1)
        return sr_fail(err, SR_ERR_DATA, NULL, 0, "no frequencies between %.3g and %.3g Hz to draw",
                       s->low_hz, s->high_hz);
    set_rate_range(s, scratch);
    trace(s);
    return SR_OK;
}

enum sr_status sr_plot_spectrum(struct sr_script *script, const struct sr_plot_flight *flight,
                                const struct sr_plot_options *options, struct sr_error *err)
{
    struct spectrum s = {.bins = flight->slices->bins, .bin_hz = flight->slices->bin_hz};
    enum sr_status status;

    sr_page_open(&s.page, script, flight, options);
    s.stripes_top = s.page.plot.top;
    s.page.plot.top -= 3.3 * s.page.tics;
    s.columns = (size_t)(s.page.plot.right - s.page.plot.left);
    double *scratch = calloc(s.bins, sizeof *scratch);
    s.rate = calloc(s.bins, sizeof *s.rate);
    s.worst = calloc(s.bins, sizeof *s.worst);
    s.allowance = calloc(s.bins, sizeof *s.allowance);
    s.roof = calloc(s.columns, sizeof *s.roof);
    s.line = calloc(s.columns, sizeof *s.line);
    if (scratch == NULL || s.rate == NULL || s.worst == NULL || s.allowance == NULL || s.roof == NULL ||
        s.line == NULL)
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a spectrum of %zu bins", s.bins);
    else
        status = gather(&s, scratch, err);
    if (status == SR_OK)
        draw(&s);
    free(s.line);
    free(s.roof);
    free(s.allowance);
    free(s.worst);
    free(s.rate);
    free(scratch);
    return status;
}
