/* compile-knowledge DIR OUTPUT.c
 *
 * Reads the TSV files of DIR and writes the tables of rootward.h. Complains as `file:line: message` on
 * stderr, up to 50 times, and exits 1 when anything is inconsistent; OUTPUT.c is then left as it was. */
#include "knowledge.h"

#include <dirent.h>
#include <errno.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const struct kn_shape shapes[KN_FILE_COUNT] = {
#define X(id, name, columns, key) {name, columns, key},
    KN_FILES(X)
#undef X
};

static int compare_names(const void *left, const void *right) {
    return strcmp(*(const char *const *)left, *(const char *const *)right);
}

/* A TSV file that no step reads would be knowledge that is silently left out. */
static void check_strangers(struct knowledge *knowledge, const char *directory) {
    enum { MAX_STRANGERS = 16 };
    const char *strangers[MAX_STRANGERS];
    size_t count = 0;
    DIR *stream = opendir(directory);
    if (!stream) {
        kn_complain(&knowledge->log, directory, 1, "cannot be read: %s", strerror(errno));
        return;
    }
    for (const struct dirent *entry = readdir(stream); entry && count < MAX_STRANGERS;
         entry = readdir(stream)) {
        size_t length = strlen(entry->d_name), i = 0;
        if (entry->d_name[0] == '.' || length < 4 || strcmp(entry->d_name + length - 4, ".tsv") != 0)
            continue;
        while (i < KN_FILE_COUNT && strcmp(shapes[i].name, entry->d_name) != 0)
            i++;
        if (i == KN_FILE_COUNT)
            strangers[count++] = kn_format(&knowledge->arena, "%s/%s", directory, entry->d_name);
    }
    closedir(stream);
    qsort(strangers, count, sizeof *strangers, compare_names);
    for (size_t i = 0; i < count; i++)
        kn_complain(&knowledge->log, strangers[i], 1, "is no file of the knowledge");
}

/* SHA-256 over each file in byte order of its name: name, NUL, length as 8 bytes big endian, content. */
static const char *digest(struct knowledge *knowledge) {
    const char *names[KN_FILE_COUNT];
    for (size_t i = 0; i < KN_FILE_COUNT; i++)
        names[i] = shapes[i].name;
    qsort(names, KN_FILE_COUNT, sizeof *names, compare_names);
    crypto_hash_sha256_state state;
    crypto_hash_sha256_init(&state);
    for (size_t i = 0; i < KN_FILE_COUNT; i++) {
        size_t file = 0;
        while (shapes[file].name != names[i])
            file++;
        unsigned char length[8];
        for (size_t byte = 0; byte < sizeof length; byte++)
            length[byte] = (unsigned char)((uint64_t)knowledge->files[file].size >> (56 - 8 * byte));
        crypto_hash_sha256_update(&state, (const unsigned char *)names[i], strlen(names[i]) + 1);
        crypto_hash_sha256_update(&state, length, sizeof length);
        crypto_hash_sha256_update(&state, (const unsigned char *)knowledge->files[file].bytes,
                                  knowledge->files[file].size);
    }
    unsigned char hash[crypto_hash_sha256_BYTES];
    char hex[2 * sizeof hash + 1];
    crypto_hash_sha256_final(&state, hash);
    sodium_bin2hex(hex, sizeof hex, hash, sizeof hash);
    return kn_format(&knowledge->arena, "sha256:%s", hex);
}

/* True when all of the knowledge is consistent. Files that cannot be read as tables end it at once: what
 * follows would only repeat their faults. */
static bool build(struct knowledge *knowledge, const char *directory) {
    struct kn_variants variants;
    check_strangers(knowledge, directory);
    for (size_t i = 0; i < KN_FILE_COUNT; i++)
        kn_file_read(&knowledge->files[i], &shapes[i], directory, &knowledge->arena, &knowledge->log);
    if (knowledge->log.count > 0)
        return false;
    knowledge->model.digest = digest(knowledge);
    kn_build_sites(knowledge);
    kn_build_routes(knowledge);
    kn_build_targets(knowledge);
    kn_build_members(knowledge);
    kn_build_variants(knowledge, &variants);
    kn_build_bundles(knowledge, &variants);
    kn_build_scales(knowledge);
    kn_build_tables(knowledge);
    kn_build_checks(knowledge);
    kn_build_priors(knowledge);
    kn_build_facts(knowledge);
    kn_build_distances(knowledge);
    kn_build_transfers(knowledge);
    kn_build_rules(knowledge);
    return knowledge->log.count == 0;
}

/* Writes to a neighbouring file first, so that a broken run leaves no half table behind. */
static bool write_output(struct knowledge *knowledge, const char *path) {
    const char *temporary = kn_format(&knowledge->arena, "%s.tmp", path);
    FILE *out = fopen(temporary, "wb");
    if (!out) {
        fprintf(stderr, "%s: %s\n", temporary, strerror(errno));
        return false;
    }
    bool written = kn_emit(&knowledge->model, out);
    written = fclose(out) == 0 && written;
    if (written && rename(temporary, path) == 0)
        return true;
    fprintf(stderr, "%s: cannot be written\n", path);
    unlink(temporary);
    return false;
}

int main(int argc, char **argv) {
    if (argc != 3) {
        fprintf(stderr, "usage: compile-knowledge DIR OUTPUT.c\n");
        return 2;
    }
    struct knowledge knowledge = {0};
    bool done = sodium_init() >= 0 && build(&knowledge, argv[1]) && write_output(&knowledge, argv[2]);
    if (knowledge.log.count > KN_MAX_COMPLAINTS)
        fprintf(stderr, "and %zu more\n", knowledge.log.count - KN_MAX_COMPLAINTS);
    kn_arena_release(&knowledge.arena);
    return done ? 0 : 1;
}
