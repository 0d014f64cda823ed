/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rows of a file, a block at a time, or several blocks side by side. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "log/reader.h"
#include "support/ordered.h"

#define STRETCH_BYTES                                                                                        \
    ((size_t)256 << 10) /* read at a time where several are under way: fits a core's cache */

enum sr_status sr_reader_no_memory(const struct sr_reader *reader)
{
    return sr_fail(reader->err, SR_ERR_MEMORY, reader->log.name, 0, "out of memory");
}

enum sr_status sr_reader_too_long(const struct sr_reader *reader)
{
    return sr_fail(reader->err, SR_ERR_FORMAT, reader->log.name, reader->line,
                   "a line of more than %zu bytes: this is no CSV log from here on", SR_BLOCK_BYTES);
}

/* Zeros behind the last row: what a card keeps of a recorder that lost power. */
static void drop_zeros(struct sr_reader *reader)
{
    while (reader->size > 0 && reader->block[reader->size - 1] == '\0')
        reader->size--;
}

/* The same while more may follow: one stays, or what stands before and after would become one number. */
static void squeeze_zeros(struct sr_reader *reader)
{
    while (reader->size > 1 && reader->block[reader->size - 1] == '\0' &&
           reader->block[reader->size - 2] == '\0')
        reader->size--;
}

enum sr_status sr_reader_fill(struct sr_reader *reader, size_t room, struct sr_error *err)
{
    while (reader->size < room && !reader->ended) {
        errno = 0;
        const size_t got = fread(reader->block + reader->size, 1, room - reader->size, reader->stream);
        reader->size += got;
        reader->done += got;
        if (ferror(reader->stream))
            return sr_fail(err, SR_ERR_READ, reader->log.name, 0, "cannot read: %s",
                           strerror(errno != 0 ? errno : EIO));
        reader->ended = got == 0 || feof(reader->stream);
    }
    if (reader->ended)
        drop_zeros(reader);
    if (reader->options->progress != NULL)
        reader->options->progress(reader->options->progress_context, reader->done, reader->total);
    return SR_OK;
}

void sr_reader_consume(struct sr_reader *reader, size_t used)
{
    memmove(reader->block, reader->block + used, reader->size - used);
    reader->size -= used;
}

/* The rows that are whole in the block. */
static enum sr_status read_block(struct sr_reader *reader)
{
    size_t used;

    reader->quoted =
        reader->quoted || !reader->options->plain_path || memchr(reader->block, '"', reader->size) != NULL;
    if (!sr_rows_read(&reader->rows, &reader->layout, reader->quoted ? &reader->csv : NULL, reader->block,
                      reader->size, reader->ended, 0, &used))
        return sr_reader_no_memory(reader);
    const enum sr_status status =
        sr_store_add(&reader->store, &reader->rows, reader->line, reader->log.name, reader->err);
    if (status != SR_OK)
        return status;
    reader->line += reader->rows.lines;
    sr_reader_consume(reader, used);
    if (!reader->ended)
        squeeze_zeros(reader);
    return reader->size >= SR_BLOCK_BYTES ? sr_reader_too_long(reader) : SR_OK;
}

/* ---- side by side ---------------------------------------------------------- */

/* Whole lines on their way. */
struct stretch {
    char *text; /* [2 * SR_BLOCK_BYTES] as the reader's block, which it changes places with */
    size_t size;
    struct sr_rows rows;
    bool ok;
};

struct side {
    struct sr_reader *reader;
    struct stretch *stretch; /* [slots] */
    size_t seen;             /* [bytes] of the block without a quote or a line end */
    enum sr_status took, gave;
    struct sr_error err; /* of taking: what was taken before may fail yet, and comes first */
};

static void swap_texts(struct sr_reader *reader, struct stretch *stretch)
{
    char *text = reader->block;

    reader->block = stretch->text;
    stretch->text = text;
}

/*
 * The next whole lines, which are more than a stretch where the head of the file is still
 * in the block. What is not plain (a quote, a line longer than a stretch, the
 * end of the file) is left in the block for read_block().
 */
static bool take(void *context, size_t slot)
{
    struct side *side = context;
    struct sr_reader *reader = side->reader;
    struct stretch *stretch = &side->stretch[slot];
    const size_t seen = side->seen;

    /* A slot keeps its text, and mostly its thread: the text stays in that processor's cache. */
    if (reader->size < STRETCH_BYTES) {
        memcpy(stretch->text, reader->block, reader->size);
        swap_texts(reader, stretch);
    }
    side->took = sr_reader_fill(reader, STRETCH_BYTES, &side->err);
    if (side->took != SR_OK || reader->ended ||
        memchr(reader->block + seen, '"', reader->size - seen) != NULL)
        return false;
    size_t size = reader->size;
    while (size > seen && reader->block[size - 1] != reader->layout.line_end)
        size--;
    if (size == seen)
        return false;
    swap_texts(reader, stretch);
    stretch->size = size;
    reader->size -= size;
    memcpy(reader->block, stretch->text + size, reader->size);
    side->seen = reader->size;
    return true;
}

static void work(void *context, size_t slot)
{
    const struct side *side = context;
    struct stretch *stretch = &side->stretch[slot];
    const locale_t before = uselocale(side->reader->locale);
    size_t used;

    stretch->ok = sr_rows_read(&stretch->rows, &side->reader->layout, NULL, stretch->text, stretch->size,
                               false, 0, &used);
    uselocale(before);
}

static bool give(void *context, size_t slot)
{
    struct side *side = context;
    struct sr_reader *reader = side->reader;
    const struct stretch *stretch = &side->stretch[slot];

    side->gave = stretch->ok ? sr_store_add(&reader->store, &stretch->rows, reader->line, reader->log.name,
                                            reader->err)
                             : sr_reader_no_memory(reader);
    reader->line += stretch->rows.lines;
    return side->gave == SR_OK;
}

/* As many rows as are plain. The same stretches for any number of threads. */
static enum sr_status read_side_by_side(struct sr_reader *reader)
{
    const size_t threads = reader->log.jobs;
    const size_t slots = threads > 1 ? 2 * threads : 1;
    struct side side = {.reader = reader, .stretch = calloc(slots, sizeof *side.stretch)};
    const struct sr_ordered ordered = {
        .take = take, .work = work, .give = give, .context = &side, .slots = slots, .threads = threads};
    bool ok = side.stretch != NULL;

    for (size_t i = 0; ok && i < slots; i++)
        ok = (side.stretch[i].text = malloc(2 * SR_BLOCK_BYTES)) != NULL;
    ok = ok && sr_ordered_run(&ordered);
    for (size_t i = 0; side.stretch != NULL && i < slots; i++) {
        free(side.stretch[i].text);
        sr_rows_release(&side.stretch[i].rows);
    }
    free(side.stretch);
    if (!ok)
        return sr_reader_no_memory(reader);
    if (side.gave == SR_OK && side.took != SR_OK && reader->err != NULL)
        *reader->err = side.err;
    return side.gave != SR_OK ? side.gave : side.took;
}

enum sr_status sr_reader_body(struct sr_reader *reader)
{
    enum sr_status status = SR_OK;

    if (!reader->ended && reader->options->plain_path)
        status = read_side_by_side(reader);
    if (status == SR_OK)
        status = read_block(reader);
    while (status == SR_OK && !reader->ended) {
        status = sr_reader_fill(reader, 2 * SR_BLOCK_BYTES, reader->err);
        if (status == SR_OK)
            status = read_block(reader);
    }
    return status != SR_OK ? status : sr_store_finish(&reader->store, reader->log.name, reader->err);
}
