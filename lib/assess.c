#include "rootward.h"

#include <stdio.h>
#include <string.h>

#include "deficits.h"
#include "explain.h"
#include "localise.h"
#include "recovery.h"
#include "rules.h"
#include "transfers.h"

/* Enough for every world at once; tests/unit/test_localise.c runs the largest exam in it. */
#define WORKSPACE_BYTES ((size_t)56 << 20)

size_t rw_workspace_size(void) {
    return WORKSPACE_BYTES;
}

static enum rw_status refuse(struct rw_error *error, uint16_t check, const char *why) {
    error->status = RW_EINVAL;
    if (check < rw_model()->check_count)
        rw_check_pointer(check, error->pointer, sizeof error->pointer);
    snprintf(error->message, sizeof error->message, "%s", why);
    return RW_EINVAL;
}

static enum rw_status check_exam(const struct rw_exam *exam, struct rw_error *error) {
    const struct rw_model *m = rw_model();
    bool seen[RW_MAX_CHECKS] = {false};
    if (exam->finding_count > RW_MAX_CHECKS)
        return refuse(error, RW_NONE, "more findings than checks exist");
    if (exam->mechanism >= RW_MECHANISM_COUNT)
        return refuse(error, RW_NONE, "unknown mechanism");
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        if (f->check >= m->check_count)
            return refuse(error, RW_NONE, "a finding names no check");
        if (f->value >= m->scales[m->checks[f->check].scale].value_count)
            return refuse(error, f->check, "the value is not on this check's scale");
        if (seen[f->check])
            return refuse(error, f->check, "the same finding is given twice");
        seen[f->check] = true;
    }
    return RW_OK;
}

enum rw_status rw_assess(const struct rw_exam *exam, void *workspace, size_t workspace_size,
                         struct rw_assessment *out, struct rw_error *error) {
    struct rw_arena arena = {.base = workspace, .size = workspace_size};
    struct rw_localise_result result;
    memset(error, 0, sizeof *error);
    if (workspace_size < WORKSPACE_BYTES) {
        error->status = RW_ENOSPACE;
        return RW_ENOSPACE;
    }
    enum rw_status status = check_exam(exam, error);
    if (status != RW_OK)
        return status;
    memset(out, 0, sizeof *out);
    status = rw_localise(exam, &arena, &out->localisation, &result);
    if (status != RW_OK) {
        error->status = status;
        return status;
    }
    struct rw_states states;
    struct rw_losses losses;
    if (!rw_states_make(&result, &arena, &states) || !rw_losses_of(exam, &states, &arena, &losses) ||
        !rw_deficits(exam, &states, &losses, &arena, &out->deficits)) {
        error->status = RW_ENOSPACE;
        return RW_ENOSPACE;
    }
    out->localisation.list_covers = states.covers;
    rw_explain_findings(exam, &result, &states, &out->localisation);
    rw_explain_next(exam, &states, &out->localisation);
    rw_recovery(exam, &losses, &out->deficits, &out->recovery);
    if (!rw_transfers(exam, &states, &losses, &out->deficits, &out->recovery, &arena, &out->transfers)) {
        error->status = RW_ENOSPACE;
        return RW_ENOSPACE;
    }
    rw_rules(exam, &out->localisation, out);
    return RW_OK;
}
