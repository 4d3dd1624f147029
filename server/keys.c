/* rootward key add|list|revoke. */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "access.h"
#include "commands.h"
#include "options.h"

static void actor_text(char out[32]) {
    snprintf(out, 32, "operator-uid-%u", (unsigned)getuid());
}

static int add_key(struct rw_database *database, const char *name, enum rw_role role) {
    char actor[32], id[RW_KEY_ID_TEXT], secret[RW_SECRET_TEXT];
    actor_text(actor);
    if (!rw_key_add(database, actor, name, role, id, secret)) {
        fputs("rootward: the key could not be stored\n", stderr);
        return RW_EXIT_FAILED;
    }
    fprintf(stderr, "%s %s: the secret is shown this once\n", id, rw_role_name(role));
    printf("%s\n", secret);
    return RW_EXIT_OK;
}

static int revoke_key(struct rw_database *database, const char *id) {
    static const char *const words[] = {
        [RW_REVOKED_NOW] = "revoked",
        [RW_REVOKED_BEFORE] = "was revoked before",
        [RW_REVOKED_UNKNOWN] = "there is no such key",
        [RW_REVOKED_FAILED] = "could not be revoked",
    };
    char actor[32];
    actor_text(actor);
    enum rw_revoked state = rw_key_revoke(database, actor, id);
    bool done = state == RW_REVOKED_NOW || state == RW_REVOKED_BEFORE;
    fprintf(done ? stdout : stderr, "%s: %s\n", id, words[state]);
    return done ? RW_EXIT_OK : RW_EXIT_FAILED;
}

static void print_key(const struct rw_key *key) {
    printf("%s\t%s\t%s\t%s\t%s\n", key->id, key->role, key->created, key->revoked[0] ? key->revoked : "valid",
           key->name);
}

static int list_keys(struct rw_database *database) {
    if (rw_key_list(database, print_key))
        return RW_EXIT_OK;
    fputs("rootward: the keys can't be read\n", stderr);
    return RW_EXIT_FAILED;
}

static int run(const char *verb, const char *directory, const char *name, enum rw_role role, const char *id) {
    struct rw_database *database = NULL;
    char why[200];
    enum rw_open_mode mode = strcmp(verb, "list") == 0 ? RW_OPEN_INSPECT : RW_OPEN_CHANGE;
    if (rw_database_open(directory, mode, &database, why, sizeof why) != 0) {
        fprintf(stderr, "rootward: %s\n", why);
        return RW_EXIT_FAILED;
    }
    int code = RW_EXIT_OK;
    if (mode == RW_OPEN_INSPECT)
        code = list_keys(database);
    else
        code = id ? revoke_key(database, id) : add_key(database, name, role);
    if (rw_database_close(database) != 0)
        code = RW_EXIT_FAILED;
    return code;
}

int rw_command_key(char **words, size_t count) {
    const char *directory = NULL, *name = NULL, *role_name = NULL;
    const struct rw_option options[] = {
        {"--data", &directory, NULL}, {"--name", &name, NULL}, {"--role", &role_name, NULL}};
    if (!rw_options_parse(options, sizeof options / sizeof options[0], words, &count, 2))
        return RW_EXIT_USAGE;
    const char *verb = count > 0 ? words[0] : "";
    enum rw_role role = role_name ? rw_role_find(role_name) : RW_ROLE_NONE;
    bool adds = strcmp(verb, "add") == 0 && count == 1 && name && rw_is_word(name, 64, " ._-") &&
                role != RW_ROLE_NONE;
    bool lists = strcmp(verb, "list") == 0 && count == 1 && !name && !role_name;
    bool revokes = strcmp(verb, "revoke") == 0 && count == 2 && !name && !role_name;
    if (!directory || (!adds && !lists && !revokes)) {
        fputs("rootward: key needs add, list or revoke, with their options"
              " (a name is 1 to 64 letters, digits, blanks and ._-)\n",
              stderr);
        return RW_EXIT_USAGE;
    }
    return run(verb, directory, name, role, revokes ? words[1] : NULL);
}
