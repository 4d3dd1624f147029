/* The sub-commands. Each gets its words after the command's name and returns the exit code. */
#ifndef ROOTWARD_COMMANDS_H
#define ROOTWARD_COMMANDS_H

#include <stddef.h>

enum {
    RW_EXIT_OK = 0,
    RW_EXIT_FAILED = 1, /* the work could not be done, or the audit chain is broken */
    RW_EXIT_BAD_RECORD = 2,
    RW_EXIT_USAGE = 64
};

int rw_command_serve(char **words, size_t count);  /* serve.c */
int rw_command_assess(char **words, size_t count); /* assess.c */
int rw_command_key(char **words, size_t count);    /* keys.c */
int rw_command_audit(char **words, size_t count);  /* audit_command.c */

#endif
