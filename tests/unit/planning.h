/* Plans over hand-made posteriors, for the tests of donors, chances and transfers. */
#ifndef RW_TEST_PLANNING_H
#define RW_TEST_PLANNING_H

#include "hand_made.h"

#include "donors.h"
#include "transfers.h"

enum { ONSET = 20000 };

struct setting {
    struct rw_deficits deficits;
    struct rw_recovery recovery;
    struct rw_transfers transfers;
};

static inline struct setting *plan_of(const struct rw_exam *exam, const struct rw_case *cases, size_t count) {
    struct hand_made *h = states_from(exam, cases, count);
    struct setting *s = malloc(sizeof *s);
    cr_assert(rw_deficits(exam, &h->states, &h->losses, &h->arena, &s->deficits));
    rw_recovery(exam, &h->losses, &s->deficits, &s->recovery);
    cr_assert(
        rw_transfers(exam, &h->states, &h->losses, &s->deficits, &s->recovery, &h->arena, &s->transfers));
    free_states(h);
    return s;
}

static inline uint16_t donor_of(const char *id) {
    for (uint16_t i = 0; i < rw_model()->donor_count; i++)
        if (strcmp(rw_model()->donors[i].id, id) == 0)
            return i;
    cr_assert_fail("no donor %s", id);
    return RW_NONE;
}

static inline uint16_t transfer_of(const char *id) {
    for (uint16_t i = 0; i < rw_model()->transfer_count; i++)
        if (strcmp(rw_model()->transfers[i].id, id) == 0)
            return i;
    cr_assert_fail("no transfer %s", id);
    return RW_NONE;
}

/* In the best plan. */
static inline const struct rw_step *step_in(const struct setting *s, const char *id) {
    const uint16_t transfer = transfer_of(id);
    for (size_t i = 0; s->transfers.plan_count > 0 && i < s->transfers.plans[0].step_count; i++)
        if (s->transfers.plans[0].steps[i].transfer == transfer)
            return &s->transfers.plans[0].steps[i];
    return NULL;
}

static inline const char *refusal_in(const struct setting *s, const char *id) {
    const uint16_t transfer = transfer_of(id);
    for (size_t i = 0; i < s->transfers.rejected_count; i++)
        if (s->transfers.rejected[i].transfer == transfer)
            return s->transfers.rejected[i].because;
    return "not rejected";
}

static inline void assert_refused(const struct setting *s, const char *id, const char *why) {
    cr_assert_not_null(strstr(refusal_in(s, id), why), "%s: %s", id, refusal_in(s, id));
}

/* C5 and C6 out, everything else graded strong. */
static inline struct rw_exam *upper_palsy(int32_t examined) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, examined);
    give_motor(exam, "deltoid=0 supraspinatus=0 infraspinatus=0 teres_minor=0 biceps_brachii=0 brachialis=0 "
                     "brachioradialis=0 triceps_brachii=5 rhomboids=5 serratus_anterior=5 trapezius=5 "
                     "latissimus_dorsi=5 flexor_carpi_ulnaris=5 flexor_carpi_radialis=5 "
                     "flexor_digitorum_superficialis=5 first_dorsal_interosseous=5");
    return exam;
}

/* Everything below the shoulder blade out. */
static inline struct rw_exam *whole_palsy(int32_t examined) {
    struct rw_exam *exam = new_exam(RW_MECHANISM_TRACTION, ONSET, examined);
    give_motor(exam,
               "deltoid=0 supraspinatus=0 infraspinatus=0 biceps_brachii=0 brachialis=0 triceps_brachii=0 "
               "pectoralis_major=0 latissimus_dorsi=0 flexor_carpi_ulnaris=0 flexor_carpi_radialis=0 "
               "flexor_digitorum_superficialis=0 first_dorsal_interosseous=0 trapezius=5");
    give(exam, RW_SECTION_HEMIDIAPHRAGM, "", "normal");
    return exam;
}

static inline struct rw_case whole_avulsion(void) {
    return complete_at(
        1.0, "c5_preganglionic c6_preganglionic c7_preganglionic c8_preganglionic t1_preganglionic");
}

#endif
