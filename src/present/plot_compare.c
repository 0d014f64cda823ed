/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Two groups of flights in one picture: both spectra with what chance leaves open,
 * the allowance over them, and the ratio below.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "present/plot_kinds.h"
#include "present/plot_page.h"
#include "present/plot_words.h"
#include "stillrow/compare_report.h"

/* Okabe and Ito 2008: blue and vermilion, on which the eyes of nearly all agree. Alpha first. */
static const char *const colors[2] = {"#0072B2", "#D55E00"};
static const char *const dark_colors[2] = {"#56B4E9", "#FF7F2A"};
static const char *const shades[2] = {"#A00072B2", "#A0D55E00"};
static const char *const dark_shades[2] = {"#A056B4E9", "#A0FF7F2A"};

struct picture {
    struct sr_page page;
    const struct sr_compare_report *report;
    const struct sr_compare_spectra *spectra;
    const char *const *color, *const *shade;
    struct sr_box upper, lower;
    double low_hz, high_hz, low_dps, high_dps, most_db;
};

/* [deg/s RMS] per resolution cell. */
static double cell(const struct picture *p, double psd)
{
    return sqrt(psd * p->spectra->enbw_bins * p->spectra->bin_hz);
}

static double allowance(const struct picture *p, double hz)
{
    const struct sr_compare_flight *first = &p->report->a->flights[0];
    return hz < sr_band_low_hz(&first->view->camera, SR_BAND_BEND)
               ? NAN
               : fmin(sr_camera_least_allowance_dps(&first->view->camera, hz, first->score->threshold_px),
                      1e9);
}

/* Ratio of the levels [dB] at bin k: value, and ends that both intervals allow. */
static void ratio_at(const struct picture *p, size_t k, double db[3])
{
    const struct sr_compare_spectra *s = p->spectra;
    db[0] = 10 * log10(s->psd[1][k] / s->psd[0][k]);
    db[1] = 10 * log10(s->low[1][k] / s->high[0][k]);
    db[2] = 10 * log10(s->high[1][k] / s->low[0][k]);
}

static void find_ranges(struct picture *p, const struct sr_plot_options *options)
{
    const struct sr_compare_spectra *s = p->spectra;
    const struct sr_camera *camera = &p->report->a->flights[0].view->camera;
    double top_hz = s->bin_hz * (double)(s->bins - 1), most = 0, least = INFINITY;

    p->high_hz = options->max_hz > 0 && options->max_hz < top_hz ? options->max_hz : top_hz;
    p->low_hz = fmax(fmin(sr_band_low_hz(camera, SR_BAND_BEND), p->high_hz / 4), s->bin_hz);
    p->most_db = 6;
    for (size_t k = (size_t)ceil(p->low_hz / s->bin_hz); k < s->bins; k++) {
        double hz = s->bin_hz * (double)k, db[3];
        for (int g = 0; g < 2; g++) {
            most = fmax(most, cell(p, s->high[g][k]));
            least = fmin(least, cell(p, s->low[g][k]));
        }
        most = fmax(most, fmin(allowance(p, hz), 3 * most));
        ratio_at(p, k, db);
        p->most_db = fmax(p->most_db, isfinite(db[0]) ? fabs(db[0]) : 0);
    }
    p->high_dps = (most > 0 ? most : 1) * 1.6;
    p->low_dps = fmax(isfinite(least) ? least * 0.8 : 0, p->high_dps * 1e-5);
    p->most_db = fmin(3 * ceil(p->most_db / 3), 30);
}

static void add_data(const struct picture *p)
{
    const struct sr_compare_spectra *s = p->spectra;
    struct sr_script *script = p->page.script;

    sr_script_add(script,
                  "# Hz; A, low, high; B, low, high; allowance, all in deg/s RMS; B over A in dB, low, high\n"
                  "$groups << EOD\n");
    for (size_t k = (size_t)ceil(p->low_hz / s->bin_hz); k < s->bins; k++) {
        double db[3];
        ratio_at(p, k, db);
        sr_script_number(script, s->bin_hz * (double)k);
        for (int g = 0; g < 2; g++) {
            const double psd[3] = {s->psd[g][k], s->low[g][k], s->high[g][k]};
            for (int i = 0; i < 3; i++) {
                sr_script_add(script, " ");
                sr_script_number(script, fmax(cell(p, psd[i]), 1e-9));
            }
        }
        sr_script_add(script, " ");
        sr_script_number(script, allowance(p, s->bin_hz * (double)k));
        for (int i = 0; i < 3; i++) {
            sr_script_add(script, " ");
            sr_script_number(script, db[i]);
        }
        sr_script_add(script, "\n");
    }
    sr_script_add(script, "EOD\n");
}

static void draw_key(struct picture *p)
{
    struct sr_page *page = &p->page;
    const struct sr_compare_group *groups[2] = {p->report->a, p->report->b};
    double x = 28 * page->unit;

    for (int g = 0; g < 2; g++) {
        char text[120], fitted[120];
        const char *letter = g == 0 ? "A" : "B";
        if (strcmp(groups[g]->name, letter) == 0)
            snprintf(text, sizeof text, "%s, %zu flight%s", letter, groups[g]->count,
                     groups[g]->count == 1 ? "" : "s");
        else
            snprintf(text, sizeof text, "%s: %s", letter, groups[g]->name);
        sr_words_fit(text, page->width / 3.2, page->tics, false, fitted, sizeof fitted);
        x = sr_page_key(page, x, SR_SAMPLE_LINE, p->color[g], fitted);
    }
    if (x + sr_page_key_width(page, "allowance") < page->width)
        sr_page_key(page, x, SR_SAMPLE_DASH, page->palette->limit, "allowance");
}

/* Grid lines of the upper panel: the numbers stand under the lower one. */
static void draw_blank_tics(struct picture *p)
{
    static const double steps[3] = {1, 2, 5};
    const char *comma = "";

    sr_script_add(p->page.script, "set xtics (");
    for (int decade = (int)floor(log10(p->low_hz)); decade <= (int)floor(log10(p->high_hz)); decade++) {
        for (int i = 0; i < 3; i++) {
            double hz = steps[i] * pow(10, decade);
            if (hz < p->low_hz || hz > 0.86 * p->high_hz)
                continue;
            sr_script_add(p->page.script, "%s'' %.9g", comma, hz);
            comma = ", ";
        }
    }
    sr_script_add(p->page.script, ")\n");
}

static void draw_spectra(struct picture *p)
{
    struct sr_page *page = &p->page;
    struct sr_type type = {0.82 * page->tics, false, page->palette->ink, SR_LEFT};

    sr_page_margins(page, &p->upper);
    sr_page_text(page, p->upper.left + 10 * page->unit, p->upper.top - 0.6 * page->tics, &type,
                 "shake, deg/s RMS");
    sr_script_add(page->script,
                  "set logscale xy\nset xrange [%.9g:%.9g] noextend\nset yrange [%.9g:%.9g] noextend\n",
                  p->low_hz, p->high_hz, p->low_dps, p->high_dps);
    draw_blank_tics(p);
    sr_page_log_tics(page, 'y', p->low_dps, p->high_dps * 0.7, 5);
    sr_script_add(page->script, "plot ");
    for (int g = 0; g < 2; g++)
        sr_script_add(page->script,
                      "$groups using 1:%d:%d with filledcurves fillcolor rgb '%s' notitle, \\\n"
                      "  $groups using 1:%d with lines linecolor rgb '%s' linewidth %.2f notitle, \\\n  ",
                      3 * g + 3, 3 * g + 4, p->shade[g], 3 * g + 2, p->color[g], 2.8 * page->unit);
    sr_script_add(page->script,
                  "$groups using 1:8 with lines linecolor rgb '%s' linewidth %.2f dashtype " SR_DASH
                  " notitle\n",
                  page->palette->limit, 2.5 * page->unit);
}

static void draw_ratio(struct picture *p)
{
    struct sr_page *page = &p->page;
    struct sr_type type = {0.82 * page->tics, false, page->palette->ink, SR_LEFT};
    struct sr_type unit = {page->tics, false, page->palette->muted, SR_RIGHT};

    sr_script_add(page->script, "unset label\nunset arrow\nunset object\nunset logscale y\n");
    sr_page_margins(page, &p->lower);
    sr_page_text(page, p->lower.left + 10 * page->unit, p->lower.top - 0.5 * page->tics, &type,
                 "B over A, dB: above 0, A is quieter");
    sr_page_text(page, p->lower.right, p->lower.bottom - 0.95 * page->tics, &unit, "Hz");
    sr_script_add(page->script, "set yrange [%.9g:%.9g] noextend\n", -p->most_db, 1.35 * p->most_db);
    sr_page_log_tics(page, 'x', p->low_hz, p->high_hz * 0.86, 9);
    sr_page_tics(page, 'y', -p->most_db, p->most_db, p->most_db, 1);
    sr_script_add(page->script,
                  "plot $groups using 1:10:11 with filledcurves fillcolor rgb '%s' notitle, \\\n"
                  "  0 with lines linecolor rgb '%s' linewidth %.2f notitle, \\\n"
                  "  $groups using 1:9 with lines linecolor rgb '%s' linewidth %.2f notitle\n",
                  page->palette->curve_fill, page->palette->ink, 1.4 * page->unit, page->palette->ink,
                  2.2 * page->unit);
}

static const char *footer_groups(const struct sr_compare_report *report, char *text, size_t size)
{
    const struct sr_comparison *c = report->comparison;
    char match[80] = "compared as flown";

    if (c->match == SR_MATCH_THROTTLE)
        snprintf(match, sizeof match, "matched at %.0f to %.0f %% throttle",
                 100 * (c->match_centre[0] - c->match_width / 2),
                 100 * (c->match_centre[c->match_bins - 1] + c->match_width / 2));
    else if (c->match == SR_MATCH_SPEED)
        snprintf(match, sizeof match, "matched at %.0f to %.0f rpm", c->match_centre[0] - c->match_width / 2,
                 c->match_centre[c->match_bins - 1] + c->match_width / 2);
    int n = snprintf(text, size, "A: %zu flight%s, %zu s \xC2\xB7 B: %zu flight%s, %zu s \xC2\xB7 %s, %s",
                     report->a->count, report->a->count == 1 ? "" : "s", c->slices_a, report->b->count,
                     report->b->count == 1 ? "" : "s", c->slices_b, match,
                     c->from == SR_FROM_FLIGHTS ? "95 % from between flights" : "these flights only");
    if (c->winner == SR_NO_DIFFERENCE && n > 0 && (size_t)n < size)
        snprintf(text + n, size - (size_t)n, " \xC2\xB7 %.1f dB would have shown", c->smallest_db);
    return text;
}

static void numbers_of(const struct sr_comparison *c, char *text, size_t size)
{
    const struct sr_ratio *r = &c->whole;
    if (c->winner == SR_NO_DIFFERENCE)
        snprintf(text, size, "%+.1f dB (%+.1f to %+.1f)", r->db, r->low_db, r->high_db);
    else
        snprintf(text, size, "by %.1f dB (%.1f to %.1f)", fabs(r->db),
                 fmin(fabs(r->low_db), fabs(r->high_db)), fmax(fabs(r->low_db), fabs(r->high_db)));
}

static enum sr_status make_script(struct sr_script *script, const struct sr_compare_report *report,
                                  const struct sr_compare_spectra *spectra,
                                  const struct sr_plot_options *options, struct sr_error *err)
{
    struct picture p = {.report = report, .spectra = spectra};
    char numbers[120], foot[300], camera[200], title[2 * SR_TEXT_MAX + 200];
    enum sr_winner winner = report->comparison->winner;

    p.color = options->dark ? dark_colors : colors;
    p.shade = options->dark ? dark_shades : shades;
    numbers_of(report->comparison, numbers, sizeof numbers);
    sr_page_camera_words(report->rig, camera, sizeof camera);
    snprintf(title, sizeof title, "%s against %s", report->a->name, report->b->name);
    const struct sr_heading heading = {
        .title = options->title != NULL && options->title[0] != '\0' ? options->title : title,
        .chip = winner == SR_NO_DIFFERENCE ? "no difference shown"
                : winner == SR_A_QUIETER   ? "A quieter"
                                           : "B quieter",
        .chip_color = winner == SR_NO_DIFFERENCE ? "#5C666E" : p.color[winner == SR_B_QUIETER],
        .chip_ink = options->dark && winner != SR_NO_DIFFERENCE ? "#101418" : "#FFFFFF",
        .numbers = numbers,
        .foot = footer_groups(report, foot, sizeof foot),
        .foot_low = camera};

    sr_script_add(script,
                  "# Drawn by stillrow " SR_VERSION ": two groups of flights. All data are in this file.\n");
    sr_page_start(&p.page, script, options, &heading);
    p.upper = p.lower = p.page.plot;
    p.lower.top = p.page.plot.bottom + 0.3 * (p.page.plot.top - p.page.plot.bottom);
    p.upper.bottom = p.lower.top + 0.5 * p.page.tics;
    find_ranges(&p, options);
    draw_key(&p);
    add_data(&p);
    sr_script_add(script, "set multiplot\n");
    draw_spectra(&p);
    draw_ratio(&p);
    sr_script_add(script, "unset multiplot\n");
    return sr_script_check(script, err);
}

enum sr_status sr_plot_compare(const struct sr_compare_report *report,
                               const struct sr_compare_spectra *spectra,
                               const struct sr_plot_options *options, struct sr_error *err)
{
    struct sr_script script = {0};

    if (options->format == SR_PLOT_TEXT || options->output == NULL || spectra->bins < 4 ||
        !(options->width_px >= SR_PLOT_LEAST_PX && options->width_px <= SR_PLOT_MOST_PX) ||
        !(options->height_px >= SR_PLOT_LEAST_PX && options->height_px <= SR_PLOT_MOST_PX))
        return sr_fail(
            err, SR_ERR_ARGUMENT, NULL, 0,
            "a comparison is drawn as png, svg or pdf, into a file, 240 to 8000 pixels wide and high");
    enum sr_status status = make_script(&script, report, spectra, options, err);
    if (status == SR_OK)
        status = sr_plot_run(&script, options, err);
    sr_script_release(&script);
    return status;
}
