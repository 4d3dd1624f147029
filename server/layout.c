#include "layout.h"

#include <stdlib.h>
#include <string.h>

/* Characters in UTF-8 text. */
static size_t width(const char *text, size_t size) {
    size_t count = 0;
    for (size_t i = 0; i < size; i++)
        count += ((unsigned char)text[i] & 0xC0) != 0x80;
    return count;
}

void rw_layout_heading(struct rw_buffer *out, const char *title) {
    if (out->length > 0)
        rw_buffer_text(out, "\n");
    rw_buffer_text(out, title);
    rw_buffer_text(out, "\n");
}

static void wrap(struct rw_buffer *out, const char *mark, const char *text) {
    const size_t indent = width(mark, strlen(mark));
    rw_buffer_text(out, mark);
    size_t column = indent;
    for (const char *word = text; *word;) {
        const size_t size = strcspn(word, " ");
        const size_t columns = width(word, size);
        if (column > indent && column + 1 + columns > RW_TEXT_COLUMNS) {
            rw_buffer_print(out, "\n%*s", (int)indent, "");
            column = indent;
        }
        if (column > indent && size > 0) {
            rw_buffer_text(out, " ");
            column++;
        }
        rw_buffer_add(out, word, size);
        column += columns;
        word += size + (word[size] == ' ');
    }
    rw_buffer_text(out, "\n");
}

void rw_layout_item(struct rw_buffer *out, const char *mark, const char *format, ...) {
    struct rw_buffer paragraph = {0};
    va_list args;
    va_start(args, format);
    rw_buffer_print_list(&paragraph, format, args);
    va_end(args);
    char *text = rw_buffer_take(&paragraph, NULL);
    if (text)
        wrap(out, mark, text);
    else
        out->failed = true;
    free(text);
}
