/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The ledger among other programs: links, rights, locks, a full disk. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#ifdef __linux__
#include <sys/mount.h>
#endif

#include "ledger/private.h"
#include "support/ledger_file.h"

static enum sr_status add(const char *path, unsigned number, struct sr_error *err)
{
    char fingerprint[SR_FINGERPRINT_SIZE];
    enum sr_added added;
    snprintf(fingerprint, sizeof fingerprint, "%016x", number);
    struct sr_ledger_row row = bare_row(fingerprint, 1);
    row.build = "heron";
    return sr_ledger_add(path, &row, &added, err);
}

static size_t count_rows(const char *path)
{
    struct sr_ledger ledger;
    read_ledger(&ledger, path);
    size_t rows = ledger.n_rows;
    assert_int_equal(ledger.n_unreadable, 0);
    sr_ledger_release(&ledger);
    return rows;
}

static unsigned rights(const char *path)
{
    struct stat info;
    assert_int_equal(stat(path, &info), 0);
    return info.st_mode & 07777;
}

static void test_links_and_rights_stay(void **state)
{
    struct stat info;
    (void)state;
    assert_int_equal(mkdir("folder", 0777), 0);
    assert_int_equal(add("folder/real.csv", 1, NULL), SR_OK);
    assert_int_equal(chmod("folder/real.csv", 0640), 0);
    assert_int_equal(symlink("folder/real.csv", "link.csv"), 0);
    assert_int_equal(add("link.csv", 2, NULL), SR_OK);
    assert_int_equal(lstat("link.csv", &info), 0);
    assert_true(S_ISLNK(info.st_mode));
    assert_int_equal(count_rows("folder/real.csv"), 2);
    assert_int_equal(rights("folder/real.csv"), 0640);
    assert_int_equal(rights("folder/real.csv.lock"), 0640);
    assert_int_equal(unlink("folder/real.csv") | unlink("folder/real.csv.lock"), 0);
    assert_int_equal(rmdir("folder"), 0); /* nothing else was left there */
}

static void test_what_must_not_be_replaced_is_refused(void **state)
{
    struct sr_error err = {0};
    struct sr_ledger ledger;
    (void)state;
    assert_int_equal(symlink("nowhere.csv", "dangling.csv"), 0);
    assert_int_equal(add("dangling.csv", 1, &err), SR_ERR_OPEN);
    assert_string_equal(err.text, "is a symbolic link to nothing");
    assert_int_equal(mkdir("folder", 0777), 0);
    assert_int_equal(add("folder", 1, &err), SR_ERR_WRITE);
    assert_string_equal(err.text, "is not a regular file");
    assert_int_equal(sr_ledger_read(&ledger, "folder", &err), SR_ERR_READ);
    assert_int_equal(add("no/such/folder.csv", 1, &err), SR_ERR_WRITE);
    assert_int_equal(add("dangling.csv/l.csv", 1, &err), SR_ERR_WRITE);
    put_text("file", "");
    assert_int_equal(add("file/l.csv", 1, &err), SR_ERR_OPEN);
    put_text("lone.csv", "fingerprint,wobble_px\n");
    assert_int_equal(chmod("lone.csv", 0444), 0);
    assert_int_equal(add("lone.csv", 1, &err), SR_ERR_WRITE);
    assert_string_equal(err.text, "is read-only");
    assert_file_is("lone.csv", "fingerprint,wobble_px\n");
    assert_int_equal(mkdir("l.csv.lock", 0777), 0);
    assert_int_equal(add("l.csv", 1, &err), SR_ERR_WRITE);
    assert_non_null(strstr(err.text, "lock file"));
}

/* A new file that a killed program left is no obstacle; a folder of that name is, and is said. */
static void test_left_overs(void **state)
{
    struct sr_error err = {0};
    (void)state;
    put_text("l.csv.stillrow-new", "half a row");
    assert_int_equal(add("l.csv", 1, NULL), SR_OK);
    assert_int_not_equal(access("l.csv.stillrow-new", F_OK), 0);
    assert_int_equal(mkdir("l.csv.stillrow-new", 0777), 0);
    assert_int_equal(add("l.csv", 2, &err), SR_ERR_WRITE);
    assert_non_null(strstr(err.text, "the old ledger is kept"));
    assert_int_equal(count_rows("l.csv"), 1);
}

/* Locks of one process do not stand in its own way, so another holds it. */
static void test_a_held_lock_is_waited_for(void **state)
{
    int held[2], release[2];
    char byte = 0;
    struct target target;
    struct sr_error err = {0};
    (void)state;
    put_text("l.csv", "fingerprint,wobble_px\n");
    assert_int_equal(pipe(held) | pipe(release), 0);
    pid_t holder = fork();
    assert_true(holder >= 0);
    if (holder == 0) {
        bool fine = target_take(&target, "l.csv", 1, NULL) == SR_OK && write(held[1], "h", 1) == 1 &&
                    read(release[0], &byte, 1) == 1;
        _exit(fine ? 0 : 1); /* the lock ends with the process, left or not */
    }
    assert_int_equal(read(held[0], &byte, 1), 1);
    assert_int_equal(target_take(&target, "l.csv", 0.05, &err), SR_ERR_LOCK);
    assert_string_equal(err.text, "another program has held the ledger for 0.05 s; try again");
    assert_string_equal(err.file, "l.csv");
    target_leave(&target);

    /* Who waits gets it as soon as it is free. */
    int status;
    assert_int_equal(write(release[1], "r", 1), 1);
    assert_int_equal(add("l.csv", 1, &err), SR_OK);
    assert_int_equal(waitpid(holder, &status, 0), holder);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    assert_int_equal(count_rows("l.csv"), 1);
    close(held[0]);
    close(held[1]);
    close(release[0]);
    close(release[1]);
}

/* Add until the disk is full: then the ledger is as it was before, and goes on once there is room. */
static void fill_up(const char *path, void (*make_room)(void))
{
    struct sr_error err = {0};
    struct sr_merge_count count;
    char beside[200], *before = NULL;
    unsigned added = 0;

    for (;; added++) {
        char *now = added > 0 ? get_text(path) : NULL;
        enum sr_status status = add(path, added, &err);
        if (status != SR_OK) {
            assert_int_equal(status, SR_ERR_WRITE);
            before = now;
            break;
        }
        free(now);
        assert_true(added < 5000);
    }
    assert_true(added > 10);
    assert_file_is(path, before);
    assert_int_equal(count_rows(path), added);
    snprintf(beside, sizeof beside, "%s.stillrow-new", path);
    assert_int_not_equal(access(beside, F_OK), 0);

    /* Rating and merging meet the same wall. */
    put_text("more.csv", before);
    FILE *more = fopen("more.csv", "a");
    assert_non_null(more);
    fprintf(more, "1,%016x,,,,,,,,,,,,,,,1%0200d\n", 77777, 0);
    fclose(more);
    assert_int_equal(sr_ledger_merge(path, "more.csv", &count, &err), SR_ERR_WRITE);
    assert_file_is(path, before);

    make_room();
    assert_int_equal(add(path, added, &err), SR_OK);
    assert_int_equal(count_rows(path), added + 1);
    free(before);
}

static struct rlimit old_limit;

static void lift_limit(void)
{
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &old_limit), 0);
}

static void test_a_file_size_limit_loses_nothing(void **state)
{
    (void)state;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &old_limit), 0);
    struct rlimit limit = {4000, old_limit.rlim_max};
    void (*old)(int) = signal(SIGXFSZ, SIG_IGN);
    /* The row that no longer fits must not be kept from the other file. */
    put_text("more.csv", "");
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
    fill_up("l.csv", lift_limit);
    signal(SIGXFSZ, old);
}

#ifdef __linux__
static void grow_disk(void)
{
    assert_int_equal(mount("none", "disk", "tmpfs", MS_REMOUNT, "size=1m"), 0);
}
#endif

static void test_a_full_disk_loses_nothing(void **state)
{
    (void)state;
#ifdef __linux__
    assert_int_equal(mkdir("disk", 0777), 0);
    if (mount("none", "disk", "tmpfs", 0, "size=48k") == 0) {
        fill_up("disk/l.csv", grow_disk);
        assert_int_equal(umount("disk"), 0);
        return;
    }
#endif
    print_message("SKIPPED: a small disk cannot be mounted here (%s); NOT CHECKED: a full disk. The same was "
                  "checked with a limit on the size of files\n",
                  strerror(errno));
    skip();
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_links_and_rights_stay),
        TEST(test_what_must_not_be_replaced_is_refused),
        TEST(test_left_overs),
        TEST(test_a_held_lock_is_waited_for),
        TEST(test_a_file_size_limit_loses_nothing),
        TEST(test_a_full_disk_loses_nothing),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
