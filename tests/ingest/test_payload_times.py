"""When a reading was measured: device times in every form, clocks that lie, doubled hours."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from ingest.payload.decode import read
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import Observed, PayloadReading
from ingest.recognise.proposal import propose

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


@pytest.mark.parametrize(
    "written",
    [
        "1718000000",
        "1718000000.0",
        "1718000000000",
        "1718000000000000",
        "1718000000000000000",
        '"1718000000"',
        '"1718000000000"',
        '"2024-06-10T06:13:20Z"',
        '"2024-06-10T06:13:20+00:00"',
        '"2024-06-10T08:13:20+02:00"',
        '"2024-06-10 06:13:20z"',
        '"2024-06-10T06:13:20.000Z"',
        '"2024-06-10T06:13:20,000000Z"',
        '"20240610T061320Z"',
        '"2024-06-10T06:13:20"',
        '"2024-06-10t06:13:20z"',
        '"2024-06-10T00:13:20-0600"',
    ],
)
def test_device_time_in_every_form(written):
    seen = one(f'{{"t":21.5,"ts":{written}}}')
    # RFC 8428's example epoch: 1718000000 is 2024-06-10T06:13:20Z (POSIX seconds).
    assert (seen.observed_at, seen.clock) == (datetime(2024, 6, 10, 6, 13, 20, tzinfo=UTC), "device")


def test_milliseconds_are_kept():
    assert one('{"t":21.5,"ts":1718000000123}').observed_at.microsecond == 123_000


@pytest.mark.parametrize(
    "written",
    [
        "0",
        "12345",
        "4102444800",
        "-1",
        "1e300",
        '"1970-01-01T00:00:00Z"',
        '"2100-01-01T00:00:00Z"',
        '"yesterday"',
        '"2024-06-10"',
        '"06:13:20"',
        "null",
        "true",
        "[]",
        '""',
        '"9999-12-31T23:59:59-14:00"',
        '"2024-13-40T99:99:99Z"',
        "99999999999999999999",
        '"0001-01-01T00:00:00+14:00"',
    ],
)
def test_a_clock_that_makes_no_sense_leaves_the_arrival(written):
    seen = one(f'{{"t":21.5,"ts":{written}}}')
    assert (seen.observed_at, seen.clock) == (NOW, "arrival")


@pytest.mark.parametrize(
    ("off", "clock"),
    [
        (timedelta(minutes=10), "device"),
        (timedelta(minutes=10, seconds=1), "arrival"),
        (-timedelta(days=400), "device"),
        (-timedelta(days=400, seconds=1), "arrival"),
    ],
)
def test_the_window_in_which_a_devices_time_is_believed(off, clock):
    assert one(f'{{"t":21.5,"ts":"{(NOW + off).isoformat()}"}}').clock == clock


def test_a_time_without_offset_is_in_the_sensors_zone():
    seen = one('{"t":21.5,"ts":"2024-06-10T02:13:20"}', zone="America/New_York")
    assert seen.observed_at == datetime(2024, 6, 10, 6, 13, 20, tzinfo=UTC)


@pytest.mark.parametrize(
    ("arrival", "meant"),
    [
        # Europe/Berlin, 2024-10-27: 02:30 comes at 00:30Z and again at 01:30Z (IANA time zone data).
        (datetime(2024, 10, 27, 0, 31, tzinfo=UTC), datetime(2024, 10, 27, 0, 30, tzinfo=UTC)),
        (datetime(2024, 10, 27, 1, 31, tzinfo=UTC), datetime(2024, 10, 27, 1, 30, tzinfo=UTC)),
        (datetime(2024, 10, 29, 0, 0, tzinfo=UTC), datetime(2024, 10, 27, 1, 30, tzinfo=UTC)),
    ],
)
def test_a_doubled_hour_is_the_later_one_that_is_not_ahead_of_arrival(arrival, meant):
    (seen,) = read(TOPIC, b'{"t":21.5,"ts":"2024-10-27T02:30:00"}', FLAT, arrival, zone="Europe/Berlin")
    assert seen.observed_at == meant


def test_an_hour_that_the_clocks_skip_is_read_with_the_offset_before():
    # Europe/Berlin, 2024-03-31: 02:30 does not exist; +01:00 before the change (IANA time zone data).
    arrival = datetime(2024, 3, 31, 2, 0, tzinfo=UTC)
    (seen,) = read(TOPIC, b'{"t":21.5,"ts":"2024-03-31T02:30:00"}', FLAT, arrival, zone="Europe/Berlin")
    assert seen.observed_at == datetime(2024, 3, 31, 1, 30, tzinfo=UTC)


def test_a_retained_message_is_judged_by_its_own_time():
    assert one('{"t":21.5,"ts":1718000000}', retained=True).clock == "device"
    for body in ('{"t":21.5}', '{"t":21.5,"ts":0}'):
        assert "old news" in str(refusal(body, retained=True))


ARRIVED = datetime(2025, 6, 1, 12, 0, 30, tzinfo=UTC)
MEASURED = datetime(2025, 6, 1, 11, 55, tzinfo=UTC)


@pytest.mark.parametrize(
    "told",
    [
        "2025-06-01T11:55:00Z",
        "2025-06-01T13:55:00+02:00",
        "20250601T115500Z",
        "2025-06-01 11:55:00 UTC",
        "2025/06/01 11:55:00",
        "Sun, 01 Jun 2025 11:55:00 GMT",
        "01 Jun 2025 11:55:00 +0000",
        "1748778900",
        "1748778900.0",
        "1748778900000",
        1748778900000,
    ],
)
def test_a_time_written_as_text_is_proposed_and_read(told):
    for name in ("time", "t", "measuredAt", "lastUpdate", "when", "recorded"):
        body = json.dumps({"temperature": 20.5, "humidity": 45, name: told}).encode()
        (part,) = propose("shop/bench/air", [body]).parts
        (seen,) = read("shop/bench/air", body, part.reading, ARRIVED)
        assert (seen.observed_at, seen.clock) == (MEASURED, "device"), name


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("age", 330),
        ("age_s", "330"),
        ("secondsAgo", 330.0),
        ("age_ms", 330_000),
        ("age_minutes", 5.5),
        ("time", -330),
        ("ts", "-330"),
    ],
)
def test_a_time_told_as_a_distance_from_the_message_counts_back_from_its_arrival(name, told):
    body = json.dumps({"temperature": 20.5, "humidity": 45, name: told}).encode()
    (part,) = propose("shop/bench/air", [body]).parts
    (seen,) = read("shop/bench/air", body, part.reading, ARRIVED)
    assert (seen.observed_at, seen.clock) == (MEASURED, "arrival")
    with pytest.raises(BadPayload, match="old news"):
        read("shop/bench/air", body, part.reading, ARRIVED, retained=True)


def test_each_of_several_readings_kept_on_the_node_has_its_own_distance():
    body = (
        b'{"samples":[{"age":600,"t":20.1,"rh":44},{"age":300,"t":20.2,"rh":45},{"age":0,"t":20.3,"rh":46}]}'
    )
    (part,) = propose("shop/bench/air", [body]).parts
    seen = read("shop/bench/air", body, part.reading, ARRIVED)
    assert [(ARRIVED - one.observed_at).total_seconds() for one in seen] == [600, 300, 0]


def test_uptime_and_counters_are_no_distance():
    body = b'{"temperature":20.5,"humidity":45,"uptime":330,"ts":330,"time":-1}'
    (part,) = propose("shop/bench/air", [body]).parts
    (seen,) = read("shop/bench/air", body, part.reading, ARRIVED)
    assert (seen.observed_at, seen.clock) == (ARRIVED, "arrival")
