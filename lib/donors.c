#include "donors.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chances.h"

enum { NO_ROOT = 0xff };

/* The next word of a space-separated list; false at its end. */
static bool next_id(const char **list, char id[64]) {
    const size_t skip = strspn(*list, " "), size = strcspn(*list + skip, " ");
    snprintf(id, 64, "%.*s", (int)size, *list + skip);
    *list += skip + size;
    return size > 0;
}

static size_t donor_named(const char *id) {
    const struct rw_model *m = rw_model();
    size_t d = 0;
    while (d < m->donor_count && strcmp(m->donors[d].id, id) != 0)
        d++;
    return d;
}

void rw_donor_parts(uint64_t parts[RW_MAX_DONORS]) {
    const struct rw_model *m = rw_model();
    char id[64];
    for (size_t d = 0; d < m->donor_count; d++) {
        parts[d] = 0;
        for (const char *names = m->donors[d].nerve; next_id(&names, id);) {
            const size_t part = donor_named(id);
            if (part != d && part < m->donor_count)
                parts[d] |= UINT64_C(1) << part;
        }
        if (parts[d] == 0)
            parts[d] = UINT64_C(1) << d;
    }
}

void rw_transfer_bars(struct rw_bars bars[RW_MAX_TRANSFERS]) {
    const struct rw_model *m = rw_model();
    char id[64];
    for (size_t t = 0; t < m->transfer_count; t++) {
        bars[t] = (struct rw_bars){0};
        for (const char *names = m->transfers[t].conflicts; next_id(&names, id);) {
            const size_t donor = donor_named(id);
            if (donor < m->donor_count)
                bars[t].donors |= UINT64_C(1) << donor;
            for (size_t i = 0; i < m->transfer_count; i++)
                if (strcmp(m->transfers[i].id, id) == 0)
                    bars[t].transfers[i / 64] |= UINT64_C(1) << (i % 64);
        }
    }
}

static bool sign_present(const struct rw_exam *exam, const char *sign) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        const struct rw_check *check = &m->checks[f->check];
        if (check->section == RW_SECTION_SIGN && strcmp(check->item, sign) == 0)
            return strcmp(m->scales[check->scale].values[f->value].text, "true") == 0;
    }
    return false;
}

/* Serves no motor transfer: a donor of feeling. */
static bool is_sensory(uint16_t donor) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < m->transfer_count; i++)
        if (m->transfers[i].donor == donor && strcmp(m->transfers[i].kind, "motor") == 0)
            return false;
    return true;
}

static bool needs_breath(const struct rw_donor *donor) {
    const uint16_t diaphragm = rw_target_find(RW_TARGET_MUSCLE, "diaphragm");
    for (size_t i = 0; i < donor->test_count; i++)
        if (donor->tests[i] == diaphragm)
            return true;
    return donor->chest;
}

static void say(struct rw_donor_status *out, enum rw_donor_state state, const char *because) {
    out->state = state;
    snprintf(out->because, sizeof out->because, "%s", because);
}

/* What settles the matter whatever the power is. */
static bool excluded(const struct rw_exam *exam, const uint64_t *parts_of, uint16_t donor,
                     struct rw_donor_status *out) {
    const struct rw_model *m = rw_model();
    const struct rw_donor *d = &m->donors[donor];
    const uint64_t parts = parts_of[donor];
    for (uint16_t i = 0; i < m->donor_count; i++) {
        const uint64_t other = parts_of[i];
        const bool used = exam->used[i] && (parts & other) != 0;
        const bool declined = exam->declined[i] && (other & ~parts) == 0; /* all of it is part of this one */
        const bool left_out = exam->options.excluded[i] && (other & ~parts) == 0;
        if (!used && !declined && !left_out)
            continue;
        out->state = RW_DONOR_EXCLUDED;
        snprintf(out->because, sizeof out->because, "%s%s%s",
                 used       ? "already used"
                 : declined ? "declined"
                            : "left out of the plan, as asked",
                 i == donor ? "" : ": ", i == donor ? "" : m->donors[i].label);
        return true;
    }
    if (d->chest && exam->rib_fractures) {
        say(out, RW_DONOR_EXCLUDED, "rib fractures: nerves of the chest wall are doubtful donors");
        return true;
    }
    if (needs_breath(d) && sign_present(exam, "breathless")) {
        say(out, RW_DONOR_EXCLUDED, "breathless: lung function comes first");
        return true;
    }
    return false;
}

/* ---- stumps ---- */

/* Sites that come before a site on the way to some muscle, in the usual anatomy; of roots only `root`, if one is
 * named. */
static struct rw_sites sites_before(uint8_t site, uint8_t root) {
    const struct rw_model *m = rw_model();
    struct rw_sites before = {{0}};
    for (size_t t = 0; t < m->target_count; t++) {
        if (m->targets[t].kind != RW_TARGET_MUSCLE)
            continue;
        for (size_t b = 0; b < m->ranges[t].count; b++) {
            const struct rw_bundle *bundle = &m->bundles[m->ranges[t].first + b];
            size_t place = 0;
            while (place < bundle->site_count && bundle->sites[place] != site)
                place++;
            for (size_t i = 0; place < bundle->site_count && i < place; i++) {
                const uint8_t other = m->sites[bundle->sites[i]].root;
                if (root == NO_ROOT || other == NO_ROOT || other == root)
                    rw_sites_add(&before, bundle->sites[i]);
            }
        }
    }
    return before;
}

/* P(a complete lesion leaves the stump, and nothing cuts it off or tears it nearer to the cord). */
static double stump_probability(const struct rw_states *states, const struct rw_donor *donor) {
    const struct rw_sites torn = rw_sites_preganglionic();
    struct rw_sites before[sizeof donor->stump];
    uint8_t root = NO_ROOT;
    double p = 0.0;
    for (size_t k = 0; k < donor->stump_count && root == NO_ROOT; k++)
        root = rw_model()->sites[donor->stump[k]].root;
    for (size_t k = 0; k < donor->stump_count; k++)
        before[k] = sites_before(donor->stump[k], root);
    for (size_t i = 0; i < states->count; i++) {
        const struct rw_state *s = &states->list[i];
        bool left = false;
        for (size_t k = 0; k < donor->stump_count && !s->outside; k++)
            left = left ||
                   (rw_sites_hold(s->complete, donor->stump[k]) && !rw_sites_meet(before[k], s->complete) &&
                    !rw_sites_meet(rw_sites_both(before[k], torn), s->partial));
        for (size_t w = 0; left && w < states->world_count; w++)
            p += s->weight[w];
    }
    return p;
}

static bool recorded(const struct rw_exam *exam, uint16_t check) {
    for (size_t i = 0; i < exam->finding_count; i++)
        if (exam->findings[i].check == check)
            return true;
    return false;
}

static void judge_stump(const struct rw_exam *exam, const struct rw_states *states, uint16_t donor,
                        struct rw_donor_status *out) {
    const struct rw_model *m = rw_model();
    const struct rw_donor *d = &m->donors[donor];
    const double p = stump_probability(states, d);
    out->p_strong = p * rw_fact_value("stump_usable");
    out->state = p >= 0.5 ? RW_DONOR_UNKNOWN : RW_DONOR_INVOLVED;
    for (size_t k = 0; k < d->stump_count && out->decided_by == RW_NONE; k++) {
        const uint8_t root = m->sites[d->stump[k]].root;
        const uint16_t check = root == NO_ROOT
                                   ? RW_NONE
                                   : rw_check_find(RW_SECTION_ROOT_AVULSION,
                                                   rw_segment_name((enum rw_segment)(RW_SEGMENT_C5 + root)));
        if (check != RW_NONE && !recorded(exam, check))
            out->decided_by = check;
    }
    snprintf(
        out->because, sizeof out->because,
        p >= 0.5
            ? "divided there with probability %.2f: whether its stump can be grafted from shows at operation"
            : "a stump there has a probability of %.2f only",
        rw_told(p));
}

/* ---- donors with a muscle or skin to test ---- */

static void untested(uint16_t donor, struct rw_donor_status *out) {
    out->p_strong = rw_fact_value("untested_donor_strong");
    if (is_sensory(donor))
        say(out, RW_DONOR_UNKNOWN, "donor of feeling: test the skin it serves first");
    else
        say(out, RW_DONOR_USABLE,
            "outside the injured nerves; no test in this limb: stimulate it at operation");
}

/* The tests of a donor, weighed. */
struct weighed {
    bool weak, examined;
    uint16_t lowest, open; /* weakest test muscle; weakest not graded one */
    const char *word;      /* what the weak one was graded */
    double p_lowest, p_open;
};

/* P(M4 or better) of a muscle, P(feeling) of an area. */
static double strength_of(const struct rw_deficits *deficits, uint16_t target) {
    const struct rw_muscle_state *state = rw_muscle_state_of(deficits, target);
    if (state != NULL)
        return state->p_m4;
    for (size_t i = 0; i < deficits->area_count; i++)
        if (deficits->areas[i].area == target)
            return 1.0 - deficits->areas[i].p_lost;
    return 0.0;
}

/* What the examiner said of a muscle, or of an area. */
static void measure(const struct rw_exam *exam, uint16_t target, struct rw_measured *out) {
    const struct rw_model *m = rw_model();
    rw_measure(exam, target, out);
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        const struct rw_check *check = &m->checks[f->check];
        if (check->section != RW_SECTION_SKIN_NERVE || check->target != target)
            continue;
        out->examined = true;
        out->given = !f->filled_in;
        out->word = m->scales[check->scale].values[f->value].text;
    }
}

/* What to examine to know it; the diaphragm is not felt but seen. */
static uint16_t check_of(uint16_t target) {
    const struct rw_target *t = &rw_model()->targets[target];
    const uint16_t seen = rw_check_find(RW_SECTION_HEMIDIAPHRAGM, "");
    if (seen != RW_NONE && rw_model()->checks[seen].target == target)
        return seen;
    return rw_check_find(t->kind == RW_TARGET_SKIN_NERVE ? RW_SECTION_SKIN_NERVE : RW_SECTION_MOTOR, t->id);
}

static bool sluggish_diaphragm(const struct rw_exam *exam, uint16_t muscle) {
    const struct rw_model *m = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++) {
        const struct rw_finding *f = &exam->findings[i];
        const struct rw_check *check = &m->checks[f->check];
        if (check->section == RW_SECTION_HEMIDIAPHRAGM && check->target == muscle)
            return f->value != m->scales[check->scale].normal;
    }
    return false;
}

static struct weighed weigh(const struct rw_exam *exam, const struct rw_deficits *deficits,
                            const struct rw_donor *donor) {
    const double strong = rw_fact_value("strong_donor_probability");
    struct weighed w = {.lowest = RW_NONE, .open = RW_NONE, .p_lowest = 2.0, .p_open = 2.0};
    for (size_t i = 0; i < donor->test_count; i++) {
        const double p = strength_of(deficits, donor->tests[i]);
        struct rw_measured measured;
        measure(exam, donor->tests[i], &measured);
        w.examined = i == 0 ? measured.examined : w.examined; /* its own muscle comes first */
        if (p < w.p_lowest) {
            w.p_lowest = p;
            w.lowest = donor->tests[i];
            w.weak = (measured.given && p < strong) || sluggish_diaphragm(exam, donor->tests[i]);
            w.word = measured.given ? measured.word : "reduced";
        }
        if (!measured.given && p < w.p_open) {
            w.p_open = p;
            w.open = donor->tests[i];
        }
    }
    return w;
}

/* What the injury took of the muscles that it is taken from: of the worst of them. */
static double share_lost(const struct rw_losses *losses, const struct rw_donor *donor) {
    double most = 0.0;
    for (size_t i = 0; i < donor->spend_count; i++)
        most = fmax(most, rw_loss_of(losses, donor->spends[i].muscle)->lost);
    return most;
}

static void judge(const struct rw_exam *exam, const struct rw_deficits *deficits, uint16_t donor,
                  struct rw_donor_status *out) {
    const struct rw_model *m = rw_model();
    const struct weighed w = weigh(exam, deficits, &m->donors[donor]);
    const char *lowest = m->targets[w.lowest].label;
    const char *open = w.open == RW_NONE ? lowest : m->targets[w.open].label;
    const char *enough = m->targets[w.lowest].kind == RW_TARGET_SKIN_NERVE ? "normal" : "M4 or better";
    const double strong = rw_fact_value("strong_donor_probability");
    out->p_strong = w.p_lowest;
    if (w.weak) {
        out->state = RW_DONOR_WEAK;
        snprintf(out->because, sizeof out->because, "%s is %s: %s is needed", lowest, w.word, enough);
    } else if (w.p_lowest < 0.5) {
        out->state = RW_DONOR_INVOLVED;
        snprintf(out->because, sizeof out->because, "%s is %s with probability %.2f: likely injured", lowest,
                 enough, rw_told(w.p_lowest));
    } else if (!w.examined && out->share_lost >= rw_fact_value("donor_involved_named")) {
        out->state = RW_DONOR_INVOLVED;
        snprintf(out->because, sizeof out->because,
                 "not examined, and about %.0f %% of its fibres come through the injury",
                 100.0 * out->share_lost);
    } else if (!w.examined || w.p_lowest < strong) {
        out->state = RW_DONOR_UNKNOWN;
        out->decided_by = check_of(w.open == RW_NONE ? w.lowest : w.open);
        snprintf(out->because, sizeof out->because, "%sexamine %s to decide: %s with probability %.2f",
                 w.examined ? "" : "not examined: ", open, enough, rw_told(w.p_lowest));
    } else if (out->share_lost >= rw_fact_value("donor_involved_named")) {
        out->state = RW_DONOR_USABLE;
        snprintf(out->because, sizeof out->because,
                 "strong, though about %.0f %% of its fibres come through the injury",
                 100.0 * out->share_lost);
    } else {
        out->state = RW_DONOR_USABLE;
        snprintf(out->because, sizeof out->because, "%s",
                 w.open == RW_NONE
                     ? "its muscle and those that must stay strong were graded M4 or better"
                     : "examined, and M4 or better is likely in its muscle and those that must stay strong");
    }
}

void rw_donor_states(const struct rw_exam *exam, const struct rw_states *states,
                     const struct rw_losses *losses, const struct rw_deficits *deficits,
                     struct rw_donor_status out[RW_MAX_DONORS]) {
    const struct rw_model *m = rw_model();
    uint64_t parts[RW_MAX_DONORS] = {0};
    rw_donor_parts(parts);
    for (uint16_t i = 0; i < m->donor_count; i++) {
        const struct rw_donor *d = &m->donors[i];
        out[i] =
            (struct rw_donor_status){.donor = i, .share_lost = share_lost(losses, d), .decided_by = RW_NONE};
        if (d->stump_count > 0)
            judge_stump(exam, states, i, &out[i]);
        else if (d->test_count == 0)
            untested(i, &out[i]);
        else
            judge(exam, deficits, i, &out[i]);
        if (excluded(exam, parts, i, &out[i])) /* speaks over what the power says */
            out[i].decided_by = RW_NONE;
    }
}
