/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The plain reader against libcsv, the reader of record: the same log, bit for bit,
 * from any text; and how much memory a long log takes.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "log/reader.h"
#include "log/rows.h"
#include "sim/flight.h"
#include "stillrow/log.h"
#include "support/near.h"
#include "support/same_log.h"
#include "support/text_log.h"

#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define UNDER_SANITIZER 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__)
#define UNDER_SANITIZER 1
#endif

/* Both ways; returns the status, which must be alike. */
static enum sr_status read_both(const struct text *text)
{
    struct sr_log_options options;
    struct sr_log plain, record;
    struct sr_error plain_err, record_err;

    sr_log_options_init(&options);
    const enum sr_status status = text_read(text, &options, &plain, &plain_err);
    options.plain_path = false;
    assert_int_equal(text_read(text, &options, &record, &record_err), status);
    if (status == SR_OK) {
        const char *differs = log_difference(&plain, &record);
        if (differs != NULL)
            fail_msg("the two ways differ in %s", differs);
    } else {
        assert_string_equal(plain_err.text, record_err.text);
        assert_int_equal(plain_err.line, record_err.line);
    }
    sr_log_release(&plain);
    sr_log_release(&record);
    return status;
}

static size_t draw(uint64_t *seed, size_t n)
{
    return (size_t)(sim_uniform(seed) * (double)n);
}

/* Something to put in place of a field. */
static const char *odd_field(uint64_t *seed)
{
    static const char *const odd[] = {"",
                                      " ",
                                      "x",
                                      "1e3",
                                      "nan",
                                      "-",
                                      "  7.5  ",
                                      "\t8\t",
                                      "1 2",
                                      "0x1F",
                                      "1,5",
                                      "1;5",
                                      ".5",
                                      "5.",
                                      "\r",
                                      "+3",
                                      "1e",
                                      "--2",
                                      "1e999",
                                      "9\r9",
                                      "\x01",
                                      "\xFF",
                                      "12:30",
                                      "'4'",
                                      "1.5.5",
                                      "00000000000000000000000001.5",
                                      "123456789012345678901234567890.123456789"};

    return odd[draw(seed, sizeof odd / sizeof odd[0])];
}

/* A file with everything that may go wrong in it, at random. No quotes unless `quotes`. */
static void odd_file(struct text *text, uint64_t seed, bool quotes)
{
    static const char separators[] = {',', ';', '\t'};
    const char separator = separators[draw(&seed, 3)];
    const size_t padding = draw(&seed, 12);
    const double trouble = pow(10.0, -5.0 + 3.3 * sim_uniform(&seed)); /* from none to half the rows */
    const bool crlf = sim_uniform(&seed) < 0.3;
    const bool comma = separator != ',' && sim_uniform(&seed) < 0.5;

    text_add(text, "time (us)%cthrottle", separator);
    for (size_t i = 0; i < padding; i++)
        text_add(text, "%cpad%zu", separator, i);
    text_add(text, "%cgyro x%cgyro y%cgyro z%crpm 1%crpm 2\n", separator, separator, separator, separator,
             separator);
    for (size_t row = 0; row < 3000; row++) {
        for (size_t c = 0; c < padding + 7; c++) {
            char field[64];
            snprintf(field, sizeof field, "%.*f", (int)draw(&seed, 12), 100.0 * sim_normal(&seed));
            if (c == 0)
                snprintf(field, sizeof field, "%zu", row * 1000);
            for (char *mark = field; comma && *mark != '\0'; mark++)
                if (*mark == '.')
                    *mark = ',';
            if (sim_uniform(&seed) < trouble)
                snprintf(field, sizeof field, "%s", odd_field(&seed));
            if (c > 0)
                text_bytes(text, &separator, 1);
            const bool quoted = quotes && sim_uniform(&seed) < trouble;
            text_add(text, "%s%s%s", quoted ? "\"" : "", field,
                     quoted && sim_uniform(&seed) < 0.9 ? "\"" : "");
            if (sim_uniform(&seed) < 0.02 * trouble)
                break; /* a row cut short */
        }
        text_add(text, "%s", crlf ? "\r\n" : "\n");
        if (sim_uniform(&seed) < 0.05 * trouble)
            text_add(text, "%s", sim_uniform(&seed) < 0.5 ? "\n" : "   \r\n");
    }
    if (sim_uniform(&seed) < 0.5)
        text->size -= draw(&seed, 200);
    text->bytes[text->size] = '\0';
}

static void odd_files(void **state)
{
    size_t fine = 0;
    (void)state;
    for (uint64_t seed = 1; seed <= 80; seed++) {
        struct text text = {0};
        odd_file(&text, seed * 7919, false);
        fine += read_both(&text) == SR_OK;
        text_free(&text);
    }
    assert_true(fine > 25); /* or the comparison was of messages only */
}

/* The same when quotes turn up: the readers change over in mid-file. */
static void odd_quotes(void **state)
{
    size_t fine = 0;
    (void)state;
    for (uint64_t seed = 1; seed <= 50; seed++) {
        struct text text = {0};
        odd_file(&text, seed * 104729, true);
        fine += read_both(&text) == SR_OK;
        text_free(&text);
    }
    assert_true(fine > 10);
}

/* Over several blocks, with quotes in none, the first or the last. */
static void long_files(void **state)
{
    (void)state;
    for (int where = 0; where < 4; where++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        text_add(&text, "time (us),note,gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
        for (int i = 0; i < 100000; i++) {
            const bool quote = (where == 1 && i == 10) || (where == 2 && i == 99990);
            text_add(&text, "%d,%s,%d.%02d,%d,%d\n", i * 500,
                     quote        ? "\"a, b\nc\""
                     : where == 3 ? "\"\""
                                  : "n",
                     i % 91, i % 97, i % 83, -(i % 101));
        }
        assert_int_equal(read_both(&text), SR_OK);
        assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
        assert_int_equal(log.count, 100000);
        assert_int_equal(log.quality.bad_rows, 0);
        for (int i = 0; i < 100000; i++)
            assert_true(log.gyro_dps[2][i] == -(i % 101));
        sr_log_release(&log);
        text_free(&text);
    }
}

/* A quote that is never closed costs its row, not the rest of the file. */
static void stray_quote(void **state)
{
    (void)state;
    for (int last = 0; last < 2; last++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        text_add(&text, "time (us),gyro x,gyro y,gyro z\n");
        for (int i = 0; i < 60000; i++)
            text_add(&text, i == (last ? 59995 : 3000) ? "%d,\"%d,%d,%d\n" : "%d,%d,%d,%d\n", i * 500, i % 91,
                     i % 83, i % 101);
        assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
        assert_int_equal(log.quality.bad_rows, 1);
        assert_int_equal(log.quality.first_bad_line, last ? 59997 : 3002);
        assert_int_equal(log.count, 60000); /* the one that is missing is made up for */
        assert_int_equal(log.quality.lost_rows, 1);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* A sector of zeros in the middle that ends where a block does: what is before and after it is no row. */
static void zeros_within(void **state)
{
    const size_t block = SR_BLOCK_BYTES, sector = 4096;
    (void)state;
    for (int quote = 0; quote < 2; quote++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        text_add(&text, "time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)%*s\n", 64 + 16 - 55, "");
        for (int i = 0; i < 40000; i++) /* 32 bytes a row: what is before and after would make one */
            text_add(&text, quote == 1 && i == 10 ? "%09d,\"%04d\",%06d,%07d\n" : "%09d,%06d,%06d,%07d\n",
                     i * 500, i % 91, i % 83, i % 101);
        memset(text.bytes + block - sector, 0, sector);
        assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
        assert_int_equal(log.quality.bad_rows, 1);
        assert_int_equal(log.quality.rows, 40000 - sector / 32);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* However the text is cut into stretches, the rows are the same. */
/* Lines that end at CR alone, some with nothing in the last field, where a quote calls for libcsv. */
static void cr_and_an_empty_end(void **state)
{
    (void)state;
    for (int quotes = 0; quotes < 2; quotes++) {
        struct text text = {0};
        struct sr_error err;
        struct sr_log log;
        text_add(&text, "time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s),motor 1 speed (rpm)\r");
        for (int i = 0; i < 4000; i++)
            text_add(&text, quotes && i == 50 ? "\"%d\",%d.5,%d,%d,%s\r" : "%d,%d.5,%d,%d,%s\r", 1000 * i,
                     i % 7, i % 11, i % 13, i % 100 == 3 ? "" : "9000");
        assert_int_equal(read_both(&text), SR_OK);
        assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
        assert_int_equal(log.quality.rows, 4000);
        assert_int_equal(log.quality.lost_rows, 0);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* One set of rows for one layout after another: with few numbers a row, with many, and gaps among those. */
static void rows_for_another_layout(void **state)
{
    static struct sr_layout layout[3] = {
        {.n_wanted = 4,
         .wanted = {{0, SR_SLOT_TIME}, {1, SR_SLOT_RATE}, {2, SR_SLOT_RATE + 1}, {3, SR_SLOT_RATE + 2}}},
        {.n_wanted = 7,
         .n_slow = SR_SLOW_MAX,
         .wanted = {{0, SR_SLOT_TIME},
                    {1, SR_SLOT_RATE},
                    {2, SR_SLOT_RATE + 1},
                    {3, SR_SLOT_RATE + 2},
                    {4, SR_SLOT_OUTPUT},
                    {5, SR_SLOT_OUTPUT},
                    {6, SR_SLOT_MOTOR + SR_MOTORS_MAX - 1}}},
        {.n_wanted = 5,
         .n_slow = 2,
         .wanted = {{1, SR_SLOT_RATE + 2},
                    {2, SR_SLOT_RATE + 1},
                    {3, SR_SLOT_RATE},
                    {5, SR_SLOT_MOTOR},
                    {6, SR_SLOT_TIME}}},
    };
    struct sr_rows rows = {0};
    struct text text = {0};
    size_t used;
    (void)state;

    for (int i = 0; i < 6000; i++)
        text_add(&text, "%d,%d.5,-%d.25,%d,%d,%d,%d\n", i, i % 50, i % 60, i % 70, i % 100, i % 100 + 10,
                 i % 1000);
    for (size_t k = 0; k < 3; k++) {
        layout[k].delimiter = ',';
        layout[k].line_end = '\n';
        layout[k].columns = 7;
        assert_true(sr_rows_read(&rows, &layout[k], NULL, text.bytes, text.size, true, 0, &used));
        assert_int_equal(rows.count, 6000);
        assert_int_equal(rows.stride, SR_ROW_SLOW + layout[k].n_slow);
        for (int i = 0; i < 6000; i++) {
            const double *number = rows.number + (size_t)i * rows.stride;
            assert_true(rows.row[i].whole == (k < 2 ? i : i % 1000));
            assert_true(number[k < 2 ? 0 : 2] == i % 50 + 0.5);
            assert_true(number[1] == -(i % 60) - 0.25);
            assert_true(number[k < 2 ? 2 : 0] == i % 70);
            if (k == 1) {
                assert_true(number[SR_ROW_SLOW] == i % 100 + 5);
                assert_true(isnan(number[SR_ROW_SLOW + 1]));
                assert_true(number[SR_ROW_SLOW + SR_MOTORS_MAX] == i % 1000);
            } else if (k == 2) {
                assert_true(isnan(number[SR_ROW_SLOW]));
                assert_true(number[SR_ROW_SLOW + 1] == i % 100 + 10);
            }
        }
    }
    sr_rows_release(&rows);
    text_free(&text);
}

static void stretches(void **state)
{
    struct sr_layout layout = {
        .delimiter = ',',
        .line_end = '\n',
        .columns = 5,
        .n_wanted = 4,
        .wanted = {{0, SR_SLOT_TIME}, {2, SR_SLOT_RATE}, {3, SR_SLOT_RATE + 1}, {4, SR_SLOT_RATE + 2}}};
    static const char text[] = "1,a,2,3,4\n5,b,6,7,8\r\n\n9,c,1,2\n10,d,1,2,3\n11,ee,4,5,6";
    const size_t size = sizeof text - 1;
    (void)state;
    for (int quoted = 0; quoted < 2; quoted++)
        for (size_t cut = 1; cut < size; cut++) {
            struct sr_rows rows = {0};
            struct sr_csv csv;
            uint64_t seen = 0, bad = 0;
            size_t at = 0, count = 0, lines = 0, used;
            assert_true(sr_csv_init(&csv, ',', '\n'));
            while (at < size) {
                const bool last = at + cut >= size;
                assert_true(sr_rows_read(&rows, &layout, quoted ? &csv : NULL, text + at,
                                         last ? size - at : cut, last, 0, &used));
                seen += rows.seen;
                bad += rows.bad;
                count += rows.count;
                lines += rows.lines;
                if (used == 0 && !last) { /* no line end within the stretch: it needs more text */
                    assert_null(memchr(text + at, '\n', cut));
                    break;
                }
                at += used;
            }
            if (at >= size) {
                assert_true(seen == 5 && bad == 1 && count == 4);
                assert_int_equal(lines, 6);
            }
            sr_csv_release(&csv);
            sr_rows_release(&rows);
        }
}

/* ---- memory ---------------------------------------------------------------- */

/* Write `rows` rows of 40 columns. */
static void write_flight(FILE *out, size_t rows, bool jitter)
{
    uint64_t seed = 3;

    fprintf(out, "time (us),throttle,gyro x,gyro y,gyro z");
    for (int c = 0; c < 35; c++)
        fprintf(out, ",pad%d", c);
    for (size_t i = 0; i < rows; i++) {
        const size_t us = i * 500 + (jitter ? draw(&seed, 100) : 0);
        fprintf(out, "\n%zu,%zu,%zu.25,%zu.5,%zu", us, 20 + i % 7, i % 89, i % 97, i % 83);
        for (int c = 0; c < 35; c++)
            fputs(",123", out);
    }
    fputc('\n', out);
}

/* In a process of its own: read and send the peak resident size [bytes] to `result`. */
static void measure(FILE *in, const char *path, size_t rows, int result)
{
    struct rusage usage;
    struct sr_log log = {0};
    const enum sr_status status =
        in != NULL ? sr_log_read_stream(&log, in, path, NULL, NULL) : sr_log_read(&log, path, NULL, NULL);

    getrusage(RUSAGE_SELF, &usage);
    const double bytes = status == SR_OK && log.count + 5 >= rows ? (double)usage.ru_maxrss * 1024.0 : NAN;
    _exit(write(result, &bytes, sizeof bytes) == (ssize_t)sizeof bytes ? 0 : 1);
}

/* Peak resident size [bytes] of a process that reads so many rows from a pipe. */
static double peak_of_pipe(size_t rows, bool jitter)
{
    int text[2], result[2];
    double peak = NAN;

    assert_int_equal(pipe(text), 0);
    assert_int_equal(pipe(result), 0);
    const pid_t writer = fork();
    if (writer == 0) {
        close(text[0]);
        FILE *out = fdopen(text[1], "wb");
        if (out != NULL) {
            write_flight(out, rows, jitter);
            fclose(out);
        }
        _exit(0);
    }
    const pid_t reader = fork();
    if (reader == 0) {
        close(text[1]);
        measure(fdopen(text[0], "rb"), "pipe", rows, result[1]);
    }
    close(text[0]);
    close(text[1]);
    close(result[1]);
    assert_int_equal(read(result[0], &peak, sizeof peak), sizeof peak);
    close(result[0]);
    waitpid(writer, NULL, 0);
    waitpid(reader, NULL, 0);
    return peak;
}

/* The same from a file. */
static double peak_of_file(size_t rows, bool jitter)
{
    char path[] = "/tmp/stillrow-memory-XXXXXX";
    int result[2];
    double peak = NAN;
    const int fd = mkstemp(path);
    FILE *out = fd >= 0 ? fdopen(fd, "wb") : NULL;

    assert_non_null(out);
    write_flight(out, rows, jitter);
    assert_int_equal(fclose(out), 0);
    assert_int_equal(pipe(result), 0);
    const pid_t reader = fork();
    if (reader == 0)
        measure(NULL, path, rows, result[1]);
    close(result[1]);
    assert_int_equal(read(result[0], &peak, sizeof peak), sizeof peak);
    close(result[0]);
    waitpid(reader, NULL, 0);
    unlink(path);
    return peak;
}

/* At most 48 bytes a row, and not a byte for a column that is not used. */
static void check_memory(const char *what, double (*peak_of)(size_t, bool))
{
#ifdef UNDER_SANITIZER
    (void)peak_of;
    print_message("SKIPPED memory from a %s: a sanitizer's own memory would be measured\n", what);
#else
    const size_t few = 100000, many = 400000;
    for (int jitter = 0; jitter < 2; jitter++) {
        const double less = peak_of(few, jitter == 1);
        const double more = peak_of(many, jitter == 1);
        const double row_bytes = (more - less) / (double)(many - few);
        print_message("%s, %s steps: %.1f bytes a row, %.1f MB at %zu rows\n", what,
                      jitter ? "uneven" : "even", row_bytes, more / 1e6, many);
        assert_true(row_bytes <= 48.0);
        assert_true(more < 48.0 * (double)many + 16e6);
    }
#endif
}

static void memory_from_a_pipe(void **state)
{
    (void)state;
    check_memory("pipe", peak_of_pipe);
}

/* After other logs were read and freed, as in a batch. */
static void memory_from_a_file(void **state)
{
    (void)state;
    check_memory("file", peak_of_file);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(memory_from_a_pipe),  cmocka_unit_test(odd_files),
        cmocka_unit_test(odd_quotes),          cmocka_unit_test(long_files),
        cmocka_unit_test(stray_quote),         cmocka_unit_test(zeros_within),
        cmocka_unit_test(stretches),           cmocka_unit_test(rows_for_another_layout),
        cmocka_unit_test(cr_and_an_empty_end), cmocka_unit_test(memory_from_a_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
