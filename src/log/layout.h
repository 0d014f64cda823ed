/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where in a row the wanted numbers are. Made once from the head of the file; the
 * row readers need nothing else.
 */
#ifndef SR_LOG_LAYOUT_H
#define SR_LOG_LAYOUT_H

#include <stdbool.h>
#include <stddef.h>

#include "log/header.h"
#include "stillrow/log.h"

/* What a wanted column is for. */
enum sr_slot {
    SR_SLOT_TIME = 0,
    SR_SLOT_RATE, /* three: x, y, z */
    SR_SLOT_THROTTLE = SR_SLOT_RATE + 3,
    SR_SLOT_OUTPUT, /* any number of columns, averaged within the row */
    SR_SLOT_MOTOR,  /* SR_MOTORS_MAX of them */
    SR_SLOTS = SR_SLOT_MOTOR + SR_MOTORS_MAX
};

/* Slow channels of a row: throttle (or the mean output) first, then the motors. */
#define SR_SLOW_MAX (1 + SR_MOTORS_MAX)

#define SR_WANTED_MAX (SR_SLOTS + SR_MOTORS_MAX)

struct sr_wanted {
    size_t column; /* 0-based */
    enum sr_slot slot;
};

struct sr_layout {
    char delimiter;
    char line_end;  /* '\n', or '\r' in a file that has no other */
    bool comma;     /* a comma may be a decimal mark */
    bool counted;   /* no time column: rows are counted */
    size_t columns; /* fields of the header row */
    struct sr_wanted wanted[SR_WANTED_MAX];
    size_t n_wanted;  /* in order of column */
    size_t n_slow;    /* slow channels in use: 0, or 1 + motors */
    size_t start;     /* [bytes] into the head of the file: first data row */
    size_t line;      /* [1-based] its line */
    double row_bytes; /* [bytes] of a row, as far as the first rows tell; 0: none was read */
};

/*
 * Lay out the columns of a header, fill in log->columns (units as far as written),
 * and note what was chosen. Errors: SR_ERR_COLUMNS (one column in two parts), SR_ERR_MEMORY.
 */
enum sr_status sr_layout_make(struct sr_layout *layout, struct sr_log *log, const struct sr_head *head,
                              const struct sr_header *header, bool counted, struct sr_error *err);

/*
 * Read the first rows with it to settle what the header left open: which of several
 * time columns holds numbers, and its unit. *seconds: what one unit of the time
 * column is. Errors: SR_ERR_TIME (no step to speak of), SR_ERR_MEMORY.
 */
enum sr_status sr_layout_probe(struct sr_layout *layout, struct sr_log *log, const struct sr_head *head,
                               struct sr_header *header, const char *time_unit, double *seconds,
                               struct sr_error *err);

#endif
