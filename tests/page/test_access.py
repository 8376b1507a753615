"""Signing in and out in a real browser, and what an open page does when its session or its service is gone."""

import os
import signal
import subprocess

import pytest
from conftest import LAUTERD, ROOT, Service, Watched, fill_plan, no_violation, shot

PASSWORD = "correct horse battery"


class Guarded(Service):
    """A service with users, and instruments that nobody answers for."""

    def __init__(self, directory, web=""):
        users = directory / "users.toml"
        for name, role in [("anna", "operate"), ("wall", "watch")]:
            command = [LAUTERD, "user", "add", name, "--role", role, "--users-file", str(users)]
            subprocess.run(command, input=PASSWORD + "\n", text=True, check=True, stdout=subprocess.DEVNULL)
        super().__init__(directory, (ROOT / "config" / "minimal.toml").read_text(), f'users_file = "{users}"\n{web}')


@pytest.fixture
def service(tmp_path):
    running = Guarded(tmp_path)
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


def test_a_german_page_is_signed_into_in_german(chromium, tmp_path):
    service = Guarded(tmp_path, 'language = "de"')
    try:
        one = Watched(chromium, service.address, "phone")
        one.refusals.append("401")
        page = one.open()
        assert page.locator("html").get_attribute("lang") == "de"
        no_violation(page, "signing in")
        page.emulate_media(color_scheme="dark")
        no_violation(page, "signing in, dark")
        shot(page, "sign-in-german")
        sign_in(page, "anna", "wrong horse battery")
        page.locator("#fault", has_text="Name oder Passwort ist falsch").wait_for()
        sign_in(page, "anna")
        page.wait_for_selector(".link.on")
        page.locator("#account a").click()
        page.locator("form[action='/sign-out'] button", has_text="Abmelden").wait_for()
        assert "Angemeldet als anna, Rolle bedienen" in page.locator("main").inner_text()
        one.close()
    finally:
        service.stop()


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
    page.set_viewport_size({"width": 390, "height": 844})
    cut = page.evaluate(
        """() => [...document.querySelectorAll('.tools > *, .tools .button')].filter((it) => it.checkVisibility())
            .filter((it) => it.getBoundingClientRect().right > innerWidth || (it.tagName === 'BUTTON' && it.scrollWidth > it.clientWidth))
            .map((it) => it.id || it.textContent)"""
    )
    assert cut == [], f"cut on a phone: {cut}"
    shot(page, "session-over-phone")
    over.locator("a").click()
    page.locator("#password").wait_for()
    one.close()


def test_two_taps_on_start_are_one_start_and_a_slip_in_the_plan_is_named(chromium, service):
    one = Watched(chromium, service.address, "tablet")
    one.refusals += ["401", "422"]
    page = one.open()
    sign_in(page, "anna")
    page.wait_for_selector(".link.on")
    fill_plan(page)
    page.locator("#plan-target_gravity_p").fill("1.059")
    start = page.locator("#start-form button")
    start.click()
    page.locator("#toast.bad", has_text="as a specific gravity that would be").wait_for()
    fill_plan(page)
    start.dblclick()
    page.locator("#do-end").wait_for()
    page.wait_for_timeout(1000)
    assert "bad" not in (page.locator("#toast").get_attribute("class") or ""), "the second tap says nothing"
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
    fill_plan(page)
    page.locator("#start-form button").click()
    page.locator("#toast.bad", has_text="no answer within 8 s").wait_for(timeout=20_000)
    os.kill(service.process.pid, signal.SIGCONT)
    page.wait_for_selector(".link.on", timeout=40_000)
    one.close()
