"""Takes the pictures of README and docs from a run-off of the demonstration, as the page is now.

    cargo build && target/peers-venv/bin/python3 tests/page/pictures.py
"""

import os
import pathlib
import subprocess

os.environ.setdefault("PAGE_DEMO_SPEED", "20")

from conftest import CHROMIUM, ROOT, Demo, Watched, tap
from playwright.sync_api import sync_playwright

PICTURES = pathlib.Path(ROOT) / "docs" / "images"
WHOLE_RUNOFF_MS = 600_000
# Charts are drawn anew every three seconds at most.
SETTLED_MS = 5000


def take(one, name):
    one.page.wait_for_timeout(SETTLED_MS)
    one.page.screenshot(path=str(PICTURES / name))


def hand_sample(browser, address):
    """Before there is anything else to see: the entry of a sample, and the sample on the charts afterwards."""
    one = Watched(browser, address, "phone")
    page = one.open()
    page.wait_for_selector(".link.on")
    page.locator("#sample-kg").click()
    for key in ["1", "8", ".", "5", "2"]:
        page.locator(f'[data-key="{key}"]').click()
    page.screenshot(path=str(PICTURES / "hand-sample.png"))
    page.locator("#dialog-sample .save").click()
    one.close()


def main():
    demo = Demo()
    reader = subprocess.Popen(["cat"], stdin=demo.process.stdout, stdout=subprocess.DEVNULL)
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            tablet, wall = Watched(browser, demo.address, "tablet"), Watched(browser, demo.address, "wall", dark=True)
            page = tablet.open()
            wall.open()
            page.locator(".phases [aria-current]", has_text="First wort").wait_for(timeout=WHOLE_RUNOFF_MS)
            hand_sample(browser, demo.address)
            page.locator(".phases [aria-current]", has_text="Sparge").wait_for(timeout=WHOLE_RUNOFF_MS)
            page.screenshot(path=str(PICTURES / "run-off.png"))
            page.locator('[data-alarm-card="channelling"]').wait_for(timeout=WHOLE_RUNOFF_MS)
            take(tablet, "alarm.png")
            page.locator('[data-alarm-card="channelling"].over').wait_for(timeout=WHOLE_RUNOFF_MS)
            tap(page, page.locator("#ack-channelling"))
            page.locator("#who-name").fill("shift brewer")
            page.locator("#dialog-who .save").click()
            page.locator('[data-alarm-card="stop-point-ahead"]').wait_for(timeout=WHOLE_RUNOFF_MS)
            take(wall, "run-off-dark.png")
            tablet.close()
            wall.close()
            browser.close()
    finally:
        demo.end()
        reader.wait(timeout=20)


if __name__ == "__main__":
    main()
