/* Reads two input registers as fast as libmodbus can, and prints reads per second. */
#include <errno.h>
#include <modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

int main(int argc, char **argv)
{
    if (argc != 3) {
        fprintf(stderr, "usage: libmodbus_client PORT READS\n");
        return 64;
    }
    long reads = atol(argv[2]);
    modbus_t *device = modbus_new_tcp("127.0.0.1", atoi(argv[1]));
    if (device == NULL || modbus_connect(device) == -1) {
        fprintf(stderr, "cannot connect: %s\n", modbus_strerror(errno));
        return 69;
    }
    modbus_set_slave(device, 1);
    struct timespec begun, ended;
    uint16_t registers[2];
    clock_gettime(CLOCK_MONOTONIC, &begun);
    for (long read = 0; read < reads; read++) {
        if (modbus_read_input_registers(device, 0, 2, registers) != 2) {
            fprintf(stderr, "no answer: %s\n", modbus_strerror(errno));
            return 70;
        }
    }
    clock_gettime(CLOCK_MONOTONIC, &ended);
    double seconds = (double)(ended.tv_sec - begun.tv_sec) + 1e-9 * (double)(ended.tv_nsec - begun.tv_nsec);
    printf("%.1f\n", (double)reads / seconds);
    modbus_close(device);
    modbus_free(device);
    return 0;
}
