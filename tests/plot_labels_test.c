/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The placer of labels. The rules are checked here a second time and independently of
 * it: no text on a text, on a leader, on a dot, on the curve, or off the page.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "present/plot_labels.h"
#include "sim/flight.h"
#include "support/near.h"

#define COLUMNS 1000

static double roof[COLUMNS];

static struct sr_ground ground_of(double height)
{
    struct sr_ground ground = {
        .area = {100, 50, 1100, 50 + height}, .roof = roof, .columns = COLUMNS, .gap = 8};

    for (int i = 0; i < COLUMNS; i++)
        roof[i] = 60;
    return ground;
}

/* Do two rectangles share more than an edge? Written from the definition, by interval overlap. */
static double shared(double a0, double a1, double b0, double b1)
{
    return fmin(a1, b1) - fmax(a0, b0);
}

static bool overlap(const struct sr_box *a, const struct sr_box *b)
{
    return shared(a->left, a->right, b->left, b->right) > 0 &&
           shared(a->bottom, a->top, b->bottom, b->top) > 0;
}

static void check_rules(const struct sr_tag *tags, size_t n, size_t dropped, const struct sr_ground *ground)
{
    size_t missing = 0;

    for (size_t i = 0; i < n; i++) {
        const struct sr_box *box = &tags[i].box;
        if (!tags[i].placed) {
            missing++;
            continue;
        }
        assert_near(box->right - box->left, tags[i].width, 1e-9);
        assert_near(box->top - box->bottom, tags[i].height, 1e-9);
        assert_true(box->left >= ground->area.left && box->right <= ground->area.right);
        assert_true(box->bottom > tags[i].y && box->top <= ground->area.top);
        /* The leader ends at the text, not beside it. */
        assert_true(tags[i].x > box->left - 2 * ground->gap && tags[i].x < box->right + 2 * ground->gap);
        for (int c = 0; c < COLUMNS; c++) {
            double x = ground->area.left + c;
            if (x >= box->left && x <= box->right)
                assert_true(roof[c] < box->bottom);
        }
        for (size_t t = 0; t < ground->n_taken; t++)
            assert_false(overlap(box, &ground->taken[t]));
        for (size_t j = 0; j < n; j++) {
            struct sr_box dot = {tags[j].x - 6, tags[j].y - 6, tags[j].x + 6, tags[j].y + 6};
            assert_false(j != i && overlap(box, &dot)); /* of those without a label too */
            if (j == i || !tags[j].placed)
                continue;
            struct sr_box line = {tags[j].x - 0.5, tags[j].y, tags[j].x + 0.5, tags[j].box.bottom};
            assert_false(overlap(box, &tags[j].box));
            assert_false(overlap(box, &line));
        }
    }
    assert_int_equal(missing, dropped);
}

static struct sr_tag tag_at(double x, double width, double weight)
{
    struct sr_tag tag = {.x = x, .y = 80, .width = width, .height = 29, .weight = weight};
    int c = (int)(x - 100);

    for (int i = c - 3; i <= c + 3; i++)
        if (i >= 0 && i < COLUMNS)
            roof[i] = fmax(roof[i], tag.y);
    return tag;
}

static void one_label_stands_by_its_point(void **state)
{
    struct sr_ground ground = ground_of(300);
    double places[] = {100, 130, 600, 1090, 1100};

    (void)state;
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        ground = ground_of(300);
        struct sr_tag tag = tag_at(places[i], 240, 1);
        assert_int_equal(sr_tags_place(&tag, 1, &ground), 0);
        check_rules(&tag, 1, 0, &ground);
        assert_true(tag.box.bottom - tag.y < 20);
    }
}

/* Side by side: each has its own stretch of the axis, so none may be dropped. */
static void labels_with_room_are_all_kept(void **state)
{
    uint64_t seed = 21;

    (void)state;
    for (int round = 0; round < 100; round++) {
        struct sr_ground ground = ground_of(120);
        size_t n = 1 + (size_t)(sim_uniform(&seed) * 5);
        struct sr_tag tags[5];
        for (size_t i = 0; i < n; i++) {
            double stretch = 1000.0 / (double)n, width = stretch * (0.4 + 0.4 * sim_uniform(&seed));
            tags[i] = tag_at(100 + stretch * (double)i + 5, width, sim_uniform(&seed));
        }
        size_t dropped = sr_tags_place(tags, n, &ground);
        check_rules(tags, n, dropped, &ground);
        assert_int_equal(dropped, 0);
    }
}

/* Crowded, but a stair of flags holds them: as many rows as labels, and room to the right of the last. */
static void stairs_of_labels_are_all_kept(void **state)
{
    const size_t counts[] = {5, 9, 12};
    uint64_t seed = 22;

    (void)state;
    for (int round = 0; round < 60; round++) {
        size_t n = counts[round % 3];
        struct sr_ground ground = ground_of(60 + 40 * (double)n);
        struct sr_tag tags[12];
        for (size_t i = 0; i < n; i++)
            tags[i] =
                tag_at(110 + 750 * (double)i / (double)n + 20 * sim_uniform(&seed), 220, sim_uniform(&seed));
        size_t dropped = sr_tags_place(tags, n, &ground);
        check_rules(tags, n, dropped, &ground);
        assert_int_equal(dropped, 0);
    }
}

/* In a strip with room for one row two labels fit out of six, one at either end: the weakest go. */
static void weakest_are_dropped(void **state)
{
    struct sr_ground ground = ground_of(75);
    const double weight[] = {0.02, 0.4, 0.03, 0.01, 0.5, 0.04};
    struct sr_tag tags[6];

    (void)state;
    for (size_t i = 0; i < 6; i++)
        tags[i] = tag_at(300 + 110 * (double)i, 300, weight[i]);
    size_t dropped = sr_tags_place(tags, 6, &ground);
    check_rules(tags, 6, dropped, &ground);
    assert_int_equal(dropped, 4);
    assert_true(tags[1].placed && tags[4].placed);
}

static void crowded_flights_keep_the_rules(void **state)
{
    uint64_t seed = 5;

    (void)state;
    for (int round = 0; round < 300; round++) {
        struct sr_ground ground = ground_of(150 + 300 * sim_uniform(&seed));
        struct sr_box taken[2] = {{300, 400, 420, 430}, {900, 100, 1100, 140}};
        struct sr_tag tags[SR_TAGS_MAX];
        size_t n = 1 + (size_t)(sim_uniform(&seed) * 14);
        for (size_t i = 0; i < n; i++) {
            tags[i] =
                tag_at(100 + 1000 * sim_uniform(&seed), 60 + 250 * sim_uniform(&seed), sim_uniform(&seed));
            tags[i].y += 40 * sim_uniform(&seed);
        }
        ground.taken = taken;
        ground.n_taken = 2;
        size_t dropped = sr_tags_place(tags, n, &ground);
        check_rules(tags, n, dropped, &ground);
    }
}

static void same_tags_same_places(void **state)
{
    struct sr_ground ground = ground_of(200);
    struct sr_tag a[9], b[9];
    uint64_t seed = 11;

    (void)state;
    memset(a, 0, sizeof a);
    for (size_t i = 0; i < 9; i++)
        a[i] = tag_at(100 + 1000 * sim_uniform(&seed), 250, sim_uniform(&seed));
    memcpy(b, a, sizeof a);
    assert_int_equal(sr_tags_place(a, 9, &ground), sr_tags_place(b, 9, &ground));
    for (size_t i = 0; i < 9; i++) {
        assert_int_equal(a[i].placed, b[i].placed);
        assert_true(!a[i].placed || memcmp(&a[i].box, &b[i].box, sizeof a[i].box) == 0);
    }
}

/* A curve across the nearest place sends the label past it. */
static void curve_is_stepped_over(void **state)
{
    struct sr_ground ground = ground_of(300);
    double line[COLUMNS];
    struct sr_tag tag = tag_at(600, 200, 1);

    (void)state;
    for (int i = 0; i < COLUMNS; i++)
        line[i] = 105;
    ground.line = line;
    assert_int_equal(sr_tags_place(&tag, 1, &ground), 0);
    assert_true(tag.box.bottom > 105);
}

static void no_tags_and_too_many(void **state)
{
    struct sr_ground ground = ground_of(420);
    struct sr_tag tags[SR_TAGS_MAX + 4];

    (void)state;
    assert_int_equal(sr_tags_place(tags, 0, &ground), 0);
    for (size_t i = 0; i < SR_TAGS_MAX + 4; i++)
        tags[i] = tag_at(110 + 27 * (double)i, 20, 1);
    size_t dropped = sr_tags_place(tags, SR_TAGS_MAX + 4, &ground);
    check_rules(tags, SR_TAGS_MAX + 4, dropped, &ground);
    assert_true(dropped >= 4);
    for (size_t i = SR_TAGS_MAX; i < SR_TAGS_MAX + 4; i++)
        assert_false(tags[i].placed);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_label_stands_by_its_point),  cmocka_unit_test(labels_with_room_are_all_kept),
        cmocka_unit_test(stairs_of_labels_are_all_kept),  cmocka_unit_test(weakest_are_dropped),
        cmocka_unit_test(crowded_flights_keep_the_rules), cmocka_unit_test(same_tags_same_places),
        cmocka_unit_test(curve_is_stepped_over),          cmocka_unit_test(no_tags_and_too_many),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
