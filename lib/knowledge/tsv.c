#include "tsv.h"

#include <errno.h>
#include <math.h>
#include <stdalign.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct kn_block {
    struct kn_block *next;
    alignas(max_align_t) unsigned char bytes[];
};

void *kn_new(struct kn_arena *arena, size_t count, size_t size) {
    if (count == 0)
        count = 1;
    struct kn_block *block = NULL;
    if (size <= (SIZE_MAX - sizeof *block) / count)
        block = calloc(1, sizeof *block + count * size);
    if (!block) {
        fprintf(stderr, "out of memory\n");
        exit(1);
    }
    block->next = arena->blocks;
    arena->blocks = block;
    return block->bytes;
}

char *kn_copy(struct kn_arena *arena, const char *text) {
    size_t size = strlen(text) + 1;
    return memcpy(kn_new(arena, size, 1), text, size);
}

void kn_arena_release(struct kn_arena *arena) {
    while (arena->blocks) {
        struct kn_block *next = arena->blocks->next;
        free(arena->blocks);
        arena->blocks = next;
    }
}

const char *kn_format(struct kn_arena *arena, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    /* the analyser loses va_start when it checks several files in one run */
    int length = vsnprintf(NULL, 0, format, arguments); // NOLINT(clang-analyzer-valist.Uninitialized)
    va_end(arguments);
    size_t size = length < 0 ? 1 : (size_t)length + 1;
    char *text = kn_new(arena, size, 1);
    va_start(arguments, format);
    vsnprintf(text, size, format, arguments);
    va_end(arguments);
    return text;
}

__attribute__((format(printf, 4, 0))) static void
complain_list(struct kn_log *log, const char *path, size_t line, const char *format, va_list arguments) {
    if (log->count++ >= KN_MAX_COMPLAINTS)
        return;
    fprintf(stderr, "%s:%zu: ", path, line);
    vfprintf(stderr, format, arguments); // NOLINT(clang-analyzer-valist.Uninitialized): as above
    fputc('\n', stderr);
}

void kn_complain(struct kn_log *log, const char *path, size_t line, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    complain_list(log, path, line, format, arguments);
    va_end(arguments);
}

void kn_fault(const struct kn_file *file, size_t row, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    complain_list(file->log, file->path, file->rows[row].line, format, arguments);
    va_end(arguments);
}

/* ---- reading ---- */

/* The whole file, NUL-terminated; NULL after a complaint. */
static char *slurp(struct kn_file *file, struct kn_arena *arena) {
    char *bytes = NULL;
    FILE *stream = fopen(file->path, "rb");
    if (!stream) {
        kn_complain(file->log, file->path, 1, "cannot be read: %s", strerror(errno));
        return NULL;
    }
    long size = -1;
    if (fseek(stream, 0, SEEK_END) == 0)
        size = ftell(stream);
    if (size < 0 || size > KN_MAX_FILE || fseek(stream, 0, SEEK_SET) != 0) {
        kn_complain(file->log, file->path, 1, "cannot be read, or larger than %d bytes", KN_MAX_FILE);
        goto out;
    }
    file->size = (size_t)size;
    bytes = kn_new(arena, file->size + 1, 1);
    if (fread(bytes, 1, file->size, stream) != file->size) {
        kn_complain(file->log, file->path, 1, "cannot be read");
        bytes = NULL;
    }
out:
    fclose(stream);
    return bytes;
}

/* Length of the well-formed UTF-8 sequence at text (RFC 3629), or 0. */
static size_t utf8_length(const unsigned char *text) {
    unsigned char lead = text[0];
    size_t length = lead < 0x80   ? 1
                    : lead < 0xc2 ? 0
                    : lead < 0xe0 ? 2
                    : lead < 0xf0 ? 3
                    : lead < 0xf5 ? 4
                                  : 0;
    for (size_t i = 1; i < length; i++)
        if ((text[i] & 0xc0) != 0x80)
            return 0;
    if ((lead == 0xe0 && text[1] < 0xa0) || (lead == 0xed && text[1] > 0x9f) ||
        (lead == 0xf0 && text[1] < 0x90) || (lead == 0xf4 && text[1] > 0x8f))
        return 0;
    return length;
}

/* Complains about bytes that no line may hold. */
static bool line_is_clean(const struct kn_file *file, const char *line, size_t number) {
    for (const unsigned char *at = (const unsigned char *)line; *at;) {
        size_t length = utf8_length(at);
        if (length == 0 || (*at < ' ' && *at != '\t') || *at == 0x7f) {
            kn_complain(file->log, file->path, number, "%s at byte %td",
                        length == 0 ? "invalid UTF-8" : "control character",
                        at - (const unsigned char *)line + 1);
            return false;
        }
        at += length;
    }
    return true;
}

/* Cuts text at each separator, in place. Returns the number of pieces. */
static size_t cut(struct kn_arena *arena, char *text, char separator, const char ***pieces) {
    size_t count = 1;
    for (const char *at = text; *at; at++)
        count += *at == separator;
    *pieces = kn_new(arena, count, sizeof **pieces);
    for (size_t i = 0; i < count; i++) {
        (*pieces)[i] = text;
        char *end = strchr(text, separator);
        if (end) {
            *end = '\0';
            text = end + 1;
        }
    }
    return count;
}

static void check_header(struct kn_file *file, const char *const *given, size_t given_count, size_t line) {
    size_t before = file->log->count;
    for (size_t i = 0; i < given_count; i++)
        if (kn_word_index(given[i], file->columns, file->column_count) == file->column_count)
            kn_complain(file->log, file->path, line, "unknown column '%s'", given[i]);
    for (size_t i = 0; i < file->column_count; i++)
        if (kn_word_index(file->columns[i], given, given_count) == given_count)
            kn_complain(file->log, file->path, line, "missing column '%s'", file->columns[i]);
    if (file->log->count != before)
        return;
    for (size_t i = 0; i < given_count; i++)
        if (given_count != file->column_count || strcmp(given[i], file->columns[i]) != 0) {
            kn_complain(file->log, file->path, line, "the columns are: %s", file->shape->columns);
            return;
        }
}

/* Complains about the cells of one row; true when it can be used. */
static bool row_is_sound(struct kn_file *file, const char *const *cells, size_t cell_count, size_t line) {
    if (cell_count != file->column_count) {
        kn_complain(file->log, file->path, line, "%zu cells, expected %zu", cell_count, file->column_count);
        return false;
    }
    for (size_t i = 0; i < cell_count; i++) {
        const char *cell = cells[i], *column = file->columns[i];
        size_t length = strlen(cell);
        bool is_source = i == cell_count - 1;
        if (is_source && (length == 0 || strcmp(cell, "-") == 0))
            kn_complain(file->log, file->path, line, "no source");
        else if (length == 0)
            kn_complain(file->log, file->path, line, "%s is empty (write - for none)", column);
        else if (cell[0] == ' ' || cell[length - 1] == ' ' || length > KN_MAX_CELL)
            kn_complain(file->log, file->path, line,
                        "%s starts or ends with a space, or is longer than %d bytes", column, KN_MAX_CELL);
        else
            continue;
        return false;
    }
    return true;
}

static void check_keys(const struct kn_file *file, struct kn_arena *arena) {
    const char *const *names = NULL;
    size_t count = kn_split(arena, file->shape->key, &names);
    for (size_t row = 1; row < file->row_count; row++)
        for (size_t other = 0; other < row; other++) {
            size_t same = 0;
            while (same < count && kn_is(file, row, names[same], kn_cell(file, other, names[same])))
                same++;
            if (same == count) {
                kn_fault(file, row, "duplicate %s '%s' (see line %zu)", file->shape->key,
                         kn_cell(file, row, names[count - 1]), file->rows[other].line);
                break;
            }
        }
}

static void read_lines(struct kn_file *file, const char *const *lines, size_t line_count,
                       struct kn_arena *arena) {
    bool header_seen = false;
    file->rows = kn_new(arena, line_count, sizeof *file->rows);
    for (size_t i = 0; i < line_count; i++) {
        if (lines[i][0] == '#' || lines[i][strspn(lines[i], " ")] == '\0')
            continue;
        if (!line_is_clean(file, lines[i], i + 1))
            continue;
        const char **cells = NULL;
        size_t cell_count = cut(arena, kn_copy(arena, lines[i]), '\t', &cells);
        if (!header_seen) {
            check_header(file, cells, cell_count, i + 1);
        } else if (row_is_sound(file, cells, cell_count, i + 1)) {
            struct kn_row *row = &file->rows[file->row_count++];
            row->line = i + 1;
            memcpy(row->cells, cells, cell_count * sizeof *cells);
        }
        header_seen = true;
    }
}

void kn_file_read(struct kn_file *file, const struct kn_shape *shape, const char *directory,
                  struct kn_arena *arena, struct kn_log *log) {
    *file = (struct kn_file){.shape = shape, .log = log};
    file->path = kn_format(arena, "%s/%s", directory, shape->name);
    file->column_count = kn_split(arena, shape->columns, &file->columns);
    file->rows = kn_new(arena, 1, sizeof *file->rows);
    size_t before = log->count;
    char *bytes = slurp(file, arena);
    if (!bytes)
        return;
    file->bytes = bytes;
    if (memchr(bytes, '\0', file->size)) {
        kn_complain(log, file->path, 1, "contains a NUL byte");
        return;
    }
    const char **lines = NULL;
    size_t line_count = cut(arena, kn_copy(arena, bytes), '\n', &lines);
    read_lines(file, lines, line_count, arena);
    if (file->row_count == 0 && log->count == before)
        kn_complain(log, file->path, 1, "has no rows");
    check_keys(file, arena);
}

/* ---- cells ---- */

const char *kn_cell(const struct kn_file *file, size_t row, const char *column) {
    size_t index = kn_word_index(column, file->columns, file->column_count);
    if (index == file->column_count) {
        fprintf(stderr, "%s has no column %s\n", file->shape->name, column);
        abort();
    }
    return file->rows[row].cells[index];
}

bool kn_is(const struct kn_file *file, size_t row, const char *column, const char *text) {
    return strcmp(kn_cell(file, row, column), text) == 0;
}

size_t kn_find(const struct kn_file *file, const char *column, const char *text) {
    for (size_t row = 0; row < file->row_count; row++)
        if (kn_is(file, row, column, text))
            return row;
    return SIZE_MAX;
}

double kn_number(const struct kn_file *file, size_t row, const char *column, double low, double high,
                 const double *none) {
    const char *cell = kn_cell(file, row, column);
    if (none && strcmp(cell, "-") == 0)
        return *none;
    char *end = NULL;
    double value = strtod(cell, &end);
    if (strspn(cell, "0123456789.eE+-") != strlen(cell) || *end != '\0' || end == cell || !isfinite(value))
        kn_fault(file, row, "%s '%s' is not a number", column, cell);
    else if (value < low || value > high)
        kn_fault(file, row, "%s %s lies outside %g to %g", column, cell, low, high);
    else
        return value;
    return low;
}

size_t kn_word_index(const char *word, const char *const *words, size_t count) {
    size_t i = 0;
    while (i < count && strcmp(word, words[i]) != 0)
        i++;
    return i;
}

size_t kn_word(const struct kn_file *file, size_t row, const char *column, const char *const *words,
               size_t count) {
    size_t index = kn_word_index(kn_cell(file, row, column), words, count);
    if (index < count)
        return index;
    kn_fault(file, row, "unknown %s '%s'", column, kn_cell(file, row, column));
    return 0;
}

bool kn_yes(const struct kn_file *file, size_t row, const char *column) {
    static const char *const words[] = {"no", "yes"};
    return kn_word(file, row, column, words, 2) == 1;
}

const char *kn_optional(const struct kn_file *file, size_t row, const char *column) {
    return kn_is(file, row, column, "-") ? NULL : kn_cell(file, row, column);
}

size_t kn_split(struct kn_arena *arena, const char *text, const char *const **words) {
    static const char *const none[1];
    if (strcmp(text, "-") == 0) {
        *words = none;
        return 0;
    }
    const char **pieces = NULL;
    size_t count = cut(arena, kn_copy(arena, text), ' ', &pieces);
    *words = pieces;
    return count;
}

const char *kn_sources(struct kn_arena *arena, const char *first, const struct kn_file *file,
                       const char *column, const char *text) {
    const char *joined = first;
    for (size_t row = 0; row < file->row_count; row++) {
        const char *source = kn_cell(file, row, "source");
        if (!kn_is(file, row, column, text) || strcmp(source, first) == 0)
            continue;
        size_t earlier = 0;
        while (earlier < row &&
               !(kn_is(file, earlier, column, text) && kn_is(file, earlier, "source", source)))
            earlier++;
        if (earlier == row)
            joined = kn_format(arena, "%s; %s", joined, source);
    }
    return joined;
}
