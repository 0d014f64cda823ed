/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "log/cuts.h"
#include "log/number.h"
#include "log/short.h"

#define ALL_RATES 7U
/* Numbers of a row: rates, slow ones, outputs, and what the last batch is filled up with. */
#define SR_NUMBERS_ROOM (SR_ROW_SLOW + SR_SLOW_MAX + SR_WANTED_MAX + SR_NUMBERS_BATCH)
#define MOST            1e12 /* no rate, throttle or speed is written in larger numbers: broken text */

/* The row being read. */
struct scratch {
    struct sr_rows *rows;
    const struct sr_layout *layout;
    struct sr_row *row; /* where it will stand if it is kept, behind those that were */
    double *number;     /* and its numbers; behind them, the outputs until they are averaged */
    double output_sum;
    unsigned outputs;
    bool time;      /* read */
    unsigned rates; /* bit per axis read */
    unsigned empty; /* bit per axis left empty */
    size_t next;    /* next wanted column */
    char bad_text[sizeof((struct sr_rows *)0)->bad_text];
    /* For plain text: */
    struct sr_column wanted[SR_WANTED_MAX];          /* as in the layout */
    const struct sr_column *column[SR_NUMBERS_ROOM]; /* that each number of a row stands in */
    bool gap[SR_NUMBERS_ROOM], gaps;                 /* it stands in none; there are such */
    size_t numbers;                                  /* in whole batches */
    size_t time_column;                              /* SIZE_MAX: none */
    size_t columns;                                  /* up to the last wanted one */
    unsigned all_rates, all_outputs;                 /* that are wanted */
};

void sr_rows_release(struct sr_rows *rows)
{
    free(rows->row);
    free(rows->number);
    free(rows->cut);
    *rows = (struct sr_rows){0};
}

static bool rows_grow(struct sr_rows *rows)
{
    const size_t room = rows->room < 1024 ? 4096 : rows->room * 2;
    struct sr_row *row;
    double *number;

    if (room > SIZE_MAX / sizeof *row / 2 || room > SIZE_MAX / sizeof *number / SR_NUMBERS_ROOM)
        return false;
    row = realloc(rows->row, room * sizeof *row);
    if (row == NULL)
        return false;
    rows->row = row;
    number = realloc(rows->number, (room * rows->stride + SR_NUMBERS_ROOM) * sizeof *number);
    if (number == NULL)
        return false;
    rows->number = number;
    rows->room = room;
    return true;
}

/* Make room for a row behind those that are kept. False: out of memory. */
static bool next_row(struct scratch *s)
{
    struct sr_rows *rows = s->rows;

    if (rows->count == rows->room && !rows_grow(rows))
        return false;
    s->row = &rows->row[rows->count];
    s->number = rows->number + rows->count * rows->stride;
    return true;
}

static void scratch_start(struct scratch *s)
{
    s->row->whole = 0;
    s->row->fraction = 0.0;
    s->time = s->layout->counted;
    s->rates = s->empty = s->outputs = 0;
    s->output_sum = 0.0;
    s->next = 0;
    s->bad_text[0] = '\0';
    for (size_t i = SR_ROW_SLOW; i < s->rows->stride; i++)
        s->number[i] = NAN;
}

static void note_bad(struct scratch *s, const char *text, const char *end)
{
    size_t size = (size_t)(end - text);

    if (s->bad_text[0] != '\0')
        return;
    if (size >= sizeof s->bad_text)
        size = sizeof s->bad_text - 1;
    for (size_t i = 0; i < size; i++) /* goes into a message: keep it printable */
        s->bad_text[i] = (unsigned char)text[i] < 0x20 || text[i] == 0x7F ? '?' : text[i];
    s->bad_text[size] = '\0';
    if (size == 0)
        memcpy(s->bad_text, "(empty)", sizeof "(empty)");
}

/* A number on its way to a slot: stamps keep whole and fraction apart. */
struct value {
    int64_t whole;
    double number; /* or the fraction of a stamp */
};

/* The number at the front of [text, end). Returns where it ended, NULL: no number there. */
static const char *scan(const struct scratch *s, enum sr_slot slot, const char *text, const char *end,
                        struct value *value)
{
    if (slot == SR_SLOT_TIME)
        return sr_stamp_scan(text, end, s->layout->comma, &value->whole, &value->number);
    const bool comma = s->layout->comma;
    const char *stop = sr_number_scan(text, end, comma, &value->number);
    return stop != NULL && fabs(value->number) < MOST ? stop : NULL;
}

/* Where a slot's number stands in a row; not the time's, and that of the outputs is that of their mean. */
static size_t number_of(enum sr_slot slot)
{
    if (slot < SR_SLOT_THROTTLE)
        return slot - SR_SLOT_RATE;
    return slot < SR_SLOT_MOTOR ? SR_ROW_SLOW : SR_ROW_SLOW + 1 + (size_t)(slot - SR_SLOT_MOTOR);
}

static void store(struct scratch *s, enum sr_slot slot, const struct value *value)
{
    if (slot == SR_SLOT_TIME) {
        s->row->whole = value->whole;
        s->row->fraction = value->number;
        s->time = true;
        return;
    }
    if (slot == SR_SLOT_OUTPUT) {
        s->output_sum += value->number;
        s->outputs++;
        return;
    }
    s->number[number_of(slot)] = value->number;
    if (slot < SR_SLOT_THROTTLE)
        s->rates |= 1U << (slot - SR_SLOT_RATE);
}

static void refuse_field(struct scratch *s, enum sr_slot slot, const char *text, const char *end)
{
    while (text < end && sr_is_blank(*text))
        text++;
    while (end > text && sr_is_blank(end[-1]))
        end--;
    if (slot >= SR_SLOT_THROTTLE)
        return; /* a slow channel may have holes */
    if (text == end && slot != SR_SLOT_TIME)
        s->empty |= 1U << (slot - SR_SLOT_RATE);
    note_bad(s, text, end);
}

/* A whole field. */
static void take_field(struct scratch *s, enum sr_slot slot, const char *text, const char *end)
{
    struct value value = {0};
    const char *stop = scan(s, slot, text, end, &value);

    if (stop != NULL && s->layout->comma && memchr(text, ',', (size_t)(stop - text)) != NULL)
        s->rows->comma_seen = true;
    while (stop != NULL && stop < end && sr_is_blank(*stop))
        stop++;
    if (stop == end)
        store(s, slot, &value);
    else
        refuse_field(s, slot, text, end);
}

/* The row is over: keep it or count it. columns: how many it had, if `strict` they must be all. */
static bool scratch_finish(struct scratch *s, size_t line, bool strict, size_t columns)
{
    struct sr_rows *rows = s->rows;
    const uint64_t ordinal = rows->seen++;
    const bool cut = strict && columns < s->layout->columns;

    if (s->time && s->rates == ALL_RATES && !cut) {
        s->row->ordinal = (uint32_t)ordinal;
        s->row->line = (uint32_t)line;
        if (s->outputs > 0)
            s->number[SR_ROW_SLOW] = s->output_sum / s->outputs;
        rows->count++;
        return next_row(s);
    } else if (s->time && s->empty == ALL_RATES && !cut) {
        rows->without++;
    } else {
        if (rows->bad++ == 0) {
            rows->first_bad = line + 1;
            memcpy(rows->bad_text, s->bad_text, sizeof rows->bad_text);
        }
    }
    return true;
}

/* ---- libcsv ------------------------------------------------------------- */

static void on_field(void *context, size_t column, const char *text, size_t size)
{
    struct scratch *s = context;
    const struct sr_layout *layout = s->layout;

    if (column == 0)
        scratch_start(s);
    if (s->next < layout->n_wanted && layout->wanted[s->next].column == column)
        take_field(s, layout->wanted[s->next++].slot, text, text + size);
}

static bool read_by_csv(struct scratch *s, struct sr_csv *csv, const char *text, size_t size, bool last,
                        size_t most, size_t *used)
{
    struct sr_rows *rows = s->rows;

    *used = 0;
    while (*used < size && (most == 0 || rows->seen < most)) {
        struct sr_csv_span span;
        if (!sr_csv_row(csv, text + *used, text + size, last, on_field, s, &span))
            return false;
        if (span.used == 0)
            break;
        const bool cut = text[*used + span.used - 1] != csv->line_end;
        if (span.columns > 0 && !scratch_finish(s, rows->lines, cut, span.columns))
            return false;
        *used += span.used;
        rows->lines += span.lines;
    }
    return true;
}

/* ---- plain text ---------------------------------------------------------- */

static size_t count_fields(const char *p, const char *end, char delimiter)
{
    size_t fields = 1;

    for (; p < end; p++)
        fields += *p == delimiter;
    return fields;
}

/* Nearly all rows of most logs: each wanted field is a short number, of the shape of the one before, and the
 * time a whole one. */
static bool take_short_row(struct scratch *s, const char *line)
{
    const int32_t *cut = s->rows->cut;

    s->row->whole = 0;
    s->row->fraction = 0.0;
    if (s->time_column < SIZE_MAX &&
        !sr_whole_short(line + cut[s->time_column] + 1, line + cut[s->time_column + 1], &s->row->whole))
        return false;
    for (size_t i = 0; i < s->numbers; i += SR_NUMBERS_BATCH)
        if (!sr_numbers_short(line, cut, s->column + i, s->number + i))
            return false;
    for (size_t i = SR_ROW_SLOW; s->gaps && i < s->rows->stride; i++)
        if (s->gap[i])
            s->number[i] = NAN;
    s->time = true;
    s->rates = s->all_rates;
    s->outputs = s->all_outputs;
    s->output_sum = 0.0;
    for (unsigned i = 0; i < s->outputs; i++)
        s->output_sum += s->number[s->rows->stride + i];
    return true;
}

/* Field by field, as far as the row has them. readable: bytes before an end may be read, whole words. */
static void take_odd_row(struct scratch *s, const char *line, size_t found, bool readable)
{
    scratch_start(s);
    for (size_t i = 0; i < s->layout->n_wanted && s->layout->wanted[i].column < found; i++) {
        struct sr_column *column = &s->wanted[i];
        const char *start = line + s->rows->cut[column->number] + 1;
        const char *end = line + s->rows->cut[column->number + 1];
        const enum sr_slot slot = s->layout->wanted[i].slot;
        struct value value = {0};
        bool taken = false;
        if (readable && slot == SR_SLOT_TIME) {
            taken = start < end && sr_whole_short(start, end, &value.whole);
        } else if (readable) {
            column->shape = sr_shape_of(sr_decimals_of(start, end)); /* the next may be like it */
            taken = start < end && sr_number_short(start, end, &column->shape, &value.number);
        }
        if (taken)
            store(s, slot, &value);
        else
            take_field(s, slot, start, end);
    }
}

/* The row [line, end) of the text [text, text_end). */
static void plain_row(struct scratch *s, const char *text, const char *text_end, const char *line,
                      const char *end)
{
    const char *stop = end > line && end[-1] == '\r' ? end - 1 : end; /* it would make the last field odd */
    const size_t found = sr_cuts_find(line, stop, text_end, s->layout->delimiter, s->rows->cut, s->columns);
    const bool readable = line - text >= 2 * SR_WORD_BYTES && end < text_end;

    if (!(readable && found == s->columns && take_short_row(s, line)))
        take_odd_row(s, line, found, readable);
}

static bool read_plainly(struct scratch *s, const char *text, size_t size, bool last, size_t most,
                         size_t *used)
{
    const struct sr_layout *layout = s->layout;
    struct sr_rows *rows = s->rows;
    const char *p = text;
    const char *end = text + size;

    while (p < end && (most == 0 || rows->seen < most)) {
        const char *stop = memchr(p, layout->line_end, (size_t)(end - p));
        if (stop == NULL && !last)
            break;
        const char *line = stop != NULL ? stop : end;
        if (!sr_line_is_blank(p, line, layout->delimiter)) {
            plain_row(s, text, end, p, line);
            if (!scratch_finish(s, rows->lines, stop == NULL,
                                stop == NULL ? count_fields(p, line, layout->delimiter) : 0))
                return false;
        }
        rows->lines++;
        p = stop != NULL ? stop + 1 : end;
    }
    *used = (size_t)(p - text);
    return true;
}

/* Which column each number of a row stands in. False: out of memory. */
static bool find_columns(struct scratch *s)
{
    const struct sr_layout *layout = s->layout;

    s->time_column = SIZE_MAX;
    for (size_t i = 0; i < layout->n_wanted; i++) {
        const enum sr_slot slot = layout->wanted[i].slot;
        struct sr_column *column = &s->wanted[i];
        *column = (struct sr_column){.number = layout->wanted[i].column, .shape = sr_shape_of(0)};
        if (slot == SR_SLOT_TIME)
            s->time_column = column->number;
        else if (slot == SR_SLOT_OUTPUT)
            s->column[s->rows->stride + s->all_outputs++] = column;
        else
            s->column[number_of(slot)] = column;
        if (slot >= SR_SLOT_RATE && slot < SR_SLOT_THROTTLE)
            s->all_rates |= 1U << (slot - SR_SLOT_RATE);
    }
    for (; s->numbers < s->rows->stride + s->all_outputs || s->numbers % SR_NUMBERS_BATCH != 0;
         s->numbers++) {
        s->gap[s->numbers] = s->column[s->numbers] == NULL;
        s->gaps = s->gaps || s->gap[s->numbers];
        if (s->gap[s->numbers]) /* one of them once more does no harm */
            s->column[s->numbers] = s->column[0];
    }
    s->columns = layout->n_wanted > 0 ? layout->wanted[layout->n_wanted - 1].column + 1 : 0;
    int32_t *cut = realloc(s->rows->cut, (s->columns + 1) * sizeof *cut);
    if (cut == NULL)
        return false;
    s->rows->cut = cut;
    return true;
}

bool sr_rows_read(struct sr_rows *rows, const struct sr_layout *layout, struct sr_csv *csv, const char *text,
                  size_t size, bool last, size_t most, size_t *used)
{
    struct sr_layout plain = *layout;
    struct scratch s = {.rows = rows, .layout = csv != NULL ? layout : &plain};

    /* Without quotes a comma that parts fields is no decimal mark. */
    plain.comma = layout->comma && layout->delimiter != ',';

    if (rows->stride != SR_ROW_SLOW + layout->n_slow)
        rows->room = 0; /* what there is was made for another layout */
    rows->stride = SR_ROW_SLOW + layout->n_slow;
    rows->count = 0;
    rows->seen = rows->bad = rows->without = 0;
    rows->lines = rows->first_bad = 0;
    rows->bad_text[0] = '\0';
    rows->comma_seen = false;
    if (!next_row(&s))
        return false;
    if (csv != NULL)
        return read_by_csv(&s, csv, text, size, last, most, used);
    return find_columns(&s) && read_plainly(&s, text, size, last, most, used);
}
