/*
 * Writes down what a process does to the files below one folder, in the order in which it does it: to be loaded before libc
 * (LD_PRELOAD). From the log a test builds the files that a loss of power would have left at any instant.
 *
 * WRITE_LOG names the log, WRITE_LOG_FOLDER the folder. A record is, little-endian: u64 CLOCK_MONOTONIC ns, u8 kind, u32 file (an
 * inode of this log), u64 offset, u32 length, then `length` bytes. Kinds: 'o' a file is opened (offset: open flags, bytes: path), 'w'
 * write, 't' truncate (offset: size), 's' sync of the file, 'd' sync of a folder (bytes: path), 'r' rename (bytes: from NUL to), 'u'
 * unlink, 'm' mkdir (bytes: path). Numbers of files are those of stat, which is asked at the opening.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

#define MOST_FDS 65536

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int logFd = -2;
static char folder[PATH_MAX];
static size_t folderLength;
/* Number of the file behind a descriptor, 0 for one that is none of ours; 1 marks a folder of ours. */
static uint32_t fileOf[MOST_FDS];

static void start(void) {
  if (logFd != -2) return;
  const char *name = getenv("WRITE_LOG");
  const char *root = getenv("WRITE_LOG_FOLDER");
  if (!name || !root || !realpath(root, folder)) {
    logFd = -1;
    return;
  }
  folderLength = strlen(folder);
  logFd = (int)syscall(SYS_openat, AT_FDCWD, name, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static void record(char kind, uint32_t file, uint64_t offset, const void *bytes, size_t length) {
  struct timespec now;
  unsigned char head[25];
  clock_gettime(CLOCK_MONOTONIC, &now);
  uint64_t ns = (uint64_t)now.tv_sec * 1000000000u + (uint64_t)now.tv_nsec;
  uint32_t length32 = (uint32_t)length;
  memcpy(head, &ns, 8);
  head[8] = (unsigned char)kind;
  memcpy(head + 9, &file, 4);
  memcpy(head + 13, &offset, 8);
  memcpy(head + 21, &length32, 4);
  struct iovec parts[2] = {{head, sizeof head}, {(void *)bytes, length}};
  if (syscall(SYS_writev, logFd, parts, length > 0 ? 2 : 1) < 0) abort();
}

/* The whole path where it lies below the folder, else NULL. */
static const char *inside(const char *path, char *whole) {
  char parent[PATH_MAX];
  if (!path || strlen(path) >= PATH_MAX) return NULL;
  strcpy(parent, path);
  char *slash = strrchr(parent, '/');
  const char *name = slash ? slash + 1 : parent;
  char real[PATH_MAX];
  if (!slash) {
    if (!realpath(".", real)) return NULL;
  } else {
    *slash = 0;
    if (!realpath(slash == parent ? "/" : parent, real)) return NULL;
  }
  if (snprintf(whole, PATH_MAX, "%s/%s", real, name) >= PATH_MAX) return NULL;
  if (strcmp(whole, folder) == 0) return whole;
  return strncmp(whole, folder, folderLength) == 0 && whole[folderLength] == '/' ? whole : NULL;
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

static int opened(int fd, const char *path, int flags) {
  char whole[PATH_MAX];
  struct stat stat_;
  if (fd < 0 || fd >= MOST_FDS) return fd;
  pthread_mutex_lock(&lock);
  start();
  fileOf[fd] = 0;
  if (logFd >= 0 && inside(path, whole) && fstat(fd, &stat_) == 0) {
    if (S_ISDIR(stat_.st_mode)) {
      fileOf[fd] = 1;
    } else if (S_ISREG(stat_.st_mode)) {
      fileOf[fd] = (uint32_t)stat_.st_ino;
      record('o', fileOf[fd], (uint64_t)flags, whole, strlen(whole));
    }
  }
  pthread_mutex_unlock(&lock);
  return fd;
}

#define OPENING(name)                                     \
  int name(const char *path, int flags, ...) {            \
    mode_t mode = 0;                                      \
    if (flags & (O_CREAT | O_TMPFILE)) {                  \
      va_list rest;                                       \
      va_start(rest, flags);                              \
      mode = va_arg(rest, mode_t);                        \
      va_end(rest);                                       \
    }                                                     \
    return opened(REAL(name)(path, flags, mode), path, flags); \
  }
OPENING(open)
OPENING(open64)

#define OPENING_AT(name)                                            \
  int name(int dir, const char *path, int flags, ...) {             \
    mode_t mode = 0;                                                \
    if (flags & (O_CREAT | O_TMPFILE)) {                            \
      va_list rest;                                                 \
      va_start(rest, flags);                                        \
      mode = va_arg(rest, mode_t);                                  \
      va_end(rest);                                                 \
    }                                                               \
    int fd = REAL(name)(dir, path, flags, mode);                    \
    return dir == AT_FDCWD || path[0] == '/' ? opened(fd, path, flags) : fd; \
  }
OPENING_AT(openat)
OPENING_AT(openat64)

int close(int fd) {
  if (fd >= 0 && fd < MOST_FDS) fileOf[fd] = 0;
  return REAL(close)(fd);
}

static uint32_t known(int fd) { return logFd >= 0 && fd >= 0 && fd < MOST_FDS ? fileOf[fd] : 0; }

/* What is written down stands in the log before a later sync does: both under the lock. */
static ssize_t wrote(int fd, const void *bytes, ssize_t done, off_t at) {
  if (done > 0 && known(fd) > 1) record('w', known(fd), (uint64_t)at, bytes, (size_t)done);
  return done;
}

#define PWRITE(name, offset_t)                                       \
  ssize_t name(int fd, const void *bytes, size_t length, offset_t at) { \
    if (known(fd) < 2) return REAL(name)(fd, bytes, length, at);     \
    pthread_mutex_lock(&lock);                                       \
    ssize_t done = wrote(fd, bytes, REAL(name)(fd, bytes, length, at), (off_t)at); \
    pthread_mutex_unlock(&lock);                                     \
    return done;                                                     \
  }
PWRITE(pwrite, off_t)
PWRITE(pwrite64, off64_t)

ssize_t write(int fd, const void *bytes, size_t length) {
  if (known(fd) < 2) return REAL(write)(fd, bytes, length);
  pthread_mutex_lock(&lock);
  ssize_t done = REAL(write)(fd, bytes, length);
  /* With O_APPEND too the place after the write is the end of what was written. */
  off_t end = lseek(fd, 0, SEEK_CUR);
  wrote(fd, bytes, done, done > 0 ? end - done : 0);
  pthread_mutex_unlock(&lock);
  return done;
}

/* A call that this log does not follow would leave a hole in it: better no test than a wrong one. */
#define UNFOLLOWED(result, name, arguments, passed)  \
  result name arguments {                            \
    if (known(fd) > 1) {                             \
      fprintf(stderr, "write-log: %s is not followed\n", #name); \
      abort();                                       \
    }                                                \
    return REAL(name) passed;                        \
  }
UNFOLLOWED(ssize_t, writev, (int fd, const struct iovec *parts, int count), (fd, parts, count))
UNFOLLOWED(ssize_t, pwritev, (int fd, const struct iovec *parts, int count, off_t at), (fd, parts, count, at))
UNFOLLOWED(ssize_t, pwritev64, (int fd, const struct iovec *parts, int count, off64_t at), (fd, parts, count, at))
UNFOLLOWED(int, posix_fallocate, (int fd, off_t at, off_t length), (fd, at, length))
UNFOLLOWED(int, fallocate, (int fd, int mode, off_t at, off_t length), (fd, mode, at, length))

#define TRUNCATING(name, offset_t)                    \
  int name(int fd, offset_t size) {                   \
    if (known(fd) < 2) return REAL(name)(fd, size);   \
    pthread_mutex_lock(&lock);                        \
    int result = REAL(name)(fd, size);                \
    if (result == 0) record('t', known(fd), (uint64_t)size, NULL, 0); \
    pthread_mutex_unlock(&lock);                      \
    return result;                                    \
  }
TRUNCATING(ftruncate, off_t)
TRUNCATING(ftruncate64, off64_t)

static int synced(int fd, int result) {
  char link[64];
  char path[PATH_MAX];
  if (result != 0 || known(fd) == 0) return result;
  if (known(fd) > 1) {
    record('s', known(fd), 0, NULL, 0);
    return result;
  }
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(link, path, sizeof path);
  if (length > 0) record('d', 0, 0, path, (size_t)length);
  return result;
}

/* A write that another thread makes meanwhile is not synced for sure: it waits for the end of the sync. */
#define SYNCING(name)                     \
  int name(int fd) {                      \
    if (known(fd) == 0) return REAL(name)(fd); \
    pthread_mutex_lock(&lock);            \
    int result = synced(fd, REAL(name)(fd)); \
    pthread_mutex_unlock(&lock);          \
    return result;                        \
  }
SYNCING(fsync)
SYNCING(fdatasync)

int rename(const char *from, const char *to) {
  char both[2 * PATH_MAX + 1];
  char whole[PATH_MAX];
  pthread_mutex_lock(&lock);
  start();
  int result = REAL(rename)(from, to);
  if (result == 0 && logFd >= 0 && inside(from, whole)) {
    size_t length = strlen(whole);
    memcpy(both, whole, length + 1);
    if (inside(to, whole)) {
      memcpy(both + length + 1, whole, strlen(whole));
      record('r', 0, 0, both, length + 1 + strlen(whole));
    }
  }
  pthread_mutex_unlock(&lock);
  return result;
}

int unlink(const char *path) {
  char whole[PATH_MAX];
  pthread_mutex_lock(&lock);
  start();
  const char *ours = logFd >= 0 ? inside(path, whole) : NULL;
  int result = REAL(unlink)(path);
  if (result == 0 && ours) record('u', 0, 0, whole, strlen(whole));
  pthread_mutex_unlock(&lock);
  return result;
}

int mkdir(const char *path, mode_t mode) {
  char whole[PATH_MAX];
  pthread_mutex_lock(&lock);
  start();
  int result = REAL(mkdir)(path, mode);
  if (result == 0 && logFd >= 0 && inside(path, whole)) record('m', 0, 0, whole, strlen(whole));
  pthread_mutex_unlock(&lock);
  return result;
}
