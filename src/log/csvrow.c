/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/csvrow.h"

#include <string.h>

#include "log/number.h"

static int ends_at_lf(unsigned char c)
{
    return c == '\n';
}

static int ends_at_cr(unsigned char c)
{
    return c == '\r';
}

/* A CR before a LF is a blank to be trimmed. */
static int is_space(unsigned char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

/* Where lines end at CR it is none: libcsv asks for blanks first, and would run two lines into one. */
static int is_space_but_cr(unsigned char c)
{
    return c == ' ' || c == '\t';
}

/* One call of sr_csv_row(), as libcsv's callbacks see it. */
struct call {
    sr_field_fn *field;
    void *context;
    size_t columns;
    bool row_ended;
};

static void on_field(void *text, size_t size, void *context)
{
    struct call *call = context;

    call->field(call->context, call->columns++, size > 0 ? text : "", size);
}

static void on_row(int end, void *context)
{
    struct call *call = context;

    (void)end;
    call->row_ended = true;
}

bool sr_csv_init(struct sr_csv *csv, char delimiter, char line_end)
{
    *csv = (struct sr_csv){.delimiter = delimiter, .line_end = line_end};
    if (csv_init(&csv->parser, 0) != 0)
        return false;
    csv_set_delim(&csv->parser, (unsigned char)delimiter);
    csv_set_term_func(&csv->parser, line_end == '\r' ? ends_at_cr : ends_at_lf);
    csv_set_space_func(&csv->parser, line_end == '\r' ? is_space_but_cr : is_space);
    return true;
}

void sr_csv_release(struct sr_csv *csv)
{
    csv_free(&csv->parser);
}

bool sr_line_is_blank(const char *text, const char *end, char delimiter)
{
    while (text < end && sr_is_blank(*text) && *text != delimiter)
        text++;
    return text == end;
}

/* A line into the parser; false: out of memory. */
static bool feed(struct sr_csv *csv, struct call *call, const char *text, size_t size)
{
    return csv_parse(&csv->parser, text, size, on_field, on_row, call) == size;
}

/* A line as a row of its own, whatever its quotes say. */
static bool feed_alone(struct sr_csv *csv, struct call *call, const char *text, size_t size)
{
    (void)csv_fini(&csv->parser, NULL, NULL, NULL); /* forget an open field */
    call->columns = 0;
    call->row_ended = false;
    if (!feed(csv, call, text, size))
        return false;
    return call->row_ended || csv_fini(&csv->parser, on_field, on_row, call) == 0;
}

bool sr_csv_row(struct sr_csv *csv, const char *text, const char *end, bool last, sr_field_fn *field,
                void *context, struct sr_csv_span *span)
{
    struct call call = {.field = field, .context = context};
    const char *p = text;
    const char *stop = NULL;
    size_t first = 0; /* bytes of the first line */
    size_t lines = 0;

    *span = (struct sr_csv_span){0};
    while (p < end && lines < SR_ROW_LINES && !call.row_ended) {
        stop = memchr(p, csv->line_end, (size_t)(end - p));
        if (stop == NULL && !last)
            break;
        const size_t size = stop != NULL ? (size_t)(stop - p) + 1 : (size_t)(end - p);
        if (lines == 0) {
            first = size;
            if (sr_line_is_blank(p, stop != NULL ? stop : end, csv->delimiter)) {
                *span = (struct sr_csv_span){.used = size, .lines = 1};
                return true;
            }
        }
        if (!feed(csv, &call, p, size))
            return false;
        p += size;
        lines++;
    }
    if (!call.row_ended) {
        const bool more_may_come = !last && lines < SR_ROW_LINES;
        if (more_may_come) {
            (void)csv_fini(&csv->parser, NULL, NULL, NULL);
            return true;
        }
        if (!feed_alone(csv, &call, text, first))
            return false;
        p = text + first;
        lines = 1;
    }
    *span = (struct sr_csv_span){.used = (size_t)(p - text), .lines = lines, .columns = call.columns};
    return true;
}
