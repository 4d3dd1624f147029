/* The command line: which sub-command, and what each is for. */
#include <jansson.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "commands.h"
#include "rootward.h"

static const struct {
    const char *name;
    int (*run)(char **words, size_t count);
    const char *summary, *help;
} commands[] = {
    {"serve", rw_command_serve, "run the service",
     "rootward serve --data DIR [--listen HOST:PORT] [--static DIR] [--signin] [--workers N]\n"
     "               [--tls-cert FILE --tls-key FILE] [--origin URL]\n\n"
     "  --data DIR        folder of the database; made when it is not there\n"
     "  --listen H:P      a numeric address and a port (0: a free one); default 127.0.0.1:8440.\n"
     "                    Other than loopback only with --tls-cert and --tls-key\n"
     "  --static DIR      files of the page; default \"static\" when there is such a folder\n"
     "  --signin          print a one-time sign-in link for the browser on stdout; SIGUSR1 prints a new one\n"
     "  --workers N       threads, 1 to 64, default 2; each holds an engine workspace\n"
     "  --tls-cert FILE   certificate chain, PEM\n"
     "  --tls-key FILE    its key, PEM\n"
     "  --origin URL      how browsers reach the service through a proxy, https://host[:port]\n\n"
     "SIGTERM and SIGINT stop it: requests in flight are answered first. Errors and one line a request go "
     "to\n"
     "stderr. Exit code: 0 stopped, 1 could not start or did not stop cleanly, 64 wrong use.\n"},
    {"assess", rw_command_assess, "assess one record, without server and audit",
     "rootward assess [--text] FILE|-\n\n"
     "Reads one record as JSON and prints its assessment, as JSON or with --text in plain words. Several\n"
     "records, one a line: one answer a line, in order. Exit code: 0 all assessed, 1 the file can't be "
     "read,\n"
     "2 a bad record (its problem document goes to stderr), 64 wrong use.\n"},
    {"key", rw_command_key, "add, list or revoke keys",
     "rootward key add --data DIR --name NAME --role clinician|integration|auditor\n"
     "rootward key list --data DIR\n"
     "rootward key revoke --data DIR ID\n\n"
     "`add` prints the secret once, alone on stdout; it is kept nowhere. All three work while a server runs "
     "on\n"
     "the folder, which knows the change at its next request. Exit code: 0 done, 1 not done, 64 wrong "
     "use.\n"},
    {"audit", rw_command_audit, "verify the audit log",
     "rootward audit verify --data DIR\n\n"
     "Walks the hash chain and holds every stored assessment against its entry; changes nothing. Prints the\n"
     "head, to be kept elsewhere: a chain alone does not show that its end was cut off. Exit code: 0 all "
     "holds,\n"
     "1 broken or unreadable (the first broken entry is named), 64 wrong use.\n"},
};

enum { COMMAND_COUNT = sizeof commands / sizeof commands[0] };

static void print_usage(FILE *out) {
    fputs("rootward " RW_VERSION ": localisation of brachial plexus and arm nerve lesions.\n"
          "It supports licensed clinicians and replaces none.\n\n",
          out);
    for (size_t i = 0; i < COMMAND_COUNT; i++)
        fprintf(out, "  rootward %-8s %s\n", commands[i].name, commands[i].summary);
    fputs("\n  rootward COMMAND --help says more; rootward --version prints versions.\n", out);
}

static bool asks_help(const char *word) {
    return strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0 || strcmp(word, "help") == 0;
}

static int run_command(size_t index, char **words, size_t count) {
    for (size_t i = 0; i < count; i++)
        if (strcmp(words[i], "--help") == 0) {
            fputs(commands[index].help, stdout);
            return RW_EXIT_OK;
        }
    int code = commands[index].run(words, count);
    if (code == RW_EXIT_USAGE)
        fprintf(stderr, "\n%s", commands[index].help);
    return code;
}

int main(int argc, char **argv) {
    umask(0077);              /* whatever is written is for this account alone */
    signal(SIGPIPE, SIG_IGN); /* a client that left is an error of its connection */
    signal(SIGXFSZ, SIG_IGN); /* a file that may not grow is an error of the write */
    if (sodium_init() < 0) {
        fputs("rootward: no source of random numbers\n", stderr);
        return RW_EXIT_FAILED;
    }
    json_object_seed(0); /* before the first thread */
    if (argc < 2) {
        print_usage(stderr);
        return RW_EXIT_USAGE;
    }
    if (asks_help(argv[1])) {
        print_usage(stdout);
        return RW_EXIT_OK;
    }
    if (strcmp(argv[1], "--version") == 0) {
        printf("rootward %s\nknowledge %s\n", RW_VERSION, rw_model()->digest);
        return RW_EXIT_OK;
    }
    for (size_t i = 0; i < COMMAND_COUNT; i++)
        if (strcmp(argv[1], commands[i].name) == 0)
            return run_command(i, argv + 2, (size_t)(argc - 2));
    fprintf(stderr, "rootward: unknown command %s\n\n", argv[1]);
    print_usage(stderr);
    return RW_EXIT_USAGE;
}
