#include "knowledge.h"

#include <string.h>

static bool is_link(const struct kn_file *file, size_t row) {
    return kn_is(file, row, "form_or_link", "link");
}

/* Sorts the rows into forms (one of which everybody has) and links (present or not). */
static void read_variants(const struct kn_file *file, struct kn_variants *variants) {
    static const char *const words[] = {"form", "link"};
    double sum = 0;
    for (size_t row = 0; row < file->row_count; row++) {
        kn_word(file, row, "form_or_link", words, 2);
        double prevalence = kn_number(file, row, "prevalence", 0, 1, NULL);
        if (prevalence <= 0)
            kn_fault(file, row, "prevalence is not above 0");
        if (is_link(file, row) ? variants->link_count == KN_MAX_LINKS
                               : variants->form_count == KN_MAX_FORMS) {
            kn_fault(file, row, "more than %d forms or %d links", KN_MAX_FORMS, KN_MAX_LINKS);
        } else if (is_link(file, row)) {
            variants->links[variants->link_count++] = row;
        } else {
            variants->forms[variants->form_count++] = row;
            sum += prevalence;
        }
    }
    if (variants->form_count == 0)
        kn_complain(file->log, file->path, 1, "no form");
    else if (sum < 1 - KN_TOLERANCE || sum > 1 + KN_TOLERANCE)
        kn_fault(file, variants->forms[0], "prevalences of the forms add to %.12g, not 1", sum);
}

/* The two roots' sites must lie at the same depths, so that a moved path still leads outwards. */
static bool same_depths(const struct knowledge *knowledge, uint8_t from, uint8_t to) {
    const struct rw_site *sites = knowledge->model.sites;
    for (int part = 0; part < 3; part++)
        if (sites[from * 3 + part].depth != sites[to * 3 + part].depth)
            return false;
    return true;
}

static struct kn_shift read_shift(const struct knowledge *knowledge, const struct kn_file *file, size_t row) {
    struct kn_shift shift = {
        .from = (enum rw_segment)kn_word(file, row, "from_segment", kn_segments, RW_SEGMENT_COUNT),
        .to = (enum rw_segment)kn_word(file, row, "to_segment", kn_segments, RW_SEGMENT_COUNT),
        .fraction = kn_number(file, row, "fraction", 0, 1, NULL),
    };
    uint8_t from = kn_root_of(shift.from), to = kn_root_of(shift.to);
    if (from == KN_NO_ROOT || shift.to == RW_SEGMENT_LOCAL || shift.from == shift.to)
        kn_fault(file, row, "cannot move from %s to %s", kn_segments[shift.from], kn_segments[shift.to]);
    else if (to != KN_NO_ROOT && !same_depths(knowledge, from, to))
        kn_fault(file, row, "sites of %s and %s lie at different depths", kn_segments[shift.from],
                 kn_segments[shift.to]);
    if (shift.fraction <= 0)
        kn_fault(file, row, "fraction is not above 0");
    return shift;
}

static void check_fractions(const struct kn_file *file, size_t row, const struct kn_shift *shifts,
                            size_t count) {
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        if (shifts[i].from == shifts[count - 1].from)
            sum += shifts[i].fraction;
    if (sum > 1 + KN_TOLERANCE)
        kn_fault(file, row, "more than all of %s is moved", kn_segments[shifts[count - 1].from]);
}

static void read_shifts(struct knowledge *knowledge, struct kn_variants *variants) {
    const struct kn_file *file = &knowledge->files[KN_VARIANT_SHIFTS];
    const struct kn_file *names = &knowledge->files[KN_VARIANTS];
    for (size_t form = 0; form < variants->form_count; form++)
        variants->shifts[form] = kn_new(&knowledge->arena, file->row_count, sizeof *variants->shifts[form]);
    for (size_t row = 0; row < file->row_count; row++) {
        size_t form = 0;
        while (form < variants->form_count &&
               !kn_is(file, row, "variant", kn_cell(names, variants->forms[form], "id")))
            form++;
        if (form == variants->form_count) {
            kn_fault(file, row, "unknown form '%s'", kn_cell(file, row, "variant"));
            continue;
        }
        variants->shifts[form][variants->shift_counts[form]++] = read_shift(knowledge, file, row);
        check_fractions(file, row, variants->shifts[form], variants->shift_counts[form]);
    }
}

static void check_links(const struct knowledge *knowledge) {
    const struct kn_file *names = &knowledge->files[KN_VARIANTS];
    const struct kn_file *file = &knowledge->files[KN_VARIANT_BUNDLES];
    for (size_t row = 0; row < file->row_count; row++) {
        size_t name = kn_find(names, "id", kn_cell(file, row, "variant"));
        if (name == SIZE_MAX || !is_link(names, name))
            kn_fault(file, row, "unknown link '%s'", kn_cell(file, row, "variant"));
    }
    for (size_t name = 0; name < names->row_count; name++)
        if (is_link(names, name) && kn_find(file, "variant", kn_cell(names, name, "id")) == SIZE_MAX)
            kn_fault(names, name, "link '%s' has no bundles", kn_cell(names, name, "id"));
}

static struct rw_variant joint_variant(struct knowledge *knowledge, const struct kn_variants *variants,
                                       size_t form, size_t mask) {
    const struct kn_file *file = &knowledge->files[KN_VARIANTS];
    size_t row = variants->forms[form];
    struct rw_variant joint = {
        .id = kn_cell(file, row, "id"),
        .label = kn_cell(file, row, "label"),
        .prevalence = kn_number(file, row, "prevalence", 0, 1, NULL),
        .source = kn_cell(file, row, "source"),
    };
    for (size_t link = 0; form == 0 && link < variants->link_count; link++) {
        row = variants->links[link];
        double prevalence = kn_number(file, row, "prevalence", 0, 1, NULL);
        bool present = mask >> link & 1;
        joint.prevalence *= present ? prevalence : 1 - prevalence;
        if (!present)
            continue;
        joint.id = kn_format(&knowledge->arena, "%s+%s", joint.id, kn_cell(file, row, "id"));
        joint.label = kn_format(&knowledge->arena, "%s, %s", joint.label, kn_cell(file, row, "label"));
        joint.source = kn_format(&knowledge->arena, "%s; %s", joint.source, kn_cell(file, row, "source"));
    }
    return joint;
}

/* Joint variants: each form without links, then the first form with every set of links. A link beside another
 * form is rarer than the error of either prevalence and is left to the form. */
void kn_build_variants(struct knowledge *knowledge, struct kn_variants *variants) {
    *variants = (struct kn_variants){0};
    read_variants(&knowledge->files[KN_VARIANTS], variants);
    read_shifts(knowledge, variants);
    check_links(knowledge);
    size_t masks = (size_t)1 << variants->link_count, count = variants->form_count + masks - 1;
    struct rw_variant *joint = kn_new(&knowledge->arena, count, sizeof *joint);
    for (size_t i = 0; i < count; i++)
        joint[i] =
            joint_variant(knowledge, variants, kn_variant_form(variants, i), kn_variant_links(variants, i));
    knowledge->model.variants = joint;
    knowledge->model.variant_count = count;
}

size_t kn_variant_form(const struct kn_variants *variants, size_t joint) {
    return joint < variants->form_count ? joint : 0;
}

size_t kn_variant_links(const struct kn_variants *variants, size_t joint) {
    return joint < variants->form_count ? 0 : joint - variants->form_count + 1;
}
