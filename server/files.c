#include "files.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct {
    const char *ending, *type;
} kinds[] = {
    {".html", "text/html; charset=utf-8"},
    {".css", "text/css; charset=utf-8"},
    {".js", "text/javascript; charset=utf-8"},
    {".mjs", "text/javascript; charset=utf-8"},
    {".json", "application/json"},
    {".svg", "image/svg+xml"},
    {".png", "image/png"},
    {".ico", "image/x-icon"},
    {".txt", "text/plain; charset=utf-8"},
};

static const char *type_of(const char *name) {
    size_t length = strlen(name);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        size_t ending = strlen(kinds[i].ending);
        if (length > ending && strcmp(name + length - ending, kinds[i].ending) == 0)
            return kinds[i].type;
    }
    return NULL;
}

/* Takes the open file over; false when there is no room or it can't be read. */
static bool add_file(struct rw_files *files, int fd, const char *prefix, const char *name) {
    struct rw_file *file = &files->items[files->count];
    char digest[RW_DIGEST_TEXT];
    bool room = files->count < RW_FILES_MOST &&
                snprintf(file->path, sizeof file->path, "%s/%s", prefix, name) < (int)sizeof file->path;
    if (room)
        file->bytes = rw_read_all(fd, RW_FILE_BYTES, &file->size);
    close(fd);
    if (!room || !file->bytes)
        return false;
    rw_digest_text(file->bytes, file->size, digest);
    snprintf(file->etag, sizeof file->etag, "\"%s\"", digest + 7);
    file->type = type_of(name);
    files->count++;
    return true;
}

static bool add_folder(struct rw_files *files, int folder, const char *prefix, unsigned depth) {
    DIR *entries = fdopendir(folder);
    bool good = entries != NULL;
    if (!entries)
        close(folder);
    for (struct dirent *entry; good && (entry = readdir(entries));) {
        struct stat status;
        char inner[RW_FILE_PATH];
        if (entry->d_name[0] == '.' || !rw_is_word(entry->d_name, 64, "._-"))
            continue;
        int fd = openat(dirfd(entries), entry->d_name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
        if (fd < 0 || fstat(fd, &status) != 0) {
            if (fd >= 0)
                close(fd);
            good = errno == ELOOP; /* a symbolic link is left out */
        } else if (S_ISREG(status.st_mode) && type_of(entry->d_name)) {
            good = add_file(files, fd, prefix, entry->d_name);
        } else if (S_ISDIR(status.st_mode) && depth > 0 &&
                   snprintf(inner, sizeof inner, "%s/%s", prefix, entry->d_name) < (int)sizeof inner) {
            good = add_folder(files, fd, inner, depth - 1);
        } else {
            close(fd);
        }
    }
    if (entries)
        closedir(entries);
    return good;
}

struct rw_files *rw_files_load(const char *directory, char *why, size_t why_size) {
    int folder = open(directory, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    struct rw_files *files = folder >= 0 ? calloc(1, sizeof *files) : NULL;
    if (!files) {
        snprintf(why, why_size, "the folder of static files can't be opened: %s", strerror(errno));
        if (folder >= 0)
            close(folder);
        return NULL;
    }
    if (add_folder(files, folder, "", 2))
        return files;
    snprintf(why, why_size, "a static file can't be read, is over 2 MiB, or there are more than %d",
             RW_FILES_MOST);
    rw_files_free(files);
    return NULL;
}

void rw_files_free(struct rw_files *files) {
    for (size_t i = 0; files && i < files->count; i++)
        free(files->items[i].bytes);
    free(files);
}

static const struct rw_file *find_exact(const struct rw_files *files, const char *path) {
    for (size_t i = 0; i < files->count; i++)
        if (strcmp(files->items[i].path, path) == 0)
            return &files->items[i];
    return NULL;
}

const struct rw_file *rw_files_find(const struct rw_files *files, const char *path) {
    if (!files)
        return NULL;
    if (strcmp(path, "/") == 0)
        return find_exact(files, "/index.html");
    return find_exact(files, path);
}
