/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/commands.h"

#include <errno.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "stillrow/present.h"

__attribute__((format(printf, 1, 0))) static void say(const char *format, va_list args)
{
    char text[1024];

    fflush(stdout);
    vsnprintf(text, sizeof text, format, args);
    fputs("stillrow: ", stderr);
    sr_print_safe(stderr, text);
    fputc('\n', stderr);
}

void complain(const char *format, ...)
{
    va_list args;

    va_start(args, format);
    say(format, args);
    va_end(args);
}

void complain_error(const struct sr_error *err)
{
    const char *text = err->text[0] != '\0' ? err->text : sr_status_text(err->status);

    /* A report that could not be written: output_close() says so, once, or keeps quiet if the reader left. */
    if (err->status == SR_ERR_WRITE && err->file[0] == '\0' && ferror(stdout))
        return;
    if (err->file[0] == '\0')
        complain("%s", text);
    else if (err->line == 0)
        complain("%s: %s", err->file, text);
    else
        complain("%s:%zu: %s", err->file, err->line, text);
}

int usage_hint(const char *verb)
{
    if (verb != NULL)
        fprintf(stderr, "Try 'stillrow %s --help'.\n", verb);
    else
        fputs("Try 'stillrow --help'.\n", stderr);
    return EXIT_USAGE;
}

/* Why stdout failed first; 0: it did not, or the reason was lost in a write of the C library's own. */
static int stdout_errno;

bool output_flush(void)
{
    if (fflush(stdout) != 0 && stdout_errno == 0)
        stdout_errno = errno;
    return !ferror(stdout);
}

/* Ask the pipe itself: the errno of the write that failed may be long gone. */
static bool reader_is_gone(void)
{
    struct pollfd fd = {.fd = STDOUT_FILENO, .events = POLLOUT};

    return poll(&fd, 1, 0) == 1 && (fd.revents & POLLERR) != 0;
}

int output_close(int status)
{
    bool failed = !output_flush() || stdout_errno != 0;
    int why = stdout_errno;
    bool quiet = failed && (why == EPIPE || reader_is_gone());
    if (fclose(stdout) != 0 && !failed) {
        failed = true;
        why = errno;
    }
    if (!failed)
        return status;
    /* stdout is closed: stderr is written without the flush that complain() does. */
    if (!quiet)
        fprintf(stderr, "stillrow: standard output: cannot write%s%s\n", why != 0 ? ": " : "",
                why != 0 ? strerror(why) : "");
    return status == EXIT_USAGE ? EXIT_USAGE : EXIT_FAILED;
}

/* Optimal string alignment distance (insert, delete, replace, swap neighbours); words of up to 31 bytes. */
static size_t distance(const char *a, const char *b)
{
    enum { MOST = 31 };
    size_t n = strlen(a), m = strlen(b), row[MOST + 1][MOST + 1];

    if (n > MOST || m > MOST)
        return MOST;
    for (size_t i = 0; i <= n; i++)
        row[i][0] = i;
    for (size_t j = 0; j <= m; j++)
        row[0][j] = j;
    for (size_t i = 1; i <= n; i++) {
        for (size_t j = 1; j <= m; j++) {
            size_t best = row[i - 1][j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
            if (row[i - 1][j] + 1 < best)
                best = row[i - 1][j] + 1;
            if (row[i][j - 1] + 1 < best)
                best = row[i][j - 1] + 1;
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] &&
                row[i - 2][j - 2] + 1 < best)
                best = row[i - 2][j - 2] + 1;
            row[i][j] = best;
        }
    }
    return row[n][m];
}

const char *nearest_word(const char *word, const char *const *words)
{
    const char *nearest = NULL;
    size_t least = strlen(word) < 4 ? 2 : 3; /* a word further away was something else */

    for (; *words != NULL; words++) {
        size_t d = distance(word, *words);
        if (d < least) {
            least = d;
            nearest = *words;
        }
    }
    return nearest;
}
