/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ticks that are few and round, chosen here and not by gnuplot, so that they fit the type size. */
#include "present/plot_page.h"

#include <math.h>
#include <stdio.h>

#include "present/plot_words.h"

double sr_axis_step(double low, double high, double most)
{
    static const double steps[] = {1, 2, 5, 10};
    double rough = (high - low) / fmax(most, 1);

    if (!(rough > 0))
        return 1;
    double decade = pow(10, floor(log10(rough)));
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++)
        if (steps[i] * decade >= rough * (1 - 1e-9))
            return steps[i] * decade;
    return 10 * decade;
}

static void begin(struct sr_page *page, char axis)
{
    sr_script_add(page->script, "set %ctics (", axis);
}

/* A tick's label goes through printf inside gnuplot: only numbers are ever put there. */
static void tick(struct sr_page *page, bool *first, const char *label, double at)
{
    sr_script_add(page->script, "%s'%s' %.9g", *first ? "" : ", ", label, at);
    *first = false;
}

static void end(struct sr_page *page)
{
    sr_script_add(page->script, ")\n");
}

void sr_page_tics(struct sr_page *page, char axis, double low, double high, double step, double unit)
{
    long first_step = (long)ceil(low / step - 1e-9), last_step = (long)floor(high / step + 1e-9);
    bool first = true;
    char label[32];

    begin(page, axis);
    for (long k = first_step; k <= last_step; k++) {
        snprintf(label, sizeof label, "%.6g", (double)k * step / unit);
        tick(page, &first, label, (double)k * step);
    }
    end(page);
}

static const double in_decade[] = {1, 2, 5};

static size_t count_log(double low, double high, size_t per_decade)
{
    int from = (int)floor(log10(low)), to = (int)ceil(log10(high));
    size_t n = 0;

    for (int e = from; e <= to; e++)
        for (size_t i = 0; i < per_decade; i++) {
            double v = in_decade[i] * pow(10, e);
            n += v >= low * (1 - 1e-9) && v <= high * (1 + 1e-9);
        }
    return n;
}

static void log_tics(struct sr_page *page, char axis, double low, double high, size_t most, bool as_log10)
{
    int from = (int)floor(log10(low)), to = (int)ceil(log10(high)), every = 1;
    size_t per_decade = count_log(low, high, 3) <= most ? 3 : 1;
    bool first = true;
    char label[32];

    while (per_decade == 1 && log10(high / low) / every > (double)most)
        every++;
    begin(page, axis);
    for (int e = from; e <= to; e += every)
        for (size_t i = 0; i < per_decade; i++) {
            double v = in_decade[i] * pow(10, e);
            if (v < low * (1 - 1e-9) || v > high * (1 + 1e-9))
                continue;
            snprintf(label, sizeof label, v < 10000 ? "%.6g" : "%.6gk", v < 10000 ? v : v / 1000);
            tick(page, &first, label, as_log10 ? log10(v) : v);
        }
    end(page);
}

void sr_page_log_tics(struct sr_page *page, char axis, double low, double high, size_t most)
{
    log_tics(page, axis, low, high, most, false);
}

void sr_page_log10_tics(struct sr_page *page, char axis, double low, double high, size_t most)
{
    log_tics(page, axis, low, high, most, true);
}

void sr_page_clock_tics(struct sr_page *page, double low, double high, double shift, bool labelled)
{
    static const double steps[] = {1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600};
    const size_t n = sizeof steps / sizeof steps[0];
    double step = steps[n - 1];
    bool first = true;
    char label[32];

    for (size_t i = n; i-- > 0;)
        if ((high - low) / steps[i] <= 8)
            step = steps[i];
    while ((high - low) / step > 8)
        step *= 2;
    /* The last label would hang over the page's edge. */
    long from = (long)ceil((low + shift) / step - 1e-9),
         to = (long)floor((high - 0.03 * (high - low) + shift) / step);
    begin(page, 'x');
    for (long k = from; k <= to; k++)
        tick(page, &first, labelled ? sr_words_clock((double)k * step, false, label, sizeof label) : "",
             (double)k * step - shift);
    end(page);
}
