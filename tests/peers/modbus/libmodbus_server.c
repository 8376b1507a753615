/* A Modbus device made with libmodbus, for tests/modbus_peers.rs.
 *
 * Needs: apt-get install gcc pkg-config libmodbus-dev
 * Build: cc libmodbus_server.c -o libmodbus_server $(pkg-config --cflags --libs libmodbus)
 * Usage: libmodbus_server tcp PORT | rtu PATH
 *
 * Serves unit 1 and writes "ready" to standard output. Input and holding registers 0 to 79 hold one value
 * of every type in each of the four byte orders; coils 0 to 15 hold a pattern and the discrete inputs its
 * inverse. Everything else is answered with exception 02. */

#include <errno.h>
#include <modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { REGISTERS = 80, BITS = 16 };
enum order { ABCD, CDAB, BADC, DCBA };

static void die(const char *what)
{
    fprintf(stderr, "%s: %s\n", what, modbus_strerror(errno));
    exit(1);
}

/* The library's own modbus_set_float_abcd and its sisters are not used: release 3.1.6 on a little-endian
 * machine places 123456.0 (47 F1 20 00) as F147 0020 under "abcd", which is BADC. */

/* Places the low `words` x 16 bits of `bits`; gives back the place after them. */
static uint16_t *put(uint16_t *to, uint64_t bits, int words, enum order order)
{
    for (int n = 0; n < words; n++) {
        int significance = order == CDAB || order == DCBA ? n : words - 1 - n;
        uint16_t word = (uint16_t)(bits >> (16 * significance));
        if (order == BADC || order == DCBA)
            word = (uint16_t)(word << 8 | word >> 8);
        to[n] = word;
    }
    return to + words;
}

static void fill(uint16_t *to)
{
    float density = 1048.6437f;
    uint32_t density_bits;
    memcpy(&density_bits, &density, sizeof density_bits);
    double tenth = 0.1;
    uint64_t tenth_bits;
    memcpy(&tenth_bits, &tenth, sizeof tenth_bits);
    for (enum order order = ABCD; order <= DCBA; order++) {
        to = put(to, 65244, 1, order);
        to = put(to, (uint64_t)INT64_C(-12345), 1, order);
        to = put(to, UINT64_C(3735928559), 2, order);
        to = put(to, (uint64_t)INT64_C(-1234567890), 2, order);
        to = put(to, density_bits, 2, order);
        to = put(to, UINT64_C(81985529216486895), 4, order);
        to = put(to, (uint64_t)INT64_C(-81985529216486895), 4, order);
        to = put(to, tenth_bits, 4, order);
    }
}

static modbus_mapping_t *mapping(void)
{
    const char *coils = "1011001110001111";
    modbus_mapping_t *map = modbus_mapping_new(BITS, BITS, REGISTERS, REGISTERS);
    if (map == NULL)
        die("mapping");
    fill(map->tab_registers);
    fill(map->tab_input_registers);
    for (int n = 0; n < BITS; n++) {
        map->tab_bits[n] = coils[n] == '1';
        map->tab_input_bits[n] = coils[n] != '1';
    }
    return map;
}

/* Answers requests until the connection ends. */
static void serve(modbus_t *context, modbus_mapping_t *map, int for_ever)
{
    uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
    for (;;) {
        int length = modbus_receive(context, query);
        if (length > 0)
            modbus_reply(context, query, length, map);
        else if (length < 0 && !for_ever)
            return;
        else if (length < 0)
            usleep(10000);
    }
}

int main(int argc, char **argv)
{
    if (argc != 3) {
        fprintf(stderr, "usage: %s tcp PORT | rtu PATH\n", argv[0]);
        return 64;
    }
    modbus_mapping_t *map = mapping();
    if (strcmp(argv[1], "tcp") == 0) {
        modbus_t *context = modbus_new_tcp("127.0.0.1", atoi(argv[2]));
        int listener = context == NULL ? -1 : modbus_tcp_listen(context, 1);
        if (listener < 0)
            die("listen");
        puts("ready");
        fflush(stdout);
        while (modbus_tcp_accept(context, &listener) >= 0) {
            serve(context, map, 0);
            modbus_close(context);
        }
        die("accept");
    }
    modbus_t *context = modbus_new_rtu(argv[2], 115200, 'N', 8, 1);
    if (context == NULL || modbus_set_slave(context, 1) < 0 || modbus_connect(context) < 0)
        die(argv[2]);
    puts("ready");
    fflush(stdout);
    serve(context, map, 1);
}
