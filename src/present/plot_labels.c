/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "present/plot_labels.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

static const double LOWEST = 1.5; /* [gaps] a label stands at least so far above its point */
static const double DOT = 0.75;   /* [gaps] radius of the dot that is drawn on a point, labelled or not */

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
        struct sr_box dot = {tags[i].x, tags[i].y, tags[i].x, tags[i].y};
        if (i != k && sr_boxes_meet(box, &dot, DOT * ground->gap))
            return false;
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

/* Manners of placing: leave room for what is still to come, or stack flags that all point one way. */
enum manner { ROOMY = 0, RIGHTWARDS, LEFTWARDS, N_MANNERS };

/* The cheapest free place: low, on the preferred side, clear of the line. */
static double place_one(struct sr_tag *tags, size_t n, size_t k, const struct sr_ground *ground,
                        enum manner manner)
{
    static const double side_cost[N_MANNERS][3] = {{0, 6, 3}, {0, 2e4, 1e4}, {2e4, 0, 1e4}};
    struct sr_tag *tag = &tags[k];
    struct sr_box best = tag->box;
    double least = INFINITY;
    double most = ground->area.top - tag->y, step = tag->height / 15;

    for (double lift = LOWEST * ground->gap; lift + tag->height <= most && lift < least; lift += step) {
        for (int side = 0; side < 3; side++) {
            set_box(tag, side, lift, ground->gap);
            double cost = lift + side_cost[manner][side];
            if (cost >= least || !is_free(tags, n, k, ground))
                continue;
            cost += crosses_line(&tag->box, ground) ? 2 * tag->height : 0;
            cost += manner == ROOMY ? rows_missing(tags, n, k, ground->gap) * 3 * tag->height : 0;
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

/* Place all in an order. What it is worth: the weight that was kept, then how many, then low leaders. */
static double place_all(struct sr_tag *tags, size_t n, const struct sr_ground *ground, const size_t *order,
                        enum manner manner)
{
    double total = 0, worth = 0, cost = 0, height = ground->area.top - ground->area.bottom;

    for (size_t i = 0; i < n; i++) {
        tags[i].placed = false;
        total += tags[i].weight;
    }
    for (size_t i = 0; i < n; i++) {
        const struct sr_tag *tag = &tags[order[i]];
        double price = place_one(tags, n, order[i], ground, manner);
        if (!tag->placed)
            continue;
        worth += 0.1 + (total > 0 ? (double)n * tag->weight / total : 0);
        cost += fmin(price, height);
    }
    return worth - 0.2 * cost / (height * (double)n);
}

enum { BY_WEIGHT = 0, FROM_RIGHT, FROM_LEFT, SHUFFLED, TIDY_TRIES = 6, N_TRIES = 20, MOST_PASSES = 4 };

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

/* The best of what was tried so far. */
struct best {
    struct sr_tag tags[SR_TAGS_MAX];
    size_t order[SR_TAGS_MAX];
    enum manner manner;
    double worth;
    bool all; /* every tag found a place */
};

/* Place in an order; keep it if it is better. */
static bool try_order(struct best *best, struct sr_tag *tags, size_t n, const struct sr_ground *ground,
                      const size_t *order, enum manner manner)
{
    double worth = place_all(tags, n, ground, order, manner);

    if (worth <= best->worth)
        return false;
    best->worth = worth;
    best->manner = manner;
    best->all = true;
    memcpy(best->tags, tags, n * sizeof *tags);
    memcpy(best->order, order, n * sizeof *order);
    for (size_t i = 0; i < n; i++)
        best->all = best->all && tags[i].placed;
    return true;
}

/* The best order with its element `from` moved to `to`. */
static void move(const struct best *best, size_t n, size_t from, size_t to, size_t *order)
{
    size_t k = 0;

    for (size_t i = 0; i < n; i++) {
        if (k == to)
            k++;
        if (i != from)
            order[k++] = best->order[i];
    }
    order[to] = best->order[from];
}

/* A label that shuts others out comes last, one that was shut out comes first: as long as that helps. */
static void improve(struct best *best, struct sr_tag *tags, size_t n, const struct sr_ground *ground)
{
    size_t order[SR_TAGS_MAX];
    bool better = true;

    for (int pass = 0; pass < MOST_PASSES && better && !best->all; pass++) {
        better = false;
        for (size_t i = 0; i < n && !best->all; i++) {
            move(best, n, i, n - 1, order);
            better = try_order(best, tags, n, ground, order, best->manner) || better;
            move(best, n, i, 0, order);
            better = try_order(best, tags, n, ground, order, best->manner) || better;
        }
    }
}

size_t sr_tags_place(struct sr_tag *tags, size_t n, const struct sr_ground *ground)
{
    struct best best = {.worth = -INFINITY};
    size_t order[SR_TAGS_MAX], kept = n > SR_TAGS_MAX ? SR_TAGS_MAX : n, dropped = 0;
    uint32_t state = 1;

    /* Where all find a place, a few more tries are enough to find a tidy one. */
    for (int t = 0; t < (best.all ? TIDY_TRIES : N_TRIES) && kept > 0; t++) {
        set_order(tags, kept, t, order, &state);
        for (int m = 0; m < N_MANNERS; m++)
            try_order(&best, tags, kept, ground, order, (enum manner)m);
    }
    if (kept > 0) {
        improve(&best, tags, kept, ground);
        memcpy(tags, best.tags, kept * sizeof *tags);
    }
    for (size_t i = 0; i < n; i++) {
        tags[i].placed = i < kept && tags[i].placed;
        tags[i].crossed = tags[i].placed && crosses_line(&tags[i].box, ground);
        dropped += !tags[i].placed;
    }
    return dropped;
}
