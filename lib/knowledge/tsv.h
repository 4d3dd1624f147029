/* Reading the knowledge: tab-separated files, complaints that name file and line, and an arena.
 *
 * A complaint is printed at once on stderr; the caller asks the log afterwards whether there was any.
 * Everything that is read lives in the arena until kn_arena_release(). */
#ifndef ROOTWARD_KNOWLEDGE_TSV_H
#define ROOTWARD_KNOWLEDGE_TSV_H

#include <stdbool.h>
#include <stddef.h>

enum { KN_MAX_COMPLAINTS = 50, KN_MAX_CELL = 4000, KN_MAX_COLUMNS = 24, KN_MAX_FILE = 1 << 24 };

struct kn_block;
struct kn_arena {
    struct kn_block *blocks;
};
/* Zeroed memory for count items; at least one item. Ends the program when there is no memory. */
void *kn_new(struct kn_arena *arena, size_t count, size_t size) __attribute__((returns_nonnull));
const char *kn_format(struct kn_arena *arena, const char *format, ...)
    __attribute__((format(printf, 2, 3), nonnull, returns_nonnull));
char *kn_copy(struct kn_arena *arena, const char *text) __attribute__((returns_nonnull));
void kn_arena_release(struct kn_arena *arena);

struct kn_log {
    size_t count; /* of complaints, printed or not */
};
void kn_complain(struct kn_log *log, const char *path, size_t line, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* What a file must look like. The last column of each is `source`. */
struct kn_shape {
    const char *name;    /* "sites.tsv" */
    const char *columns; /* space-separated, in order */
    const char *key;     /* space-separated columns that no two rows share */
};
struct kn_row {
    size_t line;
    const char *cells[KN_MAX_COLUMNS];
};
struct kn_file {
    const struct kn_shape *shape;
    const char *path;
    const char *bytes; /* as on disk */
    size_t size, column_count, row_count;
    const char *const *columns;
    struct kn_row *rows;
    struct kn_log *log;
};

/* Reads and checks directory/shape->name: header, cell counts, empty cells, sources, keys, UTF-8. */
void kn_file_read(struct kn_file *file, const struct kn_shape *shape, const char *directory,
                  struct kn_arena *arena, struct kn_log *log);
/* Text of a cell; the column must be one of the shape's. */
const char *kn_cell(const struct kn_file *file, size_t row, const char *column);
bool kn_is(const struct kn_file *file, size_t row, const char *column, const char *text);
/* The row whose cell has that text, or SIZE_MAX. */
size_t kn_find(const struct kn_file *file, const char *column, const char *text);
/* Complains about a row. */
void kn_fault(const struct kn_file *file, size_t row, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* A number in low..high; complains and returns low when it is not one. `-` gives `none` where that is
 * not NULL. */
double kn_number(const struct kn_file *file, size_t row, const char *column, double low, double high,
                 const double *none);
/* Index of a cell in a closed list; complains and returns 0 when it is not in it. */
size_t kn_word(const struct kn_file *file, size_t row, const char *column, const char *const *words,
               size_t count);
size_t kn_word_index(const char *word, const char *const *words, size_t count); /* count: not in it */
/* yes or no */
bool kn_yes(const struct kn_file *file, size_t row, const char *column);
/* The cell, or NULL for `-`. */
const char *kn_optional(const struct kn_file *file, size_t row, const char *column);
/* Splits at single spaces; `-` gives none. */
size_t kn_split(struct kn_arena *arena, const char *text, const char *const **words);
/* `first` and the other sources of the rows whose cell has that text, each once, joined by "; ". */
const char *kn_sources(struct kn_arena *arena, const char *first, const struct kn_file *file,
                       const char *column, const char *text);

#endif
