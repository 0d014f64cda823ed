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
        size_t row;        /* the first of this key, counted through both ledgers */
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
        for (const char *c = row->fingerprint; *c != '\0'; c++)
            bytes_add(key, &(char){(char)lower_case(*c)}, 1);
        bytes_add(key, "", 1);
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
    const char **ratings; /* [rows of `into`, then of `from`] given by another row of the flight, or NULL */
    bool *fresh;          /* [rows of `from`] not there yet */
    size_t rating;        /* column of `into`, or their count */
    size_t *column_of;    /* of each column of `into`: its index in `from`, or SIZE_MAX */
    size_t *itself;       /* 0, 1, 2… */
    bool alike;           /* the columns of `from` are the first of `into`: rows can be copied as they are */
};

static enum sr_status match_columns(struct merge *m, struct sr_error *err)
{
    const struct sr_ledger *into = &m->into.ledger, *from = &m->from;

    m->column_of = calloc(into->n_columns, sizeof *m->column_of);
    m->itself = calloc(into->n_columns, sizeof *m->itself);
    m->ratings = calloc(into->n_rows + from->n_rows + 1, sizeof *m->ratings);
    m->fresh = calloc(from->n_rows + 1, sizeof *m->fresh);
    m->rating = edit_column(into, "rating", 0);
    if (m->column_of == NULL || m->ratings == NULL || m->fresh == NULL || m->itself == NULL ||
        !known_init(&m->known, into->n_rows + from->n_rows))
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
    if (!m->alike || m->ratings[m->into.ledger.n_rows + i] != NULL ||
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
    const char *rating = m->ratings[m->into.ledger.n_rows + i];

    for (size_t c = 0; c < m->into.ledger.n_columns; c++) {
        const char *text = sr_ledger_cell(&m->from, i, m->column_of[c]);
        if (c > 0)
            bytes_add_text(&m->into.fresh, ",");
        bytes_add_cell(&m->into.fresh, c == m->rating && rating != NULL ? rating : text);
    }
    for (size_t c = m->from.n_columns; c < ledger_n_cells(&m->from, i); c++) {
        bytes_add_text(&m->into.fresh, ",");
        bytes_add_cell(&m->into.fresh, sr_ledger_cell(&m->from, i, c));
    }
}

/* Rating of a row counted through both ledgers, as it is going to be. */
static const char *rating_of(const struct merge *m, size_t row)
{
    size_t n = m->into.ledger.n_rows;
    if (m->ratings[row] != NULL)
        return m->ratings[row];
    return sr_rating_name(row < n ? m->into.ledger.rows[row].rating : m->from.rows[row - n].rating);
}

/* Row i of `from` is a flight that is there as row `first` already: its rating must not be lost. */
static void carry_rating(struct merge *m, size_t first, size_t i, struct sr_merge_count *count)
{
    const struct sr_ledger_row *other = &m->from.rows[i];
    const char *rating = rating_of(m, first);

    if (!other->readable || other->rating == SR_UNRATED || strcmp(rating, sr_rating_name(other->rating)) == 0)
        return;
    if (rating[0] == '\0') {
        m->ratings[first] = sr_rating_name(other->rating);
        count->rated += first < m->into.ledger.n_rows;
    } else if (count->rated_otherwise++ == 0) {
        count->rated_otherwise_line = other->line;
    }
}

/* Which rows of `from` are new. Later ones may have ratings for earlier ones, so nothing is written yet. */
static void find_fresh(struct merge *m, struct sr_merge_count *count)
{
    const struct sr_ledger *into = &m->into.ledger, *from = &m->from;

    for (size_t row = 0; row < into->n_rows + from->n_rows; row++) {
        size_t at = m->known.keys.size, i = row - into->n_rows;
        if (row < into->n_rows)
            add_key(&m->known.keys, into, row, m->itself, into->n_columns);
        else
            add_key(&m->known.keys, from, i, m->column_of, into->n_columns);
        if (m->known.keys.failed)
            return;
        size_t first = known_add(&m->known, at, row);
        if (row < into->n_rows)
            continue;
        m->fresh[i] = first == row;
        if (!m->fresh[i])
            carry_rating(m, first, i, count);
        count->known += !m->fresh[i];
        count->added += m->fresh[i] && from->rows[i].readable;
        count->unreadable += m->fresh[i] && !from->rows[i].readable;
    }
}

static void carry_over(struct merge *m, struct sr_merge_count *count)
{
    find_fresh(m, count);
    for (size_t i = 0; i < m->from.n_rows; i++) {
        if (!m->fresh[i])
            continue;
        if (!append_as_is(m, i))
            append_cells(m, i);
        bytes_add_text(&m->into.fresh, m->into.newline);
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

static bool any_rated(const struct sr_ledger *ledger)
{
    size_t i = 0;
    while (i < ledger->n_rows && (!ledger->rows[i].readable || ledger->rows[i].rating == SR_UNRATED))
        i++;
    return i < ledger->n_rows;
}

static enum sr_status write_merged(const struct merge *m, const struct sr_merge_count *count,
                                   struct sr_error *err)
{
    struct bytes out = {0};

    if (count->rated == 0 || m->into.fresh.failed)
        return edit_write(&m->into, &m->into.fresh, err);
    edit_exchange(&m->into, m->rating, m->ratings, &out);
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
        status = edit_begin(&m.into, into, (const char *const *)m.from.columns, m.from.n_columns,
                            any_rated(&m.from), err);
    if (status == SR_OK)
        status = match_columns(&m, err);
    if (status == SR_OK)
        carry_over(&m, &counted);
    if (status == SR_OK && (counted.added + counted.unreadable + counted.rated > 0 || m.into.fresh.failed))
        status = write_merged(&m, &counted, err);
    if (status == SR_OK)
        *count = counted;
    known_release(&m.known);
    free(m.ratings);
    free(m.fresh);
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
