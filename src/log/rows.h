/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Text to rows of numbers, a stretch of whole lines at a time.
 *
 * Two readers give the same rows: libcsv, and a plain one for text without
 * quotes that looks at the wanted fields only. A stretch does not depend on what
 * came before it, so that stretches may be read side by side.
 */
#ifndef SR_LOG_ROWS_H
#define SR_LOG_ROWS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "log/csvrow.h"
#include "log/layout.h"

/* A row whose time and rates are all numbers. */
struct sr_row {
    int64_t whole; /* the time stamp is whole + fraction */
    double fraction;
    uint32_t ordinal; /* among the stretch's data rows, bad ones counted */
    uint32_t line;    /* its line, from the stretch's first */
};

#define SR_ROW_SLOW 3 /* of a row's numbers, the first slow one */

struct sr_rows {
    struct sr_row *row;
    double *number; /* [count][stride] as written: rates, then slow values, NAN where there is no number */
    size_t stride;
    int32_t *cut; /* where the fields of a line end: log/cuts.h */
    size_t count;
    size_t room;
    uint64_t seen;     /* data rows, good and bad */
    uint64_t bad;      /* a field that is no finite number, or too few fields */
    uint64_t without;  /* rows that carry a time but leave all three rates empty */
    size_t lines;      /* physical lines */
    size_t first_bad;  /* line of the first bad row, from 1 within the stretch, 0: none */
    char bad_text[40]; /* its field that is no number, cut; "" if fields are missing */
    bool comma_seen;   /* a decimal comma was met */
};

void sr_rows_release(struct sr_rows *rows);

/*
 * Read the rows in text[size] into *rows (emptied first).
 * csv: a libcsv reader to use, or NULL for the plain one.
 * last: the file ends here, so that a last line without line end is a row if it
 * has all the header's fields. most: stop after so many data rows, 0: no limit.
 * *used: bytes taken; the rest is an unfinished row. False: out of memory.
 */
bool sr_rows_read(struct sr_rows *rows, const struct sr_layout *layout, struct sr_csv *csv, const char *text,
                  size_t size, bool last, size_t most, size_t *used);

#endif
