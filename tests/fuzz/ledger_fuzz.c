/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ledgers: the input holds two, with a line of "====" between, each between commas, semicolons or tabs. A
 * flight is added to the first, one is rated, the second is merged in. What was there stays, byte for byte
 * where the header already had every column; every row of the second is there in the end; doing it again
 * changes nothing; what is no ledger is left alone.
 */
#include <math.h>
#include <strings.h>

#include "fuzz/fuzz.h"
#include "stillrow/ledger.h"

static const char mine[] = "00000000feed0001";

static struct sr_ledger_row new_row(void)
{
    struct sr_ledger_row row = {.fingerprint = mine,
                                .log = "heron, 2nd.csv",
                                .date = "2026-06-14",
                                .build = "heron \"the steady one\"",
                                .motor = "",
                                .prop = " 5 inch",
                                .material = "tpu",
                                .camera = "",
                                .verdict = "steady",
                                .wobble_px = 0.25,
                                .width_px = 1920,
                                .main_cause = "",
                                .note = "line 1\nline 2",
                                .rating = SR_RATED_SLIGHT};
    double *const nothing[] = {&row.blades,     &row.shore_a,   &row.temperature_c, &row.resonance_hz,
                               &row.low_px,     &row.high_px,   &row.threshold_px,  &row.median_px,
                               &row.rms_px,     &row.smear_px,  &row.airborne_s,    &row.main_hz,
                               &row.main_share, &row.main_order};

    for (size_t i = 0; i < sizeof nothing / sizeof *nothing; i++)
        *nothing[i] = NAN;
    for (size_t i = 0; i < SR_BAND_COUNT - 1; i++)
        row.band_px[i] = NAN;
    return row;
}

static size_t cells_of(const struct sr_ledger *ledger, size_t row)
{
    return ledger->first[row + 1] - ledger->first[row];
}

/* The structure is whole: every text ends, readable rows have what a reader counts on. */
static void check_ledger(const struct sr_ledger *ledger)
{
    size_t unreadable = 0;

    CHECK(ledger->n_columns > 0);
    for (size_t i = 0; i < ledger->n_rows; i++) {
        const struct sr_ledger_row *row = &ledger->rows[i];
        CHECK(row->line > 1 && cells_of(ledger, i) > 0);
        for (size_t c = 0; c <= cells_of(ledger, i); c++)
            CHECK(sr_ledger_cell(ledger, i, c) != NULL);
        unreadable += !row->readable;
        CHECK(row->readable == (row->problem[0] == '\0'));
        if (row->readable)
            CHECK(strlen(row->fingerprint) == 16 && isfinite(row->wobble_px) && row->wobble_px >= 0);
        CHECK(row->log != NULL && row->date != NULL && row->build != NULL && row->note != NULL);
    }
    CHECK(unreadable == ledger->n_unreadable);
}

/* Sixteen characters of which a spreadsheet makes a number: digits, or digits, one e and digits. */
static bool is_long_number(const char *text)
{
    const size_t digits = strspn(text, "0123456789");
    const bool e = digits > 0 && strchr("eE", text[digits]) != NULL && text[digits] != '\0';
    const size_t behind = e ? strspn(text + digits + 1, "0123456789") : 0;

    return strlen(text) == 16 && (digits == 16 || (e && behind > 0 && digits + 1 + behind == 16));
}

/* The text of a cell, be it written with the apostrophe that keeps a spreadsheet from running it, or from
 * rounding it, or without. */
static const char *meant(const char *cell)
{
    const char *text = cell + strspn(cell, "'");
    const bool kept = *text != '\0' && (strchr("=+-@\t\r", *text) != NULL || is_long_number(text));

    return cell[0] == '\'' && kept ? cell + 1 : cell;
}

static bool same_cell(const char *a, const char *b)
{
    return strcmp(meant(a), meant(b)) == 0;
}

/* The same but for decimal signs, where two ledgers have different ones. */
static bool same_number(const struct sr_ledger *x, const char *a, const struct sr_ledger *y, const char *b)
{
    if (x->decimal == y->decimal)
        return same_cell(a, b);
    for (a = meant(a), b = meant(b); *a != '\0'; a++, b++)
        if (*a != *b && !(*a == x->decimal && *b == y->decimal))
            return false;
    return *b == '\0';
}

/* Column `name` (its nth of that name, as the empty one may come twice), or n_columns. */
static size_t column_of(const struct sr_ledger *ledger, const char *name, size_t nth)
{
    size_t c = 0;

    while (c < ledger->n_columns && (!same_cell(ledger->columns[c], name) || nth-- > 0))
        c++;
    return c;
}

static size_t nth_of(const struct sr_ledger *ledger, size_t column)
{
    size_t nth = 0;

    for (size_t c = 0; c < column; c++)
        nth += same_cell(ledger->columns[c], ledger->columns[column]);
    return nth;
}

/* Every cell of row i of a under the same column in row j of b, which an empty one may do without; cells
 * behind the last column stay behind it. */
static bool same_row(const struct sr_ledger *a, size_t i, const struct sr_ledger *b, size_t j)
{
    for (size_t c = 0; c < a->n_columns; c++) {
        const size_t to = column_of(b, a->columns[c], nth_of(a, c));
        const char *cell = sr_ledger_cell(a, i, c);
        if (to == b->n_columns ? cell[0] != '\0' : !same_number(a, cell, b, sr_ledger_cell(b, j, to)))
            return false;
    }
    for (size_t c = a->n_columns; c < cells_of(a, i); c++)
        if (!same_cell(sr_ledger_cell(a, i, c), sr_ledger_cell(b, j, b->n_columns + c - a->n_columns)))
            return false;
    return true;
}

/* The first columns, rows and cells of `now` are those of `before`: new ones come behind. */
/* may_fill: what a flight lacked may have come from a row of the same flight. */
static void check_kept(const struct sr_ledger *before, const struct sr_ledger *now, bool may_fill)
{
    CHECK(now->n_rows >= before->n_rows && now->n_columns >= before->n_columns);
    CHECK(now->delimiter == before->delimiter && now->decimal == before->decimal);
    for (size_t c = 0; c < before->n_columns; c++)
        CHECK(strcmp(before->columns[c], now->columns[c]) == 0);
    for (size_t i = 0; i < before->n_rows; i++) {
        for (size_t c = 0; c < cells_of(before, i); c++) {
            const char *old = sr_ledger_cell(before, i, c);
            const char *text = old[0] == '\'' && old[1] != '\0' && meant(old) != old ? meant(old) : old;
            bool fills = before->rows[i].readable && text[strspn(text, " \t")] == '\0';
            if (!may_fill || !fills)
                CHECK(strcmp(old, sr_ledger_cell(now, i, c)) == 0);
        }
        CHECK(before->rows[i].readable == now->rows[i].readable);
    }
}

static void read_again(struct sr_ledger *ledger, const char *path)
{
    struct sr_error err;

    if (sr_ledger_read(ledger, path, &err) != SR_OK) {
        fprintf(stderr, "after a change, line %zu: %s\n", err.line, err.text);
        abort();
    }
    check_ledger(ledger);
}

static void same_file(const char *path, const char *data, size_t size)
{
    size_t now_size;
    char *now = fuzz_get(path, &now_size);

    CHECK(now_size == size && memcmp(now, data, size) == 0);
    free(now);
}

/* Add a flight, twice; false: it was refused, and nothing was touched. */
static bool add(const char *path, const char *old, size_t old_size, const struct sr_ledger *before)
{
    const struct sr_ledger_row row = new_row();
    struct sr_ledger now;
    struct sr_error err;
    enum sr_added added;
    size_t size;

    if (sr_ledger_add(path, &row, &added, &err) != SR_OK) {
        CHECK(err.status == SR_ERR_FORMAT && err.text[0] != '\0');
        same_file(path, old, old_size);
        return false;
    }
    char *data = fuzz_get(path, &size);
    read_again(&now, path);
    if (before != NULL) {
        check_kept(before, &now, false);
        CHECK(now.n_rows == before->n_rows + (added == SR_ADDED));
        if (now.n_columns == before->n_columns)
            CHECK(size >= old_size && memcmp(data, old, old_size) == 0);
    }
    if (added == SR_ADDED) {
        const struct sr_ledger_row *last = &now.rows[now.n_rows - 1];
        CHECK(last->readable && strcmp(last->fingerprint, mine) == 0);
        CHECK(strcmp(last->build, row.build) == 0 && strcmp(last->note, row.note) == 0);
        CHECK(last->wobble_px == row.wobble_px && last->rating == row.rating);
    }
    CHECK(sr_ledger_add(path, &row, &added, &err) == SR_OK && added == SR_ADDED_BEFORE);
    same_file(path, data, size);
    sr_ledger_release(&now);
    free(data);
    return true;
}

static void rate(const char *path)
{
    struct sr_ledger before, now;
    struct sr_error err;

    read_again(&before, path);
    const enum sr_status status = sr_ledger_rate(path, mine, SR_RATED_BAD, &err);
    CHECK(status == SR_OK);
    read_again(&now, path);
    CHECK(now.n_rows == before.n_rows);
    for (size_t i = 0; i < now.n_rows; i++) {
        const bool is_mine = before.rows[i].readable && strcasecmp(before.rows[i].fingerprint, mine) == 0;
        CHECK(is_mine ? now.rows[i].rating == SR_RATED_BAD : same_row(&before, i, &now, i));
        CHECK(now.rows[i].readable == before.rows[i].readable);
    }
    sr_ledger_release(&before);
    sr_ledger_release(&now);
}

/* The place of the next cell of row i from `at` on that is not empty, where the row's cells are put under the
 * columns of `into` and those behind its own last column behind them; *text: what it says, NULL: there is
 * none. */
static size_t next_text(const struct sr_ledger *from, size_t i, const struct sr_ledger *into, size_t at,
                        const char **text)
{
    for (*text = NULL; at < into->n_columns + cells_of(from, i); at++) {
        size_t c = at < into->n_columns ? column_of(from, into->columns[at], nth_of(into, at))
                                        : from->n_columns + at - into->n_columns;
        if (at < into->n_columns && c == from->n_columns)
            continue;
        if (c >= cells_of(from, i) || sr_ledger_cell(from, i, c)[0] == '\0')
            continue;
        *text = sr_ledger_cell(from, i, c);
        return at + 1;
    }
    return at;
}

/* Of rows with more cells than columns: the same texts in the same order, since every column that is added
 * gives such a row an empty cell. */
static bool same_texts(const struct sr_ledger *from, size_t i, const struct sr_ledger *into, size_t j)
{
    const char *a, *b;
    size_t at = 0, to = 0;

    if (cells_of(from, i) <= from->n_columns || cells_of(into, j) <= into->n_columns)
        return false;
    do {
        at = next_text(from, i, into, at, &a);
        to = next_text(into, j, into, to, &b);
        if (a == NULL || b == NULL)
            return a == b;
    } while (same_number(from, a, into, b));
    return false;
}

static bool is_in(const struct sr_ledger *from, size_t i, const struct sr_ledger *into)
{
    const struct sr_ledger_row *row = &from->rows[i];

    for (size_t j = 0; j < into->n_rows; j++) {
        const struct sr_ledger_row *other = &into->rows[j];
        /* A flight that was known already keeps the row it had. */
        if (row->readable && other->readable && sr_ledger_has_print(row, other->fingerprint) &&
            strcmp(row->build, other->build) == 0 && strcmp(row->camera, other->camera) == 0 &&
            (isnan(row->shore_a) ? isnan(other->shore_a) : fabs(row->shore_a - other->shore_a) < 1e-3))
            return true;
        if (!row->readable && (same_row(from, i, into, j) || same_texts(from, i, into, j)))
            return true;
    }
    return false;
}

static void merge(const char *into, const char *from, const char *from_data, size_t from_size)
{
    struct sr_ledger before, second, now;
    struct sr_error err;
    struct sr_merge_count count, again;
    size_t size, into_size;
    char *into_data = fuzz_get(into, &into_size);

    if (sr_ledger_merge(into, from, &count, &err) != SR_OK) {
        CHECK(err.status == SR_ERR_FORMAT && err.text[0] != '\0');
        same_file(into, into_data, into_size);
        same_file(from, from_data, from_size);
        free(into_data);
        return;
    }
    same_file(from, from_data, from_size);
    read_again(&now, into);
    read_again(&second, from);
    CHECK(count.added + count.known + count.unreadable == second.n_rows);
    for (size_t i = 0; i < second.n_rows; i++)
        CHECK(is_in(&second, i, &now));
    fuzz_put(into, into_data, into_size);
    read_again(&before, into);
    check_kept(&before, &now, true);
    CHECK(now.n_rows == before.n_rows + count.added + count.unreadable);
    CHECK(sr_ledger_merge(into, from, &again, &err) == SR_OK && again.added == count.added);
    char *data = fuzz_get(into, &size);
    CHECK(sr_ledger_merge(into, from, &again, &err) == SR_OK);
    CHECK(again.added == 0 && again.unreadable == 0 && again.known == second.n_rows);
    same_file(into, data, size);
    sr_ledger_release(&before);
    sr_ledger_release(&second);
    sr_ledger_release(&now);
    free(into_data);
    free(data);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char between[] = "====\n";
    const char *text = (const char *)data;
    size_t first_size = size, second_size = 0;
    char first[300], second[300];
    struct sr_ledger before;
    struct sr_error err;

    for (size_t i = 0; i + 5 <= size && first_size == size; i++)
        if ((i == 0 || text[i - 1] == '\n') && memcmp(text + i, between, 5) == 0)
            first_size = i;
    const char *second_text = text + first_size;
    if (first_size < size) {
        second_text += 5;
        second_size = size - first_size - 5;
    }
    fuzz_put(fuzz_path("first.csv", first), text, first_size);
    fuzz_put(fuzz_path("second.csv", second), second_text, second_size);
    const enum sr_status status = sr_ledger_read(&before, first, &err);
    CHECK(status == SR_OK || (status == SR_ERR_FORMAT && err.text[0] != '\0'));
    if (status == SR_OK)
        check_ledger(&before);
    else
        CHECK(first_size == 0 || sr_ledger_rate(first, "00", SR_RATED_BAD, &err) == SR_ERR_FORMAT);
    if (add(first, text, first_size, status == SR_OK ? &before : NULL)) {
        rate(first);
        merge(first, second, second_text, second_size);
    }
    if (status == SR_OK)
        sr_ledger_release(&before);
    return 0;
}
