/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "mount/choice.h"

#include <math.h>

#define SURE_PART 1e-9

enum mark mark_of(const struct sr_mount_cell *cell)
{
    if (!(cell->line_hz > 0))
        return MARK_NONE;
    return cell->line_perhaps ? MARK_PERHAPS : MARK_RESONATES;
}

static size_t least_of(const double *px, size_t n, size_t stride)
{
    size_t least = 0;
    for (size_t i = 1; i < n; i++)
        if (px[i * stride] < px[least * stride])
            least = i;
    return least;
}

/*
 * What was predicted holds for the speeds flown. Beside a strong line a little more speed, or a little cold,
 * adds to that, and more than the 3 dB that make the mark; away from lines it does not.
 */
size_t choose(const double *px, const enum mark *mark, size_t n)
{
    const size_t least = least_of(px, n, 1);
    const double most = px[least] * pow(10, SR_MARK_DB / 20);
    size_t best = least;

    for (size_t i = 0; i < n; i++) {
        if (mark[i] >= mark[least] || !(px[i] < most))
            continue;
        if (mark[i] < mark[best] || (mark[i] == mark[best] && px[i] < px[best]))
            best = i;
    }
    return best;
}

bool as_good(const double *px, const enum mark *mark, size_t chosen, size_t i)
{
    if (!(px[i] <= px[chosen] * pow(10, SR_ALIKE_DB / 20)))
        return false;
    return i == chosen || mark[i] <= mark[chosen];
}

/* The least of the others, or of those without a mark; `best` where there is none. */
static size_t next_best(const double *px, const enum mark *mark, size_t n, size_t best, bool unmarked)
{
    size_t next = best;
    for (size_t i = 0; i < n; i++)
        if (i != best && !(unmarked && mark[i] != MARK_NONE) && (next == best || px[i] < px[next]))
            next = i;
    return next;
}

/*
 * A choice is sure if it is the best in every case. The cases are the same for all
 * hardnesses, so that an own natural frequency that is off shifts all of them alike.
 */
struct sr_mount_pick pick(const double *cases, const enum mark *mark, size_t n)
{
    double px[SR_HARDNESSES_MAX] = {0};

    for (size_t i = 0; i < n; i++)
        px[i] = cases[i * CASES];
    struct sr_mount_pick pick = {.known = true,
                                 .best = choose(px, mark, n),
                                 .least = least_of(px, n, 1),
                                 .margin_db = NAN,
                                 .sure = true};
    pick.second = next_best(px, mark, n, pick.best, false);
    pick.unmarked = mark[pick.best] == MARK_NONE ? pick.best : next_best(px, mark, n, pick.best, true);
    if (n > 1 && px[pick.best] > 0)
        pick.margin_db = 20 * log10(px[pick.second] / px[pick.best]);
    for (size_t c = 0; c < CASES && pick.sure; c++) {
        size_t least = least_of(cases + c, n, CASES);
        pick.sure = cases[least * CASES + c] >= cases[pick.best * CASES + c] * (1 - SURE_PART);
    }
    return pick;
}
