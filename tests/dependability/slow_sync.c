/* Stands before the C library (LD_PRELOAD) while bay-assistant is attacked; see shim.py.

   TORTURE_UNDER    a folder: only calls on files below it count
   TORTURE_SLOW_MS  each fsync and fdatasync takes so long before it is carried out, ms
   TORTURE_MARKS    a descriptor: '(' is written to it when a slow sync begins, ')' when it has ended;
                    one letter for each call that counts: w o r m s
   TORTURE_FAIL     KIND:N:HOW  the N-th call of KIND (write sync open rename mkdir) fails with errno HOW, or is cut
                    to half ("short"), or kills the program before it ("kill") or after it ("kill-after"). */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <time.h>
#include <unistd.h>

static pthread_mutex_t guard = PTHREAD_MUTEX_INITIALIZER;
static struct { const char *name; char mark; int count; } kinds[] = {
    {"write", 'w', 0}, {"sync", 's', 0}, {"open", 'o', 0}, {"rename", 'r', 0}, {"mkdir", 'm', 0}};
enum { WRITE, SYNC, OPEN, RENAME, MKDIR, KINDS };

static ssize_t really_write(int fd, const void *data, size_t size)
{
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = dlsym(RTLD_NEXT, "write");
    return real(fd, data, size);
}

static void mark(char sign)
{
    const char *fd = getenv("TORTURE_MARKS");
    int saved = errno;
    if (fd && really_write(atoi(fd), &sign, 1) < 0) { /* nobody reads the marks any more */ }
    errno = saved;
}

static int below(const char *path)
{
    const char *under = getenv("TORTURE_UNDER");
    size_t length = under ? strlen(under) : 0;
    return length && strncmp(path, under, length) == 0 && (path[length] == '/' || path[length] == 0);
}

static int counts_fd(int fd)
{
    char link[64], path[PATH_MAX];
    struct stat about;
    int saved = errno, counts = 0;
    if (fstat(fd, &about) == 0 && (S_ISREG(about.st_mode) || S_ISDIR(about.st_mode))) {
        snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
        ssize_t length = readlink(link, path, sizeof path - 1);
        if (length > 0) {
            path[length] = 0;
            counts = below(path);
        }
    }
    errno = saved;
    return counts;
}

/* What is to happen to this call: NULL nothing, else HOW of TORTURE_FAIL. */
static const char *fate(int kind)
{
    const char *fail = getenv("TORTURE_FAIL");
    pthread_mutex_lock(&guard);
    int number = ++kinds[kind].count;
    pthread_mutex_unlock(&guard);
    mark(kinds[kind].mark);
    if (!fail) return NULL;
    size_t length = strlen(kinds[kind].name);
    if (strncmp(fail, kinds[kind].name, length) != 0 || fail[length] != ':') return NULL;
    const char *how = strchr(fail + length + 1, ':');
    if (atoi(fail + length + 1) != number || !how) return NULL;
    mark('!');
    if (strcmp(how + 1, "kill") == 0) raise(SIGKILL);
    return how + 1;
}

static int refuses(const char *how)
{
    if (!how || strcmp(how, "short") == 0 || strcmp(how, "kill-after") == 0) return 0;
    errno = atoi(how);
    return 1;
}

static void afterwards(const char *how)
{
    if (how && strcmp(how, "kill-after") == 0) raise(SIGKILL);
}

ssize_t write(int fd, const void *data, size_t size)
{
    if (!counts_fd(fd)) return really_write(fd, data, size);
    const char *how = fate(WRITE);
    if (refuses(how)) return -1;
    if (how && strcmp(how, "short") == 0 && size > 1) size /= 2;
    ssize_t written = really_write(fd, data, size);
    afterwards(how);
    return written;
}

static int slow_sync(int fd, const char *name)
{
    int (*real)(int) = dlsym(RTLD_NEXT, name);
    if (!counts_fd(fd)) return real(fd);
    const char *how = fate(SYNC), *slow = getenv("TORTURE_SLOW_MS");
    long ms = slow ? atol(slow) : 0;
    if (ms > 0) {
        struct timespec left = {ms / 1000, (ms % 1000) * 1000000};
        mark('(');
        while (nanosleep(&left, &left) != 0 && errno == EINTR) { /* the rest of it */ }
    }
    int done = refuses(how) ? -1 : real(fd);
    if (ms > 0) mark(')');
    afterwards(how);
    return done;
}

int fsync(int fd) { return slow_sync(fd, "fsync"); }
int fdatasync(int fd) { return slow_sync(fd, "fdatasync"); }

static int opened(const char *name, const char *path, int flags, mode_t mode)
{
    int (*real)(const char *, int, ...) = dlsym(RTLD_NEXT, name);
    if ((flags & (O_WRONLY | O_RDWR | O_CREAT)) == 0 || !below(path)) return real(path, flags, mode);
    const char *how = fate(OPEN);
    if (refuses(how)) return -1;
    int fd = real(path, flags, mode);
    afterwards(how);
    return fd;
}

#define OPENS(name)                                   \
    int name(const char *path, int flags, ...)        \
    {                                                 \
        mode_t mode = 0;                              \
        if (flags & (O_CREAT | O_TMPFILE)) {          \
            va_list more;                             \
            va_start(more, flags);                    \
            mode = va_arg(more, mode_t);              \
            va_end(more);                             \
        }                                             \
        return opened(#name, path, flags, mode);      \
    }
OPENS(open)
OPENS(open64)

int rename(const char *from, const char *to)
{
    int (*real)(const char *, const char *) = dlsym(RTLD_NEXT, "rename");
    if (!below(to)) return real(from, to);
    const char *how = fate(RENAME);
    if (refuses(how)) return -1;
    int done = real(from, to);
    afterwards(how);
    return done;
}

int mkdir(const char *path, mode_t mode)
{
    int (*real)(const char *, mode_t) = dlsym(RTLD_NEXT, "mkdir");
    if (!below(path)) return real(path, mode);
    const char *how = fate(MKDIR);
    if (refuses(how)) return -1;
    int done = real(path, mode);
    afterwards(how);
    return done;
}
