/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every call of the system on the way to a written file fails in turn: open, write, fsync, close, rename,
 * fchmod (the linker's --wrap brings them here). The old file stays whole or the new one is, nothing lies
 * about beside it, the failure is said, and no descriptor is lost. Calls that are interrupted, or write a
 * byte at a time, change nothing.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <errno.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "present/plot_file.h"
#include "stillrow/rig.h"
#include "support/ledger_file.h"

int __real_open(const char *path, int flags, ...);
ssize_t __real_write(int fd, const void *data, size_t size);
int __real_fsync(int fd);
int __real_close(int fd);
int __real_rename(const char *from, const char *to);
int __real_fchmod(int fd, mode_t mode);
int __wrap_open(const char *path, int flags, ...);
ssize_t __wrap_write(int fd, const void *data, size_t size);
int __wrap_fsync(int fd);
int __wrap_close(int fd);
int __wrap_rename(const char *from, const char *to);
int __wrap_fchmod(int fd, mode_t mode);

static bool watching;
static size_t calls_left; /* that still succeed */
static bool call_failed;
static const char *failed_call = "";
static bool by_bytes;  /* write() takes one byte at a time, and is interrupted before each */
static bool interrupt; /* the next write() is */
static int open_count;

static bool fails(const char *name)
{
    if (!watching || calls_left-- > 0)
        return false;
    calls_left = SIZE_MAX;
    call_failed = true;
    failed_call = name;
    errno = EIO;
    return true;
}

int __wrap_open(const char *path, int flags, ...)
{
    va_list args;

    va_start(args, flags);
    const mode_t mode = (flags & O_CREAT) != 0 ? va_arg(args, mode_t) : 0;
    va_end(args);
    const int fd = fails("open") ? -1 : __real_open(path, flags, mode);
    open_count += watching && fd >= 0;
    return fd;
}

ssize_t __wrap_write(int fd, const void *data, size_t size)
{
    if (fails("write"))
        return -1;
    if (!watching || !by_bytes || size == 0)
        return __real_write(fd, data, size);
    interrupt = !interrupt;
    if (interrupt) {
        errno = EINTR;
        return -1;
    }
    return __real_write(fd, data, 1);
}

int __wrap_fsync(int fd)
{
    return fails("fsync") ? -1 : __real_fsync(fd);
}

/* A close that fails has closed. */
int __wrap_close(int fd)
{
    const bool failed = fails("close");
    const int closed = __real_close(fd);

    open_count -= watching || failed;
    errno = failed ? EIO : errno;
    return failed ? -1 : closed;
}

int __wrap_rename(const char *from, const char *to)
{
    return fails("rename") ? -1 : __real_rename(from, to);
}

int __wrap_fchmod(int fd, mode_t mode)
{
    return fails("fchmod") ? -1 : __real_fchmod(fd, mode);
}

/* ---- What writes ---- */

static enum sr_status add(struct sr_error *err)
{
    enum sr_added added;
    struct sr_ledger_row row = bare_row("00000000000000ad", 3);

    return sr_ledger_add("target", &row, &added, err);
}

static enum sr_status merge(struct sr_error *err)
{
    struct sr_merge_count count;

    return sr_ledger_merge("target", "other", &count, err);
}

static enum sr_status rate(struct sr_error *err)
{
    return sr_ledger_rate("target", "00000000000000aa", SR_RATED_BAD, err);
}

static enum sr_status write_threshold(struct sr_error *err)
{
    return sr_rig_write_threshold("target", 1.5, err);
}

static enum sr_status write_picture(struct sr_error *err)
{
    static const char picture[] = "a picture of some bytes\n";

    return sr_file_write("target", picture, sizeof picture - 1, err);
}

struct writer {
    const char *name;
    enum sr_status (*run)(struct sr_error *err);
    const char *old; /* what is in the file before; NULL: there is none */
};

#define LEDGER "fingerprint,wobble_px,mine\n00000000000000aa,1,m\n00000000000000ab,2,m,long\n"
static const struct writer writers[] = {
    {"ledger add", add, LEDGER},
    {"new ledger", add, NULL},
    {"ledger merge", merge, LEDGER},
    {"ledger rate", rate, LEDGER},
    {"threshold", write_threshold, "[camera]\nfps = 50\n[threshold]\npx = 1\n"},
    {"new rig", write_threshold, NULL},
    {"picture", write_picture, "an older picture\n"},
    {"new picture", write_picture, NULL},
};
enum { WRITERS = sizeof writers / sizeof writers[0] };

static void prepare(const struct writer *writer)
{
    clear_ledger_folder();
    put_text("other", "wobble_px,theirs,fingerprint\n1,t,00000000000000ac\nbad,t\n");
    if (writer->old != NULL)
        put_text("target", writer->old);
}

/* Files in the folder, lock files left out: those stay. */
static size_t count_files(void)
{
    DIR *folder = opendir(".");
    size_t count = 0;

    for (struct dirent *entry; folder != NULL && (entry = readdir(folder)) != NULL;) {
        const size_t length = strlen(entry->d_name);
        count += entry->d_name[0] != '.' && (length < 5 || strcmp(entry->d_name + length - 5, ".lock") != 0);
    }
    if (folder != NULL)
        closedir(folder);
    return count;
}

static void assert_old(const struct writer *writer)
{
    if (writer->old != NULL)
        assert_file_is("target", writer->old);
    else
        assert_int_not_equal(access("target", F_OK), 0);
    assert_int_equal(count_files(), writer->old != NULL ? 2 : 1);
}

static enum sr_status watch(const struct writer *writer, size_t calls, struct sr_error *err)
{
    prepare(writer);
    calls_left = calls;
    call_failed = false;
    open_count = 0;
    watching = true;
    const enum sr_status status = writer->run(err);
    watching = false;
    return status;
}

/* What the file becomes where nothing fails. */
static char *wanted_of(const struct writer *writer)
{
    struct sr_error err = {.status = SR_OK};

    if (watch(writer, SIZE_MAX, &err) != SR_OK)
        fail_msg("%s: %s", writer->name, err.text);
    assert_int_equal(open_count, 0);
    assert_int_equal(count_files(), 2);
    return get_text("target");
}

static size_t fail_calls(const struct writer *writer)
{
    char *wanted = wanted_of(writer);
    size_t refused = 0, n = 0;

    for (;; n++) {
        struct sr_error err = {.status = SR_OK};
        const enum sr_status status = watch(writer, n, &err);
        if (open_count != 0)
            fail_msg("%s: call %zu (%s) failed, and %d files stay open", writer->name, n, failed_call,
                     open_count);
        if (status == SR_OK) {
            /* Nothing failed, or what does not matter: the flush of the folder, the rights of the lock. */
            assert_file_is("target", wanted);
            assert_int_equal(count_files(), 2);
            if (!call_failed)
                break;
            continue;
        }
        assert_true(call_failed);
        if (status != SR_ERR_WRITE && status != SR_ERR_OPEN && status != SR_ERR_LOCK)
            fail_msg("%s: call %zu (%s): status %d, '%s'", writer->name, n, failed_call, (int)status,
                     err.text);
        assert_int_equal(err.status, status);
        assert_string_equal(err.file, "target");
        assert_non_null(strstr(err.text, strerror(EIO)));
        assert_old(writer);
        refused++;
    }
    free(wanted);
    print_message("%-12s %2zu calls, %2zu refusals\n", writer->name, n, refused);
    return refused;
}

static void test_each_call(void **state)
{
    (void)state;
    /* open, write, fsync, close, rename at the least */
    for (size_t i = 0; i < WRITERS; i++)
        assert_true(fail_calls(&writers[i]) >= 5);
}

static void test_byte_by_byte(void **state)
{
    (void)state;
    for (size_t i = 0; i < WRITERS; i++) {
        struct sr_error err = {.status = SR_OK};
        char *wanted = wanted_of(&writers[i]);
        by_bytes = true;
        interrupt = false;
        assert_int_equal(watch(&writers[i], SIZE_MAX, &err), SR_OK);
        by_bytes = false;
        assert_file_is("target", wanted);
        assert_int_equal(count_files(), 2);
        free(wanted);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_each_call),
        cmocka_unit_test(test_byte_by_byte),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
