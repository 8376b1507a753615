"""A skid of three instruments by another author, as an engineer meets it: without the list of its registers. For .ci/walk.

Needs: pip install 'pymodbus==3.11.4'

Usage: pymodbus_skid.py HOST:PORT RUN.csv DISPLAYS

Plays the rows of a recorded brew (`simulators record`) from when it is told so, a row a second, in registers that nobody has
described: other units, tables, types, word orders and scalings than lauterd's defaults, among registers of no interest.
Before that it stands at the row START. What the instruments show on their own displays stands in DISPLAYS, a line each.

A line on standard input is an order: "play" lets the brew go on.
"""

import asyncio
import csv
import struct
import sys

from pymodbus.datastore import (
    ModbusDeviceContext,
    ModbusSequentialDataBlock,
    ModbusServerContext,
)
from pymodbus.server import ModbusTcpServer

# Wort runs already: an engineer sees values that are no noughts.
START = 120
# Functions 3 and 4 of Modbus.
HOLDING, INPUT = 3, 4


def registers(letter, value, words_swapped=False):
    packed = struct.pack(">" + letter, value)
    words = [int.from_bytes(packed[at : at + 2]) for at in range(0, len(packed), 2)]
    return words[::-1] if words_swapped else words


# Unit, table, address, column, what the display shows, and how the value stands in the registers.
PLACES = [
    (7, HOLDING, 246, "runnings_density", "{:.2f}", lambda v: registers("f", v, words_swapped=True)),
    (7, HOLDING, 252, "runnings_temperature", "{:.1f}", lambda v: registers("h", round(v * 10))),
    (11, INPUT, 8, "runnings_ph", "{:.2f}", lambda v: registers("h", round(v * 100))),
    (23, INPUT, 40, "runoff_flow", "{:.1f}", lambda v: registers("I", max(0, round(v * 1000)))),
    (23, INPUT, 50, "kettle_level", "{:.0f}", lambda v: registers("f", v)),
    (23, INPUT, 56, "bed_pressure_drop", "{:.2f}", lambda v: registers("h", round(v * 100))),
]
# Serial numbers, firmware, counters of hours, status words: what else stands in an instrument.
OTHERS = [
    (7, HOLDING, 240, registers("I", 70442317) + [0x0104, 3, 1]),
    (7, HOLDING, 248, registers("f", 1.5) + [0x8000]),
    (11, INPUT, 0, [0x1102, 19, 0, 0, 1, 250]),
    (11, INPUT, 9, [402, 0, 5570]),
    (23, INPUT, 30, registers("I", 9100271) + [7, 0, 4711]),
    (23, INPUT, 42, registers("I", 88213) + [1, 0]),
]


def device():
    # The library counts registers from 1; protocol address 0 is its register 1.
    block = lambda: ModbusSequentialDataBlock(1, [0] * 300)
    return ModbusDeviceContext(ir=block(), hr=block(), co=block(), di=block())


def show(devices, row, displays):
    lines = []
    for unit, table, address, column, shown, encoded in PLACES:
        value = float(row[column])
        devices[unit].setValues(table, address, encoded(value))
        lines.append(f"{column} {shown.format(value)}\n")
    with open(displays, "w", encoding="ascii") as file:
        file.writelines(lines)


async def main(where, recording, displays):
    host, port = where.rsplit(":", 1)
    with open(recording, encoding="ascii") as file:
        rows = list(csv.DictReader(file))
    devices = {unit: device() for unit in (7, 11, 23)}
    for unit, table, address, words in OTHERS:
        devices[unit].setValues(table, address, words)
    show(devices, rows[START], displays)
    context = ModbusServerContext(devices=devices, single=False)
    server = ModbusTcpServer(context, address=(host, int(port)))
    await server.serve_forever(background=True)
    print("ready", flush=True)
    # Once the input has ended, nobody can say "play" any more.
    while (await asyncio.to_thread(sys.stdin.readline)).strip() != "play":
        await asyncio.sleep(0.2)
    for row in rows[START:]:
        show(devices, row, displays)
        await asyncio.sleep(1)
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(*sys.argv[1:]))
