/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Carrying the rows of one ledger over into another. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "merge_private.h"
#include "support/plain_locale.h"

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

/* Take the bytes of keys from `from` on as the key of a row. Returns the first row of that key: `row` itself,
 * or one before it, and then the bytes are dropped. */
static size_t known_add(struct known *known, size_t from, size_t row)
{
    size_t size = known->keys.size - from;
    const char *key = known->keys.data + from;
    uint64_t hash = hash_of(key, size);

    for (size_t at = (size_t)hash & known->mask;; at = (at + 1) & known->mask) {
        struct slot *slot = &known->slots[at];
        if (slot->size == 0) {
            *slot = (struct slot){hash, from, size, row};
            return row;
        }
        if (slot->hash == hash && slot->size == size &&
            memcmp(known->keys.data + slot->from, key, size) == 0) {
            known->keys.size = from;
            return slot->row;
        }
    }
}

static void key_text(struct bytes *key, const char *text)
{
    bytes_add(key, text, strlen(text) + 1);
}

/* Of a readable row: what row_compare_flights() goes by. */
static void key_flight(struct bytes *key, const struct sr_ledger_row *row)
{
    char text[64];

    key_text(key, "flight");
    for (const char *c = row->fingerprint; *c != '\0'; c++)
        bytes_add(key, &(char){(char)lower_case(*c)}, 1);
    bytes_add(key, "", 1);
    key_text(key, row->build);
    key_text(key, row->camera);
    key_text(key, column_text(row, column_find("shore_a"), text, sizeof text));
}

/* Of a row that cannot be read: all its cells, under the columns of `into` and as they are written there. One
 * that is too long gets empty cells with every new column, so that in it only the others count. */
static void key_cells(struct merge *m, size_t row)
{
    struct bytes *key = &m->known.keys;
    size_t n = m->into.ledger.n_rows;
    const struct sr_ledger *ledger = row < n ? &m->into.ledger : &m->from;
    size_t i = row < n ? row : row - n, n_cells = ledger_n_cells(ledger, i);
    bool too_long = n_cells > ledger->n_columns;
    char room[CELL_ROOM];

    key_text(key, too_long ? "too long" : "unreadable");
    for (size_t c = 0; c < m->into.ledger.n_columns; c++) {
        const char *cell = row < n ? sr_ledger_cell(ledger, i, c) : merge_cell(m, i, c, room);
        if (cell[0] != '\0' || !too_long)
            key_text(key, cell_unguarded(cell));
    }
    for (size_t c = ledger->n_columns; c < n_cells; c++)
        if (sr_ledger_cell(ledger, i, c)[0] != '\0')
            key_text(key, cell_unguarded(sr_ledger_cell(ledger, i, c)));
}

static void add_key(struct merge *m, size_t row)
{
    size_t n = m->into.ledger.n_rows;
    const struct sr_ledger_row *flight = row < n ? &m->into.ledger.rows[row] : &m->from.rows[row - n];

    if (flight->readable)
        key_flight(&m->known.keys, flight);
    else
        key_cells(m, row);
}

static enum sr_status make_room(struct merge *m, struct sr_error *err)
{
    size_t columns = m->into.ledger.n_columns, rows = m->into.ledger.n_rows + m->from.n_rows;

    m->column_of = calloc(columns, sizeof *m->column_of);
    m->known_as = calloc(columns, sizeof *m->known_as);
    m->part = calloc(columns, sizeof *m->part);
    m->fills = calloc(rows + 1, sizeof *m->fills);
    m->fresh = calloc(m->from.n_rows + 1, sizeof *m->fresh);
    if (m->column_of == NULL || m->known_as == NULL || m->part == NULL || m->fills == NULL ||
        m->fresh == NULL || !known_init(&m->known, rows))
        return sr_fail(err, SR_ERR_MEMORY, m->into.target.path, 0, "out of memory for the ledgers");
    return SR_OK;
}

static void release_room(struct merge *m)
{
    for (size_t row = 0; m->fills != NULL && row < m->into.ledger.n_rows + m->from.n_rows; row++)
        free(m->fills[row]);
    free(m->fills);
    free(m->fresh);
    free(m->part);
    free(m->known_as);
    free(m->column_of);
    known_release(&m->known);
}

static enum sr_status match_columns(struct merge *m, struct sr_error *err)
{
    const struct sr_ledger *into = &m->into.ledger, *from = &m->from;

    enum sr_status status = make_room(m, err);
    if (status != SR_OK)
        return status;
    m->alike = into->delimiter == from->delimiter && into->decimal == from->decimal;
    for (size_t c = 0; c < into->n_columns; c++) {
        size_t nth = edit_nth((const char *const *)into->columns, c);
        size_t other = edit_column(from, into->columns[c], nth);
        m->column_of[c] = other < from->n_columns ? other : SIZE_MAX;
        m->known_as[c] = column_find(into->columns[c]);
        m->part[c] = merge_part(into->columns[c]);
        m->alike = m->alike && (c >= from->n_columns || strcmp(into->columns[c], from->columns[c]) == 0);
    }
    return SR_OK;
}

/*
 * Between ledgers with different signs: a cell that is no number in its own, but would be one in `into`, or
 * would tell what is the decimal sign there, must not be guessed.
 */
static enum sr_status refuse_doubt(const struct merge *m, const char *path, struct sr_error *err)
{
    const struct sr_ledger *into = &m->into.ledger, *from = &m->from;
    char room[CELL_ROOM];

    for (size_t i = 0; (into->delimiter != ',' || from->delimiter != ',') && i < from->n_rows; i++) {
        for (size_t c = 0; c < into->n_columns; c++) {
            size_t k = m->known_as[c];
            const char *own = cell_unguarded(sr_ledger_cell(from, i, m->column_of[c]));
            const char *text = cell_unguarded(merge_cell(m, i, c, room));
            char decimal = column_decimal(k, text);
            bool guessed = column_reads(k, text, into->decimal) && !column_reads(k, own, from->decimal);
            bool stray = into->delimiter != ',' && decimal != '\0' && decimal != into->decimal;
            if (guessed || stray)
                return sr_fail(err, SR_ERR_FORMAT, path, from->rows[i].line,
                               "%s: '%.40s' is not a number as this file writes them, and between others it "
                               "could be taken for one; write it with a %s first",
                               into->columns[c], own, from->decimal == ',' ? "comma" : "point");
        }
    }
    return SR_OK;
}

/* A row as it stands in its file, if that says the same here. */
static bool append_as_is(struct merge *m, size_t i)
{
    size_t n_cells = ledger_n_cells(&m->from, i);
    const struct span *cells = m->from_layout.cells + m->from.first[i];

    /* Surplus cells must not come to lie under a column that only `into` has. */
    if (!m->alike || m->fills[m->into.ledger.n_rows + i] != NULL ||
        (n_cells > m->from.n_columns && m->from.n_columns < m->into.ledger.n_columns))
        return false;
    /* Another's formula is not let into a file that a spreadsheet opens. */
    for (size_t c = 0; c < n_cells; c++)
        if (cell_needs_guard(sr_ledger_cell(&m->from, i, c)))
            return false;
    bytes_add(&m->into.fresh, m->from_bytes.data + cells[0].from, cells[n_cells - 1].to - cells[0].from);
    return true;
}

/* A row with its cells put under this ledger's columns; surplus ones stay surplus. */
static void append_cells(struct merge *m, size_t i)
{
    struct bytes *fresh = &m->into.fresh;
    const char delimiter = m->into.ledger.delimiter;
    char room[CELL_ROOM];

    for (size_t c = 0; c < m->into.ledger.n_columns; c++) {
        const char *text = merge_filled(m, m->into.ledger.n_rows + i, c, room);
        if (c > 0)
            bytes_add(fresh, &delimiter, 1);
        bytes_add_cell(fresh, delimiter, text != NULL ? text : merge_cell(m, i, c, room));
    }
    for (size_t c = m->from.n_columns; c < ledger_n_cells(&m->from, i); c++) {
        bytes_add(fresh, &delimiter, 1);
        bytes_add_cell(fresh, delimiter, sr_ledger_cell(&m->from, i, c));
    }
}

/* Which rows of `from` are new. Later ones may have what earlier ones lack, so nothing is written yet. */
static void find_fresh(struct merge *m, struct sr_merge_count *count)
{
    const struct sr_ledger *into = &m->into.ledger, *from = &m->from;

    for (size_t row = 0; row < into->n_rows + from->n_rows; row++) {
        size_t at = m->known.keys.size, i = row - into->n_rows;
        add_key(m, row);
        if (m->known.keys.failed)
            return;
        size_t first = known_add(&m->known, at, row);
        if (row < into->n_rows)
            continue;
        m->fresh[i] = first == row;
        if (!m->fresh[i] && from->rows[i].readable)
            merge_fill(m, first, i, count);
        count->known += !m->fresh[i];
        count->added += m->fresh[i] && from->rows[i].readable;
        count->unreadable += m->fresh[i] && !from->rows[i].readable;
    }
    for (size_t row = 0; row < into->n_rows; row++)
        count->filled += merge_is_filled(m, row);
}

static enum sr_status carry_over(struct merge *m, struct sr_merge_count *count, struct sr_error *err)
{
    find_fresh(m, count);
    m->into.fresh.failed = m->into.fresh.failed || m->known.keys.failed;
    if (count->rated + count->filled > 0) {
        enum sr_status status = edit_locate(&m->into, err);
        if (status != SR_OK)
            return status;
    }
    for (size_t i = 0; i < m->from.n_rows; i++) {
        if (!m->fresh[i])
            continue;
        if (!append_as_is(m, i))
            append_cells(m, i);
        bytes_add_text(&m->into.fresh, m->into.newline);
    }
    return SR_OK;
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

static enum sr_status write_merged(const struct merge *m, const struct sr_merge_count *count,
                                   struct sr_error *err)
{
    struct bytes out = {0};

    if (count->rated + count->filled == 0 || m->into.fresh.failed)
        return edit_write(&m->into, &m->into.fresh, err);
    edit_exchange(&m->into, merge_filled, m, &out);
    enum sr_status status = edit_write(&m->into, &out, err);
    bytes_release(&out);
    return status;
}

static enum sr_status merge_plainly(const char *into, const char *from, struct sr_merge_count *count,
                                    struct sr_error *err)
{
    struct sr_merge_count counted = {0};
    struct merge m = {.into.target.lock = -1};

    enum sr_status status = read_source(&m, from, err);
    if (status == SR_OK)
        status = edit_begin(&m.into, into, (const char *const *)m.from.columns, m.from.n_columns, false, err);
    if (status == SR_OK)
        status = match_columns(&m, err);
    if (status == SR_OK)
        status = refuse_doubt(&m, from, err);
    if (status == SR_OK)
        status = carry_over(&m, &counted, err);
    size_t changes = counted.added + counted.unreadable + counted.rated + counted.filled;
    if (status == SR_OK && (changes > 0 || m.into.fresh.failed))
        status = write_merged(&m, &counted, err);
    if (status == SR_OK)
        *count = counted;
    release_room(&m);
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
