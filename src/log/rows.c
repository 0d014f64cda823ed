/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "log/number.h"
#include "log/short.h"

#define ALL_RATES 7U
#define MOST      1e12 /* no rate, throttle or speed is written in larger numbers: broken text */

/* The row being read. */
struct scratch {
    struct sr_rows *rows;
    const struct sr_layout *layout;
    struct sr_row row;
    double slow[SR_SLOW_MAX];
    double output_sum;
    unsigned outputs;
    bool time;      /* read */
    unsigned rates; /* bit per axis read */
    unsigned empty; /* bit per axis left empty */
    size_t next;    /* next wanted column */
    char bad_text[sizeof((struct sr_rows *)0)->bad_text];
};

void sr_rows_release(struct sr_rows *rows)
{
    free(rows->row);
    free(rows->slow);
    *rows = (struct sr_rows){0};
}

static bool rows_grow(struct sr_rows *rows, size_t n_slow)
{
    const size_t room = rows->room < 1024 ? 4096 : rows->room * 2;
    struct sr_row *row;

    if (room > SIZE_MAX / sizeof *row / 2 || room > SIZE_MAX / sizeof(double) / SR_SLOW_MAX)
        return false;
    row = realloc(rows->row, room * sizeof *row);
    if (row == NULL)
        return false;
    rows->row = row;
    if (n_slow > 0) {
        double *slow = realloc(rows->slow, room * n_slow * sizeof *slow);
        if (slow == NULL)
            return false;
        rows->slow = slow;
    }
    rows->room = room;
    return true;
}

static void scratch_start(struct scratch *s)
{
    s->time = s->layout->counted;
    s->rates = s->empty = s->outputs = 0;
    s->output_sum = 0.0;
    s->next = 0;
    s->bad_text[0] = '\0';
    for (size_t i = 0; i < s->layout->n_slow; i++)
        s->slow[i] = NAN;
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
    const char *stop = sr_number_short(text, end, &value->number);
    if (stop != NULL && !(comma && *stop == ','))
        return stop; /* far under MOST: the next field need not wait for this one's value */
    stop = sr_number_scan(text, end, comma, &value->number);
    return stop != NULL && fabs(value->number) < MOST ? stop : NULL;
}

static void store(struct scratch *s, enum sr_slot slot, const struct value *value)
{
    if (slot == SR_SLOT_TIME) {
        s->row.whole = value->whole;
        s->row.fraction = value->number;
        s->time = true;
    } else if (slot < SR_SLOT_THROTTLE) {
        s->row.rate[slot - SR_SLOT_RATE] = value->number;
        s->rates |= 1U << (slot - SR_SLOT_RATE);
    } else if (slot == SR_SLOT_OUTPUT) {
        s->output_sum += value->number;
        s->outputs++;
    } else {
        s->slow[slot == SR_SLOT_THROTTLE ? 0 : 1 + slot - SR_SLOT_MOTOR] = value->number;
    }
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
    const size_t n_slow = s->layout->n_slow;
    const uint64_t ordinal = rows->seen++;
    const bool cut = strict && columns < s->layout->columns;

    if (s->time && s->rates == ALL_RATES && !cut) {
        if (rows->count == rows->room && !rows_grow(rows, n_slow))
            return false;
        s->row.ordinal = (uint32_t)ordinal;
        s->row.line = (uint32_t)line;
        rows->row[rows->count] = s->row;
        if (n_slow > 0) {
            if (s->outputs > 0)
                s->slow[0] = s->output_sum / s->outputs;
            for (size_t i = 0; i < n_slow; i++) /* a handful: a call would take longer */
                rows->slow[rows->count * n_slow + i] = s->slow[i];
        }
        rows->count++;
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

/* Bytes of `word` that are zero, as a count: exact, no carry between bytes (Warren, Hacker's Delight, 6-1).
 */
static unsigned zero_bytes(uint64_t word)
{
    const uint64_t low = 0x7F7F7F7F7F7F7F7FU;
    const uint64_t zero = ~(((word & low) + low) | word | low);

    return (unsigned)(((zero >> 7) * 0x0101010101010101U) >> 56);
}

/* Just past the count-th delimiter in [p, end), or NULL if there are fewer. count >= 1. */
static const char *skip_fields(const char *p, const char *end, char delimiter, size_t count)
{
    const uint64_t pattern = 0x0101010101010101U * (unsigned char)delimiter;

    while (end - p >= 8) {
        uint64_t word;
        memcpy(&word, p, sizeof word);
        const unsigned found = zero_bytes(word ^ pattern);
        if (found >= count)
            break;
        count -= found;
        p += 8;
    }
    for (; p < end; p++)
        if (*p == delimiter && --count == 0)
            return p + 1;
    return NULL;
}

static size_t count_fields(const char *p, const char *end, char delimiter)
{
    size_t fields = 1;

    for (; p < end; p++)
        fields += *p == delimiter;
    return fields;
}

/*
 * The wanted field that starts at p; returns its end (delimiter or end of line).
 * Mostly the number ends where the field does, so that the delimiter need not be
 * looked for; where a delimiter could pass for a part of the number, it is.
 */
static const char *plain_field(struct scratch *s, enum sr_slot slot, const char *p, const char *end)
{
    const char delimiter = s->layout->delimiter;
    struct value value = {0};
    const char *stop;

    if (delimiter == ',') {
        stop = scan(s, slot, p, end, &value);
        while (stop != NULL && stop < end && sr_is_blank(*stop))
            stop++;
        if (stop != NULL && (stop == end || *stop == delimiter)) {
            store(s, slot, &value);
            return stop;
        }
    }
    stop = memchr(p, delimiter, (size_t)(end - p));
    if (stop == NULL)
        stop = end;
    take_field(s, slot, p, stop);
    return stop;
}

static void plain_row(struct scratch *s, const char *p, const char *end)
{
    const struct sr_layout *layout = s->layout;
    size_t column = 0;

    scratch_start(s);
    for (size_t i = 0; i < layout->n_wanted; i++) {
        const size_t skip = layout->wanted[i].column - column;
        if (skip == 1 && i > 0 && p < end)
            p++; /* the field before ended at its delimiter */
        else if (skip > 0)
            p = skip_fields(p, end, layout->delimiter, skip);
        if (p == NULL)
            return;
        p = plain_field(s, layout->wanted[i].slot, p, end);
        column = layout->wanted[i].column;
    }
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
            plain_row(s, p, line);
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

bool sr_rows_read(struct sr_rows *rows, const struct sr_layout *layout, struct sr_csv *csv, const char *text,
                  size_t size, bool last, size_t most, size_t *used)
{
    struct sr_layout plain = *layout;
    struct scratch s = {.rows = rows, .layout = csv != NULL ? layout : &plain};

    /* Without quotes a comma that parts fields is no decimal mark. */
    plain.comma = layout->comma && layout->delimiter != ',';

    rows->count = 0;
    rows->seen = rows->bad = rows->without = 0;
    rows->lines = rows->first_bad = 0;
    rows->bad_text[0] = '\0';
    rows->comma_seen = false;
    if (csv != NULL)
        return read_by_csv(&s, csv, text, size, last, most, used);
    return read_plainly(&s, text, size, last, most, used);
}
