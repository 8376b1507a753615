"""The demonstration and a real Chromium to watch it with."""

import os
import pathlib
import re
import signal
import socket
import subprocess
import time

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

ROOT = pathlib.Path(__file__).resolve().parents[2]
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
LAUTERD = os.environ.get("PAGE_LAUTERD", str(TARGET / "debug" / "lauterd"))
CHROMIUM = os.environ.get("PAGE_CHROMIUM", "/usr/bin/chromium")
SCREENSHOTS = TARGET / "screenshots"
SIZES = {"phone": (390, 844), "tablet": (1180, 820), "portrait": (820, 1180), "wall": (1920, 1080)}
# Simulated seconds in a second: what two cores keep up with while a browser draws.
SPEED = os.environ.get("PAGE_DEMO_SPEED", "30")


class Demo:
    """`lauterd demo`, which goes on serving after its run-off."""

    def __init__(self, *arguments):
        command = [LAUTERD, "demo", "--stay", "--listen", "127.0.0.1:0", "--speed", SPEED, *arguments]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        for line in self.process.stdout:
            found = re.search(r"Open (http://\S+) in", line)
            if found:
                self.address = found.group(1)
                return
        raise RuntimeError("the demonstration said no address")

    def end(self):
        self.process.terminate()
        self.process.stdout.close()
        self.process.wait(timeout=20)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for_port(port, process, log):
    for _ in range(200):
        if process.poll() is not None:
            break
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(log.read_text())


class Service:
    """`lauterd run` on a configuration of a test's own; `web` holds further lines of `[web]`."""

    def __init__(self, directory, configuration, web="", arguments=()):
        self.directory = directory
        self.arguments = arguments
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        text = configuration + f'\n[web]\nlisten = "127.0.0.1:{self.port}"\n{web}\n'
        text += f'\n[store]\ndirectory = "{directory / "record"}"\n'
        self.configuration = directory / "tun.toml"
        self.configuration.write_text(text)
        self.start()

    def start(self):
        log = self.directory / "log"
        with open(log, "a") as told:
            command = [LAUTERD, "run", "--config", str(self.configuration), *self.arguments]
            self.process = subprocess.Popen(command, stdout=told, stderr=told)
        wait_for_port(self.port, self.process, log)

    def stop(self):
        self.process.send_signal(signal.SIGCONT)
        self.process.terminate()
        self.process.wait(timeout=20)


@pytest.fixture(scope="session")
def demo():
    running = Demo()
    # Its terminal must not fill up.
    reader = subprocess.Popen(["cat"], stdin=running.process.stdout, stdout=subprocess.DEVNULL)
    yield running
    running.end()
    reader.wait(timeout=20)


@pytest.fixture(scope="session")
def chromium():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


class Watched:
    """A page whose complaints and requests are noted."""

    def __init__(self, browser, address, size="wall", dark=False):
        width, height = SIZES[size]
        scheme = "dark" if dark else "light"
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, reduced_motion="reduce"
        )
        self.page = self.context.new_page()
        self.address = address
        self.complaints = []
        self.elsewhere = []
        # What the page is meant to be refused: Chromium complains of it in the console.
        self.refusals = []
        self.page.on("console", self.note)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", self.see)

    def note(self, message):
        expected = any(status in message.text for status in self.refusals)
        if message.type in ("error", "warning") and not expected:
            self.complaints.append(message.text)

    def see(self, request):
        if not request.url.startswith(self.address):
            self.elsewhere.append(request.url)

    def open(self, path="/"):
        self.page.goto(self.address + path)
        return self.page

    def close(self):
        assert self.complaints == [], self.complaints
        assert self.elsewhere == [], self.elsewhere
        self.context.close()


@pytest.fixture
def watched(chromium, demo):
    pages = []

    def new(size="wall", dark=False):
        page = Watched(chromium, demo.address, size, dark)
        pages.append(page)
        return page

    yield new
    for page in pages:
        page.close()


def no_violation(page, where):
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = Axe().run(page, options={"runOnly": rules})
    told = [(it["id"], [node["html"][:160] for node in it["nodes"]]) for it in found.response["violations"]]
    assert told == [], f"{where}: {told}"


def tap(page, button):
    """As people do: they look where it stands before they tap on it."""
    button.wait_for()
    page.wait_for_timeout(1000)
    button.click()


def name_yourself(page, name="shift brewer"):
    page.locator("#who-name").fill(name)
    page.locator("#dialog-who .save").click()


def fill_plan(page, **values):
    for key, value in {"brew": "7", "grist_kg": "980", "target_gravity_p": "12.4", "planned_volume_l": "5200", **values}.items():
        page.locator(f"#plan-{key}").fill(value)


def shot(page, name, whole=False):
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=str(SCREENSHOTS / f"{name}.png"), full_page=whole)
