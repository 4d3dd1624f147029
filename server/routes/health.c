/* GET /healthz: the process lives. GET /readyz: it can answer, that is, it can write its audit log. */
#include <string.h>

#include "routes.h"

static void say(struct rw_request *request, const char *text) {
    rw_reply_fixed(request, 200, RW_JSON, text, strlen(text));
}

void rw_route_healthz(struct rw_service *service, struct rw_request *request) {
    (void)service;
    say(request, "{\"status\":\"ok\"}");
}

/* After a failed write only a write that succeeds shows that the disk is back. */
static bool can_write(struct rw_database *database) {
    const struct rw_event event = {.actor = "service", .action = "resume", .outcome = "ok"};
    return rw_database_writable(database) &&
           (!rw_database_failing(database) || rw_audit_append(database, &event));
}

void rw_route_readyz(struct rw_service *service, struct rw_request *request) {
    if (atomic_load(&service->draining))
        rw_refuse(request, RW_PROBLEM_BUSY, "The service is stopping", NULL);
    else if (can_write(service->database))
        say(request, "{\"status\":\"ready\"}");
    else
        rw_refuse(request, RW_PROBLEM_AUDIT, NULL, NULL);
}
