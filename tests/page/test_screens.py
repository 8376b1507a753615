"""The page in other languages and units, the page of all tuns, and what it shows when much is wrong at once."""

import json
import re
import shutil
import subprocess

import pytest
from conftest import Demo, Service, Watched, fill_plan, free_port, name_yourself, no_violation, shot, tap, wait_for_port
from devices import Gateway

TUN = "/tuns/orchard/tun-1"
# Words that stand in nearly every English sentence and in no German one.
ENGLISH = re.compile(
    r"\b(the|of|and|is|are|with|not|from|by|at the|flow|kettle|runnings|gravity|volume|brew|brews|"
    r"instrument|value|save|cancel|first|page|found|please|missing|allowed)\b",
    re.IGNORECASE,
)
# Names that the configuration gives, and what people typed.
NAMES = re.compile(r"\b[a-z]+_[a-z_]+\b|kettle level|Orchard Ale|fleet = true|tun-1|orchard")


def english_on(page):
    """What a German reader would meet in English: words, labels and what is marked as English."""
    said = page.evaluate(
        """() => {
            const labels = [...document.querySelectorAll('[aria-label]')].map((it) => it.getAttribute('aria-label'));
            const marked = [...document.querySelectorAll('[lang=en]')].map((it) => 'marked as English: the ' + it.textContent);
            const hidden = [...document.querySelectorAll('dialog')].map((it) => it.textContent);
            return [document.title, document.body.innerText, ...labels, ...marked, ...hidden].join('\\n');
        }"""
    )
    return [line for line in NAMES.sub("", said).splitlines() if ENGLISH.search(line)]


def test_every_german_page_is_german(chromium):
    german = Demo("--language", "de")
    try:
        one = Watched(chromium, german.address, "tablet")
        one.refusals += ["404", "422"]
        page = one.open()
        page.wait_for_selector(".link.on")
        page.locator("#sample-rp").click()
        page.keyboard.type("14")
        page.locator("#dialog-sample .save").click()
        page.locator("#dialog-sample .trouble", has_text="erlaubt ist").wait_for()
        page.keyboard.press("Escape")
        tap(page, page.locator("#do-end"))
        tap(page, page.locator("#dialog-end .save"))
        page.locator("#start-form").wait_for()
        fill_plan(page, grist_kg="0,5", brew="a/b")
        page.locator("#start-form button").click()
        page.locator("#toast.bad", has_text="Schüttung: 0,5 kann nicht sein").wait_for()
        for name, below in [
            ("run-off", ""),
            ("brews", "/brews"),
            ("tun", "/tun"),
            ("instruments", "/instruments"),
            ("density", "/instruments/runnings_density"),
            ("ph", "/instruments/runnings_ph"),
            ("flow", "/instruments/runoff_flow"),
            ("no instrument", "/instruments/nothing"),
        ]:
            page = one.open(TUN + below)
            page.wait_for_timeout(500)
            assert page.locator("html").get_attribute("lang") == "de", name
            assert english_on(page) == [], name
            no_violation(page, f"{name} in German")
        assert english_on(one.open("/tuns/no/tun")) == []
        assert english_on(one.open("/fleet")) == []
        report = one.open(f"/api/v1{TUN}/brews/2026-0077/report")
        assert english_on(report) == []
        one.close()
    finally:
        german.end()


INSTRUMENTS = [
    ("runnings_gravity", "runnings-gravity", "degP", -1.0, 35.0),
    ("runoff_flow", "runoff-flow", "L/min", -5.0, 200.0),
    ("runnings_ph", "runnings-ph", "pH", 2.0, 10.0),
    ("bed_pressure_drop", "bed-pressure-drop", "kPa", -1.0, 10.0),
    ("runnings_turbidity", "runnings-turbidity", "EBC", 0.0, 4000.0),
]
GRAVITY, FLOW, PH, PRESSURE, TURBIDITY = range(1, 6)


def configuration(gateway):
    text = f"""
[site]
name = "north-yard"

[tun]
name = "tun-1"
bed_area_m2 = 7.0

[kettle]
capacity_l = 7000.0

[[modbus_link]]
name = "skid"
tcp = "127.0.0.1:{gateway.port}"
"""
    for unit_id, (name, measures, unit, low, high) in enumerate(INSTRUMENTS, 1):
        text += f"""
[[instrument]]
id = "{name}"
measures = "{measures}"
unit = "{unit}"
low = {low}
high = {high}

[instrument.modbus]
link = "skid"
unit_id = {unit_id}
table = "input"
address = 0
type = "f32"
"""
    return text


@pytest.fixture
def gateway():
    running = Gateway({GRAVITY: 17.2, FLOW: 55.0, PH: 5.4, PRESSURE: 1.1, TURBIDITY: 4.0})
    yield running
    running.end()


@pytest.fixture
def serve(tmp_path):
    running = []

    def start(*arguments, **named):
        service = Service(tmp_path, *arguments, **named)
        running.append(service)
        return service

    yield start
    for service in running:
        service.stop()


def start(page, **plan):
    fill_plan(page, **plan)
    # Nothing here measures the temperature of the wort.
    page.locator("#plan-basis").select_option("process")
    page.locator("#start-form button").click()
    page.locator("#do-end").wait_for()


def state(page):
    return page.evaluate("async () => (await fetch('/api/v1/tuns/north-yard/tun-1')).json()")


def test_specific_gravities_and_hectolitres_are_shown_asked_for_and_taken(chromium, gateway, serve):
    service = serve(configuration(gateway), 'gravity = "sg"\nvolume = "hL"')
    one = Watched(chromium, service.address, "tablet")
    one.refusals.append("422")
    page = one.open()
    page.wait_for_selector(".link.on")
    page.locator("label", has_text="Start-of-boil gravity, SG").wait_for()
    assert page.locator("#plan-gravity_floor_p").input_value() == "1.012"
    start(page, target_gravity_p="1.050", planned_volume_l="52")
    plan = state(page)["plan"]
    # 12.39 °P is SG 1.050 (20/20), by the density of sugar solutions.
    assert plan["target_gravity_p"] == pytest.approx(12.39, abs=0.02)
    assert plan["gravity_floor_p"] == pytest.approx(3.0, abs=0.1)
    assert plan["planned_volume_l"] == 5200
    page.locator("#part-runnings .num", has_text=re.compile(r"^1\.07")).wait_for()
    assert page.locator("#part-runnings .unit").inner_text().strip() == "SG"
    assert "°P" not in page.locator("main").inner_text(), "no figure stands in another unit"
    page.locator("#sample-rg").click()
    page.keyboard.type("1.068")
    page.locator("#dialog-sample .save").click()
    page.locator("#part-table .sample", has_text="1.0680 SG").or_(page.locator(".taken", has_text="1.0680 SG")).first.wait_for()
    taken = page.evaluate(
        "async () => (await fetch('/api/v1/tuns/north-yard/tun-1/brews/7/samples')).json()"
    )
    assert taken[0]["gravity_p"] == pytest.approx(16.6, abs=0.1)
    no_violation(page, "specific gravities")
    shot(page, "specific-gravity")
    one.close()


# Tablets, a small tablet and a small phone.
NARROW = [(1180, 820), (1024, 768), (820, 1180), (360, 740)]


def test_german_words_and_hectolitres_fit_every_screen(chromium, gateway, serve):
    service = serve(configuration(gateway), 'language = "de"\nvolume = "hL"', arguments=["--speed", "60"])
    one = Watched(chromium, service.address, "tablet")
    page = one.open()
    page.wait_for_selector(".link.on")
    start(page, target_gravity_p="12,4", planned_volume_l="52")
    page.locator("#part-stop .num", has_text=",").wait_for(timeout=60_000)
    page.locator("#part-table tbody th", has_text="10").wait_for(timeout=60_000)
    page.locator("#sample-rg").click()
    page.keyboard.type("17,2")
    page.locator("#dialog-sample .save").click()
    page.locator("#part-table .sample", has_text="17,20").wait_for()
    for width, height in NARROW:
        page.set_viewport_size({"width": width, "height": height})
        overflow = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
        assert overflow <= 0, f"{width}: {overflow} px too wide"
        table = page.evaluate("() => { const it = document.getElementById('part-table'); return it.scrollWidth - it.clientWidth; }")
        assert table <= 0 or width < 700, f"{width}: the table is cut by {table} px"
        shot(page, f"german-{width}")
        page.locator("#sample-rg").click()
        page.locator("#sample-method label", has_text="Refraktometer").click()
        page.keyboard.type("99")
        save = page.locator("#dialog-sample .save")
        below = page.evaluate("() => document.querySelector('#dialog-sample .save').getBoundingClientRect().bottom - innerHeight")
        assert below <= 0, f"{width}: the button that saves is cut by {below} px"
        save.focus()
        page.keyboard.press("Escape")
    one.close()


def test_a_slip_in_a_specific_gravity_is_answered_in_german_and_in_specific_gravities(chromium, gateway, serve):
    service = serve(configuration(gateway), 'language = "de"\ngravity = "sg"')
    one = Watched(chromium, service.address, "tablet")
    one.refusals.append("422")
    page = one.open()
    page.wait_for_selector(".link.on")
    fill_plan(page, target_gravity_p="1050")
    page.locator("#start-form button").click()
    page.locator("#toast.bad", has_text="1050 kann nicht sein").wait_for()
    assert "Wenn 1,05 gemeint ist" in page.locator("#toast").text_content()
    start(page, target_gravity_p="1,050")
    page.locator("#sample-rg").click()
    page.keyboard.type("1076,5")
    page.locator("#dialog-sample .save").click()
    page.locator("#dialog-sample .trouble", has_text="Wenn 1,0765 gemeint ist, so eingeben").wait_for()
    assert english_on(page) == []
    page.keyboard.press("Escape")
    page.goto(service.address + "/tuns/north-yard/tun-1/tun")
    assert "°P" not in page.locator("main").inner_text(), "the tun's page keeps to the unit too"
    one.close()


def test_many_faults_at_once_are_one_entry_and_what_is_left_still_speaks(chromium, gateway, serve):
    service = serve(configuration(gateway), arguments=["--speed", "20"])
    for size in ["phone", "tablet"]:
        one = Watched(chromium, service.address, size)
        page = one.open()
        page.wait_for_selector(".link.on")
        if size == "phone":
            start(page)
            page.locator("#part-runnings .num", has_text="17.2").wait_for()
            # Three cards of the rack die; the link and the flow go on.
            gateway.values = {FLOW: 55.0, TURBIDITY: 4.0}
        group = page.locator("section.group")
        group.wait_for(timeout=60_000)
        assert "3 on the link skid" in group.locator("h3").first.inner_text()
        for name in ["runnings gravity", "runnings ph", "bed pressure drop"]:
            assert name in group.locator("p").first.inner_text()
        assert page.locator(".alarm:visible").count() == 0, "they stand folded"
        tile = page.locator("#part-instruments")
        assert "2/5" in tile.inner_text() and "answers with an error" in tile.inner_text()
        group.locator("summary").first.click()
        page.locator("#ack-instrument-fault-runnings-ph").wait_for()
        page.wait_for_timeout(3000)
        assert page.locator("#ack-instrument-fault-runnings-ph").is_visible(), "it stays unfolded while it is drawn anew"
        squeezed = page.evaluate(
            "() => [...document.querySelectorAll('.group h3')].filter((it) => it.getBoundingClientRect().width < 120).map((it) => it.textContent)"
        )
        assert squeezed == [], "there is room for the name beside the button"
        no_violation(page, f"many faults, {size}")
        shot(page, f"many-faults-{size}")
        if size == "tablet":
            tap(page, page.locator("#ack-next", has_text="Acknowledge all 3"))
            name_yourself(page)
            page.locator("#ack-group-skid").wait_for(state="detached")
            assert group.locator(".unacknowledged").count() == 0
        one.close()


def test_minutes_to_go_are_not_known_once_everything_has_been_silent_for_long(chromium, gateway, serve):
    service = serve(configuration(gateway), arguments=["--speed", "60"])
    one = Watched(chromium, service.address, "tablet")
    page = one.open()
    page.wait_for_selector(".link.on")
    start(page)
    page.locator("#part-stop", has_text="min to go").wait_for(timeout=60_000)
    assert page.locator("#part-stop .second .num").inner_text() != "–"
    gateway.values = {}
    page.locator("#part-stop", has_text="nothing measured for").wait_for(timeout=90_000)
    assert page.locator("#part-stop .second").inner_text().split() == ["–", "min", "to", "go", "not", "known"]
    assert "how long it still takes is not known" in page.locator("#part-next").inner_text()
    no_violation(page, "nothing measured")
    shot(page, "nothing-measured")
    one.close()


@pytest.fixture
def broker(tmp_path):
    port = free_port()
    settings = tmp_path / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    log = tmp_path / "mosquitto.log"
    program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    with open(log, "w") as told:
        process = subprocess.Popen([program, "-c", str(settings)], stdout=told, stderr=told)
    wait_for_port(port, process, log)
    yield port
    process.terminate()
    process.wait(timeout=20)


def publish(port, topic, message):
    program = shutil.which("mosquitto_pub") or "/usr/bin/mosquitto_pub"
    subprocess.run([program, "-h", "127.0.0.1", "-p", str(port), "-r", "-t", topic, "-m", message], check=True)


def test_the_page_of_all_tuns_lists_them_without_a_complaint(chromium, gateway, serve, broker):
    text = configuration(gateway) + f'\n[mqtt]\nhost = "127.0.0.1"\nport = {broker}\noverview = true\n'
    service = serve(text, "fleet = true")
    alarm = {
        "time": "2026-04-12T10:00:00.000Z", "seq": 3, "elapsed_s": 60.0, "alarm": "channelling", "instrument": None,
        "from": "normal", "to": "unacknowledged", "priority": "high", "message": "…", "advice": "…", "evidence": {},
    }  # fmt: skip
    publish(broker, "lauterd/<b>south<b>/tun-9/alarm/channelling", json.dumps(alarm))
    publish(broker, "lauterd/<b>south<b>/tun-9/online", json.dumps({"time": "2026-04-12T10:00:00.000Z", "seq": 4, "online": False}))
    for size in ["phone", "tablet", "wall"]:
        for dark in [False, True]:
            one = Watched(chromium, service.address, size, dark)
            page = one.open("/fleet")
            page.locator("#part-fleet tr", has_text="north-yard").wait_for(timeout=30_000)
            page.wait_for_selector(".link.on")
            gone = page.locator("#part-fleet tr", has_text="<b>south<b>")
            gone.wait_for()
            assert "not there" in gone.inner_text()
            overflow = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
            assert overflow <= 0, f"{size}: {overflow} px too wide"
            symbol = gone.locator("svg").first.bounding_box()
            assert 20 <= symbol["width"] <= 40, "the mark of an alarm is as large as its words"
            no_violation(page, f"all tuns, {size}, {'dark' if dark else 'light'}")
            shot(page, f"all-tuns-{size}{'-dark' if dark else ''}")
            one.close()
    one = Watched(chromium, service.address, "tablet")
    page = one.open()
    page.locator("nav a", has_text="All tuns").click()
    page.locator("#part-fleet tr", has_text="north-yard").wait_for()
    page.locator("header a", has_text="To the first page").click()
    page.wait_for_selector("#part-next")
    one.close()
