"""Sensor Measurement Lists: RFC 8428 (2018), checked against its rules and worked out by hand."""

import json
from datetime import UTC, datetime, timedelta

import cbor2
import pytest

from ingest.payload.decode import read
from ingest.payload.quantities import BadPayload
from ingest.payload.senml import pack_from_cbor, resolve
from ingest.payload.shapes import PayloadReading

NOW = datetime(2024, 6, 10, 6, 15, tzinfo=UTC)
JSON, CBOR = PayloadReading(shape="senml-json"), PayloadReading(shape="senml-cbor")


def seen(pack, **settings):
    return read("shop/pack", json.dumps(pack).encode(), JSON, NOW, **settings)


def test_names_and_times_are_resolved():
    # RFC 8428, section 4.6: name = bn + n, time = bt + t. 1718000000 is 2024-06-10T06:13:20Z.
    records = resolve(
        [
            {"bn": "shop1/s3/", "bt": 1718000000, "n": "temp", "u": "Cel", "v": 20.4},
            {"n": "rh", "u": "%RH", "v": 41.2},
            {"n": "rh", "u": "%RH", "t": -60, "v": 41.0},
        ],
        NOW,
    )
    assert [record.name for record in records] == ["shop1/s3/temp", "shop1/s3/rh", "shop1/s3/rh"]
    assert records[0].at == datetime(2024, 6, 10, 6, 13, 20, tzinfo=UTC)
    assert records[2].at == datetime.fromtimestamp(1717999940, UTC)


def test_a_small_time_is_relative_to_now():
    # RFC 8428, section 4.5.3: below 2^28 relative to now; -5 at 1718000000 is 1717999995.
    now = datetime.fromtimestamp(1718000000, UTC)
    (record,) = resolve([{"n": "a", "v": 1, "bt": 0, "t": -5}], now)
    assert (record.at, record.relative) == (datetime.fromtimestamp(1717999995, UTC), True)
    (record,) = resolve([{"n": "a", "v": 1, "t": 2**28}], now)
    assert not record.relative


def test_base_values_are_added_and_base_units_yield_to_units():
    records = resolve(
        [{"bn": "d/", "bu": "Cel", "bv": 20, "n": "a", "v": 0.5}, {"n": "b", "u": "K", "v": 1}], NOW
    )
    assert [(record.unit, record.value) for record in records] == [("Cel", 20.5), ("K", 21.0)]


@pytest.mark.parametrize(
    "pack",
    [
        {"n": "a", "v": 1},
        [],
        [1],
        [{"n": "a", "v": 1, "bver": 11}],
        [{"n": "a", "v": 1, "bver": 10.0}],
        [{"n": "a", "v": 1, "must_": 1}],  # section 4.4: a field that must be understood
        [{"n": "", "v": 1}],
        [{"n": "-a", "v": 1}],  # section 4.5.1: begins with a letter or digit
        [{"n": "a b", "v": 1}],
        [{"n": "à", "v": 1}],
        [{"n": 5, "v": 1}],
        [{"n": "a", "v": "1"}],
        [{"n": "a", "v": True}],
        [{"n": "a", "v": 1, "t": "now"}],
        [{"n": "a", "v": 1, "bt": None}],
        [{"n": "a", "u": 5, "v": 1}],
    ],
)
def test_a_pack_that_breaks_the_standard_is_refused(pack):
    with pytest.raises(BadPayload):
        seen(pack)


def test_an_unknown_field_is_ignored():
    assert seen([{"n": "rack/temp", "u": "Cel", "v": 20, "colour": "red"}])[0].temperature_c == 20.0


def test_the_two_quantities_of_one_device_come_together():
    (one,) = seen([{"bn": "rack/", "n": "temp", "u": "Cel", "v": 20}, {"n": "rh", "u": "%RH", "v": 45}])
    assert (one.part, one.temperature_c, one.rh_pct, one.clock) == ("rack", 20.0, 45.0, "arrival")


def test_units_come_from_the_pack():
    pack = [{"bn": "rack/", "n": "temp", "u": "K", "v": 294.65}, {"n": "humidity", "u": "/", "v": 0.452}]
    (one,) = seen(pack, temperature_unit="F")
    assert (one.temperature_c, one.rh_pct) == (pytest.approx(21.5), pytest.approx(45.2))


def test_a_temperature_without_unit_takes_the_sensors_setting():
    (one,) = seen([{"n": "rack/temp", "v": 70.7}], temperature_unit="F")
    assert one.temperature_c == pytest.approx(21.5)


def test_names_can_be_fixed_by_the_reading():
    reading = PayloadReading(shape="senml-json", temperature_names=("5700",), rh_names=("5701",))
    body = json.dumps(
        [{"bn": "d/", "n": "5700", "u": "Cel", "v": 20}, {"n": "x", "u": "Cel", "v": 99}]
    ).encode()
    (one,) = read("t", body, reading, NOW)
    assert one.temperature_c == 20.0


def test_look_alikes_in_a_pack_are_not_taken():
    pack = [{"bn": "rack/", "n": "temp", "u": "Cel", "v": 20}, {"n": "dewpoint", "u": "Cel", "v": 9}]
    assert [one.temperature_c for one in seen(pack)] == [20.0]


def test_one_bad_record_does_not_cost_the_others():
    with pytest.raises(BadPayload) as caught:
        seen([{"n": "a/rh", "u": "%RH", "v": 255}, {"n": "b/rh", "u": "%RH", "v": 45}])
    assert [one.part for one in caught.value.readings] == ["b"]


def test_a_relative_time_in_a_retained_message_says_nothing():
    with pytest.raises(BadPayload, match="old news"):
        seen([{"n": "rack/temp", "u": "Cel", "v": 20, "t": -60}], retained=True)
    assert (
        seen([{"n": "rack/temp", "u": "Cel", "v": 20, "t": 1718000000}], retained=True)[0].clock == "device"
    )


@pytest.mark.parametrize("seconds", [1e300, -1e300, 4102444800, 3e8, 2**28 - 1])
def test_a_time_that_makes_no_sense_leaves_the_arrival(seconds):
    (one,) = seen([{"n": "rack/temp", "u": "Cel", "v": 20, "t": seconds}])
    assert (one.observed_at, one.clock) == (NOW, "arrival")


def test_cbor_labels():
    # RFC 8428, section 6, table 4.
    pack = [{-2: "rack/", -3: 1718000000, 0: "temp", 1: "Cel", 2: 20.4}, {0: "rh", 1: "%RH", 2: 41.2, 6: -60}]
    found = read("t", cbor2.dumps(pack), CBOR, NOW)
    assert [(one.temperature_c, one.rh_pct) for one in found] == [(20.4, None), (None, 41.2)]
    assert found[0].observed_at - found[1].observed_at == timedelta(seconds=60)


def test_cbor_decimal_fractions_and_the_tag_that_says_cbor():
    body = cbor2.dumps([{0: "rack/temp", 1: "Cel", 2: cbor2.CBORTag(4, [-1, 205])}])
    assert read("t", body, CBOR, NOW)[0].temperature_c == 20.5
    assert read("t", b"\xd9\xd9\xf7" + body, CBOR, NOW)[0].temperature_c == 20.5


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\xff",
        b"\x81" * 100_000,
        b"\x9f" * 1_000,
        bytes.fromhex("9b0000007fffffffff"),  # an array that says it has 2^39 items
        bytes.fromhex("5b0000007fffffffff"),
        bytes.fromhex("bbffffffffffffffff"),
        b"\xc2\x59\x10\x00" + b"\xff" * 4096,  # an integer of 32,768 bits
        bytes.fromhex("81c4821b7fffffffffffffff01"),  # 1e9223372036854775807
        bytes.fromhex("81c5821a7fffffff01"),
        bytes.fromhex("d81c81d81d00"),  # a list that holds itself
        b"\x81\xd8\x23\x68(a+)+$bb",  # a regular expression
        bytes.fromhex("81d90100a0"),  # string references
        bytes.fromhex("81a2006161006162"),  # one label twice
        bytes.fromhex("81a20061ff0201"),  # a name that is not UTF-8
        cbor2.dumps({"n": "a"}),
        cbor2.dumps([{0: "a", 2: 2**70}]),
        cbor2.dumps([{0: "a", 2: float("inf")}]),
    ],
)
def test_hostile_cbor_is_refused(body):
    with pytest.raises(BadPayload) as caught:
        resolve(pack_from_cbor(body), NOW)
    assert len(str(caught.value)) < 300


def test_a_value_that_is_no_number_is_missing():
    with pytest.raises(BadPayload, match="missing"):
        read("t", cbor2.dumps([{0: "rack/temp", 1: "Cel", 2: float("nan")}]), CBOR, NOW)
