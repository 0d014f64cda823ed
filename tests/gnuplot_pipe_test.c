/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The pipe to gnuplot, with stand-ins for gnuplot that fail in every way they can. */
#include <errno.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "present/gnuplot_pipe.h"
#include "support/page.h"
#include "support/room.h"

/* A program in the test's own directory. */
static void write_program(const char *name, const char *body)
{
    FILE *out = fopen(name, "w");

    assert_non_null(out);
    fprintf(out, "#!/bin/sh\n%s\n", body);
    assert_int_equal(fclose(out), 0);
    assert_int_equal(chmod(name, 0755), 0);
}

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Run the stand-in on `script`; it is to fail with SR_ERR_PLOT and a text that says so. */
static void expect_failure(const char *body, const char *script, size_t length, double timeout_s,
                           const char *says)
{
    struct sr_bytes picture = {(char *)"untouched", 9};
    struct sr_error err = {0};

    write_program("fake", body);
    assert_int_equal(sr_gnuplot_run("./fake", script, length, timeout_s, &picture, &err), SR_ERR_PLOT);
    assert_int_equal(err.status, SR_ERR_PLOT);
    assert_says(err.text, says);
    assert_string_equal(picture.data, "untouched");
}

static void missing_program_says_what_to_install(void **state)
{
    struct sr_bytes picture = {0};
    struct sr_error err = {0};

    (void)state;
    assert_int_equal(sr_gnuplot_run("./no-such-program", "", 0, 5, &picture, &err), SR_ERR_PLOT);
    assert_string_equal(err.text,
                        "./no-such-program is not installed or not on PATH: install the package gnuplot");
    char *before = strdup(getenv("PATH"));
    assert_non_null(before);
    assert_int_equal(setenv("PATH", "/nowhere", 1), 0);
    enum sr_status status = sr_gnuplot_run(NULL, "", 0, 5, &picture, &err);
    assert_int_equal(setenv("PATH", before, 1), 0);
    free(before);
    assert_int_equal(status, SR_ERR_PLOT);
    assert_string_equal(err.text, "gnuplot is not installed or not on PATH: install the package gnuplot");
    /* Where the start itself cannot report it, the child ends with 127 (POSIX, posix_spawn()). */
    write_program("gnuplot-of-ours", "exit 127");
    assert_non_null(before = strdup(getenv("PATH")));
    assert_int_equal(setenv("PATH", ".:/usr/bin:/bin", 1), 0);
    status = sr_gnuplot_run("gnuplot-of-ours", "", 0, 5, &picture, &err);
    assert_int_equal(setenv("PATH", before, 1), 0);
    free(before);
    assert_int_equal(status, SR_ERR_PLOT);
    assert_says(err.text, "gnuplot-of-ours is not installed");
}

static void program_that_cannot_run_says_why(void **state)
{
    struct sr_bytes picture = {0};
    struct sr_error err = {0};

    (void)state;
    write_program("fake", "exit 0");
    assert_int_equal(chmod("fake", 0644), 0);
    assert_int_equal(sr_gnuplot_run("./fake", "", 0, 5, &picture, &err), SR_ERR_PLOT);
    assert_says(err.text, "cannot start ./fake: ");
}

static void failure_carries_first_complaint(void **state)
{
    (void)state;
    /* As gnuplot does it: a copy of the line, a caret, then what is wrong; controls must not reach a
     * terminal. */
    expect_failure("cat >/dev/null; printf '\\n     ^\\n   line 3: \\033[31mundefined variable: x\\nmore\\n' "
                   ">&2; exit 1",
                   "plot x", 6, 5, "./fake failed with exit status 1: line 3: [31mundefined variable: x");
    expect_failure("exit 7", "plot", 4, 5, "failed with exit status 7");
}

static void death_by_signal_is_told(void **state)
{
    (void)state;
    expect_failure("echo half a picture; kill -9 $$", "plot", 4, 5, "was killed by signal 9");
}

static void silence_is_no_picture(void **state)
{
    (void)state;
    expect_failure("cat >/dev/null", "plot", 4, 5, "drew nothing");
    expect_failure("cat >/dev/null; echo 'no fonts' >&2", "plot", 4, 5, "drew nothing: no fonts");
}

/* The process of that number is gone, or is soon. */
static void assert_gone(const char *file)
{
    FILE *in = fopen(file, "r");
    long pid = 0;

    assert_non_null(in);
    assert_int_equal(fscanf(in, "%ld", &pid), 1);
    fclose(in);
    assert_true(pid > 1);
    for (int i = 0; i < 200 && kill((pid_t)pid, 0) == 0; i++)
        nanosleep(&(struct timespec){0, 10000000}, NULL);
    if (kill((pid_t)pid, 0) == 0) {
        /* An orphan that nobody reaps is dead all the same. */
        char path[64], text[256] = "";
        snprintf(path, sizeof path, "/proc/%ld/stat", pid);
        FILE *stat = fopen(path, "r");
        if (stat != NULL) {
            size_t n = fread(text, 1, sizeof text - 1, stat);
            text[n] = '\0';
            fclose(stat);
        }
        assert_says(text, ") Z ");
    }
}

static void hang_is_ended_with_all_it_started(void **state)
{
    double start = now_s();

    (void)state;
    expect_failure("echo $$ >parent; sleep 600 & echo $! >child; wait", "plot", 4, 0.4,
                   "did not finish within 0.4 s and was stopped");
    assert_true(now_s() - start < 5);
    assert_gone("parent");
    assert_gone("child");
    /* It closes its output, and goes on. */
    start = now_s();
    expect_failure("exec >&- 2>&-; sleep 600", "plot", 4, 0.4, "did not finish within 0.4 s");
    assert_true(now_s() - start < 5);
    /* It never reads, and the script is larger than a pipe. */
    char *script = calloc(1, 1 << 20);
    assert_non_null(script);
    start = now_s();
    expect_failure("sleep 600", script, 1 << 20, 0.4, "did not finish within 0.4 s");
    assert_true(now_s() - start < 5);
    free(script);
}

static volatile sig_atomic_t pipes_seen;
static void on_pipe(int number)
{
    (void)number;
    pipes_seen = pipes_seen + 1;
}

static void broken_pipe_raises_no_signal(void **state)
{
    struct sigaction action = {0}, before;
    sigset_t pending, mask;
    char *script = calloc(1, 1 << 20);

    (void)state;
    assert_non_null(script);
    action.sa_handler = on_pipe;
    assert_int_equal(sigaction(SIGPIPE, &action, &before), 0);
    expect_failure("exec <&-; echo gone >&2; exit 3", script, 1 << 20, 5, "failed with exit status 3: gone");
    assert_int_equal(pipes_seen, 0);
    assert_int_equal(sigpending(&pending), 0);
    assert_int_equal(sigismember(&pending, SIGPIPE), 0);
    assert_int_equal(sigprocmask(SIG_SETMASK, NULL, &mask), 0);
    assert_int_equal(sigismember(&mask, SIGPIPE), 0);
    assert_int_equal(sigaction(SIGPIPE, &before, NULL), 0);
    free(script);
}

static void much_complaint_does_not_block(void **state)
{
    (void)state;
    expect_failure("cat >/dev/null; echo first >&2; head -c 1000000 /dev/zero | tr '\\0' x >&2; exit 1",
                   "plot", 4, 20, "failed with exit status 1: first");
}

static void endless_output_is_cut_off(void **state)
{
    (void)state;
    expect_failure("yes", "plot", 4, 0.5, "");
}

/* Both directions at once, larger than any pipe holds. */
static void large_script_and_picture_pass_whole(void **state)
{
    const size_t length = 3000000;
    char *script = malloc(length);
    struct sr_bytes picture = {0};
    uint32_t x = 1;

    (void)state;
    assert_non_null(script);
    for (size_t i = 0; i < length; i++) {
        x = x * 1664525U + 1013904223U;
        script[i] = (char)(x >> 24);
    }
    write_program("fake", "cat");
    assert_int_equal(sr_gnuplot_run("./fake", script, length, 60, &picture, NULL), SR_OK);
    assert_int_equal(picture.length, length);
    assert_memory_equal(picture.data, script, length);
    free(picture.data);
    free(script);
}

static void child_starts_with_clean_signals(void **state)
{
    struct sr_bytes picture = {0};
    sigset_t block, before;

    (void)state;
    sigemptyset(&block);
    sigaddset(&block, SIGTERM);
    assert_int_equal(sigprocmask(SIG_BLOCK, &block, &before), 0);
    void (*handler)(int) = signal(SIGPIPE, SIG_IGN);
    write_program("fake", "cat >/dev/null; grep -E '^Sig(Blk|Ign):' /proc/self/status");
    enum sr_status status = sr_gnuplot_run("./fake", "", 0, 5, &picture, NULL);
    signal(SIGPIPE, handler);
    assert_int_equal(sigprocmask(SIG_SETMASK, &before, NULL), 0);
    if (access("/proc/self/status", R_OK) != 0) {
        print_message("SKIPPED: no /proc here\n");
        skip();
    }
    assert_int_equal(status, SR_OK);
    assert_says(picture.data, "SigBlk:\t0000000000000000");
    unsigned long ignored = strtoul(strstr(picture.data, "SigIgn:") + 7, NULL, 16);
    assert_int_equal(ignored >> (SIGPIPE - 1) & 1, 0);
    free(picture.data);
}

/* The caller may have closed any of 0, 1 and 2: the pipes must not land there and be lost in the child. */
static void closed_standard_streams_do_no_harm(void **state)
{
    struct sr_bytes picture = {0};
    int saved[3];

    (void)state;
    write_program("fake", "cat");
    for (int i = 0; i < 3; i++) {
        saved[i] = dup(i);
        assert_true(saved[i] > 2);
    }
    for (int i = 0; i < 3; i++)
        close(i);
    enum sr_status status = sr_gnuplot_run("./fake", "through", 7, 10, &picture, NULL);
    for (int i = 0; i < 3; i++) {
        dup2(saved[i], i);
        close(saved[i]);
    }
    assert_int_equal(status, SR_OK);
    assert_string_equal(picture.data, "through");
    free(picture.data);
}

static size_t open_descriptors(void)
{
    size_t n = 0;
    for (int fd = 0; fd < 256; fd++)
        n += fcntl(fd, F_GETFD) >= 0;
    return n;
}

static void no_descriptor_is_left(void **state)
{
    struct sr_bytes picture = {0};
    size_t before = open_descriptors();

    (void)state;
    expect_failure("exit 1", "plot", 4, 5, "failed");
    expect_failure("sleep 600", "plot", 4, 0.2, "did not finish");
    assert_int_equal(sr_gnuplot_run("./none", "", 0, 5, &picture, NULL), SR_ERR_PLOT);
    assert_int_equal(open_descriptors(), before);
}

/* The real one: what it says about a bad script comes back. */
static void gnuplot_itself_complains_and_draws(void **state)
{
    const char bad[] = "set terminal dumb\nplot $nothing\n", good[] = "set terminal dumb\nplot x\n";
    struct sr_bytes picture = {0};
    struct sr_error err = {0};

    (void)state;
    assert_int_equal(sr_gnuplot_run(NULL, bad, sizeof bad - 1, 30, &picture, &err), SR_ERR_PLOT);
    assert_says(err.text, "gnuplot failed with exit status");
    assert_says(err.text, "nothing");
    assert_int_equal(sr_gnuplot_run(NULL, good, sizeof good - 1, 30, &picture, &err), SR_OK);
    assert_true(picture.length > 500);
    free(picture.data);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(missing_program_says_what_to_install),
        cmocka_unit_test(program_that_cannot_run_says_why),
        cmocka_unit_test(failure_carries_first_complaint),
        cmocka_unit_test(death_by_signal_is_told),
        cmocka_unit_test(silence_is_no_picture),
        cmocka_unit_test(hang_is_ended_with_all_it_started),
        cmocka_unit_test(broken_pipe_raises_no_signal),
        cmocka_unit_test(much_complaint_does_not_block),
        cmocka_unit_test(endless_output_is_cut_off),
        cmocka_unit_test(large_script_and_picture_pass_whole),
        cmocka_unit_test(child_starts_with_clean_signals),
        cmocka_unit_test(closed_standard_streams_do_no_harm),
        cmocka_unit_test(no_descriptor_is_left),
        cmocka_unit_test(gnuplot_itself_complains_and_draws),
    };
    return cmocka_run_group_tests(tests, room_enter, room_leave);
}
