/* A fuse for programs under test, loaded before the C library (LD_PRELOAD).
 *
 * Counts the calls by which a program changes a file or a socket. At call number FUSE_AT it does what
 * FUSE_HOW says:
 *   kill   the process ends by SIGKILL, before the call is made
 *   tear   the same, after half of the bytes were written
 *   full   this call and all later ones to files fail: no space left on the device
 *   fail   this call fails: input/output error
 * FUSE_COUNT names a file that gets the number of calls when the program ends by itself.
 * Standard output, standard error and pipes are left alone.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static long at = -1, calls;
static enum { NOTHING, KILL, TEAR, FULL, FAIL } how;

__attribute__((constructor)) static void begin(void) {
    const char *number = getenv("FUSE_AT"), *word = getenv("FUSE_HOW");
    if (number) at = atol(number);
    if (!word) return;
    how = !strcmp(word, "kill") ? KILL : !strcmp(word, "tear") ? TEAR : !strcmp(word, "full") ? FULL
        : !strcmp(word, "fail") ? FAIL : NOTHING;
}

__attribute__((destructor)) static void end(void) {
    const char *path = getenv("FUSE_COUNT");
    FILE *file = path ? fopen(path, "w") : NULL;
    if (!file) return;
    long all = calls;
    fprintf(file, "%ld\n", all);
    fclose(file);
}

static void die(void) {
    kill(getpid(), SIGKILL);
    for (;;) pause();
}

/* Whether a descriptor is a file or a socket; 0 for others. */
static int kind(int fd) {
    struct stat about;
    if (fd <= 2 || fstat(fd, &about)) return 0;
    return S_ISREG(about.st_mode) ? 1 : S_ISSOCK(about.st_mode) ? 2 : 0;
}

/* Counts a call. 1: it must fail with errno; 2: half of it is written, then the process ends. */
static int struck(int file) {
    long now = ++calls;
    if (at < 0 || now < at || (now > at && !(how == FULL && file))) return 0;
    if (how == KILL) die();
    if (how == TEAR) return 2;
    if (how == FULL && file) { errno = ENOSPC; return 1; }
    if (how == FAIL) { errno = EIO; return 1; }
    return 0;
}

#define REAL(name) \
    static __typeof__(name) *real; \
    if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void *bytes, size_t count) {
    REAL(write);
    int of = kind(fd), hit = of ? struck(of == 1) : 0;
    if (hit == 1) return -1;
    if (hit == 2) { real(fd, bytes, count / 2); die(); }
    return real(fd, bytes, count);
}

ssize_t pwrite(int fd, const void *bytes, size_t count, off_t place) {
    REAL(pwrite);
    int hit = struck(1);
    if (hit == 1) return -1;
    if (hit == 2) { real(fd, bytes, count / 2, place); die(); }
    return real(fd, bytes, count, place);
}

ssize_t pwrite64(int fd, const void *bytes, size_t count, off64_t place) {
    REAL(pwrite64);
    int hit = struck(1);
    if (hit == 1) return -1;
    if (hit == 2) { real(fd, bytes, count / 2, place); die(); }
    return real(fd, bytes, count, place);
}

ssize_t writev(int fd, const struct iovec *parts, int count) {
    REAL(writev);
    int of = kind(fd), hit = of ? struck(of == 1) : 0;
    if (hit == 1) return -1;
    if (hit == 2) die();
    return real(fd, parts, count);
}

ssize_t send(int fd, const void *bytes, size_t count, int flags) {
    REAL(send);
    int hit = struck(0);
    if (hit == 1) return -1;
    if (hit == 2) { real(fd, bytes, count / 2, flags); die(); }
    return real(fd, bytes, count, flags);
}

#define SIMPLE(type, name, arguments, values) \
    type name arguments { \
        REAL(name); \
        int hit = struck(1); \
        if (hit == 1) return -1; \
        if (hit == 2) die(); \
        return real values; \
    }

SIMPLE(int, fsync, (int fd), (fd))
SIMPLE(int, fdatasync, (int fd), (fd))
SIMPLE(int, ftruncate, (int fd, off_t length), (fd, length))
SIMPLE(int, ftruncate64, (int fd, off64_t length), (fd, length))
SIMPLE(int, rename, (const char *from, const char *to), (from, to))
SIMPLE(int, unlink, (const char *path), (path))
SIMPLE(int, mkdir, (const char *path, mode_t mode), (path, mode))
