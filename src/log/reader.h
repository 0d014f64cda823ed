/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A read in progress: what the head of a file (read.c) hands to its body (body.c). */
#ifndef SR_LOG_READER_H
#define SR_LOG_READER_H

#include <locale.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "log/csvrow.h"
#include "log/header.h"
#include "log/layout.h"
#include "log/rows.h"
#include "log/spec.h"
#include "log/store.h"
#include "stillrow/log.h"

#define SR_BLOCK_BYTES ((size_t)1 << 20) /* read at a time; also the longest row */

/* A read in progress. */
struct sr_reader {
    FILE *stream;
    const struct sr_log_options *options;
    struct sr_spec spec;
    struct sr_log log; /* what is being made */
    struct sr_error *err;
    locale_t locale; /* in force while reading, in every thread */
    char *block;     /* [2 * SR_BLOCK_BYTES] */
    size_t size;     /* bytes in it */
    bool ended;      /* the stream has */
    uint64_t done;
    uint64_t total; /* [bytes] 0: unknown */
    size_t line;    /* [1-based] of the block's first byte */
    struct sr_header header;
    struct sr_layout layout;
    struct sr_csv csv;
    bool csv_made;
    bool quoted; /* a quote was met: libcsv reads from here on */
    struct sr_rows rows;
    struct sr_store store;
};

enum sr_status sr_reader_no_memory(const struct sr_reader *reader);

/* The file has a line longer than a block. */
enum sr_status sr_reader_too_long(const struct sr_reader *reader);

/* Fill the block up to `room` bytes, as far as the stream goes. Errors: SR_ERR_READ. */
enum sr_status sr_reader_fill(struct sr_reader *reader, size_t room, struct sr_error *err);

/* Drop the first `used` bytes of the block. */
void sr_reader_consume(struct sr_reader *reader, size_t used);

/*
 * Read all rows from the block's first byte to the end of the file into the store.
 * Errors: SR_ERR_READ, SR_ERR_FORMAT (a line longer than a block), SR_ERR_TIME, SR_ERR_MEMORY.
 */
enum sr_status sr_reader_body(struct sr_reader *reader);

#endif
