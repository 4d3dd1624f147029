/* The handlers of the routing table. Each settles the reply; what the audit says follows from it. */
#ifndef ROOTWARD_ROUTES_H
#define ROOTWARD_ROUTES_H

#include "../service.h"

void rw_route_assess(struct rw_service *service, struct rw_request *request);     /* assessments.c */
void rw_route_assessment(struct rw_service *service, struct rw_request *request); /* assessments.c */
void rw_route_subject(struct rw_service *service, struct rw_request *request);    /* subjects.c */
void rw_route_check(struct rw_service *service, struct rw_request *request);      /* check.c */
void rw_route_model(struct rw_service *service, struct rw_request *request);      /* model.c */
void rw_route_vocabulary(struct rw_service *service, struct rw_request *request); /* vocabulary.c */
void rw_route_signin(struct rw_service *service, struct rw_request *request);     /* signin.c */
void rw_route_signout(struct rw_service *service, struct rw_request *request);    /* signin.c */
void rw_route_healthz(struct rw_service *service, struct rw_request *request);    /* health.c */
void rw_route_readyz(struct rw_service *service, struct rw_request *request);     /* health.c */
void rw_route_asset(struct rw_service *service, struct rw_request *request);      /* assets.c */

#endif
