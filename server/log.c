#include "log.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "text.h"

/* One write() a line, so that lines of different threads never mix. A log that can't be written must not
 * stop the service: the audit is the record that counts. */
static void put_line(const char *line, int length) {
    if (length > 0) {
        ssize_t ignored = write(STDERR_FILENO, line, (size_t)length);
        (void)ignored;
    }
}

/* JSON text without the characters that would need an escape. */
static void plain(char *out, size_t size, const char *text) {
    rw_copy(out, size, text);
    for (char *c = out; *c; c++)
        if ((unsigned char)*c < 0x20 || (unsigned char)*c > 0x7e || *c == '"' || *c == '\\')
            *c = '_';
}

void rw_log_access(const struct rw_access_line *line) {
    char now[RW_TIME_TEXT], text[600];
    rw_time_text(rw_clock_ms(), now);
    int length = snprintf(
        text, sizeof text,
        "{\"time\":\"%s\",\"event\":\"request\",\"request_id\":\"%s\",\"actor\":\"%s\",\"method\":\"%s\","
        "\"route\":\"%s\",\"status\":%u,\"ms\":%" PRId64 ",\"in\":%zu,\"out\":%zu,\"end\":\"%s\"}\n",
        now, line->request_id, line->actor, line->method, line->route, line->status, line->milliseconds,
        line->bytes_in, line->bytes_out, line->end);
    put_line(text, length < (int)sizeof text ? length : 0);
}

void rw_log_event(const char *event, const char *detail) {
    char now[RW_TIME_TEXT], safe[240], text[400];
    rw_time_text(rw_clock_ms(), now);
    plain(safe, sizeof safe, detail);
    int length = snprintf(text, sizeof text, "{\"time\":\"%s\",\"event\":\"%s\",\"detail\":\"%s\"}\n", now,
                          event, safe);
    put_line(text, length < (int)sizeof text ? length : 0);
}
