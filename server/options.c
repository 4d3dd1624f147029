#include "options.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct rw_option *find(const struct rw_option *options, size_t count, const char *word,
                                    size_t length) {
    for (size_t i = 0; i < count; i++)
        if (strlen(options[i].name) == length && strncmp(options[i].name, word, length) == 0)
            return &options[i];
    return NULL;
}

/* Takes the option at words[*at], and its value; *at ends on the last word taken. */
static bool take_option(const struct rw_option *options, size_t option_count, char **words, size_t count,
                        size_t *at) {
    const char *word = words[*at];
    size_t length = strcspn(word, "=");
    bool joined = word[length] == '=';
    const struct rw_option *option = find(options, option_count, word, length);
    if (!option || (!option->value && joined)) {
        fprintf(stderr, "rootward: unknown option %s\n", word);
        return false;
    }
    if (!option->value) {
        *option->flag = true;
        return true;
    }
    if (!joined && *at + 1 == count) {
        fprintf(stderr, "rootward: %s needs a value\n", word);
        return false;
    }
    *option->value = joined ? word + length + 1 : words[++*at];
    return true;
}

bool rw_options_parse(const struct rw_option *options, size_t option_count, char **words, size_t *count,
                      size_t most) {
    size_t kept = 0;
    for (size_t i = 0; i < *count; i++) {
        if (words[i][0] == '-' && words[i][1] != '\0') {
            if (!take_option(options, option_count, words, *count, &i))
                return false;
        } else if (kept == most) {
            fprintf(stderr, "rootward: one word too many: %s\n", words[i]);
            return false;
        } else {
            words[kept++] = words[i];
        }
    }
    *count = kept;
    return true;
}

bool rw_option_number(const char *text, unsigned low, unsigned high, unsigned *out) {
    size_t digits = strlen(text);
    if (digits == 0 || digits > 6 || strspn(text, "0123456789") != digits)
        return false;
    *out = (unsigned)strtoul(text, NULL, 10);
    return *out >= low && *out <= high;
}
