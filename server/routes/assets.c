/* The files of the page, from memory. */
#include <string.h>

#include "routes.h"

void rw_route_asset(struct rw_service *service, struct rw_request *request) {
    const struct rw_file *file = request->file;
    const char *known = request->headers[RW_HEADER_IF_NONE_MATCH];
    (void)service;
    if (known && strcmp(known, file->etag) == 0)
        rw_reply_empty(request, 304);
    else
        rw_reply_fixed(request, 200, file->type, file->bytes, file->size);
    rw_reply_header(request, "ETag", file->etag);
    request->reply.keep = true;
}
