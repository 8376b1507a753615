"""Slips of wet hands: taps that come twice, numbers that cannot be, samples that are taken back."""

import pytest
from conftest import Demo, Watched, tap

TUN = "/tuns/orchard/tun-1"


@pytest.fixture(scope="module")
def demo_of_slips():
    running = Demo()
    yield running
    running.end()


@pytest.fixture
def page(chromium, demo_of_slips):
    one = Watched(chromium, demo_of_slips.address, "tablet")
    one.refusals += ["409", "422"]
    page = one.open()
    page.wait_for_selector(".link.on")
    yield page
    one.close()


def samples(page):
    path = "/api/v1" + TUN
    return page.evaluate(
        """async (path) => {
            const state = await (await fetch(path)).json();
            return (await fetch(`${path}/brews/${state.brew}/samples`)).json();
        }""",
        path,
    )


def enter(page, button, text):
    page.locator(button).click()
    page.locator("#sample-value").fill(text)


def test_two_taps_and_two_enters_give_one_sample(page):
    enter(page, "#sample-rg", "18.6")
    page.locator("#dialog-sample .save").dblclick()
    page.wait_for_selector("#dialog-sample", state="hidden")
    enter(page, "#sample-rp", "5.42")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.wait_for_selector("#dialog-sample", state="hidden")
    page.locator("#part-table .sample", has_text="5.42").wait_for()
    assert len(samples(page)) == 2
    # The same again within a minute of the brew is told as such.
    enter(page, "#sample-rp", "5.42")
    page.locator("#dialog-sample .save").click()
    page.wait_for_selector("#dialog-sample", state="hidden")
    assert len(samples(page)) <= 3


def test_only_plain_numbers_are_taken(page):
    before = len(samples(page))
    for text in ["0x12", "1e1", "1.2.3", "4,500", ""]:
        enter(page, "#sample-kv", text)
        page.locator("#dialog-sample .save").click()
        page.locator("#dialog-sample .trouble:visible").wait_for()
        page.keyboard.press("Escape")
    enter(page, "#sample-kv", "99999")
    page.locator("#dialog-sample .save").click()
    page.locator("#dialog-sample .trouble", has_text="the kettle holds").wait_for()
    page.keyboard.press("Escape")
    assert len(samples(page)) == before


def test_a_far_sample_is_asked_about_and_can_be_withdrawn(page):
    # There must be wort in the kettle to hold it against.
    page.wait_for_function(
        "() => { const it = document.querySelector('#part-kettle .num'); return it && /1[0-9]\\.[0-9]/.test(it.textContent); }",
        timeout=120_000,
    )
    page.wait_for_timeout(15_000)
    before = len(samples(page))
    enter(page, "#sample-kg", "1.076")
    save = page.locator("#dialog-sample .save")
    save.dblclick()
    trouble = page.locator("#dialog-sample .trouble:visible")
    trouble.wait_for()
    assert "looks like a specific gravity" in trouble.text_content()
    assert len(samples(page)) == before, "a second tap is no answer to a question"
    page.locator("#dialog-sample .save", has_text="It is right").click()
    page.wait_for_selector("#dialog-sample", state="hidden")
    taken = samples(page)
    assert len(taken) == before + 1 and taken[-1]["withdrawn_s"] is None
    withdraw = page.locator(f"#withdraw-{taken[-1]['number']}")
    tap(page, withdraw)
    tap(page, page.locator("#dialog-withdraw .save"))
    withdraw.wait_for(state="detached")
    assert samples(page)[-1]["withdrawn_s"] is not None
    assert page.locator("#part-table .sample", has_text="1.08").count() == 0


def test_two_taps_or_two_enters_on_finishing_do_not_finish(page):
    ended = []
    page.on("request", lambda request: ended.append(request.url) if request.url.endswith("/brew/end") else None)
    page.locator("#do-end").wait_for()
    # At once, as the second of two taps that finds the confirming button under the finger.
    page.evaluate("() => { document.getElementById('do-end').click(); document.querySelector('#dialog-end .save').click(); }")
    page.locator("#dialog-end").wait_for()
    page.keyboard.press("Escape")
    page.locator("#do-end").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.wait_for_timeout(500)
    assert ended == []
    page.locator("#do-end").wait_for()


def test_a_tap_on_a_card_that_is_drawn_anew_is_not_lost(page):
    box = page.locator("#do-note").bounding_box()
    page.mouse.move(box["x"] + 10, box["y"] + 10)
    page.mouse.down()
    page.evaluate(
        """() => {
            const html = document.getElementById('part-actions').innerHTML;
            document.getElementById('do-note').dataset.own = 'yes';
            replace('part-actions', html);
        }"""
    )
    assert page.evaluate("() => document.getElementById('do-note').dataset.own") == "yes"
    page.mouse.up()
    page.locator("dialog[open]").wait_for()
    page.keyboard.press("Escape")


def tap_what_stands_where(page, place):
    """A finger on a place, whatever stands there now."""
    return page.evaluate(
        """({ x, y }) => {
            const under = document.elementFromPoint(x, y);
            under.dispatchEvent(new MouseEvent('click', { bubbles: true, detail: 1, clientX: x, clientY: y }));
            return under.id;
        }""",
        place,
    )


def test_a_second_tap_does_not_press_what_has_moved_up_under_the_finger(page):
    place = page.evaluate(
        """() => {
            const part = document.getElementById('part-actions'), html = part.innerHTML;
            const note = document.getElementById('do-note').getBoundingClientRect();
            // A card above it, with its button where the note's will be once the card has gone.
            take({ parts: { 'part-actions': '<button id="ack-first" data-act="acknowledge" data-alarm="first"></button>' + html } });
            const first = document.getElementById('ack-first');
            first.style.cssText = `position:fixed;left:${note.left}px;top:${note.top}px;width:${note.width}px;height:${note.height}px`;
            take({ parts: { 'part-actions': html } });
            return { x: note.left + note.width / 2, y: note.top + note.height / 2 };
        }"""
    )
    assert tap_what_stands_where(page, place) == "do-note"
    assert page.locator("dialog[open]").count() == 0, "it was meant for the button that stood there"
    page.wait_for_timeout(1500)
    assert tap_what_stands_where(page, place) == "do-note"
    page.locator("dialog[open]").wait_for()
    page.keyboard.press("Escape")


def test_the_button_for_one_alarm_does_not_take_the_second_tap_for_the_next_alarm(page):
    asked = page.evaluate(
        """() => {
            const button = (alarm) => `<button id="ack-next" data-act="acknowledge" data-alarm="${alarm}">Acknowledge</button>`;
            const sent = [];
            acts.acknowledge = (it) => sent.push(it.dataset.alarm);
            const tap = () => {
                const it = document.getElementById('ack-next'), box = it.getBoundingClientRect();
                const at = { clientX: box.left + box.width / 2, clientY: box.top + box.height / 2 };
                it.dispatchEvent(new MouseEvent('click', { bubbles: true, detail: 1, ...at }));
            };
            take({ parts: { 'part-next': button('stuck-bed') } });
            tap();
            take({ parts: { 'part-next': button('channelling') } });
            tap();
            return sent;
        }"""
    )
    assert asked == ["stuck-bed"]


def test_a_page_that_nobody_looks_at_gives_its_connection_back(page):
    hide = """(hidden) => {
        Object.defineProperty(document, 'hidden', { configurable: true, get: () => hidden });
        document.dispatchEvent(new Event('visibilitychange'));
        return events === null;
    }"""
    assert page.evaluate(hide, True)
    assert not page.evaluate(hide, False)
    page.wait_for_selector(".link.on")
