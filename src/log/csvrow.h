/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One row of CSV at a time, read by libcsv: the reader of record.
 *
 * A row is a line, unless a quoted field holds line ends. A quote that is not
 * closed within SR_ROW_LINES lines is taken for a stray one: then the first line
 * stands alone, so that one bad quote costs one row and not the rest of the file.
 */
#ifndef SR_LOG_CSVROW_H
#define SR_LOG_CSVROW_H

#include <csv.h>
#include <stdbool.h>
#include <stddef.h>

#define SR_ROW_LINES 16 /* lines that a row with quoted line ends may span */

/* A field of the row; column 0 starts (or starts again) a row. */
typedef void sr_field_fn(void *context, size_t column, const char *text, size_t size);

struct sr_csv {
    struct csv_parser parser;
    char delimiter;
    char line_end;
};

/* What a row took. */
struct sr_csv_span {
    size_t used;    /* [bytes] with its line end, 0 if the row is not all there yet */
    size_t lines;   /* physical lines */
    size_t columns; /* its fields, 0 for a blank line */
};

/* line_end: '\n', or '\r' in a file that has no other. False: out of memory. */
bool sr_csv_init(struct sr_csv *csv, char delimiter, char line_end);
void sr_csv_release(struct sr_csv *csv);

/*
 * Read the row at the front of [text, end), its fields one by one to field().
 * last: nothing follows `end`. False: out of memory.
 */
bool sr_csv_row(struct sr_csv *csv, const char *text, const char *end, bool last, sr_field_fn *field,
                void *context, struct sr_csv_span *span);

/* Nothing but blanks before the line end (a tab is no blank where it delimits). */
bool sr_line_is_blank(const char *text, const char *end, char delimiter);

#endif
