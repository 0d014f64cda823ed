/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Threads of one program at one ledger: they take turns like programs do, also where the system knows no
 * locks of open files. For that, fcntl() is this file's own and says so when asked to.
 */
#ifdef __linux__
#define _GNU_SOURCE /* syscall(), F_OFD_SETLK */
#endif
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <sys/wait.h>
#include <time.h>
#ifdef __linux__
#include <sys/syscall.h>
#endif

#include "ledger/private.h"
#include "support/ledger_file.h"

enum { THREADS = 4, FLIGHTS = 40 };

#if defined __linux__ && defined SYS_fcntl && defined F_OFD_SETLK
#define OWN_FCNTL 1
static bool without_file_locks; /* set while no thread runs */
static _Atomic int refused;

int fcntl(int fd, int command, ...)
{
    va_list arguments;
    va_start(arguments, command);
    void *argument = va_arg(arguments, void *);
    va_end(arguments);
    if (without_file_locks && command == F_OFD_SETLK) {
        refused++;
        errno = EINVAL;
        return -1;
    }
    return (int)syscall(SYS_fcntl, fd, command, argument);
}
#endif

struct writer {
    pthread_t thread;
    unsigned number;
    size_t added, failed;
    struct sr_error err;
};

static void *write_flights(void *context)
{
    struct writer *writer = context;
    for (unsigned flight = 0; flight < FLIGHTS; flight++) {
        char fingerprint[SR_FINGERPRINT_SIZE];
        enum sr_added added = SR_ADDED_BEFORE;
        snprintf(fingerprint, sizeof fingerprint, "%08x%08x", writer->number, flight);
        struct sr_ledger_row row = bare_row(fingerprint, 1 + flight);
        row.build = "heron";
        enum sr_status status = sr_ledger_add("club.csv", &row, &added, &writer->err);
        writer->failed += status != SR_OK;
        writer->added += status == SR_OK && added == SR_ADDED;
    }
    return NULL;
}

/* Four threads add to one ledger; nothing is lost, nothing is there twice, nothing fails. */
static void hammer(void)
{
    static bool seen[THREADS][FLIGHTS];
    struct writer writers[THREADS] = {{.number = 0}};
    struct sr_ledger ledger;

    memset(seen, 0, sizeof seen);
    for (unsigned t = 0; t < THREADS; t++) {
        writers[t].number = t;
        assert_int_equal(pthread_create(&writers[t].thread, NULL, write_flights, &writers[t]), 0);
    }
    for (int t = 0; t < THREADS; t++)
        assert_int_equal(pthread_join(writers[t].thread, NULL), 0);
    for (int t = 0; t < THREADS; t++) {
        if (writers[t].failed > 0)
            fail_msg("thread %d: %zu of %d failed: %s", t, writers[t].failed, FLIGHTS, writers[t].err.text);
        assert_int_equal(writers[t].added, FLIGHTS);
    }
    read_ledger(&ledger, "club.csv");
    assert_int_equal(ledger.n_unreadable, 0);
    assert_int_equal(ledger.n_rows, THREADS * FLIGHTS);
    for (size_t i = 0; i < ledger.n_rows; i++) {
        unsigned thread, flight;
        assert_int_equal(sscanf(ledger.rows[i].fingerprint, "%8x%8x", &thread, &flight), 2);
        assert_true(thread < THREADS && flight < FLIGHTS);
        assert_false(seen[thread][flight]);
        seen[thread][flight] = true;
    }
    sr_ledger_release(&ledger);
}

/* Somebody who cannot have the lock, and goes. */
static void *try_in_vain(void *context)
{
    struct target target;
    enum sr_status *status = context;
    *status = target_take(&target, "club.csv", 0.02, NULL);
    target_leave(&target);
    return NULL;
}

/* Whether another program gets the lock. */
static bool another_program_gets_it(void)
{
    int status;
    pid_t pid = fork();
    if (pid == 0) {
        struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
        int lock = open("club.csv.lock", O_RDWR);
        _exit(lock >= 0 && fcntl(lock, F_SETLK, &whole) == 0 ? 1 : 0);
    }
    assert_true(pid > 0);
    assert_int_equal(waitpid(pid, &status, 0), pid);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status) == 1;
}

static void test_four_threads(void **state)
{
    (void)state;
    hammer();
}

/* A thread that gives up waiting does not take the lock from the one who holds it. */
static void test_who_gives_up_takes_nothing_away(void **state)
{
    struct target target;
    enum sr_status status = SR_OK;
    pthread_t thread;
    (void)state;
    assert_int_equal(target_take(&target, "club.csv", 1, NULL), SR_OK);
    assert_int_equal(pthread_create(&thread, NULL, try_in_vain, &status), 0);
    assert_int_equal(pthread_join(thread, NULL), 0);
    assert_int_equal(status, SR_ERR_LOCK);
    assert_false(another_program_gets_it());
    target_leave(&target);
    assert_true(another_program_gets_it());
}

/* A child made meanwhile, which never has to do with ledgers, does not keep the lock. */
static void test_a_fork_does_not_keep_the_lock(void **state)
{
    struct target target;
    int ends[2];
    (void)state;
    assert_int_equal(pipe(ends), 0);
    assert_int_equal(target_take(&target, "club.csv", 1, NULL), SR_OK);
    pid_t pid = fork();
    if (pid == 0) {
        char byte;
        close(ends[1]);
        _exit(read(ends[0], &byte, 1) == 0 ? 0 : 1);
    }
    assert_true(pid > 0);
    target_leave(&target);
    assert_int_equal(target_take(&target, "club.csv", 0.05, NULL), SR_OK);
    target_leave(&target);
    close(ends[0]);
    close(ends[1]);
    assert_int_equal(waitpid(pid, NULL, 0), pid);
}

#ifdef OWN_FCNTL
static void test_without_locks_of_open_files(void **state)
{
    struct target target;
    enum sr_status status = SR_OK;
    pthread_t thread;
    (void)state;
    without_file_locks = true;
    refused = 0;
    hammer();
    assert_true(refused >= THREADS * FLIGHTS);

    assert_int_equal(target_take(&target, "club.csv", 1, NULL), SR_OK);
    assert_int_equal(pthread_create(&thread, NULL, try_in_vain, &status), 0);
    nanosleep(&(struct timespec){0, 200000000L}, NULL); /* it has given up, but closes nothing yet */
    assert_false(another_program_gets_it());
    target_leave(&target);
    assert_int_equal(pthread_join(thread, NULL), 0);
    assert_int_equal(status, SR_ERR_LOCK);
    assert_true(another_program_gets_it());
    without_file_locks = false;
}
#else
static void test_without_locks_of_open_files(void **state)
{
    (void)state;
    print_message("SKIPPED: no way here to take locks of open files away; NOT CHECKED: threads that take "
                  "turns without them\n");
    skip();
}
#endif

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_four_threads),
        TEST(test_who_gives_up_takes_nothing_away),
        TEST(test_a_fork_does_not_keep_the_lock),
        TEST(test_without_locks_of_open_files),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
