/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Carrying the rows of one ledger over into another. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "private.h"
#include "support/plain_locale.h"

/* What makes a row the same as another, of all rows so far: an open hash table, never more than half full. */
struct known {
    struct bytes keys; /* one behind another */
    struct slot {
        uint64_t hash;
        size_t from, size; /* in keys; size 0: free */
    } * slots;
    size_t mask;
};

static bool known_init(struct known *known, size_t rows)
{
    size_t n = 16;
    while (n / 2 < rows && n <= SIZE_MAX / 4 / sizeof *known->slots)
        n *= 2;
    *known = (struct known){.slots = calloc(n, sizeof *known->slots), .mask = n - 1};
    return known->slots != NULL;
}

static void known_release(struct known *known)
{
    bytes_release(&known->keys);
    free(known->slots);
}

/* FNV-1a, 64 bit. */
static uint64_t hash_of(const char *data, size_t size)
{
    uint64_t hash = UINT64_C(14695981039346656037);
    for (size_t i = 0; i < size; i++)
        hash = (hash ^ (unsigned char)data[i]) * UINT64_C(1099511628211);
    return hash;
}

/* Take the bytes of keys from `from` on as a key: false if it was there, and then they are dropped. */
static bool known_add(struct known *known, size_t from)
{
    size_t size = known->keys.size - from;
    const char *key = known->keys.data + from;
    uint64_t hash = hash_of(key, size);

    for (size_t at = (size_t)hash & known->mask;; at = (at + 1) & known->mask) {
        struct slot *slot = &known->slots[at];
        if (slot->size == 0) {
            *slot = (struct slot){hash, from, size};
            return true;
        }
        if (slot->hash == hash && slot->size == size &&
            memcmp(known->keys.data + slot->from, key, size) == 0) {
            known->keys.size = from;
            return false;
        }
    }
}

static void key_text(struct bytes *key, const char *text)
{
    bytes_add(key, text, strlen(text) + 1);
}

/*
 * The key of row i of `ledger`: of a readable row what row_same_flight() goes by, of another all its
 * cells, put under the n columns of the ledger merged into. column_of: their index in `ledger`.
 */
static void add_key(struct bytes *key, const struct sr_ledger *ledger, size_t i, const size_t *column_of,
                    size_t n)
{
    const struct sr_ledger_row *row = &ledger->rows[i];
    char text[64];

    key_text(key, row->readable ? "flight" : "unreadable");
    if (row->readable) {
        key_text(key, row->fingerprint);
        key_text(key, row->build);
        key_text(key, row->camera);
        key_text(key, column_text(row, column_find("shore_a"), text, sizeof text));
        return;
    }
    for (size_t c = 0; c < n; c++)
        key_text(key, cell_unguarded(sr_ledger_cell(ledger, i, column_of[c])));
    for (size_t c = ledger->n_columns; c < ledger_n_cells(ledger, i); c++)
        key_text(key, cell_unguarded(sr_ledger_cell(ledger, i, c)));
}

/* Two ledgers on their way into one. */
struct merge {
    struct edit into;
    struct bytes from_bytes;
    struct sr_ledger from;
    struct layout from_layout;
    struct known known;
    size_t *column_of; /* of each column of `into`: its index in `from`, or SIZE_MAX */
    size_t *itself;    /* 0, 1, 2… */
    bool alike;        /* the columns of `from` are the first of `into`: rows can be copied as they are */
};

static enum sr_status match_columns(struct merge *m, struct sr_error *err)
{
    const struct sr_ledger *into = &m->into.ledger, *from = &m->from;

    m->column_of = calloc(into->n_columns, sizeof *m->column_of);
    m->itself = calloc(into->n_columns, sizeof *m->itself);
    if (m->column_of == NULL || m->itself == NULL || !known_init(&m->known, into->n_rows + from->n_rows))
        return sr_fail(err, SR_ERR_MEMORY, m->into.target.path, 0, "out of memory for the ledgers");
    m->alike = true;
    for (size_t c = 0; c < into->n_columns; c++) {
        size_t nth = edit_nth((const char *const *)into->columns, c);
        size_t other = edit_column(from, into->columns[c], nth);
        m->itself[c] = c;
        m->column_of[c] = other < from->n_columns ? other : SIZE_MAX;
        m->alike = m->alike && (c >= from->n_columns || strcmp(into->columns[c], from->columns[c]) == 0);
    }
    return SR_OK;
}

/* A row as it stands in its file, if that says the same here. */
static bool append_as_is(struct merge *m, size_t i)
{
    size_t n_cells = ledger_n_cells(&m->from, i);
    const struct span *cells = m->from_layout.cells + m->from.first[i];

    /* Surplus cells must not come to lie under a column that only `into` has. */
    if (!m->alike || (n_cells > m->from.n_columns && m->from.n_columns < m->into.ledger.n_columns))
        return false;
    /* Another's formula is not let into a file that a spreadsheet opens. */
    for (size_t c = 0; c < n_cells; c++)
        if (cell_is_formula(sr_ledger_cell(&m->from, i, c)))
            return false;
    bytes_add(&m->into.fresh, m->from_bytes.data + cells[0].from, cells[n_cells - 1].to - cells[0].from);
    return true;
}

/* A row with its cells put under this ledger's columns; surplus ones stay surplus. */
static void append_cells(struct merge *m, size_t i)
{
    for (size_t c = 0; c < m->into.ledger.n_columns; c++) {
        if (c > 0)
            bytes_add_text(&m->into.fresh, ",");
        bytes_add_cell(&m->into.fresh, sr_ledger_cell(&m->from, i, m->column_of[c]));
    }
    for (size_t c = m->from.n_columns; c < ledger_n_cells(&m->from, i); c++) {
        bytes_add_text(&m->into.fresh, ",");
        bytes_add_cell(&m->into.fresh, sr_ledger_cell(&m->from, i, c));
    }
}

static void carry_over(struct merge *m, struct sr_merge_count *count)
{
    const struct sr_ledger *into = &m->into.ledger, *from = &m->from;

    for (size_t i = 0; i < into->n_rows && !m->known.keys.failed; i++) {
        size_t at = m->known.keys.size;
        add_key(&m->known.keys, into, i, m->itself, into->n_columns);
        if (!m->known.keys.failed)
            known_add(&m->known, at);
    }
    for (size_t i = 0; i < from->n_rows; i++) {
        size_t at = m->known.keys.size;
        add_key(&m->known.keys, from, i, m->column_of, into->n_columns);
        if (m->known.keys.failed)
            break;
        bool fresh = known_add(&m->known, at);
        if (fresh && !append_as_is(m, i))
            append_cells(m, i);
        if (fresh)
            bytes_add_text(&m->into.fresh, m->into.newline);
        count->added += fresh && from->rows[i].readable;
        count->unreadable += fresh && !from->rows[i].readable;
        count->known += !fresh;
    }
    m->into.fresh.failed = m->into.fresh.failed || m->known.keys.failed;
}

/* Cells end at a zero byte, so that what is behind one would not come along. */
static enum sr_status refuse_zero(const struct bytes *b, const char *path, struct sr_error *err)
{
    const char *zero = b->size > 0 ? memchr(b->data, '\0', b->size) : NULL;
    size_t line = 1;

    if (zero == NULL)
        return SR_OK;
    for (const char *c = b->data; c < zero; c++)
        line += *c == '\n';
    return sr_fail(
        err, SR_ERR_FORMAT, path, line,
        "a zero byte stands in this line, which no text has: is the file damaged? Take it out first");
}

static enum sr_status read_source(struct merge *m, const char *path, struct sr_error *err)
{
    enum sr_status status = bytes_read(&m->from_bytes, path, path, err);
    if (status == SR_OK)
        status = refuse_zero(&m->from_bytes, path, err);
    if (status == SR_OK)
        status = ledger_parse(&m->from, &m->from_layout, &m->from_bytes, path, true, err);
    if (status == SR_OK && m->from_layout.open_line > 0)
        status = sr_fail(err, SR_ERR_FORMAT, path, m->from_layout.open_line,
                         "a quote is opened here and never closed, so where its row ends is unknown; close "
                         "it first");
    return status;
}

static enum sr_status merge_plainly(const char *into, const char *from, struct sr_merge_count *count,
                                    struct sr_error *err)
{
    struct sr_merge_count counted = {0, 0, 0};
    struct merge m = {.into.target.lock = -1};

    enum sr_status status = read_source(&m, from, err);
    if (status == SR_OK)
        status = edit_begin(&m.into, into, (const char *const *)m.from.columns, m.from.n_columns, false, err);
    if (status == SR_OK)
        status = match_columns(&m, err);
    if (status == SR_OK)
        carry_over(&m, &counted);
    if (status == SR_OK && (counted.added + counted.unreadable > 0 || m.into.fresh.failed))
        status = edit_write(&m.into, &m.into.fresh, err);
    if (status == SR_OK)
        *count = counted;
    known_release(&m.known);
    free(m.column_of);
    free(m.itself);
    edit_end(&m.into);
    layout_release(&m.from_layout);
    sr_ledger_release(&m.from);
    bytes_release(&m.from_bytes);
    return status;
}

enum sr_status sr_ledger_merge(const char *into, const char *from, struct sr_merge_count *count,
                               struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = merge_plainly(into, from, count, err);
    sr_plain_end(&locale);
    return status;
}
