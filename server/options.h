/* Options of the command line: "--name value", "--name=value" or "--flag"; the rest is positional. */
#ifndef ROOTWARD_OPTIONS_H
#define ROOTWARD_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

struct rw_option {
    const char *name;   /* "--data" */
    const char **value; /* takes a value; or NULL … */
    bool *flag;         /* … and this is set */
};

/* Fills the options and compacts what is positional to the front of `words`, *count of them. False: an
 * unknown option, one without its value, or more than `most` positional words; stderr says which. */
bool rw_options_parse(const struct rw_option *options, size_t option_count, char **words, size_t *count,
                      size_t most);

/* True when the text is a whole number from low to high. */
bool rw_option_number(const char *text, unsigned low, unsigned high, unsigned *out);

#endif
