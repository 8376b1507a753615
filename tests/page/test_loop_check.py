"""An instrument is checked, corrected and set back on the page, button by button."""

import subprocess

import pytest
from conftest import Demo, Watched
from test_runoff import TUN, name_yourself, no_violation

PH = TUN + "/instruments/runnings_ph"
# What a sound electrode shows in the two buffers at 25 °C; the certificate's values are 6.865 and 4.005.
SHOWS = {"phosphate": "6.89", "phthalate": "4.02"}


@pytest.fixture(scope="module")
def instruments(chromium):
    demo = Demo()
    # Its terminal must not fill up.
    reader = subprocess.Popen(["cat"], stdin=demo.process.stdout, stdout=subprocess.DEVNULL)
    one = Watched(chromium, demo.address, "tablet")
    yield one
    one.close()
    demo.end()
    reader.wait(timeout=20)


def fill_in(page, series):
    points = page.locator(f'[data-series="{series}"] .point')
    for index in range(points.count()):
        point = points.nth(index)
        buffer = point.locator('[data-key="buffer"]').input_value()
        point.locator('[data-key="temperature_c"]').fill("25")
        point.locator('[data-key="reading"]').fill(SHOWS[buffer])


def test_a_reading_is_taken_from_the_instrument_at_the_press_of_its_button(instruments):
    page = instruments.open(PH)
    point = page.locator('[data-series="as_found"] .point').first
    reading = point.locator('[data-key="reading"]')
    page.wait_for_selector(".link.on")
    assert reading.input_value() == ""
    point.locator('[data-check="take"]').click()
    page.wait_for_function("() => document.querySelector('[data-series=\"as_found\"] .point').dataset.taken")
    taken = page.evaluate("() => JSON.parse(document.querySelector('[data-series=\"as_found\"] .point').dataset.taken)")
    assert taken["readings"] == 5
    assert 3.0 < float(reading.input_value()) < 8.0
    no_violation(page, "an instrument with a form in use")


def test_a_check_without_its_reference_is_refused_at_the_field(instruments):
    page = instruments.open(PH)
    fill_in(page, "as_found")
    page.locator('#loop-check button[type="submit"]').click()
    page.locator("#toast.bad").wait_for()
    assert page.locator("#check-reference").get_attribute("aria-invalid") == "true"


def test_a_check_is_kept_and_its_certificate_opens(instruments):
    page = instruments.open(PH)
    values = {"reference": "buffers, lot 7", "expanded_uncertainty": "0.02", "tolerance": "0,1", "resolution": "0.01"}
    for key, value in values.items():
        page.locator(f"#check-{key}").fill(value)
    fill_in(page, "as_found")
    page.locator('#loop-check button[type="submit"]').click()
    name_yourself(page, "engineer")
    row = page.locator("table.data tbody tr", has_text="engineer")
    row.wait_for()
    assert row.count() == 1
    certificate = row.locator('a[href*="certificate"]').first
    answer = page.request.get(instruments.address + certificate.get_attribute("href"))
    assert answer.status == 200
    assert "buffers, lot 7" in answer.text()


def test_a_correction_is_made_and_taken_back(instruments):
    page = instruments.open(PH)
    assert page.locator('[data-check="take-back"]').count() == 0
    fill_in(page, "as_found")
    page.locator('[data-check="correct"]').click()
    page.locator("#toast:not(.bad)").wait_for()
    page = instruments.open(PH)
    versions = page.locator("ul.notes li")
    assert versions.count() == 1
    assert "engineer" in versions.first.text_content()
    page.locator('[data-check="take-back"]').click()
    versions.nth(1).wait_for()
    assert page.locator('[data-check="take-back"]').count() == 0
