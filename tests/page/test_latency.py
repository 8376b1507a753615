"""From a change of the state to the screen, with forty-nine further screens watching. Figures, no verdict."""

import http.client
import json
import statistics
import threading
import time
import urllib.parse
import urllib.request

from conftest import Demo, Watched

STREAMS = 49
WATCHED_S = 20


class Stream(threading.Thread):
    """A client of the event stream that only reads."""

    def __init__(self, address):
        super().__init__(daemon=True)
        self.connection = http.client.HTTPConnection(urllib.parse.urlsplit(address).netloc, timeout=60)
        self.events = 0

    def run(self):
        try:
            self.connection.request("GET", "/tuns/orchard/tun-1/parts")
            answer = self.connection.getresponse()
            while answer.readline():
                self.events += 1
        except (OSError, http.client.HTTPException, ValueError, AttributeError):
            pass


def test_a_change_reaches_the_screen(chromium):
    demo = Demo()
    try:
        streams = [Stream(demo.address) for _ in range(STREAMS)]
        for stream in streams:
            stream.start()
        one = Watched(chromium, demo.address)
        page = one.open()
        page.wait_for_selector(".link.on")
        page.evaluate("() => { lauterd.shownAt.length = 0; }")
        time.sleep(WATCHED_S)
        delays = sorted(page.evaluate("() => lauterd.shownAt"))
        heard = min(stream.events for stream in streams)
        print(
            f"\n{len(delays)} changes in {WATCHED_S} s with {STREAMS} further streams (each told {heard} lines or more): "
            f"median {statistics.median(delays):.0f} ms, 95 % within {delays[int(0.95 * len(delays))]:.0f} ms"
        )
        with urllib.request.urlopen(demo.address + "/api/v1/tuns/orchard/tun-1", timeout=10) as answer:
            health = json.load(answer)["health"]
        print(f"the tun's own loop: {health['arrivals_refused']} readings refused, {health['unwritten_dropped']} rows dropped")
        assert len(delays) > 10 and heard > 10
        one.close()
    finally:
        demo.end()
