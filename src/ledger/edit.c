/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Changing a ledger: the old bytes stay as they are, but for what is changed. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "private.h"
#include "support/plain_locale.h"

static void start_new(struct bytes *b)
{
    for (size_t k = 0; sr_ledger_column_name(k) != NULL; k++) {
        if (k > 0)
            bytes_add_text(b, ",");
        bytes_add_text(b, sr_ledger_column_name(k));
    }
    bytes_add_text(b, "\n");
}

size_t edit_column(const struct sr_ledger *ledger, const char *name, size_t nth)
{
    size_t c = 0;
    while (c < ledger->n_columns && (!cell_same(ledger->columns[c], name) || nth-- > 0))
        c++;
    return c;
}

size_t edit_nth(const char *const *names, size_t i)
{
    size_t nth = 0;
    for (size_t k = 0; k < i; k++)
        nth += cell_same(names[k], names[i]);
    return nth;
}

static bool is_lacking(const struct sr_ledger *ledger, const char *const *names, size_t i)
{
    return edit_column(ledger, names[i], edit_nth(names, i)) == ledger->n_columns;
}

static bool is_long(const struct sr_ledger *ledger, size_t row)
{
    return ledger_n_cells(ledger, row) > ledger->n_columns;
}

static bool any_long(const struct sr_ledger *ledger)
{
    size_t i = 0;
    while (i < ledger->n_rows && !is_long(ledger, i))
        i++;
    return i < ledger->n_rows;
}

/*
 * Old bytes with the names that the header lacks put behind its last. Rows that are too long get as many
 * empty cells more, or their surplus would come to lie under the new columns and be read there.
 */
static void extend_header(struct edit *e, const struct bytes *old, const char *const *names, size_t n_names,
                          size_t n_lacking)
{
    const struct sr_ledger *ledger = &e->ledger;
    size_t done = e->layout.header.to;

    bytes_add(&e->fresh, old->data, done);
    for (size_t i = 0; i < n_names; i++) {
        if (is_lacking(ledger, names, i)) {
            bytes_add(&e->fresh, &ledger->delimiter, 1);
            bytes_add_cell(&e->fresh, ledger->delimiter, names[i]);
        }
    }
    for (size_t i = 0; n_lacking > 0 && e->layout.cells != NULL && i < ledger->n_rows; i++) {
        size_t end = e->layout.cells[ledger->first[i + 1] - 1].to;
        if (!is_long(ledger, i))
            continue;
        bytes_add(&e->fresh, old->data + done, end - done);
        for (size_t k = 0; k < n_lacking; k++)
            bytes_add(&e->fresh, &ledger->delimiter, 1);
        done = end;
    }
    bytes_add(&e->fresh, old->data + done, old->size - done);
    if (old->data[old->size - 1] != '\n')
        bytes_add_text(&e->fresh, e->newline);
}

static enum sr_status read_old(struct bytes *old, const struct target *target, struct sr_error *err)
{
    if (target->exists) {
        enum sr_status status = bytes_read(old, target->real, target->path, err);
        if (status != SR_OK)
            return status;
    }
    if (old->size == 0)
        start_new(old);
    return old->failed ? sr_fail(err, SR_ERR_MEMORY, target->path, 0, "out of memory for the ledger") : SR_OK;
}

static enum sr_status parse(struct edit *e, const struct bytes *b, bool spans, struct sr_error *err)
{
    sr_ledger_release(&e->ledger);
    layout_release(&e->layout);
    if (b->failed)
        return sr_fail(err, SR_ERR_MEMORY, e->target.path, 0, "out of memory for the ledger");
    return ledger_parse(&e->ledger, &e->layout, b, e->target.path, spans, err);
}

static enum sr_status prepare(struct edit *e, const struct bytes *old, const char *const *names,
                              size_t n_names, bool spans, struct sr_error *err)
{
    size_t n_lacking = 0;

    enum sr_status status = parse(e, old, spans, err);
    if (status != SR_OK)
        return status;
    if (e->layout.open_line > 0)
        return sr_fail(err, SR_ERR_FORMAT, e->target.path, e->layout.open_line,
                       "a quote is opened here and never closed, so what is added below would be lost in it; "
                       "close it first");
    e->newline = e->layout.crlf ? "\r\n" : "\n";
    for (size_t i = 0; i < n_names; i++)
        n_lacking += is_lacking(&e->ledger, names, i);
    if (n_lacking > 0 && any_long(&e->ledger) && !spans)
        status = parse(e, old, true, err);
    if (status != SR_OK)
        return status;
    extend_header(e, old, names, n_names, n_lacking);
    /* Once more where that changed something, so that columns and places are those of the file to be. */
    if (n_lacking == 0 && !e->fresh.failed)
        return SR_OK;
    char delimiter = e->ledger.delimiter;
    status = parse(e, &e->fresh, spans, err);
    if (status == SR_OK && e->ledger.delimiter != delimiter)
        status =
            sr_fail(err, SR_ERR_FORMAT, e->target.path, 1,
                    "a column to be added has names of columns in its own, so the first row could not be "
                    "read any more; rename it");
    return status;
}

enum sr_status edit_locate(struct edit *e, struct sr_error *err)
{
    struct sr_ledger again;
    struct layout layout;

    if (e->layout.cells != NULL)
        return SR_OK;
    if (e->fresh.failed)
        return sr_fail(err, SR_ERR_MEMORY, e->target.path, 0, "out of memory for the ledger");
    enum sr_status status = ledger_parse(&again, &layout, &e->fresh, e->target.path, true, err);
    if (status != SR_OK)
        return status;
    sr_ledger_release(&again);
    layout_release(&e->layout);
    e->layout = layout;
    return SR_OK;
}

enum sr_status edit_begin(struct edit *e, const char *path, const char *const *names, size_t n_names,
                          bool spans, struct sr_error *err)
{
    struct bytes old = {0};

    memset(e, 0, sizeof *e);
    enum sr_status status = target_take(&e->target, path, LOCK_WAIT_S, err);
    if (status == SR_OK)
        status = read_old(&old, &e->target, err);
    if (status == SR_OK)
        status = prepare(e, &old, names, n_names, spans, err);
    bytes_release(&old);
    return status;
}

enum sr_status edit_write(const struct edit *e, const struct bytes *b, struct sr_error *err)
{
    return target_replace(&e->target, b, err);
}

void edit_end(struct edit *e)
{
    sr_ledger_release(&e->ledger);
    layout_release(&e->layout);
    bytes_release(&e->fresh);
    target_leave(&e->target);
}

static void append_row(struct edit *e, const struct sr_ledger_row *row)
{
    const struct sr_ledger *ledger = &e->ledger;
    char text[64], number[64];

    for (size_t c = 0; c < ledger->n_columns; c++) {
        size_t k = column_find(ledger->columns[c]);
        if (c > 0)
            bytes_add(&e->fresh, &ledger->delimiter, 1);
        if (sr_ledger_column_name(k) == NULL)
            continue;
        const char *cell = column_text(row, k, text, sizeof text);
        bytes_add_text_cell(&e->fresh, ledger->delimiter,
                            column_with(k, cell, '.', ledger->decimal, number, sizeof number));
    }
    bytes_add_text(&e->fresh, e->newline);
}

/* A row that a reader would call unreadable is not written. */
static enum sr_status check_row(const struct sr_ledger_row *row, struct sr_error *err)
{
    struct sr_ledger_row copy;
    char text[64];

    row_clear(&copy);
    for (size_t k = 0; sr_ledger_column_name(k) != NULL; k++)
        column_set(&copy, k, column_text(row, k, text, sizeof text), '.');
    row_check(&copy);
    return copy.readable ? SR_OK : sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "%s", copy.problem);
}

static enum sr_status add_plainly(const char *path, const struct sr_ledger_row *row, enum sr_added *added,
                                  struct sr_error *err)
{
    const char *names[64];
    size_t n = 0;
    bool known = false;
    struct edit e;

    enum sr_status status = check_row(row, err);
    if (status != SR_OK)
        return status;
    for (; n < sizeof names / sizeof *names && sr_ledger_column_name(n) != NULL; n++)
        names[n] = sr_ledger_column_name(n);
    status = edit_begin(&e, path, names, n, false, err);
    for (size_t i = 0; status == SR_OK && !known && i < e.ledger.n_rows; i++)
        known = e.ledger.rows[i].readable && row_compare_flights(&e.ledger.rows[i], row) == 0;
    if (status == SR_OK && !known) {
        append_row(&e, row);
        status = edit_write(&e, &e.fresh, err);
    }
    if (status == SR_OK)
        *added = known ? SR_ADDED_BEFORE : SR_ADDED;
    edit_end(&e);
    return status;
}

enum sr_status sr_ledger_add(const char *path, const struct sr_ledger_row *row, enum sr_added *added,
                             struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = add_plainly(path, row, added, err);
    sr_plain_end(&locale);
    return status;
}

/* Give the rows whose fingerprint begins so, all of one log, this text. */
static enum sr_status match_rows(const struct edit *e, const char *fingerprint, const char *text,
                                 const char **texts, struct sr_error *err)
{
    const char *whole = NULL;

    for (size_t i = 0; i < e->ledger.n_rows; i++) {
        const struct sr_ledger_row *row = &e->ledger.rows[i];
        if (!row->readable || fingerprint[0] == '\0' || !sr_ledger_has_print(row, fingerprint))
            continue;
        if (whole != NULL && compare_prints(whole, row->fingerprint, SIZE_MAX) != 0)
            return sr_fail(err, SR_ERR_DATA, e->target.path, row->line,
                           "'%.20s' begins more than one fingerprint; give more of it", fingerprint);
        whole = row->fingerprint;
        /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference): the caller made room for every row */
        texts[i] = text;
    }
    return whole != NULL ? SR_OK
                         : sr_fail(err, SR_ERR_DATA, e->target.path, 0,
                                   "no flight of fingerprint '%.20s' is in this ledger", fingerprint);
}

void edit_exchange(const struct edit *e, edit_text *text_of, const void *context, struct bytes *out)
{
    const struct sr_ledger *ledger = &e->ledger;
    char room[CELL_ROOM];
    size_t done = 0;

    for (size_t i = 0; i < ledger->n_rows; i++) {
        const struct span *cells = e->layout.cells + ledger->first[i];
        size_t n_cells = ledger_n_cells(ledger, i), width = n_cells;
        for (size_t c = 0; c < ledger->n_columns; c++) {
            const char *text = text_of(context, i, c, room);
            if (text == NULL)
                continue;
            size_t to = c < n_cells ? cells[c].from : cells[n_cells - 1].to;
            bytes_add(out, e->fresh.data + done, to - done);
            for (; width <= c; width++)
                bytes_add(out, &ledger->delimiter, 1);
            bytes_add_cell(out, ledger->delimiter, text);
            done = c < n_cells ? cells[c].to : to;
        }
    }
    bytes_add(out, e->fresh.data + done, e->fresh.size - done);
}

/* The cells that `rate` exchanges. */
struct rated {
    size_t column;
    const char **texts; /* [rows] NULL: stays */
};

static const char *rated_text(const void *context, size_t row, size_t column, char room[CELL_ROOM])
{
    const struct rated *rated = context;
    (void)room;
    return column == rated->column ? rated->texts[row] : NULL;
}

static enum sr_status rate_plainly(const char *path, const char *fingerprint, enum sr_rating rating,
                                   struct sr_error *err)
{
    static const char *const names[] = {"rating"};
    struct bytes out = {0};
    struct edit e;
    const char **texts = NULL;

    if (sr_rating_name(rating)[0] == '\0' && rating != SR_UNRATED)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "no such rating");
    enum sr_status status = edit_begin(&e, path, names, 1, true, err);
    if (status == SR_OK) {
        texts = calloc(e.ledger.n_rows + 1, sizeof *texts);
        if (texts == NULL)
            status = sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    }
    if (status == SR_OK)
        status = match_rows(&e, fingerprint, sr_rating_name(rating), texts, err);
    if (status == SR_OK) {
        const struct rated rated = {edit_column(&e.ledger, "rating", 0), texts};
        edit_exchange(&e, rated_text, &rated, &out);
        status = edit_write(&e, &out, err);
    }
    bytes_release(&out);
    free(texts);
    edit_end(&e);
    return status;
}

enum sr_status sr_ledger_rate(const char *path, const char *fingerprint, enum sr_rating rating,
                              struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = rate_plainly(path, fingerprint, rating, err);
    sr_plain_end(&locale);
    return status;
}
