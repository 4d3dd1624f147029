/* The body of a request before it is parsed: what a JSON parser would take too kindly, or pay too much memory
 * for. */
#ifndef ROOTWARD_SCAN_H
#define ROOTWARD_SCAN_H

#include <stddef.h>

enum { RW_BODY_MAX = 256 * 1024, RW_DEPTH_MAX = 16, RW_TOKENS_MAX = 8192 };

/* NULL when the body is fit to be parsed; otherwise why not, in one sentence. */
const char *rw_scan_body(const char *body, size_t size);

/* JSON Pointer of the member being read when the parser stopped at byte `end` of well-formed text; "" when
 * its name cannot be shown as it stands. */
void rw_scan_pointer(const char *body, size_t end, char *pointer, size_t size);

/* Appends "/" and the key, escaped by RFC 6901, to a pointer. Leaves the pointer as it was and returns 0 when
 * the whole does not fit; otherwise returns 1. */
int rw_pointer_push(char *pointer, size_t size, const char *key, size_t key_size);

#endif
