/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "present/plot_labels.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

static const double LOWEST = 1.5; /* [gaps] a label stands at least so far above its point */

bool sr_boxes_meet(const struct sr_box *a, const struct sr_box *b, double gap)
{
    return a->left < b->right + gap && b->left < a->right + gap && a->bottom < b->top + gap &&
           b->bottom < a->top + gap;
}

/* The leader as a box without width. */
static struct sr_box leader(const struct sr_tag *tag)
{
    struct sr_box box = {tag->x, tag->y, tag->x, tag->box.bottom};
    return box;
}

static bool inside(const struct sr_box *box, const struct sr_box *area)
{
    return box->left >= area->left && box->right <= area->right && box->bottom >= area->bottom &&
           box->top <= area->top;
}

/* Columns of the ground that a box covers, [from, to). */
static void columns_under(const struct sr_box *box, const struct sr_ground *ground, size_t *from, size_t *to)
{
    double first = fmax(0, floor(box->left - ground->area.left));
    double last = fmax(first, ceil(box->right - ground->area.left));

    *from = (size_t)fmin(first, (double)ground->columns);
    *to = (size_t)fmin(last, (double)ground->columns);
}

static bool above_roof(const struct sr_box *box, const struct sr_ground *ground)
{
    size_t from, to;

    if (ground->roof == NULL)
        return true;
    columns_under(box, ground, &from, &to);
    for (size_t i = from; i < to; i++)
        if (ground->roof[i] > box->bottom - ground->gap)
            return false;
    return true;
}

static bool crosses_line(const struct sr_box *box, const struct sr_ground *ground)
{
    size_t from, to;

    if (ground->line == NULL)
        return false;
    columns_under(box, ground, &from, &to);
    for (size_t i = from; i < to; i++)
        if (ground->line[i] > box->bottom - ground->gap / 2 && ground->line[i] < box->top + ground->gap / 2)
            return true;
    return false;
}

static bool is_free(const struct sr_tag *tags, size_t n, size_t k, const struct sr_ground *ground)
{
    const struct sr_box *box = &tags[k].box;
    struct sr_box own = leader(&tags[k]);

    if (!inside(box, &ground->area) || !above_roof(box, ground))
        return false;
    for (size_t i = 0; i < ground->n_taken; i++)
        if (sr_boxes_meet(box, &ground->taken[i], ground->gap) || sr_boxes_meet(&own, &ground->taken[i], 2))
            return false;
    for (size_t i = 0; i < n; i++) {
        if (i == k || !tags[i].placed)
            continue;
        struct sr_box other = leader(&tags[i]);
        if (sr_boxes_meet(box, &tags[i].box, ground->gap) ||
            sr_boxes_meet(&own, &tags[i].box, ground->gap / 2) || sr_boxes_meet(box, &other, ground->gap / 2))
            return false;
    }
    return true;
}

/*
 * Tags still to come whose points lie under the box: they need a row each between
 * them and it. How many rows are missing.
 */
static double rows_missing(const struct sr_tag *tags, size_t n, size_t k, double gap)
{
    const struct sr_box *box = &tags[k].box;
    double highest = -INFINITY, count = 0;

    for (size_t i = 0; i < n; i++)
        if (i != k && !tags[i].placed && tags[i].x > box->left && tags[i].x < box->right &&
            tags[i].y < box->bottom) {
            count++;
            highest = fmax(highest, tags[i].y);
        }
    return count > 0 ? fmax(0, count - floor((box->bottom - highest - LOWEST * gap) / (tags[k].height + gap)))
                     : 0;
}

static void set_box(struct sr_tag *tag, int side, double lift, double gap)
{
    double left = side == 0   ? tag->x + gap * 0.75
                  : side == 1 ? tag->x - gap * 0.75 - tag->width
                              : tag->x - tag->width / 2;

    tag->box.left = left;
    tag->box.right = left + tag->width;
    tag->box.bottom = tag->y + lift;
    tag->box.top = tag->box.bottom + tag->height;
}

/* The cheapest free place: low, to the right, clear of the line, with room left for those under it. */
static double place_one(struct sr_tag *tags, size_t n, size_t k, const struct sr_ground *ground)
{
    static const double side_cost[] = {0, 6, 3};
    struct sr_tag *tag = &tags[k];
    struct sr_box best = tag->box;
    double least = INFINITY;
    double most = ground->area.top - tag->y, step = tag->height / 6;

    for (double lift = LOWEST * ground->gap; lift + tag->height <= most && lift < least; lift += step) {
        for (int side = 0; side < 3; side++) {
            set_box(tag, side, lift, ground->gap);
            double cost = lift + side_cost[side];
            if (cost >= least || !is_free(tags, n, k, ground))
                continue;
            cost += rows_missing(tags, n, k, ground->gap) * 3 * tag->height +
                    (crosses_line(&tag->box, ground) ? 2 * tag->height : 0);
            if (cost < least) {
                least = cost;
                best = tag->box;
            }
        }
    }
    tag->box = best;
    tag->placed = isfinite(least);
    return least;
}

/* Place all in an order. What it is worth: every tag kept counts, the heavier the more; then low leaders. */
static double place_all(struct sr_tag *tags, size_t n, const struct sr_ground *ground, const size_t *order)
{
    double total = 0, worth = 0, cost = 0, height = ground->area.top - ground->area.bottom;

    for (size_t i = 0; i < n; i++) {
        tags[i].placed = false;
        total += tags[i].weight;
    }
    for (size_t i = 0; i < n; i++) {
        const struct sr_tag *tag = &tags[order[i]];
        double price = place_one(tags, n, order[i], ground);
        if (!tag->placed)
            continue;
        worth += 1 + (total > 0 ? (double)n * tag->weight / total : 0);
        cost += price;
    }
    return worth - 0.2 * cost / (height * (double)n);
}

enum { BY_WEIGHT = 0, FROM_RIGHT, FROM_LEFT, SHUFFLED, TIDY_TRIES = 12, N_TRIES = 48 };

static bool comes_first(const struct sr_tag *a, const struct sr_tag *b, int trying)
{
    return trying == FROM_RIGHT ? a->x > b->x : trying == FROM_LEFT ? a->x < b->x : a->weight > b->weight;
}

/* Three orders that often do, then shuffled ones: the same every time. */
static void set_order(const struct sr_tag *tags, size_t n, int trying, size_t *order, uint32_t *state)
{
    for (size_t i = 0; i < n; i++) {
        size_t j = i;
        for (; j > 0 && comes_first(&tags[i], &tags[order[j - 1]], trying); j--)
            order[j] = order[j - 1];
        order[j] = i;
    }
    for (size_t i = n; i > 1 && trying >= SHUFFLED; i--) {
        *state = *state * 1664525U + 1013904223U; /* Knuth, TAOCP vol. 2, table 3.3.4-1, line 16 */
        size_t j = (*state >> 8) % i, keep = order[i - 1];
        order[i - 1] = order[j];
        order[j] = keep;
    }
}

size_t sr_tags_place(struct sr_tag *tags, size_t n, const struct sr_ground *ground)
{
    struct sr_tag best[SR_TAGS_MAX];
    size_t order[SR_TAGS_MAX], kept = n > SR_TAGS_MAX ? SR_TAGS_MAX : n, dropped = 0;
    double most = -INFINITY;
    uint32_t state = 1;
    bool all = false;

    /* Where all find a place, a few more tries are enough to find a tidy one. */
    for (int t = 0; t < (all ? TIDY_TRIES : N_TRIES) && kept > 0; t++) {
        set_order(tags, kept, t, order, &state);
        double worth = place_all(tags, kept, ground, order);
        if (worth <= most)
            continue;
        most = worth;
        memcpy(best, tags, kept * sizeof *tags);
        all = true;
        for (size_t i = 0; i < kept; i++)
            all = all && best[i].placed;
    }
    if (kept > 0)
        memcpy(tags, best, kept * sizeof *tags);
    for (size_t i = 0; i < n; i++) {
        tags[i].placed = i < kept && tags[i].placed;
        dropped += !tags[i].placed;
    }
    return dropped;
}
