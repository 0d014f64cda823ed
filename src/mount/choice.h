/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which of some pieces to fit, from what each would wobble and which lines it stands beside. */
#ifndef MOUNT_CHOICE_H
#define MOUNT_CHOICE_H

#include "mount/predict.h"

/* What a table marks a cell with. */
enum mark { MARK_NONE = 0, MARK_PERHAPS, MARK_RESONATES };

enum mark mark_of(const struct sr_mount_cell *cell);

/*
 * The piece of px[n] [px] to fit: the least, unless it is marked. A marked one is left for one that is marked
 * less and wobbles by less than SR_MARK_DB more; among those the least marked, then the least.
 */
size_t choose(const double *px, const enum mark *mark, size_t n);

/* The choice at one temperature: cases[n][CASES] as of predict(), mark[n]. */
struct sr_mount_pick pick(const double *cases, const enum mark *mark, size_t n);

/* Whether piece i of px[n] is as good as the one chosen: it, or within SR_ALIKE_DB of it and marked no more.
 */
bool as_good(const double *px, const enum mark *mark, size_t chosen, size_t i);

#endif
