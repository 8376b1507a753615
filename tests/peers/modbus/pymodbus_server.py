"""A Modbus device made with pymodbus, for tests/modbus_peers.rs.

Needs: pip install 'pymodbus==3.11.4' 'pyserial==3.5'

Usage: pymodbus_server.py tcp PORT | rtu-over-tcp PORT | rtu PATH

Serves unit 1 and writes "ready" to standard output. Input and holding registers 0 to 79 hold one value of
every type in each of the four byte orders; coils 0 to 15 hold a pattern and the discrete inputs its
inverse. Everything else is answered with exception 02.
"""

import asyncio
import struct
import sys

from pymodbus import FramerType
from pymodbus.datastore import (
    ModbusDeviceContext,
    ModbusSequentialDataBlock,
    ModbusServerContext,
)
from pymodbus.server import ModbusSerialServer, ModbusTcpServer

# In the order of their addresses: struct's letter and the value.
VALUES = [
    ("H", 65244),
    ("h", -12345),
    ("I", 3735928559),
    ("i", -1234567890),
    ("f", 1048.6437),
    ("Q", 81985529216486895),
    ("q", -81985529216486895),
    ("d", 0.1),
]
COILS = [bit == "1" for bit in "1011001110001111"]


def registers(letter, value, words_swapped, bytes_swapped):
    """The registers that carry `value`, in the order in which they are sent."""
    packed = struct.pack(">" + letter, value)
    words = [packed[at : at + 2] for at in range(0, len(packed), 2)]
    if words_swapped:
        words.reverse()
    return [int.from_bytes(word, "little" if bytes_swapped else "big") for word in words]


def all_registers():
    """ABCD, CDAB, BADC, DCBA."""
    orders = [(False, False), (True, False), (False, True), (True, True)]
    return [
        word
        for words_swapped, bytes_swapped in orders
        for letter, value in VALUES
        for word in registers(letter, value, words_swapped, bytes_swapped)
    ]


def context():
    # The library counts registers from 1; protocol address 0 is its register 1.
    block = lambda values: ModbusSequentialDataBlock(1, list(values))
    device = ModbusDeviceContext(
        ir=block(all_registers()),
        hr=block(all_registers()),
        co=block(COILS),
        di=block(not coil for coil in COILS),
    )
    return ModbusServerContext(devices={1: device}, single=False)


async def main(kind, where):
    if kind == "rtu":
        server = ModbusSerialServer(
            context(), framer=FramerType.RTU, port=where, baudrate=115200
        )
    else:
        framer = FramerType.RTU if kind == "rtu-over-tcp" else FramerType.SOCKET
        server = ModbusTcpServer(
            context(), framer=framer, address=("127.0.0.1", int(where))
        )
    await server.serve_forever(background=True)
    print("ready", flush=True)
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], sys.argv[2]))
