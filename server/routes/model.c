/* GET /v1/model: everything needed to recompute a posterior by hand. */
#include "routes.h"

void rw_route_model(struct rw_service *service, struct rw_request *request) {
    rw_reply_fixed(request, 200, RW_JSON, service->model, service->model_size);
}
