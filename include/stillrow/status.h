/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How every fallible function of the library reports what went wrong.
 *
 * A function that can fail returns an sr_status and takes a `struct sr_error *`
 * as its last argument, which may be NULL. On failure it returns a status other
 * than SR_OK, fills in the error, and leaves its outputs as they were. The
 * library prints nothing, never exits and keeps no global state.
 */
#ifndef STILLROW_STATUS_H
#define STILLROW_STATUS_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum sr_status {
    SR_OK = 0,
    SR_ERR_ARGUMENT, /* a value outside the documented range */
    SR_ERR_MEMORY,   /* an allocation failed */
    SR_ERR_OPEN,     /* a file cannot be opened */
    SR_ERR_READ,     /* a file cannot be read to its end */
    SR_ERR_WRITE,    /* a file cannot be written, flushed or renamed */
    SR_ERR_FORMAT,   /* not the kind of file expected, or more than half bad */
    SR_ERR_COLUMNS,  /* a needed column is missing or ambiguous */
    SR_ERR_TIME,     /* the time base makes no sense */
    SR_ERR_SHORT,    /* too little usable data */
    SR_ERR_RATE,     /* sampled too slowly to see anything asked for */
    SR_ERR_RIG,      /* a rig file says something impossible */
    SR_ERR_DATA,     /* the data cannot carry the statistic asked for */
    SR_ERR_PLOT,     /* gnuplot is missing, or failed */
    SR_ERR_LOCK,     /* a file is held by another writer for too long */
    SR_STATUS_COUNT  /* how many there are; not a status */
};

/* What went wrong, where, and what to do about it. */
struct sr_error {
    enum sr_status status;
    char file[256]; /* name as given by the caller, "" where no file is at fault */
    size_t line;    /* [1-based line of the file], 0 where none is at fault */
    char text[480]; /* lower case, no full stop, the problem first */
};

/* A short phrase for a status, never NULL: "out of memory" for SR_ERR_MEMORY. */
const char *sr_status_text(enum sr_status status);

/*
 * Fill in *err (if not NULL) and return `status`, so that a caller can write
 * `return sr_fail(err, SR_ERR_OPEN, path, 0, "cannot open: %s", why);`.
 * file: may be NULL. line: 0 for none. Text longer than the field is cut.
 */
enum sr_status sr_fail(struct sr_error *err, enum sr_status status, const char *file, size_t line,
                       const char *format, ...) __attribute__((format(printf, 5, 6)));

#ifdef __cplusplus
}
#endif
#endif
