/* Rootward: localisation of brachial plexus and arm nerve lesions, and what follows from it.
 *
 * The one public header of the engine. The engine is pure: no input or output, no clock, no
 * allocation, no changing globals. A caller fills a struct rw_exam, gives a workspace, and gets a
 * struct rw_assessment. The same exam always gives the same answer, bit for bit.
 *
 * Probabilities are doubles in [0,1]. Dates are days since 1970-01-01 (int32_t). Distances are mm.
 * Every fact comes from lib/knowledge/ (one TSV row a fact, each with its source), compiled into the
 * const tables that rw_model() returns. Indices into those tables are stable within one knowledge digest.
 */
#ifndef ROOTWARD_H
#define ROOTWARD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RW_VERSION "0.1.0"

/* Caps. Each is checked by the knowledge compiler or by the function that fills the array. */
enum {
    RW_PLEXUS_ROOTS = 5, /* C5 C6 C7 C8 T1 */
    RW_ROOT_STATES = 8,  /* see enum rw_root_state */
    RW_MAX_SITES = 96,
    RW_MAX_CHECKS = 640,
    RW_MAX_HYPOTHESES = 100, /* listed in an answer */
    RW_MAX_LESIONS = 16,     /* in one hypothesis */
    RW_MIN_SCATTER = 4,      /* sites of a scattered hypothesis */
    RW_MAX_SCATTER = 6,
    RW_MAX_SCATTER_SITES = 16, /* that a scattered disease can pick from */
    RW_MAX_SCATTER_TOUCH = 8,  /* of them, on the way to one target */
    RW_MAX_TARGETS = 256,
    RW_MAX_FUNCTIONS = 48,
    RW_MAX_MUSCLES = 64,
    RW_MAX_AREAS = 24,
    RW_MAX_DONORS = 64,
    RW_MAX_TRANSFERS = 128,
    RW_MAX_PLANS = 3,
    RW_MAX_STEPS = 12,
    RW_MAX_RULES = 96,
    RW_GRID = 101 /* intact fraction 0, 0.01 … 1 in likelihood tables */
};

#define RW_NO_DAY INT32_MIN  /* "no such date" */
#define RW_NONE   UINT16_MAX /* "no such index" */

/* ---- status and errors ---- */

enum rw_status {
    RW_OK = 0,
    RW_EINVAL = 1,   /* an argument breaks this header's contract */
    RW_ENOSPACE = 2, /* the workspace is smaller than rw_workspace_size() */
    RW_ERANGE = 3    /* a value lies outside its stated range */
};

struct rw_error {
    enum rw_status status;
    char pointer[96];  /* JSON Pointer of the finding at fault, or "" */
    char message[160]; /* one sentence, English, no clinical content */
};

/* "ok", "invalid", … Never NULL. */
const char *rw_status_name(enum rw_status status);

/* ---- closed vocabularies (names as in the exam record) ---- */

#define RW_SECTIONS(X)                                                                                       \
    X(MOTOR, "motor")                                                                                        \
    X(MOVEMENT, "movements")                                                                                 \
    X(SKIN_ROOT, "sensation/roots")                                                                          \
    X(SKIN_NERVE, "sensation/nerves")                                                                        \
    X(REFLEX, "reflexes")                                                                                    \
    X(SIGN, "signs")                                                                                         \
    X(WASTING, "wasting")                                                                                    \
    X(PERCUSSION, "percussion")                                                                              \
    X(PSEUDOMENINGOCELE, "investigations/imaging/pseudomeningocele")                                         \
    X(ROOT_AVULSION, "investigations/imaging/root_avulsion")                                                 \
    X(SNAP, "investigations/snap")                                                                           \
    X(CMAP, "investigations/cmap")                                                                           \
    X(EMG_DENERVATION, "investigations/emg/denervation")                                                     \
    X(EMG_RECRUITMENT, "investigations/emg/recruitment")                                                     \
    X(PARASPINAL, "investigations/paraspinal_denervation")                                                   \
    X(HEMIDIAPHRAGM, "investigations/hemidiaphragm")
enum rw_section {
#define X(name, text) RW_SECTION_##name,
    RW_SECTIONS(X)
#undef X
        RW_SECTION_COUNT
};

#define RW_MECHANISMS(X)                                                                                     \
    X(TRACTION, "traction")                                                                                  \
    X(DISLOCATION, "dislocation")                                                                            \
    X(FRACTURE, "fracture")                                                                                  \
    X(LACERATION, "laceration")                                                                              \
    X(GUNSHOT, "gunshot")                                                                                    \
    X(COMPRESSION, "compression")                                                                            \
    X(INFLAMMATORY, "inflammatory")                                                                          \
    X(TUMOUR, "tumour")                                                                                      \
    X(RADIATION, "radiation")                                                                                \
    X(IATROGENIC, "iatrogenic")                                                                              \
    X(BIRTH, "birth")                                                                                        \
    X(UNKNOWN, "unknown")
enum rw_mechanism {
#define X(name, text) RW_MECHANISM_##name,
    RW_MECHANISMS(X)
#undef X
        RW_MECHANISM_COUNT
};
/* Name as in the record; NULL when out of range. */
const char *rw_mechanism_name(enum rw_mechanism mechanism);

#define RW_LEVELS(X)                                                                                         \
    X(ROOT, "root")                                                                                          \
    X(TRUNK, "trunk")                                                                                        \
    X(DIVISION, "division")                                                                                  \
    X(CORD, "cord")                                                                                          \
    X(NERVE, "nerve")
enum rw_level {
#define X(name, text) RW_LEVEL_##name,
    RW_LEVELS(X)
#undef X
        RW_LEVEL_COUNT
};
const char *rw_level_name(enum rw_level level);

enum rw_side { RW_SIDE_LEFT, RW_SIDE_RIGHT };

/* Segments that feed targets. Only C5 to T1 have injury sites of their own. LOCAL: a target that listens
 * to the sites of its route alone (percussion along a nerve). */
#define RW_SEGMENTS(X) X(XI) X(C2) X(C3) X(C4) X(C5) X(C6) X(C7) X(C8) X(T1) X(T2) X(LOCAL)
enum rw_segment {
#define X(name) RW_SEGMENT_##name,
    RW_SEGMENTS(X)
#undef X
        RW_SEGMENT_COUNT
};
const char *rw_segment_name(enum rw_segment segment);

/* The eight states of a plexus root. DOUBLE: torn from the cord and ruptured further out as well. */
enum rw_root_state {
    RW_ROOT_INTACT,
    RW_ROOT_PRE_PARTIAL,
    RW_ROOT_PRE_COMPLETE,
    RW_ROOT_PROXIMAL_PARTIAL, /* postganglionic, before the branches to rhomboids, serratus, phrenic */
    RW_ROOT_PROXIMAL_COMPLETE,
    RW_ROOT_DISTAL_PARTIAL, /* postganglionic, after them */
    RW_ROOT_DISTAL_COMPLETE,
    RW_ROOT_DOUBLE /* preganglionic complete and distal complete */
};

/* Which root sites a bundle runs through, and so which root lesions it feels. */
enum rw_entry {
    RW_ENTRY_NONE,     /* none: not from a plexus root (C3, C4, XI, T2 …) */
    RW_ENTRY_ALL,      /* pre, proximal, distal: arm muscles, skin, reflexes */
    RW_ENTRY_PROXIMAL, /* pre, proximal: branches of the root itself */
    RW_ENTRY_POST,     /* proximal, distal: sensory axons distal to the ganglion (SNAP), percussion */
    RW_ENTRY_PRE       /* pre only: imaging, paraspinal muscles */
};

enum rw_severity { RW_INTACT, RW_PARTIAL, RW_COMPLETE };

/* ---- the model: const tables compiled from lib/knowledge ---- */

struct rw_site {
    const char *id;       /* "c5_preganglionic", "upper_trunk_proximal", "ulnar_elbow" */
    const char *name;     /* contract name: "C5", "upper", "lateral", "ulnar" … */
    const char *part;     /* "before_suprascapular", "elbow" …, or NULL */
    const char *label;    /* "C5 root, torn from the cord" : as the answer words it */
    const char *region;   /* supraclavicular infraclavicular arm forearm hand neck */
    const char *relation; /* "preganglionic", "postganglionic" or NULL */
    const char *source;
    enum rw_level level;
    uint8_t root;   /* 0..4 for C5..T1, 0xff for further sites */
    uint16_t depth; /* strictly rises along every path */
};

struct rw_bundle {
    uint16_t target;
    uint8_t segment; /* enum rw_segment */
    uint8_t entry;   /* enum rw_entry */
    uint8_t site_count;
    double weight;        /* > 0; the bundles of one target in one variant sum to 1 */
    const uint8_t *sites; /* ordered from the cord outwards, root sites first */
};

enum rw_target_kind {
    RW_TARGET_MUSCLE,
    RW_TARGET_GROUP,
    RW_TARGET_MOVEMENT,
    RW_TARGET_SKIN_ROOT,
    RW_TARGET_SKIN_NERVE,
    RW_TARGET_SNAP,
    RW_TARGET_REFLEX,
    RW_TARGET_SIGN,
    RW_TARGET_PERCUSSION,
    RW_TARGET_PREGANGLIONIC, /* one for each root */
    RW_TARGET_FUNCTION
};

struct rw_target {
    const char *id;    /* contract id; SNAP targets "snap.<skin nerve>", roots "preganglionic.C5" */
    const char *label; /* as a surgeon says it */
    const char *help;  /* how it is tested, one line, or NULL; of a function what cannot be done without it */
    const char *source;
    enum rw_target_kind kind;
    enum rw_entry entry; /* shared by all its bundles from plexus roots */
};

/* One share of a combination (group, movement, sign or function made of muscles). */
struct rw_member {
    uint16_t owner, muscle; /* targets */
    double share;           /* shares of one owner sum to 1, those that steady it aside */
    const char *role;       /* prime assist substitute steady part */
    const char *source;
};

/* Joint anatomical variants, mutually exclusive; prevalences sum to 1. */
struct rw_variant {
    const char *id;
    const char *label;
    double prevalence;
    const char *source;
};
struct rw_range {
    uint32_t first;
    uint16_t count;
};

/* P(observation | intact fraction) on the grid, linear between grid points.
 * probability[(spread * RW_GRID + i) * observation_count + o] */
enum rw_spread { RW_SPREAD_SHARP, RW_SPREAD_UNEVEN, RW_SPREAD_COUNT };
struct rw_table {
    const char *id;
    uint8_t observation_count;
    const char *const *observations;
    double min_days;       /* before this time since onset a finding has factor 1 under every hypothesis,
                              `outside` too; an onset that is not known counts as past full_days */
    double full_days;      /* until then the sign is still coming: P is mixed with P at fraction 1, linearly
                              in time (posterior.h, rw_table_ready) */
    double filled_outlier; /* extra outlier share for a finding filled in by otherwise_normal */
    const double *probability;
    const double *outside; /* [observation_count] when the cause is not a lesion of these nerves */
    const char *source;
};

/* How a recorded word maps to observations of its table: P(word) = Σ weight · P(observation). */
struct rw_value {
    const char *text; /* "4-", "absent", "true" */
    uint8_t count;
    uint8_t observation[2];
    double weight[2];
};
struct rw_scale {
    const char *id; /* grade skin reflex bool percussion conduction recruitment hemidiaphragm */
    uint8_t value_count;
    const struct rw_value *values;
    uint8_t normal; /* the value that otherwise_normal fills in */
};

/* A check: one thing an examiner can record. */
struct rw_check {
    enum rw_section section;
    const char *item;  /* id inside its section, "biceps_brachii"; "" for hemidiaphragm */
    const char *label; /* of the item, "biceps brachii"; NULL for roots and hemidiaphragm */
    const char *help;  /* how it is examined, one line, or NULL */
    uint16_t target;   /* RW_NONE: recorded, not part of the inference (red flags) */
    uint16_t table;    /* RW_NONE with target */
    uint16_t scale;
    bool standard;         /* in the bedside set that otherwise_normal covers */
    uint8_t bedside_order; /* order of a bedside examination; investigations last */
};

enum rw_prior_kind {
    RW_PRIOR_NONE,          /* no lesion */
    RW_PRIOR_OUTSIDE,       /* not a lesion of these nerves */
    RW_PRIOR_ROOTS,         /* roots alone */
    RW_PRIOR_SINGLE,        /* one further site */
    RW_PRIOR_PAIR,          /* two further sites */
    RW_PRIOR_TRIPLE,        /* three further sites */
    RW_PRIOR_ROOTS_AND_ONE, /* roots and one further site */
    RW_PRIOR_ROOT_AND_TWO,  /* one root and two further sites */
    RW_PRIOR_SCATTERED,     /* four to RW_MAX_SCATTER further sites at once (neuritis) */
    RW_PRIOR_KIND_COUNT
};
/* Prior for one mechanism. Each part sums to 1; localise.h states how they multiply. */
struct rw_prior {
    double kind[RW_PRIOR_KIND_COUNT];
    double pattern[32];                            /* by mask of injured roots, bit 0 = C5 */
    double state[RW_PLEXUS_ROOTS][RW_ROOT_STATES]; /* given the root is injured; [.][0] = 0 */
    double agree_complete;                         /* factor: neighbours both complete or both partial */
    double agree_level;                            /* factor: neighbours at the same of pre/proximal/distal */
    double site[RW_MAX_SITES][3];                  /* further sites: [site][severity], sums to 1 over all */
    double same_region;                            /* factor for two further sites of one region */
    double same_level;                             /* instead, for two trunks, divisions or cords */
    double in_series;                              /* factor for sites that lie one after the other */
    /* Odds of each site that a scattered disease picks, by severity; 0 for those that it spares. All 0, and
     * kind[RW_PRIOR_SCATTERED] 0, where the mechanism never scatters. */
    double scattered[RW_MAX_SITES][3];
};

struct rw_fact { /* a named number with its unit and source */
    const char *id, *unit, *source;
    double value;
};

/* Distance from an injury site to a muscle's motor point along the nerve. */
struct rw_distance {
    uint16_t muscle;
    double from_foramen_mm, low_mm, high_mm;
    const char *source;
};
struct rw_site_distance {
    uint8_t site;
    double from_foramen_mm;
    const char *source;
};

/* What spending a donor takes from a muscle: a share of its intact fibres. */
struct rw_spend {
    uint16_t muscle;
    double share;
};
struct rw_donor {
    const char *id, *label, *nerve, *source;
    uint8_t test_count, spend_count, stump_count;
    uint16_t tests[4]; /* muscles whose power shows the donor's, or the skin nerve that it is; 0: none
                          (intercostals, opposite C7, stumps) */
    struct rw_spend spends[8];
    uint8_t stump[8]; /* a root or nerve stump: sites of which a complete lesion leaves it; 0: not a stump */
    bool chest;       /* excluded or doubtful with rib fractures */
};

struct rw_transfer {
    const char *id, *label, *kind; /* motor graft sensory late */
    const char *family;            /* transfers that differ in approach or branch alone share a word */
    const char *recipient, *source;
    uint16_t donor;
    uint8_t muscle_count, function_count, area_count, need_count;
    uint16_t muscles[8];
    uint16_t functions[4]; /* the first is the one that its series measured */
    uint16_t areas[2];     /* skin nerves that regain feeling */
    uint16_t needs[4];     /* muscles that it moves, of a late option */
    bool graft;
    bool cuts;             /* divides its recipient, and with it what would have come back unaided */
    double axon_ratio;     /* NAN: not known */
    double distance_mm;    /* coaptation to motor point; NAN: not known */
    double latest_months;  /* usual latest time after onset; NAN: none named */
    const char *conflicts; /* space-separated transfer ids or donor ids that exclude it, or "" */
    const char *after; /* space-separated families one of which, done earlier, gives it its donor, or "" */
    double successes,
        patients; /* sums over the outcome rows: useful (M3 or better) of n; 0 of 0: no series */
    /* The same, each series counted as far as series differ: n / (1 + (n − 1) · outcome_correlation). */
    double effective_successes, effective_patients;
    bool memory; /* no source seen: shown as memory */
};

enum rw_how_soon { RW_SOON_IMMEDIATE, RW_SOON_DAYS, RW_SOON_WEEKS, RW_SOON_ROUTINE };
/* A rule beside the model: when its condition holds, its matter is raised. */
struct rw_rule {
    const char *id, *kind; /* urgent referral */
    const char *when;      /* space-separated conditions, all must hold; lib/rules.h says what each means */
    const char *text, *source;
    enum rw_how_soon how_soon;
};

struct rw_model {
    const char *version, *digest; /* digest "sha256:<64 hex>" over the knowledge files */
    const struct rw_site *sites;
    const struct rw_target *targets;
    const struct rw_bundle *bundles;
    const struct rw_member *members;
    const struct rw_variant *variants;
    const struct rw_range
        *ranges; /* [variant * target_count + target] → bundles; equal ranges are equal anatomy */
    const struct rw_table *tables;
    const struct rw_scale *scales;
    const struct rw_check *checks;
    const struct rw_prior *priors; /* [RW_MECHANISM_COUNT] */
    const struct rw_fact *facts;   /* sorted by id */
    const struct rw_distance *distances;
    const struct rw_site_distance *site_distances;
    const struct rw_donor *donors;
    const struct rw_transfer *transfers;
    const struct rw_rule *rules;
    double partial_loss[2]; /* facts partial_loss_mild and partial_loss_severe */
    size_t site_count, target_count, bundle_count, member_count, variant_count, table_count, scale_count,
        check_count, fact_count, distance_count, site_distance_count, donor_count, transfer_count, rule_count;
};

/* The compiled model. Static storage; valid for the life of the process. */
const struct rw_model *rw_model(void);

/* Index of a check, or RW_NONE. O(log n). */
uint16_t rw_check_find(enum rw_section section, const char *item);
/* Index of a value on a check's scale, or RW_NONE. */
uint16_t rw_value_find(uint16_t check, const char *text);
/* Index of a target of a kind by id, or RW_NONE. */
uint16_t rw_target_find(enum rw_target_kind kind, const char *id);
/* A named number of the knowledge. The id must exist (checked by the tests). NAN when it does not. */
double rw_fact_value(const char *id);

/* ---- the examination ---- */

struct rw_finding {
    uint16_t check;
    uint8_t value;  /* index on the check's scale */
    bool filled_in; /* by otherwise_normal */
};

/* What-if: asked of the plan. All zero: nothing asked. */
struct rw_plan_options {
    bool fixed[RW_MAX_DONORS], excluded[RW_MAX_DONORS]; /* by donor index */
    size_t priority_count;
    uint16_t priorities[RW_MAX_FUNCTIONS]; /* function targets, the first first; each once */
    int32_t surgery_day;                   /* 0: exam plus decision_margin_days */
};

struct rw_exam {
    enum rw_side side;
    enum rw_mechanism mechanism;
    int32_t examined_day;
    int32_t onset_day; /* RW_NO_DAY: not known */
    double age_years;  /* NAN: not known */
    size_t finding_count;
    struct rw_finding findings[RW_MAX_CHECKS]; /* each check at most once, any order */
    bool rib_fractures;
    bool declined[RW_MAX_DONORS], used[RW_MAX_DONORS]; /* by donor index */
    struct rw_plan_options options;
};

/* Adds, for one section of otherwise_normal (MOTOR also covers MOVEMENT; SKIN_NERVE and SKIN_ROOT are
 * filled together by either), every standard check not yet in the exam at its normal value, marked
 * filled_in. A muscle that takes part in a movement graded below normal, or in a sign that was found, is not
 * filled in, nor a muscle or group overlapping one already graded. Returns RW_ERANGE when the exam is full. */
enum rw_status rw_exam_fill_normal(struct rw_exam *exam, enum rw_section section);

/* Writes the JSON Pointer of a check ("/motor/biceps_brachii", "/investigations/emg/x/denervation"). */
void rw_check_pointer(uint16_t check, char *buffer, size_t size);

/* ---- the assessment ---- */

struct rw_lesion {
    uint8_t site;
    uint8_t severity; /* enum rw_severity */
};
struct rw_hypothesis {
    double probability;
    double
        log_likelihood; /* ln Σ over worlds (variants and depths of partial loss), for telling ties apart */
    enum rw_prior_kind kind;
    uint8_t lesion_count;
    bool inseparable;      /* this exam cannot tell it from the first of the list */
    uint16_t separated_by; /* the check, not examined yet, that would tell it best from the first; RW_NONE for
                              the first itself and where no check would */
    double separated_bits; /* what that check would tell, in bits, were these two the only ones; 0 for none */
    struct rw_lesion lesions[RW_MAX_LESIONS];
};
struct rw_site_posterior {
    double p_injured, p_complete;
};
/* Sums to 1; a root torn and ruptured as well counts as preganglionic. */
struct rw_root_posterior {
    double p_intact, p_preganglionic, p_postganglionic;
};
/* What a finding does to the odds of the first hypothesis, and the two of the ten first that make it most and
 * least likely: RW_NONE where they all do alike. */
struct rw_evidence {
    uint16_t check;
    uint16_t in_favour, against;
    double log10_odds;
};
struct rw_unexplained {
    uint16_t check;
    uint16_t expected; /* value index */
    double probability;
};
struct rw_next_check {
    uint16_t check;
    uint16_t separates[2]; /* the first and the listed rival of which it tells most; RW_NONE: of none */
    double bits;           /* expected information about which sites are injured */
    bool repeats; /* a part of a group already graded, or a group with such a part: the bits count what is
                     mostly the same power as a second reading */
};

struct rw_localisation {
    size_t hypothesis_count;
    struct rw_hypothesis hypotheses[RW_MAX_HYPOTHESES];
    struct rw_site_posterior sites[RW_MAX_SITES];
    struct rw_root_posterior roots[RW_PLEXUS_ROOTS];
    double levels[RW_LEVEL_COUNT]; /* by the first level, in the order of enum rw_level, that is injured */
    double no_lesion, outside_plexus;
    double surprise;     /* 0 as expected … 1 no likely lesion explains the exam */
    double log_evidence; /* ln P(exam | model), for comparison between engines */
    double left_out;     /* upper bound on the posterior probability not summed */
    double list_covers;  /* probability of the hypotheses that explanations and predictions were taken over */
    double summed;       /* hypotheses times worlds that went into the sum */
    bool informative;    /* false: nothing in the exam bears on the question */
    size_t evidence_count, unexplained_count, next_count, too_early_count;
    struct rw_evidence evidence[RW_MAX_CHECKS];
    struct rw_unexplained unexplained[RW_MAX_CHECKS];
    struct rw_next_check next[RW_MAX_CHECKS];
    uint16_t too_early[RW_MAX_CHECKS]; /* findings that say nothing yet at this time since onset */
};

/* Without nerve surgery, so many months after onset. NAN: that time has passed, or onset is not known. */
struct rw_outlook {
    double p_useful, p_strong;
};
struct rw_function_deficit {
    uint16_t function;                         /* target */
    double expected_grade, p_useful, p_strong; /* now; useful: M3 or better, strong: M4 or better */
    double p_recovers_unaided;                 /* M3 or better, now or ever, without nerve surgery */
    double p_strong_unaided;                   /* M4 or better, likewise */
    struct rw_outlook months_12, months_24;
};
struct rw_area_deficit {
    uint16_t area;
    double p_lost, p_recovers_unaided; /* recovers: protective feeling, now or ever */
    bool protective;
};
struct rw_muscle_state {
    uint16_t muscle;
    double expected_grade, p_m3, p_m4;
    double intact; /* mean intact fraction, given what was graded */
    double grade[6];
};
struct rw_deficits {
    size_t function_count, area_count, muscle_count;
    struct rw_function_deficit functions[RW_MAX_FUNCTIONS];
    struct rw_area_deficit areas[RW_MAX_AREAS];
    struct rw_muscle_state muscles[RW_MAX_MUSCLES]; /* posterior predictive grade of each muscle */
    double p_sympathetic_lost;
};

/* A site from which what a muscle lost may have to grow back. */
enum { RW_MAX_RECOVERY_SITES = 4, RW_MAX_PERCUSSION_POINTS = 12 };
struct rw_recovery_site {
    uint8_t site;
    double probability; /* share of what is lost that starts there */
    double distance_mm;
    int32_t first_sign[2]; /* as it follows from the way, even past the window; RW_NO_DAY as below */
};
struct rw_muscle_recovery {
    uint16_t muscle;
    double distance_mm;                 /* mean */
    double p_block, p_regrows, p_never; /* of what is lost, unaided; sum to 1 */
    int32_t first_sign[2];              /* central interval over sites, of what regrows in time */
    int32_t block_clears_by;            /* a block should have gone by then */
    int32_t window_closes;              /* RW_NO_DAY when onset is not known; first_sign also when most of
                                           the loss lies behind torn roots, which do not regrow, when nothing
                                           regrows in time, and when it moves */
    bool moves;                         /* graded, and not without any power: the first sign is there */
    uint8_t site_count;                 /* likeliest first */
    struct rw_recovery_site sites[RW_MAX_RECOVERY_SITES];
};

/* The front of regrowth along a nerve, as percussion should find it on the day of the exam. */
#define RW_COURSE_NERVES(X) X(MEDIAN, "median") X(ULNAR, "ulnar") X(RADIAL, "radial")
enum rw_course_nerve {
#define X(name, text) RW_COURSE_##name,
    RW_COURSE_NERVES(X)
#undef X
        RW_COURSES
};
const char *rw_course_nerve_name(enum rw_course_nerve nerve);

#define RW_FRONTS(X)                                                                                         \
    X(NOT_PERCUSSED, "not_percussed") /* nothing that was tapped tells */                                    \
    X(BEHIND, "behind")                                                                                      \
    X(AS_EXPECTED, "as_expected")                                                                            \
    X(AHEAD, "ahead")
enum rw_front_state {
#define X(name, text) RW_FRONT_##name,
    RW_FRONTS(X)
#undef X
        RW_FRONT_COUNT
};
const char *rw_front_state_name(enum rw_front_state state);

struct rw_front {
    uint8_t course, state; /* enum rw_course_nerve, enum rw_front_state */
    uint8_t site;          /* where its loss likeliest starts */
    uint8_t expected_count;
    double expected_mm[2];                          /* grown from the injury, over sites: central interval */
    uint16_t expected_at[RW_MAX_PERCUSSION_POINTS]; /* checks, from the injury outwards */
    uint16_t found_at;                              /* the furthest that radiated; RW_NONE */
};

struct rw_recovery {
    bool available;      /* false: see because */
    const char *because; /* static text, or NULL */
    double rate_mm_per_day[2];
    int32_t decide_by;        /* before the day of the exam only where a transfer can no longer be in time */
    char decide_because[160]; /* why then, or why no date */
    size_t muscle_count, front_count;
    struct rw_muscle_recovery muscles[RW_MAX_MUSCLES];
    struct rw_front fronts[RW_COURSES];
};

enum rw_donor_state {
    RW_DONOR_USABLE,
    RW_DONOR_WEAK,
    RW_DONOR_INVOLVED,
    RW_DONOR_UNKNOWN,
    RW_DONOR_EXCLUDED
};
struct rw_donor_status {
    uint16_t donor;
    enum rw_donor_state state;
    double p_strong;     /* P(M4 or better); of a stump: that there is one to graft from */
    double share_lost;   /* mean share of its muscles' fibres that the injury took; of a stump 0 */
    uint16_t decided_by; /* unknown: the check that decides; RW_NONE: none, it shows at operation */
    char because[160];
};
struct rw_step {
    uint16_t transfer;
    uint8_t stage;             /* 0: first operation, 1: second */
    double p_useful;           /* of the muscle reached, given a donor that is as strong as it seems */
    double interval[2];        /* 90 %, of the series */
    double p_donor;            /* p_strong of its donor, or of what an earlier step gives it */
    double gain;               /* what the plan loses without it */
    int32_t reinnervation[2];  /* first sign */
    bool late;                 /* later than the usual latest time */
    uint8_t alternative_count; /* open transfers of the same family */
    uint16_t alternatives[4];
};
/* What spending the donors of a plan takes from a function: expected grade, averaged over the posterior. */
struct rw_donor_loss {
    uint16_t donor, function;
    double grade;
};
struct rw_plan {
    double expected_gain;
    size_t step_count, not_restored_count, loss_count;
    int32_t operation_day[2]; /* RW_NO_DAY: no second operation */
    struct rw_step steps[RW_MAX_STEPS];
    uint16_t not_restored[RW_MAX_FUNCTIONS]; /* function targets */
    struct rw_donor_loss losses[RW_MAX_STEPS * 6];
};
struct rw_rejection {
    uint16_t transfer;
    bool serves_lost; /* some function that it serves is lost for good */
    char because[160];
};
struct rw_transfers {
    bool available;
    const char *because;
    const char *no_plan; /* why there is none though transfers were weighed; NULL where there is a plan */
    size_t plan_count, donor_count, rejected_count;
    struct rw_plan plans[RW_MAX_PLANS];
    struct rw_donor_status donors[RW_MAX_DONORS];
    struct rw_rejection rejected[RW_MAX_TRANSFERS];
};

struct rw_raised_rule {
    uint16_t rule;
    uint8_t because_count;
    uint16_t because[4]; /* checks */
};

struct rw_assessment {
    struct rw_localisation localisation;
    struct rw_deficits deficits;
    struct rw_recovery recovery;
    struct rw_transfers transfers;
    size_t urgent_count;
    struct rw_raised_rule urgent[RW_MAX_RULES];
    struct rw_raised_rule referral; /* rule RW_NONE: none applies */
};

/* Bytes of workspace that rw_assess needs, whatever the exam. */
size_t rw_workspace_size(void);

/* Computes the whole assessment. `workspace` is at least rw_workspace_size() bytes, aligned for any
 * type; its content is scratch. `out` is filled on RW_OK only. Reentrant; no allocation; a few tens of
 * milliseconds. Errors: RW_EINVAL (a finding out of range or given twice), RW_ENOSPACE. */
enum rw_status rw_assess(const struct rw_exam *exam, void *workspace, size_t workspace_size,
                         struct rw_assessment *out, struct rw_error *error);

/* ---- several visits of one injury ---- */

/* The lesion stays; what it took can only come back. lib/course.h states the model. */

enum { RW_MAX_VISITS = 8, RW_MAX_CHANGES = (RW_MAX_VISITS - 1) * RW_MAX_CHECKS };

struct rw_course_site {
    double p_injured, p_complete;
    double p_recovered; /* less is lost than at the first visit */
};
/* What all visits together say of the day of one of them. */
struct rw_course_visit {
    size_t exam;                /* place in the caller's list */
    struct rw_hypothesis alone; /* the leading hypothesis of this visit taken alone */
    double entropy_alone;       /* bits, over the hypotheses of the course */
    double covers;              /* share of this visit's own posterior that these hypotheses hold */
    struct rw_course_site sites[RW_MAX_SITES];
    struct rw_root_posterior roots[RW_PLEXUS_ROOTS];
};
struct rw_course_hypothesis {
    struct rw_hypothesis first;    /* the lesions at the first visit; probability over all visits */
    double p_alone;                /* what the first visit alone gave it */
    double now[RW_MAX_LESIONS][3]; /* at the last visit: P(severity), by lesion and enum rw_severity */
};

enum rw_direction {
    RW_CHANGE_WORSE,
    RW_CHANGE_BETTER,
    RW_CHANGE_OTHER, /* neither by itself: percussion, imaging, a sign that was not due yet */
    RW_CHANGE_SAME
};
/* One check at one visit and at the next visit that recorded it again. */
struct rw_change {
    uint16_t check;
    uint8_t visit[2], value[2]; /* visits of the course; values on the check's scale */
    uint8_t direction;          /* enum rw_direction */
    bool beyond_chance;         /* worse by more than examinations usually differ */
    double p_recovered; /* less of its target is lost at the later visit than at the first; NAN: no target */
    double p_chance;    /* WORSE: that examinations alone give such a fall or a greater one; else NAN */
};

enum rw_pace {
    RW_PACE_UNCLEAR, /* graded better, but all visits together hold true recovery for unlikely */
    RW_PACE_LATER,
    RW_PACE_NOT_EXPECTED, /* no sign, and none is expected: most of its loss lies behind torn roots */
    RW_PACE_TOO_SOON,     /* no sign yet, and none is due */
    RW_PACE_EARLIER,
    RW_PACE_AS_EXPECTED,
    RW_PACE_RECOVERED, /* graded M4 or better at the last examination of it */
    RW_PACE_COUNT
};
struct rw_muscle_pace {
    uint16_t muscle;
    uint8_t pace;          /* enum rw_pace */
    uint8_t silent, sign;  /* last visit without a sign, first visit with one; RW_MAX_VISITS: none */
    int32_t first_sign[2]; /* regrowth from the lesion of the first visit; RW_NO_DAY: none expected */
    double p_recovered;    /* at the last visit that examined it */
};

struct rw_course {
    size_t visit_count, hypothesis_count, change_count, muscle_count;
    struct rw_course_visit visits[RW_MAX_VISITS]; /* by date */
    struct rw_course_hypothesis hypotheses[RW_MAX_HYPOTHESES];
    double no_lesion, outside_plexus;
    double entropy;              /* bits */
    double covers;               /* the least of the visits */
    double p_block;              /* what comes back does so by the lifting of a block, not by regrowth */
    enum rw_mechanism mechanism; /* the first that is stated */
    bool mechanisms_differ;      /* the visits state several */
    struct rw_change changes[RW_MAX_CHANGES]; /* what matters most first */
    const char *no_pace;                      /* why there are no dates: static text, or NULL */
    struct rw_muscle_pace muscles[RW_MAX_MUSCLES];
};

/* Which visits are of one injury: injury[i] counts from 0 in the order of onset. One side and one onset make
 * one injury. A visit without an onset belongs to the latest injury of its side that began by its day; when
 * there is none, to that of its side without any onset. `injury` has room for count; O(count²). */
struct rw_visit_key {
    enum rw_side side;
    int32_t examined_day, onset_day; /* onset RW_NO_DAY: not given */
};
void rw_course_injuries(const struct rw_visit_key *visits, size_t count, size_t *injury);

/* Bytes of workspace that rw_course needs, whatever the visits. */
size_t rw_course_workspace_size(void);

/* Joins 1 to RW_MAX_VISITS examinations of one injury, in any order; those of one day stay in the order
 * given. Surgery between visits is not known to it. Contract as rw_assess. RW_EINVAL also: sides differ, or
 * onsets that are given differ. About as long as an assessment of each visit. */
enum rw_status rw_course(const struct rw_exam *const *exams, size_t count, void *workspace,
                         size_t workspace_size, struct rw_course *out, struct rw_error *error);

#endif
