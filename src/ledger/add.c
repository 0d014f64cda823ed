/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Adding to a ledger: the old bytes stay as they are, new rows follow them. */
#include <stdlib.h>
#include <string.h>

#include "private.h"

/* A ledger held under its lock, and the bytes it is about to become. */
struct edit {
    struct lock lock;
    struct bytes old, fresh;
    struct sr_ledger ledger; /* what was there */
};

static void start_new(struct bytes *b)
{
    for (size_t k = 0; sr_ledger_column_name(k) != NULL; k++) {
        if (k > 0)
            bytes_add_text(b, ",");
        bytes_add_text(b, sr_ledger_column_name(k));
    }
    bytes_add_text(b, "\n");
}

static bool has_column(const struct sr_ledger *ledger, const char *name)
{
    for (size_t c = 0; c < ledger->n_columns; c++)
        if (strcmp(ledger->columns[c], name) == 0)
            return true;
    return false;
}

/* Old bytes with `names` that the header lacks appended to it. */
static void copy_with_header(struct edit *e, size_t header_end, const char *const *names, size_t n_names)
{
    size_t end = header_end;
    while (end > 0 && (e->old.data[end - 1] == '\n' || e->old.data[end - 1] == '\r'))
        end--;
    bytes_add(&e->fresh, e->old.data, end);
    for (size_t i = 0; i < n_names; i++) {
        bytes_add_text(&e->fresh, ",");
        bytes_add_cell(&e->fresh, names[i]);
    }
    if (end == header_end)
        bytes_add_text(&e->fresh, "\n");
    bytes_add(&e->fresh, e->old.data + end, e->old.size - end);
    if (e->fresh.size > 0 && e->fresh.data != NULL && e->fresh.data[e->fresh.size - 1] != '\n')
        bytes_add_text(&e->fresh, "\n");
}

static void edit_end(struct edit *e)
{
    sr_ledger_release(&e->ledger);
    bytes_release(&e->old);
    bytes_release(&e->fresh);
    lock_leave(&e->lock);
}

/*
 * Lock, read (or begin) and copy a ledger, with the columns `names` made sure of.
 * Call edit_end() in any case.
 */
static enum sr_status edit_begin(struct edit *e, const char *path, const char *const *names, size_t n_names,
                                 struct sr_error *err)
{
    bool missing = false;
    size_t header_end = 0, n_lacking = 0;

    *e = (struct edit){.lock = {-1}};
    enum sr_status status = lock_take(&e->lock, path, err);
    if (status != SR_OK)
        return status;
    status = bytes_read(&e->old, path, &missing, err);
    if (missing) {
        start_new(&e->old);
        status = e->old.failed ? sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger") : SR_OK;
    }
    if (status == SR_OK)
        status = ledger_parse(&e->ledger, &e->old, path, &header_end, err);
    if (status != SR_OK)
        return status;

    const char **lacking = calloc(n_names > 0 ? n_names : 1, sizeof *lacking);
    if (lacking == NULL)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    for (size_t i = 0; i < n_names; i++)
        if (!has_column(&e->ledger, names[i]))
            lacking[n_lacking++] = names[i];
    copy_with_header(e, header_end, lacking, n_lacking);
    free(lacking);

    /* Parse once more, so that the columns are those of the file to be. */
    if (n_lacking > 0 && !e->fresh.failed) {
        sr_ledger_release(&e->ledger);
        status = ledger_parse(&e->ledger, &e->fresh, path, &header_end, err);
    }
    return status;
}

static bool same_text(const char *a, const char *b)
{
    return strcmp(a != NULL ? a : "", b != NULL ? b : "") == 0;
}

static bool same_number(double a, double b)
{
    return a <= b && b <= a;
}

/* The same log seen through another camera or said to be on another mount is another row. */
static bool same_flight(const struct sr_ledger_row *a, const struct sr_ledger_row *b)
{
    bool hardness =
        same_number(a->shore_a, b->shore_a) || (a->shore_a != a->shore_a && b->shore_a != b->shore_a);
    return same_text(a->fingerprint, b->fingerprint) && same_text(a->build, b->build) &&
           same_text(a->camera, b->camera) && hardness;
}

static bool is_there(const struct sr_ledger *ledger, const struct sr_ledger_row *row)
{
    for (size_t i = 0; i < ledger->n_rows; i++)
        if (ledger->rows[i].readable && same_flight(&ledger->rows[i], row))
            return true;
    return false;
}

static void append_row(struct edit *e, const struct sr_ledger_row *row)
{
    char text[64];
    for (size_t c = 0; c < e->ledger.n_columns; c++) {
        size_t k = column_find(e->ledger.columns[c]);
        if (c > 0)
            bytes_add_text(&e->fresh, ",");
        if (sr_ledger_column_name(k) != NULL)
            bytes_add_cell(&e->fresh, column_text(row, k, text, sizeof text));
    }
    bytes_add_text(&e->fresh, "\n");
}

enum sr_status sr_ledger_add(const char *path, const struct sr_ledger_row *row, enum sr_added *added,
                             struct sr_error *err)
{
    const char *names[64];
    size_t n = 0;
    struct edit e;

    while (n < sizeof names / sizeof *names && sr_ledger_column_name(n) != NULL) {
        names[n] = sr_ledger_column_name(n);
        n++;
    }
    enum sr_status status = edit_begin(&e, path, names, n, err);
    bool known = status == SR_OK && is_there(&e.ledger, row);
    if (status == SR_OK && !known) {
        append_row(&e, row);
        status = replace_file(path, &e.fresh, err);
    }
    if (status == SR_OK)
        *added = known ? SR_ADDED_BEFORE : SR_ADDED;
    edit_end(&e);
    return status;
}

/* A row of another ledger, its cells put under this one's columns. */
static void append_foreign(struct edit *e, const struct sr_ledger *from, size_t row, const size_t *column_of)
{
    for (size_t c = 0; c < e->ledger.n_columns; c++) {
        if (c > 0)
            bytes_add_text(&e->fresh, ",");
        if (column_of[c] < from->n_columns)
            bytes_add_cell(&e->fresh, sr_ledger_cell(from, row, column_of[c]));
    }
    bytes_add_text(&e->fresh, "\n");
}

/* An unreadable row is known if a row of the very same cells is there. */
static bool same_cells(const struct edit *e, const struct sr_ledger *from, size_t row,
                       const size_t *column_of)
{
    for (size_t i = 0; i < e->ledger.n_rows; i++) {
        bool same = !e->ledger.rows[i].readable;
        for (size_t c = 0; c < e->ledger.n_columns && same; c++)
            same = strcmp(sr_ledger_cell(&e->ledger, i, c),
                          column_of[c] < from->n_columns ? sr_ledger_cell(from, row, column_of[c]) : "") == 0;
        if (same)
            return true;
    }
    return false;
}

static int by_fingerprint(const void *x, const void *y)
{
    const struct sr_ledger_row *const *a = x, *const *b = y;
    return strcmp((*a)->fingerprint, (*b)->fingerprint);
}

/* Rows of the ledger sorted by fingerprint, so that merging large ledgers stays quick. */
static bool is_among(const struct sr_ledger_row *const *sorted, size_t n, const struct sr_ledger_row *row)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(sorted[middle]->fingerprint, row->fingerprint) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    for (; low < n && same_text(sorted[low]->fingerprint, row->fingerprint); low++)
        if (same_flight(sorted[low], row))
            return true;
    return false;
}

static bool repeated_before(const struct sr_ledger *from, const struct sr_ledger_row *const *sorted_from,
                            size_t n, size_t row)
{
    /* Of equal rows within the source itself, the first is taken. */
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(sorted_from[middle]->fingerprint, from->rows[row].fingerprint) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    for (; low < n && same_text(sorted_from[low]->fingerprint, from->rows[row].fingerprint); low++)
        if (sorted_from[low] < &from->rows[row] && same_flight(sorted_from[low], &from->rows[row]))
            return true;
    return false;
}

static const struct sr_ledger_row **sort_rows(const struct sr_ledger *ledger, size_t *n)
{
    const struct sr_ledger_row **sorted = calloc(ledger->n_rows > 0 ? ledger->n_rows : 1, sizeof *sorted);
    *n = 0;
    for (size_t i = 0; sorted != NULL && i < ledger->n_rows; i++)
        if (ledger->rows[i].readable)
            sorted[(*n)++] = &ledger->rows[i];
    if (sorted != NULL)
        qsort(sorted, *n, sizeof *sorted, by_fingerprint);
    return sorted;
}

static enum sr_status carry_over(struct edit *e, const struct sr_ledger *from, struct sr_merge_count *count,
                                 struct sr_error *err)
{
    size_t n = 0, n_from = 0;
    size_t *column_of = calloc(e->ledger.n_columns, sizeof *column_of);
    const struct sr_ledger_row **sorted = sort_rows(&e->ledger, &n), **sorted_from = sort_rows(from, &n_from);
    enum sr_status status = SR_OK;

    if (column_of == NULL || sorted == NULL || sorted_from == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the ledgers");
    } else {
        for (size_t c = 0; c < e->ledger.n_columns; c++)
            for (column_of[c] = 0; column_of[c] < from->n_columns; column_of[c]++)
                if (strcmp(e->ledger.columns[c], from->columns[column_of[c]]) == 0)
                    break;
        for (size_t i = 0; i < from->n_rows; i++) {
            bool readable = from->rows[i].readable;
            bool known = readable ? is_among(sorted, n, &from->rows[i]) ||
                                        repeated_before(from, sorted_from, n_from, i)
                                  : same_cells(e, from, i, column_of);
            if (!known)
                append_foreign(e, from, i, column_of);
            count->added += !known && readable;
            count->unreadable += !known && !readable;
            count->known += known;
        }
    }
    free(sorted_from);
    free(sorted);
    free(column_of);
    return status;
}

enum sr_status sr_ledger_merge(const char *into, const char *from, struct sr_merge_count *count,
                               struct sr_error *err)
{
    struct sr_ledger source;
    struct sr_merge_count counted = {0, 0, 0};
    struct edit e;

    enum sr_status status = sr_ledger_read(&source, from, err);
    if (status != SR_OK)
        return status;
    status = edit_begin(&e, into, (const char *const *)source.columns, source.n_columns, err);
    if (status == SR_OK)
        status = carry_over(&e, &source, &counted, err);
    if (status == SR_OK && counted.added + counted.unreadable > 0)
        status = replace_file(into, &e.fresh, err);
    edit_end(&e);
    sr_ledger_release(&source);
    if (status == SR_OK)
        *count = counted;
    return status;
}

/* The whole ledger written anew, one rating changed in the rows that match. */
static void rewrite_rated(struct edit *e, const bool *match, size_t rating_column, enum sr_rating rating)
{
    e->fresh.size = 0;
    for (size_t c = 0; c < e->ledger.n_columns; c++) {
        if (c > 0)
            bytes_add_text(&e->fresh, ",");
        bytes_add_cell(&e->fresh, e->ledger.columns[c]);
    }
    bytes_add_text(&e->fresh, "\n");
    for (size_t i = 0; i < e->ledger.n_rows; i++) {
        for (size_t c = 0; c < e->ledger.n_columns; c++) {
            if (c > 0)
                bytes_add_text(&e->fresh, ",");
            bytes_add_cell(&e->fresh, match[i] && c == rating_column ? sr_rating_name(rating)
                                                                     : sr_ledger_cell(&e->ledger, i, c));
        }
        bytes_add_text(&e->fresh, "\n");
    }
}

enum sr_status sr_ledger_rate(const char *path, const char *fingerprint, enum sr_rating rating,
                              struct sr_error *err)
{
    static const char *const names[] = {"rating"};
    struct edit e;
    size_t matches = 0, length = strlen(fingerprint), rating_column = 0;
    const char *whole = NULL;
    bool *match = NULL;

    enum sr_status status = edit_begin(&e, path, names, 1, err);
    if (status == SR_OK && (match = calloc(e.ledger.n_rows > 0 ? e.ledger.n_rows : 1, sizeof *match)) == NULL)
        status = sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    for (size_t i = 0; i < e.ledger.n_rows && status == SR_OK; i++) {
        const char *one = e.ledger.rows[i].fingerprint;
        match[i] = e.ledger.rows[i].readable && length > 0 && strncmp(one, fingerprint, length) == 0;
        if (match[i] && whole != NULL && strcmp(whole, one) != 0)
            status = sr_fail(err, SR_ERR_DATA, path, e.ledger.rows[i].line,
                             "'%.20s' begins more than one fingerprint; give more of it", fingerprint);
        whole = match[i] ? one : whole;
        matches += match[i];
    }
    if (status == SR_OK && matches == 0)
        status = sr_fail(err, SR_ERR_DATA, path, 0, "no flight of fingerprint '%.20s' is in this ledger",
                         fingerprint);
    if (status == SR_OK) {
        while (strcmp(e.ledger.columns[rating_column], "rating") != 0)
            rating_column++;
        rewrite_rated(&e, match, rating_column, rating);
        status = replace_file(path, &e.fresh, err);
    }
    free(match);
    edit_end(&e);
    return status;
}
