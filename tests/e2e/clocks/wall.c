/* The clock on the wall, moved for one program alone: loaded before its other libraries, it adds the seconds that stand in
   the file named by CONSORT_WALL to whatever time of day the program asks for. All its other clocks stay as they are. */

#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static long long ahead_s(void) {
    const char *file = getenv("CONSORT_WALL");
    char text[32];
    int before = errno;
    long long ahead = 0;
    int opened = file == NULL ? -1 : open(file, O_RDONLY | O_CLOEXEC);
    if (opened >= 0) {
        ssize_t length = read(opened, text, sizeof text - 1);
        close(opened);
        if (length > 0) {
            text[length] = '\0';
            ahead = atoll(text);
        }
    }
    errno = before;
    return ahead;
}

int clock_gettime(clockid_t clock, struct timespec *shown) {
    int done = (int)syscall(SYS_clock_gettime, clock, shown);
    if (done == 0 && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)) {
        shown->tv_sec += ahead_s();
    }
    return done;
}

int gettimeofday(struct timeval *restrict shown, void *restrict zone) {
    int done = (int)syscall(SYS_gettimeofday, shown, zone);
    if (done == 0 && shown != NULL) {
        shown->tv_sec += ahead_s();
    }
    return done;
}

time_t time(time_t *kept) {
    struct timespec shown;
    clock_gettime(CLOCK_REALTIME, &shown);
    if (kept != NULL) {
        *kept = shown.tv_sec;
    }
    return shown.tv_sec;
}
