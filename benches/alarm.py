"""How soon an alarm is at a subscriber: from the moment it is annunciated, committed first, to its arrival over MQTT.

What comes before is meant to take time: the poll, the filter that keeps a gas bubble from raising an alarm, the watch's
grid of one second, the on-delay. Every alarm bears the moment of its annunciation, to the millisecond. Needs mosquitto.
Usage: benches/alarm.py LAUTERD [CHANGES]
"""

import json
import os
import pathlib
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from datetime import datetime

import service

PAGES = 20
TURBIDITY = 3


def packet(kind, body):
    return bytes([kind, len(body)]) + body


def text(value):
    return len(value).to_bytes(2, "big") + value.encode()


def receive(stream, count):
    data = b""
    while len(data) < count:
        more = stream.recv(count - len(data))
        if not more:
            raise EOFError
        data += more
    return data


class Subscriber(threading.Thread):
    """Hears every alarm of the tun, and when."""

    def __init__(self, port):
        super().__init__(daemon=True)
        self.late_ms = []
        self.stream = socket.create_connection(("127.0.0.1", port))
        self.stream.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.stream.sendall(packet(0x10, text("MQTT") + b"\x04\x02\x00\x00" + text("bench")))
        receive(self.stream, 4)
        self.stream.sendall(packet(0x82, b"\x00\x01" + text("lauterd/bench/tun-1/alarm/#") + b"\x00"))
        receive(self.stream, 5)

    def run(self):
        try:
            self.listen()
        except EOFError:
            pass  # The broker has ended.

    def listen(self):
        while True:
            kind = receive(self.stream, 1)[0]
            length = shift = 0
            while True:
                byte = receive(self.stream, 1)[0]
                length |= (byte & 0x7F) << shift
                shift += 7
                if byte < 0x80:
                    break
            body = receive(self.stream, length)
            now = time.time()
            if kind & 0xF1 == 0x30:  # a publish that is not retained
                topic = int.from_bytes(body[:2], "big")
                told = json.loads(body[2 + topic + (2 if kind & 0x06 else 0) :])
                self.late_ms.append(1000.0 * (now - datetime.fromisoformat(told["time"]).timestamp()))


def broker(directory):
    port = service.free_port()
    path = pathlib.Path(directory) / "mosquitto.conf"
    path.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nuser root\n")
    program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    process = subprocess.Popen([program, "-c", str(path)], stderr=subprocess.DEVNULL)
    for _ in range(200):
        try:
            socket.create_connection(("127.0.0.1", port)).close()
            return process, port
        except OSError:
            time.sleep(0.02)
    sys.exit("the broker does not answer")


def main():
    program = os.path.abspath(sys.argv[1])
    changes = int(sys.argv[2]) if len(sys.argv) > 2 else 30
    if not (shutil.which("mosquitto") or os.path.exists("/usr/sbin/mosquitto")):
        print("\nmosquitto is not installed: left out")
        return
    with tempfile.TemporaryDirectory() as directory:
        process, port = broker(directory)
        more = f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\n[alarms.turbid-runnings]\non_delay_s = 0.0\noff_delay_s = 0.0\n'
        running = service.Service(program, directory, more=more)
        running.first_reading_ms()
        subscriber = Subscriber(port)
        subscriber.start()
        running.begin_brew(directory)
        for _ in range(PAGES):
            service.open_page(running.web_port, 14.0 * changes + 30.0)
        time.sleep(8.0)
        for change in range(changes):
            running.device.values[TURBIDITY] = 400.0 if change % 2 == 0 else 20.0
            time.sleep(14.0)
        running.end()
        process.terminate()
        process.wait(10)
    late = sorted(subscriber.late_ms)
    print(f"\nAlarm at a subscriber, {PAGES} pages open, {len(late)} alarms")
    if late:
        service.show("annunciated, committed, arrived: median", f"{statistics.median(late):.1f} ms", "at most 1")
        service.show("the latest of a hundred", f"{late[min(len(late) - 1, int(0.99 * len(late)))]:.1f} ms", "at most 5")


if __name__ == "__main__":
    main()
