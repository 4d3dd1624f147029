/* The compiled model: it holds the contract's vocabulary, its tables are whole, and things are found in it.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rootward.h"

#define SUMS_TO_ONE 1e-9

/* Ids of the exam record, by the section that records them. */
static const struct {
    enum rw_section section;
    const char *items;
} contract[] = {
    {RW_SECTION_MOTOR,
     "sternocleidomastoid trapezius diaphragm levator_scapulae rhomboids serratus_anterior supraspinatus "
     "infraspinatus teres_minor subscapularis teres_major latissimus_dorsi deltoid_anterior deltoid_lateral "
     "deltoid_posterior pectoralis_major_clavicular pectoralis_major_sternal pectoralis_minor "
     "coracobrachialis "
     "biceps_brachii brachialis brachioradialis triceps_long_head triceps_lateral_head triceps_medial_head "
     "anconeus pronator_teres pronator_quadratus supinator extensor_carpi_radialis_longus "
     "extensor_carpi_radialis_brevis extensor_carpi_ulnaris flexor_carpi_radialis flexor_carpi_ulnaris "
     "palmaris_longus extensor_digitorum extensor_indicis extensor_digiti_minimi extensor_pollicis_longus "
     "extensor_pollicis_brevis abductor_pollicis_longus flexor_digitorum_superficialis "
     "flexor_digitorum_profundus_radial flexor_digitorum_profundus_ulnar flexor_pollicis_longus "
     "abductor_pollicis_brevis opponens_pollicis flexor_pollicis_brevis adductor_pollicis "
     "first_dorsal_interosseous dorsal_interossei palmar_interossei abductor_digiti_minimi lumbricals_radial "
     "lumbricals_ulnar deltoid pectoralis_major triceps_brachii flexor_digitorum_profundus "
     "hand_intrinsics_ulnar thenar"},
    {RW_SECTION_MOVEMENT,
     "shoulder_elevation scapular_retraction scapular_protraction shoulder_abduction shoulder_flexion "
     "shoulder_extension shoulder_adduction shoulder_external_rotation shoulder_internal_rotation "
     "shoulder_retroposition_abducted elbow_flexion elbow_flexion_midprone elbow_extension forearm_pronation "
     "forearm_supination wrist_extension wrist_flexion finger_extension finger_flexion thumb_extension "
     "thumb_flexion thumb_abduction thumb_opposition finger_abduction finger_adduction grip pinch"},
    {RW_SECTION_SKIN_ROOT, "C3 C4 C5 C6 C7 C8 T1 T2"},
    {RW_SECTION_SKIN_NERVE,
     "supraclavicular axillary medial_brachial_cutaneous medial_antebrachial_cutaneous "
     "lateral_antebrachial_cutaneous posterior_antebrachial_cutaneous superficial_radial "
     "median_palmar_cutaneous median_digital ulnar_digital ulnar_dorsal_cutaneous"},
    {RW_SECTION_REFLEX, "biceps brachioradialis triceps finger_flexor"},
    {RW_SECTION_SIGN,
     "ptosis miosis anhidrosis dilation_lag scapular_winging deafferentation_pain froment clawing wartenberg "
     "wrist_drop thumb_index_pinch_flat arm_pulse_absent expanding_swelling open_wound long_tract_signs "
     "breathless"},
    {RW_SECTION_PERCUSSION,
     "supraclavicular_upper supraclavicular_middle supraclavicular_lower infraclavicular quadrilateral_space "
     "axilla_median arm_median elbow_median carpal_tunnel digital_median arm_ulnar elbow_ulnar wrist_ulnar "
     "arm_radial spiral_groove forearm_radial first_web"},
    {RW_SECTION_PSEUDOMENINGOCELE, "C5 C6 C7 C8 T1"},
    {RW_SECTION_ROOT_AVULSION, "C5 C6 C7 C8 T1"},
    {RW_SECTION_PARASPINAL, "C5 C6 C7 C8 T1"},
};

/* Looks up every word of a text; returns their number. */
static size_t count_found(enum rw_section section, const char *items) {
    size_t count = 0;
    while (*items) {
        char item[64];
        size_t length = strcspn(items, " ");
        cr_assert_lt(length, sizeof item);
        memcpy(item, items, length);
        item[length] = '\0';
        cr_expect_neq(rw_check_find(section, item), RW_NONE, "no check of %s", item);
        items += length + strspn(items + length, " ");
        count++;
    }
    return count;
}

static size_t count_checks(enum rw_section section) {
    const struct rw_model *model = rw_model();
    size_t count = 0;
    for (size_t i = 0; i < model->check_count; i++)
        count += model->checks[i].section == section;
    return count;
}

Test(anatomy, holds_the_vocabulary_of_the_contract_and_no_more) {
    for (size_t i = 0; i < sizeof contract / sizeof *contract; i++) {
        size_t count = count_found(contract[i].section, contract[i].items);
        cr_expect_eq(count_checks(contract[i].section), count, "section %d", (int)contract[i].section);
    }
    const char *muscles = contract[0].items, *nerves = contract[3].items;
    const enum rw_section by_muscle[] = {RW_SECTION_WASTING, RW_SECTION_CMAP, RW_SECTION_EMG_DENERVATION,
                                         RW_SECTION_EMG_RECRUITMENT};
    for (size_t i = 0; i < 4; i++)
        cr_expect_eq(count_checks(by_muscle[i]), count_found(by_muscle[i], muscles));
    cr_expect_eq(count_checks(RW_SECTION_SNAP), count_found(RW_SECTION_SNAP, nerves));
    cr_expect_eq(count_checks(RW_SECTION_HEMIDIAPHRAGM), 1);
    cr_expect_neq(rw_check_find(RW_SECTION_HEMIDIAPHRAGM, ""), RW_NONE);
}

Test(anatomy, finds_what_is_there_and_nothing_else) {
    const struct rw_model *model = rw_model();
    for (size_t i = 0; i < model->check_count; i++) {
        const struct rw_check *check = &model->checks[i];
        cr_expect_eq(rw_check_find(check->section, check->item), i);
        const struct rw_scale *scale = &model->scales[check->scale];
        for (size_t v = 0; v < scale->value_count; v++)
            cr_expect_eq(rw_value_find((uint16_t)i, scale->values[v].text), v);
        cr_expect_eq(rw_value_find((uint16_t)i, "splendid"), RW_NONE);
    }
    for (size_t i = 0; i < model->target_count; i++)
        cr_expect_eq(rw_target_find(model->targets[i].kind, model->targets[i].id), i);
    for (size_t i = 0; i < model->fact_count; i++)
        cr_expect_eq(rw_fact_value(model->facts[i].id), model->facts[i].value);
    cr_expect_eq(rw_check_find(RW_SECTION_MOTOR, "gluteus_maximus"), RW_NONE);
    cr_expect_eq(rw_check_find(RW_SECTION_MOTOR, ""), RW_NONE);
    cr_expect_eq(rw_check_find(RW_SECTION_COUNT, "biceps_brachii"), RW_NONE);
    cr_expect_eq(rw_value_find(RW_NONE, "5"), RW_NONE);
    cr_expect_eq(rw_target_find(RW_TARGET_GROUP, "biceps_brachii"), RW_NONE);
    cr_expect(isnan(rw_fact_value("no_such_fact")));
}

Test(anatomy, names_every_word_and_refuses_what_lies_outside) {
    for (int i = 0; i < RW_MECHANISM_COUNT; i++)
        cr_expect_not_null(rw_mechanism_name((enum rw_mechanism)i));
    cr_expect_str_eq(rw_mechanism_name(RW_MECHANISM_BIRTH), "birth");
    cr_expect_null(rw_mechanism_name(RW_MECHANISM_COUNT));
    cr_expect_str_eq(rw_level_name(RW_LEVEL_CORD), "cord");
    cr_expect_null(rw_level_name(RW_LEVEL_COUNT));
    cr_expect_str_eq(rw_segment_name(RW_SEGMENT_T1), "T1");
    cr_expect_null(rw_segment_name(RW_SEGMENT_COUNT));
    cr_expect_str_eq(rw_status_name(RW_OK), "ok");
    cr_expect_not_null(rw_status_name((enum rw_status)99));
}

Test(anatomy, bundles_add_to_one_and_lead_outwards) {
    const struct rw_model *model = rw_model();
    double prevalence = 0;
    for (size_t v = 0; v < model->variant_count; v++) {
        prevalence += model->variants[v].prevalence;
        for (size_t t = 0; t < model->target_count; t++) {
            const struct rw_range range = model->ranges[v * model->target_count + t];
            double weight = 0;
            cr_assert_gt(range.count, 0);
            cr_assert_leq(range.first + range.count, model->bundle_count);
            for (size_t b = range.first; b < range.first + range.count; b++) {
                const struct rw_bundle *bundle = &model->bundles[b];
                weight += bundle->weight;
                cr_expect_eq(bundle->target, t);
                cr_expect_gt(bundle->weight, 0);
                cr_expect(bundle->entry == RW_ENTRY_NONE || bundle->entry == model->targets[t].entry);
                for (size_t s = 0; s < bundle->site_count; s++)
                    cr_expect_lt(bundle->sites[s], model->site_count);
                for (size_t s = 1; s < bundle->site_count; s++)
                    cr_expect_lt(model->sites[bundle->sites[s - 1]].depth,
                                 model->sites[bundle->sites[s]].depth);
            }
            cr_expect_float_eq(weight, 1, SUMS_TO_ONE, "%s: %g", model->targets[t].id, weight);
        }
    }
    cr_expect_float_eq(prevalence, 1, SUMS_TO_ONE);
}

Test(anatomy, sensory_potentials_do_not_feel_a_root_torn_from_the_cord) {
    const struct rw_model *model = rw_model();
    size_t felt_by_skin = 0;
    for (size_t b = 0; b < model->bundle_count; b++) {
        const struct rw_bundle *bundle = &model->bundles[b];
        const enum rw_target_kind kind = model->targets[bundle->target].kind;
        for (size_t s = 0; s < bundle->site_count; s++) {
            const struct rw_site *site = &model->sites[bundle->sites[s]];
            bool torn = site->relation && strcmp(site->relation, "preganglionic") == 0;
            felt_by_skin += torn && kind == RW_TARGET_SKIN_NERVE;
            cr_expect_not(torn && kind == RW_TARGET_SNAP, "%s", model->targets[bundle->target].id);
            cr_expect(torn || kind != RW_TARGET_PREGANGLIONIC);
        }
    }
    cr_expect_gt(felt_by_skin, 0);
}

Test(anatomy, likelihoods_and_priors_add_to_one) {
    const struct rw_model *model = rw_model();
    for (size_t t = 0; t < model->table_count; t++) {
        const size_t observations = model->tables[t].observation_count;
        for (size_t i = 0; i < (size_t)RW_SPREAD_COUNT * RW_GRID; i++) {
            double sum = 0;
            for (size_t o = 0; o < observations; o++) {
                double p = model->tables[t].probability[i * observations + o];
                cr_expect(p >= 0 && p <= 1);
                sum += p;
            }
            cr_expect_float_eq(sum, 1, SUMS_TO_ONE, "%s", model->tables[t].id);
        }
    }
    for (size_t m = 0; m < RW_MECHANISM_COUNT; m++) {
        const struct rw_prior *prior = &model->priors[m];
        double kind = 0, pattern = 0, site = 0;
        for (size_t i = 0; i < RW_PRIOR_KIND_COUNT; i++)
            kind += prior->kind[i];
        for (size_t i = 0; i < 32; i++)
            pattern += prior->pattern[i];
        for (size_t i = 0; i < RW_MAX_SITES; i++)
            site += prior->site[i][RW_PARTIAL] + prior->site[i][RW_COMPLETE];
        cr_expect_float_eq(kind, 1, SUMS_TO_ONE);
        cr_expect_float_eq(pattern, 1, SUMS_TO_ONE);
        cr_expect_float_eq(site, 1, SUMS_TO_ONE);
        for (size_t r = 0; r < RW_PLEXUS_ROOTS; r++) {
            double state = 0;
            for (size_t i = 1; i < RW_ROOT_STATES; i++)
                state += prior->state[r][i];
            cr_expect_float_eq(state, 1, SUMS_TO_ONE);
        }
    }
}
