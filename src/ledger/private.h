/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: the columns, bytes of a ledger, and replacing a file in one step. */
#ifndef LEDGER_PRIVATE_H
#define LEDGER_PRIVATE_H

#include "stillrow/ledger.h"

/* Bytes that grow. `failed` remembers a lack of memory, so that it is asked for once. */
struct bytes {
    char *data;
    size_t size, room;
    bool failed;
};
void bytes_add(struct bytes *b, const char *data, size_t size);
void bytes_add_text(struct bytes *b, const char *text);
/* A cell, quoted where CSV needs it. */
void bytes_add_cell(struct bytes *b, const char *text);
void bytes_release(struct bytes *b);

/* Read a whole file. A missing one gives SR_ERR_OPEN with *missing set, if missing is not NULL. */
enum sr_status bytes_read(struct bytes *b, const char *path, bool *missing, struct sr_error *err);

/* A held lock. */
struct lock {
    int fd;
};
enum sr_status lock_take(struct lock *lock, const char *path, struct sr_error *err);
void lock_leave(struct lock *lock);

/* Replace `path` by these bytes: beside it, flushed to the disk, renamed. The old file stays on failure. */
enum sr_status replace_file(const char *path, const struct bytes *b, struct sr_error *err);

/* A ledger from bytes in memory; `path` is for messages. *header_end: offset behind the header's line end. */
enum sr_status ledger_parse(struct sr_ledger *ledger, const struct bytes *b, const char *path,
                            size_t *header_end, struct sr_error *err);

/* The text of known column `k` of a row into text[size]; "" for nothing. Texts are returned as they are. */
const char *column_text(const struct sr_ledger_row *row, size_t k, char *text, size_t size);

/* Set known column `k` of a row from a cell's text; false: *row->problem says why not. */
bool column_set(struct sr_ledger_row *row, size_t k, const char *text);

/* Index of a known column by name, or the count of them. */
size_t column_find(const char *name);

/* Check what no single cell shows: a fingerprint, a wobble. Sets readable and problem. */
void row_check(struct sr_ledger_row *row);

#endif
