"""The whole service, measured from outside: start, memory, threads, processor time, wake-ups, flushes.

Ten instruments once a second over Modbus TCP, a brew under way, page and record on. Needs Python's standard library and
the release binary; strace for the flushes. Usage: benches/service.py LAUTERD [SECONDS]
"""

import os
import pathlib
import re
import shutil
import signal
import socket
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time

import rows
from rows import show

INSTRUMENTS = [  # id, measures, unit, low, high, value
    ("runnings_density", "runnings-gravity", "degP", -1, 35, 18.0),
    ("runnings_temperature", "runnings-temperature", "degC", 0, 110, 75.0),
    ("runnings_ph", "runnings-ph", "pH", 2, 10, 5.4),
    ("turbidity", "runnings-turbidity", "EBC", 0, 2000, 20.0),
    ("runoff_flow", "runoff-flow", "L/min", -5, 200, 58.0),
    ("runoff_total", "runoff-total", "L", -1, 1e7, 100.0),
    ("sparge_flow", "sparge-flow", "L/min", -5, 200, 58.0),
    ("kettle_level", "kettle-volume", "L", -50, 8000, 100.0),
    ("kettle_gravity", "kettle-gravity", "degP", -1, 35, 18.0),
    ("bed_pressure_drop", "bed-pressure-drop", "kPa", -1, 20, 1.1),
]

PAGES = 20

PLAN = """brew = "bench"
recipe = "Harbour Stout"
grist_kg = 980.0
target_gravity_p = 12.4
planned_volume_l = 5200.0
runoff_minutes = 90.0
gravity_floor_p = 3.0
ph_ceiling = 6.0
ph_basis = "process"
"""


class Device(threading.Thread):
    """Answers reads of input registers: two for each instrument, its value with a little noise."""

    def __init__(self):
        super().__init__(daemon=True)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        self.first_answer = None
        self.connections = 0
        self.started = time.monotonic()
        self.values = [value for *_, value in INSTRUMENTS]

    def run(self):
        while True:
            connection, _ = self.listener.accept()
            self.connections += 1
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            threading.Thread(target=self.serve, args=(connection,), daemon=True).start()

    def value(self, index):
        run_s = time.monotonic() - self.started
        noise = 1e-3 * ((run_s * 7919.0 + index) % 1.0 - 0.5)
        counted = run_s * 58.0 / 60.0 if index in (5, 7) else 0.0
        return (self.values[index] + counted) * (1.0 + noise)

    def serve(self, connection):
        while request := connection.recv(260):
            while len(request) >= 12:
                transaction, _, _, unit, function, address, count = struct.unpack(">HHHBBHH", request[:12])
                request = request[12:]
                values = [self.value((address + at) // 2) for at in range(0, count, 2)]
                body = struct.pack(f">BBB{len(values)}f", unit, function, 2 * count, *values)
                connection.sendall(struct.pack(">HHH", transaction, 0, len(body)) + body)
                if self.first_answer is None:
                    self.first_answer = time.monotonic()


def configuration(directory, device_port, web_port, more):
    parts = [
        '[site]\nname = "bench"\n[tun]\nname = "tun-1"\nbed_area_m2 = 7.0\n[kettle]\ncapacity_l = 7000.0\n',
        f'[store]\ndirectory = "{directory}/store"\n[web]\nenabled = true\nlisten = "127.0.0.1:{web_port}"\n',
        f'[[modbus_link]]\nname = "skid"\ntcp = "127.0.0.1:{device_port}"\n',
    ]
    for index, (name, measures, unit, low, high, _) in enumerate(INSTRUMENTS):
        parts.append(
            f'[[instrument]]\nid = "{name}"\nmeasures = "{measures}"\nunit = "{unit}"\nlow = {low:.1f}\nhigh = {high:.1f}\n'
            f'[instrument.modbus]\nlink = "skid"\nunit_id = 1\ntable = "input"\naddress = {2 * index}\ntype = "f32"\n'
        )
    path = pathlib.Path(directory) / "tun.toml"
    path.write_text("".join(parts) + more)
    return path


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


def status(pid, name):
    text = pathlib.Path(f"/proc/{pid}/status").read_text()
    return int(re.search(rf"^{name}:\s+(\d+)", text, re.M).group(1))


def ran_and_woken(pid):
    """Processor time in s, and how often any of its threads slept and was woken."""
    ran = woken = 0
    for task in pathlib.Path(f"/proc/{pid}/task").iterdir():
        try:
            ran += int((task / "schedstat").read_text().split()[0])
            woken += int(re.search(r"^voluntary_ctxt_switches:\s+(\d+)", (task / "status").read_text(), re.M).group(1))
        except FileNotFoundError:
            pass
    return ran / 1e9, woken


class Service:
    def __init__(self, program, directory, trace=None, more=""):
        self.device = Device()
        self.device.start()
        self.web_port = free_port()
        config = configuration(directory, self.device.port, self.web_port, more)
        command = [program, "run", "--config", str(config)]
        if trace:
            command = ["strace", "-f", "-qq", "-e", "trace=fsync,fdatasync", "-o", trace] + command
        environment = {name: value for name, value in os.environ.items() if not name.startswith("LAUTERD_")}
        self.begun = time.monotonic()
        self.process = subprocess.Popen(command, stderr=subprocess.DEVNULL, env=environment)
        self.config, self.program, self.environment = config, program, environment

    def first_reading_ms(self):
        while self.device.first_answer is None:
            assert self.process.poll() is None, "the service ended"
            time.sleep(0.001)
        return 1000.0 * (self.device.first_answer - self.begun)

    def begin_brew(self, directory):
        plan = pathlib.Path(directory) / "plan.toml"
        plan.write_text(PLAN)
        command = [self.program, "brew", "start", "--config", str(self.config), "--plan", str(plan)]
        subprocess.run(command, check=True, env=self.environment, stdout=subprocess.DEVNULL)

    def end(self):
        """A tracer passes no signal on: its child is asked to end."""
        children = pathlib.Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        if children:
            os.kill(int(children[0]), signal.SIGTERM)
        else:
            self.process.terminate()
        self.process.wait(10)


def watched(pid, seconds):
    ran, woken = ran_and_woken(pid)
    time.sleep(seconds)
    ran_after, woken_after = ran_and_woken(pid)
    return (ran_after - ran) / seconds * 3600.0, (woken_after - woken) / seconds


def open_page(port, seconds):
    """A page that is open: its event stream is read until the time is over."""

    def read():
        with socket.create_connection(("127.0.0.1", port)) as stream:
            stream.sendall(b"GET /tuns/bench/tun-1/parts HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            stream.settimeout(seconds)
            try:
                while stream.recv(65536):
                    pass
            except TimeoutError:
                pass

    threading.Thread(target=read, daemon=True).start()


def steady(program, seconds):
    with tempfile.TemporaryDirectory() as directory:
        service = Service(program, directory)
        pid = service.process.pid
        service.first_reading_ms()
        time.sleep(2.0)
        cpu, woken = watched(pid, seconds)
        show("no brew: processor time", f"{cpu:.1f} s/h", "at most 5")
        show("no brew: wake-ups of all threads", f"{woken:.1f} /s", "counted")
        service.begin_brew(directory)
        time.sleep(2.0)
        cpu, woken = watched(pid, seconds)
        show("brew, ten instruments at 1 Hz: processor time", f"{cpu:.1f} s/h", "at most 5")
        show("brew: wake-ups of all threads", f"{woken:.1f} /s", "counted")
        show("resident memory", f"{status(pid, 'VmRSS') / 1024:.1f} MiB", "at most 16")
        show("of it its own, without the program's file", f"{status(pid, 'RssAnon') / 1024:.1f} MiB", "")
        show("threads", status(pid, "Threads"), "at most 4")
        for _ in range(PAGES):
            open_page(service.web_port, seconds + 10.0)
        time.sleep(2.0)
        cpu, woken = watched(pid, seconds)
        show(f"the same with {PAGES} pages open: processor time", f"{cpu:.1f} s/h", "counted")
        show("resident memory", f"{status(pid, 'VmRSS') / 1024:.1f} MiB", "counted")
        service.end()


def starts(program, rounds, brews):
    """On an empty record, and on one of about a hundred megabytes."""
    for name, stored in (("empty record", None), ("record of 100 MB", brews)):
        if stored is None or stored.is_dir():
            times = []
            with tempfile.TemporaryDirectory() as directory:
                if stored:
                    shutil.copytree(stored, f"{directory}/store")
                    size = sum(file.stat().st_size for file in pathlib.Path(f"{directory}/store").iterdir())
                    name = f"record of {size / 1e6:.0f} MB"
                for _ in range(rounds):
                    service = Service(program, directory)
                    times.append(service.first_reading_ms())
                    service.end()
            show(f"start to first reading, {name}", f"{statistics.median(times):.1f} ms", "at most 20")


def flushes(program, seconds):
    if shutil.which("strace") is None:
        rows.left_out("flushes a second", "strace is not installed")
        return
    with tempfile.TemporaryDirectory() as directory:
        trace = f"{directory}/trace"
        service = Service(program, directory, trace)
        service.first_reading_ms()
        service.begin_brew(directory)
        time.sleep(3.0)
        before = pathlib.Path(trace).read_text().count("sync(")
        time.sleep(seconds)
        count = pathlib.Path(trace).read_text().count("sync(") - before
        show("flushes a second, one commit a second", f"{count / seconds:.2f}", "1 and the checkpoints")
        service.end()


def main():
    program = os.path.abspath(sys.argv[1])
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    tiny = seconds < 10.0
    rows.group("The whole service, from outside")
    show("program", f"{os.path.getsize(program) / 2**20:.1f} MiB", "at most 12, as packaged")
    starts(program, 1 if tiny else 7, pathlib.Path(os.environ.get("BENCH_STORE", "/nonexistent")))
    steady(program, seconds)
    flushes(program, min(seconds, 20.0))


if __name__ == "__main__":
    main()
