/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to merging. */
#ifndef LEDGER_MERGE_PRIVATE_H
#define LEDGER_MERGE_PRIVATE_H

#include <stdint.h>

#include "private.h"

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

/* What a column of a flight speaks of. */
enum part {
    PART_KEY = 0, /* what makes it that flight, or of no weight: the log's file name */
    PART_RATING,
    PART_FLIGHT,    /* the craft and the day; columns of others */
    PART_RESONANCE, /* resonance and temperature, which belong together */
    PART_SCORE      /* one scoring of the log */
};

/* Two ledgers on their way into one. Rows are counted through both, those of `into` first. */
struct merge {
    struct edit into;
    struct bytes from_bytes;
    struct sr_ledger from;
    struct layout from_layout;
    struct known known;
    /* [rows] NULL, or [columns of `into`] for each cell that is to be filled in: 1 + the row of `from` that
     * has it; 0: it stays. */
    size_t **fills;
    bool *fresh;       /* [rows of `from`] not there yet */
    size_t *column_of; /* of each column of `into`: its index in `from`, or SIZE_MAX */
    size_t *known_as;  /* of each column of `into`: column_find() */
    enum part *part;   /* of each column of `into` */
    bool alike; /* the columns of `from` are the first of `into`, and written alike: rows can be copied */
};

/* What a column of this name speaks of. */
enum part merge_part(const char *name);

/* Cell of row i of `from` under column c of `into`, written as there; maybe in room. */
const char *merge_cell(const struct merge *merge, size_t i, size_t c, char room[CELL_ROOM]);

/* What cell c of a row is to be filled in with, written as in `into`; NULL: it stays. An edit_text(). */
const char *merge_filled(const void *merge, size_t row, size_t c, char room[CELL_ROOM]);

/* Row i of `from` is a flight that is there as row `first` already: what that lacks is filled in from it, and
 * what differs is counted. A lack of memory is kept in merge->known.keys. */
void merge_fill(struct merge *merge, size_t first, size_t i, struct sr_merge_count *count);

/* Whether anything but a rating is filled in in this row. */
bool merge_is_filled(const struct merge *merge, size_t row);

#endif
