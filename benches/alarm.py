"""How soon an alarm is at a subscriber: from the moment it is annunciated, committed first, to its arrival over MQTT.

256 devices and a few more, each at a port of its own and asked once a second: so many tuns of ten instruments, each
with a brew under way. Twenty clients hear event streams, half of them pages, half JSON. One instrument of each tun, a switch
with a status register, fails and recovers; its alarm has neither on- nor off-delay. The tuns' grids lie anywhere in a
second, so some alarms come while others are read, written or drawn.

Measured from the moment in the record, in µs: the message's time has whole milliseconds. Left out is what is meant to take
time: the poll, and the watch's grid of one second, at which every condition is judged, so that a brew comes out the same
however often the watch is called; it is the least on-delay. What lies between the register's answer and the arrival is shown
beside it. "Bare" is what the machine needs for the same without any service: a line written and flushed, then published.

Needs mosquitto. Usage: benches/alarm.py LAUTERD [SECONDS]
"""

import asyncio
import bisect
import json
import multiprocessing
import os
import pathlib
import resource
import shutil
import socket
import sqlite3
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
from datetime import datetime

import rows
import service

DEVICES = 256
CLIENTS = 20
WATCHED = 5  # tuns that clients watch, each by a page and a program in turn
CHANGE_S = 2.13  # not a whole number of polls
BARE = 200

SWITCH = """[[instrument]]
id = "rake_running"
measures = "rake-running"
unit = "bool"
[instrument.modbus]
link = "rake_running"
unit_id = 1
table = "input"
address = 100
type = "u16"
[instrument.modbus.status]
address = 101
bits = { "0" = "failure" }
"""

MEASURED = service.INSTRUMENTS[:9]
EACH = len(MEASURED) + 1


class Devices:
    """All instruments, in a process of their own, each at a port of its own; the switches fail together."""

    def __init__(self, tuns):
        self.failing = multiprocessing.RawValue("b", 0)
        # When the first answer of each tun went out that says what `failing` says.
        self.told = multiprocessing.RawArray("d", tuns + 1)
        self.known = [0] * (tuns + 1)
        self.listeners = [socket.create_server(("127.0.0.1", 0)) for _ in range(tuns * EACH)]
        self.process = multiprocessing.Process(target=self.run, daemon=True)
        self.process.start()

    def run(self):
        asyncio.run(self.serve())

    async def serve(self):
        self.servers = [await asyncio.start_server(self.answer, sock=listener) for listener in self.listeners]
        await asyncio.Event().wait()

    def ports(self, tun):
        listeners = self.listeners[(tun - 1) * EACH : tun * EACH]
        return [listener.getsockname()[1] for listener in listeners]

    def registers(self, unit, address, count):
        if address >= 100:
            failing = self.failing.value
            if self.known[unit] != failing:
                self.known[unit] = failing
                self.told[unit] = time.time()
            return struct.pack(">HH", 1, failing)[: 2 * count]
        noise = 1.0 + 1e-3 * ((time.monotonic() * 7919.0 + address) % 1.0 - 0.5)
        values = [MEASURED[(address + at) // 2][5] * noise for at in range(0, count, 2)]
        return struct.pack(f">{len(values)}f", *values)

    async def answer(self, reader, writer):
        try:
            while True:
                request = await reader.readexactly(12)
                transaction, _, _, unit, function, address, count = struct.unpack(">HHHBBHH", request)
                body = self.registers(unit, address, count)
                writer.write(struct.pack(">HHHBBB", transaction, 0, 3 + len(body), unit, function, len(body)) + body)
        except (asyncio.IncompleteReadError, ConnectionError):
            writer.close()


def configuration(directory, tun, device_ports, web_port, broker_port):
    parts = [
        f'[site]\nname = "bench"\n[tun]\nname = "tun-{tun}"\nbed_area_m2 = 7.0\n[kettle]\ncapacity_l = 7000.0\n',
        f'[store]\ndirectory = "{directory}/store"\n[web]\nenabled = true\nlisten = "127.0.0.1:{web_port}"\n',
        f'[mqtt]\nhost = "127.0.0.1"\nport = {broker_port}\n',
        "[alarms.instrument-fault]\non_delay_s = 0.0\noff_delay_s = 0.0\n",
    ]
    for index, (name, measures, unit, low, high, _) in enumerate(MEASURED):
        parts.append(
            f'[[instrument]]\nid = "{name}"\nmeasures = "{measures}"\nunit = "{unit}"\nlow = {low:.1f}\nhigh = {high:.1f}\n'
            f'[instrument.modbus]\nlink = "{name}"\nunit_id = {tun}\ntable = "input"\naddress = {2 * index}\ntype = "f32"\n'
        )
    parts.append(SWITCH.replace("unit_id = 1", f"unit_id = {tun}"))
    names = [instrument[0] for instrument in MEASURED] + ["rake_running"]
    for name, port in zip(names, device_ports):
        parts.append(f'[[modbus_link]]\nname = "{name}"\ntcp = "127.0.0.1:{port}"\n')
    path = pathlib.Path(directory) / f"tun-{tun}.toml"
    path.write_text("".join(parts))
    return path


def packet(kind, body):
    length = len(body)
    size = bytes([length]) if length < 128 else bytes([length % 128 | 128, length // 128])
    return bytes([kind]) + size + body


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


def connected(port, name):
    stream = socket.create_connection(("127.0.0.1", port))
    stream.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    stream.sendall(packet(0x10, text("MQTT") + b"\x04\x02\x00\x00" + text(name)))
    receive(stream, 4)
    return stream


class Subscriber(threading.Thread):
    """Hears every alarm, and when."""

    def __init__(self, port, topic):
        super().__init__(daemon=True)
        self.heard = []
        self.stream = connected(port, f"bench-{topic[:5]}")
        self.stream.sendall(packet(0x82, b"\x00\x01" + text(topic) + b"\x00"))
        receive(self.stream, 5)

    def run(self):
        try:
            self.listen()
        except (EOFError, ConnectionError):
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
                self.heard.append((now, body[2 : 2 + topic].decode(), told))


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


async def hear(port, path):
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=2**20)
    writer.write(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())
    while await reader.read(65536):
        pass


def hear_all(port):
    async def all_clients():
        kinds = ["/tuns/bench/tun-{}/parts", "/api/v1/tuns/bench/tun-{}/events"]
        paths = [kinds[client // WATCHED % 2].format(1 + client % WATCHED) for client in range(CLIENTS)]
        await asyncio.gather(*(hear(port, path) for path in paths), return_exceptions=True)

    asyncio.run(all_clients())


def bare(directory, port):
    """A line written and flushed, then published: in ms to its arrival."""
    subscriber = Subscriber(port, "bare/#")
    subscriber.start()
    stream = connected(port, "bench-publisher")
    with open(pathlib.Path(directory) / "bare", "wb", buffering=0) as file:
        for _ in range(BARE):
            time.sleep(0.01)
            began = time.time()
            file.write(b"x" * 4096)
            os.fdatasync(file.fileno())
            body = text("bare/alarm") + b"\x00\x01" + json.dumps({"began": began, "fill": "x" * 600}).encode()
            stream.sendall(packet(0x32, body))
            receive(stream, 4)
        time.sleep(0.1)
    return [1000.0 * (now - told["began"]) for now, _, told in subscriber.heard]


class Record:
    """When alarms were annunciated, by tun, in s since 1970."""

    def __init__(self, directory):
        self.moments = {}
        file = next(pathlib.Path(directory, "store").glob("*.sqlite3"))
        with sqlite3.connect(f"file:{file}?mode=ro", uri=True) as record:
            query = "SELECT tun.name, at_us FROM output JOIN tun ON tun.id = tun_id WHERE kind = 'alarm' ORDER BY at_us"
            for tun, at_us in record.execute(query):
                self.moments.setdefault(tun, []).append(at_us / 1e6)

    def moment(self, tun, told_s):
        """The one that was told as the millisecond `told_s`; the tun's grid has one a second at most."""
        moments = self.moments[tun]
        place = bisect.bisect_left(moments, told_s - 0.0015)
        assert place < len(moments) and moments[place] < told_s + 0.0015, f"{tun} has recorded no alarm at {told_s}"
        return moments[place]


def change(devices, seconds):
    """Lets the switches fail and recover; gives for each tun when its devices said so."""
    said = []
    until = time.time() + seconds
    while time.time() < until:
        devices.failing.value = 1 - devices.failing.value
        time.sleep(CHANGE_S)
        said.append(list(devices.told))
    return said


def results(record, heard, said):
    late, since_answer = [], []
    for now, topic, told in heard:
        _, _, tun, _, alarm, *_ = topic.split("/")
        if alarm != "instrument-fault":
            continue
        told_s = datetime.fromisoformat(told["time"]).timestamp()
        late.append(1000.0 * (now - record.moment(tun, told_s)))
        answers = [answers[int(tun[4:])] for answers in said]
        before = [answer for answer in answers if 0.0 < answer < now]
        if before:
            since_answer.append(1000.0 * (now - max(before)))
    return sorted(late), since_answer


def quantile(values, share):
    return values[min(len(values) - 1, int(share * len(values)))]


def run(program, seconds, tuns):
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LAUTERD_")}
    environment.setdefault("RUST_LOG", "error")
    with tempfile.TemporaryDirectory() as directory:
        process, port = broker(directory)
        bare_ms = sorted(bare(directory, port))
        devices = Devices(tuns)
        web_port = service.free_port()
        command = [program, "run"]
        for tun in range(1, tuns + 1):
            command += ["--config", str(configuration(directory, tun, devices.ports(tun), web_port, port))]
        running = subprocess.Popen(command, stderr=subprocess.DEVNULL, env=environment)
        try:
            plan = pathlib.Path(directory) / "plan.toml"
            plan.write_text(service.PLAN)
            time.sleep(3.0)
            for tun in range(1, tuns + 1):
                start = [program, "brew", "start", "--config", f"{directory}/tun-{tun}.toml", "--plan", str(plan)]
                subprocess.run(start, check=True, env=environment, stdout=subprocess.DEVNULL)
            clients = multiprocessing.Process(target=hear_all, args=(web_port,), daemon=True)
            clients.start()
            time.sleep(1.0)
            subscriber = Subscriber(port, "lauterd/bench/+/alarm/#")
            subscriber.start()
            said = change(devices, seconds)
            clients.terminate()
        finally:
            running.terminate()
            running.wait(10)
            process.terminate()
            process.wait(10)
            devices.process.terminate()
        late, since_answer = results(Record(directory), subscriber.heard, said)
        return bare_ms, late, since_answer


def main():
    program = os.path.abspath(sys.argv[1])
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    if not (shutil.which("mosquitto") or os.path.exists("/usr/sbin/mosquitto")):
        rows.left_out("alarm at a subscriber", "mosquitto is not installed")
        return
    tuns = -(-DEVICES // EACH) if seconds >= 10.0 else 3
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
    bare_ms, late, since_answer = run(program, seconds, tuns)
    rows.group(f"Alarm at a subscriber: {tuns * EACH} devices, {CLIENTS} clients of event streams, {len(late)} alarms")
    for name, values, limits in (
        ("bare: a line flushed, published, arrived", bare_ms, ("counted", "counted")),
        ("annunciated, committed, published, arrived", late, ("at most 1", "at most 5")),
    ):
        if values:
            service.show(f"{name}: median", f"{statistics.median(values):.2f} ms", limits[0])
            service.show(f"{name}: the latest of a hundred", f"{quantile(values, 0.99):.2f} ms", limits[1])
    if late:
        service.show("the latest", f"{late[-1]:.2f} ms", "counted")
    if since_answer:
        median = f"{statistics.median(since_answer):.0f} ms"
        service.show("from the register's answer, grid of 1 s included: median", median, "counted")


if __name__ == "__main__":
    main()
