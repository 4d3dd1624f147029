/* Who may ask: keys, roles, browser sessions, and where the service may listen at all. */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "client.h"

#define ASSESSMENTS "/v1/assessments"
#define NO_ID       ASSESSMENTS "/00000000000000000000000000000000"
#define COUNT(list) (sizeof(list) / sizeof(list)[0])
#define RECORD                                                                                               \
    "{\"side\":\"left\",\"examined_at\":\"2026-03-02T09:40:00Z\",\"reflexes\":{\"biceps\":\"absent\"}}"

/* ---- keys ---- */

SERVICE_TEST(access, secret_is_shown_once_and_kept_nowhere) {
    struct ran added =
        run(NULL, "key", "add", "--data", s->data, "--name", "Invented clinic", "--role", "clinician", NULL);
    cr_assert_eq(added.code, 0);
    size_t length = strcspn(added.out, "\n");
    cr_assert_str_eq(added.out + length, "\n", "the secret is not alone on stdout: %s", added.out);
    const char *secret = keep(strndup(added.out, length));
    cr_assert_null(strstr(added.err, secret));
    struct reply reply = http_get(s, "/v1/vocabulary", secret);
    cr_assert_eq(reply.status, 200);

    struct ran listed = run(NULL, "key", "list", "--data", s->data, NULL);
    cr_assert_eq(listed.code, 0);
    cr_assert(strstr(listed.out, "Invented clinic") && strstr(listed.out, "clinician"), "%s", listed.out);
    const char *half = secret + length - 32; /* the end of it is secret; its beginning may name the key */
    cr_assert_null(strstr(listed.out, half));
    cr_assert_null(strstr(file_text(s->log, NULL), half));
    cr_assert_not(service_data_holds(s, half));
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE action LIKE '%key%'"), 1);
    service_verify(s);
}

static const char *key_id(const struct service *s, const char *role) {
    struct ran listed = run(NULL, "key", "list", "--data", s->data, NULL);
    char *line = strstr(listed.out, role) ? keep(strdup(listed.out)) : NULL;
    cr_assert_not_null(line, "%s", listed.out);
    char *at = strstr(line, role);
    while (at > line && at[-1] != '\n')
        at--;
    at[strcspn(at, "\t ")] = '\0';
    return at;
}

SERVICE_TEST(access, revoked_key_is_refused_at_once) {
    const char *gone = service_key(s, "clinician"), *stays = service_key(s, "auditor");
    struct reply before = http_get(s, "/v1/vocabulary", gone);
    cr_assert_eq(before.status, 200);
    const char *id = key_id(s, "clinician");
    struct ran revoked = run(NULL, "key", "revoke", "--data", s->data, id, NULL);
    cr_assert_eq(revoked.code, 0, "%s", revoked.err);
    struct reply after = http_get(s, "/v1/vocabulary", gone);
    assert_problem(&after, 401, "revoked key");
    struct reply other = http_get(s, "/v1/vocabulary", stays);
    cr_assert_eq(other.status, 200);

    cr_assert_neq(run(NULL, "key", "revoke", "--data", s->data, "key-000000000000", NULL).code, 0);
    const char *by_it =
        text_of("SELECT count(*) FROM audit WHERE actor='%s' AND outcome='unauthenticated'", id);
    cr_assert_eq(service_count(s, by_it), 1, "the audit does not say whose revoked key it was");
    service_stop(s);
    service_start(s, NULL);
    struct reply later = http_get(s, "/v1/vocabulary", gone);
    assert_problem(&later, 401, "revoked key after a restart");
    service_verify(s);
}

Test(access, key_commands_refuse_what_they_can_not_do, .fini = service_sweep) {
    struct service *s = service_new();
    cr_assert_eq(run(NULL, "key", "add", "--data", s->data, "--name", "x", "--role", "owner", NULL).code, 64);
    cr_assert_eq(run(NULL, "key", "add", "--data", s->data, "--name", "a\tb", "--role", "auditor", NULL).code,
                 64);
    cr_assert_eq(run(NULL, "key", "add", "--data", s->data, "--role", "auditor", NULL).code, 64);
    cr_assert_eq(run(NULL, "key", "add", "--name", "x", "--role", "auditor", NULL).code, 64);
    cr_assert_eq(run(NULL, "key", "list", "--data", s->data, NULL).code, 1, "there is no database yet");
}

SERVICE_TEST(access, data_is_for_this_account_alone) {
    struct file_list files = list_files(s->data);
    struct stat status;
    cr_assert_geq(files.count, 3);
    for (size_t i = 0; i <= files.count; i++) {
        const char *path = i < files.count ? files.paths[i] : s->data;
        cr_assert_eq(stat(path, &status), 0);
        cr_assert_eq(status.st_mode & 077, 0, "%s has mode %o", path, (unsigned)status.st_mode);
    }
}

/* ---- roles ---- */

/* Status for clinician, integration, auditor, and without a key. */
static const struct {
    const char *method, *path, *body;
    long status[4];
} rights[] = {
    {"POST", ASSESSMENTS, RECORD, {201, 201, 403, 401}},
    {"GET", NO_ID, NULL, {404, 403, 404, 401}},
    {"HEAD", NO_ID, NULL, {404, 403, 404, 401}},
    {"POST", "/v1/records/check", RECORD, {200, 200, 200, 401}},
    {"GET", "/v1/model", NULL, {200, 200, 200, 401}},
    {"GET", "/v1/vocabulary", NULL, {200, 200, 200, 401}},
    {"GET", "/healthz", NULL, {200, 200, 200, 200}},
    {"GET", "/readyz", NULL, {200, 200, 200, 200}},
    {"GET", "/", NULL, {200, 200, 200, 200}},
};

SERVICE_TEST(access, each_role_has_its_rights) {
    const char *keys[] = {service_key(s, "clinician"), service_key(s, "integration"),
                          service_key(s, "auditor"), NULL};
    for (size_t i = 0; i < COUNT(rights); i++)
        for (size_t k = 0; k < COUNT(keys); k++) {
            const struct ask ask = {.key = keys[k], .body = rights[i].body};
            struct reply reply = http(s, rights[i].method, rights[i].path, &ask);
            cr_assert_eq(reply.status, rights[i].status[k], "%s %s as role %zu: %ld instead of %ld",
                         rights[i].method, rights[i].path, k, reply.status, rights[i].status[k]);
        }
}

/* ---- browser sessions ---- */

/* The token of the sign-in link printed last, once the server has printed this many. */
static const char *link_token(const struct service *s, size_t links) {
    static const char mark[] = "/#signin=";
    for (int64_t deadline = now_ms() + 20000;; pause_briefly()) {
        const char *out = file_text(s->out, NULL), *last = NULL;
        size_t seen = 0;
        for (const char *at = out; (at = strstr(at, mark)); seen++)
            last = at += strlen(mark);
        if (seen == links && last && strchr(last, '\n'))
            return keep(strndup(last, strcspn(last, "\n")));
        cr_assert(now_ms() < deadline, "no sign-in link: %s", out);
    }
}

static struct reply sign_in(const struct service *s, const char *token, const char *origin) {
    return http(s, "POST", "/signin",
                &(struct ask){.body = text_of("{\"token\":\"%s\"}", token), .headers = {origin}});
}

static const char *cookie_of(const struct reply *reply) {
    const char *cookie = header_of(reply, "Set-Cookie");
    cr_assert(cookie[0], "no cookie in %s", reply->head);
    return text_of("Cookie: %.*s", (int)strcspn(cookie, ";"), cookie);
}

static bool has_flag(const char *cookie, const char *flag) {
    const char *at = strstr(cookie, text_of("; %s", flag));
    return at && (at[2 + strlen(flag)] == ';' || at[2 + strlen(flag)] == '\0');
}

Test(access, sign_in_link_works_once, .fini = service_sweep) {
    struct service *s = service_new();
    service_start(s, "--signin", NULL);
    const char *origin = text_of("Origin: http://%s", s->host), *token = link_token(s, 1);
    struct reply wrong = sign_in(s, text_of("%064d", 0), origin);
    assert_problem(&wrong, 401, "made-up token");
    struct reply first = sign_in(s, token, origin);
    cr_assert_eq(first.status, 200, "%s", first.body);
    const char *cookie = header_of(&first, "Set-Cookie");
    cr_assert(has_flag(cookie, "HttpOnly") && has_flag(cookie, "SameSite=Strict") &&
                  has_flag(cookie, "Path=/"),
              "%s", cookie);
    cr_assert(!strstr(cookie, "Domain") && !has_flag(cookie, "Secure"), "%s", cookie);
    struct reply second = sign_in(s, token, origin);
    assert_problem(&second, 401, "second use");
    cr_assert_str_eq(header_of(&second, "Set-Cookie"), "");
    struct reply read = http(s, "GET", "/v1/vocabulary", &(struct ask){.headers = {cookie_of(&first)}});
    cr_assert_eq(read.status, 200);

    /* SIGUSR1 prints a new link, and an unused one stops working when the next is made. */
    kill(s->pid, SIGUSR1);
    const char *unused = link_token(s, 2);
    kill(s->pid, SIGUSR1);
    const char *newest = link_token(s, 3);
    struct reply stale = sign_in(s, unused, origin);
    assert_problem(&stale, 401, "link before the newest");
    struct reply fresh = sign_in(s, newest, origin);
    cr_assert_eq(fresh.status, 200);
    cr_assert_eq(service_count(s, "SELECT count(*) FROM audit WHERE action='signin' AND outcome='ok'"), 2);
    cr_assert_eq(
        service_count(s, "SELECT count(*) FROM audit WHERE action='signin' AND outcome='unauthenticated'"),
        3);
    const char *const secrets[] = {token, newest, strchr(cookie_of(&first), '=') + 1};
    for (size_t i = 0; i < COUNT(secrets); i++) {
        cr_assert_null(strstr(file_text(s->log, NULL), secrets[i]), "secret %zu is in the log", i);
        cr_assert_not(service_data_holds(s, secrets[i]), "secret %zu is in the database", i);
    }
    service_stop(s);
}

Test(access, session_is_for_our_page_alone, .fini = service_sweep) {
    struct service *s = service_new();
    service_start(s, "--signin", NULL);
    const char *ours = text_of("Origin: http://%s", s->host);
    /* A page elsewhere can't use a link up either. */
    struct reply foreign = sign_in(s, link_token(s, 1), "Origin: http://evil.example");
    assert_problem(&foreign, 403, "sign-in from elsewhere");
    struct reply opened = sign_in(s, link_token(s, 1), ours);
    const char *cookie = cookie_of(&opened);
    const struct {
        const char *origin, *site;
        long status;
    } posts[] = {
        {ours, NULL, 201},
        {ours, "Sec-Fetch-Site: same-origin", 201},
        {NULL, NULL, 403},
        {"Origin: null", NULL, 403},
        {"Origin: http://evil.example", NULL, 403},
        {text_of("%s.evil.example", ours), NULL, 403},
        {text_of("Origin: https://%s", s->host), NULL, 403},
        {"Origin: http://127.0.0.1:1", NULL, 403},
        {ours, "Sec-Fetch-Site: cross-site", 403},
        {ours, "Sec-Fetch-Site: same-site", 403},
    };
    for (size_t i = 0; i < COUNT(posts); i++) {
        const struct ask ask = {.body = RECORD,
                                .headers = {cookie, posts[i].origin ? posts[i].origin : posts[i].site,
                                            posts[i].origin ? posts[i].site : NULL}};
        struct reply reply = http(s, "POST", ASSESSMENTS, &ask);
        cr_assert_eq(reply.status, posts[i].status, "post %zu (%s): %ld", i,
                     posts[i].origin ? posts[i].origin : "-", reply.status);
    }
    const struct ask out = {.headers = {cookie, ours}, .body = ""};
    struct reply left = http(s, "POST", "/signout", &out);
    cr_assert_eq(left.status, 200, "%s", left.body);
    cr_assert_not_null(strstr(header_of(&left, "Set-Cookie"), "Max-Age=0"));
    struct reply after = http(s, "GET", "/v1/vocabulary", &(struct ask){.headers = {cookie}});
    assert_problem(&after, 401, "session after signing out");
    cr_assert_eq(service_count(s, "SELECT count(*) FROM assessments"), 2);
    service_stop(s);
}

Test(access, session_behind_a_proxy, .fini = service_sweep) {
    struct service *s = service_new();
    service_start(s, "--signin", "--origin", "https://rootward.example", NULL);
    const struct ask ask = {.body = text_of("{\"token\":\"%s\"}", link_token(s, 1)),
                            .headers = {"Host: rootward.example", "Origin: https://rootward.example"}};
    struct reply opened = http(s, "POST", "/signin", &ask);
    cr_assert_eq(opened.status, 200, "%s", opened.body);
    cr_assert(has_flag(header_of(&opened, "Set-Cookie"), "Secure"), "%s", header_of(&opened, "Set-Cookie"));
    service_stop(s);
    service_start(s, "--signin", NULL);
    struct reply after = http(s, "GET", "/v1/vocabulary", &(struct ask){.headers = {cookie_of(&opened)}});
    assert_problem(&after, 401, "session of the run before");
    service_stop(s);
}

SERVICE_TEST(access, without_a_link_nobody_signs_in) {
    struct reply reply = sign_in(s, text_of("%064d", 0), text_of("Origin: http://%s", s->host));
    assert_problem(&reply, 401, "no link was made");
    const char *out = file_text(s->out, NULL);
    cr_assert_str_eq(out, "");
}

/* ---- starting ---- */

Test(access, beyond_loopback_only_with_tls, .fini = service_sweep) {
    struct service *s = service_new();
    static const char *const addresses[] = {"0.0.0.0:0", "[::]:0", "192.0.2.1:0", "128.0.0.1:0",
                                            "[::ffff:0.0.0.0]:0"};
    for (size_t i = 0; i < COUNT(addresses); i++) {
        struct ran ran = run(NULL, "serve", "--data", s->data, "--listen", addresses[i], NULL);
        cr_assert_eq(ran.code, 1, "%s: %d", addresses[i], ran.code);
        cr_assert_not_null(strstr(ran.err, "only loopback is served without --tls-cert"), "%s: %s",
                           addresses[i], ran.err);
        cr_assert_null(strstr(ran.err, "listening"), "%s: %s", addresses[i], ran.err);
    }
    struct ran half = run(NULL, "serve", "--data", s->data, "--listen", "0.0.0.0:0", "--tls-cert", "x", NULL);
    cr_assert_eq(half.code, 64);
    struct ran missing = run(NULL, "serve", "--data", s->data, "--listen", "127.0.0.1:0", "--tls-cert",
                             "/no/cert", "--tls-key", "/no/key", NULL);
    cr_assert_eq(missing.code, 1);
    struct ran name = run(NULL, "serve", "--data", s->data, "--listen", "localhost:0", NULL);
    cr_assert_eq(name.code, 1, "a name instead of an address");
}

SERVICE_TEST(access, one_server_a_folder) {
    struct ran second = run(NULL, "serve", "--data", s->data, "--listen", "127.0.0.1:0", NULL);
    cr_assert_eq(second.code, 1);
    cr_assert_not_null(strstr(second.err, "another server uses this folder"), "%s", second.err);
    assert_alive(s, "second server");
    /* The lock dies with its holder. */
    service_kill(s);
    service_start(s, NULL);
    assert_alive(s, "after a crash");
}
