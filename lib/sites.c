#include "sites.h"

#include <string.h>

static struct rw_range range_of(size_t variant, uint16_t target) {
    const struct rw_model *m = rw_model();
    return m->ranges[variant * m->target_count + target];
}

static struct rw_sites sites_of(const struct rw_bundle *bundle) {
    struct rw_sites sites = {{0}};
    for (size_t k = 0; k < bundle->site_count; k++)
        rw_sites_add(&sites, bundle->sites[k]);
    return sites;
}

size_t rw_strands_of(size_t variant, uint16_t target, struct rw_strand *list) {
    const struct rw_range range = range_of(variant, target);
    for (size_t i = 0; i < range.count; i++) {
        const struct rw_bundle *bundle = &rw_model()->bundles[range.first + i];
        list[i] = (struct rw_strand){.sites = sites_of(bundle), .bundle = bundle};
    }
    return range.count;
}

struct rw_sites rw_sites_to(size_t variant, uint16_t target) {
    const struct rw_range range = range_of(variant, target);
    struct rw_sites sites = {{0}};
    for (size_t i = 0; i < range.count; i++)
        sites = rw_sites_either(sites, sites_of(&rw_model()->bundles[range.first + i]));
    return sites;
}

struct rw_sites rw_sites_to_any(uint16_t target) {
    struct rw_sites sites = {{0}};
    for (size_t v = 0; v < rw_model()->variant_count; v++)
        if (rw_variant_like(v, target) == v)
            sites = rw_sites_either(sites, rw_sites_to(v, target));
    return sites;
}

size_t rw_variant_like(size_t variant, uint16_t target) {
    const struct rw_range range = range_of(variant, target);
    size_t v = 0;
    while (range_of(v, target).first != range.first || range_of(v, target).count != range.count)
        v++;
    return v;
}

struct rw_sites rw_sites_preganglionic(void) {
    const struct rw_model *m = rw_model();
    struct rw_sites sites = {{0}};
    for (size_t s = 0; s < m->site_count; s++)
        if (m->sites[s].relation != NULL && strcmp(m->sites[s].relation, "preganglionic") == 0)
            rw_sites_add(&sites, s);
    return sites;
}
