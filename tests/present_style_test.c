/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The present room's parts: safe and wrapped text, bars, clock, values, progress. Expected texts worked out
 * by hand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/present.h"
#include "support/page.h"

static const struct sr_style plain = {false, false};

static void test_control_characters_never_reach_a_terminal(void **state)
{
    (void)state;
    struct page page;
    page_open(&page);
    sr_print_safe(page.out, "a\033[31mb\n\t\x7f\xc2\x9b"
                            "c \xc3\xa9");
    assert_string_equal(page_text(&page), "a?[31mb????c \xc3\xa9");
    page_close(&page);
}

static void test_text_is_wrapped_at_spaces(void **state)
{
    (void)state;
    struct page page;
    page_open(&page);
    sr_print_wrapped(page.out, "one two  three four", 4, 2, 12);
    /* 4 columns are taken: "one two" ends in column 11, "three" would end in 17. */
    assert_string_equal(page_text(&page), "one two\n  three four\n");
    page_close(&page);

    page_open(&page);
    sr_print_wrapped(page.out, "\xc3\xa9\xc3\xa9\xc3\xa9 aaaaaaaaaaaaaaaa b", 0, 0, 5);
    assert_string_equal(page_text(&page), "\xc3\xa9\xc3\xa9\xc3\xa9\naaaaaaaaaaaaaaaa\nb\n");
    page_close(&page);
}

static void test_bar_has_its_mark_in_the_middle(void **state)
{
    static const struct {
        double value;
        const char *bar;
    } cases[] = {
        {1.0, "####|...."}, {10.0, "####|####"},     {1000.0, "####|####"}, {0.1, "....|...."},
        {0.0, "....|...."}, {0.316228, "##..|...."}, /* -10 dB: half of the left side */
        {NAN, "....|...."}, {INFINITY, "....|...."},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct page page;
        page_open(&page);
        sr_print_bar(page.out, &plain, cases[i].value, 1.0, 4);
        assert_string_equal(page_text(&page), cases[i].bar);
        page_close(&page);
    }
}

static void test_bar_uses_blocks_and_colour_when_asked(void **state)
{
    const struct sr_style rich = {true, true};
    (void)state;
    struct page page;
    page_open(&page);
    sr_print_bar(page.out, &rich, 10.0, 1.0, 1);
    assert_says(page_text(&page), "\u2588");
    assert_says(page_text(&page), "\033[1;31m");
    page_close(&page);
}

static void test_inks(void **state)
{
    const struct sr_style color = {true, false};
    (void)state;
    for (int ink = SR_INK_PLAIN; ink <= SR_INK_DIM; ink++) {
        assert_string_equal(sr_ink(&plain, (enum sr_ink)ink), "");
        assert_int_equal(sr_ink(&color, (enum sr_ink)ink)[0], '\033');
    }
}

static void test_clock(void **state)
{
    static const struct {
        double seconds;
        const char *text;
    } cases[] = {{0.0, "0:00.0"},    {59.96, "1:00.0"}, {75.25, "1:15.3"}, {3723.44, "62:03.4"},
                 {-3.04, "-0:03.0"}, {-0.01, "0:00.0"}, {NAN, "-"},        {INFINITY, "-"}};
    char text[32];
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        sr_format_clock(cases[i].seconds, text, sizeof text);
        assert_string_equal(text, cases[i].text);
    }
}

static void test_values_keep_three_digits(void **state)
{
    static const struct {
        double value;
        const char *text;
    } cases[] = {{1234.5, "1234"},   {99.96, "100"},       {12.34, "12.3"},    {9.996, "10.0"},
                 {3.14159, "3.14"},  {0.9996, "1.00"},     {0.5, "0.500"},     {0.05, "0.0500"},
                 {0.0123, "0.0123"}, {0.00123, "0.00123"}, {1e-9, "0.000000"}, {0.0, "0"},
                 {-2.5, "-2.50"},    {NAN, "-"},           {-INFINITY, "-"}};
    char text[32];
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_string_equal(sr_format_value(cases[i].value, text, sizeof text), cases[i].text);
}

static void test_progress_is_silent_off_a_terminal(void **state)
{
    struct sr_progress progress;
    (void)state;
    struct page page;
    page_open(&page);
    sr_progress_start(&progress, page.out, "a.csv");
    progress.started_s -= 10.0;
    sr_progress_step(&progress, 1, 2);
    sr_progress_end(&progress);
    assert_string_equal(page_text(&page), "");
    page_close(&page);
}

/* Drawn as on a terminal, which a test has none of: the stream is put in by hand. */
static void test_progress_on_a_terminal(void **state)
{
    struct sr_progress progress;
    (void)state;
    struct page page;
    page_open(&page);
    sr_progress_start(&progress, NULL, "grebe\033.csv");
    progress.out = page.out;
    progress.started_s = -1e9; /* long ago on every clock */
    sr_progress_step(&progress, 25, 100);
    sr_progress_step(&progress, 50, 100); /* too soon after the first */
    assert_string_equal(page_text(&page), "\rreading:  25 % grebe?.csv");
    sr_progress_end(&progress);
    assert_int_equal(page_text(&page)[strlen(page.text) - 1], '\r');
    page_close(&page);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_control_characters_never_reach_a_terminal),
        cmocka_unit_test(test_text_is_wrapped_at_spaces),
        cmocka_unit_test(test_bar_has_its_mark_in_the_middle),
        cmocka_unit_test(test_bar_uses_blocks_and_colour_when_asked),
        cmocka_unit_test(test_inks),
        cmocka_unit_test(test_clock),
        cmocka_unit_test(test_values_keep_three_digits),
        cmocka_unit_test(test_progress_is_silent_off_a_terminal),
        cmocka_unit_test(test_progress_on_a_terminal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
