/* Plain text in lines of at most 90 columns. */
#ifndef ROOTWARD_LAYOUT_H
#define ROOTWARD_LAYOUT_H

#include "buffer.h"

enum { RW_TEXT_COLUMNS = 90 };

/* A heading on a line of its own, after an empty line. */
void rw_layout_heading(struct rw_buffer *out, const char *title);
/* One paragraph, broken between words: its first line starts with `mark`, the others are indented as far. */
__attribute__((format(printf, 3, 4))) void rw_layout_item(struct rw_buffer *out, const char *mark,
                                                          const char *format, ...);

#endif
