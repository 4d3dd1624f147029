/* The page's files, read into memory once at start. A request is answered from this list or not at all: the
 * URL is never made into a path. */
#ifndef ROOTWARD_FILES_H
#define ROOTWARD_FILES_H

#include <stddef.h>

#include "text.h"

enum { RW_FILES_MOST = 96, RW_FILE_BYTES = 2 << 20, RW_FILE_PATH = 128 };

struct rw_file {
    char path[RW_FILE_PATH]; /* "/app.js" */
    char etag[RW_DIGEST_TEXT + 2];
    const char *type;
    char *bytes;
    size_t size;
};

struct rw_files {
    size_t count;
    struct rw_file items[RW_FILES_MOST];
};

/* Reads the known kinds of file in a folder and in its folders. NULL with a sentence in `why`. */
struct rw_files *rw_files_load(const char *directory, char *why, size_t why_size);
void rw_files_free(struct rw_files *files);

/* "/" is index.html. files may be NULL. */
const struct rw_file *rw_files_find(const struct rw_files *files, const char *path);

#endif
