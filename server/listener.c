#include "listener.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "options.h"
#include "text.h"

/* Short, because behind it clients wait unheard: at the limit of connections the library stops accepting. */
enum { BACKLOG = 64 };

/* "host:port" with the host in brackets when it is IPv6; the last colon parts them. */
static bool split(const char *text, char *host, size_t host_size, char *port, size_t port_size) {
    const char *colon = strrchr(text, ':');
    unsigned number = 0;
    if (!colon || !rw_copy(port, port_size, colon + 1) || !rw_option_number(port, 0, 65535, &number))
        return false;
    const char *start = text;
    size_t length = (size_t)(colon - text);
    if (length >= 2 && text[0] == '[' && colon[-1] == ']') {
        start++;
        length -= 2;
    }
    if (length == 0 || length >= host_size)
        return false;
    memcpy(host, start, length);
    host[length] = '\0';
    return true;
}

static bool is_loopback(const struct sockaddr *address) {
    if (address->sa_family == AF_INET) {
        struct sockaddr_in four;
        memcpy(&four, address, sizeof four);
        return ntohl(four.sin_addr.s_addr) >> 24 == 127;
    }
    struct sockaddr_in6 six;
    memcpy(&six, address, sizeof six);
    return IN6_IS_ADDR_LOOPBACK(&six.sin6_addr);
}

static int bind_and_listen(const struct addrinfo *address) {
    int yes = 1;
    int fd = socket(address->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (fd >= 0 && setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) == 0 &&
        bind(fd, address->ai_addr, address->ai_addrlen) == 0 && listen(fd, BACKLOG) == 0)
        return fd;
    int failure = errno;
    if (fd >= 0)
        close(fd);
    errno = failure;
    return -1;
}

/* Asks the socket for its port, since 0 means "a free one". */
static bool name_listener(struct rw_listener *out, const char *host, int family) {
    struct sockaddr_storage bound;
    socklen_t size = sizeof bound;
    char port[8];
    if (getsockname(out->fd, (struct sockaddr *)&bound, &size) != 0 ||
        getnameinfo((struct sockaddr *)&bound, size, NULL, 0, port, sizeof port, NI_NUMERICSERV) != 0)
        return false;
    int length = snprintf(out->host, sizeof out->host, family == AF_INET6 ? "[%s]" : "%s", host);
    return length < (int)sizeof out->host && rw_option_number(port, 1, 65535, &out->port);
}

bool rw_listener_open(const char *text, bool loopback_only, struct rw_listener *out, char *why,
                      size_t why_size) {
    const struct addrinfo hints = {.ai_family = AF_UNSPEC,
                                   .ai_socktype = SOCK_STREAM,
                                   .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV | AI_PASSIVE};
    struct addrinfo *address = NULL;
    char host[64], port[8];
    if (!split(text, host, sizeof host, port, sizeof port) ||
        getaddrinfo(host, port, &hints, &address) != 0) {
        snprintf(why, why_size,
                 "--listen needs a numeric address and a port, like 127.0.0.1:8440 or [::1]:8440");
        return false;
    }
    bool good = false;
    out->loopback = is_loopback(address->ai_addr);
    if (loopback_only && !out->loopback) {
        snprintf(why, why_size, "only loopback is served without --tls-cert and --tls-key");
    } else if ((out->fd = bind_and_listen(address)) < 0) {
        snprintf(why, why_size, "can't listen on %s: %s", text, strerror(errno));
    } else if (!name_listener(out, host, address->ai_family)) {
        snprintf(why, why_size, "the socket does not tell its port");
        close(out->fd);
    } else {
        good = true;
    }
    freeaddrinfo(address);
    return good;
}
