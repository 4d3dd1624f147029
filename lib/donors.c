#include "donors.h"

#include <stdio.h>
#include <string.h>

#include "deficits.h"

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

/* What settles the matter before any power is looked at. */
static bool excluded(const struct rw_exam *exam, const uint64_t *parts_of, uint16_t donor,
                     struct rw_donor_status *out) {
    const struct rw_model *m = rw_model();
    const struct rw_donor *d = &m->donors[donor];
    const uint64_t parts = parts_of[donor];
    for (uint16_t i = 0; i < m->donor_count; i++) {
        const uint64_t other = parts_of[i];
        const bool used = exam->used[i] && (parts & other) != 0;
        const bool declined = exam->declined[i] && (other & ~parts) == 0; /* all of it is part of this one */
        if (!used && !declined)
            continue;
        out->state = RW_DONOR_EXCLUDED;
        snprintf(out->because, sizeof out->because, "%s%s%s", used ? "already used" : "declined",
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
        const struct rw_muscle_state *state = rw_muscle_state_of(deficits, donor->tests[i]);
        const double p = state != NULL ? state->p_m4 : 0.0;
        struct rw_measured measured;
        rw_measure(exam, donor->tests[i], &measured);
        w.examined |= measured.examined;
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

static void judge(const struct rw_exam *exam, const struct rw_deficits *deficits, uint16_t donor,
                  struct rw_donor_status *out) {
    const struct rw_model *m = rw_model();
    const struct weighed w = weigh(exam, deficits, &m->donors[donor]);
    const char *lowest = m->targets[w.lowest].label;
    const char *open = w.open == RW_NONE ? lowest : m->targets[w.open].label;
    out->p_strong = w.p_lowest;
    if (w.weak) {
        out->state = RW_DONOR_WEAK;
        snprintf(out->because, sizeof out->because, "%s is %s: M4 or better is needed", lowest, w.word);
    } else if (w.p_lowest < 0.5) {
        out->state = RW_DONOR_INVOLVED;
        snprintf(out->because, sizeof out->because,
                 "%s is M4 or better with probability %.2f: likely injured", lowest, w.p_lowest);
    } else if (!w.examined) {
        out->state = RW_DONOR_UNKNOWN;
        snprintf(out->because, sizeof out->because, "not examined: examine %s to decide", open);
    } else if (w.p_lowest >= rw_fact_value("strong_donor_probability")) {
        out->state = RW_DONOR_USABLE;
        snprintf(out->because, sizeof out->because, "%s",
                 w.open == RW_NONE
                     ? "its muscle and those that must stay strong were graded M4 or better"
                     : "examined, and M4 or better is likely in its muscle and those that must stay strong");
    } else {
        out->state = RW_DONOR_UNKNOWN;
        snprintf(out->because, sizeof out->because,
                 "examine %s to decide: M4 or better with probability %.2f", open, w.p_lowest);
    }
}

void rw_donor_states(const struct rw_exam *exam, const struct rw_deficits *deficits,
                     struct rw_donor_status out[RW_MAX_DONORS]) {
    const struct rw_model *m = rw_model();
    uint64_t parts[RW_MAX_DONORS] = {0};
    rw_donor_parts(parts);
    for (uint16_t i = 0; i < m->donor_count; i++) {
        memset(&out[i], 0, sizeof out[i]);
        out[i].donor = i;
        if (m->donors[i].test_count == 0)
            untested(i, &out[i]);
        else
            judge(exam, deficits, i, &out[i]);
        (void)excluded(exam, parts, i, &out[i]); /* speaks over what the power says */
    }
}
