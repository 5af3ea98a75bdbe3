/* measure_process.c - runs a command and says how long it took and how much memory it held.
 *
 *   measure_process REPORT COMMAND [ARGUMENT ...]
 *
 * Writes "wall_seconds processor_seconds peak_kib exit_code" to the file REPORT. The peak is the
 * kernel's high-water mark of resident memory (getrusage(2)), which a child inherits from whoever
 * forks it: hence this small program between the benchmark script and what is measured.
 */
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double now_s(void) {
    struct timespec time = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

static double seconds(struct timeval time) {
    return (double)time.tv_sec + 1e-6 * (double)time.tv_usec;
}

int main(int argc, char **argv) {
    if (argc < 3) {
        return 2;
    }
    double started = now_s();
    pid_t child = fork();
    if (child == 0) {
        (void)execvp(argv[2], argv + 2);
        _exit(127);
    }
    int status = 0;
    if (child < 0 || waitpid(child, &status, 0) != child) {
        return 1;
    }
    double wall = now_s() - started;
    struct rusage usage = {0};
    (void)getrusage(RUSAGE_CHILDREN, &usage);
    FILE *report = fopen(argv[1], "w");
    if (report == NULL) {
        return 1;
    }
    double processor = seconds(usage.ru_utime) + seconds(usage.ru_stime);
    (void)fprintf(report, "%.6f %.6f %ld %d\n", wall, processor, usage.ru_maxrss,
                  WIFEXITED(status) ? WEXITSTATUS(status) : 128);
    return fclose(report) == 0 ? 0 : 1;
}
