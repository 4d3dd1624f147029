/* Engine against oracle on a small invented plexus: the whole posterior, hypothesis by hypothesis. */
#include "support.h"

#include <criterion/criterion.h>
#include <criterion/parameterized.h>
#include <stdlib.h>

enum { BATCHES = 4, EXAMS = 50, MOST_FINDINGS = 12 };

static void compare_exam(struct comparison *comparison, struct random *random) {
    struct rw_exam *exam = take(sizeof *exam);
    struct oracle *oracle = take(sizeof *oracle);
    struct oracle_result *result = take(sizeof *result);
    random_exam(random, 1, MOST_FINDINGS, exam);
    struct rw_localisation *engine = engine_localise(exam);
    oracle_prepare(oracle, exam);
    oracle_posterior(oracle, result);
    compare_posterior(comparison, engine, oracle, result);
    expect_agreement(comparison, exam);
    free(engine);
    free(result);
    free(oracle);
    free(exam);
}

ParameterizedTestParameters(oracle, reduced) {
    static size_t seeds[BATCHES] = {1, 2, 3, 4};
    return cr_make_param_array(size_t, seeds, BATCHES);
}

ParameterizedTest(size_t *seed, oracle, reduced) {
    struct random random = {.state = *seed};
    for (size_t number = 0; number < EXAMS; number++)
        compare_exam(&(struct comparison){.seed = *seed, .number = number}, &random);
}
