"""Reads two input registers as fast as pymodbus can, and prints reads per second.

Usage: pymodbus_client.py PORT READS
"""

import sys
import time

from pymodbus.client import ModbusTcpClient


def main():
    port, reads = (int(argument) for argument in sys.argv[1:3])
    client = ModbusTcpClient("127.0.0.1", port=port)
    if not client.connect():
        sys.exit("cannot connect")
    begun = time.perf_counter()
    for _ in range(reads):
        answer = client.read_input_registers(0, count=2)
        if answer.isError():
            sys.exit(f"no answer: {answer}")
    print(reads / (time.perf_counter() - begun))
    client.close()


main()
