/* GET /v1/vocabulary: every id of a record with its label, help and scale. */
#include "routes.h"

void rw_route_vocabulary(struct rw_service *service, struct rw_request *request) {
    rw_reply_fixed(request, 200, RW_JSON, service->vocabulary, service->vocabulary_size);
}
