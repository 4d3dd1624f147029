/* rootward audit verify. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "audit.h"
#include "commands.h"
#include "options.h"

static int print_verdict(bool good, const struct rw_verdict *verdict) {
    if (!good && verdict->broken) {
        printf("broken at entry %" PRId64 ": %s\n", verdict->broken, verdict->reason);
        return RW_EXIT_FAILED;
    }
    if (!good) {
        printf("not verified after entry %" PRId64 ": %s\n", verdict->head.seq, verdict->reason);
        return RW_EXIT_FAILED;
    }
    printf("ok: %" PRId64 " entries, %" PRId64 " assessments, head %" PRId64 " %s\n", verdict->entries,
           verdict->assessments, verdict->head.seq, verdict->head.hash);
    if (verdict->clock_steps > 0)
        printf("note: the clock went back before %" PRId64 " of the entries\n", verdict->clock_steps);
    return RW_EXIT_OK;
}

int rw_command_audit(char **words, size_t count) {
    const char *directory = NULL;
    const struct rw_option options[] = {{"--data", &directory, NULL}};
    struct rw_database *database = NULL;
    struct rw_verdict verdict;
    char why[200];
    if (!rw_options_parse(options, 1, words, &count, 1))
        return RW_EXIT_USAGE;
    if (count != 1 || strcmp(words[0], "verify") != 0 || !directory) {
        fputs("rootward: audit needs: verify --data DIR\n", stderr);
        return RW_EXIT_USAGE;
    }
    if (rw_database_open(directory, RW_OPEN_INSPECT, &database, why, sizeof why) != 0) {
        fprintf(stderr, "rootward: %s\n", why);
        return RW_EXIT_FAILED;
    }
    bool good = rw_audit_verify(database, &verdict);
    int code = print_verdict(good, &verdict);
    return rw_database_close(database) == 0 ? code : RW_EXIT_FAILED;
}
