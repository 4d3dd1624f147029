/* Stopping under load: clients that come and go at the very moment of SIGTERM must not bring the server down.
 */
#include <criterion/criterion.h>
#include <netinet/in.h>
#include <pthread.h>
#include <stdatomic.h>
#include <sys/socket.h>
#include <unistd.h>

#include "service.h"

enum { ROUNDS = 12, CLIENTS = 3 };

struct crowd {
    unsigned port;
    atomic_bool go;
};

static void *come_and_go(void *argument) {
    struct crowd *crowd = argument;
    const struct sockaddr_in address = {.sin_family = AF_INET,
                                        .sin_port = htons((uint16_t)crowd->port),
                                        .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    while (atomic_load(&crowd->go)) {
        int fd = socket(AF_INET, SOCK_STREAM, 0);
        if (connect(fd, (const struct sockaddr *)&address, sizeof address) == 0)
            (void)!write(fd, "GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n", 35);
        close(fd);
    }
    return NULL;
}

Test(stop, clients_that_come_and_go_do_not_disturb_it, .fini = service_sweep) {
    struct service *s = service_new();
    for (int round = 0; round < ROUNDS; round++) {
        pthread_t clients[CLIENTS];
        service_start(s, NULL);
        struct crowd crowd = {.port = s->port};
        atomic_store(&crowd.go, true);
        for (size_t i = 0; i < CLIENTS; i++)
            pthread_create(&clients[i], NULL, come_and_go, &crowd);
        usleep(20000); /* lets the crowd gather; the outcome doesn't hang on it */
        pid_t pid = s->pid;
        service_stop(s);
        atomic_store(&crowd.go, false);
        for (size_t i = 0; i < CLIENTS; i++)
            pthread_join(clients[i], NULL);
        cr_assert_neq(pid, 0);
    }
}
