/* Private to the answer in plain words: one file a part. */
#ifndef ROOTWARD_ANSWER_TEXT_H
#define ROOTWARD_ANSWER_TEXT_H

#include "answer_parts.h"

struct rw_text_page {
    struct rw_buffer out;
    const struct rw_exam *exam;
    const struct rw_assessment *a;
};

/* answer_text_outlook.c */
void rw_text_functions(struct rw_text_page *page);
/* answer_text_recovery.c */
void rw_text_recovery(struct rw_text_page *page);
/* answer_text_plan.c */
void rw_text_transfers(struct rw_text_page *page);

/* Adds a word to a list: parted from what stands there by `parting`. */
void rw_text_list(struct rw_buffer *list, const char *parting, const char *word);
/* Hands a list to an item with this mark, unless it is empty: `before`, the list, `after`. Empties it. */
void rw_text_list_item(struct rw_buffer *out, const char *mark, const char *before, struct rw_buffer *list,
                       const char *after);

#endif
