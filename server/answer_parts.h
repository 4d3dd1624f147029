/* Private to the writing of answers. */
#ifndef ROOTWARD_ANSWER_PARTS_H
#define ROOTWARD_ANSWER_PARTS_H

#include "json_writer.h"
#include "records.h"
#include "wording.h"

struct rw_answer {
    struct rw_json json;
    const json_t *record;
    const struct rw_exam *exam;
    const struct rw_assessment *assessment;
};

/* Lists are given in the order that matters: by key, highest first, equal keys as they stand. */
struct rw_rank {
    double key;
    uint16_t index;
};
void rw_rank(struct rw_rank *ranks, size_t count);

/* How many hypotheses an answer lists: ten, or until 0.95 of the probability is told, a hundred at most. */
size_t rw_hypotheses_listed(const struct rw_localisation *localisation);
/* Summary of a hypothesis by its place in the list; "" when there is none. */
void rw_summary_at(const struct rw_exam *exam, const struct rw_localisation *localisation, uint16_t index,
                   char buffer[RW_SUMMARY_SIZE]);
/* Places of evidence, findings unexplained and next checks in the order that matters; at most `count` are
 * wanted. */
size_t rw_evidence_order(const struct rw_localisation *localisation, struct rw_rank ranks[RW_MAX_CHECKS]);
size_t rw_unexplained_order(const struct rw_localisation *localisation, struct rw_rank ranks[RW_MAX_CHECKS]);
size_t rw_next_order(const struct rw_localisation *localisation, struct rw_rank ranks[RW_MAX_CHECKS]);
size_t rw_function_order(const struct rw_deficits *deficits, struct rw_rank ranks[RW_MAX_FUNCTIONS]);
size_t rw_area_order(const struct rw_deficits *deficits, struct rw_rank ranks[RW_MAX_AREAS]);
size_t rw_recovery_order(const struct rw_recovery *recovery, struct rw_rank ranks[RW_MAX_MUSCLES]);
size_t rw_donor_order(const struct rw_transfers *transfers, struct rw_rank ranks[RW_MAX_DONORS]);

/* What a plan's donors cost: for each donor and function, the grades of it that go; RW_NONE for a donor that no
 * function counts. */
typedef void rw_take_cost(void *context, const struct rw_donor *donor, uint16_t function, double grade);
void rw_each_donor_cost(const struct rw_plan *plan, rw_take_cost *take, void *context);
typedef void rw_take_text(void *context, const char *text);
/* What must be said of a step beside its figures. */
void rw_each_step_note(const struct rw_transfers *transfers, const struct rw_step *step, rw_take_text *take,
                       void *context);
/* Everything an answer must be read with, one sentence each; the standing caution comes first. */
void rw_each_caution(const struct rw_exam *exam, const struct rw_assessment *a, rw_take_text *take,
                     void *context);

/* Those of the knowledge, which every answer bears. */
void rw_each_standing_caution(rw_take_text *take, void *context);

/* A date, or null for RW_NO_DAY; [from, to], or null when there are no dates. */
void rw_write_date(struct rw_json *json, int32_t day);
void rw_write_dates(struct rw_json *json, const char *key, const int32_t days[2]);
/* "lesions" of a hypothesis. */
void rw_write_lesions(struct rw_json *json, const struct rw_hypothesis *hypothesis);
/* "roots", the least likely intact first. */
void rw_write_roots(struct rw_json *json, const struct rw_root_posterior roots[RW_PLEXUS_ROOTS]);
void rw_write_localisation(struct rw_answer *answer);
void rw_write_deficits(struct rw_answer *answer);
void rw_write_recovery(struct rw_answer *answer);
void rw_write_transfers(struct rw_answer *answer);

#endif
