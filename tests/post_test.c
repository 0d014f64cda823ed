/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The lines to paste beside a picture, in three markups; names can bring no markup of their own. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/post.h"
#include "support/page.h"
#include "support/plot_cases.h"

static const struct sr_trial trial = {.what = "balance or replace the prop of motor 3 (1x, 212 Hz)",
                                      .caution = "props off before you touch a motor",
                                      .wobble_px = 0.873};

/* Numbers that do not hang on how the flight is made. */
static void fix_score(struct plot_case *c)
{
    struct sr_score *score = &c->fake.score;

    score->verdict = SR_WOBBLY;
    score->wobble_px = (struct sr_interval){2.414, 2.101, 2.755};
    score->threshold_px = 1;
    score->headroom_db = -7.654;
    score->steady_share = 0.123;
    score->airborne_s = 40;
    score->peaks[0].wobble_px = 1.9;
    score->peaks[0].share = 0.62;
}

static void expect(enum sr_post_format format, const struct sr_post *post, const char *expected)
{
    struct page page;

    page_open(&page);
    assert_int_equal(sr_post_write(page.out, format, post, NULL), SR_OK);
    assert_string_equal(page_text(&page), expected);
    page_close(&page);
}

static void three_markups(void **state)
{
    struct plot_case c;
    const struct sr_post post = {.flight = &c.flight,
                                 .trials = &trial,
                                 .n_trials = 1,
                                 .command = "stillrow plot --rig heron.ini 'heron lake.csv'"};

    (void)state;
    plot_case_make(&c, 5);
    fix_score(&c);
    expect(SR_POST_TEXT, &post,
           "heron: wobbly, 2.41 px (95 % interval 2.10 px to 2.75 px; threshold 1.00 px, headroom -7.7 dB; "
           "below that 12 % "
           "of 40 s)\n"
           "Build: heron, 238 g, motor 2004, 1850 turns a volt, prop 5.1 x 2.5, 3 blades, mount 55 Shore A "
           "at 12 "
           "\xC2\xB0"
           "C\n"
           "Cause: 212 Hz, motor 3 1x: 1.90 px, 62 % of the wobble; it holds its place in 38 of 40 seconds\n"
           "Knock: at 0:24: 0.60 px before, 1.20 px after\n"
           "Try first: balance or replace the prop of motor 3 (1x, 212 Hz): 0.87 px expected; props off "
           "before you touch "
           "a motor\n"
           "Camera: 1920x1080, 60 fps, readout 16 ms, exposure 1 ms, 95\xC2\xB0 rectilinear, tilt "
           "20\xC2\xB0; all "
           "assumed\n"
           "Repeat: stillrow plot --rig heron.ini 'heron lake.csv' with stillrow " SR_VERSION
           ", threshold 1.00 px\n");
    /* In the picture's time, with its sign, and with what the numbers leave out. */
    struct sr_post shifted = post;
    struct page page;
    shifted.footage_offset_s = 70;
    shifted.mount_note = "the mount is not in it";
    c.fake.score.headroom_db = 7.654;
    page_open(&page);
    assert_int_equal(sr_post_write(page.out, SR_POST_TEXT, &shifted, NULL), SR_OK);
    assert_non_null(strstr(page_text(&page), "\nKnock: at 1:34: 0.60 px before"));
    assert_non_null(strstr(page_text(&page), "headroom +7.7 dB"));
    assert_non_null(strstr(page_text(&page), "\nNote: the mount is not in it\n"));
    page_close(&page);
    c.fake.score.headroom_db = -7.654;
    expect(SR_POST_MARKDOWN, &post,
           "**heron: wobbly, 2.41 px** (95 % interval 2.10 px to 2.75 px; threshold 1.00 px, headroom -7.7 "
           "dB; below that "
           "12 % of 40 s)\n\n"
           "- **Build:** heron, 238 g, motor 2004, 1850 turns a volt, prop 5.1 x 2.5, 3 blades, mount 55 "
           "Shore A at 12 "
           "\xC2\xB0"
           "C\n"
           "- **Cause:** 212 Hz, motor 3 1x: 1.90 px, 62 % of the wobble; it holds its place in 38 of 40 "
           "seconds\n"
           "- **Knock:** at 0:24: 0.60 px before, 1.20 px after\n"
           "- **Try first:** balance or replace the prop of motor 3 (1x, 212 Hz): 0.87 px expected; props "
           "off before you "
           "touch a motor\n"
           "- **Camera:** 1920x1080, 60 fps, readout 16 ms, exposure 1 ms, 95\xC2\xB0 rectilinear, tilt "
           "20\xC2\xB0; all "
           "assumed\n"
           "- **Repeat:** `stillrow plot --rig heron.ini 'heron lake.csv'` with stillrow " SR_VERSION
           ", threshold 1.00 px\n");
    c.rig.camera_given = SR_KEY_READOUT;
    c.change.found = false;
    expect(SR_POST_BBCODE, &post,
           "[b]heron: wobbly, 2.41 px[/b] (95 % interval 2.10 px to 2.75 px; threshold 1.00 px, headroom "
           "-7.7 dB; below "
           "that 12 % of 40 s)\n[list]\n"
           "[*][b]Build:[/b] heron, 238 g, motor 2004, 1850 turns a volt, prop 5.1 x 2.5, 3 blades, mount 55 "
           "Shore A at "
           "12 \xC2\xB0"
           "C\n"
           "[*][b]Cause:[/b] 212 Hz, motor 3 1x: 1.90 px, 62 % of the wobble; it holds its place in 38 of 40 "
           "seconds\n"
           "[*][b]Try first:[/b] balance or replace the prop of motor 3 (1x, 212 Hz): 0.87 px expected; "
           "props off before "
           "you touch a motor\n"
           "[*][b]Camera:[/b] 1920x1080, 60 fps, readout 16 ms, exposure 1 ms, 95\xC2\xB0 rectilinear, tilt "
           "20\xC2\xB0; partly assumed\n"
           "[*][b]Repeat:[/b] [code]stillrow plot --rig heron.ini 'heron lake.csv'[/code] with "
           "stillrow " SR_VERSION ", threshold 1.00 px\n[/list]\n");
    plot_case_release(&c);
}

static void little_to_say(void **state)
{
    struct plot_case c;
    struct sr_post post = {.flight = &c.flight};

    (void)state;
    plot_case_make(&c, 0);
    fix_score(&c);
    memset(&c.rig.build, 0, sizeof c.rig.build);
    c.rig.build.mass_g = c.rig.mount.shore_a = (double)NAN;
    c.rig.camera_given = SR_KEY_ALL;
    c.flight.causes = NULL;
    c.flight.change = NULL;
    expect(
        SR_POST_TEXT, &post,
        "heron-lake.csv: wobbly, 2.41 px (95 % interval 2.10 px to 2.75 px; threshold 1.00 px, headroom -7.7 "
        "dB; "
        "below that 12 % of 40 s)\n"
        "Cause: no line stands out; the wobble is spread over all frequencies\n"
        "Camera: 1920x1080, 60 fps, readout 16 ms, exposure 1 ms, 95\xC2\xB0 rectilinear, tilt 20\xC2\xB0\n"
        "Repeat: stillrow " SR_VERSION ", threshold 1.00 px\n");
    plot_case_release(&c);
}

/* A steady flight is not told to change, an unproven one to log better first; the list is the same. */
static void what_to_try_first_hangs_on_the_verdict(void **state)
{
    static const struct {
        enum sr_verdict verdict;
        double sees_part; /* of Nyquist */
        const char *expected;
    } cases[] = {{SR_WOBBLY, 1, "\nTry first: balance or replace the prop of motor 3"},
                 {SR_MARGINAL, 1, "\nTry first: balance or replace the prop of motor 3"},
                 {SR_STEADY, 1, NULL},
                 {SR_UNPROVEN, 1, "\nTry first: log the gyro faster, at "},
                 {SR_UNPROVEN, 0.5, "\nTry first: log the gyro unfiltered, and without losing rows: "}};
    struct plot_case c;
    const struct sr_post post = {.flight = &c.flight, .trials = &trial, .n_trials = 1};

    (void)state;
    plot_case_make(&c, 5);
    fix_score(&c);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct page page;
        c.fake.score.verdict = cases[i].verdict;
        c.fake.score.sees_hz = cases[i].sees_part * c.flight.slices->rate_hz / 2;
        page_open(&page);
        assert_int_equal(sr_post_write(page.out, SR_POST_TEXT, &post, NULL), SR_OK);
        const char *found = strstr(page_text(&page), "\nTry first: ");
        if (cases[i].expected == NULL)
            assert_null(found);
        else
            assert_true(found != NULL && strncmp(found, cases[i].expected, strlen(cases[i].expected)) == 0);
        assert_true((strstr(page_text(&page), "motor 3 (1x, 212 Hz)") != NULL) == (i < 2));
        page_close(&page);
    }
    plot_case_release(&c);
}

static void names_bring_no_markup(void **state)
{
    struct plot_case c;
    struct sr_post post = {.flight = &c.flight,
                           .title = "*b* _i_ `c` [u](x) <img src=x>\n# head ![i](y) ~~s~~ |t| &amp; \\",
                           .command = "stillrow plot 'a`b``c.csv' '[/code][img]x[/img]'"};
    struct page page;

    (void)state;
    plot_case_make(&c, 1);
    page_open(&page);
    assert_int_equal(sr_post_write(page.out, SR_POST_MARKDOWN, &post, NULL), SR_OK);
    const char *text = page_text(&page);
    assert_says(text, "**\\*b\\* \\_i\\_ \\`c\\` \\[u\\](x) \\<img src=x\\> \\# head \\!\\[i\\](y) "
                      "\\~\\~s\\~\\~ \\|t\\| \\&amp; "
                      "\\\\: wobbly, ");
    /* A code span is fenced by more backticks than it holds. */
    assert_says(text, "``` stillrow plot 'a`b``c.csv' '[/code][img]x[/img]' ```");
    page_close(&page);

    page_open(&page);
    assert_int_equal(sr_post_write(page.out, SR_POST_BBCODE, &post, NULL), SR_OK);
    text = page_text(&page);
    assert_says(text, "[b]*b* _i_ `c` (u)(x) <img src=x> # head !(i)(y) ~~s~~ |t| &amp; \\: wobbly, ");
    assert_says(text, "[code]stillrow plot 'a`b``c.csv' '[ /code][img]x[ /img]'[/code]");
    page_close(&page);

    /* One line stays one line, and a terminal is left alone. */
    post.title = "two\nlines \033[31m";
    page_open(&page);
    assert_int_equal(sr_post_write(page.out, SR_POST_TEXT, &post, NULL), SR_OK);
    assert_says(page_text(&page), "two lines [31m: wobbly");
    page_close(&page);
    plot_case_release(&c);
}

static void formats_by_name(void **state)
{
    enum sr_post_format format = SR_POST_TEXT;
    struct plot_case c;
    const struct sr_post post = {.flight = &c.flight}, nothing = {.flight = NULL};

    (void)state;
    for (int f = SR_POST_TEXT; f <= SR_POST_BBCODE; f++) {
        assert_true(sr_post_format_find(sr_post_format_name((enum sr_post_format)f), &format));
        assert_int_equal(format, f);
    }
    assert_string_equal(sr_post_format_name(SR_POST_MARKDOWN), "md");
    assert_false(sr_post_format_find("html", &format));
    assert_int_equal(format, SR_POST_BBCODE);
    plot_case_make(&c, 1);
    assert_int_equal(sr_post_write(stdout, (enum sr_post_format)3, &post, NULL), SR_ERR_ARGUMENT);
    assert_int_equal(sr_post_write(stdout, SR_POST_TEXT, &nothing, NULL), SR_ERR_ARGUMENT);
    c.flight.score = NULL;
    assert_int_equal(sr_post_write(stdout, SR_POST_TEXT, &post, NULL), SR_ERR_ARGUMENT);
    plot_case_release(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_markups),
        cmocka_unit_test(little_to_say),
        cmocka_unit_test(what_to_try_first_hangs_on_the_verdict),
        cmocka_unit_test(names_bring_no_markup),
        cmocka_unit_test(formats_by_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
