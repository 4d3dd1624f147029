#include "oracle.h"

#include <math.h>
#include <string.h>

enum { PRE, PROXIMAL, DISTAL, ROOT_PARTS = ORACLE_ROOT_PARTS, CONFIGURATIONS = 32768 };

static const char *const root_ids[RW_PLEXUS_ROOTS][ROOT_PARTS] = {
    {"c5_preganglionic", "c5_proximal", "c5_distal"},
    {"c6_preganglionic", "c6_proximal", "c6_distal"},
    {"c7_preganglionic", "c7_proximal", "c7_distal"},
    {"c8_preganglionic", "c8_proximal", "c8_distal"},
    {"t1_preganglionic", "t1_proximal", "t1_distal"}};

static const uint8_t state_severity[RW_ROOT_STATES][ROOT_PARTS] = {
    [RW_ROOT_INTACT] = {RW_INTACT, RW_INTACT, RW_INTACT},
    [RW_ROOT_PRE_PARTIAL] = {RW_PARTIAL, RW_INTACT, RW_INTACT},
    [RW_ROOT_PRE_COMPLETE] = {RW_COMPLETE, RW_INTACT, RW_INTACT},
    [RW_ROOT_PROXIMAL_PARTIAL] = {RW_INTACT, RW_PARTIAL, RW_INTACT},
    [RW_ROOT_PROXIMAL_COMPLETE] = {RW_INTACT, RW_COMPLETE, RW_INTACT},
    [RW_ROOT_DISTAL_PARTIAL] = {RW_INTACT, RW_INTACT, RW_PARTIAL},
    [RW_ROOT_DISTAL_COMPLETE] = {RW_INTACT, RW_INTACT, RW_COMPLETE},
    [RW_ROOT_DOUBLE] = {RW_COMPLETE, RW_INTACT, RW_COMPLETE},
};

/* ---- anatomy ---- */

static size_t site_named(const char *id) {
    const struct rw_model *model = rw_model();
    size_t site = 0;
    while (site < model->site_count && strcmp(model->sites[site].id, id) != 0)
        site++;
    return site;
}

/* Fibres that two sites share (a site with itself: all its fibres) in the first variant, and which roots feed
 * trunks and divisions there. */
static void prepare_paths(struct oracle *oracle) {
    const struct rw_model *model = rw_model();
    for (size_t t = 0; t < model->target_count; t++)
        for (size_t i = 0; i < model->ranges[t].count; i++) {
            const struct rw_bundle *bundle = &model->bundles[model->ranges[t].first + i];
            const bool feeds = bundle->entry == RW_ENTRY_ALL || bundle->entry == RW_ENTRY_POST;
            for (size_t a = 0; a < bundle->site_count; a++) {
                const enum rw_level level = model->sites[bundle->sites[a]].level;
                for (size_t b = 0; b < bundle->site_count; b++)
                    oracle->shared[bundle->sites[a]][bundle->sites[b]] += bundle->weight;
                if (feeds && (level == RW_LEVEL_TRUNK || level == RW_LEVEL_DIVISION))
                    oracle->fed_by[bundle->sites[a]][bundle->segment - RW_SEGMENT_C5] = true;
            }
        }
}

static void prepare_anatomy(struct oracle *oracle) {
    const struct rw_model *model = rw_model();
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        for (size_t part = 0; part < ROOT_PARTS; part++)
            oracle->root_sites[root][part] = site_named(root_ids[root][part]);
    for (size_t site = 0; site < model->site_count; site++)
        if (model->sites[site].level != RW_LEVEL_ROOT)
            oracle->further_sites[oracle->further_count++] = (uint8_t)site;
    oracle->depth_share[0] = rw_fact_value("partial_share_mild");
    oracle->depth_share[1] = 1 - oracle->depth_share[0];
    const double loss[ORACLE_DEPTHS] = {rw_fact_value("partial_loss_mild"),
                                        rw_fact_value("partial_loss_severe")};
    for (size_t depth = 0; depth < ORACLE_DEPTHS; depth++) {
        oracle->kept[depth][RW_INTACT] = 1;
        oracle->kept[depth][RW_PARTIAL] = 1 - loss[depth];
        oracle->kept[depth][RW_COMPLETE] = 0;
    }
}

/* ---- hypotheses ---- */

void oracle_severities(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis,
                       uint8_t severity[RW_MAX_SITES]) {
    memset(severity, RW_INTACT, RW_MAX_SITES);
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        for (size_t part = 0; part < ROOT_PARTS; part++)
            severity[oracle->root_sites[root][part]] = state_severity[hypothesis->states[root]][part];
    for (size_t i = 0; i < hypothesis->further_count; i++)
        severity[hypothesis->further[i].site] = hypothesis->further[i].severity;
}

/* The state with these severities at a root's sites, or RW_ROOT_STATES. */
static size_t read_root(const struct oracle *oracle, const uint8_t severity[RW_MAX_SITES], size_t root) {
    for (size_t state = 0; state < RW_ROOT_STATES; state++) {
        size_t agree = 0;
        for (size_t part = 0; part < ROOT_PARTS; part++)
            agree += severity[oracle->root_sites[root][part]] == state_severity[state][part];
        if (agree == ROOT_PARTS)
            return state;
    }
    return RW_ROOT_STATES;
}

static size_t injured_roots(const struct oracle_hypothesis *hypothesis) {
    size_t count = 0;
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        count += hypothesis->states[root] != RW_ROOT_INTACT;
    return count;
}

static bool scatters_to(const struct oracle *oracle, uint8_t site) {
    return oracle->prior->scattered[site][RW_PARTIAL] > 0;
}

bool oracle_in_space(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis) {
    const size_t roots = injured_roots(hypothesis), further = hypothesis->further_count;
    if (further <= 1 || roots + further <= 3)
        return true;
    if (roots > 0 || further < RW_MIN_SCATTER || further > RW_MAX_SCATTER)
        return false;
    for (size_t i = 0; i < further; i++)
        if (!scatters_to(oracle, hypothesis->further[i].site))
            return false;
    return true;
}

bool oracle_from_lesions(const struct oracle *oracle, const struct rw_lesion *lesions, size_t count,
                         struct oracle_hypothesis *hypothesis) {
    const struct rw_model *model = rw_model();
    uint8_t severity[RW_MAX_SITES] = {0};
    *hypothesis = (struct oracle_hypothesis){0};
    for (size_t i = 0; i < count; i++) {
        if (lesions[i].site >= model->site_count || severity[lesions[i].site] != RW_INTACT ||
            (lesions[i].severity != RW_PARTIAL && lesions[i].severity != RW_COMPLETE))
            return false;
        severity[lesions[i].site] = lesions[i].severity;
        if (model->sites[lesions[i].site].level == RW_LEVEL_ROOT)
            continue;
        if (hypothesis->further_count == ORACLE_MAX_FURTHER)
            return false;
        hypothesis->further[hypothesis->further_count++] = lesions[i];
    }
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        const size_t state = read_root(oracle, severity, root);
        if (state == RW_ROOT_STATES)
            return false;
        hypothesis->states[root] = (uint8_t)state;
    }
    return oracle_in_space(oracle, hypothesis);
}

/* ---- prior ---- */

static void states_of(size_t configuration, uint8_t states[RW_PLEXUS_ROOTS]) {
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        states[root] = (uint8_t)(configuration >> (3 * root) & 7);
}

static size_t mask_of(const uint8_t states[RW_PLEXUS_ROOTS]) {
    size_t mask = 0;
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++)
        if (states[root] != RW_ROOT_INTACT)
            mask |= (size_t)1 << root;
    return mask;
}

static bool has(uint8_t state, enum rw_severity severity) {
    for (size_t part = 0; part < ROOT_PARTS; part++)
        if (state_severity[state][part] == severity)
            return true;
    return false;
}

/* The most proximal injured part: a root torn and ruptured as well counts as torn. */
static size_t root_part(uint8_t state) {
    size_t part = PRE;
    while (state_severity[state][part] == RW_INTACT)
        part++;
    return part;
}

/* C(r) */
static double configuration_weight(const struct rw_prior *prior, const uint8_t states[RW_PLEXUS_ROOTS]) {
    double weight = 1;
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        if (states[root] == RW_ROOT_INTACT)
            continue;
        weight *= prior->state[root][states[root]];
        if (root == 0 || states[root - 1] == RW_ROOT_INTACT)
            continue;
        if (has(states[root], RW_COMPLETE) == has(states[root - 1], RW_COMPLETE))
            weight *= prior->agree_complete;
        if (root_part(states[root]) == root_part(states[root - 1]))
            weight *= prior->agree_level;
    }
    return weight;
}

/* R(r) */
static double root_prior(const struct oracle *oracle, const uint8_t states[RW_PLEXUS_ROOTS]) {
    size_t mask = mask_of(states);
    return oracle->prior->pattern[mask] * configuration_weight(oracle->prior, states) /
           oracle->configuration_total[mask];
}

/* Product of c(r, a) over the further sites: in_series for each trunk or division whose roots are all hurt.
 */
static double series_weight(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis) {
    double weight = 1;
    for (size_t f = 0; f < hypothesis->further_count; f++) {
        const bool *fed_by = oracle->fed_by[hypothesis->further[f].site];
        bool fed = false, spared = false;
        for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
            fed |= fed_by[root];
            spared |= fed_by[root] && hypothesis->states[root] == RW_ROOT_INTACT;
        }
        weight *= fed && !spared ? oracle->prior->in_series : 1;
    }
    return weight;
}

/* More than half of the fibres of one run through the other. */
static bool one_path(const struct oracle *oracle, size_t a, size_t b) {
    return oracle->shared[a][b] > oracle->shared[a][a] / 2 || oracle->shared[a][b] > oracle->shared[b][b] / 2;
}

double oracle_coupling(const struct oracle *oracle, size_t a, size_t b) {
    const struct rw_site *sites = rw_model()->sites;
    const bool same_region = strcmp(sites[a].region, sites[b].region) == 0;
    if (same_region && one_path(oracle, a, b))
        return oracle->prior->in_series;
    const enum rw_level levels[] = {RW_LEVEL_TRUNK, RW_LEVEL_DIVISION, RW_LEVEL_CORD};
    for (size_t i = 0; i < sizeof levels / sizeof *levels; i++)
        if (sites[a].level == levels[i] && sites[b].level == levels[i])
            return oracle->prior->same_level;
    return same_region ? oracle->prior->same_region : 1;
}

/* Product of q over a set of further sites and of k over its pairs. */
static double further_weight(const struct oracle *oracle, const struct rw_lesion *further, size_t count) {
    double weight = 1;
    for (size_t i = 0; i < count; i++) {
        weight *= oracle->prior->site[further[i].site][further[i].severity];
        for (size_t j = 0; j < i; j++)
            weight *= oracle_coupling(oracle, further[i].site, further[j].site);
    }
    return weight;
}

static double scattered_weight(const struct rw_prior *prior, const struct rw_lesion *further, size_t count) {
    double weight = 1;
    for (size_t i = 0; i < count; i++)
        weight *= prior->scattered[further[i].site][further[i].severity];
    return weight;
}

static double ratio(double part, double whole) {
    return whole > 0 ? part / whole : 0;
}

double oracle_prior(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis) {
    const double *kind = oracle->prior->kind;
    size_t roots = injured_roots(hypothesis);
    double q = further_weight(oracle, hypothesis->further, hypothesis->further_count);
    double r = roots > 0 ? root_prior(oracle, hypothesis->states) : 1;
    double c = roots > 0 ? series_weight(oracle, hypothesis) : 1;
    if (hypothesis->outside)
        return kind[RW_PRIOR_OUTSIDE];
    switch (hypothesis->further_count) {
    case 0:
        return roots > 0 ? kind[RW_PRIOR_ROOTS] * r : kind[RW_PRIOR_NONE];
    case 1:
        return roots > 0 ? kind[RW_PRIOR_ROOTS_AND_ONE] * r * ratio(q * c, oracle->one_total)
                         : kind[RW_PRIOR_SINGLE] * q;
    case 2:
        return roots > 0 ? kind[RW_PRIOR_ROOT_AND_TWO] * ratio(r * q * c, oracle->root_and_two_total)
                         : kind[RW_PRIOR_PAIR] * ratio(q, oracle->pair_total);
    case 3:
        return kind[RW_PRIOR_TRIPLE] * ratio(q, oracle->triple_total);
    default:
        return kind[RW_PRIOR_SCATTERED] *
               ratio(scattered_weight(oracle->prior, hypothesis->further, hypothesis->further_count),
                     oracle->scatter_total);
    }
}

/* ---- likelihood ---- */

/* P(recorded value) in one variant, for given severities and what each severity leaves of a site. */
static double finding_probability(const struct oracle_finding *finding, size_t variant,
                                  const uint8_t severity[RW_MAX_SITES], const double kept[RW_COMPLETE + 1]) {
    const struct rw_model *model = rw_model();
    const struct rw_range range = model->ranges[variant * model->target_count + finding->target];
    enum rw_spread spread = RW_SPREAD_SHARP;
    double fraction = 0;
    for (size_t b = range.first; b < range.first + range.count; b++) {
        const struct rw_bundle *bundle = &model->bundles[b];
        double intact = bundle->weight;
        for (size_t s = 0; s < bundle->site_count; s++) {
            intact *= kept[severity[bundle->sites[s]]];
            if (severity[bundle->sites[s]] == RW_PARTIAL)
                spread = RW_SPREAD_UNEVEN;
        }
        fraction += intact;
    }
    const double *curve = finding->curve[spread];
    double place = fmin(fmax(fraction, 0), 1) * (RW_GRID - 1);
    size_t left = place < RW_GRID - 1 ? (size_t)place : RW_GRID - 2;
    double beyond = place - (double)left;
    return (1 - beyond) * curve[left] + beyond * curve[left + 1];
}

double oracle_likelihood(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis) {
    const struct rw_model *model = rw_model();
    double total = 0, outside = 1;
    for (size_t f = 0; f < oracle->finding_count; f++)
        outside *= oracle->findings[f].outside;
    if (hypothesis->outside)
        return outside;
    uint8_t severity[RW_MAX_SITES];
    oracle_severities(oracle, hypothesis, severity);
    for (size_t variant = 0; variant < model->variant_count; variant++)
        for (size_t depth = 0; depth < ORACLE_DEPTHS; depth++) {
            double product = model->variants[variant].prevalence * oracle->depth_share[depth];
            for (size_t f = 0; f < oracle->finding_count; f++)
                product *= finding_probability(&oracle->findings[f], variant, severity, oracle->kept[depth]);
            total += product;
        }
    return total;
}

/* ---- an exam ---- */

/* Share of a sign that has come: none before its table's first day, all from its full day on, in proportion
 * between. Where onset is not known it is taken as late enough. */
static double grown(const struct rw_exam *exam, const struct rw_table *table) {
    double days = (double)exam->examined_day - (double)exam->onset_day;
    if (exam->onset_day == RW_NO_DAY || days >= table->full_days)
        return 1;
    return days < table->min_days ? 0 : (days - table->min_days) / (table->full_days - table->min_days);
}

static bool speaks(const struct rw_exam *exam, const struct rw_check *check) {
    return check->target != RW_NONE && grown(exam, &rw_model()->tables[check->table]) > 0;
}

static void prepare_finding(struct oracle_finding *finding, const struct rw_exam *exam,
                            const struct rw_finding *given) {
    const struct rw_model *model = rw_model();
    const struct rw_check *check = &model->checks[given->check];
    const struct rw_table *table = &model->tables[check->table];
    const struct rw_value *value = &model->scales[check->scale].values[given->value];
    double filled = given->filled_in ? table->filled_outlier : 0;
    *finding = (struct oracle_finding){.target = check->target};
    for (size_t v = 0; v < value->count; v++)
        finding->outside += value->weight[v] * table->outside[value->observation[v]];
    for (size_t spread = 0; spread < RW_SPREAD_COUNT; spread++)
        for (size_t i = 0; i < RW_GRID; i++) {
            const double *cell = &table->probability[(spread * RW_GRID + i) * table->observation_count];
            const double *spared = &table->probability[(RW_GRID - 1) * (size_t)table->observation_count];
            double examined = 0, come = grown(exam, table);
            for (size_t v = 0; v < value->count; v++)
                examined += value->weight[v] *
                            (come * cell[value->observation[v]] + (1 - come) * spared[value->observation[v]]);
            finding->curve[spread][i] = (1 - filled) * examined + filled * finding->outside;
        }
}

/* Sum of scattered weights over all sets that add `more` of the first `limit` scattered sites to `set`. */
static double scattered_sum(const struct oracle *oracle, struct rw_lesion set[RW_MAX_SCATTER], size_t count,
                            size_t more, size_t limit) {
    double sum = 0;
    if (more == 0)
        return scattered_weight(oracle->prior, set, count);
    for (size_t i = 0; i < limit; i++)
        for (size_t severity = RW_PARTIAL; severity <= RW_COMPLETE; severity++) {
            set[count] = (struct rw_lesion){oracle->scatter_sites[i], (uint8_t)severity};
            sum += scattered_sum(oracle, set, count + 1, more - 1, i);
        }
    return sum;
}

static void prepare_scatter(struct oracle *oracle) {
    struct rw_lesion set[RW_MAX_SCATTER];
    for (size_t i = 0; i < oracle->further_count; i++)
        if (scatters_to(oracle, oracle->further_sites[i]))
            oracle->scatter_sites[oracle->scatter_count++] = oracle->further_sites[i];
    for (size_t size = RW_MIN_SCATTER; size <= RW_MAX_SCATTER; size++)
        oracle->scatter_total += scattered_sum(oracle, set, 0, size, oracle->scatter_count);
}

/* Adds what one root configuration gives to Z1 and Zx. */
static void prepare_roots_with_further(struct oracle *oracle, const struct oracle_hypothesis *roots) {
    const double r = root_prior(oracle, roots->states);
    struct oracle_hypothesis h = *roots;
    for (size_t a = 0; a < oracle->further_count; a++)
        for (uint8_t severities = 0; severities < 4; severities++) {
            h.further[0] =
                (struct rw_lesion){oracle->further_sites[a], (uint8_t)(RW_PARTIAL + (severities & 1))};
            h.further_count = 1;
            if (severities < 2)
                oracle->one_total += r * further_weight(oracle, h.further, 1) * series_weight(oracle, &h);
            h.further_count = 2;
            for (size_t b = 0; b < a && injured_roots(&h) == 1; b++) {
                h.further[1] =
                    (struct rw_lesion){oracle->further_sites[b], (uint8_t)(RW_PARTIAL + (severities >> 1))};
                oracle->root_and_two_total +=
                    r * further_weight(oracle, h.further, 2) * series_weight(oracle, &h);
            }
        }
}

static void prepare_prior(struct oracle *oracle) {
    struct oracle_hypothesis h = {0};
    for (size_t configuration = 1; configuration < CONFIGURATIONS; configuration++) {
        states_of(configuration, h.states);
        oracle->configuration_total[mask_of(h.states)] += configuration_weight(oracle->prior, h.states);
    }
    const uint8_t *sites = oracle->further_sites;
    for (size_t a = 0; a < oracle->further_count; a++)
        for (size_t b = 0; b < a; b++)
            for (uint8_t severities = 0; severities < 4; severities++) {
                struct rw_lesion set[3] = {{sites[a], (uint8_t)(RW_PARTIAL + (severities & 1))},
                                           {sites[b], (uint8_t)(RW_PARTIAL + (severities >> 1))}};
                oracle->pair_total += further_weight(oracle, set, 2);
                for (size_t c = 0; c < b; c++)
                    for (size_t severity = RW_PARTIAL; severity <= RW_COMPLETE; severity++) {
                        set[2] = (struct rw_lesion){sites[c], (uint8_t)severity};
                        oracle->triple_total += further_weight(oracle, set, 3);
                    }
            }
    for (size_t configuration = 1; configuration < CONFIGURATIONS; configuration++) {
        states_of(configuration, h.states);
        prepare_roots_with_further(oracle, &h);
    }
}

void oracle_prepare(struct oracle *oracle, const struct rw_exam *exam) {
    const struct rw_model *model = rw_model();
    *oracle = (struct oracle){.prior = &model->priors[exam->mechanism]};
    for (size_t i = 0; i < exam->finding_count; i++)
        if (speaks(exam, &model->checks[exam->findings[i].check]))
            prepare_finding(&oracle->findings[oracle->finding_count++], exam, &exam->findings[i]);
    prepare_anatomy(oracle);
    prepare_paths(oracle);
    prepare_prior(oracle);
    prepare_scatter(oracle);
}

/* ---- the sum over the space ---- */

static void keep_heaviest(struct oracle_result *result, double weight) {
    size_t place = result->heaviest_count;
    if (place == RW_MAX_HYPOTHESES && weight <= result->heaviest[place - 1])
        return;
    if (place < RW_MAX_HYPOTHESES)
        result->heaviest_count++;
    else
        place--;
    for (; place > 0 && result->heaviest[place - 1] < weight; place--)
        result->heaviest[place] = result->heaviest[place - 1];
    result->heaviest[place] = weight;
}

/* Adds one hypothesis to every sum it belongs to. Its level is that of its most proximal lesion in the order
 * root, trunk, division, cord, nerve. The evidence is kept in log_evidence until the end. */
static void add(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis,
                struct oracle_result *result) {
    const struct rw_model *model = rw_model();
    double prior = oracle_prior(oracle, hypothesis);
    double weight = prior > 0 ? prior * oracle_likelihood(oracle, hypothesis) : 0;
    result->hypothesis_count++;
    result->log_evidence += weight;
    keep_heaviest(result, weight);
    if (hypothesis->outside) {
        result->outside += weight;
        return;
    }
    uint8_t severity[RW_MAX_SITES];
    oracle_severities(oracle, hypothesis, severity);
    enum rw_level level = RW_LEVEL_COUNT;
    for (size_t site = 0; site < model->site_count; site++) {
        if (severity[site] == RW_INTACT)
            continue;
        result->sites[site].p_injured += weight;
        result->sites[site].p_complete += severity[site] == RW_COMPLETE ? weight : 0;
        if (model->sites[site].level < level)
            level = model->sites[site].level;
    }
    if (level == RW_LEVEL_COUNT)
        result->no_lesion += weight;
    else
        result->levels[level] += weight;
    for (size_t root = 0; root < RW_PLEXUS_ROOTS; root++) {
        const uint8_t *parts = state_severity[hypothesis->states[root]];
        result->roots[root].p_preganglionic += parts[PRE] != RW_INTACT ? weight : 0;
        result->roots[root].p_postganglionic +=
            parts[PRE] == RW_INTACT && hypothesis->states[root] != RW_ROOT_INTACT ? weight : 0;
    }
}

/* All hypotheses that add `more` of the first `limit` of these further sites to the given one. */
static void add_with_further(const struct oracle *oracle, const struct oracle_hypothesis *hypothesis,
                             const uint8_t *sites, size_t more, size_t limit, struct oracle_result *result) {
    if (more == 0) {
        add(oracle, hypothesis, result);
        return;
    }
    for (size_t i = 0; i < limit; i++)
        for (size_t severity = RW_PARTIAL; severity <= RW_COMPLETE; severity++) {
            struct oracle_hypothesis next = *hypothesis;
            next.further[next.further_count++] = (struct rw_lesion){sites[i], (uint8_t)severity};
            add_with_further(oracle, &next, sites, more - 1, i, result);
        }
}

static void scale(struct oracle_result *result) {
    double evidence = result->log_evidence;
    result->log_evidence = log(evidence);
    result->no_lesion /= evidence;
    result->outside /= evidence;
    for (size_t i = 0; i < RW_LEVEL_COUNT; i++)
        result->levels[i] /= evidence;
    for (size_t i = 0; i < RW_MAX_SITES; i++) {
        result->sites[i].p_injured /= evidence;
        result->sites[i].p_complete /= evidence;
    }
    for (size_t i = 0; i < RW_PLEXUS_ROOTS; i++) {
        struct rw_root_posterior *root = &result->roots[i];
        root->p_preganglionic /= evidence;
        root->p_postganglionic /= evidence;
        root->p_intact = 1 - root->p_preganglionic - root->p_postganglionic;
    }
    for (size_t i = 0; i < result->heaviest_count; i++)
        result->heaviest[i] /= evidence;
}

void oracle_posterior(const struct oracle *oracle, struct oracle_result *result) {
    *result = (struct oracle_result){0};
    add(oracle, &(struct oracle_hypothesis){.outside = true}, result);
    for (size_t configuration = 0; configuration < CONFIGURATIONS; configuration++) {
        struct oracle_hypothesis roots = {0};
        states_of(configuration, roots.states);
        size_t injured = injured_roots(&roots);
        size_t most = injured == 0 ? 3 : injured == 1 ? 2 : 1;
        for (size_t further = 0; further <= most; further++)
            add_with_further(oracle, &roots, oracle->further_sites, further, oracle->further_count, result);
    }
    for (size_t further = RW_MIN_SCATTER; further <= RW_MAX_SCATTER; further++)
        add_with_further(oracle, &(struct oracle_hypothesis){0}, oracle->scatter_sites, further,
                         oracle->scatter_count, result);
    scale(result);
}
