/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/decimals.h"

#include <stdint.h>
#include <string.h>

#include "log/csvrow.h"
#include "log/number.h"

#define FIRST_ROWS 20U   /* enough to tell quoted decimal commas */
#define ROWS       4096U /* looked at where all numbers are whole, so that a flight's signs are among them */
#define RATES      3U    /* fields that a log with fractions has at the least */
#define DIGITS_MET 3U    /* different single digits: a flag has two */
#define UNEVEN     0.1   /* share of rows that are not as long as most */

/* What the fields of a column are like; rows and columns are put together by |. A digit alone is its own bit.
 */
#define DIGITS 0x3FFU
#define LONGER 0x400U /* two digits or more, no sign */
#define PADDED                                                                                               \
    0x800U /* the same with a zero in front: as digits behind a mark have, and no whole number has */
#define SIGNED 0x1000U /* digits with a sign: no digits behind a mark */
#define WORD   0x2000U /* nor is this */
#define MOVES  0x4000U /* not all of them are the same */

struct look {
    uint16_t row[SR_COLUMNS_MAX];  /* the row being read */
    uint16_t all[SR_COLUMNS_MAX];  /* all rows */
    uint16_t most[SR_COLUMNS_MAX]; /* the rows of `length` */
    uint32_t text[SR_COLUMNS_MAX]; /* the texts of the row before, hashed */
    size_t length;                 /* fields that most rows have, by majority vote (Boyer, Moore 1981) */
    size_t votes, even;            /* even: rows of that length */
    size_t rows, quoted;
    size_t commas; /* of the row: numbers with a decimal comma */
    bool pointed;  /* a number with a decimal point */
};

static uint16_t kind_of(const char *text, size_t size)
{
    const bool sign = size > 0 && (*text == '-' || *text == '+');

    for (size_t i = sign ? 1 : 0; i < size; i++)
        if (text[i] < '0' || text[i] > '9')
            return WORD;
    if (size < 2)
        return size == 0 ? 0 : sign ? WORD : (uint16_t)(1U << (*text - '0'));
    return sign ? SIGNED : *text == '0' ? LONGER | PADDED : LONGER;
}

static uint32_t hash_of(const char *text, size_t size)
{
    uint32_t hash = 2166136261U; /* Fowler, Noll, Vo: FNV-1a, 32 bit */

    for (size_t i = 0; i < size; i++)
        hash = (hash ^ (unsigned char)text[i]) * 16777619U;
    return hash;
}

static void on_field(void *context, size_t column, const char *text, size_t size)
{
    struct look *look = context;
    double value;

    if (column == 0)
        look->commas = 0;
    while (size > 0 && sr_is_blank(*text)) {
        text++;
        size--;
    }
    while (size > 0 && sr_is_blank(text[size - 1]))
        size--;
    if (column < SR_COLUMNS_MAX) {
        const uint32_t hash = hash_of(text, size);
        look->row[column] = kind_of(text, size);
        if (look->rows > 0 && hash != look->text[column])
            look->row[column] |= MOVES;
        look->text[column] = hash;
    }
    look->commas += memchr(text, ',', size) != NULL && sr_number_read(text, text + size, true, &value);
    look->pointed = look->pointed ||
                    (memchr(text, '.', size) != NULL && sr_number_read(text, text + size, false, &value));
}

static void add_row(struct look *look, size_t columns)
{
    const size_t n = columns < SR_COLUMNS_MAX ? columns : SR_COLUMNS_MAX;

    look->rows++;
    look->quoted += look->commas >= RATES;
    for (size_t i = 0; i < n; i++)
        look->all[i] |= look->row[i];
    if (look->votes == 0 && n != look->length) {
        look->length = n;
        look->even = 0;
        memset(look->most, 0, sizeof look->most);
    }
    look->votes = n == look->length ? look->votes + 1 : look->votes - 1;
    if (n != look->length)
        return;
    look->even++;
    for (size_t i = 0; i < n; i++)
        look->most[i] |= look->row[i];
}

/* False: out of memory. */
static bool look_at(struct look *look, const struct sr_header *header, const struct sr_head *head)
{
    struct sr_csv csv;
    struct sr_csv_span span;
    bool read = true;

    if (!sr_csv_init(&csv, header->delimiter, head->line_end))
        return false;
    for (size_t at = header->start; at < head->size && look->rows < ROWS && !look->pointed; at += span.used) {
        read = sr_csv_row(&csv, head->text + at, head->text + head->size, head->last, on_field, look, &span);
        if (!read || span.used == 0 || (look->rows >= FIRST_ROWS && look->quoted * 2 > look->rows))
            break;
        if (span.columns > 0)
            add_row(look, span.columns);
    }
    sr_csv_release(&csv);
    return read;
}

/* ---- bare ones ------------------------------------------------------------ */

/* Zeros in front and no sign, behind a number that is not like that. (The parts of a date are, or stand
 * still.) */
static bool is_padded(const uint16_t *column, size_t i)
{
    return i > 0 && (column[i] & PADDED) != 0 && (column[i] & MOVES) != 0 &&
           (column[i] & (SIGNED | WORD)) == 0 && (column[i - 1] & ~MOVES) != 0 &&
           (column[i - 1] & (PADDED | WORD)) == 0;
}

/* Digits alone that vary and have no sign, behind a number that has one. */
static bool is_digit(const uint16_t *column, size_t i)
{
    size_t met = 0;

    for (unsigned digits = column[i] & DIGITS; digits != 0; digits &= digits - 1U)
        met++;
    return i > 0 && met >= DIGITS_MET && (column[i] & (LONGER | SIGNED | WORD)) == 0 &&
           (column[i - 1] & SIGNED) != 0 && (column[i - 1] & WORD) == 0;
}

/* A rate with a signed number behind it has no digits there: it is whole, and so are the others. */
static bool is_sure(const struct look *look, const struct sr_choice *choice)
{
    for (size_t axis = 0; axis < 3; axis++) {
        const size_t rate = (size_t)choice->rate[axis];
        if (rate + 1 < look->length && (look->most[rate] & look->most[rate + 1] & SIGNED) != 0)
            return true;
    }
    return false;
}

/* A digit or so behind a sign means something at a rate alone: flags and counts look like that, too. */
static bool is_behind_rate(const struct look *look, const struct sr_choice *choice, size_t axis, size_t i)
{
    const size_t rate = (size_t)choice->rate[axis];

    return (i == rate || i == rate + 1) && i < look->length && is_digit(look->most, i);
}

/* The first column like the digits behind a mark, if a rate is one or there are enough of them; 0: none. */
static size_t find_fractions(const struct look *look, const struct sr_choice *choice)
{
    size_t fractions = 0, moved = 0, first = 0;
    bool behind[3] = {false, false, false};

    for (size_t axis = 0; axis < 3; axis++) {
        const size_t rate = (size_t)choice->rate[axis];
        if (rate < look->length && is_padded(look->most, rate))
            return rate;
    }
    for (size_t i = 1; i < look->length; i++) {
        bool fraction = is_padded(look->most, i);
        for (size_t axis = 0; axis < 3; axis++)
            if (is_behind_rate(look, choice, axis, i))
                fraction = behind[axis] = true;
        /* zeros in front in some rows only: such digits do not stand in the same place in all of them */
        const bool mixed = (look->all[i] & PADDED) != 0 && (look->all[i] & (SIGNED | DIGITS)) != 0;
        fractions += fraction;
        moved += mixed;
        first = first == 0 && (fraction || mixed) ? i : first;
    }
    const bool enough = fractions >= RATES || (behind[0] && behind[1] && behind[2]);
    return moved >= RATES || (enough && !is_sure(look, choice)) ? first : 0;
}

/* More fields than names, as many as could be digits behind a mark: never with a sign, never side by side. */
static bool outnumber(const struct look *look, size_t names)
{
    size_t fields = look->length, free = 0;

    while (fields > 0 && (look->most[fields - 1] & ~MOVES) == 0)
        fields--;
    if (fields < names + RATES || fields > 2 * names)
        return false;
    for (size_t i = 1; i < fields; i++)
        if ((look->most[i] & (SIGNED | WORD)) == 0) {
            free++;
            i++;
        }
    return free >= fields - names || (double)(look->rows - look->even) > UNEVEN * (double)look->rows;
}

static enum sr_status refuse_bare(struct sr_header *header, const struct sr_head *head,
                                  const struct look *look, struct sr_error *err)
{
    const size_t names = header->line > 0 ? header->count : header->above;
    const char *what = "decimal commas fall apart where commas part the columns; save it with semicolons "
                       "between the columns, or with decimal points";

    if (header->line > 0 && look->length <= names)
        return SR_OK;
    if (names > 0 && outnumber(look, names))
        return sr_fail(err, SR_ERR_COLUMNS, head->file, header->start_line,
                       "rows of %zu whole numbers under %zu names: %s", look->length, names, what);
    const size_t first = find_fractions(look, &header->choice);
    if (first > 0)
        return sr_fail(err, SR_ERR_COLUMNS, head->file, header->start_line,
                       "rows of %zu whole numbers, some like digits behind a decimal mark (column %zu is the "
                       "first): %s",
                       look->length, first + 1, what);
    header->comma_open = header->line == 0 && !is_sure(look, &header->choice);
    return SR_OK;
}

enum sr_status sr_decimals_find(struct sr_header *header, const struct sr_head *head, struct sr_error *err)
{
    struct look look = {0};

    header->comma = header->delimiter != ',';
    if (header->comma)
        return SR_OK;
    if (!look_at(&look, header, head))
        return sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
    if (look.pointed || look.rows == 0)
        return SR_OK;
    header->comma = look.quoted * 2 > look.rows;
    return header->comma ? SR_OK : refuse_bare(header, head, &look, err);
}
