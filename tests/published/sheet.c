#include "sheet.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *read_file(const char *path) {
    char *text = NULL;
    FILE *file = fopen(path, "rb");
    if (!file)
        return NULL;
    if (fseek(file, 0, SEEK_END) != 0)
        goto out;
    long size = ftell(file);
    if (size < 0 || fseek(file, 0, SEEK_SET) != 0)
        goto out;
    text = malloc((size_t)size + 1);
    if (!text)
        goto out;
    size_t got = fread(text, 1, (size_t)size, file);
    text[got] = '\0';
out:
    (void)fclose(file);
    return text;
}

/* Cuts a line at its tabs; the number of cells, or SHEET_COLUMNS + 1 when there are too many. */
static size_t cut(char *line, const char *cells[SHEET_COLUMNS]) {
    size_t count = 0;
    while (line) {
        if (count == SHEET_COLUMNS)
            return SHEET_COLUMNS + 1;
        cells[count++] = line;
        line = strchr(line, '\t');
        if (line)
            *line++ = '\0';
    }
    return count;
}

static bool add_line(struct sheet *sheet, char *line, size_t number, const char *name) {
    if (*line == '\0' || *line == '#')
        return true;
    if (sheet->column_count == 0) {
        sheet->column_count = cut(line, sheet->header);
        return sheet->column_count <= SHEET_COLUMNS;
    }
    if (sheet->row_count == SHEET_ROWS) {
        fprintf(stderr, "%s:%zu: more than %d rows\n", name, number, (int)SHEET_ROWS);
        return false;
    }
    struct sheet_row *row = &sheet->rows[sheet->row_count++];
    row->line = number;
    if (cut(line, row->cell) == sheet->column_count)
        return true;
    fprintf(stderr, "%s:%zu: not %zu cells\n", name, number, sheet->column_count);
    return false;
}

bool sheet_load(struct sheet *sheet, const char *name) {
    char path[256];
    (void)snprintf(path, sizeof path, "tests/published/%s", name);
    *sheet = (struct sheet){.text = read_file(path)};
    if (!sheet->text) {
        fprintf(stderr, "%s: cannot be read\n", path);
        return false;
    }
    bool good = true;
    size_t number = 1;
    for (char *line = sheet->text, *next; line; line = next, number++) {
        next = strchr(line, '\n');
        if (next)
            *next++ = '\0';
        good = add_line(sheet, line, number, name) && good;
    }
    return good && sheet->column_count > 0;
}

void sheet_free(struct sheet *sheet) {
    free(sheet->text);
    sheet->text = NULL;
}

const char *sheet_cell(const struct sheet *sheet, size_t row, const char *column) {
    for (size_t i = 0; i < sheet->column_count; i++) {
        if (strcmp(sheet->header[i], column) == 0) {
            const char *cell = sheet->rows[row].cell[i];
            return strcmp(cell, "-") == 0 ? "" : cell;
        }
    }
    return NULL;
}

bool next_word(const char **rest, const char *separators, char *word, size_t size) {
    const char *start = *rest + strspn(*rest, separators);
    size_t length = strcspn(start, separators);
    *rest = start + length;
    if (length == 0 || length >= size)
        return false;
    memcpy(word, start, length);
    word[length] = '\0';
    return true;
}
