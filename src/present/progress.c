/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include <time.h>
#include <unistd.h>

enum { WIPE = 60 };

static double now_s(void)
{
    struct timespec now;

    if (clock_gettime(CLOCK_MONOTONIC, &now) != 0)
        return 0.0;
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

void sr_progress_start(struct sr_progress *progress, FILE *out, const char *what)
{
    const int fd = out != NULL ? fileno(out) : -1;

    *progress = (struct sr_progress){.what = what};
    if (fd < 0 || isatty(fd) != 1)
        return;
    progress->out = out;
    progress->started_s = now_s();
}

void sr_progress_step(void *context, uint64_t done, uint64_t total)
{
    struct sr_progress *progress = context;
    const double now = now_s();
    char line[WIPE + 1];

    if (progress->out == NULL || now - progress->started_s < 1.0)
        return;
    /* Four lines a second are enough to see that it moves. */
    if (progress->shown_s > 0.0 && now - progress->shown_s < 0.25)
        return;
    progress->shown_s = now;
    if (total > 0)
        snprintf(line, sizeof line, "%3.0f %% %.48s", 100.0 * (double)done / (double)total, progress->what);
    else
        snprintf(line, sizeof line, "%.0f MB %.44s", 1e-6 * (double)done, progress->what);
    fputs("\rreading: ", progress->out);
    sr_print_safe(progress->out, line);
    fflush(progress->out);
}

void sr_progress_end(struct sr_progress *progress)
{
    if (progress->out != NULL && progress->shown_s > 0.0) {
        fprintf(progress->out, "\r%*s\r", WIPE + 9, "");
        fflush(progress->out);
    }
    progress->out = NULL;
}
