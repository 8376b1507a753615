/* Publishes with QoS 1 as fast as libmosquitto can, so many in flight, and prints messages acknowledged per second. */
#include <mosquitto.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static long acknowledged;
static int connected;

static void on_connect(struct mosquitto *client, void *own, int code)
{
    (void)client;
    (void)own;
    connected = code == 0 ? 1 : -1;
}

static void on_publish(struct mosquitto *client, void *own, int id)
{
    (void)client;
    (void)own;
    (void)id;
    acknowledged++;
}

static void fail(const char *what, int code)
{
    fprintf(stderr, "%s: %s\n", what, mosquitto_strerror(code));
    exit(70);
}

int main(int argc, char **argv)
{
    if (argc != 6) {
        fprintf(stderr, "usage: mosquitto_client PORT MESSAGES IN_FLIGHT TOPIC PAYLOAD\n");
        return 64;
    }
    long messages = atol(argv[2]), in_flight = atol(argv[3]), published = 0;
    const char *topic = argv[4], *payload = argv[5];
    int length = (int)strlen(payload), code;
    mosquitto_lib_init();
    struct mosquitto *client = mosquitto_new("libmosquitto", true, NULL);
    if (client == NULL) {
        return 70;
    }
    mosquitto_connect_callback_set(client, on_connect);
    mosquitto_publish_callback_set(client, on_publish);
    mosquitto_max_inflight_messages_set(client, (unsigned int)in_flight);
    mosquitto_int_option(client, MOSQ_OPT_TCP_NODELAY, 1);
    if ((code = mosquitto_connect(client, "127.0.0.1", atoi(argv[1]), 60)) != MOSQ_ERR_SUCCESS) {
        fail("cannot connect", code);
    }
    while (connected == 0) {
        if ((code = mosquitto_loop(client, 1000, 1)) != MOSQ_ERR_SUCCESS) {
            fail("cannot connect", code);
        }
    }
    if (connected < 0) {
        fprintf(stderr, "the broker refuses\n");
        return 69;
    }
    struct timespec begun, ended;
    clock_gettime(CLOCK_MONOTONIC, &begun);
    while (acknowledged < messages) {
        while (published < messages && published - acknowledged < in_flight) {
            code = mosquitto_publish(client, NULL, topic, length, payload, 1, false);
            if (code != MOSQ_ERR_SUCCESS) {
                fail("cannot publish", code);
            }
            published++;
        }
        if ((code = mosquitto_loop(client, 1000, 1)) != MOSQ_ERR_SUCCESS) {
            fail("connection lost", code);
        }
    }
    clock_gettime(CLOCK_MONOTONIC, &ended);
    double seconds = (double)(ended.tv_sec - begun.tv_sec) + 1e-9 * (double)(ended.tv_nsec - begun.tv_nsec);
    printf("%.1f\n", (double)messages / seconds);
    mosquitto_disconnect(client);
    mosquitto_destroy(client);
    mosquitto_lib_cleanup();
    return 0;
}
