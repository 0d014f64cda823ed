/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/batch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "commands/commands.h"
#include "support/ordered.h"

/* A log under way. */
struct item {
    const char *path;
    enum sr_status status;
    struct flight flight; /* if status is SR_OK */
    struct sr_error err;
};

struct batch {
    char **paths;
    size_t count, next;
    struct flight_plan plan;
    struct item *item; /* [slots] */
    batch_fn *each;
    void *context;
    size_t given, failed;
    bool wrong; /* the command line is */
};

static bool take(void *context, size_t slot)
{
    struct batch *batch = context;

    if (batch->next == batch->count)
        return false;
    batch->item[slot] = (struct item){.path = batch->paths[batch->next++], .status = SR_ERR_MEMORY};
    return true;
}

static void work(void *context, size_t slot)
{
    const struct batch *batch = context;
    struct item *item = &batch->item[slot];

    item->status = flight_score(&item->flight, item->path, &batch->plan, &item->err);
}

static void release(struct item *item)
{
    if (item->status == SR_OK && item->path != NULL)
        flight_release(&item->flight);
    item->path = NULL;
}

/* false: there is no point in going on. */
static bool hand_on(struct batch *batch, struct item *item)
{
    const bool scored = item->status == SR_OK;
    struct sr_error *err = &item->err;
    enum sr_status status = item->status;

    if (scored)
        status = batch->each(batch->context, &item->flight, batch->given++ == 0, err);
    /* An option that no log can satisfy would only be said again for each. */
    batch->wrong = !scored && status == SR_ERR_ARGUMENT;
    if (status != SR_OK) {
        /* What cannot be asked, written or drawn is no fault of the log. */
        if (err->file[0] == '\0' && !batch->wrong && status != SR_ERR_WRITE && status != SR_ERR_PLOT)
            snprintf(err->file, sizeof err->file, "%s", item->path);
        complain_error(err);
        batch->failed++;
    }
    /* Without gnuplot the next log fares no better. */
    return output_flush() && !batch->wrong && status != SR_ERR_PLOT;
}

static bool give(void *context, size_t slot)
{
    struct batch *batch = context;
    const bool more = hand_on(batch, &batch->item[slot]);

    release(&batch->item[slot]);
    return more;
}

/* More than one operand that is no plain file? One that is missing is not read at all. */
static bool share_a_stream(char **paths, size_t count)
{
    size_t streams = 0;
    struct stat info;

    for (size_t i = 0; i < count; i++)
        streams += strcmp(paths[i], "-") == 0 || (stat(paths[i], &info) == 0 && !S_ISREG(info.st_mode));
    return streams > 1;
}

/* How many logs are read at once, of `count` >= 1 and with so many jobs. */
static size_t logs_at_once(char **paths, size_t count, size_t jobs)
{
    if (jobs <= 1 || share_a_stream(paths, count))
        return 1;
    return jobs < count ? jobs : count;
}

static bool run(struct batch *batch)
{
    const size_t jobs = batch->plan.log.jobs > 0 ? batch->plan.log.jobs : sr_ordered_threads();
    const size_t logs = logs_at_once(batch->paths, batch->count, jobs);
    const struct sr_ordered ordered = {
        .take = take, .work = work, .give = give, .context = batch, .slots = logs, .threads = logs};

    /* What is left over when there are fewer logs than jobs goes to reading each. */
    batch->plan.log.jobs = jobs > logs ? jobs / logs : 1;
    batch->plan.quiet = batch->plan.quiet || logs > 1;
    batch->item = calloc(logs, sizeof *batch->item);
    const bool ok = batch->item != NULL && sr_ordered_run(&ordered);
    for (size_t i = 0; batch->item != NULL && i < logs; i++)
        release(&batch->item[i]);
    free(batch->item);
    return ok;
}

int batch_run(char **paths, size_t count, const struct flight_plan *plan, batch_fn *each, void *context,
              size_t *failed)
{
    struct batch batch = {.paths = paths, .count = count, .plan = *plan, .each = each, .context = context};
    const bool ok = count == 0 || run(&batch);

    if (!ok)
        complain("%s", sr_status_text(SR_ERR_MEMORY));
    if (failed != NULL)
        *failed = batch.failed;
    if (batch.wrong)
        return EXIT_USAGE;
    return ok && batch.failed == 0 ? EXIT_DONE : EXIT_FAILED;
}
