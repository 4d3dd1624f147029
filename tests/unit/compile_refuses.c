/* The knowledge compiler refuses what is inconsistent and says where: each row of the table breaks one thing
 * in a copy of the knowledge. RW_COMPILER and RW_KNOWLEDGE name the program and the folder. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <fcntl.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

extern char **environ;

enum { MAX_TEXT = 1 << 22, MAX_PATH_TEXT = 512, MAX_MESSAGE = 512 };
enum where { HERE, NEXT_LINE, HEADER, LINE_ONE, ANY_LINE };
enum act { SET, REPEAT, RENAME_COLUMN, REMOVE_FILE, ADD_FILE };

/* In `file`, the first row whose `select` column has `value` (or the first of all); its `column` is set to
 * `text`. The complaint names `file` and the line, and contains `message`. */
static const struct fault {
    enum act act;
    const char *file, *select, *value, *column, *text;
    enum where where;
    const char *message;
} faults[] = {
    {SET, "bundles.tsv", NULL, NULL, "weight", "0.001", HERE, "not 1"},
    {SET, "bundles.tsv", NULL, NULL, "weight", "0", HERE, "weight is not above 0"},
    {SET, "bundles.tsv", NULL, NULL, "weight", "0,5", HERE, "is not a number"},
    {SET, "bundles.tsv", NULL, NULL, "weight", "NaN", HERE, "is not a number"},
    {SET, "bundles.tsv", NULL, NULL, "segment", "C9", HERE, "unknown segment 'C9'"},
    {SET, "bundles.tsv", NULL, NULL, "route", "nowhere", HERE, "unknown route 'nowhere'"},
    {SET, "bundles.tsv", NULL, NULL, "target", "muscle.nothing", HERE, "unknown target 'muscle.nothing'"},
    {SET, "bundles.tsv", NULL, NULL, "target", "snap.axillary", HERE, "unknown target 'snap.axillary'"},
    {SET, "bundles.tsv", "segment", "C6", "entry", "none", HERE, "entry is none for segments outside"},
    {SET, "bundles.tsv", "target", "muscle.biceps_brachii", "entry", "proximal", HERE, "bundles of entry"},
    {SET, "routes.tsv", "sites", "spinal_accessory_high", "sites", "nowhere", HERE, "unknown site 'nowhere'"},
    {SET, "routes.tsv", NULL, NULL, "sites", "c5_distal", HERE, "root site 'c5_distal'"},
    {SET, "routes.tsv", NULL, NULL, "sites", "median_wrist median_elbow", HERE, "uphill at 'median_elbow'"},
    {SET, "routes.tsv", NULL, NULL, "route", "unheard_of", HERE, "no bundle takes route 'unheard_of'"},
    {SET, "sites.tsv", "id", "c5_distal", "depth", "60000", ANY_LINE, "different depths"},
    {SET, "sites.tsv", "id", "upper_trunk_proximal", "depth", "1", ANY_LINE, "runs uphill"},
    {SET, "sites.tsv", NULL, NULL, "source", "-", HERE, "no source"},
    {SET, "sites.tsv", NULL, NULL, "source", "", HERE, "no source"},
    {SET, "sites.tsv", NULL, NULL, "label", "", HERE, "label is empty"},
    {SET, "sites.tsv", NULL, NULL, "label", "\xc3(", HERE, "invalid UTF-8"},
    {SET, "sites.tsv", NULL, NULL, "label", "two\tcells", HERE, "cells, expected"},
    {SET, "sites.tsv", NULL, NULL, "level", "branch", HERE, "unknown level 'branch'"},
    {SET, "sites.tsv", NULL, NULL, "depth", "1.5", HERE, "depth is not a whole number"},
    {SET, "sites.tsv", "id", "c7_distal", "id", "c9_distal", LINE_ONE, "C7 has no distal site"},
    {REPEAT, "sites.tsv", NULL, NULL, NULL, NULL, NEXT_LINE, "duplicate id"},
    {REPEAT, "bundles.tsv", NULL, NULL, NULL, NULL, NEXT_LINE, "duplicate target segment route"},
    {REPEAT, "facts.tsv", NULL, NULL, NULL, NULL, NEXT_LINE, "duplicate id"},
    {RENAME_COLUMN, "muscles.tsv", NULL, NULL, "help", "helps", HEADER, "unknown column 'helps'"},
    {RENAME_COLUMN, "muscles.tsv", NULL, NULL, "help", "helps", HEADER, "missing column 'help'"},
    {REMOVE_FILE, "outcomes.tsv", NULL, NULL, NULL, NULL, LINE_ONE, "cannot be read"},
    {ADD_FILE, "hearsay.tsv", NULL, NULL, NULL, NULL, LINE_ONE, "is no file of the knowledge"},
    {SET, "combinations.tsv", NULL, NULL, "share", "0.001", HERE, "not 1"},
    {SET, "combinations.tsv", NULL, NULL, "muscle", "nothing", HERE, "unknown muscle 'nothing'"},
    {SET, "combinations.tsv", "kind", "group", "role", "prime", HERE, "role 'part' is for groups"},
    {SET, "combinations.tsv", "kind", "movement", "role", "steady", HERE, "role 'steady' is for functions"},
    {SET, "combinations.tsv", "owner", "elbow_flexion", "muscle", "rhomboids", ANY_LINE, "different entry"},
    {SET, "labels.tsv", "kind", "mechanism", "id", "falling", HERE, "unknown mechanism 'falling'"},
    {SET, "labels.tsv", "kind", "sign", "id", "pallor", HERE, "no check of sign 'pallor'"},
    {SET, "labels.tsv", "kind", "reflex", "id", "jaw", HERE, "has neither bundles nor a combination"},
    {SET, "variants.tsv", "form_or_link", "form", "prevalence", "0.001", HERE, "not 1"},
    {SET, "variant_shifts.tsv", NULL, NULL, "fraction", "1.5", HERE, "lies outside 0 to 1"},
    {SET, "variant_shifts.tsv", NULL, NULL, "to_segment", "LOCAL", HERE, "cannot move from"},
    {SET, "variant_bundles.tsv", NULL, NULL, "variant", "usual", HERE, "unknown link 'usual'"},
    {SET, "tables.tsv", NULL, NULL, "scale", "colour", HERE, "unknown scale 'colour'"},
    {SET, "tables.tsv", NULL, NULL, "spread_sharp", "0", HERE, "lies outside"},
    {SET, "tables.tsv", NULL, NULL, "outlier", "-0.1", HERE, "lies outside"},
    {SET, "tables.tsv", "id", "wasting", "full_days", "1", HERE, "full_days comes before min_days"},
    {SET, "likelihoods.tsv", NULL, NULL, "probability", "0.001", HERE, "probabilities add to"},
    {SET, "likelihoods.tsv", NULL, NULL, "probability", "1.5", HERE, "lies outside 0 to 1"},
    {SET, "likelihoods.tsv", NULL, NULL, "observation", "blue", HERE,
     "observation 'blue' is not on the scale"},
    {SET, "likelihoods.tsv", NULL, NULL, "table", "guesses", HERE, "unknown table 'guesses'"},
    {SET, "scales.tsv", "value", "*5", "value", "5", ANY_LINE, "has no normal value"},
    {SET, "scales.tsv", NULL, NULL, "weight", "0.9", HERE, "not 1"},
    {SET, "checks.tsv", NULL, NULL, "section", "mood", HERE, "unknown section 'mood'"},
    {SET, "checks.tsv", NULL, NULL, "table", "guesses", HERE, "unknown table 'guesses'"},
    {SET, "checks.tsv", NULL, NULL, "items", "bones", HERE, "unknown items 'bones'"},
    {SET, "checks.tsv", "items", "percussion", "items", "percussion:tail", HERE, "unknown items"},
    {SET, "checks.tsv", "items", "percussion", "items", "percussion:infraclavicular", ANY_LINE,
     "no check of percussion"},
    {SET, "checks.tsv", "target", "sign.horner", "target", "sign.none", HERE, "unknown target 'sign.none'"},
    {SET, "priors.tsv", NULL, NULL, "mechanism", "falling", HERE, "unknown mechanism 'falling'"},
    {SET, "priors.tsv", "part", "site", "key", "nowhere", HERE, "unknown key 'nowhere' of site"},
    {SET, "priors.tsv", "part", "site", "key", "c5_distal", HERE, "unknown key 'c5_distal' of site"},
    {SET, "priors.tsv", "part", "complete", "value", "1.5", HERE, "lies outside 0 to 1"},
    {SET, "priors.tsv", "part", "kind", "value", "0", HERE, "could never overcome a prior of 0"},
    {SET, "priors.tsv", "part", "site", "value", "0", HERE, "could never overcome a prior of 0"},
    {SET, "priors.tsv", "part", "pattern", "key", "C6+C5", HERE, "unknown key 'C6+C5' of pattern"},
    {SET, "distances.tsv", NULL, NULL, "low_mm", "1999", HERE, "mean_mm does not lie between"},
    {SET, "site_distances.tsv", NULL, NULL, "site", "nowhere", HERE, "unknown site 'nowhere'"},
    {SET, "donors.tsv", NULL, NULL, "tests", "nothing", HERE, "unknown muscle 'nothing'"},
    {SET, "donors.tsv", NULL, NULL, "chest", "perhaps", HERE, "unknown chest 'perhaps'"},
    {SET, "transfers.tsv", NULL, NULL, "donor", "nobody", HERE, "unknown donor 'nobody'"},
    {SET, "transfers.tsv", NULL, NULL, "functions", "flight", HERE, "unknown function 'flight'"},
    {SET, "transfers.tsv", NULL, NULL, "conflicts", "nobody", HERE, "unknown transfer or donor 'nobody'"},
    {SET, "outcomes.tsv", NULL, NULL, "successes", "99999", HERE, "more successes than patients"},
    {SET, "rules.tsv", NULL, NULL, "when", "sign:pallor", HERE, "unknown condition 'sign:pallor'"},
    {SET, "rules.tsv", NULL, NULL, "when", "complete:leg", HERE, "unknown condition 'complete:leg'"},
    {SET, "rules.tsv", NULL, NULL, "when", "useless:flight", HERE, "unknown condition 'useless:flight'"},
    {SET, "rules.tsv", NULL, NULL, "when", "delay_within_days:soon", HERE,
     "unknown condition 'delay_within_days:soon'"},
    {SET, "rules.tsv", NULL, NULL, "when", "onset:known", HERE, "unknown condition 'onset:known'"},
    {SET, "rules.tsv", NULL, NULL, "when", "motionless_over_percent:100", HERE, "unknown condition"},
    {SET, "rules.tsv", NULL, NULL, "how_soon", "someday", HERE, "unknown how_soon 'someday'"},
};

static const char *setting(const char *name, const char *otherwise) {
    const char *value = getenv(name);
    return value ? value : otherwise;
}

static size_t read_text(const char *path, char *text) {
    FILE *file = fopen(path, "rb");
    cr_assert_not_null(file, "%s cannot be opened", path);
    size_t size = fread(text, 1, MAX_TEXT - 1, file);
    cr_assert_lt(size, MAX_TEXT - 1);
    text[size] = '\0';
    fclose(file);
    return size;
}

static void write_text(const char *path, const char *text, size_t size) {
    FILE *file = fopen(path, "wb");
    cr_assert_not_null(file, "%s cannot be opened", path);
    cr_assert_eq(fwrite(text, 1, size, file), size);
    cr_assert_eq(fclose(file), 0);
}

/* Copies the knowledge into a folder. */
static void copy_knowledge(const char *folder) {
    const char *from = setting("RW_KNOWLEDGE", "lib/knowledge");
    char *text = malloc(MAX_TEXT);
    DIR *stream = opendir(from);
    cr_assert_not_null(stream, "%s cannot be opened", from);
    for (const struct dirent *entry = readdir(stream); entry; entry = readdir(stream)) {
        size_t length = strlen(entry->d_name);
        if (length < 4 || strcmp(entry->d_name + length - 4, ".tsv") != 0)
            continue;
        char path[MAX_PATH_TEXT];
        snprintf(path, sizeof path, "%s/%s", from, entry->d_name);
        size_t size = read_text(path, text);
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        write_text(path, text, size);
    }
    closedir(stream);
    free(text);
}

static void remove_folder(const char *folder) {
    DIR *stream = opendir(folder);
    for (const struct dirent *entry = readdir(stream); entry; entry = readdir(stream)) {
        char path[MAX_PATH_TEXT];
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (entry->d_name[0] != '.')
            unlink(path);
    }
    closedir(stream);
    rmdir(folder);
}

/* Runs the compiler; its complaints go to `complaints`. Returns the exit status, or -1. */
static int run_compiler(const char *folder, char *output, char *complaints) {
    char program[MAX_PATH_TEXT], knowledge[MAX_PATH_TEXT], log[MAX_PATH_TEXT];
    snprintf(program, sizeof program, "%s", setting("RW_COMPILER", "build/compile-knowledge"));
    snprintf(knowledge, sizeof knowledge, "%s", folder);
    snprintf(log, sizeof log, "%s/log", folder);
    char *arguments[] = {program, knowledge, output, NULL};
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, log, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    pid_t child = 0;
    int status = -1;
    cr_assert_eq(posix_spawn(&child, program, &actions, NULL, arguments, environ), 0, "%s does not start",
                 program);
    posix_spawn_file_actions_destroy(&actions);
    cr_assert_eq(waitpid(child, &status, 0), child);
    read_text(log, complaints);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* Bounds of the cell of a line in a column, by its number. */
static char *find_cell(char *line, size_t column, size_t *length) {
    for (; column > 0; column--) {
        line = strchr(line, '\t');
        cr_assert_not_null(line);
        line++;
    }
    *length = strcspn(line, "\t\n");
    return line;
}

static size_t column_number(char *header, const char *name) {
    size_t length = 0, column = 0;
    char *cell = find_cell(header, 0, &length);
    while (length != strlen(name) || strncmp(cell, name, length) != 0)
        cell = find_cell(header, ++column, &length);
    return column;
}

/* Replaces length bytes at `at` in text. */
static void replace(char *text, char *at, size_t length, const char *with) {
    size_t added = strlen(with);
    cr_assert_lt(strlen(text) + added, MAX_TEXT);
    memmove(at + added, at + length, strlen(at + length) + 1);
    memcpy(at, with, added);
}

/* The first line that is neither comment nor blank, from `line` on; counts the lines passed over. */
static char *next_row(char *line, size_t *number) {
    while (line && (*line == '#' || *line == '\n')) {
        line = strchr(line, '\n');
        line = line ? line + 1 : NULL;
        ++*number;
    }
    cr_assert(line && *line, "no such row");
    return line;
}

/* Breaks the text of a file as the fault says; returns the line that the complaint should name, 0 for any. */
static size_t break_text(const struct fault *fault, char *text) {
    size_t number = 1, length = 0;
    char *header = next_row(text, &number);
    size_t header_number = number;
    size_t select = fault->select ? column_number(header, fault->select) : 0;
    size_t column = fault->column ? column_number(header, fault->column) : 0;
    if (fault->act == RENAME_COLUMN) {
        char *cell = find_cell(header, column, &length);
        replace(text, cell, length, fault->text);
        return header_number;
    }
    char *row = header, *cell = NULL;
    do {
        row = strchr(row, '\n') + 1;
        number++;
        row = next_row(row, &number);
        cell = find_cell(row, select, &length);
    } while (fault->select && (length != strlen(fault->value) || strncmp(cell, fault->value, length) != 0));
    if (fault->act == REPEAT) {
        char *copy = strndup(row, strcspn(row, "\n") + 1);
        replace(text, row, 0, copy);
        free(copy);
    } else {
        cell = find_cell(row, column, &length);
        replace(text, cell, length, fault->text);
    }
    return fault->where == HERE ? number : fault->where == NEXT_LINE ? number + 1 : 0;
}

/* Whether some complaint names the file and the line and contains the message. */
static bool complained(char *complaints, const struct fault *fault, size_t line) {
    char place[MAX_MESSAGE];
    if (fault->where == ANY_LINE)
        return strstr(complaints, fault->message) != NULL;
    snprintf(place, sizeof place, "/%s:%zu: ", fault->file, fault->where == LINE_ONE ? 1 : line);
    for (char *at = complaints; *at;) {
        size_t length = strcspn(at, "\n");
        char saved = at[length];
        at[length] = '\0';
        const char *found = strstr(at, place);
        bool named = found && strstr(found, fault->message);
        at[length] = saved;
        if (named)
            return true;
        at += length + (saved == '\n');
    }
    return false;
}

static void check_fault(const struct fault *fault, char *text, char *complaints) {
    char folder[] = "/tmp/rootward-knowledge-XXXXXX", path[MAX_PATH_TEXT], output[MAX_PATH_TEXT];
    cr_assert_not_null(mkdtemp(folder));
    copy_knowledge(folder);
    snprintf(path, sizeof path, "%s/%s", folder, fault->file);
    snprintf(output, sizeof output, "%s/output.c", folder);
    write_text(output, "as before", strlen("as before"));
    size_t line = 0;
    if (fault->act == REMOVE_FILE) {
        unlink(path);
    } else if (fault->act == ADD_FILE) {
        write_text(path, "id\tsource\n", strlen("id\tsource\n"));
    } else {
        read_text(path, text);
        line = break_text(fault, text);
        write_text(path, text, strlen(text));
    }
    int status = run_compiler(folder, output, complaints);
    cr_expect_eq(status, 1, "%s: %s: exit %d", fault->file, fault->message, status);
    cr_expect(complained(complaints, fault, line), "%s: expected '%s' on line %zu, got:\n%s", fault->file,
              fault->message, line, complaints);
    read_text(output, text);
    cr_expect_str_eq(text, "as before", "%s: %s: the output was touched", fault->file, fault->message);
    remove_folder(folder);
}

Test(compile, refuses) {
    char *text = malloc(MAX_TEXT), *complaints = malloc(MAX_TEXT);
    for (size_t i = 0; i < sizeof faults / sizeof *faults; i++)
        check_fault(&faults[i], text, complaints);
    free(text);
    free(complaints);
}

Test(compile, accepts_and_repeats_itself) {
    char folder[] = "/tmp/rootward-knowledge-XXXXXX", first[MAX_PATH_TEXT], second[MAX_PATH_TEXT];
    char *one = malloc(MAX_TEXT), *two = malloc(MAX_TEXT);
    cr_assert_not_null(mkdtemp(folder));
    copy_knowledge(folder);
    snprintf(first, sizeof first, "%s/first.c", folder);
    snprintf(second, sizeof second, "%s/second.c", folder);
    cr_assert_eq(run_compiler(folder, first, one), 0, "%s", one);
    cr_assert_eq(run_compiler(folder, second, one), 0, "%s", one);
    size_t size = read_text(first, one);
    cr_assert_eq(read_text(second, two), size);
    cr_expect_eq(memcmp(one, two, size), 0);
    cr_expect_not_null(strstr(one, "generated by lib/knowledge/compile.c, do not edit"));
    remove_folder(folder);
    free(one);
    free(two);
}

Test(compile, wants_two_arguments) {
    char folder[] = "/tmp/rootward-knowledge-XXXXXX";
    char *complaints = malloc(MAX_TEXT);
    cr_assert_not_null(mkdtemp(folder));
    cr_expect_eq(run_compiler(folder, NULL, complaints), 2);
    cr_expect_not_null(strstr(complaints, "usage"));
    remove_folder(folder);
    free(complaints);
}
