"""Publishes with QoS 1 as fast as paho can, so many in flight, and prints messages acknowledged per second.

Everything on one thread by the library's own `loop`, as a client that waits for nothing else would.
Usage: paho_client.py PORT MESSAGES IN_FLIGHT TOPIC PAYLOAD
"""

import sys
import time

from paho.mqtt import client as paho


def main():
    port, messages, in_flight = (int(argument) for argument in sys.argv[1:4])
    topic, payload = sys.argv[4:6]
    acknowledged = 0

    def on_publish(*_):
        nonlocal acknowledged
        acknowledged += 1

    # Version 2 of the library asks by which version's rules it calls back; version 1 has no such question.
    rules = [paho.CallbackAPIVersion.VERSION2] if hasattr(paho, "CallbackAPIVersion") else []
    client = paho.Client(*rules, client_id="paho")
    client.max_inflight_messages_set(in_flight)
    client.on_publish = on_publish
    client.connect("127.0.0.1", port)
    while not client.is_connected():
        client.loop(1.0)
    published = 0
    begun = time.perf_counter()
    while acknowledged < messages:
        while published < messages and published - acknowledged < in_flight:
            client.publish(topic, payload, qos=1)
            published += 1
        client.loop(1.0)
    print(messages / (time.perf_counter() - begun))
    client.disconnect()


main()
