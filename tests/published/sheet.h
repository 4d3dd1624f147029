/* Reads the tab-separated tables of this folder: one header line, comments with #, no quoting. */
#ifndef ROOTWARD_TESTS_SHEET_H
#define ROOTWARD_TESTS_SHEET_H

#include <stdbool.h>
#include <stddef.h>

enum { SHEET_COLUMNS = 12, SHEET_ROWS = 256 };

struct sheet {
    char *text; /* the file, cut in place; cells point into it */
    size_t column_count, row_count;
    const char *header[SHEET_COLUMNS];
    struct sheet_row {
        size_t line; /* in the file, for messages */
        const char *cell[SHEET_COLUMNS];
    } rows[SHEET_ROWS];
};

/* Loads tests/published/<name> (the tests run from the top of the repository). False, with a line on
 * stderr, when the file cannot be read or a row has another number of cells than the header. */
bool sheet_load(struct sheet *sheet, const char *name);
void sheet_free(struct sheet *sheet);

/* A cell by column name; NULL when there is no such column. "-" reads as "". */
const char *sheet_cell(const struct sheet *sheet, size_t row, const char *column);

/* Takes the next word, ended by any character of `separators`, from *rest into `word`. False at the end
 * or when the word does not fit. */
bool next_word(const char **rest, const char *separators, char *word, size_t size);

#endif
