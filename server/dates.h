/* Days since 1970-01-01, and the one form of date and time that a record may use (RFC 3339, zone mandatory).
 */
#ifndef ROOTWARD_DATES_H
#define ROOTWARD_DATES_H

#include <stdbool.h>
#include <stdint.h>

struct rw_instant {
    int32_t day;     /* the calendar day in the offset given */
    int64_t seconds; /* UTC, since 1970-01-01T00:00:00Z */
    int32_t nanoseconds;
};

int32_t rw_day_of(int year, int month, int day);
void rw_day_text(int32_t day, char text[11]); /* "2026-03-02"; years 0 to 9999 */

/* "2026-03-02", a day that exists, 1900 to 2199. */
bool rw_date_parse(const char *text, int32_t *day);
/* "2026-03-02T09:40:00Z", fraction of one to nine digits allowed, offset Z or ±hh:mm; no 24:00, no leap
 * second. */
bool rw_time_parse(const char *text, struct rw_instant *instant);
bool rw_instant_after(const struct rw_instant *a, const struct rw_instant *b);

#endif
