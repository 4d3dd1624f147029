/* What POST /v1/assessments and POST /v1/records/check share: the body as a record, or the refusal. */
#ifndef ROOTWARD_RECORD_BODY_H
#define ROOTWARD_RECORD_BODY_H

#include <jansson.h>

#include "../service.h"

/* True: exam and record are filled (json_decref the record) and the audit knows the subject. False: refused.
 */
bool rw_record_body(struct rw_request *request, struct rw_exam *exam, json_t **record);

#endif
