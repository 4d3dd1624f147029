/* What no plan may do, whatever it is worth. */
#ifndef ROOTWARD_TESTS_PLAN_CHECKS_H
#define ROOTWARD_TESTS_PLAN_CHECKS_H

#include <rootward.h>

/* The number of faults in the plans of an answer, each told on stderr with the id of the row. */
size_t plan_faults(const struct rw_exam *exam, const struct rw_assessment *assessment, const char *row);

#endif
