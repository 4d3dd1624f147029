/* Which request goes where, and who may ask. */
#ifndef ROOTWARD_ROUTING_H
#define ROOTWARD_ROUTING_H

#include "service.h"

/* Host, path, method, access, origin and body rules, in this order. Either request->route is set and the
 * request may go on, or it is refused. */
void rw_routing_admit(struct rw_service *service, struct rw_request *request, const char *path);

#endif
