/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/batch.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

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

static bool give(void *context, size_t slot)
{
    struct batch *batch = context;
    struct item *item = &batch->item[slot];
    const bool more = batch->each(batch->context, item->status == SR_OK ? &item->flight : NULL, &item->err);

    release(item);
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

bool batch_score(char **paths, size_t count, const struct flight_plan *plan, batch_fn *each, void *context)
{
    const size_t jobs = plan->log.jobs > 0 ? plan->log.jobs : sr_ordered_threads();
    struct batch batch = {.paths = paths, .count = count, .plan = *plan, .each = each, .context = context};

    if (count == 0)
        return true;
    const size_t logs = logs_at_once(paths, count, jobs);
    const struct sr_ordered ordered = {
        .take = take, .work = work, .give = give, .context = &batch, .slots = logs, .threads = logs};
    /* What is left over when there are fewer logs than jobs goes to reading each. */
    batch.plan.log.jobs = jobs > logs ? jobs / logs : 1;
    batch.plan.quiet = batch.plan.quiet || logs > 1;
    batch.item = calloc(logs, sizeof *batch.item);
    const bool ok = batch.item != NULL && sr_ordered_run(&ordered);
    for (size_t i = 0; batch.item != NULL && i < logs; i++)
        release(&batch.item[i]);
    free(batch.item);
    return ok;
}
