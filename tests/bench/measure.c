/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * `measure REPORT PROGRAM [ARGUMENT...]`: runs a program and writes "SECONDS KIB CPU" to
 * REPORT: wall time, the most memory that it held at once, and the seconds of processor
 * time, which another program's load does not stretch much. A small program of our
 * own, because a script's own memory would be counted to its child until the child's exec.
 */
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static int report(const char *path, double seconds)
{
    struct rusage usage;
    FILE *out = fopen(path, "w");
    if (out == NULL || getrusage(RUSAGE_CHILDREN, &usage) != 0) {
        perror(path);
        if (out != NULL)
            fclose(out);
        return 1;
    }
    double cpu_s = (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
                   (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec) * 1e-6;
    fprintf(out, "%.4f %ld %.4f\n", seconds, usage.ru_maxrss, cpu_s);
    if (fclose(out) != 0) {
        perror(path);
        return 1;
    }
    return 0;
}

int main(int argc, char **argv)
{
    int status;
    if (argc < 3) {
        fputs("usage: measure REPORT PROGRAM [ARGUMENT...]\n", stderr);
        return 2;
    }
    double start_s = now_s();
    pid_t child = fork();
    if (child < 0) {
        perror("fork");
        return 1;
    }
    if (child == 0) {
        execvp(argv[2], argv + 2);
        perror(argv[2]);
        _exit(127);
    }
    if (waitpid(child, &status, 0) != child) {
        perror("waitpid");
        return 1;
    }
    double seconds = now_s() - start_s;
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        fprintf(stderr, "measure: %s failed\n", argv[2]);
        return WIFEXITED(status) ? WEXITSTATUS(status) : 1;
    }
    return report(argv[1], seconds);
}
