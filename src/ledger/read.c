/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A ledger from bytes: libcsv splits, the table of columns understands. */
#include <csv.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "private.h"
#include "support/plain_locale.h"

#define COLUMNS_MAX 512

/* Cells as they come, before the rows are understood. */
struct intake {
    struct bytes text;   /* every cell, ended by a zero byte */
    struct bytes starts; /* size_t offset of each cell into text */
    struct bytes spans;  /* struct span of each cell in the file; only where `exact` */
    struct bytes rows;   /* struct intake_row */
    bool exact;          /* fed byte by byte, so that `at` is true */
    size_t at;           /* offset of the byte being fed */
    size_t cell_from;    /* offset behind the last delimiter */
    size_t cells_in_row; /* so far */
    bool something;      /* some cell of the row is not empty */
    size_t line;         /* [1-based] line that the parser is in */
    size_t row_line;     /* line that the row began on */
    bool after_cr;       /* the last row ended in CR: a line feed now belongs to it */
    size_t open_line;    /* line of a row that ends within quotes, 0: none */
};

struct intake_row {
    size_t line;
    size_t first_cell;
};

static void take_cell(void *data, size_t size, void *context)
{
    struct intake *in = context;
    size_t start = in->text.size;
    const char *cell = data != NULL ? data : "";

    if (in->cells_in_row == 0)
        in->row_line = in->line;
    /* A zero byte would end a text early: such a cell is cut there, as it would be by any C program. */
    bytes_add(&in->text, cell, size);
    bytes_add(&in->text, "", 1);
    bytes_add(&in->starts, (const char *)&start, sizeof start);
    if (in->exact) {
        struct span span = {in->cell_from, in->at};
        bytes_add(&in->spans, (const char *)&span, sizeof span);
        in->cell_from = in->at + 1;
    }
    for (size_t i = 0; i < size; i++)
        in->line += cell[i] == '\n';
    in->cells_in_row++;
    in->something = in->something || size > 0;
    in->after_cr = false;
}

static void take_row(int end, void *context)
{
    struct intake *in = context;

    if (!in->something) {
        /* A blank line, or one of commas alone as spreadsheets leave them: no row. */
        in->starts.size -= in->cells_in_row * sizeof(size_t);
        in->spans.size -= in->exact ? in->cells_in_row * sizeof(struct span) : 0;
    } else {
        struct intake_row row = {in->row_line, in->starts.size / sizeof(size_t) - in->cells_in_row};
        bytes_add(&in->rows, (const char *)&row, sizeof row);
    }
    if (!(end == '\n' && in->after_cr && in->cells_in_row == 0))
        in->line++;
    in->after_cr = end == '\r';
    in->cells_in_row = 0;
    in->something = false;
    in->cell_from = in->at + 1;
}

static void intake_release(struct intake *in)
{
    bytes_release(&in->text);
    bytes_release(&in->starts);
    bytes_release(&in->spans);
    bytes_release(&in->rows);
}

static size_t n_rows(const struct intake *in)
{
    return in->rows.size / sizeof(struct intake_row);
}

/* Feed one byte; its offset is what the spans are made of. */
static bool feed_byte(struct csv_parser *parser, struct intake *in, const struct bytes *b)
{
    bool fine = csv_parse(parser, b->data + in->at, 1, take_cell, take_row, in) == 1;
    in->at++;
    return fine;
}

/* End of the file: a quote that is still open is told from a last line without its end. */
static bool feed_end(struct csv_parser *parser, struct intake *in)
{
    size_t row_line = in->cells_in_row > 0 ? in->row_line : in->line;

    csv_set_opts(parser, CSV_REPALL_NL | CSV_STRICT | CSV_STRICT_FINI);
    if (csv_fini(parser, take_cell, take_row, in) == 0)
        return true;
    if (csv_error(parser) != CSV_EPARSE)
        return false;
    in->open_line = row_line;
    csv_set_opts(parser, CSV_REPALL_NL);
    return csv_fini(parser, take_cell, take_row, in) == 0;
}

/* Where the first row begins. */
struct start {
    size_t at, line;
};

/* Behind the mark of UTF-8, and behind a line "sep=;" in which a spreadsheet is told the delimiter; saving
 * may have put more of them there. */
static struct start find_start(const struct bytes *b)
{
    static const char delimiters[] = {',', ';', '\t'};
    size_t mark = b->size >= 3 && memcmp(b->data, "\xef\xbb\xbf", 3) == 0 ? 3 : 0, at = mark + 4;

    if (b->size <= at || memcmp(b->data + mark, "sep=", 4) != 0 ||
        memchr(delimiters, b->data[at], sizeof delimiters) == NULL)
        return (struct start){mark, 1};
    while (at < b->size && b->data[at] == b->data[mark + 4])
        at++;
    if (at < b->size && b->data[at] != '\r' && b->data[at] != '\n')
        return (struct start){mark, 1};
    at += at < b->size && b->data[at] == '\r';
    at += at < b->size && b->data[at] == '\n';
    return (struct start){at, 2};
}

static enum sr_status no_memory(const char *path, size_t line, struct sr_error *err)
{
    return sr_fail(err, SR_ERR_MEMORY, path, line, "out of memory for the ledger");
}

static enum sr_status split(struct intake *in, struct layout *layout, const struct bytes *b, char delimiter,
                            const char *path, struct sr_error *err)
{
    const struct start start = find_start(b);
    struct csv_parser parser;
    bool spans = in->exact, fine = true;

    in->line = start.line;
    in->at = in->cell_from = start.at;
    if (csv_init(&parser, CSV_REPALL_NL) != 0)
        return no_memory(path, 0, err);
    csv_set_delim(&parser, (unsigned char)delimiter);
    /* The header byte by byte in any case, to know where it is; the rest in one go if that is enough. */
    in->exact = true;
    while (fine && in->at < b->size && n_rows(in) == 0)
        fine = feed_byte(&parser, in, b);
    size_t header_end = in->at;
    in->exact = spans;
    while (fine && spans && in->at < b->size)
        fine = feed_byte(&parser, in, b);
    if (fine && !spans && in->at < b->size)
        fine = csv_parse(&parser, b->data + in->at, b->size - in->at, take_cell, take_row, in) ==
               b->size - in->at;
    in->at = b->size;
    in->exact = spans || n_rows(in) == 0; /* a header that ends with the file */
    fine = fine && feed_end(&parser, in);
    csv_free(&parser);
    if (!fine || in->text.failed || in->starts.failed || in->spans.failed || in->rows.failed)
        return no_memory(path, in->line, err);
    layout->crlf = header_end > 0 && header_end < b->size && b->data[header_end - 1] == '\r' &&
                   b->data[header_end] == '\n';
    layout->open_line = in->open_line;
    return SR_OK;
}

/* ---- What stands between the cells ---- */

#define HEADER_MAX ((size_t)1 << 20) /* a first row longer than that is no ledger's */

/* The first row as it is with one delimiter. */
struct look {
    size_t line;
    size_t known;       /* names of columns in it */
    bool print, wobble; /* the two that are needed */
};

static void count_name(struct look *look, const char *name)
{
    look->known += sr_ledger_column_name(column_find(name)) != NULL;
    look->print = look->print || strcmp(name, "fingerprint") == 0;
    look->wobble = look->wobble || strcmp(name, "wobble_px") == 0;
}

/* Of an intake that holds the first row and no more. */
static void count_names(struct look *look, const struct intake *in)
{
    const struct intake_row *rows = (const void *)in->rows.data;
    const size_t *starts = (const void *)in->starts.data;

    if (n_rows(in) == 0)
        return;
    look->line = rows[0].line;
    for (size_t c = 0; c < in->starts.size / sizeof *starts; c++)
        count_name(look, in->text.data + starts[c]);
}

/* false: out of memory. */
static bool look_at(struct look *look, const struct bytes *b, char delimiter)
{
    const struct start start = find_start(b);
    struct intake in = {.line = start.line, .at = start.at};
    struct csv_parser parser;
    bool fine = true;

    *look = (struct look){.line = start.line};
    if (csv_init(&parser, CSV_REPALL_NL) != 0)
        return false;
    csv_set_delim(&parser, (unsigned char)delimiter);
    while (fine && in.at < b->size && in.at < HEADER_MAX && n_rows(&in) == 0)
        fine = feed_byte(&parser, &in, b);
    if (fine && n_rows(&in) == 0)
        fine = csv_fini(&parser, take_cell, take_row, &in) == 0;
    csv_free(&parser);
    fine = fine && !in.text.failed && !in.starts.failed && !in.rows.failed;
    if (fine)
        count_names(look, &in);
    intake_release(&in);
    return fine;
}

/*
 * By the first row: what makes names of columns out of it. Where a comma does that for some and another for
 * the rest, there is no telling what is meant.
 */
static enum sr_status find_delimiter(char *delimiter, const struct bytes *b, const char *path,
                                     struct sr_error *err)
{
    static const char others[] = {';', '\t'};
    struct look comma, look;
    size_t most;

    *delimiter = ',';
    if (!look_at(&comma, b, ','))
        return no_memory(path, 0, err);
    most = comma.known;
    for (size_t k = 0; !(comma.print && comma.wobble) && k < sizeof others; k++) {
        if (!look_at(&look, b, others[k]))
            return no_memory(path, 0, err);
        if (look.print && look.wobble && comma.known > 0)
            return sr_fail(
                err, SR_ERR_FORMAT, path, look.line,
                "columns are named between %s and between commas here; write one of them throughout",
                others[k] == ';' ? "semicolons" : "tabs");
        if (look.known > most) {
            *delimiter = others[k];
            most = look.known;
        }
    }
    return SR_OK;
}

/* What some spreadsheets make of text with tabs. */
static enum sr_status refuse_wide(const struct bytes *b, const char *path, struct sr_error *err)
{
    bool wide = b->size >= 2 && (memcmp(b->data, "\xff\xfe", 2) == 0 || memcmp(b->data, "\xfe\xff", 2) == 0);
    return wide ? sr_fail(err, SR_ERR_FORMAT, path, 1,
                          "this is text in UTF-16, of two bytes a letter; save it as CSV in UTF-8")
                : SR_OK;
}

static enum sr_status no_ledger(const struct look *look, const char *path, struct sr_error *err)
{
    return sr_fail(err, SR_ERR_FORMAT, path, look->line,
                   "this is no ledger: its first row does not name the columns fingerprint and wobble_px%s",
                   look->known > 0 ? " (others are there: was a column renamed?)" : "");
}

static enum sr_status take_header(struct sr_ledger *ledger, struct layout *layout, const struct intake *in,
                                  const char *path, struct sr_error *err)
{
    const struct intake_row *rows = (const void *)in->rows.data;
    const size_t *starts = (const void *)in->starts.data;
    const struct span *spans = (const void *)in->spans.data;

    if (n_rows(in) == 0)
        return sr_fail(err, SR_ERR_FORMAT, path, 1, "nothing is in it, not even the names of the columns");
    size_t n = n_rows(in) > 1 ? rows[1].first_cell : in->starts.size / sizeof *starts;
    if (n > COLUMNS_MAX)
        return sr_fail(err, SR_ERR_FORMAT, path, rows[0].line, "more than %d columns", COLUMNS_MAX);
    ledger->columns = calloc(n, sizeof *ledger->columns);
    if (ledger->columns == NULL)
        return no_memory(path, 0, err);
    ledger->n_columns = n;
    for (size_t c = 0; c < n; c++) {
        char *name = ledger->text + starts[c];
        ledger->columns[c] = name;
        for (size_t other = 0; other < c; other++)
            if (name[0] != '\0' && strcmp(name, ledger->columns[other]) == 0)
                return sr_fail(err, SR_ERR_FORMAT, path, rows[0].line, "two columns are called '%.60s'",
                               name);
    }
    layout->header = (struct span){spans[0].from, spans[n - 1].to};
    layout->header_line = rows[0].line;
    return SR_OK;
}

static void understand_row(struct sr_ledger *ledger, size_t index, const size_t *known, size_t open_line)
{
    struct sr_ledger_row *row = &ledger->rows[index];
    size_t n_cells = ledger_n_cells(ledger, index), line = row->line;

    row_clear(row);
    row->line = line;
    if (line == open_line)
        snprintf(row->problem, sizeof row->problem,
                 "a quote is opened here and never closed, which swallows all lines below");
    else if (n_cells > ledger->n_columns)
        snprintf(row->problem, sizeof row->problem,
                 "%zu cells, but the first row names %zu columns; quote a text with %s in it", n_cells,
                 ledger->n_columns,
                 ledger->delimiter == ','   ? "commas"
                 : ledger->delimiter == ';' ? "semicolons"
                                            : "tabs");
    for (size_t c = 0; c < ledger->n_columns && c < n_cells; c++)
        if (sr_ledger_column_name(known[c]) != NULL)
            column_set(row, known[c], cell_unguarded(sr_ledger_cell(ledger, index, c)), ledger->decimal);
    row_check(row);
    ledger->n_unreadable += !row->readable;
}

/* Rows of a newer program may mean anything, so that nothing is done with them, or to them. */
static enum sr_status refuse_newer(const struct sr_ledger *ledger, const size_t *known, const char *path,
                                   struct sr_error *err)
{
    for (size_t c = 0; c < ledger->n_columns; c++)
        for (size_t i = 0; column_is_newer(known[c], "999999999") && i < ledger->n_rows; i++)
            if (column_is_newer(known[c], sr_ledger_cell(ledger, i, c)))
                return sr_fail(err, SR_ERR_FORMAT, path, ledger->rows[i].line,
                               "the column 'ledger' says version %.12s here, and this program knows %d: if a "
                               "newer stillrow wrote the row, update this one; if a spreadsheet counted on, "
                               "write %d there again",
                               sr_ledger_cell(ledger, i, c), SR_LEDGER_VERSION, SR_LEDGER_VERSION);
    return SR_OK;
}

/*
 * The first number with a sign that can only be the decimal one shows which it is, or else the first with
 * any: what is put behind the last row, written like that, changes nothing. In a row that is too long nobody
 * knows what stands where, and new columns come to stand over its last cells.
 */
static char find_decimal(const struct sr_ledger *ledger, const size_t *known)
{
    char doubtful = '\0';

    for (size_t i = 0; ledger->delimiter != ',' && i < ledger->n_rows; i++) {
        for (size_t c = 0; c < ledger->n_columns && ledger_n_cells(ledger, i) <= ledger->n_columns; c++) {
            const char *text = cell_unguarded(sr_ledger_cell(ledger, i, c));
            char decimal = column_decimal(known[c], text);
            if (decimal != '\0' && !column_may_group(text))
                return decimal;
            doubtful = doubtful == '\0' ? decimal : doubtful;
        }
    }
    return doubtful != '\0' ? doubtful : ledger->delimiter == ';' ? ',' : '.';
}

static enum sr_status place_rows(struct sr_ledger *ledger, const struct intake *in, const char *path,
                                 struct sr_error *err)
{
    const struct intake_row *rows = (const void *)in->rows.data;
    size_t n = n_rows(in) > 0 ? n_rows(in) - 1 : 0;

    ledger->rows = calloc(n + 1, sizeof *ledger->rows);
    ledger->first = calloc(n + 1, sizeof *ledger->first);
    if (ledger->rows == NULL || ledger->first == NULL)
        return no_memory(path, 0, err);
    ledger->n_rows = n;
    for (size_t i = 0; i < n; i++) {
        ledger->rows[i].line = rows[i + 1].line;
        ledger->first[i] = rows[i + 1].first_cell;
    }
    ledger->first[n] = in->starts.size / sizeof(size_t);
    return SR_OK;
}

/* A newer version is told first: it may have other columns, too. */
static enum sr_status take_rows(struct sr_ledger *ledger, const struct layout *layout,
                                const struct intake *in, const char *path, struct sr_error *err)
{
    size_t known[COLUMNS_MAX];
    struct look look = {.line = layout->header_line};

    enum sr_status status = place_rows(ledger, in, path, err);
    if (status != SR_OK)
        return status;
    for (size_t c = 0; c < ledger->n_columns; c++) {
        known[c] = column_find(ledger->columns[c]);
        count_name(&look, ledger->columns[c]);
    }
    status = refuse_newer(ledger, known, path, err);
    if (status != SR_OK)
        return status;
    if (!look.print || !look.wobble)
        return no_ledger(&look, path, err);
    ledger->decimal = find_decimal(ledger, known);
    for (size_t i = 0; i < ledger->n_rows; i++)
        understand_row(ledger, i, known, in->open_line);
    return SR_OK;
}

/* Hand the bytes' memory over. */
static void *take_data(struct bytes *b)
{
    void *data = b->data;
    memset(b, 0, sizeof *b);
    return data;
}

enum sr_status ledger_parse(struct sr_ledger *ledger, struct layout *layout, const struct bytes *b,
                            const char *path, bool spans, struct sr_error *err)
{
    struct sr_ledger made = {0};
    struct layout lies = {.cells = NULL};
    struct intake in = {.exact = spans};

    enum sr_status status = refuse_wide(b, path, err);
    if (status == SR_OK)
        status = find_delimiter(&made.delimiter, b, path, err);
    if (status == SR_OK)
        status = split(&in, &lies, b, made.delimiter, path, err);
    if (status == SR_OK) {
        made.text = take_data(&in.text);
        status = take_header(&made, &lies, &in, path, err);
    }
    if (status == SR_OK) {
        made.cells = (void *)in.starts.data;
        status = take_rows(&made, &lies, &in, path, err);
        in.starts.data = NULL;
    }
    if (status == SR_OK && spans)
        lies.cells = take_data(&in.spans);
    intake_release(&in);
    if (status != SR_OK) {
        sr_ledger_release(&made);
        return status;
    }
    *ledger = made;
    *layout = lies;
    return SR_OK;
}

void layout_release(struct layout *layout)
{
    free(layout->cells);
    *layout = (struct layout){.cells = NULL};
}

static enum sr_status read_plainly(struct sr_ledger *ledger, const char *path, struct sr_error *err)
{
    struct bytes b = {0};
    struct layout layout;

    enum sr_status status = bytes_read(&b, path, path, err);
    if (status == SR_OK)
        status = ledger_parse(ledger, &layout, &b, path, false, err);
    bytes_release(&b);
    return status;
}

enum sr_status sr_ledger_read(struct sr_ledger *ledger, const char *path, struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = read_plainly(ledger, path, err);
    sr_plain_end(&locale);
    return status;
}

size_t ledger_n_cells(const struct sr_ledger *ledger, size_t row)
{
    return ledger->first[row + 1] - ledger->first[row];
}

const char *sr_ledger_cell(const struct sr_ledger *ledger, size_t row, size_t column)
{
    return column < ledger_n_cells(ledger, row) ? ledger->text + ledger->cells[ledger->first[row] + column]
                                                : "";
}

void sr_ledger_release(struct sr_ledger *ledger)
{
    free(ledger->columns);
    free(ledger->rows);
    free(ledger->cells);
    free(ledger->first);
    free(ledger->text);
    memset(ledger, 0, sizeof *ledger);
}
