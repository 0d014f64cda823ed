/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The kept rows: time and rates, growing as the file is read, 32 bytes a row.
 *
 * Slow channels are not kept row by row: they are averaged into the slow grid as
 * they come. Rows whose time goes back are dropped here; rows with equal stamps
 * are kept until the time base has decided what they mean.
 */
#ifndef SR_LOG_STORE_H
#define SR_LOG_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "log/layout.h"
#include "log/rows.h"
#include "stillrow/log.h"

/* Averages of the slow channels, a cell each SR_SLOW_STEP_S. */
struct sr_slow {
    size_t channels; /* 0, or 1 + motors */
    size_t cells;
    size_t room;
    double *sum[SR_SLOW_MAX];     /* [room] */
    uint32_t *count[SR_SLOW_MAX]; /* [room] */
    double low[SR_SLOW_MAX];      /* least and most seen, as written */
    double high[SR_SLOW_MAX];
};

struct sr_store {
    double seconds; /* what one unit of the time column is; with rows counted: of a row */
    bool counted;
    double *time_s;  /* [count] from the first row */
    double *rate[3]; /* [count] as written */
    unsigned char
        *skipped; /* [count] rows missing just before each, to be interpolated; NULL: none anywhere */
    size_t count;
    size_t room;
    size_t last_line;    /* of the last row */
    int64_t first_whole; /* the first row's stamp */
    double first_fraction;
    double wrapped_s; /* [s] added since a 32-bit counter wrapped */
    uint64_t wraps;
    bool strays;          /* rows before a jump of hours were dropped */
    uint64_t backward;    /* rows dropped: the time went back */
    size_t backward_line; /* line of the first of them */
    struct sr_behind {
        uint64_t next;  /* data row that would be one more of them, 0: there was none */
        size_t line;    /* of the first of the last ones that were dropped in a row */
        double first_s; /* [s] its time */
        double back_s;  /* [s] how far it went back */
    } behind;
    uint64_t rows; /* data rows so far */
    uint64_t bad, without;
    size_t first_bad_line;
    char bad_text[40];
    bool comma_seen;
    double pending[SR_SLOW_MAX]; /* slow values of the last row, until it is known to stay */
    struct sr_slow slow;
};

void sr_store_init(struct sr_store *store, const struct sr_layout *layout, double seconds);
/*
 * Make room for about so many rows at once, where the file's size tells: growing
 * in steps would copy. A wish, not a bound; false: out of memory.
 */
bool sr_store_reserve(struct sr_store *store, size_t rows);
void sr_store_release(struct sr_store *store);

/* Make `skipped`, all zero, unless it is there. No rows may be added or dropped after that. False: out of
 * memory. */
bool sr_store_mark(struct sr_store *store);

/*
 * Add a stretch of rows that starts at line first_line.
 * Errors: SR_ERR_MEMORY, SR_ERR_TIME (a jump of hours).
 */
enum sr_status sr_store_add(struct sr_store *store, const struct sr_rows *rows, size_t first_line,
                            const char *file, struct sr_error *err);

/* No more rows: the last row's slow values go in, spare room is given back. */
enum sr_status sr_store_finish(struct sr_store *store, const char *file, struct sr_error *err);

/* Mean of cell i of a channel, NAN if nothing fell into it. */
double sr_slow_mean(const struct sr_slow *slow, size_t channel, size_t cell);

#endif
