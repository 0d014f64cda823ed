/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Private to the room: puts labels on points so that no text lies on another, on
 * a leader, on a point, or on the curve. Plain geometry in pixels, y upwards.
 *
 * A label stands above its point, at the end of a straight-up leader, to the
 * right, left or middle of it. Several orders of placing are tried, and the one
 * that keeps most labels, the heaviest first, is taken; those for which no place
 * is left are dropped and counted.
 */
#ifndef PRESENT_PLOT_LABELS_H
#define PRESENT_PLOT_LABELS_H

#include <stdbool.h>
#include <stddef.h>

struct sr_box {
    double left, bottom, right, top; /* [px] */
};

struct sr_tag {
    double x, y;          /* [px] the point */
    double width, height; /* [px] of the text */
    char text[96];        /* for the caller: the placer does not look at it */
    double weight;        /* the larger, the later it is dropped */
    bool placed;          /* out */
    struct sr_box box;    /* out: where the text goes */
    bool crossed;         /* out: the line runs through it all the same */
};

struct sr_ground {
    struct sr_box area;         /* labels lie within */
    const struct sr_box *taken; /* [n_taken] other texts */
    size_t n_taken;
    /* Heights of curves [columns], one a pixel from area.left on, or NULL; NAN where there is none. */
    const double *roof; /* labels lie above */
    const double *line; /* labels had better not cross */
    size_t columns;
    double gap; /* [px] left free around texts */
};

#define SR_TAGS_MAX 32 /* those after are dropped: give the strongest first */

/* Place tags[n]; returns how many were dropped. */
size_t sr_tags_place(struct sr_tag *tags, size_t n, const struct sr_ground *ground);

bool sr_boxes_meet(const struct sr_box *a, const struct sr_box *b, double gap);

#endif
