/* Small things every file of the service needs: hex, digests, the two clocks, bounded copies, whole files. */
#ifndef ROOTWARD_TEXT_H
#define ROOTWARD_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    RW_HASH_BYTES = 32,
    RW_HASH_TEXT = 65,   /* 64 hex digits and NUL */
    RW_DIGEST_TEXT = 72, /* "sha256:" and 64 hex digits and NUL */
    RW_TIME_TEXT = 32    /* "2026-03-02T09:40:00.123Z" and NUL */
};

/* "sha256:<hex>" over the bytes. */
void rw_digest_text(const void *bytes, size_t size, char out[RW_DIGEST_TEXT]);

/* 2 * bytes hex digits from the system's random source, and NUL. At most 32 bytes. */
void rw_random_hex(char *out, size_t bytes);

/* True for exactly `digits` lower-case hex digits and then NUL. */
bool rw_is_hex(const char *text, size_t digits);

/* True when text has 1 to `longest` characters, each a letter, a digit or one of `others`. */
bool rw_is_word(const char *text, size_t longest, const char *others);

/* Copies text and ends it with NUL; false when it had to be cut. NULL counts as "". */
bool rw_copy(char *out, size_t size, const char *text);

int64_t rw_clock_ms(void);     /* since 1970, UTC */
int64_t rw_monotonic_ms(void); /* never goes back: for deadlines */
int32_t rw_today(void);        /* days since 1970-01-01, UTC */
void rw_time_text(int64_t clock_ms, char out[RW_TIME_TEXT]);

/* Reads from fd to its end: malloc'd, NUL-terminated; NULL when it can't be read or is longer than `most`. */
char *rw_read_all(int fd, size_t most, size_t *size);

#endif
