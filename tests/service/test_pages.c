/* What the service serves beside records: the page's files, its state, and what it knows. */
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "client.h"

#define COUNT(list) (sizeof(list) / sizeof(list)[0])

/* ---- the page ---- */

static const char *const type_of[][2] = {
    {".html", "text/html; charset=utf-8"},
    {".css", "text/css; charset=utf-8"},
    {".js", "text/javascript; charset=utf-8"},
    {".json", "application/json"},
};

static void assert_secure_headers(const struct reply *reply, const char *what) {
    const char *policy = header_of(reply, "Content-Security-Policy");
    cr_assert(strncmp(policy, "default-src 'none';", 19) == 0, "%s: %s", what, policy);
    cr_assert_not_null(strstr(policy, "frame-ancestors 'none'"), "%s: %s", what, policy);
    cr_assert_not_null(strstr(policy, "script-src 'self'"), "%s: %s", what, policy);
    cr_assert_null(strstr(policy, "unsafe"), "%s: %s", what, policy);
    cr_assert_str_eq(header_of(reply, "X-Content-Type-Options"), "nosniff", "%s", what);
    cr_assert_str_eq(header_of(reply, "Referrer-Policy"), "no-referrer", "%s", what);
    cr_assert_str_eq(header_of(reply, "Cross-Origin-Opener-Policy"), "same-origin", "%s", what);
    cr_assert_str_eq(header_of(reply, "Server"), "", "%s: a version banner", what);
    cr_assert_str_eq(header_of(reply, "Access-Control-Allow-Origin"), "", "%s: open to other origins", what);
    cr_assert_geq(strlen(header_of(reply, "X-Request-Id")), 16, "%s", what);
}

static void assert_file(const struct service *s, const char *address, const char *path) {
    size_t size = 0;
    const char *bytes = file_text(path, &size), *ending = strrchr(path, '.'), *type = NULL;
    struct reply reply = http_get(s, address, NULL);
    for (size_t i = 0; i < COUNT(type_of); i++)
        if (strcmp(ending, type_of[i][0]) == 0)
            type = type_of[i][1];
    cr_assert_eq(reply.status, 200, "%s: %ld", address, reply.status);
    cr_assert(type, "%s is of no known kind", path);
    cr_assert_str_eq(header_of(&reply, "Content-Type"), type, "%s", address);
    cr_assert(reply.size == size && memcmp(reply.body, bytes, size) == 0, "%s is not %s", address, path);
    assert_secure_headers(&reply, address);

    const char *tag = header_of(&reply, "ETag");
    const struct ask known = {.headers = {text_of("If-None-Match: %s", tag)}};
    struct reply again = http(s, "GET", address, &known), head = http(s, "HEAD", address, NULL);
    cr_assert(again.status == 304 && again.size == 0, "%s: %ld", address, again.status);
    cr_assert(head.status == 200 && head.size == 0, "%s: %ld", address, head.status);
    cr_assert_str_eq(header_of(&head, "Content-Length"), text_of("%zu", size), "%s", address);
}

SERVICE_TEST(pages, files_of_the_page) {
    struct file_list files = list_files("static");
    cr_assert_geq(files.count, 6);
    assert_file(s, "/", "static/index.html");
    for (size_t i = 0; i < files.count; i++)
        assert_file(s, strchr(files.paths[i], '/'), files.paths[i]);
    struct reply style = http_get(s, "/style.css", NULL), start = http_get(s, "/main.js", NULL);
    cr_assert(style.status == 200 && start.status == 200);
}

SERVICE_TEST(pages, demo_is_the_record_of_the_examples) {
    struct reply demo = http_get(s, "/demo.json", NULL);
    cr_assert_eq(demo.status, 200);
    cr_assert_str_eq(demo.body, file_text("schema/examples/demo.json", NULL));
}

static const char *const nowhere[] = {
    "/static",
    "/static/",
    "/static/index.html",
    "/index",
    "/.",
    "/..",
    "/../Makefile",
    "/../../../../etc/passwd",
    "/./index.html",
    "//",
    "//index.html",
    "/index.html/",
    "/style.css/..",
    "/%2e%2e/Makefile",
    "/..%2fMakefile",
    "/Makefile",
    "/schema/examples/demo.json",
    "/rootward.db",
    "/index.html~",
    "/STYLE.CSS",
    "/.git/config",
};

SERVICE_TEST(pages, nothing_else_is_served) {
    for (size_t i = 0; i < COUNT(nowhere); i++) {
        struct reply reply = http_get(s, nowhere[i], NULL);
        cr_assert(reply.status == 404 || reply.status == 400, "%s: %ld", nowhere[i], reply.status);
        assert_problem(&reply, reply.status, nowhere[i]);
        assert_secure_headers(&reply, nowhere[i]);
    }
}

/* ---- its state ---- */

SERVICE_TEST(pages, state_of_the_service) {
    static const char *const paths[] = {"/healthz", "/readyz"};
    for (size_t i = 0; i < COUNT(paths); i++) {
        struct reply reply = http_get(s, paths[i], NULL);
        cr_assert_eq(reply.status, 200, "%s: %ld", paths[i], reply.status);
        cr_assert_str_eq(header_of(&reply, "Content-Type"), "application/json", "%s", paths[i]);
        cr_assert_str_eq(header_of(&reply, "Cache-Control"), "no-store", "%s", paths[i]);
        cr_assert_not_null(json_object_get(json_of(&reply), "status"), "%s", paths[i]);
        assert_secure_headers(&reply, paths[i]);
    }
    cr_assert_null(strstr(file_text(s->log, NULL), "healthz"), "looking after it fills the log");
}

/* ---- what it knows ---- */

static const char *text_at(const json_t *object, const char *name) {
    const char *text = json_string_value(json_object_get(object, name));
    cr_assert(text, "no %s", name);
    return text;
}

static double number_at(const json_t *object, const char *name) {
    const json_t *value = json_object_get(object, name);
    cr_assert(json_is_number(value), "no %s", name);
    return json_number_value(value);
}

static bool is_named(const json_t *list, const char *member, const char *name) {
    const json_t *item;
    size_t i;
    json_array_foreach(list, i, item) {
        const char *text = json_string_value(json_object_get(item, member));
        if (text && name && strcmp(text, name) == 0)
            return true;
    }
    return false;
}

static const json_t *document(const struct service *s, const char *path) {
    struct reply reply = http_get(s, path, service_key(s, "integration"));
    cr_assert_eq(reply.status, 200, "%s: %ld", path, reply.status);
    cr_assert_str_eq(header_of(&reply, "Content-Type"), "application/json");
    return json_of(&reply);
}

SERVICE_TEST(pages, bundles_of_the_model) {
    const json_t *model = document(s, "/v1/model"), *variant, *places, *place;
    const json_t *bundles = json_object_get(model, "bundles"), *targets = json_object_get(model, "targets");
    const char *target;
    double prevalence = 0;
    size_t v, i;
    cr_assert_geq(json_array_size(json_object_get(model, "variants")), 2);
    json_array_foreach(json_object_get(model, "variants"), v, variant) {
        prevalence += number_at(variant, "prevalence");
        const json_t *fed = json_object_get(variant, "bundles");
        if (v == 0)
            cr_assert_geq(json_object_size(fed), 80);
        json_object_foreach((json_t *)(uintptr_t)fed, target, places) {
            double sum = 0;
            cr_assert(is_named(targets, "target", target), "%s", target);
            json_array_foreach(places, i, place) {
                const json_t *bundle = json_array_get(bundles, (size_t)json_integer_value(place));
                cr_assert_str_eq(text_at(bundle, "target"), target);
                double weight = number_at(bundle, "weight");
                cr_assert(weight > 0 && weight <= 1, "%s: %g", target, weight);
                sum += weight;
            }
            cr_assert_float_eq(sum, 1, 1e-9, "%s in variant %zu: %.17g", target, v, sum);
        }
    }
    cr_assert_float_eq(prevalence, 1, 1e-9);
}

SERVICE_TEST(pages, parts_of_the_model_fit) {
    const json_t *model = document(s, "/v1/model"), *bundle, *site, *mechanism, *checks, *check;
    const json_t *sites = json_object_get(model, "sites"),
                 *likelihoods = json_object_get(model, "likelihoods");
    const char *name;
    size_t i, k, inferred = 0;
    json_array_foreach(json_object_get(model, "bundles"), i, bundle) {
        json_array_foreach(json_object_get(bundle, "sites"), k, site) {
            cr_assert(is_named(sites, "site", json_string_value(site)), "%s", json_string_value(site));
        }
    }
    checks = json_object_get(likelihoods, "checks");
    json_array_foreach(checks, i, check) {
        const json_t *table = json_object_get(check, "table"), *target = json_object_get(check, "target");
        if (json_is_null(target) &&
            json_is_null(table)) /* a red flag: recorded, but no part of the inference */
            continue;
        cr_assert(is_named(json_object_get(likelihoods, "tables"), "table", json_string_value(table)), "%s",
                  text_at(check, "item"));
        cr_assert(is_named(json_object_get(model, "targets"), "target", json_string_value(target)), "%s",
                  text_at(check, "item"));
        inferred++;
    }
    cr_assert_geq(inferred, 200);
    size_t mechanisms = 0;
    json_object_foreach((json_t *)(uintptr_t)json_object_get(model, "priors"), name, mechanism) {
        const json_t *kind = json_object_get(mechanism, "kind"), *share;
        const char *what;
        double sum = 0;
        if (!kind)
            continue;
        mechanisms++;
        json_object_foreach((json_t *)(uintptr_t)kind, what, share) {
            sum += json_number_value(share);
        }
        cr_assert_float_eq(sum, 1, 1e-9, "%s: %.17g", name, sum);
    }
    cr_assert_eq(mechanisms, 12);
}

SERVICE_TEST(pages, vocabulary_says_what_a_record_may_hold) {
    static const char *const pointers[] = {"/motor/biceps_brachii",
                                           "/movements/elbow_flexion",
                                           "/sensation/roots/C5",
                                           "/sensation/nerves/axillary",
                                           "/reflexes/biceps",
                                           "/signs/ptosis",
                                           "/wasting/deltoid",
                                           "/percussion/infraclavicular",
                                           "/investigations/snap/lateral_antebrachial_cutaneous",
                                           "/investigations/cmap/abductor_digiti_minimi",
                                           "/investigations/emg/supraspinatus/denervation",
                                           "/investigations/imaging/pseudomeningocele/C7",
                                           "/investigations/paraspinal_denervation/C7",
                                           "/investigations/hemidiaphragm"};
    const json_t *words = document(s, "/v1/vocabulary"), *check;
    const json_t *checks = json_object_get(words, "checks"), *scales = json_object_get(words, "scales");
    size_t i;
    for (i = 0; i < COUNT(pointers); i++)
        cr_assert(is_named(checks, "pointer", pointers[i]), "%s", pointers[i]);
    json_array_foreach(checks, i, check) {
        cr_assert(text_at(check, "label")[0], "%s", text_at(check, "pointer"));
        cr_assert(is_named(scales, "id", text_at(check, "scale")), "%s", text_at(check, "pointer"));
    }
    cr_assert_eq(json_array_size(json_object_get(words, "mechanisms")), 12);
    cr_assert_eq(number_at(words, "exam_version"), 1);
    cr_assert_geq(json_array_size(json_object_get(words, "cautions")), 1);
}
