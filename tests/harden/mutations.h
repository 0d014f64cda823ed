/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ways to spoil a log, each the same for the same seed on every machine.
 */
#ifndef HARDEN_MUTATIONS_H
#define HARDEN_MUTATIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sim/flight.h"

/* Under a sanitizer all takes many times as long, so fewer are tried. */
#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define UNDER_SANITIZER 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define UNDER_SANITIZER 1
#endif

/* A file in memory. */
struct bytes {
    char *data;
    size_t size;
};

static inline size_t draw(uint64_t *seed, size_t n)
{
    return n > 0 ? (size_t)(sim_uniform(seed) * (double)n) : 0;
}

/* Put text[size] in the place of bytes [from, to). */
static inline void splice(struct bytes *b, size_t from, size_t to, const char *text, size_t size)
{
    char *data = malloc(b->size - (to - from) + size + 1);

    if (data == NULL)
        abort();
    memcpy(data, b->data, from);
    memcpy(data + from, text, size);
    memcpy(data + from + size, b->data + to, b->size - to);
    free(b->data);
    b->data = data;
    b->size += size - (to - from);
}

static inline size_t line_start(const struct bytes *b, size_t at)
{
    while (at > 0 && b->data[at - 1] != '\n')
        at--;
    return at;
}

/* Behind the line end. */
static inline size_t line_end(const struct bytes *b, size_t at)
{
    while (at < b->size && b->data[at] != '\n')
        at++;
    return at < b->size ? at + 1 : at;
}

static inline bool is_delimiter(char c)
{
    return c == ',' || c == ';' || c == '\t';
}

/* The field that byte `at` is in: [*from, *to). */
static inline void field_at(const struct bytes *b, size_t at, size_t *from, size_t *to)
{
    *from = *to = at;
    while (*from > 0 && !is_delimiter(b->data[*from - 1]) && b->data[*from - 1] != '\n')
        --*from;
    while (*to < b->size && !is_delimiter(b->data[*to]) && b->data[*to] != '\n')
        ++*to;
}

/* ---- The mutations ---- */

static inline void flip_bits(struct bytes *b, uint64_t *seed)
{
    for (size_t n = 1 + draw(seed, 40); n > 0 && b->size > 0; n--)
        b->data[draw(seed, b->size)] ^= (char)(1 << draw(seed, 8));
}

static inline void cut_end(struct bytes *b, uint64_t *seed)
{
    b->size = draw(seed, b->size + 1);
}

static inline void cut_start(struct bytes *b, uint64_t *seed)
{
    splice(b, 0, draw(seed, b->size / 2 + 1), "", 0);
}

/* One to some thousand lines, once more somewhere else, or gone. */
static inline void copy_lines(struct bytes *b, uint64_t *seed)
{
    const size_t from = line_start(b, draw(seed, b->size));
    size_t to = from;

    for (size_t n = 1 + draw(seed, draw(seed, 3) == 0 ? 2000 : 5); n > 0; n--)
        to = line_end(b, to);
    const size_t at = line_start(b, draw(seed, b->size));
    char *lines = malloc(to - from + 1);
    if (lines == NULL)
        abort();
    memcpy(lines, b->data + from, to - from);
    splice(b, at, at, lines, to - from);
    free(lines);
}

static inline void drop_lines(struct bytes *b, uint64_t *seed)
{
    const size_t from = line_start(b, draw(seed, b->size));
    size_t to = from;

    for (size_t n = 1 + draw(seed, draw(seed, 3) == 0 ? 4000 : 5); n > 0; n--)
        to = line_end(b, to);
    splice(b, from, to, "", 0);
}

static inline void swap_lines(struct bytes *b, uint64_t *seed)
{
    for (size_t n = 1 + draw(seed, 20); n > 0; n--) {
        const size_t from = line_start(b, draw(seed, b->size)), to = line_end(b, from);
        char line[512];
        if (to - from >= sizeof line)
            continue;
        memcpy(line, b->data + from, to - from);
        const size_t size = to - from;
        splice(b, from, to, "", 0);
        const size_t at = line_start(b, draw(seed, b->size));
        splice(b, at, at, line, size);
    }
}

/* In every line: column k doubled, dropped, or changed with its neighbour. Or only from some line on. */
static inline void change_column(struct bytes *b, uint64_t *seed)
{
    const size_t column = draw(seed, 8), how = draw(seed, 3);
    const size_t begin = draw(seed, 2) == 0 ? 0 : line_start(b, draw(seed, b->size));
    char *made = malloc(2 * b->size + 1);
    size_t used = begin;

    if (made == NULL)
        abort();
    memcpy(made, b->data, begin);
    for (size_t at = begin; at < b->size;) {
        const size_t end = line_end(b, at);
        size_t field = 0, before = at, from = at;
        while (field < column && from < end) { /* [before, from): the column to the left, and its delimiter */
            before = from;
            while (from < end && !is_delimiter(b->data[from]))
                from++;
            from += from < end;
            field++;
        }
        size_t to = from;
        while (to < end && !is_delimiter(b->data[to]) && b->data[to] != '\n')
            to++;
        to += to < end && is_delimiter(b->data[to]);
        const size_t parts[3][4][2] = {{{at, to}, {from, to}, {to, end}, {end, end}},
                                       {{at, from}, {to, end}, {end, end}, {end, end}},
                                       {{at, before}, {from, to}, {before, from}, {to, end}}};
        for (size_t p = 0; p < 4; p++) {
            const size_t size = parts[how][p][1] - parts[how][p][0];
            memcpy(made + used, b->data + parts[how][p][0], size);
            used += size;
        }
        at = end;
    }
    free(b->data);
    b->data = made;
    b->size = used;
}

static inline void odd_numbers(struct bytes *b, uint64_t *seed)
{
    static const char *const odd[] = {"1e308",
                                      "-1e308",
                                      "1e-320",
                                      "99999999999999999999999999999999999999",
                                      "-9223372036854775808",
                                      "9223372036854775807",
                                      "4294967295",
                                      "nan",
                                      "-inf",
                                      "0x7f",
                                      "",
                                      "-",
                                      "1e",
                                      "1,5",
                                      "1.5.5",
                                      "lost",
                                      "\"12\"",
                                      "\"1\"\"2\"",
                                      "\"",
                                      "32767",
                                      "-32768",
                                      "0"};
    const bool one = draw(seed, 3) == 0;
    const size_t kind = draw(seed, sizeof odd / sizeof *odd);

    for (size_t n = 1 + draw(seed, draw(seed, 4) == 0 ? 300 : 6); n > 0 && b->size > 0; n--) {
        const char *text = odd[one ? kind : draw(seed, sizeof odd / sizeof *odd)];
        size_t from, to;
        field_at(b, draw(seed, b->size), &from, &to);
        splice(b, from, to, text, strlen(text));
    }
}

static inline void zero_bytes(struct bytes *b, uint64_t *seed)
{
    static const char zeros[5000];
    const size_t at = draw(seed, 4) == 0 ? b->size : draw(seed, b->size + 1);

    splice(b, at, at, zeros, 1 + draw(seed, draw(seed, 2) == 0 ? 3 : sizeof zeros));
}

static inline void change_delimiters(struct bytes *b, uint64_t *seed)
{
    static const char to[] = {',', ';', '\t', ' ', '|', '\r', '\n', '"'};
    const char put = to[draw(seed, sizeof to)];
    const size_t from = draw(seed, 2) == 0 ? 0 : draw(seed, b->size);
    const size_t end = draw(seed, 2) == 0 ? b->size : from + draw(seed, b->size - from + 1);

    for (size_t i = from; i < end; i++)
        if (is_delimiter(b->data[i]))
            b->data[i] = put;
}

/* Bytes of the first lines: other letters, gone, or doubled. */
static inline void damage_header(struct bytes *b, uint64_t *seed)
{
    const size_t head = b->size < 400 ? b->size : 400;

    for (size_t n = 1 + draw(seed, 12); n > 0 && head > 0; n--) {
        const size_t at = draw(seed, head < b->size ? head : b->size);
        const char letter = (char)draw(seed, 256);
        const size_t how = draw(seed, 3);
        if (at < b->size)
            splice(b, at, at + (how != 2), &letter, how != 1);
    }
}

static inline void huge_field(struct bytes *b, uint64_t *seed)
{
    static const char fill[] = {'7', 'x', '.', ' ', '"', ',', ';', '\t', '-', '\xC3', '\x1B', '\r'};
    const size_t size = draw(seed, 3) == 0 ? 1200000 + draw(seed, 1500000) : 100 + draw(seed, 70000);
    char *text = malloc(size);
    size_t from, to;

    if (text == NULL)
        abort();
    memset(text, fill[draw(seed, sizeof fill)], size);
    field_at(b, draw(seed, 2) == 0 ? draw(seed, b->size) : draw(seed, b->size < 300 ? b->size : 300), &from,
             &to);
    splice(b, from, to, text, size);
    free(text);
}

static inline void line_ends(struct bytes *b, uint64_t *seed)
{
    const size_t how = draw(seed, 3);

    for (size_t i = 0; i < b->size; i++) {
        if (b->data[i] != '\n' || (how == 2 && draw(seed, 50) != 0))
            continue;
        if (how == 1)
            b->data[i] = '\r';
        else if (i > 0)
            b->data[i - 1] = '\r';
    }
}

/* Scale every clock: the unit is another, or the log is of another length. */
static inline void append_digits(struct bytes *b, uint64_t *seed)
{
    static const char *const digits[] = {"0", "000", "000000", "e3", "e-3", "e9", "e-9"};
    const char *text = digits[draw(seed, 7)];
    const size_t column = draw(seed, 5), size = strlen(text);
    size_t lines = 0, used = 0;

    for (size_t i = 0; i < b->size; i++)
        lines += b->data[i] == '\n';
    char *made = malloc(b->size + (lines + 1) * size + 1);
    if (made == NULL)
        abort();
    for (size_t i = 0, field = 0; i < b->size; i++) {
        const bool ends = is_delimiter(b->data[i]) || b->data[i] == '\n';
        if (ends && field == column) {
            memcpy(made + used, text, size);
            used += size;
        }
        field = b->data[i] == '\n' ? 0 : field + is_delimiter(b->data[i]);
        made[used++] = b->data[i];
    }
    free(b->data);
    b->data = made;
    b->size = used;
}

struct mutation {
    const char *name;
    void (*spoil)(struct bytes *b, uint64_t *seed);
};

static const struct mutation mutations[] = {
    {"bits flipped", flip_bits},         {"end cut off", cut_end},
    {"start cut off", cut_start},        {"lines copied", copy_lines},
    {"lines dropped", drop_lines},       {"lines swapped", swap_lines},
    {"a column changed", change_column}, {"odd numbers", odd_numbers},
    {"zero bytes", zero_bytes},          {"delimiters changed", change_delimiters},
    {"header damaged", damage_header},   {"a huge field", huge_field},
    {"line ends changed", line_ends},    {"digits appended", append_digits},
};
enum { MUTATIONS = sizeof mutations / sizeof mutations[0] };

#endif
