"""Recognition of unknown topics: documented shapes of public standards and gateways, and what is left alone.

`shapes/*.json` holds the shapes. Each names its source; `basis` says how near it is to it: `printed` is the
message as the source prints it, `form` its names and nesting with values of our own, `from memory` that the
source was not at hand. What is expected was worked out by hand.
"""

import json
from datetime import datetime
from pathlib import Path

import msgspec
import pytest

from ingest.payload import pointer
from ingest.payload.decode import read
from ingest.payload.shapes import PayloadReading
from ingest.recognise.proposal import propose

SHAPES = [
    pytest.param(shape, id=f"{file.stem}: {shape['name']}")
    for file in sorted((Path(__file__).parent / "shapes").glob("*.json"))
    for shape in json.loads(file.read_text(encoding="utf-8"))
]


def body_of(payload) -> bytes:
    if isinstance(payload, str):
        return payload.encode()
    if isinstance(payload, dict) and payload.keys() == {"hex"}:
        return bytes.fromhex(payload["hex"])
    return json.dumps(payload, ensure_ascii=False).encode()


def observed(shape) -> list:
    """What becomes of the shape: recognised and accepted as proposed, or by its own reading."""
    body, at = body_of(shape["payload"]), datetime.fromisoformat(shape["at"])
    if "reading" in shape:
        return read(shape["topic"], body, PayloadReading.from_document(shape["reading"]), at)
    proposal = propose(shape["topic"], [body])
    if proposal is None:
        return []
    assert proposal.sibling == shape.get("sibling", shape["topic"])
    seen = []
    for document in {json.dumps(part.reading.to_document()): part for part in proposal.parts}.values():
        found = read(shape["topic"], body, PayloadReading.from_document(document.reading.to_document()), at)
        names = {part.part for part in proposal.parts if part.reading == document.reading}
        seen += [one for one in found if one.part in names]
    return [msgspec.structs.replace(one, part=without_device(one.part, proposal, body)) for one in seen]


def without_device(part, proposal, body) -> str:
    """A part as the shape has it: its own name inside the message, after that of the message's device."""
    pointers = {p.reading.part_at for p in proposal.parts if p.reading.each is None and p.reading.part_at}
    for where in pointers:
        device = str(pointer.follow(json.loads(body), pointer.tokens(where)))
        assert part.startswith(device)
        part = part.removeprefix(device).strip()
    return part


@pytest.mark.parametrize("shape", SHAPES)
def test_a_documented_shape_gives_the_right_values_and_units(shape):
    seen = observed(shape)
    assert len(seen) == len(shape["expect"])
    at = datetime.fromisoformat(shape["at"])
    near = shape.get("tolerance", 1e-6)
    for want in shape["expect"]:
        when = at if want["observed_at"] is None else datetime.fromisoformat(want["observed_at"])
        (one,) = [s for s in seen if s.part == want["part"] and s.observed_at == when]
        assert one.temperature_c == (want["temperature_c"] and pytest.approx(want["temperature_c"], abs=near))
        assert one.rh_pct == (want["rh_pct"] and pytest.approx(want["rh_pct"], abs=near))
        assert one.battery_pct == want["battery_pct"]
        assert one.clock == shape.get("clock", "arrival" if want["observed_at"] is None else "device")


def test_the_shapes_are_many_and_each_names_its_source():
    shapes = [param.values[0] for param in SHAPES]
    assert len(shapes) >= 60
    assert all(shape["source"] and shape["basis"] for shape in shapes)
    assert len({(s["topic"], json.dumps(s["payload"])) for s in shapes}) == len(shapes)


# ---------------------------------------------------------------- what is left alone


@pytest.mark.parametrize(
    ("topic", "body"),
    [
        ("cmnd/heater/TempTargetSet", b"21.5"),
        ("shop/heater/set", b'{"temperature":21.5,"humidity":45}'),
        ("shop/heater/temperature/set", b"21.5"),
        ("shop/heater/target_temperature", b"21.5"),
        ("shop/bench/dew_point", b"9.2"),
        ("shop/bench/dewpoint/temperature", b'{"dewpoint":9.2}'),
        ("shop/bench/heat_index", b"22.4"),
        ("shop/node/chip_temperature", b"48.5"),
        ("shop/node/status", b'{"cpu":{"temperature":48.5},"esp32_temp":51.2}'),
        ("shop/heater", b'{"temperature_setpoint":21,"min_temp":5,"max_temp":30,"target_humidity":45}'),
        ("weather/town", b'{"forecast":[{"temperature":21,"humidity":45}],"daily":{"temperature":20}}'),
        ("garden/bed", b'{"soil_temperature":14.2,"soil_humidity":33,"soil_moisture":33}'),
        ("shop/lamp", b'{"color_temp":325,"brightness":215,"state":"ON"}'),
        ("shop/bench", b'{"feels_like":20.1,"wet_bulb_temp":15.2,"absolute_humidity":8.9}'),
        ("shop/bench", b'{"t":1718000000,"h":44}'[:15] + b"}"),
        ("shop/counter", b'{"count":21,"total":45}'),
        ("shop/number", b"21.5"),
        ("shop/power/state", b"ON"),
        ("shop/bench/temperature", b"ON"),
        ("shop/bench/temperature", b"2150"),
        ("$SYS/broker/load/temperature", b"21.5"),
        ("homeassistant/sensor/bench/config", b'{"device_class":"temperature","unit_of_measurement":"C"}'),
    ],
)
def test_look_alikes_and_commands_are_not_taken(topic, body):
    assert propose(topic, [body]) is None


def test_a_look_alike_is_named_with_its_reason():
    proposal = propose(
        "shop/bench", [b'{"temperature":21.5,"humidity":45,"dew_point_temp":9.2,"cpu_temp":48}']
    )
    text = " | ".join(proposal.reasons)
    assert "/temperature is the temperature: 21.5 fits a room in °C" in text
    assert "dew_point_temp is left out: it is a dew point" in text
    assert "cpu_temp is left out: it is the device's own temperature" in text


def test_ranges_speak_for_a_unit_only_in_a_doubtful_proposal():
    sure = propose("shop/bench", [b'{"temperature":"21.5 \xc2\xb0C","humidity":45}'])
    doubtful = propose(
        "shop/bench", [b'{"temperature":70.2,"humidity":45}', b'{"temperature":69.8,"humidity":45}']
    )
    assert doubtful.parts[0].reading.temperature_unit == "F"
    assert doubtful.confidence < 0.7 < sure.confidence
    assert any("check before accepting" in reason for reason in doubtful.reasons)


def test_a_topic_that_sends_now_a_list_and_now_lists_under_keys_is_recognised_or_left():
    bodies = [b'[{"temperature":21.5,"humidity":45}]', b'{"bench":[{"temperature":21.5,"humidity":45}]}']
    for messages in (bodies, bodies[::-1]):
        proposal = propose("shop/gateway", messages)  # it never raises, whatever the bytes
        assert proposal is None or proposal.parts


def test_single_letters_are_believed_only_together():
    assert propose("shop/bench", [b'{"t":21.5}']) is None
    both = propose("shop/bench", [b'{"t":21.5,"h":45}'])
    assert (both.parts[0].reading.temperature, both.parts[0].reading.rh) == ("/t", "/h")


def test_two_topics_of_one_sensor_share_their_sibling():
    one = propose("shop/rack/temperature", [b"18.5"])
    other = propose("shop/rack/humidity", [b"55"])
    assert one.sibling == other.sibling == "shop/rack"
    assert one.parts[0].name == other.parts[0].name


@pytest.mark.parametrize(
    ("topic", "body", "sibling"),
    [
        ("tele/shed/LWT", b"Online", "tele/shed"),
        ("rack-node/status", b"offline", "rack-node"),
        ("zigbee2mqtt/shop/bench/availability", b'{"state":"online"}', "zigbee2mqtt/shop/bench"),
        ("homie/bench-node/$state", b"ready", "homie/bench-node"),
    ],
)
def test_availability_topics_are_presence(topic, body, sibling):
    proposal = propose(topic, [body])
    assert proposal.parts == ()
    assert proposal.presence.shape == "presence"
    assert proposal.sibling == sibling


def test_several_messages_are_seen_together():
    bodies = [b'{"temperature":null,"humidity":45}', b'{"temperature":21.5}', b"garbage", b""]
    (part,) = propose("shop/bench", bodies).parts
    assert part.quantities == ("temperature", "rh")


@pytest.mark.slow
@pytest.mark.parametrize(
    "body",
    [
        *(b"", b"\x00", b"\xff\xfe", b"1e400", b"[" * 50_000, b'{"a":' * 3_000, b"\x9f" * 500, b"\x81" * 500),
        *(b"1" * 5_000, b'{"temperature":' + b"9" * 400 + b"}", b'{"' + b"t" * 5_000 + b'":1}'),
        b"[" + b"{}," * 20_000 + b"{}]",
        json.dumps({str(i): {"temperature": 20, "humidity": 40} for i in range(3_000)}).encode(),
    ],
)
def test_no_body_makes_recognition_raise(body):
    proposal = propose("shop/temperature", [body] * 3)
    assert proposal is None or len(proposal.parts) <= 64
