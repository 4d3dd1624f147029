#include "dates.h"

#include <stdio.h>
#include <string.h>

/* Gregorian calendar over 400-year eras; the year starts in March so that leap days come last. */
int32_t rw_day_of(int year, int month, int day) {
    const int y = month <= 2 ? year - 1 : year;
    const int era = (y >= 0 ? y : y - 399) / 400;
    const int year_of_era = y - era * 400;
    const int day_of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    const int day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * 146097 + day_of_era - 719468;
}

void rw_day_text(int32_t day, char text[11]) {
    const int64_t z = (int64_t)day + 719468;
    const int64_t era = (z >= 0 ? z : z - 146096) / 146097;
    const int day_of_era = (int)(z - era * 146097);
    const int year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    const int day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    const int shifted = (5 * day_of_year + 2) / 153;
    const int month = shifted < 10 ? shifted + 3 : shifted - 9;
    const int64_t year = year_of_era + era * 400 + (month <= 2);
    char wide[48];
    snprintf(wide, sizeof wide, "%04lld-%02d-%02d", (long long)year, month,
             day_of_year - (153 * shifted + 2) / 5 + 1);
    memcpy(text, wide, 10);
    text[10] = '\0';
}

/* Reads exactly `count` digits into *value. */
static bool digits(const char **text, int count, int *value) {
    *value = 0;
    for (int i = 0; i < count; i++, (*text)++) {
        if (**text < '0' || **text > '9')
            return false;
        *value = *value * 10 + (**text - '0');
    }
    return true;
}

static bool literal(const char **text, char c) {
    if (**text != c)
        return false;
    (*text)++;
    return true;
}

static bool calendar_day(const char **text, int32_t *out) {
    static const int lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int year, month, day;
    if (!digits(text, 4, &year) || !literal(text, '-') || !digits(text, 2, &month) || !literal(text, '-') ||
        !digits(text, 2, &day))
        return false;
    if (year < 1900 || year > 2199 || month < 1 || month > 12 || day < 1)
        return false;
    const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    if (day > lengths[month - 1] + (month == 2 && leap))
        return false;
    *out = rw_day_of(year, month, day);
    return true;
}

static bool fraction(const char **text, int32_t *nanoseconds) {
    *nanoseconds = 0;
    if (!literal(text, '.'))
        return true;
    int32_t unit = 100000000;
    const char *start = *text;
    for (; **text >= '0' && **text <= '9'; (*text)++, unit /= 10) {
        if (unit == 0)
            return false;
        *nanoseconds += (**text - '0') * unit;
    }
    return *text > start;
}

static bool offset(const char **text, int *seconds) {
    *seconds = 0;
    if (literal(text, 'Z'))
        return true;
    const int sign = **text == '-' ? -1 : 1;
    int hour, minute;
    if (!literal(text, sign < 0 ? '-' : '+') || !digits(text, 2, &hour) || !literal(text, ':') ||
        !digits(text, 2, &minute) || hour > 23 || minute > 59)
        return false;
    *seconds = sign * (hour * 3600 + minute * 60);
    return true;
}

bool rw_date_parse(const char *text, int32_t *day) {
    return calendar_day(&text, day) && *text == '\0';
}

bool rw_time_parse(const char *text, struct rw_instant *instant) {
    int hour, minute, second, ahead;
    if (!calendar_day(&text, &instant->day) || !literal(&text, 'T') || !digits(&text, 2, &hour) ||
        !literal(&text, ':') || !digits(&text, 2, &minute) || !literal(&text, ':') ||
        !digits(&text, 2, &second) || !fraction(&text, &instant->nanoseconds) || !offset(&text, &ahead))
        return false;
    if (*text != '\0' || hour > 23 || minute > 59 || second > 59)
        return false;
    instant->seconds = (int64_t)instant->day * 86400 + hour * 3600 + minute * 60 + second - ahead;
    return true;
}

bool rw_instant_after(const struct rw_instant *a, const struct rw_instant *b) {
    return a->seconds != b->seconds ? a->seconds > b->seconds : a->nanoseconds > b->nanoseconds;
}
