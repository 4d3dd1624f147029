#include "record_body.h"

#include <stdio.h>

bool rw_record_body(struct rw_request *request, struct rw_exam *exam, json_t **record) {
    struct rw_issues issues = {0};
    *record = NULL;
    int status = rw_record_parse(request->body ? request->body : "", request->body_size, rw_today(), exam,
                                 record, &issues);
    if (status == 0) {
        rw_copy(request->subject, sizeof request->subject,
                json_string_value(json_object_get(*record, "subject")));
    } else {
        enum rw_problem problem = status == 422   ? RW_PROBLEM_RECORD
                                  : status == 400 ? RW_PROBLEM_NOT_JSON
                                                  : RW_PROBLEM_INTERNAL;
        snprintf(request->detail, sizeof request->detail, "%s errors=%zu", rw_problem_slug(problem),
                 issues.count);
        rw_refuse(request, problem, "Nothing was computed; errors lists every fault", &issues);
    }
    rw_issues_release(&issues);
    return status == 0;
}
