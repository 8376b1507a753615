"""A Sparkplug host application by another author's library, for the test of lauterd's edge node.

It decodes every message with pysparkplug, keeps to the rules a host may rely on, and tells what it heard as one JSON
object a line. What breaks a rule is told as `fault`. Commands come on standard input: `rebirth GROUP NODE`,
`junk GROUP NODE`, `state HOST online|offline TIMESTAMP`.

Usage: host.py PORT USER PASSWORD
"""

import json
import sys
import time

import paho.mqtt.client as mqtt
import pysparkplug as spb
from pysparkplug import _protobuf as wire

PORT, USER, PASSWORD = int(sys.argv[1]), sys.argv[2], sys.argv[3]

next_seq = {}
births = {}  # (edge node, device or None) -> decoded birth
bd_seqs = {}


def say(**told):
    print(json.dumps(told), flush=True)


def properties(metric):
    """Units and qualities, which pysparkplug's own classes pass over."""
    found = {}
    for key, value in zip(metric.properties.keys, metric.properties.values):
        found[key] = getattr(value, value.WhichOneof("value"))
        assert value.type in (3, 12), f"property type {value.type}"
    assert len(metric.properties.keys) == len(metric.properties.values)
    return found


def check(message, topic, payload):
    """The rules of the specification that span several messages."""
    kind, node, device = topic.message_type.name, topic.edge_node_id, topic.device_id
    assert message.retain == 0, "nothing is retained"
    assert message.qos == (1 if kind == "NDEATH" else 0), f"QoS {message.qos}"
    if kind == "NDEATH":
        on_wire = wire.Payload.FromString(message.payload)
        assert not on_wire.HasField("seq"), "a death has no seq"
        assert [metric.name for metric in on_wire.metrics] == ["bdSeq"]
        assert payload.bd_seq_metric.value == bd_seqs.get(node), "the death of the birth that was heard"
        next_seq.pop(node, None)
        for key in [key for key in births if key[0] == node]:
            del births[key]
        return
    if kind == "NBIRTH":
        assert payload.seq == 0, f"seq {payload.seq}"
        names = {metric.name: metric for metric in payload.metrics}
        bd_seqs[node] = names["bdSeq"].value
        rebirth = names["Node Control/Rebirth"]
        assert rebirth.value is False and rebirth.datatype == spb.DataType.BOOLEAN
        for key in [key for key in births if key[0] == node]:
            del births[key]
    else:
        assert node in next_seq, "the node is born first"
        assert payload.seq == next_seq[node], f"seq {payload.seq}, expected {next_seq[node]}"
    next_seq[node] = (payload.seq + 1) % 256
    if kind == "DDEATH":
        assert births.pop((node, device), None), "who dies was born"
    elif kind in ("NBIRTH", "DBIRTH"):
        aliases = [metric.alias for metric in payload.metrics if metric.alias is not None]
        others = [
            metric.alias
            for (other, its), birth in births.items()
            if other == node and its != device
            for metric in birth.metrics
        ]
        assert len(set(aliases)) == len(aliases) and not set(aliases) & set(others), "aliases are unique"
        births[(node, device)] = payload
    else:
        assert (node, device) in births, "data comes after the birth"


def on_message(_client, _data, message):
    try:
        if message.topic.startswith("spBv1.0/STATE/"):
            return
        topic = spb.Topic.from_str(message.topic)
        if topic.message_type.name.endswith("CMD"):
            return
        birth = births.get((topic.edge_node_id, topic.device_id))
        payload = spb.Message.from_mqtt_message(message, birth=birth).payload
        check(message, topic, payload)
        raw = wire.Payload.FromString(message.payload)
        metrics = {}
        past = []
        for metric, on_wire in zip(getattr(payload, "metrics", ()), raw.metrics):
            assert on_wire.HasField("timestamp") or topic.message_type.name == "NDEATH"
            told = {"value": metric.value, "at_ms": metric.timestamp, **properties(on_wire)}
            if metric.is_historical:
                past.append({"name": metric.name, **told})
            else:
                metrics[metric.name] = told
        if topic.message_type.name == "NDEATH":
            metrics["bdSeq"] = {"value": payload.bd_seq_metric.value}
        say(
            kind=topic.message_type.name,
            group=topic.group_id,
            node=topic.edge_node_id,
            device=topic.device_id,
            seq=getattr(payload, "seq", None),
            at_ms=payload.timestamp,
            metrics=metrics,
            past=past,
        )
    except Exception as error:  # whatever the library refuses is what the test is about
        say(fault=f"{message.topic}: {type(error).__name__}: {error}")


def on_connect(client, _data, _flags, code):
    assert code == 0, code
    client.subscribe("spBv1.0/#", qos=1)


def on_subscribe(*_):
    say(ready=True)


# The broker keeps what is said while it is away, so that every birth is heard.
client = mqtt.Client(client_id="host", clean_session=False)
client.reconnect_delay_set(1, 2)
client.username_pw_set(USER, PASSWORD)
client.on_connect, client.on_message, client.on_subscribe = on_connect, on_message, on_subscribe
client.connect("127.0.0.1", PORT)
client.loop_start()

for line in sys.stdin:
    word, *rest = line.split()
    if word == "rebirth":
        metric = spb.Metric(
            timestamp=spb.get_current_timestamp(),
            name="Node Control/Rebirth",
            datatype=spb.DataType.BOOLEAN,
            value=True,
        )
        command = spb.NCmd(timestamp=spb.get_current_timestamp(), metrics=(metric,))
        client.publish(f"spBv1.0/{rest[0]}/NCMD/{rest[1]}", command.encode(include_dtypes=True), qos=0)
    elif word == "junk":
        client.publish(f"spBv1.0/{rest[0]}/NCMD/{rest[1]}", b"\x12\xff\xff", qos=0)
    elif word == "state":
        state = {"online": rest[1] == "online", "timestamp": int(rest[2])}
        client.publish(f"spBv1.0/STATE/{rest[0]}", json.dumps(state), qos=1, retain=True)
time.sleep(0.1)
