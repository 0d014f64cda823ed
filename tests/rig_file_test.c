/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rig files that are wrong: which line, and in which words. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/rig.h"
#include "support/rig_file.h"

/* One bad file per kind of error, with the line and the words of its message. */
static void bad_files(void **state)
{
    static const struct {
        const char *text;
        size_t line;
        const char *says;
    } bad[] = {
        {"fps = 30\n", 1, "'fps' stands before the first [section]"},
        {"f\x1B[2Jps = 30\n", 1, "'f?[2Jps' stands before the first [section]"},
        {"[camera]\nfsp = 30\n", 2, "unknown key 'fsp' in [camera]; did you mean 'fps'?"},
        {"[camera]\nReadout-ms = 3\n", 2, "unknown key 'Readout-ms' in [camera]; did you mean 'readout_ms'?"},
        {"[camera]\n\n# x\nshore_a = 50\n", 4, "in [camera]; did you mean 'shore_a' of [mount]?"},
        {"[camera]\ngimbal = yes\n", 2, "unknown key 'gimbal' in [camera]; no known key is like it"},
        {"[camera]\nfoo = 1\n", 2, "unknown key 'foo' in [camera]; no known key is like it"},
        {"[camera]\nx_very_long_word_that_is_no_slip_of_any_key = 1\n", 2, "no known key is like it"},
        {"[build]\npx = 1\n", 2, "did you mean 'px' of [threshold]?"},
        {"[camrea]\nfps = 30\n", 1, "unknown section 'camrea'; did you mean [camera]?"},
        {"[Camera]\nfps = 30\n", 1, "unknown section 'Camera'; did you mean [camera]?"},
        {"[modes fast]\n", 1, "unknown section 'modes fast'; "},
        {"[model]\n", 1, "unknown section 'model'; did you mean [mode NAME]?"},
        {"[weather]\n", 1, "unknown section 'weather'; known: [camera] [gyro] [mount]"},
        {"[]\n", 1, "unknown section ''"},
        {"[camera\nfps = 30\n", 1, "expected a [section] alone on its line, found '[camera'"},
        {"[camera] fps = 30\n", 1, "expected a [section] alone on its line, found '[camera] fps = 30'"},
        {"[[camera]]\n", 1, "expected a [section] alone on its line"},
        {"[mode]\n", 1, "section 'mode' has no name"},
        {"[mode  ]\n", 1, "section 'mode' has no name"},
        {"[camera]\nfps 30\n", 2, "expected 'key = value' or '[section]', found 'fps 30'"},
        {"[camera]\n  what ; is this\nfps = nonsense\n", 2, "found 'what'"},
        {"[camera]\n= 30\n", 2, "expected 'key = value'"},
        {"[camera]\nfps = 30\nsize = 640x480\n\nfps = 25\n", 5,
         "fps is set twice in [camera], first on line 2"},
        {"[camera]\nfps = 30\n[gyro]\n[camera]\nfps = 30\n", 5,
         "fps is set twice in [camera], first on line 2"},
        {"[mode a]\nfps = 30\n[mode b]\nfps = 30\n[mode a]\nfps = 9\n", 6,
         "set twice in [mode a], first on line 2"},
        {"[mode a]\nfps = 30\n[mode\t  a]\nfps = 9\n", 4, "set twice in [mode a], first on line 2"},
        {"[camera]\nfps =\n", 2, "fps has no value"},
        {"[camera]\nfps = ; thirty\n", 2, "fps has no value"},
        {"[camera]\nfps = fast\n", 2, "fps: 'fast' is not a number"},
        {"[camera]\nfps = 30 Hz\n", 2, "fps: '30 Hz' is not a number"},
        {"[camera]\nfps = 30 # a guess\n", 2, "a comment behind a value starts with ' ;'"},
        {"[camera]\nfps = 29,97\n", 2, "the decimal sign is a point"},
        {"[camera]\nfps = nan\n", 2, "fps: 'nan' is not a number"},
        {"[camera]\nfps = inf\n", 2, "fps: 'inf' is not a number"},
        {"[camera]\nfps = 1e999\n", 2, "fps: '1e999' is not a number"},
        {"[camera]\nfps = 0x1E\n", 2, "fps: '0x1E' is not a number"},
        {"[camera]\nfps = 3e\n", 2, "fps: '3e' is not a number"},
        {"[camera]\nfps = 0.5\n", 2, "fps: '0.5' is out of range, 1..10000 Hz"},
        {"[camera]\nreadout_ms = 0\n", 2, "readout_ms: '0' is out of range, above 0, up to 1000 ms"},
        {"[mount]\ndamping = 1\n", 2, "damping: '1' is out of range, above 0, below 1"},
        {"[mount]\nshore_a = 90\n", 2, "shore_a: '90' is out of range, 20..85 Shore A"},
        {"[gyro]\npole_pairs = 6.5\n", 2, "pole_pairs: '6.5' is not a whole number"},
        {"[camera]\nsize = 1920\n", 2, "size: '1920' is not WIDTHxHEIGHT, such as 1920x1080"},
        {"[camera]\nsize = 1920x\n", 2, "is not WIDTHxHEIGHT"},
        {"[camera]\nsize = x1080\n", 2, "is not WIDTHxHEIGHT"},
        {"[camera]\nsize = 1920x1080x3\n", 2, "is not WIDTHxHEIGHT"},
        {"[camera]\nsize = 1920 x 1080\n", 2, "is not WIDTHxHEIGHT"},
        {"[camera]\nsize = 1920x8\n", 2, "size: '1920x8' is out of range, 16..100000 px a side"},
        {"[camera]\nsize = 1920.5x1080\n", 2, "is not in whole pixels"},
        {"[camera]\nlens = fisheye\n", 2, "lens: 'fisheye' is not one of rectilinear | equidistant"},
        {"[gyro]\naxes = FRD\n", 2, "axes: 'FRD' is not one of frd | flu"},
        {"[gyro]\non = mount\n", 2, "on: 'mount' is not one of frame | camera"},
        {"[mount]\nmaterial = rubber\n", 2, "is not one of unknown | natural-rubber | silicone | tpu"},
        {"[build]\nname = \xC3\x28\n", 2, "name: '?(' is not UTF-8"},
        {"[build]\nname = a\xED\xA0\x80\n", 2, "is not UTF-8"},
        {"[build]\nname = a\x1B[2J\n", 2, "name: 'a?[2J' holds a control character"},
        {"[build]\nname = a\xC2\x9B\x32J\n", 2, "holds a control character"},
        {"[mode a\tb]\n", 1, "section 'mode a?b' holds a control character"},
        {"[threshold]\npx = 0\n", 2, "px: '0' is out of range, above 0, up to 10000 px RMS"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct sr_rig rig, before;
        struct sr_error err;
        put(bad[i].text, strlen(bad[i].text));
        sr_rig_init(&rig);
        memcpy(&before, &rig, sizeof rig);
        assert_int_equal(sr_rig_read(&rig, "rig.ini", &err), SR_ERR_RIG);
        assert_int_equal(err.status, SR_ERR_RIG);
        assert_string_equal(err.file, "rig.ini");
        if (err.line != bad[i].line || strstr(err.text, bad[i].says) == NULL)
            fail_msg("case %zu: line %zu says '%s', expected line %zu to say '%s'", i, err.line, err.text,
                     bad[i].line, bad[i].says);
        assert_memory_equal(&rig, &before, sizeof rig); /* untouched */
    }
}

/* The first trouble in the file is the one told, whichever part found it. */
static void first_error_wins(void **state)
{
    struct sr_rig rig;
    struct sr_error err;
    (void)state;
    assert_int_equal(read_text("[camera]\nfps = x\njunk\n[nonsense]\n", &rig, &err), SR_ERR_RIG);
    assert_true(err.line == 2 && strstr(err.text, "'x'") != NULL);
    assert_int_equal(read_text("[camera]\njunk\nfps = x\n", &rig, &err), SR_ERR_RIG);
    assert_true(err.line == 2 && strstr(err.text, "found 'junk'") != NULL);
}

static void long_and_odd_lines(void **state)
{
    char text[2048];
    char word[512];
    struct sr_rig rig;
    struct sr_error err;
    (void)state;
    memset(word, 'w', sizeof word);

    /* Comments, indents and trailing blanks may be as long as they like. */
    snprintf(text, sizeof text, "# %.*s\n[camera]\nfps = 30 ; %.*s\n%400s\n%300s fps\n", 500, word, 500, word,
             "", ";");
    take_text(text, &rig);
    assert_true(rig.camera.fps == 30);

    snprintf(text, sizeof text, "[build]\n\nname = %.*s\n", 190, word);
    assert_int_equal(read_text(text, &rig, &err), SR_ERR_RIG);
    assert_true(err.line == 3 && strstr(err.text, "is longer than 95 bytes") != NULL);
    assert_non_null(strstr(err.text, "www...'"));
    snprintf(text, sizeof text, "[build]\n\nname = %.*s\n", 400, word);
    assert_int_equal(read_text(text, &rig, &err), SR_ERR_RIG);
    assert_true(err.line == 3 && strstr(err.text, "line of 407 bytes is longer than ") != NULL);
    snprintf(text, sizeof text, "[build]\nname = %.*s\n", 95, word);
    take_text(text, &rig);
    assert_int_equal(strlen(rig.build.name), 95);
    snprintf(text, sizeof text, "\n[mode %.*s]\n", 150, word);
    assert_int_equal(read_text(text, &rig, &err), SR_ERR_RIG);
    assert_true(err.line == 2 && strstr(err.text, "section name is too long") != NULL);
    /* A mode's name is kept whole, longer than the parser's own room for sections. */
    snprintf(text, sizeof text, "[mode %.*s]\nfps = 30\n[mode %.*sx]\nfps = 25\n", 80, word, 80, word);
    take_text(text, &rig);
    assert_int_equal(rig.n_modes, 2);
    assert_int_equal(strlen(rig.modes[1].name), 81);

    take_text("\xEF\xBB\xBF[camera]\r\nfps = 30", &rig); /* byte-order mark, no last newline */
    assert_true(rig.camera.fps == 30);
    take_text("", &rig);
    assert_true(rig.camera_given == 0);
    take_text("\n;\n#\n  ; x\n\t# y\n", &rig);
    take_text("[build]\nname =\nmotor = ; none\n", &rig); /* a text may be empty */
    assert_string_equal(rig.build.motor, "");
    take_text("[ camera ]\nfps: 30\n", &rig);
    assert_true(rig.camera.fps == 30);
}

static void unreadable_files(void **state)
{
    static const char zero[] = "[camera]\nfps = 30\n\0size";
    struct sr_rig rig;
    struct sr_error err;
    (void)state;
    sr_rig_init(&rig);
    assert_int_equal(sr_rig_read(&rig, "no-such.ini", &err), SR_ERR_OPEN);
    assert_string_equal(err.file, "no-such.ini");
    assert_int_equal(sr_rig_read(&rig, ".", &err), SR_ERR_READ);
    assert_int_equal(sr_rig_read(&rig, NULL, &err), SR_ERR_OPEN);
    put(zero, sizeof zero);
    assert_int_equal(sr_rig_read(&rig, "rig.ini", &err), SR_ERR_RIG);
    assert_true(err.line == 3 && strstr(err.text, "zero byte") != NULL);
    char *big = malloc(((size_t)1 << 20) + 1);
    assert_non_null(big);
    memset(big, '\n', ((size_t)1 << 20) + 1);
    put(big, (size_t)1 << 20);
    assert_int_equal(sr_rig_read(&rig, "rig.ini", &err), SR_OK);
    put(big, ((size_t)1 << 20) + 1);
    assert_int_equal(sr_rig_read(&rig, "rig.ini", &err), SR_ERR_RIG);
    assert_non_null(strstr(err.text, "1 MiB"));
    free(big);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_files),
        cmocka_unit_test(first_error_wins),
        cmocka_unit_test(long_and_odd_lines),
        cmocka_unit_test(unreadable_files),
    };
    return cmocka_run_group_tests(tests, enter_folder, leave_folder);
}
