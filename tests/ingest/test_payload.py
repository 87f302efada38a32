"""From bytes to readings: values, units, missing values, and refusals with their reason."""

from datetime import UTC, datetime

import pytest

from ingest.payload.decode import read
from ingest.payload.presence import Presence, read_presence
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import Observed, PayloadReading

NOW = datetime(2024, 6, 10, 6, 15, tzinfo=UTC)
TOPIC = "shop/bench-2/climate"
FLAT = PayloadReading(shape="json", temperature="/t", rh="/h", time="/ts", battery="/b")


def one(payload: bytes | str, reading: PayloadReading = FLAT, **settings) -> Observed:
    body = payload.encode() if isinstance(payload, str) else payload
    (seen,) = read(TOPIC, body, reading, NOW, **settings)
    return seen


def refusal(payload: bytes | str, reading: PayloadReading = FLAT, **settings) -> BadPayload:
    body = payload.encode() if isinstance(payload, str) else payload
    with pytest.raises(BadPayload) as caught:
        read(TOPIC, body, reading, NOW, **settings)
    return caught.value


# ---------------------------------------------------------------- numbers and what is missing


@pytest.mark.parametrize(
    ("written", "value_c"),
    [
        ("21.5", 21.5),
        ("21", 21.0),
        ("-3.25", -3.25),
        ("2.15e1", 21.5),
        ('"21.5"', 21.5),
        ('" 21,5 "', 21.5),
        ('"-0,5"', -0.5),
        ('"\u22124.5"', -4.5),  # a typographic minus
        ('"+21.50"', 21.5),
        ('".5"', 0.5),
        ('"21."', 21.0),
        ('"21.5 °C"', 21.5),
        ('"70,7 °F"', 21.5),
        ('"294.65 K"', 21.5),
        ('"21.5Cel"', 21.5),
        ("-40", -40.0),
        ("85", 85.0),
    ],
)
def test_a_number_is_read_as_devices_write_it(written, value_c):
    assert one(f'{{"t":{written},"h":45}}').temperature_c == pytest.approx(value_c, abs=1e-6)


@pytest.mark.parametrize(
    "written",
    [
        "null",
        '""',
        '"  "',
        '"NaN"',
        '"nan"',
        '"unavailable"',
        '"Unknown"',
        '"None"',
        '"-"',
        "nan",
        "NaN",
        "-nan",
    ],
)
def test_a_missing_value_costs_only_itself(written):
    seen = one(f'{{"h":{written},"t":21.5}}')
    assert (seen.temperature_c, seen.rh_pct) == (21.5, None)


def test_a_field_that_is_not_there_is_a_missing_value():
    assert one('{"h":45.5,"other":[1,2]}').rh_pct == 45.5


def test_nothing_left_is_refused_with_a_reason():
    error = refusal('{"t":null,"h":"unavailable"}')
    assert str(error) == "shop/bench-2/climate: temperature_c and rh_pct are both missing, got 'unavailable'"


def test_a_battery_alone_is_an_observation_without_air():
    assert one('{"b":87}') == Observed("", NOW, None, None, 87.0, "arrival")


@pytest.mark.parametrize("written", ["255", "-1", '"low"', "null", "[]", "true", "2e9"])
def test_a_battery_that_makes_no_sense_never_costs_a_reading(written):
    seen = one(f'{{"t":21.5,"h":45,"b":{written}}}')
    assert (seen.temperature_c, seen.battery_pct) == (21.5, None)


@pytest.mark.parametrize(
    "written",
    [
        "true",
        "[21]",
        '{"v":21}',
        '"1.234,5"',
        '"1,234.5"',
        '"12:30"',
        '"abc"',
        '"0x15"',
        '"1_0"',
        '"21-22"',
        '"Infinity"',
    ],
)
def test_what_is_no_number_is_refused(written):
    assert refusal(f'{{"t":{written},"h":45}}').field == "temperature_c"


# ---------------------------------------------------------------- what air cannot be


@pytest.mark.parametrize("rh", [101, 255, -1, 0, 0.45, 100.01, 140.2])
def test_impossible_humidity_is_refused(rh):
    assert refusal(f'{{"t":21.5,"h":{rh}}}').field == "rh_pct"


def test_the_refusal_is_one_clear_sentence():
    assert (
        str(refusal('{"t":21.5,"h":140.2}')) == "shop/bench-2/climate: rh_pct must lie in 0..100, got 140.2"
    )


@pytest.mark.parametrize("t", [-40.1, 85.1, 125, -127, 300])
def test_impossible_temperature_is_refused(t):
    assert refusal(f'{{"t":{t},"h":45}}').field == "temperature_c"


def test_a_message_in_fahrenheit_read_as_celsius_is_refused_rather_than_guessed():
    assert refusal('{"t":98.6,"h":45}').got == 98.6


# ---------------------------------------------------------------- units


@pytest.mark.parametrize(
    ("unit", "value"),
    [
        ("C", 21.0),
        ("°C", 21.0),
        ("celsius", 21.0),
        ("Cel", 21.0),
        ("CEL", 21.0),
        ("degrees_celsius", 21.0),
        ("℃", 21.0),
        ("F", 69.8),
        ("°F", 69.8),
        ("[degF]", 69.8),
        ("Fahrenheit", 69.8),
        ("FAH", 69.8),
        ("K", 294.15),
        ("kelvin", 294.15),
    ],
)
def test_the_messages_own_unit_field_decides(unit, value):
    reading = PayloadReading(shape="json", temperature="/t", temperature_unit_at="/u")
    seen = one(f'{{"t":{value},"u":"{unit}"}}', reading, temperature_unit="F")
    assert seen.temperature_c == pytest.approx(21.0, abs=1e-6)


def test_without_a_unit_field_the_sensors_setting_decides():
    assert one('{"t":70,"h":45}', temperature_unit="F").temperature_c == pytest.approx(21.111111, abs=1e-6)
    assert one('{"t":294.15,"h":45}', temperature_unit="K").temperature_c == pytest.approx(21.0)


def test_a_unit_fixed_by_the_reading_goes_before_the_setting():
    reading = PayloadReading(shape="json", temperature="/temp_c", temperature_unit="C")
    assert one('{"temp_c":21.5}', reading, temperature_unit="F").temperature_c == 21.5


def test_a_unit_behind_the_number_goes_before_everything():
    reading = PayloadReading(shape="json", temperature="/t", temperature_unit="K", temperature_unit_at="/u")
    assert one('{"t":"70.7 °F","u":"C"}', reading).temperature_c == pytest.approx(21.5)


def test_an_unknown_unit_is_refused():
    reading = PayloadReading(shape="json", temperature="/t", temperature_unit_at="/u")
    assert str(refusal('{"t":21,"u":"hPa"}', reading)).endswith(
        "temperature_c must be in °C, °F or K, got 'hPa'"
    )


def test_humidity_as_a_ratio():
    ratio = PayloadReading(shape="json", rh="/h", rh_unit="ratio")
    assert one('{"h":0.452}', ratio).rh_pct == pytest.approx(45.2)
    by_field = PayloadReading(shape="json", rh="/h", rh_unit_at="/u")
    assert one('{"h":0.452,"u":"/"}', by_field).rh_pct == pytest.approx(45.2)
    assert one('{"h":45.2,"u":"%RH"}', by_field).rh_pct == 45.2
    assert refusal('{"h":45.2}', ratio).got == pytest.approx(4520.0)


# ---------------------------------------------------------------- pointers, several sensors


def test_quantities_at_any_depth():
    reading = PayloadReading(shape="json", temperature="/a~1b/0/m~0n/t", rh="/a~1b/1")
    seen = one('{"a/b":[{"m~n":{"t":21.5}},45]}', reading)
    assert (seen.temperature_c, seen.rh_pct) == (21.5, 45.0)


def test_a_list_of_sensors_with_their_names():
    reading = PayloadReading(
        shape="json", each="/sensors", part_at="/id", temperature="/t", rh="/h", shared_time="/ts"
    )
    body = (
        '{"ts":1718000000,"sensors":[{"id":"rack","t":20,"h":50},{"id":7,"t":22,"h":40},{"id":"x","p":1013}]}'
    )
    seen = read(TOPIC, body.encode(), reading, NOW)
    assert [(s.part, s.temperature_c, s.clock) for s in seen] == [
        ("rack", 20.0, "device"),
        ("7", 22.0, "device"),
    ]


def test_an_object_of_sensors_named_by_their_keys():
    reading = PayloadReading(shape="json", each="", part_at="key", temperature="/t", rh="/h")
    seen = read(TOPIC, b'{"rack":{"t":20,"h":50},"bench":{"t":22,"h":40},"uptime":12}', reading, NOW)
    assert [(s.part, s.rh_pct) for s in seen] == [("rack", 50.0), ("bench", 40.0)]


def test_one_bad_sensor_does_not_cost_the_others():
    reading = PayloadReading(shape="json", each="/s", part_at="/id", temperature="/t", rh="/h")
    body = '{"s":[{"id":"a","t":20,"h":50},{"id":"b","t":22,"h":255},{"id":"c","t":null,"h":null}]}'
    error = refusal(body, reading)
    assert error.got == 255.0
    assert [s.part for s in error.readings] == ["a"]


def test_a_late_batch_of_one_sensor():
    reading = PayloadReading(shape="json", each="/log", temperature="/t", time="/ts")
    seen = read(TOPIC, b'{"log":[{"ts":1717990000,"t":20},{"ts":1717993600,"t":20.5}]}', reading, NOW)
    assert [(s.temperature_c, s.clock) for s in seen] == [(20.0, "device"), (20.5, "device")]


def test_two_values_for_one_instant_are_refused():
    reading = PayloadReading(shape="json", each="/log", temperature="/t", time="/ts")
    error = refusal('{"log":[{"ts":0,"t":20},{"ts":0,"t":20.5},{"ts":1718000000,"t":21}]}', reading)
    assert "one value for one instant" in str(error)
    assert [s.temperature_c for s in error.readings] == [21.0]


def test_values_named_one_by_one():
    reading = PayloadReading(
        shape="json",
        each="/values",
        name_at="/type",
        value_at="/value",
        unit_at="/unit",
        temperature_names=("temp",),
        rh_names=("hum",),
        battery_names=("bat",),
    )
    body = """{"values":[{"type":"temp","value":"70,7","unit":"F"},{"type":"dew","value":9},
              {"type":"hum","value":0.45,"unit":"ratio"},{"type":"bat","value":90}]}"""
    assert one(body, reading) == Observed("", NOW, 21.5, 45.0, 90.0, "arrival")


@pytest.mark.parametrize(
    "body", ["[]", "{}", "null", '"text"', "12", '{"s":5}', '{"s":null}', '{"s":[]}', '{"s":[1,null]}']
)
def test_a_list_that_is_not_there_is_refused(body):
    reading = PayloadReading(shape="json", each="/s", part_at="/id", temperature="/t")
    assert refusal(body, reading).readings == ()


# ---------------------------------------------------------------- bare numbers


@pytest.mark.parametrize(
    ("body", "value_c"),
    [
        (b"21.5", 21.5),
        (b" 21,5\r\n", 21.5),
        (b'"21.5"', 21.5),
        (b"21.5\x00", 21.5),
        (b"\xef\xbb\xbf21.5", 21.5),
        ("21.5 °C".encode(), 21.5),
        ("70.7°F".encode(), 21.5),
        (b"-4", -4.0),
    ],
)
def test_a_bare_number(body, value_c):
    seen = one(body, PayloadReading(shape="number", quantity="temperature", part=""))
    assert (seen.temperature_c, seen.rh_pct) == (pytest.approx(value_c), None)


def test_a_bare_humidity_and_a_bare_battery():
    assert one("45.5 %", PayloadReading(shape="number", quantity="rh")).rh_pct == 45.5
    assert one("0.455", PayloadReading(shape="number", quantity="rh", rh_unit="ratio")).rh_pct == 45.5
    assert one("87", PayloadReading(shape="number", quantity="battery")).battery_pct == 87.0


@pytest.mark.parametrize(
    "body", [b"", b"nan", b"unavailable", b"ON", b"\xff", b"{}", b"1" * 5000, b"1e400", b"140"]
)
def test_a_bare_something_else_is_refused(body):
    assert refusal(body, PayloadReading(shape="number", quantity="rh")).topic == TOPIC


# ---------------------------------------------------------------- presence


@pytest.mark.parametrize(
    ("body", "presence"),
    [
        (b"online", "online"),
        (b"Offline", "offline"),
        (b'"online"', "online"),
        (b'{"state":"offline"}', "offline"),
        (b"true", "online"),
        (b"lost", "offline"),
        (b"ready", "online"),
        (b"0", "offline"),
    ],
)
def test_presence(body, presence):
    assert read_presence(TOPIC, body, PayloadReading(shape="presence")) == Presence("", presence)


def test_presence_by_a_pointer():
    reading = PayloadReading(shape="presence", state_at="/link/up")
    assert read_presence(TOPIC, b'{"link":{"up":"Lost"}}', reading).presence == "offline"


@pytest.mark.parametrize("body", [b"", b"perhaps", b"{", b'{"state":3}', b"\xff", b"x" * 10_000])
def test_presence_that_is_none_is_refused(body):
    with pytest.raises(BadPayload):
        read_presence(TOPIC, body, PayloadReading(shape="presence"))


def test_presence_holds_no_reading():
    assert "holds no reading" in str(refusal("online", PayloadReading(shape="presence")))


@pytest.mark.parametrize("rh", [100.1, 101, 104.5, 110])
def test_a_wet_sensor_keeps_its_temperature_and_loses_only_the_humidity(rh):
    body = b'{"t": 6.5, "h": %s}' % str(rh).encode()
    with pytest.raises(BadPayload, match="above 100 % is a wet sensor's; its temperature is kept") as refused:
        read("shop/bench", body, PayloadReading(shape="json", temperature="/t", rh="/h"), NOW)
    assert [(one.temperature_c, one.rh_pct) for one in refused.value.readings] == [(6.5, None)]
    several = PayloadReading(shape="json", each="/all", part_at="/id", temperature="/t", rh="/h")
    listed = b'{"all": [{"id": "a", "t": 6.5, "h": %s}, {"id": "b", "t": 7, "h": 90}]}' % str(rh).encode()
    with pytest.raises(BadPayload) as refused:
        read("shop/bench", listed, several, NOW)
    assert [(one.part, one.temperature_c, one.rh_pct) for one in refused.value.readings] == [
        ("a", 6.5, None),
        ("b", 7.0, 90.0),
    ]


@pytest.mark.parametrize("rh", [110.1, 127, 255, -1, 0])
def test_a_dead_element_spoils_both(rh):
    with pytest.raises(BadPayload) as refused:
        read(
            "shop/bench",
            b'{"t": 6.5, "h": %s}' % str(rh).encode(),
            PayloadReading(shape="json", temperature="/t", rh="/h"),
            NOW,
        )
    assert refused.value.readings == ()
