/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The reader of logs. The first line of the input chooses the options, one character each (see choose());
 * the rest is the file. It is read by the plain path from a regular file, and by libcsv, the reader of
 * record, from a stream of unknown length: status, message and log must be alike to the bit, and the log
 * must be what its header promises. Some are scored and explained as well.
 */
#include "fuzz/fuzz.h"
#include "harden/job.h"
#include "support/same_log.h"

#define ROWS_MAX 60000 /* samples of a log that is scored, too: an input must not take seconds */

/* What one input asks for. */
struct asked {
    struct sr_log_options options;
    char columns[160];
    unsigned copies; /* of the rows behind the first line */
    bool score;
};

static unsigned digit(const char *key, size_t size, size_t i, unsigned n)
{
    return i < size ? (unsigned)(unsigned char)(key[i] - '0') % n : 0;
}

static void choose(struct asked *asked, const char *key, size_t size)
{
    static const double rates[] = {0, 1, 4, 50, 1000, 32000, 1e6, 0.5, 2e6};
    static const char *const specs[] = {NULL,
                                        "time=1,x=2,y=3,z=4",
                                        "x=1,y=2,z=3",
                                        "time=t,x=a,y=b,z=c",
                                        "x=4,y=5,z=6,throttle=7,motor1=8,motor8=2",
                                        "throttle=2"};
    static const char *const time_units[] = {NULL, "ns", "us", "ms", "s", "h"};
    static const char *const rate_units[] = {NULL, "deg/s", "rad/s", "rpm"};
    static const double spans[][2] = {{NAN, NAN}, {0, 1}, {0.5, NAN}, {NAN, 2}, {1, 1}, {2, 5}, {1e5, NAN}};
    static const double motors[][3] = {{0, 0, 0}, {7, 0, 0}, {0, 100, 0.2}, {7, 0.001, 0.99}, {100, 1e6, 0}};
    static const unsigned copies[] = {1, 1, 2, 60, 500};
    struct sr_log_options *options = &asked->options;

    sr_log_options_init(options);
    options->sample_rate_hz = rates[digit(key, size, 0, 9)];
    options->columns = specs[digit(key, size, 1, 6)];
    options->time_unit = time_units[digit(key, size, 2, 6)];
    options->rate_unit = rate_units[digit(key, size, 3, 4)];
    options->from_s = spans[digit(key, size, 4, 7)][0];
    options->to_s = spans[digit(key, size, 4, 7)][1];
    options->pole_pairs = motors[digit(key, size, 5, 5)][0];
    options->speed_scale = motors[digit(key, size, 5, 5)][1];
    options->idle_throttle = motors[digit(key, size, 5, 5)][2];
    asked->copies = copies[digit(key, size, 6, 5)];
    asked->score = digit(key, size, 7, 8) == 1; /* the slow part */
    if (size > 9 && key[8] == ' ') {            /* behind the digits: a columns text */
        snprintf(asked->columns, sizeof asked->columns, "%.*s", (int)(size - 9), key + 9);
        options->columns = asked->columns;
    }
}

/* The file: its first line, and the rest as often as asked for. */
static char *make_file(const char *text, size_t size, unsigned copies, size_t *made)
{
    const char *end = memchr(text, '\n', size);
    const size_t head = end != NULL && copies > 1 ? (size_t)(end - text) + 1 : size;
    const size_t rest = size - head;

    if (rest * copies > 200000)
        copies = 1;
    *made = head + rest * copies;
    char *file = malloc(*made + 1);
    CHECK(file != NULL);
    memcpy(file, text, head);
    for (unsigned i = 0; i < copies; i++)
        memcpy(file + head + i * rest, text + head, rest);
    return file;
}

static enum sr_status read_file(struct sr_log *log, const char *text, size_t size, bool plain,
                                struct asked *asked, struct sr_error *err)
{
    static int fd = -1;
    char path[300];
    FILE *stream;

    memset(log, 0, sizeof *log);
    memset(err, 0, sizeof *err);
    asked->options.plain_path = plain;
    if (plain) {
        if (fd < 0) {
            fd = open(fuzz_path("log.csv", path), O_RDWR | O_CREAT | O_TRUNC, 0600);
            CHECK(fd >= 0);
        }
        CHECK(ftruncate(fd, 0) == 0 && pwrite(fd, text, size, 0) == (ssize_t)size);
        CHECK(lseek(fd, 0, SEEK_SET) == 0);
        stream = fdopen(dup(fd), "rb");
    } else {
        stream = size > 0 ? fmemopen((void *)(uintptr_t)text, size, "rb") : fopen("/dev/null", "rb");
    }
    CHECK(stream != NULL);
    const enum sr_status status = sr_log_read_stream(log, stream, "flight.csv", &asked->options, err);
    fclose(stream);
    CHECK(status >= SR_OK && status < SR_STATUS_COUNT);
    return status;
}

static void check_slow(const double *grid, size_t count)
{
    for (size_t i = 0; grid != NULL && i < count; i++)
        CHECK(!isinf(grid[i]));
}

/* The invariants of stillrow/log.h. */
static void check_log(const struct sr_log *log)
{
    double end_s = -INFINITY;
    size_t next = 0;

    CHECK(isfinite(log->rate_hz) && log->rate_hz > 0 && log->count > 0 && log->n_runs >= 1);
    for (size_t i = 0; i < log->n_runs; i++) {
        const struct sr_run *run = &log->runs[i];
        CHECK(run->first >= next && run->count > 0 && run->first + run->count <= log->count);
        CHECK(isfinite(run->start_s) && run->start_s >= end_s);
        next = run->first + run->count;
        end_s = run->start_s + (double)(run->count - 1) / log->rate_hz;
    }
    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < log->count; i++)
            CHECK(isfinite(log->gyro_dps[axis][i]));
    check_slow(log->throttle, log->slow_count);
    for (size_t m = 0; m < log->n_motors; m++)
        check_slow(log->motor_rpm[m], log->slow_count);
    for (size_t i = 0; i < log->n_airborne; i++) {
        CHECK(log->airborne[i].from_s < log->airborne[i].to_s);
        CHECK(i == 0 || log->airborne[i].from_s >= log->airborne[i - 1].to_s);
    }
    for (size_t i = 0; i < log->n_notes; i++)
        CHECK(memchr(log->notes[i], '\0', SR_NOTE_MAX) != NULL && log->notes[i][0] != '\0');
    CHECK(log->quality.bad_rows + log->quality.backward_rows <= log->quality.rows);
}

/* No more than 1: a share, a fraction. */
static bool is_share(double x)
{
    return x >= 0 && x <= 1 + 1e-9;
}

static void check_score(const struct job *job)
{
    const struct sr_score *score = &job->score;

    CHECK(isfinite(score->wobble_px.value) && score->wobble_px.value >= 0);
    CHECK(score->wobble_px.low <= score->wobble_px.value * (1 + 1e-9));
    CHECK(score->wobble_px.high >= score->wobble_px.value * (1 - 1e-9));
    CHECK(is_share(score->steady_share));
    CHECK(job->n_trials <= SR_TRIALS_MAX);
}

static void score_log(struct sr_log *log)
{
    struct job job = {.log = *log};
    struct sr_rig rig;
    struct sr_error err = {.status = SR_OK};
    FILE *nothing = fopen("/dev/null", "wb");

    *log = (struct sr_log){0};
    CHECK(nothing != NULL);
    sr_rig_init(&rig);
    rig.mount.shore_a = 50;
    CHECK(sr_rig_finish(&rig, &err) == SR_OK);
    enum sr_status status = job_score(&job, &rig, SR_WINDOW_HANN, &err);
    if (status == SR_OK)
        status = job_explain(&job, &rig, &err);
    if (status == SR_OK) {
        check_score(&job);
        status = job_print(nothing, &job, &rig, &err);
    }
    /* The log itself was fine, so that only its content can be too little. */
    CHECK(status == SR_OK || status == SR_ERR_SHORT || status == SR_ERR_RATE || status == SR_ERR_DATA);
    CHECK(status == SR_OK || err.text[0] != '\0');
    fclose(nothing);
    job_release(&job);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *key = (const char *)data;
    const char *end = size > 0 ? memchr(key, '\n', size) : NULL;
    const size_t key_size = end != NULL ? (size_t)(end - key) : 0;
    const size_t skip = end != NULL ? key_size + 1 : 0;
    struct asked asked = {.score = false};
    struct sr_error plain_err, record_err;
    struct sr_log plain, record;
    size_t made;

    if (size == 0)
        return 0;
    choose(&asked, key, key_size);
    char *file = make_file(key + skip, size - skip, asked.copies, &made);
    const enum sr_status status = read_file(&plain, file, made, true, &asked, &plain_err);
    CHECK(read_file(&record, file, made, false, &asked, &record_err) == status);
    if (status == SR_OK) {
        const char *differs = log_difference(&plain, &record);
        if (differs != NULL)
            fprintf(stderr, "the two ways of reading differ in the %s\n", differs);
        CHECK(differs == NULL);
        check_log(&plain);
        if (asked.score && plain.count <= ROWS_MAX)
            score_log(&plain);
    } else {
        CHECK(plain_err.text[0] != '\0' && plain_err.status == status);
        CHECK(strcmp(plain_err.text, record_err.text) == 0 && plain_err.line == record_err.line);
        CHECK(plain.name == NULL && plain.gyro_dps[0] == NULL); /* untouched */
    }
    sr_log_release(&plain);
    sr_log_release(&record);
    free(file);
    return 0;
}
