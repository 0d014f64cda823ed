/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The table of hardness by temperature, the choice at each temperature, and how long it stays the choice. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "mount/choice.h"
#include "mount/words.h"

#define AMPLIFIED  2.0  /* |H|^2 of 3 dB: a line there is no longer just passed on */
#define FLANK      10.0 /* [bins] beside a peak, that it is measured against */
#define STANDS_OUT 3.0
#define SPAN_LOW   0.05 /* quantiles between which a line wanders: of its energy, or of the motors' speed */
#define SPAN_HIGH  0.95
#define WHOLE_OFF  1e-9

void sr_mount_ask_init(struct sr_mount_ask *ask)
{
    static const double shore_a[] = {40, 50, 60, 70}, temperature_c[] = {-5, 5, 15, 25, 35};
    *ask = (struct sr_mount_ask){.n_shore = 4, .n_temperature = 5};
    memcpy(ask->shore_a, shore_a, sizeof shore_a);
    memcpy(ask->temperature_c, temperature_c, sizeof temperature_c);
}

static enum sr_status check(const struct sr_mount_ask *ask, const struct sr_slices *slices,
                            const struct sr_score *score, struct sr_error *err)
{
    if (ask->n_shore < 1 || ask->n_shore > SR_HARDNESSES_MAX || ask->n_temperature < 1 ||
        ask->n_temperature > SR_TEMPERATURES_MAX) {
        sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "1 to %d hardnesses and 1 to %d temperatures at a time",
                SR_HARDNESSES_MAX, SR_TEMPERATURES_MAX);
        return SR_ERR_ARGUMENT;
    }
    for (size_t j = 0; j < ask->n_temperature; j++)
        if (!isfinite(ask->temperature_c[j]) ||
            (j > 0 && !(ask->temperature_c[j] > ask->temperature_c[j - 1])))
            return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "temperatures need to ascend");
    for (size_t i = 1; i < ask->n_shore; i++)
        if (!(ask->shore_a[i] > ask->shore_a[i - 1]))
            return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "hardnesses need to ascend");
    if (slices->count == 0 || score->slices != slices->count)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "a what-if needs slices and the score made of them");
    return SR_OK;
}

/* ---- Lines ---- */

/*
 * How many times the motors' own speed the logged one is, at a mean of mean_hz; 0: cannot be told. With the
 * rig's pole pairs the log is divided already. Without, a line that is a whole multiple of the motor speed
 * tells what that is; and what no propeller turns at is electrical.
 */
static double gear_of(const struct sr_score *score, const struct sr_rig *rig, double mean_hz)
{
    if (rig->pole_pairs > 0)
        return 1;
    for (size_t i = 0; i < score->n_peaks; i++) {
        const struct sr_peak *peak = &score->peaks[i];
        bool moves = peak->cause == SR_CAUSE_ORDER || peak->cause == SR_CAUSE_FOLDED;
        if (moves && peak->order >= 1 && fabs(peak->order - round(peak->order)) < WHOLE_OFF)
            return fmax(round(mean_hz * peak->order / peak->true_hz), 1);
    }
    return mean_hz > SR_ELECTRICAL_HZ ? 0 : 1;
}

/* Where the 1x line wanders, from the motors' logged speeds. */
static enum sr_status add_first_order(struct sr_mount_table *table, const struct sr_slices *slices,
                                      const struct sr_score *score, const struct sr_rig *rig,
                                      struct sr_error *err)
{
    size_t n = 0;
    double mean_hz = 0;
    if (slices->n_motors == 0)
        return SR_OK;
    double *hz = calloc(slices->count, sizeof *hz);
    if (hz == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", slices->count);
    for (size_t i = 0; i < slices->count; i++) {
        double sum = 0;
        for (size_t m = 0; m < slices->n_motors; m++)
            sum += slices->slice[i].motor_rpm[m] / 60;
        if (isfinite(sum) && sum > 0)
            hz[n++] = sum / (double)slices->n_motors;
    }
    for (size_t i = 0; i < n; i++)
        mean_hz += hz[i] / (double)n;
    double gear = gear_of(score, rig, mean_hz);
    struct sr_mount_line line = {.order = 1, .share = NAN};
    enum sr_status status = SR_OK;
    if (n > 0 && gear > 0) {
        status = sr_quantile(hz, n, SPAN_LOW, &line.low_hz, err);
        if (status == SR_OK)
            status = sr_quantile(hz, n, SPAN_HIGH, &line.high_hz, err);
        line.low_hz /= gear;
        line.high_hz /= gear;
        line.hz = mean_hz / gear;
        if (status == SR_OK)
            table->lines[table->n_lines++] = line;
    }
    free(hz);
    return status;
}

/* What shakes the frame in a bin, the own mount taken off where the gyro is behind it. */
static double frame_bin(const struct predictor *p, size_t k)
{
    const struct sr_isolator own = {p->own->fn_hz.value, p->own->damping.value};
    if (p->gyro_side != SR_GYRO_CAMERA)
        return p->rate[k];
    return p->rate[k] / fmax(sr_isolator_power(&own, (double)k * p->slices->bin_hz), OWN_LEAST);
}

/* Its mean over bins [low, high). */
static double frame_density(const struct predictor *p, double low, double high)
{
    size_t first = (size_t)fmax(low, (double)p->first_bin),
           last = (size_t)fmax(fmin(high, (double)p->bins), 0);
    double sum = 0;
    for (size_t k = first; k < last; k++)
        sum += frame_bin(p, k);
    return last > first ? sum / (double)(last - first) : NAN;
}

/* Seen through a mount its own resonance stands out of the spectrum too, but it is no line of the frame. */
static bool line_of_frame(const struct predictor *p, const struct sr_peak *peak)
{
    double low = (double)peak->low_bin, high = (double)peak->high_bin + 1;
    double top =
        frame_density(p, round(peak->hz / p->slices->bin_hz) - 1, round(peak->hz / p->slices->bin_hz) + 2);
    double left = frame_density(p, low - FLANK, low), right = frame_density(p, high, high + FLANK);
    /* The higher of the two, so that an edge of the wash is no line either; fmax() passes over NAN. */
    return !(top < STANDS_OUT * fmax(left, right));
}

/*
 * Where a peak's line wanders: its bins reach down both flanks, over speeds of a moment as at take-off, too,
 * so it is where its energy lies. The peak's own frequency belongs to it.
 */
static struct sr_mount_line line_of_peak(const struct predictor *p, const struct sr_peak *peak)
{
    const size_t end = peak->high_bin + 1 < p->bins ? peak->high_bin + 1 : p->bins;
    struct sr_mount_line line = {peak->hz, peak->hz, peak->hz,
                                 peak->cause == SR_CAUSE_ORDER ? peak->order : 0, peak->share};
    double all = 0, sum = 0;
    for (size_t k = peak->low_bin; k < end; k++)
        all += frame_bin(p, k);
    for (size_t k = peak->low_bin; k < end; k++) {
        const double hz = (double)k * p->slices->bin_hz, before = sum;
        sum += frame_bin(p, k);
        if (sum > SPAN_LOW * all && before < SPAN_HIGH * all) {
            line.low_hz = fmin(line.low_hz, hz);
            line.high_hz = fmax(line.high_hz, hz);
        }
    }
    return line;
}

static enum sr_status find_lines(struct sr_mount_table *table, const struct predictor *p,
                                 const struct sr_score *score, const struct sr_rig *rig, struct sr_error *err)
{
    bool first = false;
    for (size_t i = 0; i < score->n_peaks; i++) {
        const struct sr_peak *peak = &score->peaks[i];
        if (!line_of_frame(p, peak))
            continue;
        const struct sr_mount_line line = line_of_peak(p, peak);
        table->lines[table->n_lines++] = line;
        first = first || (line.order > 0.9 && line.order < 1.1);
    }
    return first ? SR_OK : add_first_order(table, p->slices, score, rig, err);
}

/* f / fn between which |H|^2 >= 2: the roots of 2 q^2 - 4 (1 - z^2) q + 1, q = r^2. None at heavy damping. */
static bool amplified_span(double damping, double *low, double *high)
{
    double half = 1 - damping * damping, root = half * half - 1 / AMPLIFIED;
    if (!(half > 0 && root > 0))
        return false;
    *low = sqrt(half - sqrt(root));
    *high = sqrt(half + sqrt(root));
    return true;
}

static double most_amplified(const struct sr_isolator *isolator, const struct sr_mount_line *line)
{
    double peak_hz = sr_isolator_peak_hz(isolator);
    if (peak_hz >= line->low_hz && peak_hz <= line->high_hz)
        return sr_isolator_power(isolator, peak_hz);
    return fmax(sr_isolator_power(isolator, line->low_hz), sr_isolator_power(isolator, line->high_hz));
}

static void flag_lines(struct sr_mount_cell *cell, const struct sr_mount_table *table)
{
    const struct sr_isolator isolator = {cell->fn_hz.value, table->own.damping.value};
    double low, high, most = AMPLIFIED;

    for (size_t i = 0; i < table->n_lines; i++) {
        double power = most_amplified(&isolator, &table->lines[i]);
        if (power >= most) {
            most = power;
            cell->line_hz = table->lines[i].hz;
            cell->line_db = 10 * log10(power);
        }
    }
    if (cell->line_hz > 0 || !amplified_span(table->own.damping.value, &low, &high))
        return;
    for (size_t i = 0; i < table->n_lines && !cell->line_perhaps; i++) {
        const struct sr_mount_line *line = &table->lines[i];
        if (line->low_hz <= high * cell->fn_hz.high && line->high_hz >= low * cell->fn_hz.low) {
            cell->line_perhaps = true;
            cell->line_hz = line->hz;
            cell->line_db = 20 * log10(sr_isolator_peak_gain(&isolator));
        }
    }
}

/* What a cell of these pieces would be marked with. */
static enum mark mark_with(const struct sr_mount_table *table, const struct sr_mount_other *other)
{
    struct sr_mount_cell cell = {.fn_hz = other->fn_hz};
    flag_lines(&cell, table);
    return mark_of(&cell);
}

/* ---- Cells ---- */

/* SR_ERR_DATA of a temperature that the material's model does not reach is no failure of the table. */
static enum sr_status scale(const struct sr_mount_table *table, double shore_a, double temperature_c,
                            struct sr_mount_other *other, bool *known, struct sr_error *err)
{
    struct sr_rubber_law law = table->own.law;
    struct sr_interval ratio;
    *known = sr_rubber_temperature_ratio(&law, table->own.temperature_c, temperature_c, &ratio, NULL, err) !=
             SR_ERR_DATA;
    return *known ? sr_mount_scale(other, &table->own, shore_a, temperature_c, err) : SR_OK;
}

static enum sr_status fill_cell(struct sr_mount_cell *cell, const struct sr_mount_table *table,
                                struct predictor *p, double *cases, struct sr_error *err)
{
    struct sr_mount_other other;
    cell->fn_hz = cell->wobble_px = (struct sr_interval){NAN, NAN, NAN};
    enum sr_status status = scale(table, cell->shore_a, cell->temperature_c, &other, &cell->known, err);
    if (status != SR_OK || !cell->known)
        return status;
    status = predict(p, &other, cases, &cell->wobble_px, err);
    if (status != SR_OK)
        return status;
    cell->fn_hz = other.fn_hz;
    cell->outside = other.outside;
    cell->clears = cell->wobble_px.high < table->threshold_px;
    flag_lines(cell, table);
    return SR_OK;
}

static enum sr_status fill_table(struct sr_mount_table *table, struct predictor *p, double *cases,
                                 struct sr_error *err)
{
    const struct sr_mount_ask *ask = &table->ask;
    for (size_t j = 0; j < ask->n_temperature; j++) {
        enum mark mark[SR_HARDNESSES_MAX];
        bool known = true;
        for (size_t i = 0; i < ask->n_shore; i++) {
            struct sr_mount_cell *cell = &table->cells[j * ask->n_shore + i];
            cell->shore_a = ask->shore_a[i];
            cell->temperature_c = ask->temperature_c[j];
            enum sr_status status = fill_cell(cell, table, p, cases + i * CASES, err);
            if (status != SR_OK)
                return status;
            mark[i] = mark_of(cell);
            known = known && cell->known;
        }
        if (known)
            table->picks[j] = pick(cases, mark, ask->n_shore);
    }
    return SR_OK;
}

/* ---- Stretches ---- */

static double step_c(const struct sr_mount_ask *ask, size_t step)
{
    return fmin(ask->temperature_c[0] + (double)step, ask->temperature_c[ask->n_temperature - 1]);
}

/* Which hardnesses will do at one temperature; none where nothing can be foretold. */
static enum sr_status fill_step(const struct sr_mount_table *table, struct predictor *p, double temperature_c,
                                bool *good, struct sr_error *err)
{
    const struct sr_mount_ask *ask = &table->ask;
    double px[SR_HARDNESSES_MAX];
    enum mark mark[SR_HARDNESSES_MAX];

    for (size_t i = 0; i < ask->n_shore; i++) {
        struct sr_mount_other other;
        bool known = false;
        enum sr_status status = scale(table, ask->shore_a[i], temperature_c, &other, &known, err);
        if (status == SR_OK && known)
            status = predict_value(p, &other, &px[i], err);
        if (status != SR_OK || !known)
            return status;
        mark[i] = mark_with(table, &other);
    }
    size_t chosen = choose(px, mark, ask->n_shore);
    for (size_t i = 0; i < ask->n_shore; i++)
        good[i] = as_good(px, mark, chosen, i);
    return SR_OK;
}

/* Steps from `first` on that a hardness stays the choice, or as good as that. */
static size_t stays(const bool *good, size_t steps, size_t n, size_t first, size_t which)
{
    size_t s = first;
    while (s < steps && good[s * n + which])
        s++;
    return s - first;
}

/* From the cold end on, always the hardness that stays longest: pieces are not changed for nothing. */
static enum sr_status find_stretches(struct sr_mount_table *table, struct predictor *p, struct sr_error *err)
{
    const struct sr_mount_ask *ask = &table->ask;
    size_t n = ask->n_shore, steps = 1 + (size_t)ceil(ask->temperature_c[ask->n_temperature - 1] -
                                                      ask->temperature_c[0] - 1e-9);
    bool *good = calloc(steps * n, sizeof *good);
    if (good == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu temperatures", steps);
    enum sr_status status = SR_OK;
    for (size_t s = 0; s < steps && status == SR_OK; s++)
        status = fill_step(table, p, step_c(ask, s), good + s * n, err);
    for (size_t s = 0; s < steps && status == SR_OK && table->n_stretches < SR_STRETCHES_MAX;) {
        size_t best = 0, longest = 0;
        for (size_t i = 0; i < n; i++) {
            size_t length = stays(good, steps, n, s, i);
            if (length > longest) {
                longest = length;
                best = i;
            }
        }
        if (longest > 0)
            table->stretches[table->n_stretches++] =
                (struct sr_mount_stretch){best, step_c(ask, s), step_c(ask, s + longest - 1)};
        s += longest > 0 ? longest : 1;
    }
    free(good);
    return status;
}

/* ---- Now ---- */

static enum sr_status predict_now(struct sr_mount_table *table, struct predictor *p, double *cases,
                                  double *noise_share, struct sr_error *err)
{
    const struct sr_mount_ask *ask = &table->ask;
    enum sr_status status = sr_mount_scale(&table->own_now, &table->own, NAN, table->own.temperature_c, err);
    if (status == SR_OK)
        status = predict(p, &table->own_now, cases, &table->own_px, err);
    if (status != SR_OK)
        return status;
    table->own_smear_px = predicted_smear(p);

    double smear_px[SR_HARDNESSES_MAX] = {0};
    enum mark mark[SR_HARDNESSES_MAX];
    for (size_t i = 0; i < ask->n_shore && status == SR_OK; i++) {
        struct sr_mount_other other;
        struct sr_interval px;
        status = sr_mount_scale(&other, &table->own, ask->shore_a[i], table->own.temperature_c, err);
        if (status == SR_OK)
            status = predict(p, &other, cases + i * CASES, &px, err);
        if (status != SR_OK)
            return status;
        *noise_share = fmax(*noise_share, predicted_noise_share(p));
        smear_px[i] = predicted_smear(p);
        mark[i] = mark_with(table, &other);
    }
    struct sr_mount_pick now = pick(cases, mark, ask->n_shore);
    table->now_best = now.best;
    table->now_sure = now.sure;
    table->now_resonates = mark[now.best] == MARK_RESONATES;
    table->now_px = cases[now.best * CASES];
    table->now_smear_px = smear_px[now.best];
    return SR_OK;
}

enum sr_status sr_mount_table_make(struct sr_mount_table *table, const struct sr_mount_ask *ask,
                                   const struct sr_mount_own *own, const struct sr_slices *slices,
                                   const struct sr_score *score, const struct sr_rig *rig,
                                   struct sr_error *err)
{
    enum sr_status status = check(ask, slices, score, err);
    if (status != SR_OK)
        return status;

    struct sr_mount_table made = {.ask = *ask, .own = *own, .gyro_side = rig->gyro_side};
    struct predictor p = {0};
    double noise_share = 0;
    double *cases = calloc(SR_HARDNESSES_MAX * CASES, sizeof *cases);
    made.threshold_px = sr_rig_threshold_px(rig);
    made.sees_hz = score->sees_hz;
    made.clear_hz = sr_band_high_hz(&rig->camera, SR_BAND_WAVE);
    made.cells = calloc(ask->n_shore * ask->n_temperature, sizeof *made.cells);
    if (cases == NULL || made.cells == NULL)
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for a table of mounts");
    if (status == SR_OK)
        status = predictor_init(&p, slices, &made.own, rig, err);
    if (status == SR_OK)
        status = find_lines(&made, &p, score, rig, err);
    if (status == SR_OK)
        status = predict_now(&made, &p, cases, &noise_share, err);
    if (status == SR_OK)
        status = fill_table(&made, &p, cases, err);
    if (status == SR_OK)
        status = find_stretches(&made, &p, err);
    predictor_release(&p);
    free(cases);
    if (status != SR_OK) {
        sr_mount_table_release(&made);
        return status;
    }
    mount_notes(&made, rig, noise_share);
    *table = made;
    return SR_OK;
}

void sr_mount_table_release(struct sr_mount_table *table)
{
    free(table->cells);
    table->cells = NULL;
}

const struct sr_mount_cell *sr_mount_cell_at(const struct sr_mount_table *table, size_t shore,
                                             size_t temperature)
{
    return &table->cells[temperature * table->ask.n_shore + shore];
}
