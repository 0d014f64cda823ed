/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/header.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "log/csvrow.h"
#include "log/decimals.h"
#include "log/number.h"

#define FIRST_REACH 8192 /* [bytes] looked at first */

/* The names of one row; grows as rows are looked at. */
struct names {
    struct sr_name *name;
    size_t count;
    size_t room;
    bool failed; /* out of memory */
};

/* The row that came closest, for the message when none fits. */
struct closest {
    char text[300];                /* its column names */
    char missing[SR_KEY_MAX + 32]; /* the first column asked for that it has not, with its key; "": none */
    size_t line;
    size_t score;
};

struct search {
    const struct sr_head *head;
    const struct sr_spec *spec;
    bool counted;
    struct closest *closest;
    size_t reach; /* [bytes] rows that start beyond are not looked at */
};

static void on_field(void *context, size_t column, const char *text, size_t size)
{
    struct names *names = context;

    names->count = column;
    if (column >= SR_COLUMNS_MAX || names->failed)
        return;
    if (column == names->room) {
        const size_t room = names->room == 0 ? 64 : names->room * 2;
        struct sr_name *name = realloc(names->name, room * sizeof *name);
        if (name == NULL) {
            names->failed = true;
            return;
        }
        names->name = name;
        names->room = room;
    }
    sr_name_read(text, size, &names->name[column]);
    names->count = column + 1;
}

/* A comma between commas was quoted: it parts no fields. */
static bool is_number(const struct sr_name *name)
{
    double value;

    return sr_number_read(name->text, name->text + strlen(name->text), true, &value);
}

/* Lay the user's columns over the chosen ones; false: the row has them not. */
static bool apply_spec(const struct sr_spec *spec, const struct names *names, struct sr_choice *choice,
                       int *ambiguous)
{
    for (size_t k = 0; k < SR_SPEC_KEYS; k++) {
        if (spec->item[k].text == NULL)
            continue;
        const int column = sr_spec_find(&spec->item[k], names->name, names->count);
        if (column == -2)
            *ambiguous = (int)k;
        if (column < 0)
            return false;
        if (k == SR_SPEC_TIME)
            choice->time = column;
        else if (k <= SR_SPEC_Z)
            choice->rate[k - SR_SPEC_X] = column;
        else if (k == SR_SPEC_THROTTLE)
            choice->throttle = column;
        else
            choice->motor[k - SR_SPEC_MOTOR] = column;
    }
    if (spec->item[SR_SPEC_X].text != NULL) {
        choice->rate_sets = 1;
        choice->other_rate = -1;
        choice->marker = 1;
    }
    if (spec->item[SR_SPEC_TIME].text != NULL)
        choice->other_time = -1;
    return true;
}

/* Motors that the user named take the place of those found. */
static void apply_motors(const struct sr_spec *spec, const struct names *names, struct sr_choice *choice)
{
    size_t n = 0;

    for (size_t k = 0; k < SR_MOTORS_MAX; k++)
        if (spec->item[SR_SPEC_MOTOR + k].text != NULL)
            choice->motor[n++] = choice->motor[k];
    if (n > 0) {
        choice->n_motors = n;
        choice->electrical = names->name[choice->motor[0]].electrical;
    }
}

/* How much a row looks like a header, to name the closest one. */
static size_t likeness(const struct names *names)
{
    size_t score = 0;

    if (names->count < 2 || names->count > SR_COLUMNS_MAX)
        return 0;
    for (size_t i = 0; i < names->count; i++) {
        const struct sr_name *name = &names->name[i];
        score += name->role == SR_ROLE_RATE || name->role == SR_ROLE_TIME ? 1000 : 0;
        score += name->n_words > 0 ? 1 : 0;
    }
    return score;
}

/* The first column that the user asked for and the row has not, as the user wrote it. */
static void tell_missing(const struct sr_spec *spec, const struct names *names, char *missing, size_t size)
{
    missing[0] = '\0';
    for (size_t k = 0; k < SR_SPEC_KEYS && missing[0] == '\0'; k++) {
        const struct sr_spec_item *item = &spec->item[k];
        if (item->text == NULL || sr_spec_find(item, names->name, names->count) != -1)
            continue;
        if (item->number > 0)
            snprintf(missing, size, "column %zu (%s)", item->number, sr_spec_key_name(k));
        else
            snprintf(missing, size, "'%.*s' (%s)", (int)(item->size < SR_KEY_MAX ? item->size : SR_KEY_MAX),
                     item->text, sr_spec_key_name(k));
    }
}

static void remember(const struct search *search, const struct names *names, size_t line)
{
    struct closest *closest = search->closest;
    const size_t score = likeness(names);
    size_t used = 0;

    if (score <= closest->score)
        return;
    closest->score = score;
    closest->line = line;
    for (size_t i = 0; i < names->count && used < sizeof closest->text - 1; i++) {
        const int n = snprintf(closest->text + used, sizeof closest->text - used, "%s%s", i > 0 ? ", " : "",
                               names->name[i].text);
        used += n > 0 ? (size_t)n : 0;
    }
    if (used >= sizeof closest->text)
        memcpy(closest->text + sizeof closest->text - 4, "...", 4);
    tell_missing(search->spec, names, closest->missing, sizeof closest->missing);
}

/* All columns that the user numbered are numbers in this row: data without a header. */
static bool is_data(const struct search *search, const struct names *names)
{
    for (size_t k = 0; k <= SR_SPEC_Z; k++) {
        const size_t number = search->spec->item[k].number;
        if (number > names->count || (number > 0 && !is_number(&names->name[number - 1])))
            return false;
    }
    return names->count <= SR_COLUMNS_MAX;
}

static bool fits(const struct search *search, const struct names *names, struct sr_choice *choice,
                 int *ambiguous)
{
    if (names->count < (search->counted ? 3U : 4U) || names->count > SR_COLUMNS_MAX)
        return false;
    sr_choose(names->name, names->count, choice);
    if (!apply_spec(search->spec, names, choice, ambiguous))
        return false;
    apply_motors(search->spec, names, choice);
    return (search->counted || choice->time >= 0) && choice->rate[0] >= 0 && choice->rate[1] >= 0 &&
           choice->rate[2] >= 0;
}

/* The row at offset `at` into *names; *span tells what it took. */
static bool row_at(const struct sr_head *head, struct sr_csv *csv, size_t at, struct names *names,
                   struct sr_csv_span *span)
{
    names->count = 0;
    return sr_csv_row(csv, head->text + at, head->text + head->size, head->last, on_field, names, span) &&
           !names->failed;
}

/* A row of units: most of its fields are units, and none is a number. */
static bool is_units_row(const struct names *names)
{
    size_t filled = 0;
    size_t units = 0;

    for (size_t i = 0; i < names->count && i < SR_COLUMNS_MAX; i++) {
        const char *text = names->name[i].text;
        filled += text[0] != '\0';
        units += sr_unit_find(text, strlen(text))[0] != '\0';
        if (is_number(&names->name[i]))
            return false;
    }
    return units > 0 && units * 2 >= filled && names->count <= SR_COLUMNS_MAX;
}

/* Units to the names that have none yet. */
static void add_units(struct sr_name *name, const struct names *units)
{
    for (size_t i = 0; i < units->count; i++) {
        const char *unit = sr_unit_find(units->name[i].text, strlen(units->name[i].text));
        if (name[i].unit[0] == '\0')
            snprintf(name[i].unit, sizeof name[i].unit, "%s", unit);
    }
}

/* A row of units below the header, blank lines between or not, if there is one. false: out of memory. */
static bool read_units(const struct sr_head *head, struct sr_csv *csv, struct sr_header *header,
                       struct names *names)
{
    struct sr_csv_span span = {.used = 1};
    size_t at = header->start, line = header->start_line;

    for (; span.columns == 0 && span.used > 0 && at < head->size; at += span.used, line += span.lines)
        if (!row_at(head, csv, at, names, &span))
            return false;
    if (span.columns == 0 || names->count > header->count || !is_units_row(names))
        return true;
    add_units(header->name, names);
    header->start = at;
    header->start_line = line;
    return true;
}

/* Hand the names over to the header. */
static void take_names(struct sr_header *header, struct names *names)
{
    free(header->name);
    header->name = names->name;
    header->count = names->count;
    *names = (struct names){0};
}

/*
 * A file whose columns are given by number: data start at the first row whose
 * named fields are all numbers; the row before it, if as long, is the header.
 */
static enum sr_status find_numbered(struct sr_header *header, const struct search *search, struct sr_csv *csv)
{
    const struct sr_head *head = search->head;
    struct names names = {0};
    struct names before = {0};
    struct sr_csv_span span;
    size_t before_line = 0;
    size_t line = 1;
    int ambiguous = -1;
    enum sr_status status = SR_ERR_COLUMNS;

    for (size_t at = 0; at < head->size && at < search->reach; at += span.used, line += span.lines) {
        if (!row_at(head, csv, at, &names, &span)) {
            status = SR_ERR_MEMORY;
            break;
        }
        if (span.used == 0)
            break;
        if (span.columns == 0)
            continue;
        if (is_data(search, &names)) {
            header->start = at;
            header->start_line = line;
            header->line = before_line > 0 && before.count == names.count ? before_line : 0;
            header->above = header->line == 0 && before_line > 0 ? before.count : 0;
            if (header->line == 0)
                for (size_t i = 0; i < names.count; i++)
                    sr_name_read("", 0, &names.name[i]);
            take_names(header, header->line > 0 ? &before : &names);
            const struct names own = {.name = header->name, .count = header->count};
            status = fits(search, &own, &header->choice, &ambiguous) ? SR_OK : SR_ERR_COLUMNS;
            break;
        }
        if (before.count == names.count && is_units_row(&names)) {
            add_units(before.name, &names);
            continue;
        }
        remember(search, &names, line);
        const struct names swap = before;
        before = names;
        names = swap;
        before_line = line;
    }
    free(names.name);
    free(before.name);
    return status;
}

static enum sr_status find_named(struct sr_header *header, const struct search *search, struct sr_csv *csv,
                                 int *ambiguous)
{
    const struct sr_head *head = search->head;
    struct names names = {0};
    struct sr_csv_span span;
    size_t line = 1;
    enum sr_status status = SR_ERR_COLUMNS;

    for (size_t at = 0; at < head->size && at < search->reach; at += span.used, line += span.lines) {
        if (!row_at(head, csv, at, &names, &span)) {
            status = SR_ERR_MEMORY;
            break;
        }
        if (span.used == 0)
            break;
        if (span.columns == 0)
            continue;
        if (fits(search, &names, &header->choice, ambiguous)) {
            header->line = line;
            header->start = at + span.used;
            header->start_line = line + span.lines;
            take_names(header, &names);
            status = read_units(head, csv, header, &names) ? SR_OK : SR_ERR_MEMORY;
            break;
        }
        remember(search, &names, line);
    }
    free(names.name);
    return status;
}

/* Look for a header with one delimiter, in the rows within its reach. */
static enum sr_status find_with(struct sr_header *found, const struct search *search, char delimiter,
                                int *ambiguous)
{
    const struct sr_spec *spec = search->spec;
    const bool by_number = spec->numbers && (search->counted || spec->item[SR_SPEC_TIME].number > 0);
    enum sr_status status = SR_ERR_MEMORY;
    struct sr_csv csv;

    *found = (struct sr_header){.delimiter = delimiter};
    if (sr_csv_init(&csv, delimiter, search->head->line_end)) {
        status = by_number ? find_numbered(found, search, &csv) : find_named(found, search, &csv, ambiguous);
        sr_csv_release(&csv);
    }
    return status;
}

/* A header of the right kind, if its fields were not apart by what they are. */
static char other_delimiter(const struct search *search)
{
    static const char others[] = {'|', ' ', '\0'};
    size_t at = 0;

    for (; others[at] != '\0'; at++) {
        struct sr_header found;
        int ambiguous = -1;
        struct closest closest = {0};
        struct search like = *search;
        like.closest = &closest;
        const bool fits = find_with(&found, &like, others[at], &ambiguous) == SR_OK;
        sr_header_release(&found);
        if (fits)
            break;
    }
    return others[at];
}

static enum sr_status no_header(const struct search *search, int ambiguous, struct sr_error *err)
{
    const struct closest *closest = search->closest;
    const char delimiter = other_delimiter(search);
    const char *file = search->head->file;
    const char *what =
        search->counted ? "three gyro rate columns" : "a time column and three gyro rate columns";

    if (ambiguous >= 0) {
        const struct sr_spec_item *item = &search->spec->item[ambiguous];
        return sr_fail(
            err, SR_ERR_COLUMNS, file, closest->line,
            "more than one column is called '%.*s': give its number instead (1 is the first column)",
            (int)item->size, item->text);
    }
    if (delimiter != '\0')
        return sr_fail(err, SR_ERR_COLUMNS, file, 0,
                       "the fields are apart by %s: the separator is to be a comma, a semicolon or a tab",
                       delimiter == '|' ? "'|'" : "blanks");
    if (closest->score == 0)
        return sr_fail(
            err, SR_ERR_COLUMNS, file, 0,
            "no header row names %s: is this a CSV log? Without a header, number the columns: --columns "
            "time=1,x=2,y=3,z=4",
            what);
    if (closest->missing[0] != '\0')
        return sr_fail(err, SR_ERR_COLUMNS, file, closest->line,
                       "no row has the columns asked for: the closest is this one, without %s; it has: %s",
                       closest->missing, closest->text);
    return sr_fail(
        err, SR_ERR_COLUMNS, file, closest->line,
        "no header row names %s; closest is this one: %s; name them with --columns %sx=NAME,y=NAME,z=NAME%s",
        what, closest->text, search->counted ? "" : "time=NAME,",
        search->counted ? "" : " (or --sample-rate HZ without a time)");
}

enum sr_status sr_header_find(struct sr_header *header, const struct sr_head *head,
                              const struct sr_spec *spec, bool counted, struct sr_error *err)
{
    static const char delimiters[] = {',', ';', '\t'};
    struct closest closest = {0};
    struct search search = {.head = head, .spec = spec, .counted = counted, .closest = &closest};
    int ambiguous = -1;

    *header = (struct sr_header){0};
    /* Headers are near the top: data need not be read three times over to find them. */
    for (search.reach = FIRST_REACH; header->count == 0; search.reach *= 16) {
        for (size_t i = 0; i < sizeof delimiters; i++) {
            struct sr_header found;
            const enum sr_status status = find_with(&found, &search, delimiters[i], &ambiguous);
            if (status == SR_OK && found.count > header->count) {
                sr_header_release(header);
                *header = found;
            } else {
                sr_header_release(&found);
            }
            if (status == SR_ERR_MEMORY) {
                sr_header_release(header);
                return sr_fail(err, SR_ERR_MEMORY, head->file, 0, "out of memory");
            }
        }
        if (search.reach >= head->size)
            break;
    }
    if (header->count == 0)
        return no_header(&search, ambiguous, err);
    const enum sr_status status = sr_decimals_find(header, head, err);
    if (status != SR_OK)
        sr_header_release(header);
    return status;
}

void sr_header_release(struct sr_header *header)
{
    free(header->name);
    *header = (struct sr_header){0};
}
