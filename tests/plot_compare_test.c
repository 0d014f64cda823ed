/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The picture of two groups: its numbers, that names stay text, and that a failed picture leaves nothing. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "present/gnuplot_pipe.h"
#include "stillrow/compare_report.h"
#include "support/fake_flights.h"
#include "support/near.h"
#include "support/page.h"
#include "support/room.h"

#define FLIGHTS 3

/* Two groups of three flights each, B louder by `db`. */
struct duel {
    struct fake fake[2][FLIGHTS];
    struct sr_compare_flight flight[2][FLIGHTS];
    struct sr_compare_group group[2];
    struct sr_rig rig;
    struct sr_comparison comparison;
    struct sr_compare_spectra spectra;
    struct sr_compare_report report;
};

static void duel_make(struct duel *d, double db, bool throttle)
{
    uint64_t seed = 5;

    for (size_t g = 0; g < 2; g++) {
        const struct fake_flight plan = {.seconds = 40,
                                         .scatter_db = 1,
                                         .correlation = 0.3,
                                         .throttle_low = 0.3,
                                         .throttle_high = throttle ? 0.5 : 0,
                                         .level_db = g == 0 ? -6 : db - 6};
        for (size_t i = 0; i < FLIGHTS; i++) {
            assert_int_equal(fake_fly(&d->fake[g][i], &plan, &seed), 0);
            d->flight[g][i] = (struct sr_compare_flight){"lake.csv", &d->fake[g][i].slices,
                                                         &d->fake[g][i].view, &d->fake[g][i].score, NULL};
        }
        d->group[g] = (struct sr_compare_group){g == 0 ? "A" : "B", d->flight[g], FLIGHTS};
    }
    sr_rig_init(&d->rig);
    assert_int_equal(sr_compare(&d->comparison, &d->group[0], &d->group[1], NULL), SR_OK);
    assert_int_equal(sr_compare_spectra(&d->spectra, &d->group[0], &d->group[1], &d->comparison, NULL),
                     SR_OK);
    d->report = (struct sr_compare_report){&d->rig, &d->group[0], &d->group[1], &d->comparison, false};
}

static void duel_end(struct duel *d)
{
    sr_compare_spectra_release(&d->spectra);
    for (size_t g = 0; g < 2; g++)
        for (size_t i = 0; i < FLIGHTS; i++)
            fake_release(&d->fake[g][i]);
}

static struct sr_plot_options options_for(const char *output, enum sr_plot_format format)
{
    struct sr_plot_options options;

    sr_plot_options_init(&options);
    options.output = output;
    options.format = format;
    return options;
}

static void must_draw(const struct duel *d, const struct sr_plot_options *options)
{
    struct sr_error err = {0};

    if (sr_plot_compare(&d->report, &d->spectra, options, &err) != SR_OK)
        fail_msg("%s", err.text);
}

static void every_format_and_page(void **state)
{
    static const char *const starts[] = {"\x89PNG\r\n\x1a\n", "<?xml", "%PDF-"};
    static const double widths_px[] = {360, 1200, 2400};
    struct duel d;

    (void)state;
    duel_make(&d, 6, true);
    for (int f = SR_PLOT_PNG; f <= SR_PLOT_PDF; f++)
        for (size_t w = 0; w < 3; w++)
            for (int dark = 0; dark < 2; dark++) {
                struct sr_plot_options options = options_for("two", (enum sr_plot_format)f);
                size_t length;
                options.width_px = widths_px[w];
                options.height_px = 0.75 * widths_px[w];
                options.dark = dark == 1;
                must_draw(&d, &options);
                char *data = room_read("two", &length);
                assert_true(length > 2000);
                assert_memory_equal(data, starts[f], strlen(starts[f]));
                free(data);
            }
    duel_end(&d);
    assert_int_equal(room_clear(), 1);
}

/* The rows of the data block: Hz; A, low, high; B, low, high; allowance; dB, low, high. NaN where none. */
static size_t read_rows(const char *script, double row[][11], size_t most)
{
    const char *at = strstr(script, "$groups << EOD\n");
    size_t n = 0;

    assert_non_null(at);
    for (at = strchr(at, '\n') + 1; strncmp(at, "EOD", 3) != 0; at = strchr(at, '\n') + 1, n++) {
        char *next = (char *)at;
        assert_true(n < most);
        for (size_t i = 0; i < 11; i++) {
            row[n][i] = strtod(next, &next);
        }
        assert_int_equal(*next, '\n');
    }
    return n;
}

/* Where no difference is shown the foot says what would have; neither it nor the heading is cut. */
static void no_difference(void **state)
{
    struct sr_plot_options options = options_for("two.png", SR_PLOT_PNG);
    struct duel d;

    (void)state;
    options.script = "two.gp";
    duel_make(&d, 0, false);
    assert_int_equal(d.comparison.winner, SR_NO_DIFFERENCE);
    must_draw(&d, &options);
    char *script = room_read("two.gp", NULL);
    assert_non_null(strstr(script, " dB would have shown"));
    assert_null(strstr(script, "\xE2\x80\xA6"));
    free(script);
    duel_end(&d);
    room_clear();
}

/* The curves against sums over the slices made here, to the five digits written. */
static void curves_are_the_means(void **state)
{
    static double row[200][11];
    struct sr_plot_options options = options_for("two.png", SR_PLOT_PNG);
    struct duel d;

    (void)state;
    options.script = "two.gp";
    duel_make(&d, 6, false);
    assert_int_equal(d.comparison.match, SR_MATCH_NONE);
    must_draw(&d, &options);
    char *script = room_read("two.gp", NULL);
    const size_t rows = read_rows(script, row, 200);
    assert_true(rows > 50);
    double sum_db = 0;
    for (size_t r = 0; r < rows; r++) {
        const size_t k = (size_t)lround(row[r][0] / 4.0);
        double mean[2] = {0};
        for (size_t g = 0; g < 2; g++) {
            for (size_t i = 0; i < FLIGHTS; i++)
                for (size_t s = 0; s < 40; s++)
                    for (int a = 0; a < 3; a++)
                        mean[g] += sr_slices_psd(&d.fake[g][i].slices, s, (enum sr_picture_axis)a)[k] /
                                   (40.0 * FLIGHTS);
            /* RMS of what a resolution cell holds: density times ENBW, 1.5 bins of 4 Hz. */
            const double *curve = &row[r][1 + 3 * g];
            assert_near(curve[0], fmax(sqrt(mean[g] * 1.5 * 4.0), 1e-9), 1e-4 * curve[0]);
            assert_true(curve[1] <= curve[0] && curve[0] <= curve[2]);
        }
        if (!(mean[0] > 0))
            continue;
        assert_near(row[r][8], 10 * log10(mean[1] / mean[0]), 1e-3);
        assert_true(row[r][9] < row[r][8] && row[r][8] < row[r][10]);
        if (row[r][0] > 15.7)
            assert_near(row[r][7],
                        fmin(sr_camera_least_allowance_dps(&d.fake[0][0].view.camera, row[r][0], 1), 1e9),
                        1e-4 * row[r][7]);
        sum_db += row[r][8] / (double)rows;
    }
    assert_near(sum_db, 6, 0.7); /* as they were made; the flights scatter by 1 dB a second */
    free(script);
    duel_end(&d);
    room_clear();
}

/* What the heading says is what the comparison says, and the letters are those of the report. */
static void words_of_the_heading(void **state)
{
    static const struct {
        double db;
        bool throttle;
        const char *chip, *match;
    } cases[] = {{6, true, "'A quieter'", "% throttle"},
                 {-6, true, "'B quieter'", "% throttle"},
                 {0, false, "'no difference shown'", "compared as flown"}};

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct sr_plot_options options = options_for("two.png", SR_PLOT_PNG);
        struct duel d;
        char numbers[80];
        options.script = "two.gp";
        duel_make(&d, cases[i].db, cases[i].throttle);
        must_draw(&d, &options);
        char *script = room_read("two.gp", NULL);
        assert_says(script, cases[i].chip);
        assert_says(script, cases[i].match);
        assert_says(script, "'A against B'");
        assert_says(script, "'A, 3 flights'");
        assert_says(script, "95 % from between flights");
        snprintf(numbers, sizeof numbers, i < 2 ? "'by %.1f dB (" : "'%+.1f dB (",
                 i < 2 ? fabs(d.comparison.whole.db) : d.comparison.whole.db);
        assert_says(script, numbers);
        free(script);
        duel_end(&d);
    }
    room_clear();
}

/* Each would make a file X if gnuplot or a shell ran any of it. */
static void names_stay_text(void **state)
{
    static const char *const payloads[] = {"`touch X`",
                                           "$(touch X)",
                                           "a'; system('touch X'); set label 'b",
                                           "a''; system('touch X') #",
                                           "\"; system(\"touch X\"); \"",
                                           "@m; system('touch X')",
                                           "x\n! touch X\n",
                                           "EOD\nsystem('touch X')\n",
                                           "{/=80 `touch X`}^{_{@x}}",
                                           "\xFF\xC3'; system('touch X'); '\xE2\x82"};
    struct duel d;

    (void)state;
    duel_make(&d, 6, true);
    for (size_t i = 0; i < sizeof payloads / sizeof *payloads; i++) {
        struct sr_plot_options options = options_for("two.svg", SR_PLOT_SVG);
        options.title = i % 2 == 0 ? payloads[i] : NULL;
        d.group[0].name = d.group[1].name = payloads[i];
        must_draw(&d, &options);
        assert_int_not_equal(access("X", F_OK), 0);
    }
    duel_end(&d);
    room_clear();
}

/* The kept script, run by hand, draws the same picture; it names no file and needs none. */
static void script_draws_the_same_again(void **state)
{
    struct sr_plot_options options = options_for("first.png", SR_PLOT_PNG);
    struct sr_bytes again = {0};
    struct duel d;
    size_t length, script_length;

    (void)state;
    options.script = "two.gp";
    duel_make(&d, 3, true);
    must_draw(&d, &options);
    char *first = room_read("first.png", &length), *script = room_read("two.gp", &script_length);
    assert_int_equal(sr_gnuplot_run(NULL, script, script_length, 60, &again, NULL), SR_OK);
    assert_int_equal(again.length, length);
    assert_memory_equal(again.data, first, length);
    assert_silent_on(script, "set output");
    assert_silent_on(script, "system");
    free(again.data);
    free(script);
    free(first);
    duel_end(&d);
    room_clear();
}

static void what_is_refused(void **state)
{
    struct sr_plot_options o;
    struct duel d;

    (void)state;
    duel_make(&d, 3, true);
#define REFUSED(change)                                                                                      \
    do {                                                                                                     \
        o = options_for("two.png", SR_PLOT_PNG);                                                             \
        change;                                                                                              \
        assert_int_equal(sr_plot_compare(&d.report, &d.spectra, &o, NULL), SR_ERR_ARGUMENT);                 \
    } while (0)
    REFUSED(o.format = SR_PLOT_TEXT);
    REFUSED(o.output = NULL);
    REFUSED(o.width_px = 239);
    REFUSED(o.width_px = NAN);
    REFUSED(o.height_px = 8001);
    const size_t bins = d.spectra.bins;
    d.spectra.bins = 3;
    REFUSED((void)0);
#undef REFUSED
    d.spectra.bins = bins;
    duel_end(&d);
    assert_int_equal(room_count(), 0);
}

/* A gnuplot that fails, or draws something else: the picture of before stays as it was. */
static void failures_leave_what_was_there(void **state)
{
    static const char *const fakes[] = {
        "#!/bin/sh\ncat >/dev/null; echo 'line 3: no such thing' >&2; exit 1\n",
        "#!/bin/sh\ncat >/dev/null; echo no picture\n"};
    struct duel d;

    (void)state;
    duel_make(&d, 3, true);
    for (size_t i = 0; i < 2; i++) {
        struct sr_plot_options options = options_for("two.png", SR_PLOT_PNG);
        struct sr_error err = {0};
        FILE *before = fopen("two.png", "w"), *fake = fopen("fake", "w");
        assert_true(before != NULL && fake != NULL);
        fputs("of before", before);
        fputs(fakes[i], fake);
        assert_int_equal(fclose(before) + fclose(fake) + chmod("fake", 0755), 0);
        options.gnuplot = "./fake";
        assert_int_equal(sr_plot_compare(&d.report, &d.spectra, &options, &err), SR_ERR_PLOT);
        assert_true(strlen(err.text) > 10);
        char *kept = room_read("two.png", NULL);
        assert_string_equal(kept, "of before");
        free(kept);
        assert_int_equal(room_clear(), 2);
    }
    duel_end(&d);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_format_and_page), cmocka_unit_test(curves_are_the_means),
        cmocka_unit_test(words_of_the_heading),  cmocka_unit_test(no_difference),
        cmocka_unit_test(names_stay_text),       cmocka_unit_test(script_draws_the_same_again),
        cmocka_unit_test(what_is_refused),       cmocka_unit_test(failures_leave_what_was_there),
    };
    return cmocka_run_group_tests(tests, room_enter, room_leave);
}
