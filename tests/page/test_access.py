"""Signing in and out in a real browser, and what an open page does when its session or its service is gone."""

import os
import signal
import socket
import subprocess
import time

import pytest
from conftest import LAUTERD, ROOT, Watched, shot

PASSWORD = "correct horse battery"


class Service:
    """`lauterd run` with users, and instruments that nobody answers for."""

    def __init__(self, directory):
        self.directory = directory
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.users = directory / "users.toml"
        for name, role in [("anna", "operate"), ("wall", "watch")]:
            command = [LAUTERD, "user", "add", name, "--role", role, "--users-file", str(self.users)]
            subprocess.run(command, input=PASSWORD + "\n", text=True, check=True, stdout=subprocess.DEVNULL)
        text = (ROOT / "config" / "minimal.toml").read_text()
        text += f'\n[web]\nlisten = "127.0.0.1:{self.port}"\nusers_file = "{self.users}"\n'
        text += f'\n[store]\ndirectory = "{directory / "record"}"\n'
        self.configuration = directory / "tun.toml"
        self.configuration.write_text(text)
        self.process = None
        self.start()

    def start(self):
        log = open(self.directory / "log", "a")
        self.process = subprocess.Popen([LAUTERD, "run", "--config", str(self.configuration)], stdout=log, stderr=log)
        for _ in range(200):
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
                return
            except OSError:
                time.sleep(0.1)
        raise RuntimeError((self.directory / "log").read_text())

    def stop(self):
        self.process.send_signal(signal.SIGCONT)
        self.process.terminate()
        self.process.wait(timeout=20)


@pytest.fixture
def service(tmp_path):
    running = Service(tmp_path)
    yield running
    running.stop()


def sign_in(page, name, password=PASSWORD):
    page.fill("#user", name)
    page.fill("#password", password)
    page.click("button")


def test_people_sign_in_and_out_by_the_form(chromium, service):
    one = Watched(chromium, service.address, "tablet")
    one.refusals.append("401")
    page = one.open()
    sign_in(page, "anna", "wrong horse battery")
    page.locator("#fault", has_text="wrong").wait_for()
    sign_in(page, "anna")
    page.locator("#account-name", has_text="anna").wait_for()
    page.wait_for_selector(".link.on")
    assert not page.locator("#who").is_visible(), "whoever has signed in is not asked for a name"
    page.locator("#start-form").wait_for()
    shot(page, "signed-in")
    page.locator("#account a").click()
    page.locator("form[action='/sign-out'] button").click()
    page.locator("#password").wait_for()
    page.goto(service.address)
    page.locator("#password").wait_for()
    one.close()


def test_whoever_may_only_watch_is_offered_nothing_to_press(chromium, service):
    one = Watched(chromium, service.address, "wall")
    page = one.open()
    sign_in(page, "wall")
    page.wait_for_selector(".link.on")
    assert not page.locator("#start-form").is_visible()
    shown = page.locator("button[data-act]:visible")
    assert [it.get_attribute("data-act") for it in shown.all()] == ["theme"]
    one.close()


def test_an_open_page_outlives_a_restart_and_says_when_its_session_is_gone(chromium, service):
    one = Watched(chromium, service.address, "tablet")
    one.refusals += ["ERR_CONNECTION_REFUSED", "ERR_INCOMPLETE_CHUNKED_ENCODING", "ERR_CONNECTION_RESET", "401"]
    page = one.open()
    sign_in(page, "anna")
    page.wait_for_selector(".link.on")
    service.stop()
    page.wait_for_selector(".link.off")
    service.start()
    page.wait_for_selector(".link.on", timeout=40_000)
    assert not page.locator("#session-over").is_visible()
    # Without what is kept, everybody has to sign in again.
    service.stop()
    (kept,) = (service.directory / "record").glob("sessions-*.json")
    kept.unlink()
    service.start()
    over = page.locator("#session-over")
    over.wait_for(timeout=40_000)
    assert "not signed in" in over.text_content()
    shot(page, "session-over")
    over.locator("a").click()
    page.locator("#password").wait_for()
    one.close()


def test_a_silent_service_is_not_live(chromium, service):
    one = Watched(chromium, service.address, "tablet")
    one.refusals += ["ERR_", "504"]
    page = one.open()
    sign_in(page, "anna")
    page.wait_for_selector(".link.on")
    os.kill(service.process.pid, signal.SIGSTOP)
    page.wait_for_selector(".link.off", timeout=40_000)
    assert " s old" in page.locator("#link").text_content()
    assert page.evaluate("() => getComputedStyle(document.querySelector('#part-next')).opacity") != "1", "what to do next is dimmed"
    page.locator("#start-form [name=brew]").fill("7")
    for key, value in [("grist_kg", "980"), ("target_gravity_p", "12.4"), ("planned_volume_l", "5200")]:
        page.locator(f"#plan-{key}").fill(value)
    page.locator("#start-form button").click()
    page.locator("#toast.bad", has_text="no answer within 8 s").wait_for(timeout=20_000)
    os.kill(service.process.pid, signal.SIGCONT)
    page.wait_for_selector(".link.on", timeout=40_000)
    one.close()
