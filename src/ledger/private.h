/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: the columns, bytes of a ledger, and replacing a file in one step. */
#ifndef LEDGER_PRIVATE_H
#define LEDGER_PRIVATE_H

#include <sys/stat.h>

#include "stillrow/ledger.h"

/* ---- Bytes ---------------------------------------------------------------- */

/* Bytes that grow. `failed` remembers a lack of memory, so that it is asked for once. */
struct bytes {
    char *data;
    size_t size, room;
    bool failed;
};
void bytes_add(struct bytes *b, const char *data, size_t size);
void bytes_add_text(struct bytes *b, const char *text);
/* A cell, quoted where CSV with this delimiter needs it. */
void bytes_add_cell(struct bytes *b, char delimiter, const char *text);

/*
 * A cell that a spreadsheet would take for a formula ("=…", "+…", "-…", "@…" that are no numbers, be it with
 * a point or a comma), or a
 * fingerprint that it would take for a number and round (one in 770 reads as one), is written with an
 * apostrophe before it (common practice), which is taken off in reading: a name stays the same name. The
 * first is for a text as it is meant, in which such apostrophes are its own, the others for cells of a ledger
 * as they are.
 */
void bytes_add_text_cell(struct bytes *b, char delimiter, const char *text);
const char *cell_unguarded(const char *text);
bool cell_needs_guard(const char *text);
bool cell_same(const char *a, const char *b); /* guarded or not */
void bytes_release(struct bytes *b);

/* ---- Files ---------------------------------------------------------------- */

#define LOCK_WAIT_S 30.0

/* A file that is about to be replaced. */
struct target {
    const char *path; /* as the caller named it, for messages */
    char *real;       /* behind symbolic links */
    bool exists;
    int lock;                /* file descriptor, -1: not held */
    bool by_turns, has_turn; /* lock.c's, where a lock does not keep threads apart */
};

/* Look at `path`, refuse what must not be replaced, and take its lock. target_leave() in any case. */
enum sr_status target_take(struct target *target, const char *path, double wait_s, struct sr_error *err);
void target_leave(struct target *target);

/* The target's name with a suffix; free() it. NULL: out of memory. */
char *target_beside(const struct target *target, const char *suffix);

/* Take and leave a target's lock against other programs and other threads; info: of the ledger, if it exists.
 * No thread may take two. */
enum sr_status lock_take(struct target *target, const struct stat *info, double wait_s, struct sr_error *err);
void lock_leave(struct target *target);

/* Read the whole file at `path`; `name` is for messages. */
enum sr_status bytes_read(struct bytes *b, const char *path, const char *name, struct sr_error *err);

/* Replace the target by these bytes: beside it, flushed to the disk, renamed. The old file stays on failure.
 */
enum sr_status target_replace(const struct target *target, const struct bytes *b, struct sr_error *err);

/* ---- A ledger in its bytes ------------------------------------------------ */

struct span {
    size_t from, to;
};

/* How a ledger lies in its bytes. */
struct layout {
    struct span header; /* the first row, without its line end */
    size_t header_line; /* [1-based] where it begins */
    bool crlf;          /* the first row ends so */
    size_t open_line;   /* line of the row whose quoted cell is never closed, 0: none */
    struct span *cells; /* as sr_ledger.cells, quotes and blanks included; NULL unless asked for */
};

/* A ledger from bytes in memory; `path` is for messages. spans: find out where each cell lies, too (slower).
 * Release both. */
enum sr_status ledger_parse(struct sr_ledger *ledger, struct layout *layout, const struct bytes *b,
                            const char *path, bool spans, struct sr_error *err);
void layout_release(struct layout *layout);

/* Cells of a row. */
size_t ledger_n_cells(const struct sr_ledger *ledger, size_t row);

/* ---- Letters --------------------------------------------------------------- */

/* Of A to Z, in every locale; other bytes as they are, 0..255. */
static inline int lower_case(char c)
{
    return c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : (unsigned char)c;
}

/* ---- Columns -------------------------------------------------------------- */

/* A row in which nothing is known. */
void row_clear(struct sr_ledger_row *row);

/* The text of known column `k` of a row; "" for nothing. Numbers are written into text[size]. */
const char *column_text(const struct sr_ledger_row *row, size_t k, char *text, size_t size);

/* Set known column `k` of a row from a cell's text; a text that makes no sense is said in row->problem.
 * decimal: '.' or ',', of numbers. */
void column_set(struct sr_ledger_row *row, size_t k, const char *text, char decimal);

/* Whether column `k` is one of numbers, and the text a number with this decimal sign, or with none. */
bool column_reads(size_t k, const char *text, char decimal);
/* The decimal sign with which it is one; 0: with none in it, or it is no number. */
char column_decimal(size_t k, const char *text);
/* Whether a number's sign may be one between thousands, as in "1.234", but not in "0.234" or "1.23". */
bool column_may_group(const char *text);
/* The text with another decimal sign, in room[size], where it is a number with the first one; else as it is.
 */
const char *column_with(size_t k, const char *text, char from, char to, char *room, size_t size);

/* Index of a known column by name, or the count of them. */
size_t column_find(const char *name);

/* Whether column k holds the version, and the text one that is newer than this program. */
bool column_is_newer(size_t k, const char *text);

/* Check what no single cell shows: a fingerprint, a wobble. Sets readable and problem. */
void row_check(struct sr_ledger_row *row);

/* Two fingerprints, or the first `length` letters of them, in an order in which case does not count. */
int compare_prints(const char *a, const char *b, size_t length);

/* An order of rows in which those of the same fingerprint, build, camera and hardness are equal (0): the same
 * flight. Those of one fingerprint stand together. */
int row_compare_flights(const struct sr_ledger_row *a, const struct sr_ledger_row *b);

/* Of several rows of the same flight keep the first; the order stays. Returns how many of the n are left. */
size_t rows_once(const struct sr_ledger_row **rows, size_t n);

/* ---- Changing a ledger ---------------------------------------------------- */

/* A ledger held under its lock, and the bytes it is about to become. */
struct edit {
    struct target target;
    struct bytes fresh;      /* what was there, with the columns that were asked for */
    struct sr_ledger ledger; /* that, understood */
    struct layout layout;
    const char *newline; /* as the file's own */
};

/* Lock, read (or begin) a ledger, with the columns `names` made sure of. edit_end() in any case. */
enum sr_status edit_begin(struct edit *edit, const char *path, const char *const *names, size_t n_names,
                          bool spans, struct sr_error *err);
enum sr_status edit_write(const struct edit *edit, const struct bytes *b, struct sr_error *err);
void edit_end(struct edit *edit);

/* Find out where each cell lies, if that was not asked for; before a row is put behind the last. */
enum sr_status edit_locate(struct edit *edit, struct sr_error *err);

/* What a cell is exchanged for, maybe written into room; NULL: it stays. */
#define CELL_ROOM 160
typedef const char *edit_text(const void *context, size_t row, size_t column, char room[CELL_ROOM]);

/* The bytes it is about to become with cells exchanged. Each cell's place must have been found out. */
void edit_exchange(const struct edit *edit, edit_text *text_of, const void *context, struct bytes *out);

/* Index of the nth (from 0) column of that name, or the count of columns. Only the empty name may come twice.
 */
size_t edit_column(const struct sr_ledger *ledger, const char *name, size_t nth);
/* How many of names[0..i) are the same as names[i]. */
size_t edit_nth(const char *const *names, size_t i);

#endif
