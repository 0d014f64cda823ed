/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/log.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>

#include "log/note.h"

void sr_log_options_init(struct sr_log_options *options)
{
    *options = (struct sr_log_options){.from_s = NAN, .to_s = NAN, .plain_path = true, .jobs = 1};
}

struct sr_column_words sr_column_words(const struct sr_column_use *use)
{
    struct sr_column_words words;

    if (use->name[0] != '\0')
        snprintf(words.text, sizeof words.text, "'%s'", use->name);
    else
        snprintf(words.text, sizeof words.text, "in column %d", use->index + 1);
    return words;
}

bool sr_log_note(struct sr_log *log, const char *format, ...)
{
    char(*notes)[SR_NOTE_MAX] = realloc(log->notes, (log->n_notes + 1) * sizeof *notes);
    va_list args;

    if (notes == NULL)
        return false;
    log->notes = notes;
    va_start(args, format);
    vsnprintf(notes[log->n_notes++], SR_NOTE_MAX, format, args);
    va_end(args);
    return true;
}

void sr_log_release(struct sr_log *log)
{
    free(log->name);
    for (size_t axis = 0; axis < 3; axis++)
        free(log->gyro_dps[axis]);
    free(log->runs);
    free(log->throttle);
    for (size_t m = 0; m < SR_MOTORS_MAX; m++)
        free(log->motor_rpm[m]);
    free(log->airborne);
    free(log->notes);
    *log = (struct sr_log){0};
}

double sr_log_nyquist_hz(const struct sr_log *log)
{
    const double own = log->quality.nyquist_hz;

    return own > 0.0 ? fmin(own, log->rate_hz / 2.0) : log->rate_hz / 2.0;
}

double sr_log_sees_hz(const struct sr_log *log)
{
    const double corner = log->quality.low_pass_hz, bridged = log->quality.bridged_hz;
    double sees = sr_log_nyquist_hz(log);

    sees = corner > 0.0 ? fmin(corner, sees) : sees;
    return bridged > 0.0 ? fmin(bridged, sees) : sees;
}

double sr_log_slow_mean(const struct sr_log *log, const double *grid, double from_s, double to_s)
{
    const double cells = (double)log->slow_count;
    double sum = 0.0;
    size_t n = 0;

    if (grid == NULL || !(from_s < to_s) || to_s <= 0.0 || from_s >= cells * SR_SLOW_STEP_S)
        return NAN;
    /* every cell whose middle lies within; in a span narrower than a cell, the cell it starts in */
    const size_t first = (size_t)fmax(0.0, ceil(from_s / SR_SLOW_STEP_S - 0.5));
    const size_t last = (size_t)fmin(cells, fmax(0.0, ceil(to_s / SR_SLOW_STEP_S - 0.5)));
    for (size_t i = first; i < last; i++)
        if (!isnan(grid[i])) {
            sum += grid[i];
            n++;
        }
    if (first >= last)
        return grid[(size_t)fmin(cells - 1.0, fmax(0.0, from_s) / SR_SLOW_STEP_S)];
    return n > 0 ? sum / (double)n : NAN;
}
