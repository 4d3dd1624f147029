#include "text.h"

#include <errno.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

void rw_digest_text(const void *bytes, size_t size, char out[RW_DIGEST_TEXT]) {
    unsigned char hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256(hash, bytes, size);
    size_t used = (size_t)snprintf(out, RW_DIGEST_TEXT, "sha256:");
    sodium_bin2hex(out + used, RW_DIGEST_TEXT - used, hash, sizeof hash);
}

void rw_random_hex(char *out, size_t bytes) {
    unsigned char random[32];
    if (bytes > sizeof random)
        bytes = sizeof random;
    randombytes_buf(random, bytes);
    sodium_bin2hex(out, 2 * bytes + 1, random, bytes);
    sodium_memzero(random, sizeof random);
}

bool rw_is_hex(const char *text, size_t digits) {
    return strlen(text) == digits && strspn(text, "0123456789abcdef") == digits;
}

/* isalnum() asks the locale; these ids are ASCII whatever the locale. */
static bool is_ascii_alnum(char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

bool rw_is_word(const char *text, size_t longest, const char *others) {
    size_t length = strlen(text);
    if (length == 0 || length > longest)
        return false;
    for (size_t i = 0; i < length; i++)
        if (!is_ascii_alnum(text[i]) && !strchr(others, text[i]))
            return false;
    return true;
}

bool rw_copy(char *out, size_t size, const char *text) {
    if (!text)
        text = "";
    size_t length = strlen(text);
    bool whole = length < size;
    if (!whole)
        length = size - 1;
    memcpy(out, text, length);
    out[length] = '\0';
    return whole;
}

static int64_t read_clock(clockid_t clock) {
    struct timespec now = {0};
    clock_gettime(clock, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

int64_t rw_clock_ms(void) {
    return read_clock(CLOCK_REALTIME);
}

int64_t rw_monotonic_ms(void) {
    return read_clock(CLOCK_MONOTONIC);
}

int32_t rw_today(void) {
    return (int32_t)(rw_clock_ms() / 86400000);
}

void rw_time_text(int64_t clock_ms, char out[RW_TIME_TEXT]) {
    time_t seconds = (time_t)(clock_ms / 1000);
    struct tm utc = {0};
    gmtime_r(&seconds, &utc);
    char whole[24];
    strftime(whole, sizeof whole, "%Y-%m-%dT%H:%M:%S", &utc);
    snprintf(out, RW_TIME_TEXT, "%s.%03dZ", whole, (int)(clock_ms % 1000));
}

char *rw_read_all(int fd, size_t most, size_t *size) {
    size_t room = 65536, used = 0;
    char *text = malloc(room);
    while (text) {
        if (used + 1 == room) {
            char *larger = room <= most + 1 ? realloc(text, 2 * room) : NULL;
            if (!larger)
                break;
            text = larger;
            room *= 2;
        }
        ssize_t got = read(fd, text + used, room - used - 1);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0 || used + (size_t)got > most)
            break;
        if (got == 0) {
            text[used] = '\0';
            *size = used;
            return text;
        }
        used += (size_t)got;
    }
    free(text);
    return NULL;
}
