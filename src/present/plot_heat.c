/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "present/plot_heat.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "present/plot_words.h"

enum sr_status sr_heat_new(struct sr_heat *heat, size_t columns, size_t rows, struct sr_error *err)
{
    bool fits = rows > 0 && columns > 0 && columns <= SIZE_MAX / sizeof *heat->px / rows;

    heat->px = fits ? malloc(rows * columns * sizeof *heat->px) : NULL;
    heat->columns = columns;
    heat->rows = rows;
    if (heat->px == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a picture of %zu by %zu cells", columns,
                       rows);
    for (size_t i = 0; i < rows * columns; i++)
        heat->px[i] = NAN;
    return SR_OK;
}

void sr_heat_release(struct sr_heat *heat)
{
    free(heat->px);
    heat->px = NULL;
}

void sr_heat_range(struct sr_heat *heat, double threshold_px)
{
    heat->low_px = threshold_px / 100;
    heat->high_px = threshold_px;
    for (size_t i = 0; i < heat->rows * heat->columns; i++)
        heat->high_px = fmax(heat->high_px, heat->px[i]); /* passes over NAN */
}

void sr_heat_add(const struct sr_heat *heat, struct sr_script *script)
{
    sr_script_add(script, "set palette defined (");
    for (int i = 0; i < SR_CIVIDIS_STEPS; i++)
        sr_script_add(script, "%s%d '%s'", i > 0 ? ", " : "", i, sr_cividis[i]);
    sr_script_add(script, ")\nunset colorbox\nset cbrange [%.6g:%.6g]\n", log10(heat->low_px),
                  log10(heat->high_px));
    sr_script_add(script, "# log10 of px RMS per resolution cell\n$heat << EOD\n");
    for (size_t r = 0; r < heat->rows; r++) {
        for (size_t c = 0; c < heat->columns; c++) {
            double px = heat->px[r * heat->columns + c];
            if (isnan(px))
                sr_script_add(script, "NaN%s", c + 1 < heat->columns ? " " : "\n");
            else
                sr_script_add(script, "%.2f%s", log10(fmax(px, heat->low_px * 1e-2)),
                              c + 1 < heat->columns ? " " : "\n");
        }
    }
    sr_script_add(script, "EOD\n");
}

static void mix(double share, char color[8])
{
    double at = fmin(fmax(share, 0), 1) * (SR_CIVIDIS_STEPS - 1);
    int i = (int)fmin(floor(at), SR_CIVIDIS_STEPS - 2);
    unsigned long a = strtoul(sr_cividis[i] + 1, NULL, 16), b = strtoul(sr_cividis[i + 1] + 1, NULL, 16),
                  mixed = 0;

    for (int shift = 0; shift <= 16; shift += 8) {
        double from = (double)(a >> shift & 255), to = (double)(b >> shift & 255);
        mixed |= (unsigned long)lround(from + (to - from) * (at - i)) << shift;
    }
    snprintf(color, 8, "#%06lX", mixed & 0xFFFFFF);
}

void sr_heat_ground(struct sr_page *page)
{
    sr_page_box(page, &page->plot, "#2B3339");
}

void sr_heat_key(const struct sr_heat *heat, struct sr_page *page, double x)
{
    enum { STEPS = 48 };
    struct sr_type type = {page->tics, false, page->palette->ink, SR_LEFT};
    double y = page->key_y, half = 0.38 * page->tics, width = 260 * page->unit;
    double threshold = page->flight->score->threshold_px;
    bool beyond = heat->high_px > threshold * 1.05;
    char low[24], high[24], text[96];

    snprintf(text, sizeof text, "wobble %s", sr_words_px(heat->low_px, low, sizeof low));
    sr_page_text(page, x, y, &type, text);
    x += sr_words_width(text, page->tics, false) + 14 * page->unit;
    for (int i = 0; i < STEPS; i++) {
        char color[8];
        /* Half a pixel over, so that no seam shows between steps. */
        struct sr_box box = {x + width * i / STEPS, y - half,
                             x + width * (i + 1) / STEPS + (i + 1 < STEPS ? 0.5 : 0), y + half};
        mix((i + 0.5) / STEPS, color);
        sr_page_box(page, &box, color);
    }
    if (beyond) {
        double at = x + width * log(threshold / heat->low_px) / log(heat->high_px / heat->low_px);
        sr_page_stroke(page, at, y - half - 5 * page->unit, at, y + half + 5 * page->unit, page->palette->ink,
                       3, false);
    }
    x += width + 14 * page->unit;
    sr_words_px(heat->high_px, high, sizeof high);
    sr_words_px(threshold, low, sizeof low);
    if (beyond)
        snprintf(text, sizeof text, "%s   (mark: threshold %s)", high, low);
    else
        snprintf(text, sizeof text, "%s = threshold", low);
    sr_page_text(page, x, y, &type, text);
}
