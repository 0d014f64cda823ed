/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pictures: what is drawn, that texts stay texts, and that a failed picture leaves nothing behind. */
#include <errno.h>
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/resource.h>

#include <cmocka.h>

#include "present/gnuplot_pipe.h"
#include "present/plot_kinds.h"
#include "stillrow/plot.h"
#include "support/near.h"
#include "support/page.h"
#include "support/plot_cases.h"
#include "support/room.h"

#define PI 3.14159265358979323846

static const char *const endings[] = {"png", "svg", "pdf", "txt"};

static enum sr_status draw(const struct plot_case *c, enum sr_plot_kind kind, enum sr_plot_format format,
                           const char *output, const char *script, struct sr_error *err)
{
    struct sr_plot_options options;

    sr_plot_options_init(&options);
    options.kind = kind;
    options.format = format;
    options.output = output;
    options.script = script;
    return sr_plot_flight(&c->flight, &options, err);
}

static void must_draw(const struct plot_case *c, enum sr_plot_kind kind, enum sr_plot_format format,
                      const char *output, const char *script)
{
    struct sr_error err = {0};

    if (draw(c, kind, format, output, script, &err) != SR_OK)
        print_error("%s %s: %s\n", sr_plot_kind_name(kind), endings[format], err.text);
    assert_int_equal(err.status, SR_OK);
}

static void every_kind_in_every_format(void **state)
{
    static const char *const starts[] = {"\x89PNG\r\n\x1a\n", "<?xml", "%PDF-", "heron\nwobbly: "};
    const size_t lines[] = {0, 1, 5, 12};
    struct plot_case c;
    char output[64];

    (void)state;
    for (size_t n = 0; n < 4; n++) {
        plot_case_make(&c, lines[n]);
        for (int k = 0; k < SR_PLOT_KINDS; k++)
            for (int f = 0; f <= SR_PLOT_TEXT; f++) {
                if (n != 2 && f != SR_PLOT_PNG && f != SR_PLOT_TEXT)
                    continue;
                size_t length = 0;
                snprintf(output, sizeof output, "picture-%d.%s", k, endings[f]);
                must_draw(&c, (enum sr_plot_kind)k, (enum sr_plot_format)f, output, NULL);
                char *data = room_read(output, &length);
                if (f != SR_PLOT_TEXT)
                    assert_memory_equal(data, starts[f], strlen(starts[f]));
                else if (n == 2)
                    assert_memory_equal(data, starts[f], strlen(starts[f]));
                assert_true(length > 500);
                free(data);
            }
        plot_case_release(&c);
    }
    assert_int_equal(room_clear(), 16);
}

/* Width and height of a PNG, from its header chunk (ISO/IEC 15948, 11.2.2). */
static void png_size(const char *name, unsigned long *width, unsigned long *height)
{
    unsigned char *p = (unsigned char *)room_read(name, NULL);

    *width = (unsigned long)p[16] << 24 | (unsigned long)p[17] << 16 | (unsigned long)p[18] << 8 | p[19];
    *height = (unsigned long)p[20] << 24 | (unsigned long)p[21] << 16 | (unsigned long)p[22] << 8 | p[23];
    free(p);
}

static void size_is_as_asked(void **state)
{
    struct sr_plot_options options;
    struct plot_case c;
    unsigned long width, height;

    (void)state;
    plot_case_make(&c, 5);
    must_draw(&c, SR_PLOT_SPECTRUM, SR_PLOT_PNG, "a.png", NULL);
    png_size("a.png", &width, &height);
    assert_int_equal(width, 1200);
    assert_int_equal(height, 675);
    sr_plot_options_init(&options);
    options.output = "a.png";
    options.width_px = 360;
    options.height_px = 640;
    options.dark = true;
    assert_int_equal(sr_plot_flight(&c.flight, &options, NULL), SR_OK);
    png_size("a.png", &width, &height);
    assert_int_equal(width, 360);
    assert_int_equal(height, 640);
    plot_case_release(&c);
    room_clear();
}

/* The kept script, run by hand, draws the same picture; it names no file and needs none. */
static void script_draws_the_same_again(void **state)
{
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 5);
    for (int k = 0; k < SR_PLOT_KINDS; k++)
        for (int f = 0; f <= SR_PLOT_TEXT; f += 3) {
            size_t length, script_length;
            struct sr_bytes again = {0};
            must_draw(&c, (enum sr_plot_kind)k, (enum sr_plot_format)f, "first", "script.gp");
            char *first = room_read("first", &length), *script = room_read("script.gp", &script_length);
            assert_int_equal(unlink("first"), 0);
            assert_int_equal(sr_gnuplot_run(NULL, script, script_length, 60, &again, NULL), SR_OK);
            if (f == SR_PLOT_PNG) {
                assert_int_equal(again.length, length);
                assert_memory_equal(again.data, first, length);
            } else {
                assert_says(again.data, "wobbly: ");
            }
            assert_silent_on(script, "set output");
            assert_silent_on(script, "system");
            free(again.data);
            free(script);
            free(first);
        }
    plot_case_release(&c);
    assert_int_equal(room_clear(), 1);
}

/* [px] y of an SVG's text that begins so, from above: gnuplot writes each in a group that is moved there. */
static double height_of_text(const char *svg, const char *text)
{
    char start[80];
    const char *at, *group = NULL;
    double x = NAN, y = NAN;

    snprintf(start, sizeof start, "<text>%s", text);
    const char *found = strstr(svg, start);
    assert_non_null(found);
    for (at = strstr(svg, "translate("); at != NULL && at < found; at = strstr(at + 1, "translate("))
        group = at;
    assert_non_null(group);
    assert_int_equal(sscanf(group, "translate(%lf,%lf)", &x, &y), 2);
    return y;
}

/* Its viewer, not gnuplot, sets the type: one family by its name alone, and no label in the small print. */
static void svg_is_for_any_viewer(void **state)
{
    static const char *const label[SR_PLOT_KINDS] = {"50</text>", "0:05</text>", "0:05</text>",
                                                     "12000</text>"};
    static const char family[] = "font-family=\"";
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 5);
    for (int k = 0; k < SR_PLOT_KINDS; k++) {
        must_draw(&c, (enum sr_plot_kind)k, SR_PLOT_SVG, "a.svg", NULL);
        char *svg = room_read("a.svg", NULL);
        for (const char *at = strstr(svg, family); at != NULL; at = strstr(at + 1, family))
            assert_int_equal(strncmp(at + strlen(family), "sans-serif\"", 11), 0);
        double footer = height_of_text(svg, "238 g"), small_print = 19;
        assert_true(height_of_text(svg, label[k]) < footer - small_print);
        free(svg);
    }
    plot_case_release(&c);
    room_clear();
}

static void drawn_frames_of_each_kind(void **state)
{
    static const char *const parts[][8] = {
        {"set terminal pngcairo noenhanced", "'heron'", "'wobbly'", "set logscale xy", "$spectrum << EOD",
         "'allowance of one line'", "'212 Hz, motor 3 1x'",
         "'16\xE2\x80\x93"
         "62 Hz'"},
        {"set multiplot", "$seconds << EOD", "'threshold 1.00 px'", "'knock 0:24, +6.0 dB'", "boxxyerror",
         "'throttle, %'", "dashtype 11 (", "unset multiplot"},
        {"set palette defined (0 '#00224E'", "$heat << EOD", "with image", "'bend'", "'wave'", "'ripple'",
         "'knock 0:24'", "'Hz'"},
        {"set palette defined (0 '#00224E'", "$heat << EOD", "with image", "'1x'", "'2x'",
         "set xtics ('10000' 10000", "$tracks << EOD", "'rpm'"},
    };
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 5);
    for (int k = 0; k < SR_PLOT_KINDS; k++) {
        must_draw(&c, (enum sr_plot_kind)k, SR_PLOT_PNG, "a.png", "a.gp");
        char *script = room_read("a.gp", NULL);
        for (int i = 0; i < 8; i++)
            assert_says(script, parts[k][i]);
        assert_says(script, "'heron-lake.csv \xC2\xB7 1920x1080, 60 fps, readout 16 ms, camera assumed'");
        assert_says(script, "'stillrow " SR_VERSION "'");
        free(script);
    }
    c.rig.camera_given = SR_KEY_SIZE;
    must_draw(&c, SR_PLOT_TIMELINE, SR_PLOT_PNG, "a.png", "a.gp");
    char *script = room_read("a.gp", NULL);
    assert_says(script, "readout 16 ms, camera partly assumed'");
    free(script);
    plot_case_release(&c);
    room_clear();
}

/*
 * A sine of 3 deg/s RMS on pitch: the curve's top reads 3, and where its single line alone reaches the
 * threshold, curve and allowance meet.
 */
static void curve_reads_the_amplitude(void **state)
{
    enum { RATE = 1000, SECONDS = 6, SEGMENT = 500, BINS = SEGMENT / 2 + 1 };
    const double hz = 120, rms = 3;
    static double x[RATE], psd[SECONDS * 3 * BINS], rate[BINS], scratch[BINS];
    struct sr_slices slices = {
        .count = SECONDS, .bins = BINS, .bin_hz = 2, .rate_hz = RATE, .segment = SEGMENT};
    struct sr_welch *welch;
    struct sr_camera camera;
    struct sr_view view;
    struct sr_score score = {.threshold_px = 1.5};
    struct sr_plot_flight flight = {.slices = &slices, .view = &view, .score = &score};

    (void)state;
    assert_int_equal(sr_welch_new(&welch, SR_WINDOW_HANN, SR_DETREND_LINEAR, SEGMENT, SEGMENT / 2, NULL),
                     SR_OK);
    for (size_t i = 0; i < SECONDS; i++) {
        for (size_t n = 0; n < RATE; n++)
            x[n] = rms * sqrt(2) * sin(2 * PI * hz * (double)n / RATE + (double)i);
        assert_int_equal(sr_welch_psd(welch, x, RATE, RATE, psd + (i * 3 + SR_PITCH) * BINS, NULL), SR_OK);
    }
    slices.psd = psd;
    slices.enbw_bins = sr_welch_enbw_bins(welch);
    sr_plot_rates(&slices, rate, scratch);
    assert_near(rate[60], rms, 0.001 * rms);
    assert_true(rate[50] < 0.01 * rms);
    /* Twice as strong in one of six seconds: mean power (5 + 4) / 6, and the strongest second reads twice. */
    for (size_t k = 0; k < BINS; k++)
        psd[(2 * 3 + SR_PITCH) * BINS + k] *= 4;
    sr_plot_rates(&slices, rate, scratch);
    assert_near(rate[60], rms * sqrt(1.5), 0.001 * rms);
    sr_plot_worst_rates(&slices, rate);
    assert_near(rate[60], 2 * rms, 0.002 * rms);

    sr_camera_init(&camera);
    assert_int_equal(sr_view_init(&view, &slices, &camera, NULL), SR_OK);
    for (size_t k = view.first_bin; k < BINS; k++)
        assert_near(sr_plot_allowance(&flight, k),
                    fmin(sr_camera_least_allowance_dps(&camera, 2.0 * (double)k, 1.5), 1e9),
                    1e-6 * sr_plot_allowance(&flight, k));
    assert_true(isnan(sr_plot_allowance(&flight, view.first_bin - 1)));
    sr_view_release(&view);
    sr_welch_free(welch);
}

static void orders_need_motor_speeds(void **state)
{
    struct sr_error err = {0};
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 1);
    for (size_t i = 0; i < c.fake.slices.count; i++)
        for (size_t m = 0; m < SR_MOTORS_MAX; m++)
            c.fake.slices.slice[i].motor_rpm[m] = NAN;
    for (int f = 0; f <= SR_PLOT_TEXT; f++) {
        assert_int_equal(draw(&c, SR_PLOT_ORDERS, (enum sr_plot_format)f, "a", NULL, &err), SR_ERR_DATA);
        assert_says(err.text, "no motor speeds in this log");
    }
    /* The others do without, and without throttle, causes and change. */
    c.fake.slices.has_throttle = false;
    c.flight.causes = NULL;
    c.flight.change = NULL;
    for (int k = 0; k < SR_PLOT_ORDERS; k++) {
        must_draw(&c, (enum sr_plot_kind)k, SR_PLOT_PNG, "a.png", NULL);
        must_draw(&c, (enum sr_plot_kind)k, SR_PLOT_TEXT, "a.txt", NULL);
    }
    plot_case_release(&c);
    assert_int_equal(room_clear(), 2);
}

static void wrong_arguments_are_refused(void **state)
{
    struct sr_plot_options good, o;
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 1);
    sr_plot_options_init(&good);
    good.output = "a.png";
#define REFUSED(change)                                                                                      \
    do {                                                                                                     \
        o = good;                                                                                            \
        change;                                                                                              \
        assert_int_equal(sr_plot_flight(&c.flight, &o, NULL), SR_ERR_ARGUMENT);                              \
    } while (0)
    REFUSED(o.width_px = 239);
    REFUSED(o.width_px = 8001);
    REFUSED(o.height_px = 0);
    REFUSED(o.height_px = NAN);
    REFUSED(o.timeout_s = -1);
    REFUSED(o.max_hz = -1);
    REFUSED(o.max_hz = NAN);
    REFUSED(o.footage_offset_s = INFINITY);
    REFUSED(o.output = NULL);
    REFUSED(o.kind = (enum sr_plot_kind)4);
    REFUSED(o.format = (enum sr_plot_format)4);
    REFUSED((o.format = SR_PLOT_TEXT, o.text_columns = 39));
    REFUSED((o.format = SR_PLOT_TEXT, o.text_rows = 11));
    const struct sr_score *score = c.flight.score;
    c.flight.score = NULL;
    REFUSED((void)0);
    c.flight.score = score;
    c.fake.score.slices--;
    REFUSED((void)0);
#undef REFUSED
    c.fake.score.slices++;
    plot_case_release(&c);
    assert_int_equal(room_count(), 0);
}

/* A text plot keeps to the sheet it was given, and is clean of what drives a terminal. */
static void text_keeps_to_its_sheet(void **state)
{
    const int sheets[][2] = {{0, 0}, {40, 12}, {132, 43}};
    struct sr_plot_options options;
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 12);
    snprintf(c.rig.build.name, sizeof c.rig.build.name,
             "a long name of a craft \033[31m that goes on\nand on and on and on");
    for (int k = 0; k < SR_PLOT_KINDS; k++)
        for (size_t s = 0; s < 3; s++) {
            int columns = sheets[s][0] ? sheets[s][0] : 79, rows = sheets[s][1] ? sheets[s][1] : 24, row = 0,
                column = 0;
            sr_plot_options_init(&options);
            options.kind = (enum sr_plot_kind)k;
            options.format = SR_PLOT_TEXT;
            options.output = "a.txt";
            options.text_columns = sheets[s][0];
            options.text_rows = sheets[s][1];
            assert_int_equal(sr_plot_flight(&c.flight, &options, NULL), SR_OK);
            char *text = room_read("a.txt", NULL);
            for (const char *p = text; *p != '\0'; p++) {
                assert_true(*p == '\n' || (unsigned char)*p >= ' ');
                column = *p == '\n' ? 0 : column + (((unsigned char)*p & 0xC0) != 0x80);
                row += *p == '\n';
                assert_true(column <= columns);
            }
            assert_true(row <= rows);
            assert_says(text, "a long name of a craft [31m that goe");
            free(text);
        }
    plot_case_release(&c);
    room_clear();
}

/* Fake gnuplots: whatever goes wrong, the picture of before is kept, and nothing new is left. */
static void failures_leave_what_was_there(void **state)
{
    static const struct {
        const char *program;
        const char *says;
    } cases[] = {
        {"cat >/dev/null; exit 1", "failed with exit status 1"},
        {"head -c 100 >/dev/null; printf '\\211PNG\\r\\n\\032\\nhalf'; kill -9 $$", "was killed by signal 9"},
        {"cat >/dev/null; printf '\\211PNG\\r\\n\\032\\nhalf'", "no whole png picture"},
        {"cat >/dev/null; echo 'no picture at all: IEND'", "no whole png picture"},
        {"sleep 600", "did not finish within 0.3 s"},
        {"cat >/dev/null", "drew nothing"},
    };
    struct sr_plot_options options;
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 1);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        for (int before = 0; before < 2; before++) {
            struct sr_error err = {0};
            FILE *out = fopen("fake", "w");
            assert_non_null(out);
            fprintf(out, "#!/bin/sh\n%s\n", cases[i].program);
            assert_int_equal(fclose(out) + chmod("fake", 0755), 0);
            if (before) {
                assert_non_null(out = fopen("a.png", "w"));
                fputs("before", out);
                assert_int_equal(fclose(out), 0);
            }
            sr_plot_options_init(&options);
            options.output = "a.png";
            options.gnuplot = "./fake";
            options.timeout_s = 0.3;
            if (i < 4)
                options.timeout_s = 20;
            assert_int_equal(sr_plot_flight(&c.flight, &options, &err), SR_ERR_PLOT);
            assert_says(err.text, cases[i].says);
            if (before) {
                char *kept = room_read("a.png", NULL);
                assert_string_equal(kept, "before");
                free(kept);
            }
            assert_int_equal(room_clear(), before ? 2 : 1);
        }
    struct sr_error err = {0};
    sr_plot_options_init(&options);
    options.output = "a.png";
    options.gnuplot = "./missing-gnuplot";
    assert_int_equal(sr_plot_flight(&c.flight, &options, &err), SR_ERR_PLOT);
    assert_says(err.text, "is not installed or not on PATH: install the package gnuplot");
    assert_int_equal(room_count(), 0);
    plot_case_release(&c);
}

/* The highest second is marked, also where it lies in a moment that is not the highest as a mean. */
static void highest_second_is_marked(void **state)
{
    struct plot_case c;
    (void)state;
    plot_case_make(&c, 5);
    struct sr_score *score = &c.fake.score;
    size_t highest = 0;
    for (size_t i = 0; i < score->slices; i++)
        highest = score->slice_px[i] > score->slice_px[highest] ? i : highest;
    const double begins_s = c.fake.slices.slice[highest].from_s;
    struct sr_moment elsewhere = score->worst[0];
    elsewhere.from_s = begins_s > 20 ? 1 : 30; /* anywhere without it */
    elsewhere.to_s = elsewhere.from_s + 3;
    score->worst[0] = elsewhere;
    score->threshold_px = 2 * score->slice_px[highest];
    assert_int_equal(sr_plot_moments(&c.flight), 1);
    const struct sr_moment quiet = sr_plot_moment(&c.flight, 0);
    assert_int_equal(sr_plot_worst_second(&c.flight, &quiet), highest);

    /* One above the threshold is marked for itself. */
    score->worst[0].wobble_px = 10 * score->median_px;
    score->threshold_px = score->median_px;
    const struct sr_moment loud = sr_plot_moment(&c.flight, 0);
    assert_near(loud.from_s, elsewhere.from_s, 0);
    assert_near(loud.to_s, elsewhere.to_s, 0);
    plot_case_release(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_in_every_format),  cmocka_unit_test(size_is_as_asked),
        cmocka_unit_test(script_draws_the_same_again), cmocka_unit_test(drawn_frames_of_each_kind),
        cmocka_unit_test(svg_is_for_any_viewer),       cmocka_unit_test(curve_reads_the_amplitude),
        cmocka_unit_test(orders_need_motor_speeds),    cmocka_unit_test(wrong_arguments_are_refused),
        cmocka_unit_test(text_keeps_to_its_sheet),     cmocka_unit_test(failures_leave_what_was_there),
        cmocka_unit_test(highest_second_is_marked),
    };
    return cmocka_run_group_tests(tests, room_enter, room_leave);
}
