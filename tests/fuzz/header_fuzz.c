/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rule that finds the header row and its columns. The first line of the input is '-' (a time column is
 * wanted) or '#' (rows are counted), and behind it a columns text or nothing; the rest is the head of a file.
 * What is found must lie in the file, and a blank line put before it must change nothing but the line
 * numbers.
 */
#include "fuzz/fuzz.h"
#include "log/header.h"
#include "log/layout.h"
#include "log/rows.h"

/* A head of a file with what was made of it. */
struct understood {
    struct sr_header header;
    struct sr_layout layout;
    struct sr_log log;
    struct sr_error err;
    enum sr_status status;
};

static void understand(struct understood *u, const char *text, size_t size, const struct sr_spec *spec,
                       bool counted)
{
    const bool lf = memchr(text, '\n', size) != NULL || memchr(text, '\r', size) == NULL;
    const struct sr_head head = {
        .file = "f.csv", .text = text, .size = size, .last = true, .line_end = lf ? '\n' : '\r'};
    double seconds = 0;

    memset(u, 0, sizeof *u);
    u->status = sr_header_find(&u->header, &head, spec, counted, &u->err);
    if (u->status == SR_OK)
        u->status = sr_layout_make(&u->layout, &u->log, &head, &u->header, counted, &u->err);
    if (u->status == SR_OK) {
        u->status = sr_layout_probe(&u->layout, &u->log, &head, &u->header, NULL, &seconds, &u->err);
        CHECK(u->status != SR_OK || seconds > 0);
    }
    CHECK(u->status == SR_OK || (u->err.text[0] != '\0' && u->err.status == u->status));
    CHECK(u->status == SR_OK || u->status == SR_ERR_COLUMNS || u->status == SR_ERR_TIME);
}

static void forget(struct understood *u)
{
    sr_header_release(&u->header);
    sr_log_release(&u->log);
}

static void check_column(int column, size_t count, bool needed)
{
    CHECK(column >= (needed ? 0 : -1) && column < (int)count);
}

static size_t count_lines(const char *text, size_t size, char line_end)
{
    size_t lines = 0;

    for (size_t i = 0; i < size; i++)
        lines += text[i] == line_end;
    return lines;
}

static void check_header(const struct understood *u, const char *text, size_t size, bool counted)
{
    const struct sr_header *h = &u->header;
    const struct sr_choice *choice = &h->choice;

    CHECK(h->count >= (counted ? 3U : 4U) && strchr(",;\t", h->delimiter) != NULL);
    CHECK(h->start <= size && h->line <= h->start_line);
    check_column(choice->time, h->count, !counted);
    for (size_t i = 0; i < 3; i++) {
        check_column(choice->rate[i], h->count, true);
        check_column(choice->accel[i], h->count, false);
    }
    check_column(choice->throttle, h->count, false);
    CHECK(choice->n_motors <= SR_MOTORS_MAX && choice->n_outputs <= SR_MOTORS_MAX);
    for (size_t i = 0; i < choice->n_motors; i++)
        check_column(choice->motor[i], h->count, true);
    for (size_t i = 0; i < choice->n_outputs; i++)
        check_column(choice->output[i], h->count, true);
    /* Its line is the one that its offset says. */
    const size_t ends = count_lines(text, h->start, u->layout.line_end);
    CHECK(h->start_line == ends + 1 || (h->start == size && h->start_line == ends + 2));
}

static void check_layout(const struct understood *u)
{
    const struct sr_layout *layout = &u->layout;

    CHECK(layout->n_wanted <= SR_WANTED_MAX && layout->n_slow <= SR_SLOW_MAX);
    for (size_t i = 0; i < layout->n_wanted; i++) {
        CHECK(layout->wanted[i].column < u->header.count);
        CHECK(i == 0 || layout->wanted[i].column > layout->wanted[i - 1].column);
        CHECK((size_t)layout->wanted[i].slot < SR_SLOTS);
    }
}

static void same_but_for_a_line(const struct understood *a, const struct understood *b)
{
    CHECK(a->status == b->status);
    if (a->status != SR_OK) {
        CHECK(strcmp(a->err.text, b->err.text) == 0);
        CHECK(b->err.line == (a->err.line > 0 ? a->err.line + 1 : 0));
        return;
    }
    CHECK(a->header.count == b->header.count && a->header.delimiter == b->header.delimiter);
    CHECK(memcmp(&a->header.choice, &b->header.choice, sizeof a->header.choice) == 0);
    CHECK(b->header.start == a->header.start + 1 && b->header.start_line == a->header.start_line + 1);
    CHECK(b->header.line == (a->header.line > 0 ? a->header.line + 1 : 0));
    CHECK(a->layout.n_wanted == b->layout.n_wanted);
    CHECK(memcmp(a->layout.wanted, b->layout.wanted, a->layout.n_wanted * sizeof *a->layout.wanted) == 0);
    CHECK(strcmp(a->log.columns.time.unit, b->log.columns.time.unit) == 0);
}

static void check_text(const char *text, size_t size, const struct sr_spec *spec, bool counted)
{
    struct understood u, moved;
    const bool lf = memchr(text, '\n', size) != NULL || memchr(text, '\r', size) == NULL;
    char *longer = malloc(size + 1);

    CHECK(longer != NULL);
    longer[0] = lf ? '\n' : '\r';
    memcpy(longer + 1, text, size);
    understand(&u, text, size, spec, counted);
    if (u.status == SR_OK) {
        check_header(&u, text, size, counted);
        check_layout(&u);
    }
    understand(&moved, longer, size + 1, spec, counted);
    same_but_for_a_line(&u, &moved);
    forget(&u);
    forget(&moved);
    free(longer);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *key = (const char *)data;
    const char *end = size > 0 ? memchr(key, '\n', size) : NULL;
    struct sr_spec spec;
    struct sr_error err;
    char columns[256];

    if (end == NULL || end + 1 == key + size)
        return 0;
    snprintf(columns, sizeof columns, "%.*s", (int)(end - key > 1 ? end - key - 1 : 0), key + 1);
    if (sr_spec_read(&spec, columns[0] != '\0' ? columns : NULL, &err) == SR_OK)
        check_text(end + 1, (size_t)(key + size - end) - 1, &spec, key[0] == '#');
    else
        CHECK(err.status == SR_ERR_ARGUMENT && err.text[0] != '\0');
    return 0;
}
