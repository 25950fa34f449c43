/* Notes what a process writes below one folder, and when it asks for it to be made durable.

   Loaded by LD_PRELOAD in front of the C library. POWER_CUT_FOLDER is the folder, POWER_CUT_NOTES the file that
   gets the notes, in the order in which the calls returned: one byte of what it was (see `enum`), length of the
   path (2 bytes), of the data (4), offset or size (8), all as this machine orders bytes, then path and data.
   Memory-mapped writes are not seen: SQLite maps its -shm alone, which it makes anew after a power cut. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

enum { WRITE = 'w', TRUNCATE = 't', SYNC = 's', UNLINK = 'u', RENAME = 'r', LINK = 'l', CREATE = 'c' };

#define MOST_FILES 1024
static char *names[MOST_FILES];
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int notes = -1;

static int is_ours(const char *path) {
    const char *folder = getenv("POWER_CUT_FOLDER");
    return folder && path && strncmp(path, folder, strlen(folder)) == 0;
}

static void put(const void *from, size_t length) {
    const char *at = from;
    while (length) {
        long done = syscall(SYS_write, notes, at, length);
        if (done <= 0) abort();
        at += done;
        length -= done;
    }
}

static void note(char what, const char *path, const void *data, uint32_t length, int64_t offset) {
    if (notes < 0) {
        const char *file = getenv("POWER_CUT_NOTES");
        notes = file ? syscall(SYS_openat, AT_FDCWD, file, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600) : -1;
        if (notes < 0) abort();
    }
    uint16_t path_length = strlen(path);
    put(&what, 1);
    put(&path_length, 2);
    put(&length, 4);
    put(&offset, 8);
    put(path, path_length);
    put(data, length);
}

static const char *name_of(int number) { return number >= 0 && number < MOST_FILES ? names[number] : NULL; }

static void remember(int number, const char *path, int flags) {
    if (number < 0 || number >= MOST_FILES) return;
    pthread_mutex_lock(&lock);
    free(names[number]);
    names[number] = is_ours(path) ? strdup(path) : NULL;
    if (names[number] && (flags & O_CREAT)) note(CREATE, path, "", 0, 0);
    if (names[number] && (flags & O_TRUNC)) note(TRUNCATE, path, "", 0, 0);
    pthread_mutex_unlock(&lock);
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

#define OPEN(name)                                                                                            \
    int name(const char *path, int flags, ...) {                                                              \
        va_list rest;                                                                                         \
        va_start(rest, flags);                                                                                \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(rest, mode_t) : 0;                               \
        va_end(rest);                                                                                         \
        int number = REAL(name)(path, flags, mode);                                                           \
        remember(number, path, flags);                                                                        \
        return number;                                                                                        \
    }
OPEN(open)
OPEN(open64)

int close(int number) {
    if (name_of(number)) {
        pthread_mutex_lock(&lock);
        free(names[number]);
        names[number] = NULL;
        pthread_mutex_unlock(&lock);
    }
    return REAL(close)(number);
}

/* Calls that change a file: noted under the lock, so that notes have the order of the changes. */
#define CHANGE(call, done, number, what, data, length, offset)                                                \
    const char *path = name_of(number);                                                                       \
    if (!path) return call;                                                                                   \
    pthread_mutex_lock(&lock);                                                                                \
    __typeof__(call) answer = call;                                                                           \
    if (done) note(what, path, data, length, offset);                                                         \
    pthread_mutex_unlock(&lock);                                                                              \
    return answer;

ssize_t pwrite(int number, const void *data, size_t length, off_t offset) {
    CHANGE(REAL(pwrite)(number, data, length, offset), answer > 0, number, WRITE, data, answer, offset)
}

ssize_t pwrite64(int number, const void *data, size_t length, off64_t offset) {
    CHANGE(REAL(pwrite64)(number, data, length, offset), answer > 0, number, WRITE, data, answer, offset)
}

ssize_t write(int number, const void *data, size_t length) {
    CHANGE(REAL(write)(number, data, length), answer > 0, number, WRITE, data, answer,
           lseek(number, 0, SEEK_CUR) - answer)
}

int ftruncate(int number, off_t size) {
    CHANGE(REAL(ftruncate)(number, size), answer == 0, number, TRUNCATE, "", 0, size)
}

int ftruncate64(int number, off64_t size) {
    CHANGE(REAL(ftruncate64)(number, size), answer == 0, number, TRUNCATE, "", 0, size)
}

int fsync(int number) { CHANGE(REAL(fsync)(number), answer == 0, number, SYNC, "", 0, 0) }

int fdatasync(int number) { CHANGE(REAL(fdatasync)(number), answer == 0, number, SYNC, "", 0, 0) }

int unlink(const char *path) {
    int answer = REAL(unlink)(path);
    if (answer == 0 && is_ours(path)) {
        pthread_mutex_lock(&lock);
        note(UNLINK, path, "", 0, 0);
        pthread_mutex_unlock(&lock);
    }
    return answer;
}

/* Of both the data is the new name. */
#define TWO_NAMES(name, what)                                                                                 \
    int name(const char *from, const char *to) {                                                              \
        int answer = REAL(name)(from, to);                                                                    \
        if (answer == 0 && is_ours(to)) {                                                                     \
            pthread_mutex_lock(&lock);                                                                        \
            note(what, from, to, strlen(to), 0);                                                              \
            pthread_mutex_unlock(&lock);                                                                      \
        }                                                                                                     \
        return answer;                                                                                        \
    }
TWO_NAMES(rename, RENAME)
TWO_NAMES(link, LINK)
