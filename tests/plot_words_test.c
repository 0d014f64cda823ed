/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Texts for pictures: clean, of known width, and never more than text. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "present/plot_script.h"
#include "present/plot_words.h"
#include "sim/flight.h"
#include "support/near.h"
#include "support/page.h"

static void assert_clean(const char *text, size_t most, const char *expected)
{
    char out[200];
    assert_string_equal(sr_words_clean(text, most, out, sizeof out), expected);
}

static void cleaning(void **state)
{
    char tight[8], none[1] = {'x'};

    (void)state;
    assert_clean(NULL, 10, "");
    assert_clean("", 10, "");
    assert_clean("plain", 10, "plain");
    assert_clean("  two\n\tlines\r\n ", 40, "two lines");
    assert_clean("bell\a esc\x1b[31m del\x7f.", 40, "bell esc [31m del .");
    /* UTF-8 as it is; a stray continuation, an overlong slash, a surrogate and a cut end become U+FFFD. */
    assert_clean("m\xC3\xBCtze \xE2\x82\xAC \xF0\x9F\x9A\x81", 40,
                 "m\xC3\xBCtze \xE2\x82\xAC \xF0\x9F\x9A\x81");
    assert_clean("a\x80z", 40, "a\xEF\xBF\xBDz");
    assert_clean("a\xC0\xAFz", 40, "a\xEF\xBF\xBD\xEF\xBF\xBDz");
    assert_clean("\xED\xA0\x80", 40, "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD");
    assert_clean("end\xE2\x82", 40, "end\xEF\xBF\xBD\xEF\xBF\xBD");
    /* C1 controls, direction marks (U+202E turns what follows), zero-width ones, a byte-order mark. */
    assert_clean("a\xC2\x85z \xE2\x80\xAE"
                 "fdp\xE2\x80\x8B!\xEF\xBB\xBF",
                 40, "a z fdp !");
    assert_clean("abcdef", 6, "abcdef");
    assert_clean("abcdefg", 6, "abcde\xE2\x80\xA6");
    assert_clean("ab cdefg", 4, "ab\xE2\x80\xA6");
    assert_clean("abc", 1, "\xE2\x80\xA6");
    assert_string_equal(sr_words_clean("abcdefghij", 40, tight, sizeof tight), "abcd\xE2\x80\xA6");
    assert_string_equal(sr_words_clean("abc", 40, none, sizeof none), "");
    assert_int_equal(sr_words_length("m\xC3\xBCt\xE2\x82\xAC"), 4);
}

/* Any bytes in: valid UTF-8 out, no byte below space, not more characters than asked for. */
static void any_bytes_come_out_clean(void **state)
{
    uint64_t seed = 3;

    (void)state;
    for (int round = 0; round < 20000; round++) {
        char in[40], out[40], again[40];
        size_t n = (size_t)(sim_uniform(&seed) * 39), most = (size_t)(sim_uniform(&seed) * 30);
        for (size_t i = 0; i < n; i++)
            in[i] = (char)(1 + (int)(sim_uniform(&seed) * 255));
        in[n] = '\0';
        sr_words_clean(in, most, out, sizeof out);
        assert_true(sr_words_length(out) <= most);
        for (const char *s = out; *s != '\0'; s++)
            assert_true((unsigned char)*s >= ' ' && *s != 0x7F);
        /* Clean already: nothing is found to replace. */
        assert_string_equal(sr_words_clean(out, 40, again, sizeof again), out);
    }
}

/* Widths: advance widths that FreeType reports for DejaVuSans.ttf 2.37 at 1000 units an em, added by hand. */
static void widths(void **state)
{
    char out[64];

    (void)state;
    assert_near(sr_words_width("Hello", 1000, false), 752 + 615 + 278 + 278 + 612, 1e-9);
    assert_near(sr_words_width("212 Hz", 20, false), (3 * 636 + 318 + 752 + 525) * 0.02, 1e-9);
    assert_near(sr_words_width("@~ ", 1000, false), 1000 + 838 + 318, 1e-9);
    /* Bold: "Hello" of DejaVuSans-Bold.ttf is 837 + 678 + 343 + 343 + 687 = 2888; a mean factor is used. */
    assert_near(sr_words_width("Hello", 1000, true), 2888, 0.03 * 2888);
    assert_near(sr_words_width("", 1000, false), 0, 0);
    assert_string_equal(sr_words_fit("Hello", 2535.5, 1000, false, out, sizeof out), "Hello");
    assert_string_equal(sr_words_fit("Hello", 2534.5, 1000, false, out, sizeof out), "He\xE2\x80\xA6");
    assert_true(sr_words_width(out, 1000, false) <= 2534.5);
}

static void lines_in_few_words(void **state)
{
    struct sr_rig rig;
    struct sr_causes causes = {.source = SR_SPEED_MOTORS};
    struct sr_peak peak = {.hz = 212.4, .cause = SR_CAUSE_ORDER, .order = 1, .motor = 3};
    char out[96];

    (void)state;
    sr_rig_init(&rig);
    rig.build.blades = 3;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, motor 3 1x");
    peak.motor = 0;
    peak.order = 1.5;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, 1.50x");
    peak.order = 3.004;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, 3x blades");
    assert_string_equal(sr_words_line(&peak, NULL, &rig, out, sizeof out), "212 Hz, 3x blades");
    /* Of electrical speed, 3x is not the blades; where the pole pairs were found, it is. */
    causes.electrical = true;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, 3x");
    causes.pole_pairs = 7;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, 3x blades");
    causes.source = SR_SPEED_THROTTLE;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, follows throttle");
    peak.cause = SR_CAUSE_FIXED;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, fixed");
    peak.cause = SR_CAUSE_FOLDED;
    peak.true_hz = 912;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, folded from 912");
    peak.cause = SR_CAUSE_BROADBAND;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "212 Hz, broadband");
    peak.cause = SR_CAUSE_UNDECIDED;
    peak.hz = 7.25;
    assert_string_equal(sr_words_line(&peak, &causes, &rig, out, sizeof out), "7.2 Hz");
}

static void numbers_in_words(void **state)
{
    struct sr_score score = {.wobble_px = {2.414, 2, 3}, .threshold_px = 1, .headroom_db = -7.654};
    char out[160];

    (void)state;
    assert_string_equal(sr_words_verdict(&score, out, sizeof out),
                        "2.41 px, threshold 1.00 px, headroom \xE2\x88\x92"
                        "7.7 dB");
    score.headroom_db = -0.04;
    assert_string_equal(sr_words_verdict(&score, out, sizeof out),
                        "2.41 px, threshold 1.00 px, headroom 0.0 dB");
    assert_string_equal(sr_words_px(9.994, out, sizeof out), "9.99 px");
    assert_string_equal(sr_words_px(9.996, out, sizeof out), "10.0 px");
    assert_string_equal(sr_words_px(99.96, out, sizeof out), "100 px");
    assert_string_equal(sr_words_clock(65.9, false, out, sizeof out), "1:05");  /* the second it is in */
    assert_string_equal(sr_words_clock(64.97, false, out, sizeof out), "1:05"); /* with tenths: 1:05.0 */
    assert_string_equal(sr_words_clock(59.96, true, out, sizeof out), "1:00.0");
    assert_string_equal(sr_words_clock(-65, false, out, sizeof out), "\xE2\x88\x92"
                                                                     "1:05");
    assert_string_equal(sr_words_clock(-0.2, false, out, sizeof out), "\xE2\x88\x92"
                                                                      "0:01");
    assert_string_equal(sr_words_clock(-0.04, false, out, sizeof out), "0:00");
    assert_string_equal(sr_words_base("logs/a.csv"), "a.csv");
    assert_string_equal(sr_words_base("-"), "standard input");
    assert_string_equal(sr_words_base("dir/"), "dir/");
}

static void craft_in_words(void **state)
{
    struct sr_rig rig;
    char out[600];

    (void)state;
    sr_rig_init(&rig);
    assert_string_equal(sr_words_build(&rig, true, out, sizeof out), "");
    strcpy(rig.build.name, "grebe\n");
    strcpy(rig.build.motor, "2004");
    rig.build.blades = 2;
    rig.build.mass_g = 238;
    rig.mount.shore_a = 55;
    assert_string_equal(sr_words_build(&rig, true, out, sizeof out),
                        "grebe, 238 g, motor 2004, 2 blades, mount 55 Shore A");
    rig.mount.temperature_c = 12;
    assert_string_equal(sr_words_build(&rig, false, out, sizeof out),
                        "238 g, motor 2004, 2 blades, mount 55 Shore A at 12 \xC2\xB0"
                        "C");
    assert_string_equal(
        sr_words_camera(&rig, out, sizeof out),
        "1920x1080, 60 fps, readout 16 ms, exposure 1 ms, 95\xC2\xB0 rectilinear, tilt 20\xC2\xB0");
}

/* Read a gnuplot expression back: strings and names for single characters, put together by " . ". */
static void unquote(const char *expression, char *out)
{
    for (;;) {
        if (*expression == '\'') {
            for (expression++; *expression != '\''; expression++) {
                assert_true(*expression != '\0' && *expression != '`' && *expression != '@');
                *out++ = *expression;
            }
            expression++;
        } else {
            size_t n = strcspn(expression, " ");
            *out++ = strncmp(expression, "apostrophe", n) == 0 ? '\''
                     : strncmp(expression, "backtick", n) == 0 ? '`'
                                                               : '@';
            expression += n;
        }
        if (*expression == '\0')
            break;
        assert_int_equal(strncmp(expression, " . ", 3), 0);
        expression += 3;
    }
    *out = '\0';
}

static void quoting_is_the_inverse_of_reading(void **state)
{
    static const char *const texts[] = {"",      "'",           "''",         "a'b''c'",      "\\",
                                        "\\'",   "`touch X`",   "$(touch X)", "@macro",       "%s",
                                        "\"x\"", "{/Symbol a}", "^_",         "# no comment", "EOD"};
    char back[64];

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct sr_script script = {0};
        sr_script_text(&script, texts[i]);
        unquote(script.data, back);
        assert_string_equal(back, texts[i]);
        sr_script_release(&script);
    }
}

static void script_grows_and_counts(void **state)
{
    struct sr_script script = {0};
    struct sr_error err = {0};
    char long_text[2000];

    (void)state;
    assert_int_equal(sr_script_check(&script, &err), SR_ERR_MEMORY);
    for (int i = 0; i < 5000; i++)
        sr_script_add(&script, "%d\n", i % 10);
    sr_script_number(&script, NAN);
    sr_script_add(&script, " ");
    sr_script_number(&script, INFINITY);
    sr_script_add(&script, " ");
    sr_script_number(&script, 1234.56789);
    assert_int_equal(sr_script_check(&script, &err), SR_OK);
    assert_int_equal(script.length, strlen(script.data));
    assert_string_equal(script.data + 10000, "NaN NaN 1234.6");
    /* More than the longest line is refused, not cut. */
    memset(long_text, 'x', sizeof long_text);
    long_text[sizeof long_text - 1] = '\0';
    sr_script_add(&script, "%s", long_text);
    assert_int_equal(sr_script_check(&script, &err), SR_ERR_MEMORY);
    sr_script_release(&script);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cleaning),
        cmocka_unit_test(any_bytes_come_out_clean),
        cmocka_unit_test(widths),
        cmocka_unit_test(lines_in_few_words),
        cmocka_unit_test(numbers_in_words),
        cmocka_unit_test(craft_in_words),
        cmocka_unit_test(quoting_is_the_inverse_of_reading),
        cmocka_unit_test(script_grows_and_counts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
