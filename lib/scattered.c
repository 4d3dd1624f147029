/* Scattered sets: four to six further sites at once, out of those that a scattered disease picks.
 *
 * Findings that the same sites can touch form a group, and a group has one table of ln L over 3^k states of
 * its k sites; a group whose sites are all in another is added to that one. A walk through all sets adds one
 * site at a time and so looks up only the groups that this site touches. Worlds that give the same tables
 * (root weights seldom matter to whole nerves) are walked as one. What cannot reach the search's least weight,
 * whatever is added to it, is not walked. */
#include <math.h>
#include <string.h>

#include "exp.h"
#include "search.h"

enum { SEVERITIES = 2 };

struct group {
    uint32_t mask;                         /* of scattered sites, by place in the list */
    uint32_t states;                       /* 3^k */
    uint32_t stride[RW_MAX_SCATTER_SITES]; /* of a site's severity in a state's index; 0: does not touch */
    double *table; /* [state · world_count + world] ln L less that of nothing injured */
};

struct walk {
    struct rw_search *search;
    size_t site_count, group_count, world_count;
    uint8_t ordinal[RW_MAX_SCATTER_SITES];   /* further ordinal, rising */
    struct group *groups;                    /* [terms] */
    double base[RW_MAX_WORLDS];              /* ln: prior, world, nothing injured, less the reference */
    uint16_t *touched[RW_MAX_SCATTER_SITES]; /* groups that a site touches */
    size_t touched_count[RW_MAX_SCATTER_SITES];
    uint32_t state[RW_MAX_CHECKS]; /* of each group at the set at hand */
    /* ln, at most: what a site in a severity adds, and what up to so many sites from one on add. */
    double gain[RW_MAX_SCATTER_SITES][SEVERITIES], ahead[RW_MAX_SCATTER_SITES + 1][RW_MAX_SCATTER + 1];
    struct rw_candidate set;
};

/* Which scattered sites touch the target of a view. */
static uint32_t touch_mask(const struct walk *walk, const struct rw_view *view) {
    uint32_t mask = 0;
    for (size_t i = 0; i < walk->site_count; i++)
        mask |= view->class_of[2 * walk->ordinal[i]] != 0 ? 1u << i : 0u;
    return mask;
}

static struct group *group_of(struct walk *walk, uint32_t mask, struct rw_arena *arena) {
    for (size_t g = 0; g < walk->group_count; g++)
        if (walk->groups[g].mask == mask)
            return &walk->groups[g];
    struct group *group = &walk->groups[walk->group_count];
    *group = (struct group){.mask = mask, .states = 1};
    for (size_t i = 0; i < walk->site_count; i++)
        if ((mask >> i & 1u) != 0) {
            group->stride[i] = group->states;
            group->states *= 1 + SEVERITIES;
        }
    group->table = rw_arena_take(arena, group->states * walk->world_count, sizeof(double));
    if (group->table == NULL)
        return NULL;
    memset(group->table, 0, group->states * walk->world_count * sizeof(double));
    walk->group_count++;
    return group;
}

/* ln L of a view with its group's sites in a state. */
static double log_of_state(const struct walk *walk, const struct group *group, const struct rw_view *view,
                           uint32_t state) {
    struct rw_flow flow = {.fixed = 0.0};
    double left[RW_MAX_VIEW_BUNDLES];
    memcpy(left, view->weight, sizeof left);
    for (size_t i = 0; i < walk->site_count; i++) {
        const uint32_t severity = group->stride[i] == 0 ? 0 : state / group->stride[i] % 3;
        if (severity == RW_INTACT)
            continue;
        const uint64_t bundles = view->classes[view->class_of[2 * walk->ordinal[i] + severity - 1]].bundles;
        flow.uneven = flow.uneven || severity == RW_PARTIAL;
        for (size_t b = 0; b < view->bundle_count; b++)
            if ((bundles >> b & 1u) != 0)
                left[b] *= severity == RW_COMPLETE ? 0.0 : view->partial_left;
    }
    for (size_t b = 0; b < view->bundle_count; b++)
        flow.fixed += left[b];
    return rw_flow_log(view, &flow, 0);
}

static bool add_term(struct walk *walk, const struct rw_view *view, size_t world, struct rw_arena *arena) {
    const uint32_t mask = touch_mask(walk, view);
    const struct group unfed = {.mask = 0};
    const double none = log_of_state(walk, &unfed, view, 0);
    walk->base[world] += none;
    if (mask == 0)
        return true;
    struct group *group = group_of(walk, mask, arena);
    if (group == NULL)
        return false;
    for (uint32_t state = 1; state < group->states; state++)
        group->table[state * walk->world_count + world] += log_of_state(walk, group, view, state) - none;
    return true;
}

/* The state of `group` that a state of a group with more sites implies. */
static uint32_t state_within(const struct walk *walk, const struct group *group, const struct group *wider,
                             uint32_t state) {
    uint32_t own = 0;
    for (size_t i = 0; i < walk->site_count; i++)
        if (group->stride[i] != 0)
            own += state / wider->stride[i] % 3 * group->stride[i];
    return own;
}

static void add_group(const struct walk *walk, const struct group *group, const struct group *wider) {
    for (uint32_t state = 1; state < wider->states; state++)
        for (size_t w = 0; w < walk->world_count; w++)
            wider->table[state * walk->world_count + w] +=
                group->table[state_within(walk, group, wider, state) * walk->world_count + w];
}

/* Adds every group whose sites all belong to another one to that one, and lists the others by site. */
static bool merge_groups(struct walk *walk, struct rw_arena *arena) {
    size_t kept = 0;
    for (size_t g = 0; g < walk->group_count; g++) {
        const struct group *group = &walk->groups[g];
        const struct group *wider = NULL;
        for (size_t h = 0; h < walk->group_count && wider == NULL; h++)
            if ((h < kept || h > g) && (group->mask & ~walk->groups[h].mask) == 0)
                wider = &walk->groups[h];
        if (wider != NULL)
            add_group(walk, group, wider);
        else
            walk->groups[kept++] = *group;
    }
    walk->group_count = kept;
    for (size_t i = 0; i < walk->site_count; i++) {
        walk->touched[i] = rw_arena_take(arena, kept + 1, sizeof *walk->touched[i]);
        if (walk->touched[i] == NULL)
            return false;
        for (size_t g = 0; g < kept; g++)
            if (walk->groups[g].stride[i] != 0)
                walk->touched[i][walk->touched_count[i]++] = (uint16_t)g;
    }
    return true;
}

/* Worlds that differ by less than this in every table are one. */
#define SAME_NATS 1e-13

static bool same_world(const struct walk *walk, size_t a, size_t b) {
    if (fabs(walk->base[a] - walk->base[b]) > SAME_NATS)
        return false;
    for (size_t g = 0; g < walk->group_count; g++)
        for (uint32_t state = 1; state < walk->groups[g].states; state++) {
            const double *row = walk->groups[g].table + state * walk->world_count;
            if (fabs(row[a] - row[b]) > SAME_NATS)
                return false;
        }
    return true;
}

/* Folds equal worlds, adds the weights of what is left to base, and closes the gaps in the tables. */
static void fold_worlds(struct walk *walk) {
    const struct rw_search *s = walk->search;
    size_t kept[RW_MAX_WORLDS] = {0}, count = 0;
    double weight[RW_MAX_WORLDS] = {0};
    for (size_t w = 0; w < walk->world_count; w++) {
        size_t k = 0;
        while (k < count && !same_world(walk, kept[k], w))
            k++;
        if (k == count)
            kept[count++] = w;
        weight[k] += exp(s->worlds[w].log_weight);
    }
    for (size_t g = 0; g < walk->group_count; g++)
        for (uint32_t state = 0; state < walk->groups[g].states; state++)
            for (size_t k = 0; k < count; k++)
                walk->groups[g].table[state * count + k] =
                    walk->groups[g].table[state * walk->world_count + kept[k]];
    for (size_t k = 0; k < count; k++)
        walk->base[k] =
            walk->base[kept[k]] + log(weight[k]) + s->prior->kind[RW_PRIOR_SCATTERED] - s->reference;
    walk->world_count = count;
}

/* The most that a group's ln L rises when a site goes from intact to a severity, whatever its other sites. */
static double greatest_rise(const struct walk *walk, const struct group *group, size_t site,
                            uint32_t severity) {
    const size_t worlds = walk->world_count, step = severity * group->stride[site] * worlds;
    double most = -(double)INFINITY;
    for (uint32_t state = 0; state < group->states; state++)
        for (size_t w = 0; state / group->stride[site] % 3 == RW_INTACT && w < worlds; w++) {
            const double *before = group->table + state * worlds + w;
            most = fmax(most, before[step] - before[0]);
        }
    return most;
}

static void bound_gains(struct walk *walk) {
    const double *prior = walk->search->prior->scattered;
    for (size_t i = walk->site_count; i-- > 0;) {
        for (uint32_t severity = RW_PARTIAL; severity <= RW_COMPLETE; severity++) {
            double *gain = &walk->gain[i][severity - 1];
            *gain = prior[2 * walk->ordinal[i] + severity - 1];
            for (size_t k = 0; k < walk->touched_count[i]; k++)
                *gain += greatest_rise(walk, &walk->groups[walk->touched[i][k]], i, severity);
        }
        const double own = fmax(walk->gain[i][0], walk->gain[i][1]);
        for (size_t picks = 1; picks <= RW_MAX_SCATTER; picks++)
            walk->ahead[i][picks] = fmax(walk->ahead[i + 1][picks], own + walk->ahead[i + 1][picks - 1]);
    }
}

/* How many sets there are. */
static double count_sets(size_t sites) {
    double ways = 1.0, count = 0.0;
    for (size_t k = 1; k <= RW_MAX_SCATTER && k <= sites; k++) {
        ways *= (double)SEVERITIES * (double)(sites - k + 1) / (double)k;
        count += k >= RW_MIN_SCATTER ? ways : 0.0;
    }
    return count;
}

static double book(struct walk *walk, const double *lw, enum rw_level level) {
    struct rw_search *s = walk->search;
    double weight = 0.0;
    for (size_t w = 0; w < walk->world_count; w++)
        weight += rw_exp(lw[w]);
    s->level[level] += weight;
    if (weight > rw_shortlist_floor(&s->shortlist)) {
        walk->set.weight = weight;
        rw_shortlist_offer(&s->shortlist, &walk->set);
    }
    return weight;
}

static double greatest(const double *x, size_t count) {
    double most = -(double)INFINITY;
    for (size_t i = 0; i < count; i++)
        most = x[i] > most ? x[i] : most;
    return most;
}

static double extend(struct walk *walk, size_t first, const double *lw, enum rw_level level);

/* Sums the set at hand with one more site in a severity, and all sets that add further ones to that. */
static double add_site(struct walk *walk, size_t i, uint32_t severity, const double *lw,
                       enum rw_level level) {
    struct rw_search *s = walk->search;
    struct rw_candidate *set = &walk->set;
    const uint8_t atom = (uint8_t)(2 * walk->ordinal[i] + severity - 1);
    double child[RW_MAX_WORLDS] = {0.0}, got = 0.0;
    for (size_t w = 0; w < walk->world_count; w++)
        child[w] = lw[w] + s->prior->scattered[atom];
    for (size_t k = 0; k < walk->touched_count[i]; k++) {
        const size_t g = walk->touched[i][k];
        const struct group *group = &walk->groups[g];
        const double *before = group->table + walk->state[g] * walk->world_count;
        walk->state[g] += severity * group->stride[i];
        const double *after = group->table + walk->state[g] * walk->world_count;
        for (size_t w = 0; w < walk->world_count; w++)
            child[w] += after[w] - before[w];
    }
    set->atoms[set->atom_count++] = atom;
    if (set->atom_count >= RW_MIN_SCATTER)
        got += book(walk, child, level);
    if (set->atom_count < RW_MAX_SCATTER)
        got += extend(walk, i + 1, child, level);
    set->atoms[--set->atom_count] = 0;
    for (size_t k = 0; k < walk->touched_count[i]; k++)
        walk->state[walk->touched[i][k]] -= severity * walk->groups[walk->touched[i][k]].stride[i];
    s->further[atom] += got;
    return got;
}

/* Sums all sets that add sites from `first` on to the set at hand; `lw`: its ln weight by world. */
static double extend(struct walk *walk, size_t first, const double *lw, enum rw_level level) {
    const struct rw_search *s = walk->search;
    const size_t picks = RW_MAX_SCATTER - walk->set.atom_count;
    const double most = greatest(lw, walk->world_count);
    double sum = 0.0;
    for (size_t i = first; i < walk->site_count && most + walk->ahead[i][picks] >= s->least; i++) {
        const enum rw_level own = rw_model()->sites[s->space->further_site[walk->ordinal[i]]].level;
        for (uint32_t severity = RW_PARTIAL; severity <= RW_COMPLETE; severity++)
            if (most + walk->gain[i][severity - 1] + walk->ahead[i + 1][picks - 1] >= s->least)
                sum += add_site(walk, i, severity, lw, own < level ? own : level);
    }
    return sum;
}

static bool fill_tables(struct walk *walk, const struct rw_term *terms, size_t term_count,
                        struct rw_arena *arena) {
    struct rw_view *view = rw_arena_take(arena, 1, sizeof *view);
    walk->groups = rw_arena_take(arena, term_count + 1, sizeof *walk->groups);
    if (view == NULL || walk->groups == NULL)
        return false;
    for (size_t w = 0; w < walk->world_count; w++)
        for (size_t t = 0; t < term_count; t++) {
            rw_view_init(view, &terms[t], &walk->search->worlds[w], walk->search->space);
            if (!add_term(walk, view, w, arena))
                return false;
        }
    return true;
}

bool rw_scattered_search(struct rw_search *search, const struct rw_term *terms, size_t term_count,
                         struct rw_arena *arena) {
    struct walk walk = {.search = search, .world_count = search->world_count};
    const size_t used = arena->used;
    for (size_t a = 0; a < search->space->further_count; a++)
        if (isfinite(search->prior->scattered[2 * a]))
            walk.ordinal[walk.site_count++] = (uint8_t)a;
    if (walk.site_count == 0)
        return true;
    if (!fill_tables(&walk, terms, term_count, arena) || !merge_groups(&walk, arena))
        return false;
    fold_worlds(&walk);
    bound_gains(&walk);
    const double sum = extend(&walk, 0, walk.base, RW_LEVEL_NERVE);
    search->total += sum;
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++)
        search->root_state[i][RW_ROOT_INTACT] += sum;
    search->summed += count_sets(walk.site_count) * (double)search->world_count;
    arena->used = used;
    return true;
}
