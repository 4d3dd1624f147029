#include "knowledge.h"

#include <string.h>

static const char *const regions[] = {"neck", "supraclavicular", "infraclavicular", "arm", "forearm", "hand"};
/* part and relation of a root's three sites, in the order of their indices */
static const struct {
    const char *suffix, *part, *relation;
} root_parts[3] = {
    {"preganglionic", NULL, "preganglionic"},
    {"proximal", "before_branches", "postganglionic"},
    {"distal", "after_branches", "postganglionic"},
};

static bool same(const char *a, const char *b) {
    return a == b || (a && b && strcmp(a, b) == 0);
}

/* Index 0..14 of a root site by its id, or KN_ROOT_SITES. */
static size_t root_site_index(const char *id) {
    static const char *const ids[KN_ROOT_SITES] = {
        "c5_preganglionic", "c5_proximal",      "c5_distal",        "c6_preganglionic", "c6_proximal",
        "c6_distal",        "c7_preganglionic", "c7_proximal",      "c7_distal",        "c8_preganglionic",
        "c8_proximal",      "c8_distal",        "t1_preganglionic", "t1_proximal",      "t1_distal"};
    return kn_word_index(id, ids, KN_ROOT_SITES);
}

static void check_root_site(const struct kn_file *file, size_t row, const struct rw_site *site,
                            size_t index) {
    if (index == KN_ROOT_SITES) {
        kn_fault(file, row, "unknown root site '%s'", site->id);
        return;
    }
    if (strcmp(site->name, kn_root_name(index / 3)) != 0)
        kn_fault(file, row, "name '%s', expected %s", site->name, kn_root_name(index / 3));
    if (!same(site->part, root_parts[index % 3].part) ||
        !same(site->relation, root_parts[index % 3].relation))
        kn_fault(file, row, "part and relation of a %s site are %s and %s", root_parts[index % 3].suffix,
                 root_parts[index % 3].part ? root_parts[index % 3].part : "-",
                 root_parts[index % 3].relation);
}

static void check_further_site(const struct kn_file *file, size_t row, const struct rw_site *site) {
    const char *relation = site->level == RW_LEVEL_NERVE ? NULL : "postganglionic";
    if (!same(site->relation, relation))
        kn_fault(file, row, "relation of this level is %s", relation ? relation : "-");
    if (strncmp(site->id, site->name, strlen(site->name)) != 0)
        kn_fault(file, row, "id '%s' does not start with its name '%s'", site->id, site->name);
}

static struct rw_site read_site(const struct kn_file *file, size_t row) {
    struct rw_site site = {
        .id = kn_cell(file, row, "id"),
        .name = kn_cell(file, row, "name"),
        .part = kn_optional(file, row, "part"),
        .label = kn_cell(file, row, "label"),
        .relation = kn_optional(file, row, "relation"),
        .source = kn_cell(file, row, "source"),
        .region = regions[kn_word(file, row, "region", regions, sizeof regions / sizeof *regions)],
        .level = (enum rw_level)kn_word(file, row, "level", kn_levels, RW_LEVEL_COUNT),
        .root = KN_NO_ROOT,
        .depth = (uint16_t)kn_number(file, row, "depth", 0, UINT16_MAX, NULL),
    };
    if ((double)site.depth != kn_number(file, row, "depth", 0, UINT16_MAX, NULL))
        kn_fault(file, row, "depth is not a whole number");
    return site;
}

/* Two sites that an answer could not tell apart. */
static void check_site_twins(const struct kn_file *file, size_t row) {
    static const char *const columns[] = {"level", "name", "part", "relation"};
    for (size_t other = 0; other < row; other++) {
        size_t i = 0;
        while (i < 4 && kn_is(file, row, columns[i], kn_cell(file, other, columns[i])))
            i++;
        if (i == 4)
            kn_fault(file, row, "same level, name, part and relation as '%s'", kn_cell(file, other, "id"));
    }
}

void kn_build_sites(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_SITES];
    struct rw_site *sites = kn_new(&knowledge->arena, KN_ROOT_SITES + file->row_count, sizeof *sites);
    bool seen[KN_ROOT_SITES] = {false};
    size_t count = KN_ROOT_SITES;
    for (size_t row = 0; row < file->row_count; row++) {
        struct rw_site site = read_site(file, row);
        check_site_twins(file, row);
        size_t index = root_site_index(site.id);
        if (site.level == RW_LEVEL_ROOT)
            check_root_site(file, row, &site, index);
        else
            check_further_site(file, row, &site);
        if (index < KN_ROOT_SITES) {
            seen[index] = true;
            site.root = (uint8_t)(index / 3);
            sites[index] = site;
        } else {
            sites[count++] = site;
        }
    }
    for (size_t i = 0; i < KN_ROOT_SITES; i++)
        if (!seen[i]) {
            kn_complain(file->log, file->path, 1, "%s has no %s site", kn_root_name(i / 3),
                        root_parts[i % 3].suffix);
            sites[i] = (struct rw_site){.id = "", .name = "", .label = "", .source = "", .region = ""};
        }
    if (count > RW_MAX_SITES)
        kn_complain(file->log, file->path, 1, "more than %d sites", RW_MAX_SITES);
    knowledge->model.sites = sites;
    knowledge->model.site_count = count > RW_MAX_SITES ? RW_MAX_SITES : count;
}

uint8_t kn_site(const struct knowledge *knowledge, const char *id) {
    for (size_t i = 0; i < knowledge->model.site_count; i++)
        if (strcmp(knowledge->model.sites[i].id, id) == 0)
            return (uint8_t)i;
    return UINT8_MAX;
}

/* ---- routes ---- */

static void read_route(struct knowledge *knowledge, size_t row, struct kn_route *route, bool *on_a_route) {
    const struct kn_file *file = &knowledge->files[KN_ROUTES];
    const struct rw_site *sites = knowledge->model.sites;
    const char *const *words = NULL;
    size_t count = kn_split(&knowledge->arena, kn_cell(file, row, "sites"), &words);
    route->id = kn_cell(file, row, "route");
    if (count > KN_MAX_ROUTE) {
        kn_fault(file, row, "more than %d sites", KN_MAX_ROUTE);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        uint8_t site = kn_site(knowledge, words[i]);
        if (site == UINT8_MAX) {
            kn_fault(file, row, "unknown site '%s'", words[i]);
            continue;
        }
        if (site < KN_ROOT_SITES)
            kn_fault(file, row, "root site '%s' (they are added from segment and entry)", words[i]);
        if (route->site_count > 0 && sites[route->sites[route->site_count - 1]].depth >= sites[site].depth)
            kn_fault(file, row, "runs uphill at '%s'", words[i]);
        route->sites[route->site_count++] = site;
        on_a_route[site] = true;
    }
}

void kn_build_routes(struct knowledge *knowledge) {
    const struct kn_file *file = &knowledge->files[KN_ROUTES];
    bool on_a_route[UINT8_MAX + 1] = {false};
    knowledge->routes = kn_new(&knowledge->arena, file->row_count, sizeof *knowledge->routes);
    knowledge->route_count = file->row_count;
    for (size_t row = 0; row < file->row_count; row++)
        read_route(knowledge, row, &knowledge->routes[row], on_a_route);
    const struct kn_file *sites = &knowledge->files[KN_SITES];
    for (size_t row = 0; row < sites->row_count; row++) {
        uint8_t site = kn_site(knowledge, kn_cell(sites, row, "id"));
        if (site >= KN_ROOT_SITES && site != UINT8_MAX && !on_a_route[site])
            kn_fault(sites, row, "no route runs through '%s'", kn_cell(sites, row, "id"));
    }
}

struct kn_route *kn_route(const struct knowledge *knowledge, const char *id) {
    for (size_t i = 0; i < knowledge->route_count; i++)
        if (strcmp(knowledge->routes[i].id, id) == 0)
            return &knowledge->routes[i];
    return NULL;
}
