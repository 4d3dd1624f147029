#include "wording.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* Appends to a bounded text; what does not fit is cut. */
__attribute__((format(printf, 3, 4))) static void append(char *buffer, size_t size, const char *format, ...) {
    const size_t at = strlen(buffer);
    va_list args;
    va_start(args, format);
    /* the analyser loses va_start when it checks several files in one run */
    vsnprintf(buffer + at, size - at, format, args); // NOLINT(clang-analyzer-valist.Uninitialized)
    va_end(args);
}

const char *rw_donor_state_name(enum rw_donor_state state) {
    static const char *const names[] = {"usable", "weak", "involved", "unknown", "excluded"};
    return names[state];
}

const char *rw_how_soon_name(enum rw_how_soon how_soon) {
    static const char *const names[] = {"immediate", "days", "weeks", "routine"};
    return names[how_soon];
}

const char *rw_severity_name(uint8_t severity) {
    return severity == RW_COMPLETE ? "complete" : "partial";
}

const char *rw_kind_name(enum rw_target_kind kind) {
    static const char *const names[] = {
        [RW_TARGET_MUSCLE] = "muscle",         [RW_TARGET_GROUP] = "group",
        [RW_TARGET_MOVEMENT] = "movement",     [RW_TARGET_SKIN_ROOT] = "skin_root",
        [RW_TARGET_SKIN_NERVE] = "skin_nerve", [RW_TARGET_SNAP] = "snap",
        [RW_TARGET_REFLEX] = "reflex",         [RW_TARGET_SIGN] = "sign",
        [RW_TARGET_PERCUSSION] = "percussion", [RW_TARGET_PREGANGLIONIC] = "preganglionic",
        [RW_TARGET_FUNCTION] = "function",
    };
    return names[kind];
}

const char *rw_target_name(uint16_t target, char *buffer, size_t size) {
    const struct rw_target *t = &rw_model()->targets[target];
    if (strchr(t->id, '.')) /* its id says what it is */
        snprintf(buffer, size, "%s", t->id);
    else
        snprintf(buffer, size, "%s.%s", rw_kind_name(t->kind), t->id);
    return buffer;
}

bool rw_scale_untestable(const struct rw_scale *scale) {
    return strcmp(scale->id, "grade") == 0 || strcmp(scale->id, "skin") == 0;
}

/* ---- probabilities ---- */

const char *rw_probability_word(double probability) {
    return probability >= 0.95   ? "very likely"
           : probability >= 0.8  ? "likely"
           : probability >= 0.5  ? "more likely than not"
           : probability >= 0.2  ? "possible"
           : probability >= 0.05 ? "less likely"
                                 : "unlikely";
}

void rw_percent(double probability, char *buffer, size_t size) {
    if (probability < 0.01)
        snprintf(buffer, size, "under 1%%");
    else if (probability > 0.99)
        snprintf(buffer, size, "over 99%%");
    else
        snprintf(buffer, size, "%.0f%%", probability * 100);
}

/* ---- hypotheses ---- */

/* What lies on one root, as far as words tell it apart. */
enum place { WHOLE, BEFORE_GANGLION, EARLY_BRANCHES_TOO, EARLY_BRANCHES_SPARED, TWICE, PLACE_COUNT };
struct root_injury {
    enum place place;
    bool partly;
};

static struct root_injury root_injury(const struct rw_hypothesis *h, size_t root) {
    const struct rw_model *model = rw_model();
    uint8_t before = RW_INTACT, proximal = RW_INTACT, distal = RW_INTACT;
    for (size_t i = 0; i < h->lesion_count; i++) {
        const struct rw_site *site = &model->sites[h->lesions[i].site];
        if (site->level != RW_LEVEL_ROOT || site->root != root)
            continue;
        if (site->relation && strcmp(site->relation, "preganglionic") == 0)
            before = h->lesions[i].severity;
        else if (site->part && strcmp(site->part, "before_branches") == 0)
            proximal = h->lesions[i].severity;
        else
            distal = h->lesions[i].severity;
    }
    if (before && (proximal || distal))
        return (struct root_injury){TWICE, false};
    if (before)
        return (struct root_injury){BEFORE_GANGLION, before == RW_PARTIAL};
    if (proximal)
        return (struct root_injury){EARLY_BRANCHES_TOO, proximal == RW_PARTIAL};
    if (distal)
        return (struct root_injury){EARLY_BRANCHES_SPARED, distal == RW_PARTIAL};
    return (struct root_injury){WHOLE, false};
}

/* Only a pull tears a root from the cord; other causes injure it there. */
static bool tears(enum rw_mechanism mechanism) {
    return mechanism == RW_MECHANISM_TRACTION || mechanism == RW_MECHANISM_DISLOCATION ||
           mechanism == RW_MECHANISM_FRACTURE || mechanism == RW_MECHANISM_BIRTH;
}

static const char *place_phrase(enum place place, bool torn) {
    switch (place) {
    case BEFORE_GANGLION:
        return torn ? "torn from the cord (preganglionic)" : "injured before the ganglion (preganglionic)";
    case EARLY_BRANCHES_TOO:
        return "injured beyond the ganglion (early branches too)";
    case EARLY_BRANCHES_SPARED:
        return "injured beyond the ganglion (early branches spared)";
    case TWICE:
        return torn ? "torn from the cord (preganglionic) and injured again beyond the ganglion"
                    : "injured before the ganglion (preganglionic) and again beyond it";
    case WHOLE:
    case PLACE_COUNT:
        break;
    }
    return "";
}

/* "C5", "C5 and C6", "C5 to T1", "C5, C7 and T1"; returns how many. */
static size_t root_names(const struct root_injury *injuries, enum place place, bool partly, char *buffer,
                         size_t size) {
    size_t in[RW_PLEXUS_ROOTS] = {0}, count = 0;
    for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++)
        if (injuries[r].place == place && injuries[r].partly == partly)
            in[count++] = RW_SEGMENT_C5 + r;
    const bool run = count >= 3 && in[count - 1] - in[0] + 1 == count;
    for (size_t i = 0; i < count; i++) {
        if (run && i > 0 && i + 1 < count)
            continue;
        append(buffer, size, "%s%s",
               i == 0           ? ""
               : run            ? " to "
               : i + 1 == count ? " and "
                                : ", ",
               rw_segment_name((enum rw_segment)in[i]));
    }
    return count;
}

/* "C5 and C6 completely, C7 partly injured beyond the ganglion (early branches spared)" */
static void append_place(const struct root_injury *injuries, enum place place, bool torn, char *buffer,
                         size_t size) {
    char whole[48] = "", part[48] = "";
    const size_t complete = root_names(injuries, place, false, whole, sizeof whole);
    const size_t partial = root_names(injuries, place, true, part, sizeof part);
    if (complete + partial == 0)
        return;
    const bool plain = place == TWICE || (place == BEFORE_GANGLION && torn); /* torn says complete */
    append(buffer, size, "%s%s%s%s%s%s %s", buffer[0] ? ", " : "", whole,
           complete && (partial || !plain) ? " completely" : "", complete && partial ? ", " : "", part,
           partial ? " partly" : "", place_phrase(place, torn));
}

static void append_roots(const struct rw_hypothesis *h, bool torn, char *buffer, size_t size) {
    struct root_injury injuries[RW_PLEXUS_ROOTS];
    for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++)
        injuries[r] = root_injury(h, r);
    bool told[PLACE_COUNT] = {[WHOLE] = true};
    for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++) {
        if (!told[injuries[r].place])
            append_place(injuries, injuries[r].place, torn, buffer, size);
        told[injuries[r].place] = true;
    }
}

/* "upper trunk, after the suprascapular nerve leaves" → "upper trunk, complete, after the suprascapular nerve
 * leaves" */
static void append_site(const struct rw_lesion *lesion, char *buffer, size_t size) {
    const char *label = rw_model()->sites[lesion->site].label;
    const size_t head = strcspn(label, ",");
    append(buffer, size, "%s%.*s, %s%s", buffer[0] ? "; " : "", (int)head, label,
           rw_severity_name(lesion->severity), label + head);
}

void rw_summary(const struct rw_hypothesis *hypothesis, enum rw_mechanism mechanism, char *buffer,
                size_t size) {
    buffer[0] = '\0';
    if (hypothesis->kind == RW_PRIOR_OUTSIDE)
        append(buffer, size, "Not a lesion of these nerves (cord, joint, tendon, pain or effort)");
    else if (hypothesis->lesion_count == 0)
        append(buffer, size, "No lesion of these nerves");
    append_roots(hypothesis, tears(mechanism), buffer, size);
    for (size_t i = 0; i < hypothesis->lesion_count; i++)
        if (rw_model()->sites[hypothesis->lesions[i].site].level != RW_LEVEL_ROOT)
            append_site(&hypothesis->lesions[i], buffer, size);
    buffer[0] = (char)toupper((unsigned char)buffer[0]);
}

/* ---- findings ---- */

void rw_check_label(uint16_t check, char *buffer, size_t size) {
    const struct rw_check *c = &rw_model()->checks[check];
    const char *unlabelled =
        c->item[0] != '\0' || c->target == RW_NONE ? c->item : rw_model()->targets[c->target].label;
    snprintf(buffer, size, "%s", c->label != NULL ? c->label : unlabelled);
}

const char *rw_check_help(uint16_t check) {
    const struct rw_check *c = &rw_model()->checks[check];
    /* help says how it is tested by hand, which is no help with its wasting or its conduction */
    const bool by_hand = c->section <= RW_SECTION_SIGN || c->section == RW_SECTION_PERCUSSION;
    return by_hand ? c->help : NULL;
}

/* What is said before the label. */
static const char *const lead[RW_SECTION_COUNT] = {
    [RW_SECTION_MOTOR] = "power, ",
    [RW_SECTION_MOVEMENT] = "power, ",
    [RW_SECTION_SKIN_ROOT] = "feeling, ",
    [RW_SECTION_SKIN_NERVE] = "feeling, ",
    [RW_SECTION_REFLEX] = "",
    [RW_SECTION_SIGN] = "",
    [RW_SECTION_WASTING] = "wasting, ",
    [RW_SECTION_PERCUSSION] = "",
    [RW_SECTION_PSEUDOMENINGOCELE] = "pseudomeningocele on imaging, ",
    [RW_SECTION_ROOT_AVULSION] = "torn root on imaging, ",
    [RW_SECTION_SNAP] = "sensory action potential, ",
    [RW_SECTION_CMAP] = "motor action potential, ",
    [RW_SECTION_EMG_DENERVATION] = "denervation on needle EMG, ",
    [RW_SECTION_EMG_RECRUITMENT] = "recruitment on needle EMG, ",
    [RW_SECTION_PARASPINAL] = "paraspinal denervation, ",
    [RW_SECTION_HEMIDIAPHRAGM] = "hemidiaphragm on imaging",
};

void rw_check_name(uint16_t check, char *buffer, size_t size) {
    const struct rw_check *c = &rw_model()->checks[check];
    char label[RW_PHRASE_SIZE] = "";
    if (c->section != RW_SECTION_HEMIDIAPHRAGM)
        rw_check_label(check, label, sizeof label);
    snprintf(buffer, size, "%s%s", lead[c->section], label);
}

void rw_check_value(uint16_t check, uint8_t value, char *buffer, size_t size) {
    const struct rw_model *model = rw_model();
    const struct rw_scale *scale = &model->scales[model->checks[check].scale];
    const char *text = scale->values[value].text;
    if (strcmp(scale->id, "bool") == 0)
        text = strcmp(text, "true") == 0 ? "present" : "not present";
    rw_check_name(check, buffer, size);
    append(buffer, size, ": %s", text);
}

const char *rw_observed(const struct rw_exam *exam, uint16_t check) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < exam->finding_count; i++)
        if (exam->findings[i].check == check)
            return model->scales[model->checks[check].scale].values[exam->findings[i].value].text;
    return NULL;
}

/* Share of the first hypothesis' probability from which a rival is worth naming. */
#define RIVAL_SHARE 0.1

bool rw_rivals_first(const struct rw_localisation *localisation, size_t hypothesis) {
    const struct rw_hypothesis *h = &localisation->hypotheses[hypothesis];
    return h->inseparable && h->probability >= RIVAL_SHARE * localisation->hypotheses[0].probability;
}
