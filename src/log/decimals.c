/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/decimals.h"

#include <string.h>

#include "log/csvrow.h"
#include "log/number.h"

#define LOOKED_AT 20U /* rows */
#define RATES     3U  /* fields that a log with fractions has at the least */

/* One row. */
struct look {
    size_t fields;  /* without empty ones at its end */
    size_t commas;  /* fields that are numbers with a decimal comma */
    bool points;    /* a field with a decimal point */
    bool all_whole; /* every field is a whole number, or empty */
};

static bool is_whole(const char *text, size_t size)
{
    size_t i = size > 0 && (text[0] == '-' || text[0] == '+') ? 1 : 0;

    while (i < size && text[i] >= '0' && text[i] <= '9')
        i++;
    return i == size;
}

static void on_field(void *context, size_t column, const char *text, size_t size)
{
    struct look *look = context;
    double value;

    if (column == 0)
        *look = (struct look){.all_whole = true};
    while (size > 0 && sr_is_blank(*text)) {
        text++;
        size--;
    }
    while (size > 0 && sr_is_blank(text[size - 1]))
        size--;
    if (size > 0)
        look->fields = column + 1;
    look->points = look->points || memchr(text, '.', size) != NULL;
    look->all_whole = look->all_whole && is_whole(text, size);
    look->commas += memchr(text, ',', size) != NULL && sr_number_read(text, text + size, true, &value);
}

enum sr_status sr_decimals_find(struct sr_header *header, const struct sr_head *head, struct sr_error *err)
{
    struct sr_csv csv;
    struct sr_csv_span span;
    struct look look = {0};
    size_t rows = 0, split = 0, quoted = 0, most = 0;
    bool points = false, read = true;

    header->comma = header->delimiter != ',';
    if (header->comma)
        return SR_OK;
    if (!sr_csv_init(&csv, header->delimiter, head->line_end))
        return sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
    for (size_t at = header->start; rows < LOOKED_AT && at < head->size; at += span.used) {
        read = sr_csv_row(&csv, head->text + at, head->text + head->size, head->last, on_field, &look, &span);
        if (!read || span.used == 0)
            break;
        if (span.columns == 0)
            continue;
        rows++;
        points = points || look.points;
        quoted += look.commas >= RATES;
        split += look.all_whole && look.fields >= header->count + RATES && look.fields <= 2 * header->count;
        most = look.fields > most ? look.fields : most;
    }
    sr_csv_release(&csv);
    if (!read)
        return sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
    if (points || rows == 0)
        return SR_OK;
    if (split * 2 > rows)
        return sr_fail(
            err, SR_ERR_COLUMNS, head->file, header->start_line,
            "rows of %zu whole numbers under %zu names: decimal commas fall apart where commas part "
            "the columns; save it with semicolons between the columns, or with decimal points",
            most, header->count);
    header->comma = quoted * 2 > rows;
    return SR_OK;
}
