/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two rows of one flight: what one has and the other lacks, and where they differ. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "merge_private.h"
#include "rank_private.h"

static bool is_one_of(const char *name, const char *const *names, size_t n)
{
    size_t i = 0;
    while (i < n && strcmp(names[i], name) != 0)
        i++;
    return i < n;
}

enum part merge_part(const char *name)
{
    static const char *const key[] = {"ledger", "fingerprint", "log", "build", "shore_a", "camera"};
    static const char *const resonance[] = {"temperature_c", "resonance_hz"};
    static const char *const score[] = {"width_px",   "threshold_px", "verdict",    "wobble_px",  "low_px",
                                        "high_px",    "median_px",    "rms_px",     "bend_px",    "wave_px",
                                        "ripple_px",  "grain_px",     "smear_px",   "airborne_s", "main_hz",
                                        "main_share", "main_cause",   "main_order", "mount_in"};

    if (is_one_of(name, key, sizeof key / sizeof *key))
        return PART_KEY;
    if (strcmp(name, "rating") == 0)
        return PART_RATING;
    if (is_one_of(name, resonance, sizeof resonance / sizeof *resonance))
        return PART_RESONANCE;
    return is_one_of(name, score, sizeof score / sizeof *score) ? PART_SCORE : PART_FLIGHT;
}

/* Row of `from` that cell c of a row is filled in from; SIZE_MAX: it is not. */
static size_t filled_from(const struct merge *m, size_t row, size_t c)
{
    return m->fills[row] != NULL && m->fills[row][c] > 0 ? m->fills[row][c] - 1 : SIZE_MAX;
}

/* What a cell means, alike in both ledgers: a number as it is written with a point. */
static const char *meaning(const struct sr_ledger *ledger, size_t i, size_t column, size_t known,
                           char room[CELL_ROOM])
{
    const char *text = sr_ledger_column_name(known) != NULL
                           ? column_text(&ledger->rows[i], known, room, CELL_ROOM)
                           : cell_unguarded(sr_ledger_cell(ledger, i, column));
    return text[strspn(text, " \t")] != '\0' ? text : "";
}

static const char *meaning_from(const struct merge *m, size_t i, size_t c, char room[CELL_ROOM])
{
    return meaning(&m->from, i, m->column_of[c], m->known_as[c], room);
}

/* Of a row as it is going to be. */
static const char *meaning_at(const struct merge *m, size_t row, size_t c, char room[CELL_ROOM])
{
    size_t n = m->into.ledger.n_rows, i = filled_from(m, row, c);

    if (i != SIZE_MAX)
        return meaning_from(m, i, c, room);
    return row < n ? meaning(&m->into.ledger, row, c, m->known_as[c], room)
                   : meaning_from(m, row - n, c, room);
}

/* How cell c of a flight that is there stands to that of another row of it. */
enum standing { SAME, LACKING, DIFFERENT };

static enum standing stand(const struct merge *m, size_t first, size_t i, size_t c)
{
    char room_here[CELL_ROOM], room_there[CELL_ROOM];
    const char *here = meaning_at(m, first, c, room_here), *there = meaning_from(m, i, c, room_there);

    if (there[0] == '\0' || compare_names(here, there) == 0)
        return SAME;
    return here[0] == '\0' ? LACKING : DIFFERENT;
}

/* Whether nothing that both rows have of this part differs. */
static bool agree(const struct merge *m, size_t first, size_t i, enum part part)
{
    size_t c = 0;
    while (c < m->into.ledger.n_columns && (m->part[c] != part || stand(m, first, i, c) != DIFFERENT))
        c++;
    return c == m->into.ledger.n_columns;
}

/*
 * A resonance is that of its temperature: half of the two is taken only from a row that has the other half as
 * it is here.
 */
static bool resonance_fits(const struct merge *m, size_t first, size_t i)
{
    char here[CELL_ROOM], there[CELL_ROOM];
    bool empty = true, same = true;

    for (size_t c = 0; c < m->into.ledger.n_columns; c++) {
        if (m->part[c] != PART_RESONANCE)
            continue;
        const char *own = meaning_at(m, first, c, here), *other = meaning_from(m, i, c, there);
        empty = empty && own[0] == '\0';
        same = same && (own[0] == '\0' || strcmp(own, other) == 0);
    }
    return empty || same;
}

static void fill(struct merge *m, size_t first, size_t i, size_t c)
{
    if (m->fills[first] == NULL)
        m->fills[first] = calloc(m->into.ledger.n_columns, sizeof **m->fills);
    if (m->fills[first] == NULL)
        m->known.keys.failed = true;
    else
        m->fills[first][c] = i + 1;
}

static void count_rating(struct merge *m, size_t first, size_t i, size_t c, struct sr_merge_count *count)
{
    enum standing standing = stand(m, first, i, c);

    if (standing == LACKING) {
        fill(m, first, i, c);
        count->rated += first < m->into.ledger.n_rows;
    } else if (standing == DIFFERENT && count->rated_otherwise++ == 0) {
        count->rated_otherwise_line = m->from.rows[i].line;
    }
}

static void count_difference(const struct merge *m, size_t i, size_t c, struct sr_merge_count *count)
{
    if (count->differ++ > 0)
        return;
    count->differ_line = m->from.rows[i].line;
    snprintf(count->differ_column, sizeof count->differ_column, "%s", m->into.ledger.columns[c]);
}

void merge_fill(struct merge *m, size_t first, size_t i, struct sr_merge_count *count)
{
    bool of_score = agree(m, first, i, PART_SCORE), of_resonance = resonance_fits(m, first, i);
    size_t different = m->into.ledger.n_columns;

    for (size_t c = m->into.ledger.n_columns; c-- > 0;) {
        enum part part = m->part[c];
        bool wanted = part == PART_FLIGHT || (part == PART_SCORE && of_score) ||
                      (part == PART_RESONANCE && of_resonance);
        if (part == PART_KEY)
            continue;
        if (part == PART_RATING) {
            count_rating(m, first, i, c, count);
            continue;
        }
        enum standing standing = stand(m, first, i, c);
        if (standing == DIFFERENT)
            different = c;
        else if (standing == LACKING && wanted)
            fill(m, first, i, c);
    }
    if (different < m->into.ledger.n_columns)
        count_difference(m, i, different, count);
}

bool merge_is_filled(const struct merge *m, size_t row)
{
    for (size_t c = 0; m->fills[row] != NULL && c < m->into.ledger.n_columns; c++)
        if (m->fills[row][c] > 0 && m->part[c] != PART_RATING)
            return true;
    return false;
}

const char *merge_cell(const struct merge *m, size_t i, size_t c, char room[CELL_ROOM])
{
    const char *cell = sr_ledger_cell(&m->from, i, m->column_of[c]), *text = cell_unguarded(cell);
    const char *other =
        column_with(m->known_as[c], text, m->from.decimal, m->into.ledger.decimal, room, CELL_ROOM);
    return other != text ? other : cell;
}

const char *merge_filled(const void *merge, size_t row, size_t c, char room[CELL_ROOM])
{
    const struct merge *m = merge;
    size_t i = filled_from(m, row, c);

    if (i == SIZE_MAX)
        return NULL;
    return m->part[c] == PART_RATING ? sr_rating_name(m->from.rows[i].rating) : merge_cell(m, i, c, room);
}
