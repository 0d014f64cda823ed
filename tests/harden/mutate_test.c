/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Spoiled logs through the whole program: `stillrow score --json` and `stillrow explain` of each end within a
 * time limit, with status 0 and a whole answer, or with status 1, no answer and a message that names the
 * file; and never print a byte that could steer a terminal.
 *
 * The n-th spoiled log is the same on every machine. STILLROW_MUTATIONS: how many (300; the full count is
 * 10000); STILLROW_MUTATION: this one only, which is then kept in the working directory.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <jansson.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "harden/mutations.h"
#include "support/ledger_file.h"

#ifdef UNDER_SANITIZER
enum { FEW = 60, LIMIT_S = 60 };
#else
enum { FEW = 300, LIMIT_S = 10 };
#endif
#define BASE_BYTES 220000 /* of a sample log: seconds of flight, enough to score */

static const char *const samples[] = {"heron-regatta-steady.csv", "dipper-bent-prop.csv",
                                      "grebe-frame-resonance.csv", "coot-logged-too-slowly.csv"};
enum { SAMPLES = sizeof samples / sizeof samples[0] };
static struct bytes base[SAMPLES];
static char top[4096]; /* the working directory, where sample-logs is */
static char program[8192];
static size_t n_read, n_refused;

/* ---- The spoiled log ---- */

static void read_samples(void)
{
    for (size_t i = 0; i < SAMPLES; i++) {
        char path[4200];
        snprintf(path, sizeof path, "%s/sample-logs/%s", top, samples[i]);
        FILE *file = fopen(path, "rb");
        if (file == NULL)
            fail_msg("no %s", path);
        base[i].data = malloc(BASE_BYTES);
        assert_non_null(base[i].data);
        base[i].size = fread(base[i].data, 1, BASE_BYTES, file);
        fclose(file);
    }
}

/* What was done to it goes into what[size]. */
static void spoil(struct bytes *b, size_t number, char *what, size_t size)
{
    uint64_t seed = 77003 * (uint64_t)number + 5;
    const struct bytes *from = &base[draw(&seed, SAMPLES)];
    size_t used = (size_t)snprintf(what, size, "%s", samples[from - base]);

    b->size = from->size;
    b->data = malloc(b->size);
    assert_non_null(b->data);
    memcpy(b->data, from->data, b->size);
    /* Some stay as they are but for one small thing, some are spoiled three times over. */
    for (size_t n = 1 + draw(&seed, 3); n > 0; n--) {
        const struct mutation *mutation = &mutations[draw(&seed, MUTATIONS)];
        if (b->size == 0)
            break;
        mutation->spoil(b, &seed);
        used += (size_t)snprintf(what + used, size - used, ", %s", mutation->name);
    }
}

/* ---- Running ---- */

/* In the child: output to files, and a limit on time that a busy loop cannot miss. */
static void become(const char *verb, const char *option)
{
    const struct rlimit limit = {LIMIT_S, LIMIT_S + 5};
    const int out = open("out", O_WRONLY | O_CREAT | O_TRUNC, 0600);
    const int err = open("err", O_WRONLY | O_CREAT | O_TRUNC, 0600);

    if (out >= 0 && err >= 0 && dup2(out, STDOUT_FILENO) >= 0 && dup2(err, STDERR_FILENO) >= 0 &&
        setrlimit(RLIMIT_CPU, &limit) == 0)
        execl(program, "stillrow", verb, option, "spoiled.csv", (char *)NULL);
    _exit(126);
}

/* How it ended, as waitpid() has it; killed by SIGALRM if it took too long by the clock. */
static int run(const char *verb, const char *option)
{
    const struct timespec step = {0, 1000000};
    const time_t start = time(NULL);
    int how;
    pid_t ended;

    const pid_t pid = fork();
    if (pid == 0)
        become(verb, option);
    assert_true(pid > 0);
    while ((ended = waitpid(pid, &how, WNOHANG)) == 0) {
        nanosleep(&step, NULL);
        /* The machine may be busy with other things: the clock allows for more than the processor does. */
        if (time(NULL) - start > 8 * LIMIT_S)
            kill(pid, SIGALRM);
    }
    assert_int_equal(ended, pid);
    return how;
}

/* ---- Judging ---- */

/* Failures are told with the number, so that one can be run again. */
#define HOLDS(condition, ...)                                                                                \
    do {                                                                                                     \
        if (!(condition)) {                                                                                  \
            print_error("spoiled log %zu (%s): %s: ", number, what, #condition);                             \
            print_error(__VA_ARGS__);                                                                        \
            print_error("\nagain with STILLROW_MUTATION=%zu\n", number);                                     \
            return false;                                                                                    \
        }                                                                                                    \
    } while (0)

/* Nothing that a terminal obeys: C0 but for the line feed, DEL, and C1 as UTF-8. */
static bool is_harmless(const char *text)
{
    for (const unsigned char *c = (const unsigned char *)text; *c != '\0'; c++)
        if ((*c < 0x20 && *c != '\n') || *c == 0x7F || (*c == 0xC2 && c[1] >= 0x80 && c[1] < 0xA0))
            return false;
    return true;
}

static bool is_report(const char *text)
{
    json_error_t why;
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &why);
    const json_t *verdict = json_object_get(root, "verdict");
    const bool whole = json_is_string(verdict) && json_is_object(json_object_get(root, "quality"));

    json_decref(root);
    return whole;
}

static bool judge(size_t number, const char *what, const char *verb, bool json, int how, int *status)
{
    char *out = get_text("out"), *err = get_text("err");
    struct stat info;
    bool good = false;

    *status = WIFEXITED(how) ? WEXITSTATUS(how) : -1;
    HOLDS(WIFEXITED(how), "%s ended by signal %d: %.300s", verb, WIFSIGNALED(how) ? WTERMSIG(how) : 0, err);
    HOLDS(*status == 0 || *status == 1, "%s: status %d: %.2000s", verb, *status, err);
    HOLDS(is_harmless(out) && is_harmless(err), "%s: control characters in '%.300s'", verb, err);
    HOLDS(stat("out", &info) == 0 && strlen(out) == (size_t)info.st_size, "%s: a zero byte is printed", verb);
    if (*status == 0) {
        HOLDS(err[0] == '\0', "%s: done, but says '%.300s'", verb, err);
        good = json ? is_report(out) : strlen(out) > 300;
        HOLDS(good, "%s: no whole report: '%.300s'", verb, out);
    } else {
        HOLDS(out[0] == '\0', "%s: failed, but reports '%.300s'", verb, out);
        HOLDS(strncmp(err, "stillrow: spoiled.csv:", 22) == 0, "%s: names no file: '%.300s'", verb, err);
        HOLDS(strchr(err, '\n') == strrchr(err, '\n') && strlen(err) < 800, "%s: too much said: '%.300s'",
              verb, err);
    }
    free(out);
    free(err);
    return true;
}

static bool try_one(size_t number, bool keep)
{
    struct bytes b;
    char what[256], path[4200];
    int scored, explained;

    spoil(&b, number, what, sizeof what);
    put_bytes("spoiled.csv", b.data, b.size);
    if (keep) {
        snprintf(path, sizeof path, "%s/spoiled-%zu.csv", top, number);
        put_bytes(path, b.data, b.size);
        print_message("%s: %s\n", path, what);
    }
    free(b.data);
    if (!judge(number, what, "score", true, run("score", "--json"), &scored) ||
        !judge(number, what, "explain", false, run("explain", "--color=never"), &explained))
        return false;
    HOLDS(scored == explained, "score ends with %d, explain with %d", scored, explained);
    n_read += scored == 0;
    n_refused += scored == 1;
    return true;
}

static void test_spoiled_logs(void **state)
{
    const char *one = getenv("STILLROW_MUTATION"), *many = getenv("STILLROW_MUTATIONS");
    const size_t from = one != NULL ? (size_t)strtoul(one, NULL, 10) : 0;
    const size_t count = one != NULL ? 1 : many != NULL ? (size_t)strtoul(many, NULL, 10) : FEW;
    size_t broken = 0;

    (void)state;
    for (size_t i = from; i < from + count && broken < 10; i++)
        broken += !try_one(i, one != NULL);
    print_message("%zu spoiled logs: %zu scored, %zu refused, %zu broken\n", count, n_read, n_refused,
                  broken);
    assert_int_equal(broken, 0);
    /* The spoiling is neither so mild nor so rough that one way is never taken. */
    assert_true(one != NULL || (n_read > count / 10 && n_refused > count / 10));
}

static int begin(void **state)
{
    read_samples();
    return enter_ledger_folder(state);
}

static int end(void **state)
{
    for (size_t i = 0; i < SAMPLES; i++)
        free(base[i].data);
    return leave_ledger_folder(state);
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_spoiled_logs)};
    char *folder = strstr(argv[0], "/tests/harden/");

    if (argc != 1 || folder == NULL || strlen(argv[0]) > 4000 || getcwd(top, sizeof top) == NULL) {
        print_error("call it as BUILD/tests/harden/mutate_test, from the top of the sources\n");
        return 1;
    }
    *folder = '\0';
    snprintf(program, sizeof program, "%s%s%.4000s/stillrow", argv[0][0] == '/' ? "" : top,
             argv[0][0] == '/' ? "" : "/", argv[0]);
    return cmocka_run_group_tests(tests, begin, end);
}
