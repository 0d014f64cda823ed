/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Finding the header row: in which line, with which delimiter, and what its
 * columns are. Any number of preamble lines may come before it.
 */
#ifndef SR_LOG_HEADER_H
#define SR_LOG_HEADER_H

#include <stdbool.h>
#include <stddef.h>

#include "log/names.h"
#include "log/sets.h"
#include "log/spec.h"
#include "stillrow/log.h"

/* The head of a file, in memory. */
struct sr_head {
    const char *file; /* name for messages */
    const char *text;
    size_t size;
    bool last;  /* it is the whole file */
    bool plain; /* no quotes in it: the plain reader will do */
    char line_end;
};

struct sr_header {
    struct sr_name *name; /* [count] one a column; texts "" in a file without header */
    size_t count;
    struct sr_choice choice; /* with the columns the user named */
    char delimiter;
    bool comma; /* a comma within a field is a decimal mark */
    bool
        comma_open; /* whether bare commas are decimal marks cannot be told: they are taken to part columns */
    size_t line;    /* [1-based] of the header row, 0: there is none */
    size_t above;   /* fields of the row above the data where that is no header, 0: there is no such row */
    size_t start;   /* [bytes] first row after the header */
    size_t start_line; /* [1-based] its line */
};

/*
 * Find the header. counted: no time column is needed.
 * Errors: SR_ERR_COLUMNS (no row fits, with the names of the closest one; bare decimal commas between
 * commas), SR_ERR_MEMORY.
 */
enum sr_status sr_header_find(struct sr_header *header, const struct sr_head *head,
                              const struct sr_spec *spec, bool counted, struct sr_error *err);
void sr_header_release(struct sr_header *header);

#endif
