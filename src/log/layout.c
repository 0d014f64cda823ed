/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/layout.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "log/note.h"
#include "log/number.h"
#include "log/rows.h"
#include "log/timebase.h"

#define PROBE_ROWS 4096
#define TIME_TRIES 4 /* time columns that are tried */

static void use_column(struct sr_column_use *use, const struct sr_header *header, int column)
{
    *use = (struct sr_column_use){.index = column};
    if (column < 0)
        return;
    snprintf(use->name, sizeof use->name, "%s", header->name[column].text);
    snprintf(use->unit, sizeof use->unit, "%s", header->name[column].unit);
}

static void fill_columns(struct sr_columns *columns, const struct sr_header *header)
{
    const struct sr_choice *choice = &header->choice;

    *columns = (struct sr_columns){
        .n_columns = header->count, .header_line = header->line, .delimiter = header->delimiter};
    use_column(&columns->time, header, choice->time);
    use_column(&columns->throttle, header, choice->throttle);
    for (size_t i = 0; i < 3; i++) {
        use_column(&columns->rate[i], header, choice->rate[i]);
        use_column(&columns->accel[i], header, choice->accel[i]);
    }
    for (size_t i = 0; i < SR_MOTORS_MAX; i++)
        use_column(&columns->motor[i], header, i < choice->n_motors ? choice->motor[i] : -1);
    columns->n_motors = choice->n_motors;
    columns->electrical_rpm = choice->electrical;
    columns->n_outputs = choice->n_outputs;
    columns->throttle_from_outputs = choice->throttle < 0 && choice->n_outputs >= 2;
    if (columns->throttle_from_outputs)
        use_column(&columns->throttle, header, choice->output[0]);
}

static void want(struct sr_layout *layout, int column, size_t slot)
{
    size_t at = layout->n_wanted;

    if (column < 0)
        return;
    while (at > 0 && layout->wanted[at - 1].column > (size_t)column) {
        layout->wanted[at] = layout->wanted[at - 1];
        at--;
    }
    layout->wanted[at] = (struct sr_wanted){.column = (size_t)column, .slot = (enum sr_slot)slot};
    layout->n_wanted++;
}

static void fill_layout(struct sr_layout *layout, const struct sr_columns *columns,
                        const struct sr_header *header, char line_end, bool counted)
{
    const struct sr_choice *choice = &header->choice;

    *layout = (struct sr_layout){.delimiter = header->delimiter,
                                 .line_end = line_end,
                                 .comma = header->comma,
                                 .counted = counted,
                                 .columns = header->count,
                                 .start = header->start,
                                 .line = header->start_line};
    if (!counted)
        want(layout, choice->time, SR_SLOT_TIME);
    for (size_t i = 0; i < 3; i++)
        want(layout, choice->rate[i], SR_SLOT_RATE + i);
    if (columns->throttle_from_outputs)
        for (size_t i = 0; i < choice->n_outputs; i++)
            want(layout, choice->output[i], SR_SLOT_OUTPUT);
    else
        want(layout, choice->throttle, SR_SLOT_THROTTLE);
    for (size_t i = 0; i < choice->n_motors; i++)
        want(layout, choice->motor[i], SR_SLOT_MOTOR + i);
    if (columns->throttle.index >= 0 || choice->n_motors > 0)
        layout->n_slow = 1 + choice->n_motors;
}

static bool note_choice(struct sr_log *log, const struct sr_header *header)
{
    const struct sr_choice *choice = &header->choice;
    const struct sr_columns *columns = &log->columns;
    static const char *const marks[] = {" (marked filtered: what was filtered out cannot be seen)", "",
                                        " (marked raw or unfiltered, it carries the vibration)"};
    bool ok = true;

    if (choice->rate_sets > 1)
        ok = sr_log_note(log, "%zu sets of rates: took '%s'%s, left '%s'; --columns picks another",
                         choice->rate_sets, columns->rate[0].name, marks[choice->marker],
                         header->name[choice->other_rate].text);
    else if (choice->marker == 0)
        ok = sr_log_note(log, "the rates are %s%s", sr_column_words(&columns->rate[0]).text, marks[0]);
    if (columns->throttle_from_outputs)
        ok = ok &&
             sr_log_note(log, "no throttle is logged: the mean of %zu motor outputs (%s…) stands in for it",
                         columns->n_outputs, sr_column_words(&columns->throttle).text);
    if (ok && header->comma_open)
        ok = sr_log_note(
            log, "no number has a decimal point, and no header tells how many columns there are: each "
                 "comma is taken to part two columns, none to be a decimal mark");
    for (size_t i = 0; i < 3 && header->line > 0; i++)
        for (size_t c = 0; c < header->count; c++)
            if ((int)c != columns->rate[i].index && strcmp(header->name[c].text, columns->rate[i].name) == 0)
                return ok && sr_log_note(log, "more than one column is called '%s': the first is used",
                                         columns->rate[i].name);
    return ok;
}

/* What the user calls the part that a column plays. */
static const char *part_of(enum sr_slot slot)
{
    if (slot == SR_SLOT_TIME)
        return sr_spec_key_name(SR_SPEC_TIME);
    if (slot < SR_SLOT_THROTTLE)
        return sr_spec_key_name(SR_SPEC_X + (size_t)(slot - SR_SLOT_RATE));
    if (slot == SR_SLOT_THROTTLE)
        return sr_spec_key_name(SR_SPEC_THROTTLE);
    return slot == SR_SLOT_OUTPUT ? "motor output"
                                  : sr_spec_key_name(SR_SPEC_MOTOR + (size_t)(slot - SR_SLOT_MOTOR));
}

/* A column that is to be two things. */
static enum sr_status two_parts(const struct sr_header *header, const struct sr_wanted *wanted,
                                const char *file, struct sr_error *err)
{
    const char *name = header->name[wanted->column].text;
    const bool named = name[0] != '\0';

    return sr_fail(
        err, SR_ERR_COLUMNS, file, header->line,
        "column %zu%s%s%s would play two parts, %s and %s: name another one for each with --columns",
        wanted->column + 1, named ? " '" : "", name, named ? "'" : "", part_of(wanted[0].slot),
        part_of(wanted[1].slot));
}

enum sr_status sr_layout_make(struct sr_layout *layout, struct sr_log *log, const struct sr_head *head,
                              const struct sr_header *header, bool counted, struct sr_error *err)
{
    fill_columns(&log->columns, header);
    if (counted)
        use_column(&log->columns.time, header, -1);
    fill_layout(layout, &log->columns, header, head->line_end, counted);
    for (size_t i = 1; i < layout->n_wanted; i++)
        if (layout->wanted[i].column == layout->wanted[i - 1].column)
            return two_parts(header, &layout->wanted[i - 1], head->file, err);
    return note_choice(log, header) ? SR_OK : sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
}

/* ---- the time column ------------------------------------------------------ */

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

static double stamp_difference(const struct sr_row *a, const struct sr_row *b)
{
    return sr_stamp_difference(b->whole, b->fraction, a->whole, a->fraction);
}

/*
 * The usual step between rows, in units of the time column: the median of the
 * steps forward; the mean where most stamps are equal. 0: time does not move.
 */
static double usual_step(const struct sr_rows *rows)
{
    static const size_t most = PROBE_ROWS;
    double step[PROBE_ROWS];
    size_t n = 0;
    double sum = 0.0;

    for (size_t i = 1; i < rows->count && n < most; i++) {
        const double difference = stamp_difference(&rows->row[i - 1], &rows->row[i]);
        if (difference >= 0.0)
            step[n++] = difference;
    }
    if (n == 0)
        return 0.0;
    qsort(step, n, sizeof *step, by_value);
    if (step[n / 2] > 0.0)
        return step[n / 2];
    for (size_t i = 0; i < n; i++)
        sum += step[i];
    return sum / (double)n;
}

/* Rows with this layout from the head of the file. */
static bool probe_rows(struct sr_rows *rows, struct sr_layout *layout, const struct sr_head *head)
{
    const char *text = head->text + layout->start;
    const size_t size = head->size - layout->start;
    struct sr_csv csv;
    size_t used = 0;
    bool ok;

    if (head->plain) {
        ok = sr_rows_read(rows, layout, NULL, text, size, head->last, PROBE_ROWS, &used);
    } else {
        if (!sr_csv_init(&csv, layout->delimiter, layout->line_end))
            return false;
        ok = sr_rows_read(rows, layout, &csv, text, size, head->last, PROBE_ROWS, &used);
        sr_csv_release(&csv);
    }
    layout->row_bytes = ok && rows->seen > 0 ? (double)used / (double)rows->seen : 0.0;
    return ok;
}

static bool measure_row(struct sr_layout *layout, const struct sr_head *head)
{
    struct sr_rows rows = {0};
    const bool ok = probe_rows(&rows, layout, head);

    sr_rows_release(&rows);
    return ok;
}

/* The unit that puts the sample rate where gyro logs have theirs. The range is under a factor
 * of 1000, so that one unit fits at most; where none does, the nearest. */
static const char *likely_unit(double step)
{
    static const char *const units[] = {"s", "ms", "us", "ns"};
    const char *best = units[0];
    double least = INFINITY;

    for (size_t i = 0; i < 4; i++) {
        const double rate_hz = 1.0 / (step * sr_unit_seconds(units[i]));
        const double miss = rate_hz < SR_GYRO_LOW_HZ    ? log(SR_GYRO_LOW_HZ / rate_hz)
                            : rate_hz > SR_GYRO_HIGH_HZ ? log(rate_hz / SR_GYRO_HIGH_HZ)
                                                        : 0.0;
        if (miss < least) {
            least = miss;
            best = units[i];
        }
    }
    return best;
}

/* The next time column to try in place of the present one; false: there is none. */
static bool next_time(struct sr_layout *layout, struct sr_log *log, const struct sr_header *header,
                      bool *passed)
{
    passed[log->columns.time.index] = true;
    const int next = sr_choose_time(header->name, header->count, passed);

    if (next < 0)
        return false;
    struct sr_header with = *header;
    with.choice.time = next;
    use_column(&log->columns.time, header, next);
    fill_layout(layout, &log->columns, &with, layout->line_end, false);
    return true;
}

/* Settle on a time column: *step is its usual step, 0 if none moves. */
static enum sr_status settle_time(struct sr_layout *layout, struct sr_log *log, const struct sr_head *head,
                                  const struct sr_header *header, double *step, struct sr_error *err)
{
    const struct sr_layout first_layout = *layout;
    const struct sr_column_use first_use = log->columns.time;
    bool *passed = calloc(header->count, sizeof *passed);
    struct sr_rows rows = {0};
    enum sr_status status = SR_OK;
    bool settled = false;

    *step = 0.0;
    for (int tries = 0; passed != NULL && status == SR_OK && !settled; tries++) {
        if (!probe_rows(&rows, layout, head)) {
            status = sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
            break;
        }
        *step = usual_step(&rows);
        settled = *step > 0.0 && rows.count * 2 >= rows.seen - rows.without;
        if (!settled && (tries == TIME_TRIES || !next_time(layout, log, header, passed))) {
            const double row_bytes = layout->row_bytes;
            *layout = first_layout; /* none is good: let the first one be complained about */
            layout->row_bytes = row_bytes;
            log->columns.time = first_use;
            break;
        }
    }
    if (passed == NULL)
        status = sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
    if (settled && log->columns.time.index != first_use.index &&
        !sr_log_note(log, "'%s' holds no usable times: took '%s'", first_use.name, log->columns.time.name))
        status = sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
    sr_rows_release(&rows);
    free(passed);
    return status;
}

enum sr_status sr_layout_probe(struct sr_layout *layout, struct sr_log *log, const struct sr_head *head,
                               struct sr_header *header, const char *time_unit, double *seconds,
                               struct sr_error *err)
{
    struct sr_column_use *use = &log->columns.time;
    double step;

    *seconds = 1.0;
    if (layout->counted)
        return measure_row(layout, head) ? SR_OK
                                         : sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
    const enum sr_status status = settle_time(layout, log, head, header, &step, err);
    if (status != SR_OK)
        return status;
    if (time_unit != NULL)
        snprintf(use->unit, sizeof use->unit, "%s", time_unit);
    if (sr_unit_seconds(use->unit) <= 0.0) {
        snprintf(use->unit, sizeof use->unit, "%s", step > 0.0 ? likely_unit(step) : "s");
        use->assumed_unit = true;
    }
    *seconds = sr_unit_seconds(use->unit);
    if (use->assumed_unit && step > 0.0 &&
        !sr_log_note(log,
                     "no unit is written for the time %s: taken as %s, which makes %.4g Hz (--time-unit)",
                     sr_column_words(use).text, use->unit, 1.0 / (step * *seconds)))
        return sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
    return SR_OK;
}
