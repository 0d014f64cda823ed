/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A ledger from bytes: libcsv splits, the table of columns understands. */
#include <csv.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "private.h"

#define COLUMNS_MAX 512

/* Cells as they come, before the rows are understood. */
struct intake {
    struct bytes text;   /* every cell, ended by a zero byte */
    struct bytes starts; /* size_t offset of each cell into text */
    struct bytes rows;   /* struct intake_row */
    size_t cells_in_row; /* so far */
    size_t line;         /* [1-based] line that the parser is in */
    size_t row_line;     /* line that the row began on */
    bool after_cr;       /* the last row ended in CR: a line feed now belongs to it */
};

struct intake_row {
    size_t line;
    size_t first_cell;
    size_t n_cells;
};

static void take_cell(void *data, size_t size, void *context)
{
    struct intake *in = context;
    size_t start = in->text.size;

    if (in->cells_in_row == 0)
        in->row_line = in->line;
    /* A zero byte would end a text early: such a cell is cut there, as it would be by any C program. */
    bytes_add(&in->text, data != NULL ? data : "", size);
    bytes_add(&in->text, "", 1);
    bytes_add(&in->starts, (const char *)&start, sizeof start);
    for (size_t i = 0; i < size; i++)
        in->line += ((const char *)data)[i] == '\n';
    in->cells_in_row++;
    in->after_cr = false;
}

static void take_row(int end, void *context)
{
    struct intake *in = context;

    if (in->cells_in_row > 0) {
        size_t cells = in->starts.size / sizeof(size_t);
        struct intake_row row = {in->row_line, cells - in->cells_in_row, in->cells_in_row};
        bytes_add(&in->rows, (const char *)&row, sizeof row);
    }
    if (!(end == '\n' && in->after_cr && in->cells_in_row == 0))
        in->line++;
    in->after_cr = end == '\r';
    in->cells_in_row = 0;
}

static void intake_release(struct intake *in)
{
    bytes_release(&in->text);
    bytes_release(&in->starts);
    bytes_release(&in->rows);
}

/* Feed everything; *header_end: bytes up to and with the end of the first row. */
static enum sr_status split(struct intake *in, const struct bytes *b, const char *path, size_t *header_end,
                            struct sr_error *err)
{
    struct csv_parser parser;
    size_t at = b->size >= 3 && memcmp(b->data, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;

    in->line = 1;
    if (csv_init(&parser, CSV_REPALL_NL) != 0)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory");
    /* Byte by byte until the header is complete, to know where it ends. */
    while (at < b->size && in->rows.size == 0)
        csv_parse(&parser, b->data + at++, 1, take_cell, take_row, in);
    if (at > 0 && at < b->size && b->data[at - 1] == '\r' && b->data[at] == '\n')
        csv_parse(&parser, b->data + at++, 1, take_cell, take_row, in);
    *header_end = at;
    bool fine = csv_parse(&parser, b->data + at, b->size - at, take_cell, take_row, in) == b->size - at &&
                csv_fini(&parser, take_cell, take_row, in) == 0;
    csv_free(&parser);
    if (!fine || in->text.failed || in->starts.failed || in->rows.failed)
        return sr_fail(err, SR_ERR_MEMORY, path, in->line, "out of memory for the ledger");
    return SR_OK;
}

static enum sr_status take_header(struct sr_ledger *ledger, const struct intake *in, const char *path,
                                  struct sr_error *err)
{
    const struct intake_row *rows = (const void *)in->rows.data;
    const size_t *starts = (const void *)in->starts.data;
    size_t known = 0, needed = 0;

    if (in->rows.size == 0)
        return sr_fail(err, SR_ERR_FORMAT, path, 1, "an empty file is no ledger; remove it, and one is made");
    if (rows[0].n_cells > COLUMNS_MAX)
        return sr_fail(err, SR_ERR_FORMAT, path, rows[0].line, "more than %d columns", COLUMNS_MAX);
    ledger->columns = calloc(rows[0].n_cells, sizeof *ledger->columns);
    if (ledger->columns == NULL)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    ledger->n_columns = rows[0].n_cells;
    for (size_t c = 0; c < ledger->n_columns; c++) {
        const char *name = ledger->text + starts[rows[0].first_cell + c];
        ledger->columns[c] = (char *)(size_t)name;
        known += sr_ledger_column_name(column_find(name)) != NULL;
        needed += strcmp(name, "fingerprint") == 0 || strcmp(name, "wobble_px") == 0;
        for (size_t other = 0; other < c; other++)
            if (name[0] != '\0' && strcmp(name, ledger->columns[other]) == 0)
                return sr_fail(err, SR_ERR_FORMAT, path, rows[0].line, "two columns are called '%.60s'",
                               name);
    }
    if (needed < 2)
        return sr_fail(
            err, SR_ERR_FORMAT, path, rows[0].line,
            "this is no ledger: its first row does not name the columns fingerprint and wobble_px%s",
            known > 0 ? " (others are there: was a column renamed?)" : "");
    return SR_OK;
}

static void clear_row(struct sr_ledger_row *row)
{
    *row = (struct sr_ledger_row){.fingerprint = "",
                                  .log = "",
                                  .date = "",
                                  .build = "",
                                  .motor = "",
                                  .prop = "",
                                  .blades = NAN,
                                  .shore_a = NAN,
                                  .material = "",
                                  .temperature_c = NAN,
                                  .resonance_hz = NAN,
                                  .camera = "",
                                  .width_px = NAN,
                                  .threshold_px = NAN,
                                  .verdict = "",
                                  .wobble_px = NAN,
                                  .low_px = NAN,
                                  .high_px = NAN,
                                  .median_px = NAN,
                                  .rms_px = NAN,
                                  .band_px = {NAN, NAN, NAN, NAN},
                                  .smear_px = NAN,
                                  .airborne_s = NAN,
                                  .main_hz = NAN,
                                  .main_share = NAN,
                                  .main_cause = "",
                                  .main_order = NAN,
                                  .note = ""};
}

static void understand_row(struct sr_ledger *ledger, size_t index, const struct intake_row *from,
                           const size_t *known)
{
    struct sr_ledger_row *row = &ledger->rows[index];

    clear_row(row);
    row->line = from->line;
    for (size_t c = 0; c < ledger->n_columns; c++)
        if (sr_ledger_column_name(known[c]) != NULL)
            column_set(row, known[c], sr_ledger_cell(ledger, index, c));
    if (from->n_cells > ledger->n_columns && row->problem[0] == '\0')
        snprintf(row->problem, sizeof row->problem, "%zu cells, but the first row names %zu columns",
                 from->n_cells, ledger->n_columns);
    row_check(row);
    ledger->n_unreadable += !row->readable;
}

/* Cells are laid out n_columns a row; short rows end in empty cells, long ones keep the rest in the last
 * cell's row. */
static enum sr_status take_rows(struct sr_ledger *ledger, const struct intake *in, const char *path,
                                struct sr_error *err)
{
    const struct intake_row *rows = (const void *)in->rows.data;
    const size_t *starts = (const void *)in->starts.data;
    size_t n = in->rows.size / sizeof *rows - 1, empty = in->text.size - 1;
    size_t known[COLUMNS_MAX];

    if (n > 0 && n > SIZE_MAX / sizeof(size_t) / ledger->n_columns)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    ledger->rows = calloc(n > 0 ? n : 1, sizeof *ledger->rows);
    ledger->cells = malloc((n > 0 ? n : 1) * ledger->n_columns * sizeof *ledger->cells);
    if (ledger->rows == NULL || ledger->cells == NULL)
        return sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    for (size_t c = 0; c < ledger->n_columns; c++)
        known[c] = column_find(ledger->columns[c]);
    ledger->n_rows = n;
    for (size_t i = 0; i < n; i++) {
        for (size_t c = 0; c < ledger->n_columns; c++)
            ledger->cells[i * ledger->n_columns + c] =
                c < rows[i + 1].n_cells ? starts[rows[i + 1].first_cell + c] : empty;
        understand_row(ledger, i, &rows[i + 1], known);
    }
    return SR_OK;
}

enum sr_status ledger_parse(struct sr_ledger *ledger, const struct bytes *b, const char *path,
                            size_t *header_end, struct sr_error *err)
{
    struct sr_ledger made = {0};
    struct intake in = {{0}, {0}, {0}, 0, 0, 0, false};

    enum sr_status status = split(&in, b, path, header_end, err);
    bytes_add(&in.text, "", 1); /* the empty cell */
    if (status == SR_OK && in.text.failed)
        status = sr_fail(err, SR_ERR_MEMORY, path, 0, "out of memory for the ledger");
    if (status == SR_OK) {
        made.text = in.text.data;
        in.text.data = NULL;
        status = take_header(&made, &in, path, err);
    }
    if (status == SR_OK)
        status = take_rows(&made, &in, path, err);
    intake_release(&in);
    if (status != SR_OK)
        sr_ledger_release(&made);
    else
        *ledger = made;
    return status;
}

enum sr_status sr_ledger_read(struct sr_ledger *ledger, const char *path, struct sr_error *err)
{
    struct bytes b = {0};
    size_t header_end;

    enum sr_status status = bytes_read(&b, path, NULL, err);
    if (status == SR_OK)
        status = ledger_parse(ledger, &b, path, &header_end, err);
    bytes_release(&b);
    return status;
}

const char *sr_ledger_cell(const struct sr_ledger *ledger, size_t row, size_t column)
{
    return ledger->text + ledger->cells[row * ledger->n_columns + column];
}

void sr_ledger_release(struct sr_ledger *ledger)
{
    free(ledger->columns);
    free(ledger->rows);
    free(ledger->cells);
    free(ledger->text);
    memset(ledger, 0, sizeof *ledger);
}
