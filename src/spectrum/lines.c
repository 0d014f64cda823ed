/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Spectral lines: which maxima of a density are lines, where they are and how strong. */
#include "spectrum/floor.h"
#include "spectrum/quantile.h"
#include "spectrum/window.h"

#include <gsl/gsl_math.h>
#include <math.h>
#include <stdlib.h>

/*
 * Of noise densities, one in a hundred may show a maximum that passes for a line. The
 * floor scatters more than the formula below has it, near the ends above all: 0.003 there
 * is what comes out as 0.01, measured on white noise with 6 degrees of freedom (with 2: 0.02).
 */
static const double family_level = 0.003;

/* Two maxima are two lines if the dip between them is deeper than noise digs at this level, and 3 to 10 dB.
 */
static const double dip_level = 0.01;
static const double dip_least = 4.0;
static const double dip_most = 10.0;

/* A maximum on the skirt of a stronger line has to stand out of it by 6 dB. */
static const double skirt_ratio = 4.0;

/* Beyond its main lobe a line goes on while it is above noise at this level, and above -30 dB of its top. */
static const double edge_level = 0.05;
static const double edge_share = 1e-3;

/* One search: the density and what follows from its window and degrees of freedom. */
struct search {
    const double *psd;
    const double *floor;
    size_t bins;
    double bin_hz;
    enum sr_window window;
    const struct sr_window_shape *shape;
    double mean_square; /* of the window */
    double ratio;       /* top over floor a line needs */
    double dip;         /* top over saddle a line needs beside a higher one */
    double edge;        /* over the floor, what still belongs to a line */
    double edge_share;  /* of its top, likewise */
    double cell_bins;
};

/* A maximum under consideration. */
struct candidate {
    struct sr_line line;
    bool wide; /* goes on beyond the main lobe: smeared, or several lines in one */
};

void sr_line_options_init(struct sr_line_options *options)
{
    *options = (struct sr_line_options){.min_ratio_db = 10.0, .floor_hz = 120.0, .max_lines = 24};
}

/* Highest side lobe of a window, as a share of its top's power; from the lobes next to the main one. */
static double highest_side_lobe(const struct sr_window_shape *shape)
{
    double top = sr_window_response(shape, 0.0);
    double highest = 0.0;

    for (int step = 0; step < 48; step++) {
        double offset = (double)shape->terms + 0.125 * step;

        highest = GSL_MAX_DBL(highest, fabs(sr_window_response(shape, offset) / top));
    }
    return highest * highest;
}

static void derive_limits(struct search *search, double dof, const struct sr_line_options *options)
{
    double mean = search->shape->a[0];
    double enbw_bins = search->mean_square / (mean * mean);
    size_t half = sr_floor_half_width(search->bins, search->bin_hz, options->floor_hz);
    /* A median has 2/pi of a mean's efficiency, and bins nearer than ENBW are not independent. */
    double floor_dof = dof * M_2_PI * (double)(2 * half + 1) / enbw_bins;
    double noise = sr_f_ratio_upper(family_level / (double)search->bins, dof, floor_dof);

    search->ratio = GSL_MAX_DBL(noise, pow(10.0, 0.1 * options->min_ratio_db));
    search->dip = GSL_MAX_DBL(dip_least, GSL_MIN_DBL(dip_most, sr_f_ratio_upper(dip_level, dof, dof)));
    search->edge = GSL_MAX_DBL(2.0, sr_chi2_ratio_upper(edge_level, dof));
    search->edge_share = GSL_MAX_DBL(edge_share, 3.0 * highest_side_lobe(search->shape));
    search->cell_bins = options->cell_bins > 0.0 ? options->cell_bins : 2.0 * enbw_bins;
}

/* A local maximum high enough over the floor, with room for its main lobe on both sides. */
static bool stands_out(const struct search *search, size_t k)
{
    const double *psd = search->psd;

    return psd[k] > psd[k - 1] && psd[k] >= psd[k + 1] && psd[k] > search->ratio * search->floor[k];
}

/* Lowest bin between k and the first higher one in the given direction, k if nothing there is higher. */
static size_t side_saddle(const struct search *search, size_t k, bool up)
{
    size_t lowest = k;

    for (size_t i = k; up ? i + 1 < search->bins : i > 0;) {
        i = up ? i + 1 : i - 1;
        if (search->psd[i] > search->psd[k])
            return lowest;
        if (search->psd[i] < search->psd[lowest])
            lowest = i;
    }
    return k;
}

/* Topographic prominence: how far one has to go down from k before one can go up to anything higher. */
static bool is_prominent(const struct search *search, size_t k)
{
    size_t left = side_saddle(search, k, false);
    size_t right = side_saddle(search, k, true);

    return (left == k || search->psd[k] > search->dip * search->psd[left]) &&
           (right == k || search->psd[k] > search->dip * search->psd[right]);
}

static size_t collect(const struct search *search, struct candidate *found)
{
    size_t half = search->shape->terms;
    size_t count = 0;
    size_t first;
    size_t measured = sr_floor_measured(search->psd, search->bins, &first);

    for (size_t k = first + half; k + half < first + measured; k++) {
        if (stands_out(search, k) && is_prominent(search, k))
            found[count++].line =
                (struct sr_line){.bin = k, .height = search->psd[k], .floor = search->floor[k]};
    }
    return count;
}

/* What a bin holds above the floor; below it this is negative, so that noise adds up to nothing. */
static double excess(const struct search *search, size_t k)
{
    return search->psd[k] - search->floor[k];
}

/* Lower and upper bin of a line, its neighbours' shares left to them. */
static void find_extent(const struct search *search, struct candidate *candidate, size_t lowest,
                        size_t highest)
{
    struct sr_line *line = &candidate->line;
    size_t half = search->shape->terms;
    size_t left = side_saddle(search, line->bin, false);
    size_t right = side_saddle(search, line->bin, true);
    double share = search->edge_share * line->height;

    /* Anything higher is no part of this line, even if it is no line itself: wash at the low end. */
    if (left < line->bin)
        lowest = GSL_MAX(lowest, left);
    if (right > line->bin)
        highest = GSL_MIN(highest, right);
    line->low_bin = GSL_MAX(line->bin - half, lowest);
    line->high_bin = GSL_MIN(line->bin + half, highest);
    candidate->wide = false;
    while (line->low_bin > lowest && search->psd[line->low_bin - 1] > share &&
           search->psd[line->low_bin - 1] > search->edge * search->floor[line->low_bin - 1]) {
        line->low_bin--;
        candidate->wide = true;
    }
    while (line->high_bin < highest && search->psd[line->high_bin + 1] > share &&
           search->psd[line->high_bin + 1] > search->edge * search->floor[line->high_bin + 1]) {
        line->high_bin++;
        candidate->wide = true;
    }
}

/* Centre of the energy above the floor [bins]. */
static double centre(const struct search *search, const struct sr_line *line)
{
    double sum = 0.0;
    double moment = 0.0;

    for (size_t k = line->low_bin; k <= line->high_bin; k++) {
        double weight = GSL_MAX_DBL(excess(search, k), 0.0);

        sum += weight;
        moment += weight * ((double)k - (double)line->bin);
    }
    return sum > 0.0 ? moment / sum : 0.0;
}

/* Offset of a narrow line from its highest bin [bins, -0.5 to 0.5], from the bins at both sides of it. */
static double interpolate(const struct search *search, const struct sr_line *line)
{
    double left = sqrt(GSL_MAX_DBL(excess(search, line->bin - 1), 0.0));
    double top = sqrt(GSL_MAX_DBL(excess(search, line->bin), 0.0));
    double right = sqrt(GSL_MAX_DBL(excess(search, line->bin + 1), 0.0));
    double offset = 0.0;

    switch (search->window) {
    case SR_WINDOW_HANN:
        offset = 2.0 * (right - left) / (left + 2.0 * top + right);
        break;
    case SR_WINDOW_RECTANGULAR:
        offset = right > left ? right / (top + right) : -left / (top + left);
        break;
    case SR_WINDOW_HFT95:
        offset = centre(search, line);
        break;
    case SR_WINDOW_HAMMING:
    case SR_WINDOW_BLACKMAN:
    case SR_WINDOW_BLACKMAN_HARRIS:
    case SR_WINDOW_COUNT:
        if (left > 0.0 && right > 0.0)
            offset = 0.5 * log(right / left) / log(top * top / (left * right));
        break;
    }
    return GSL_MAX_DBL(-0.5, GSL_MIN_DBL(0.5, offset));
}

/* Part of a line's energy that falls into its bins if it is narrow; the rest is in bins not counted. */
static double captured_share(const struct search *search, const struct sr_line *line, double offset)
{
    double sum = 0.0;

    for (size_t k = line->low_bin; k <= line->high_bin; k++) {
        double response = sr_window_response(search->shape, (double)k - (double)line->bin - offset);

        sum += response * response;
    }
    return sum / search->mean_square;
}

static void measure(const struct search *search, struct candidate *candidate)
{
    struct sr_line *line = &candidate->line;
    double offset = candidate->wide ? centre(search, line) : interpolate(search, line);
    double energy = 0.0;

    for (size_t k = line->low_bin; k <= line->high_bin; k++)
        energy += excess(search, k);
    energy = GSL_MAX_DBL(energy, 0.0) * search->bin_hz / captured_share(search, line, offset);
    line->hz = ((double)line->bin + offset) * search->bin_hz;
    line->amplitude = sqrt(energy);
}

/* Highest bin that still belongs to the left one of two neighbours: the lowest point between their tops. */
static size_t valley(const struct search *search, size_t left, size_t right)
{
    size_t lowest = left + 1;

    for (size_t k = left + 2; k < right; k++) {
        if (search->psd[k] < search->psd[lowest])
            lowest = k;
    }
    return lowest;
}

/* Extent, frequency and amplitude of all candidates, which are in order of their bins. */
static void measure_all(const struct search *search, struct candidate *found, size_t count)
{
    size_t lowest = 0;

    for (size_t i = 0; i < count; i++) {
        size_t highest = search->bins - 1;

        if (i + 1 < count)
            highest = valley(search, found[i].line.bin, found[i + 1].line.bin);
        find_extent(search, &found[i], lowest, highest);
        measure(search, &found[i]);
        lowest = highest + 1;
    }
}

/* Density that a line leaves at bin k by leakage, side lobes filled up: half a bin of drift moves their
 * zeros. */
static double skirt(const struct search *search, const struct candidate *candidate, size_t k)
{
    const struct sr_line *line = &candidate->line;
    double energy = line->amplitude * line->amplitude;
    double offset = fabs((double)k - line->hz / search->bin_hz);
    double highest = 0.0;

    /* A wide line leaks from where it ends, as a narrow one there would. */
    if (candidate->wide)
        offset =
            (double)(k > line->bin ? k - line->high_bin : line->low_bin - k) + (double)search->shape->terms;
    for (int step = -2; step <= 2; step++)
        highest = GSL_MAX_DBL(highest, fabs(sr_window_response(search->shape, offset + 0.25 * step)));
    return energy * highest * highest / (search->mean_square * search->bin_hz);
}

/* Is a candidate a line of its own, beside the higher ones already accepted? */
static bool is_own_line(const struct search *search, const struct candidate *accepted, size_t count,
                        const struct candidate *candidate)
{
    double leakage = 0.0;

    for (size_t i = 0; i < count; i++) {
        if (fabs(accepted[i].line.hz - candidate->line.hz) < search->cell_bins * search->bin_hz)
            return false;
        leakage += skirt(search, &accepted[i], candidate->line.bin);
    }
    return candidate->line.height > skirt_ratio * leakage;
}

static int compare_bins(const struct sr_line *a, const struct sr_line *b)
{
    return (a->bin > b->bin) - (a->bin < b->bin);
}

static int by_height(const void *left, const void *right)
{
    const struct sr_line *a = &((const struct candidate *)left)->line;
    const struct sr_line *b = &((const struct candidate *)right)->line;

    if (a->height != b->height)
        return a->height < b->height ? 1 : -1;
    return compare_bins(a, b);
}

static int by_bin(const void *left, const void *right)
{
    return compare_bins(&((const struct candidate *)left)->line, &((const struct candidate *)right)->line);
}

static int by_amplitude(const void *left, const void *right)
{
    const struct sr_line *a = &((const struct candidate *)left)->line;
    const struct sr_line *b = &((const struct candidate *)right)->line;

    if (a->amplitude != b->amplitude)
        return a->amplitude < b->amplitude ? 1 : -1;
    return compare_bins(a, b);
}

/* Drop the candidates that are part or shadow of a higher one, and measure the rest once more without them.
 */
static size_t settle(const struct search *search, struct candidate *found, size_t count)
{
    size_t kept = 0;

    measure_all(search, found, count);
    qsort(found, count, sizeof *found, by_height);
    for (size_t i = 0; i < count; i++) {
        if (is_own_line(search, found, kept, &found[i]))
            found[kept++] = found[i];
    }
    qsort(found, kept, sizeof *found, by_bin);
    measure_all(search, found, kept);
    return kept;
}

/* The strongest candidates from low_hz up, into lines[]. */
static size_t deliver(struct candidate *found, size_t count, const struct sr_line_options *options,
                      struct sr_line *lines)
{
    size_t written = 0;

    qsort(found, count, sizeof *found, by_amplitude);
    for (size_t i = 0; i < count && written < options->max_lines; i++) {
        if (found[i].line.hz >= options->low_hz)
            lines[written++] = found[i].line;
    }
    return written;
}

static enum sr_status check_options(const struct sr_line_options *options, struct sr_error *err)
{
    if (!(options->min_ratio_db >= 0.0) || !isfinite(options->min_ratio_db))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "lines %g dB over the floor, needs 0 or more",
                       options->min_ratio_db);
    if (!(options->low_hz >= 0.0) || !isfinite(options->low_hz))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "lines from %g Hz, needs 0 or more", options->low_hz);
    if (options->max_lines == 0)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "at most 0 lines, needs 1 or more");
    if (!(options->cell_bins >= 0.0) || !isfinite(options->cell_bins))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "cell of %g bins, needs 0 or more", options->cell_bins);
    return SR_OK;
}

enum sr_status sr_lines_find(const double *psd, size_t bins, double bin_hz, enum sr_window window, double dof,
                             const struct sr_line_options *options, struct sr_line *lines, size_t *count,
                             struct sr_error *err)
{
    struct search search = {.psd = psd, .bins = bins, .bin_hz = bin_hz, .window = window};
    enum sr_status status = check_options(options, err);
    struct candidate *found = NULL;
    double *floor = NULL;
    size_t kept;

    if (status != SR_OK)
        return status;
    search.shape = sr_window_shape(window);
    if (!search.shape)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "unknown window %d", (int)window);
    if (bins == 0)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "density of no bins");
    floor = calloc(bins, sizeof *floor);
    /* No two neighbouring bins are both maxima. */
    found = calloc(bins / 2 + 1, sizeof *found);
    if (!floor || !found) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for the lines of %zu bins", bins);
        goto done;
    }
    status = sr_floor(psd, bins, bin_hz, options->floor_hz, dof, floor, err);
    if (status != SR_OK)
        goto done;
    search.floor = floor;
    search.mean_square = sr_window_mean_square(search.shape);
    derive_limits(&search, dof, options);
    kept = settle(&search, found, collect(&search, found));
    *count = deliver(found, kept, options, lines);

done:
    free(found);
    free(floor);
    return status;
}
