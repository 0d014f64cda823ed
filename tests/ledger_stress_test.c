/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Eight programs add 200 flights each to one ledger, and are killed at random all the while; each is started
 * again and goes on where its own list of acknowledged flights ends. In the end every acknowledged flight is
 * there exactly once, and no row is broken; nor is one ever while it goes on.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <time.h>

#include "sim/flight.h"
#include "support/ledger_file.h"

enum { WRITERS = 8, FLIGHTS = 200, KILLS = 120 };

static void acknowledged_name(char *name, size_t size, int writer)
{
    snprintf(name, size, "acknowledged-%d", writer);
}

/* Flights that a writer has been told are on the disk: one byte each. */
static size_t acknowledged(int writer)
{
    char name[64];
    acknowledged_name(name, sizeof name, writer);
    FILE *file = fopen(name, "rb");
    if (file == NULL)
        return 0;
    size_t count = 0;
    while (fgetc(file) != EOF)
        count++;
    fclose(file);
    return count;
}

/* The life of a writer; never returns. */
static void write_flights(int writer)
{
    char name[64], fingerprint[SR_FINGERPRINT_SIZE];
    acknowledged_name(name, sizeof name, writer);
    int list = open(name, O_WRONLY | O_CREAT | O_APPEND, 0666);
    for (size_t flight = acknowledged(writer); flight < FLIGHTS; flight++) {
        enum sr_added added;
        snprintf(fingerprint, sizeof fingerprint, "%08x%08x", (unsigned)writer, (unsigned)flight);
        struct sr_ledger_row row = bare_row(fingerprint, 1 + (double)flight);
        row.build = "heron, \"the steady one\"";
        if (sr_ledger_add("club.csv", &row, &added, NULL) != SR_OK || write(list, "+", 1) != 1)
            _exit(1);
    }
    _exit(0);
}

static pid_t start_writer(int writer)
{
    pid_t pid = fork();
    if (pid == 0)
        write_flights(writer);
    assert_true(pid > 0);
    return pid;
}

/* No reader ever meets a broken row, or fewer rows than before; how many there are. */
static size_t look(size_t at_least)
{
    struct sr_ledger ledger;
    if (access("club.csv", F_OK) != 0)
        return at_least;
    read_ledger(&ledger, "club.csv");
    size_t rows = ledger.n_rows;
    assert_int_equal(ledger.n_unreadable, 0);
    assert_true(rows >= at_least);
    sr_ledger_release(&ledger);
    return rows;
}

static void pause_s(double seconds)
{
    struct timespec time = {0, (long)(1e9 * seconds)};
    nanosleep(&time, NULL);
}

static void assert_all_there_once(void)
{
    static unsigned char seen[WRITERS][FLIGHTS];
    struct sr_ledger ledger;

    read_ledger(&ledger, "club.csv");
    assert_int_equal(ledger.n_unreadable, 0);
    for (size_t i = 0; i < ledger.n_rows; i++) {
        char part[9] = "";
        memcpy(part, ledger.rows[i].fingerprint, 8);
        unsigned long writer = strtoul(part, NULL, 16);
        unsigned long flight = strtoul(ledger.rows[i].fingerprint + 8, NULL, 16);
        assert_true(writer < WRITERS && flight < FLIGHTS);
        assert_int_equal(seen[writer][flight]++, 0);
        assert_true(fabs(ledger.rows[i].wobble_px - 1 - (double)flight) < 1e-9);
        assert_string_equal(ledger.rows[i].build, "heron, \"the steady one\"");
    }
    assert_int_equal(ledger.n_rows, WRITERS * FLIGHTS);
    for (int w = 0; w < WRITERS; w++)
        assert_int_equal(acknowledged(w), FLIGHTS);
    sr_ledger_release(&ledger);
}

static void test_killed_writers_lose_and_double_nothing(void **state)
{
    pid_t pids[WRITERS];
    uint64_t seed = 8200;
    int kills = 0, running = WRITERS;
    size_t rows = 0;

    (void)state;
    for (int w = 0; w < WRITERS; w++)
        pids[w] = start_writer(w);
    while (running > 0) {
        int victim = (int)(WRITERS * sim_uniform(&seed)), status;
        pause_s(0.02 * sim_uniform(&seed));
        rows = look(rows);
        if (kills < KILLS && pids[victim] > 0)
            kill(pids[victim], SIGKILL);
        for (int w = 0; w < WRITERS; w++) {
            if (pids[w] == 0 || waitpid(pids[w], &status, WNOHANG) != pids[w])
                continue;
            if (WIFSIGNALED(status)) {
                kills++;
                pids[w] = start_writer(w);
            } else {
                assert_int_equal(WEXITSTATUS(status), 0);
                pids[w] = 0;
                running--;
            }
        }
    }
    assert_true(kills >= KILLS / 2); /* or it was no test of killing */
    print_message("  %d writers were killed\n", kills);
    assert_all_there_once();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_killed_writers_lose_and_double_nothing, fresh_ledger_folder),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
