"""The demonstration and a real Chromium to watch it with."""

import os
import pathlib
import re
import subprocess

import pytest
from playwright.sync_api import sync_playwright

ROOT = pathlib.Path(__file__).resolve().parents[2]
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
LAUTERD = os.environ.get("PAGE_LAUTERD", str(TARGET / "debug" / "lauterd"))
CHROMIUM = os.environ.get("PAGE_CHROMIUM", "/usr/bin/chromium")
SCREENSHOTS = TARGET / "screenshots"
SIZES = {"phone": (390, 844), "tablet": (1180, 820), "wall": (1920, 1080)}
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


def shot(page, name, whole=False):
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=str(SCREENSHOTS / f"{name}.png"), full_page=whole)
