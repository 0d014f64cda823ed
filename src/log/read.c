/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "log/airborne.h"
#include "log/note.h"
#include "log/quality.h"
#include "log/reader.h"
#include "log/timebase.h"
#include "stillrow/log.h"
#include "support/ordered.h"

#define BINARY_LOOK 65536 /* bytes that are looked at for zeros */

static enum sr_status check_options(const struct sr_log_options *options, struct sr_error *err)
{
    if (options->time_unit != NULL && sr_unit_seconds(options->time_unit) <= 0.0)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "time unit '%s' is none of ns, us, ms, s",
                       options->time_unit);
    if (options->rate_unit != NULL && strcmp(options->rate_unit, "deg/s") != 0 &&
        strcmp(options->rate_unit, "rad/s") != 0)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "rate unit '%s' is neither deg/s nor rad/s",
                       options->rate_unit);
    if (options->sample_rate_hz != 0.0 &&
        !(options->sample_rate_hz >= SR_RATE_LOW_HZ && options->sample_rate_hz <= SR_RATE_HIGH_HZ))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "sample rate %g Hz is outside %g to %g",
                       options->sample_rate_hz, SR_RATE_LOW_HZ, SR_RATE_HIGH_HZ);
    if (isinf(options->from_s) || isinf(options->to_s) || options->from_s < 0.0 || options->to_s <= 0.0 ||
        options->from_s >= options->to_s)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "from %g s to %g s is no span of a log",
                       options->from_s, options->to_s);
    if (!(options->pole_pairs >= 0.0 && options->pole_pairs <= 100.0))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "%g pole pairs are outside 0 to 100",
                       options->pole_pairs);
    if (!(options->speed_scale >= 0.0 && options->speed_scale <= 1e6))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "speed scale %g is outside 0 to 1e6",
                       options->speed_scale);
    if (!(options->idle_throttle >= 0.0 && options->idle_throttle < 1.0))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "idle throttle %g is outside 0 to 1",
                       options->idle_throttle);
    return SR_OK;
}

/* Is it text at all? A mark of byte order is dropped. */
static enum sr_status check_text(struct sr_reader *reader)
{
    const char *name = reader->log.name;
    const char *text = reader->block;
    const size_t look = reader->size < BINARY_LOOK ? reader->size : BINARY_LOOK;

    if (reader->size == 0)
        return sr_fail(reader->err, SR_ERR_FORMAT, name, 0, "%s",
                       reader->done == 0 ? "the file is empty" : "the file holds nothing but zero bytes");
    if (reader->size >= 2 && (memcmp(text, "\xFF\xFE", 2) == 0 || memcmp(text, "\xFE\xFF", 2) == 0))
        return sr_fail(reader->err, SR_ERR_FORMAT, name, 0, "the text is UTF-16: save it as UTF-8 CSV");
    if (memchr(text, '\0', look) != NULL)
        return sr_fail(
            reader->err, SR_ERR_FORMAT, name, 0,
            "a binary file, not text: export the flight as CSV with the recorder's own tool first");
    if (reader->size >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0)
        sr_reader_consume(reader, 3);
    return SR_OK;
}

/* Room for the rows that a file of known size must have; rows get longer as times get more digits. */
static bool reserve(struct sr_reader *reader)
{
    const double row_bytes = reader->layout.row_bytes;

    if (reader->total <= reader->size || !(row_bytes >= 1.0))
        return true;
    return sr_store_reserve(&reader->store, (size_t)(1.02 * (double)reader->total / row_bytes) + 1024);
}

/* Understand the head of the file: header, columns, units. */
static enum sr_status read_head(struct sr_reader *reader)
{
    const struct sr_log_options *options = reader->options;
    const bool counted = options->sample_rate_hz > 0.0;
    double seconds;

    enum sr_status status = sr_reader_fill(reader, SR_BLOCK_BYTES, reader->err);
    if (status == SR_OK)
        status = check_text(reader);
    if (status != SR_OK)
        return status;
    const struct sr_head head = {.file = reader->log.name,
                                 .text = reader->block,
                                 .size = reader->size,
                                 .last = reader->ended,
                                 .plain = reader->options->plain_path &&
                                          memchr(reader->block, '"', reader->size) == NULL,
                                 .line_end = memchr(reader->block, '\n', reader->size) == NULL &&
                                                     memchr(reader->block, '\r', reader->size) != NULL
                                                 ? '\r'
                                                 : '\n'};
    if (!reader->ended && memchr(reader->block, head.line_end, reader->size) == NULL)
        return sr_reader_too_long(reader);
    status = sr_header_find(&reader->header, &head, &reader->spec, counted, reader->err);
    if (status == SR_OK)
        status = sr_layout_make(&reader->layout, &reader->log, &head, &reader->header, counted, reader->err);
    if (status == SR_OK)
        status = sr_layout_probe(&reader->layout, &reader->log, &head, &reader->header, options->time_unit,
                                 &seconds, reader->err);
    if (status != SR_OK)
        return status;
    if (!sr_csv_init(&reader->csv, reader->layout.delimiter, reader->layout.line_end))
        return sr_reader_no_memory(reader);
    reader->csv_made = true;
    sr_store_init(&reader->store, &reader->layout, counted ? 1.0 / options->sample_rate_hz : seconds);
    sr_reader_consume(reader, reader->layout.start);
    reader->line = reader->layout.line;
    return reserve(reader) ? SR_OK : sr_reader_no_memory(reader);
}

/* Hours, minutes and seconds with ':' between them, with a date before or not. */
static bool is_clock_text(const char *text)
{
    size_t digits = 0, colons = 0;

    for (; *text != '\0'; text++) {
        colons += *text == ':' && digits > 0;
        digits += *text >= '0' && *text <= '9';
    }
    return colons > 0 && digits >= 3;
}

/* Enough good rows? */
static enum sr_status check_rows(struct sr_reader *reader)
{
    const struct sr_store *store = &reader->store;
    const char *name = reader->log.name;

    if (store->rows == 0)
        return sr_fail(reader->err, SR_ERR_FORMAT, name, reader->header.line,
                       "no rows of data under the header");
    if (store->bad * 2 > store->rows && is_clock_text(store->bad_text))
        return sr_fail(
            reader->err, SR_ERR_FORMAT, name, store->first_bad_line,
            "%llu of %llu rows are bad; the time of the first one, '%s', is a clock's text and no number: "
            "give --sample-rate HZ, so that rows are counted, and the rates with --columns if need be",
            (unsigned long long)store->bad, (unsigned long long)store->rows, store->bad_text);
    if (store->bad * 2 > store->rows)
        return sr_fail(reader->err, SR_ERR_FORMAT, name, store->first_bad_line,
                       "%llu of %llu rows are bad; the first one %s%s%s", (unsigned long long)store->bad,
                       (unsigned long long)store->rows,
                       store->bad_text[0] != '\0' ? "has no number in '" : "has too few fields",
                       store->bad_text, store->bad_text[0] != '\0' ? "'" : "");
    return SR_OK;
}

/* What was dropped goes into the notes. */
static enum sr_status note_drops(struct sr_reader *reader)
{
    const struct sr_store *store = &reader->store;
    struct sr_log *log = &reader->log;
    bool ok = true;

    log->quality.rows = store->rows;
    log->quality.bad_rows = store->bad;
    log->quality.first_bad_line = store->first_bad_line;
    log->columns.decimal_comma = store->comma_seen;
    if (store->bad > 0)
        ok = sr_log_note(log, "%llu bad row%s dropped, %sin line %zu%s%s%s", (unsigned long long)store->bad,
                         store->bad == 1 ? " is" : "s are", store->bad == 1 ? "" : "the first ",
                         store->first_bad_line, store->bad_text[0] != '\0' ? " ('" : " (too few fields)",
                         store->bad_text, store->bad_text[0] != '\0' ? "')" : "");
    if (ok && store->without > 0)
        ok = sr_log_note(log, "%llu row%s without rates %s left out", (unsigned long long)store->without,
                         store->without == 1 ? "" : "s", store->without == 1 ? "is" : "are");
    if (ok && store->backward_line > 0)
        ok = sr_log_note(log, "the time goes back (%sin line %zu): %llu row%s dropped",
                         store->backward == 1 ? "" : "first ", store->backward_line,
                         (unsigned long long)store->backward, store->backward == 1 ? " is" : "s are");
    if (ok && store->wraps > 0)
        ok = sr_log_note(log,
                         "the time stamp is a 32-bit counter that wrapped round: it is taken on from there");
    if (ok && reader->options->sample_rate_hz > 0.0)
        ok = sr_log_note(log, "rows are counted at the %g Hz given: a lost row would not be seen",
                         reader->options->sample_rate_hz);
    return ok ? SR_OK : sr_reader_no_memory(reader);
}

/* What is asked of the samples as they were recorded: things that do not touch each other. */
struct asked {
    struct sr_reader *reader;
    struct sr_sight sight;
    struct sr_evenness evenness;
};

/* The fingerprint takes longest: it comes first. */
static void ask(void *context, size_t item, size_t hand)
{
    struct asked *asked = context;
    struct sr_reader *reader = asked->reader;
    const locale_t before = uselocale(reader->locale);

    (void)hand;
    if (item == 0)
        sr_log_fingerprint(&reader->log, &reader->store);
    else if (item <= SR_EVENNESS_PARTS)
        sr_evenness_look(&asked->evenness, &reader->log, &reader->store, item - 1);
    else
        sr_quality_look(&asked->sight, &reader->store, item - 1 - SR_EVENNESS_PARTS);
    uselocale(before);
}

/* Ask it, and put the samples on the uniform base. */
static enum sr_status ask_and_resample(struct sr_reader *reader)
{
    struct asked asked = {.reader = reader};
    struct sr_log *log = &reader->log;
    enum sr_status status = SR_OK;

    if (!sr_evenness_init(&asked.evenness, log, &reader->store))
        status = sr_reader_no_memory(reader);
    if (status == SR_OK) {
        sr_each(ask, &asked, 1 + SR_EVENNESS_PARTS + SR_SIGHT_PARTS, log->jobs);
        status = sr_quality_clipping(log, &reader->store, &asked.sight, reader->err);
    }
    if (status == SR_OK)
        status = sr_timebase_resample(log, &reader->store, &asked.evenness, reader->err);
    sr_evenness_release(&asked.evenness);
    return status;
}

/* From kept rows to the finished log. */
static enum sr_status finish(struct sr_reader *reader)
{
    struct sr_log *log = &reader->log;
    struct sr_store *store = &reader->store;
    struct sr_error *err = reader->err;
    enum sr_status status = check_rows(reader);

    if (status == SR_OK)
        status = note_drops(reader);
    if (status == SR_OK)
        status = sr_timebase_make(log, store, err);
    if (status == SR_OK)
        status = sr_rates_scale(log, store, reader->options->rate_unit, err);
    if (status == SR_OK)
        status = ask_and_resample(reader);
    if (status == SR_OK)
        status = sr_channels_make(log, &store->slow, reader->options, err);
    if (status == SR_OK)
        status = sr_airborne_find(log, reader->options, err);
    if (status == SR_OK)
        status = sr_channels_check(log, err);
    if (status == SR_OK)
        status = sr_quality_low_pass(log, err);
    return status;
}

static size_t threads_of(const struct sr_log_options *options)
{
    const size_t jobs = options->jobs > 0 ? options->jobs : sr_ordered_threads();

    return jobs < SR_JOBS_MAX ? jobs : SR_JOBS_MAX;
}

static enum sr_status read_all(struct sr_reader *reader, const char *name)
{
    struct stat info;
    enum sr_status status;

    reader->log.jobs = threads_of(reader->options);
    reader->log.name = strdup(name);
    reader->block = malloc(2 * SR_BLOCK_BYTES);
    if (reader->log.name == NULL || reader->block == NULL)
        return sr_reader_no_memory(reader);
    if (fstat(fileno(reader->stream), &info) == 0 && S_ISREG(info.st_mode))
        reader->total = (uint64_t)info.st_size;
    status = sr_spec_read(&reader->spec, reader->options->columns, reader->err);
    if (status == SR_OK)
        status = read_head(reader);
    if (status == SR_OK)
        status = sr_reader_body(reader);
    return status == SR_OK ? finish(reader) : status;
}

enum sr_status sr_log_read_stream(struct sr_log *log, FILE *stream, const char *name,
                                  const struct sr_log_options *options, struct sr_error *err)
{
    struct sr_log_options defaults;
    sr_log_options_init(&defaults);
    struct sr_reader reader = {
        .stream = stream, .options = options != NULL ? options : &defaults, .err = err, .line = 1};
    enum sr_status status = check_options(reader.options, err);

    if (status != SR_OK)
        return status;
    /* numbers are read, and messages written, with a point, whatever the program's locale */
    const locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    if (plain == (locale_t)0)
        return sr_fail(err, SR_ERR_MEMORY, name, 0, "out of memory");
    const locale_t before = uselocale(plain);
    reader.locale = plain;

    status = read_all(&reader, name);

    uselocale(before);
    freelocale(plain);
    if (reader.csv_made)
        sr_csv_release(&reader.csv);
    sr_rows_release(&reader.rows);
    sr_store_release(&reader.store);
    sr_header_release(&reader.header);
    free(reader.block);
    if (status == SR_OK)
        *log = reader.log;
    else
        sr_log_release(&reader.log);
    return status;
}

enum sr_status sr_log_read(struct sr_log *log, const char *path, const struct sr_log_options *options,
                           struct sr_error *err)
{
    struct stat info;

    if (strcmp(path, "-") == 0)
        return sr_log_read_stream(log, stdin, path, options, err);
    if (stat(path, &info) == 0 && S_ISDIR(info.st_mode))
        return sr_fail(err, SR_ERR_OPEN, path, 0, "is a directory: name the CSV files in it");
    FILE *stream = fopen(path, "rb");
    if (stream == NULL)
        return sr_fail(err, SR_ERR_OPEN, path, 0, "cannot open: %s", strerror(errno));
    const enum sr_status status = sr_log_read_stream(log, stream, path, options, err);
    fclose(stream);
    return status;
}
