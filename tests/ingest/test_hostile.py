"""Messages that mean harm, or come from broken firmware, mixed with good ones: nothing good is lost."""

import json
import random
import string
import tracemalloc
from datetime import UTC, datetime

import cbor2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.payload.decode import read
from ingest.payload.presence import read_presence
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import PayloadReading
from ingest.recognise.proposal import propose

NOW = datetime(2024, 6, 10, 6, 15, tzinfo=UTC)
FLAT = PayloadReading(
    shape="json", temperature="/t", rh="/h", time="/ts", battery="/b", temperature_unit_at="/u"
)
READINGS = [
    FLAT,
    PayloadReading(shape="json", temperature="/a/b/0/t", rh="/a/b/1", time="/x~1y"),
    PayloadReading(
        shape="json", each="/s", part_at="/id", temperature="/t", rh="/h", time="/ts", shared_time="/ts"
    ),
    PayloadReading(shape="json", each="", part_at="key", temperature="/t", rh="/h"),
    PayloadReading(
        shape="json", each="/s", name_at="/n", value_at="/v", unit_at="/u", temperature_names=("t",)
    ),
    PayloadReading(shape="number", quantity="temperature"),
    PayloadReading(shape="number", quantity="rh", rh_unit="ratio"),
    PayloadReading(shape="number", quantity="battery"),
    PayloadReading(shape="senml-json"),
    PayloadReading(shape="senml-cbor"),
]
PROBE = b'{"t":21.5,"h":45.5,"ts":1718000000}'


def corpus() -> list[bytes]:
    """Bodies of our own making, more than a hundred; none of them is a reading under FLAT."""
    deep = 100_000
    injections = [
        "'; DROP TABLE reading; --",
        '" OR 1=1',
        "<script>alert(1)</script>",
        "../../etc/passwd",
        "%s%s%s%n",
        "{{7*7}}",
        "${jndi:ldap://x}",
        "\x1b[2J\x1b[31m",
        "a\r\nERROR forged line",
        "\u202egnp.exe",
        "\ud7ff",
        "=cmd|'/C calc'!A0",
        "`reboot`",
        "$(reboot)",
        "\x00",
        "NULL\x00",
        "🌡️",
        "٢١",
        "²¹",
        "½",
        "1__0",
        "0x1F",
        "0b11",
        "１２",
        "1e999",
        "1.2.3",
        "--5",
        "+-5",
        "1e",
        "e5",
        ".",
        ",",
        "1,2,3",
        "1 2",
        "Infinity",
        "-inf",
        "1e+",
        "21C F",
        "21 °R",
        "21 hPa",
        "1/3",
        "9" * 5_000,
        "1" + "0" * 400,
        "0." + "0" * 5_000 + "1",
        "t" * 100_000,
    ]
    bodies = [
        b"",
        b" ",
        b"\x00",
        b"\x00" * 1_000,
        b"\n",
        b"{",
        b"}",
        b"[",
        b"]",
        b"{}",
        b"[]",
        b"null",
        b"true",
        b"12",
        b'"t"',
        b"nan",
        b"\xff",
        b"\xff\xfe{\x00}\x00",
        b"\xfe\xff\x00{\x00}",
        b"\xef\xbb\xbf",
        b"\xef\xbb\xbf\xef\xbb\xbf{}",
        b"\xc3\x28",
        b"\xed\xa0\x80",
        b"[" * deep,
        b"{" * deep,
        b'{"t":' * deep,
        b'{"t":' * deep + b"1" + b"}" * deep,
        b"[" * deep + b"]" * deep,
        b"\x81" * deep,
        b'{"t":' + b"9" * 5_000 + b"}",
        b'{"t":-' + b"9" * 5_000 + b"}",
        b'{"t":1e400}',
        b'{"t":-1e400}',
        b'{"t":0.' + b"1" * 300_000 + b"}",
        b'{"x":' + b"1" * 5_000 + b',"t":21.5}',
        b'{"t":NaN,"h":NaN}',
        b'{"t":Infinity}',
        b'{"t":21.5,"t":99}',
        b'{"t":21.5,"h":45,"h":46}',
        b'{"t":21.5,"ts":1,"ts":1718000000}',
        b'{"t":21.5,"\\u0074":22}',
        b'{"t":{"t":{"t":1}}}',
        b'{"t":[21.5]}',
        b'{"t":true}',
        b'{"h":false}',
        b'{"t":"\\ud800"}',
        b'{"t":"\\u0000"}',
        b"{'t':21.5}",
        b'{"t":21.5',
        b'{"t":21.5,}',
        b'{"t":21.5}}',
        b'{"t":21.5}{"t":22}',
        b'{"t":021}',
        b'{"t":+21}',
        b'{"t":.5}',
        b'{"t":21,5}',
        b'{"t":21.5}/*',
        b"//{}",
        b"<t>21.5</t>",
        b"t=21.5&h=45",
        b"t,h\n21.5,45",
        b"21.5;45.5",
        b"\x80\x04\x95\x00.",
        b"\x1f\x8b\x08\x00",
        b"x" * 1_000_000,
        b'{"t":21.5,"x":"' + b"x" * 1_000_000 + b'"}',
        b"[" + b"0," * 400_000 + b"0]",
        b'{"t":"' + b"9" * 200_000 + b'"}',
        json.dumps({f"k{i}": i for i in range(20_000)}).encode(),
        b'{"t":"21.5","h":"101"}',
        b'{"t":21.5,"h":255}',
        b'{"t":21.5,"h":-1}',
        b'{"t":-127,"h":45}',
        b'{"t":85.1,"h":45}',
        b'{"t":0,"h":0}',
        b'{"t":21.5,"u":"R"}',
        b'{"t":21.5,"u":5}',
        b'{"t":21.5,"u":{}}',
    ]
    bodies += [json.dumps({"t": text, "h": 45}).encode() for text in injections]
    bodies += [json.dumps({"t": 21.5, "u": text}).encode() for text in injections[:10]]
    return bodies


CORPUS = corpus()


def test_the_corpus_is_large_enough():
    assert len(set(CORPUS)) >= 100


@pytest.mark.parametrize("body", CORPUS, ids=lambda body: repr(body[:24]))
def test_every_hostile_body_is_refused_with_a_short_printable_reason(body):
    with pytest.raises(BadPayload) as caught:
        read("shop/bench", body, FLAT, NOW)
    reason = str(caught.value)
    assert reason.startswith("shop/bench: ")
    assert reason.isprintable()
    assert len(reason) < 400


@pytest.mark.parametrize("reading", READINGS, ids=lambda reading: reading.shape + (reading.each or ""))
def test_no_body_raises_anything_else_in_any_shape(reading):
    for body in CORPUS:
        try:
            found = read("shop/bench", body, reading, NOW)
        except BadPayload as error:
            found = list(error.readings)
        for one in found:
            assert one.temperature_c is None or -40 <= one.temperature_c <= 85
            assert one.rh_pct is None or 1 <= one.rh_pct <= 100


def test_presence_and_recognition_stand_the_corpus_too():
    for body in CORPUS:
        propose("shop/bench/temperature", [body])
        propose("shop/bench", [body, PROBE])
        try:
            said = read_presence("shop/bench/status", body, PayloadReading(shape="presence"))
        except BadPayload:
            continue
        assert said.presence in {"online", "offline"}


def test_good_probes_between_hostile_bodies_are_all_read():
    probes = 0
    for body in random.Random(7).sample(CORPUS, len(CORPUS)):
        with pytest.raises(BadPayload):
            read("shop/bench", body, FLAT, NOW)
        (one,) = read("shop/bench", PROBE, FLAT, NOW)
        probes += (one.temperature_c, one.rh_pct, one.clock) == (21.5, 45.5, "device")
    assert probes == len(CORPUS)


@pytest.mark.parametrize(
    "ts", ["0", "-1", "4102444800", '"1970-01-01T00:00:00Z"', '"2100-06-01T12:00:00Z"', "1e308"]
)
def test_clocks_in_1970_and_2100_leave_the_arrival(ts):
    (one,) = read("shop/bench", b'{"t":21.5,"ts":' + ts.encode() + b"}", FLAT, NOW)
    assert (one.observed_at, one.clock) == (NOW, "arrival")


def test_memory_stays_bounded():
    large = [body for body in CORPUS if len(body) > 50_000]
    tracemalloc.start()
    try:
        for body in large * 3:
            with pytest.raises(BadPayload):
                read("shop/bench", body, FLAT, NOW)
        kept, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    # A body of 256 KiB may become some MB of small objects, once; nothing of it stays.
    assert peak < 64 * 2**20
    assert kept < 2 * 2**20


def test_more_items_than_a_message_may_hold_are_refused():
    reading = PayloadReading(shape="json", each="", part_at="/i", temperature="/t")
    body = json.dumps([{"t": 20}] * 5_001).encode()
    with pytest.raises(BadPayload, match="at most 5000 items"):
        read("shop/bench", body, reading, NOW)


# ---------------------------------------------------------------- fuzzed, briefly; longer in tests/bench

SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.text(max_size=20),
    st.sampled_from(
        ["21,5", "NaN", "unavailable", "°F", "K", "%", "ratio", "2024-06-10T06:13:20Z", 1718000000123]
    ),
)
NAMES = st.one_of(
    st.sampled_from(["t", "h", "ts", "u", "s", "id", "n", "v", "bn", "bt", "a", "temperature", "humidity"]),
    st.text(max_size=5),
)
DOCUMENTS = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(NAMES, inner, max_size=5)),
    max_leaves=20,
)


def survives(body: bytes, reading: PayloadReading, retained: bool, unit: str, zone: str) -> bool:
    """Whether a body is read or refused as it should be; what is wrong with it is asserted here."""
    reason = ""
    try:
        found = read("shop/bench", body, reading, NOW, retained=retained, temperature_unit=unit, zone=zone)
    except BadPayload as error:
        reason, found = str(error), list(error.readings)
    assert reason.isprintable()
    keys = [(one.part, one.observed_at) for one in found]
    assert len(set(keys)) == len(keys)
    for one in found:
        assert one.observed_at.tzinfo is not None
        assert one.temperature_c is None or -40 <= one.temperature_c <= 85
        assert one.rh_pct is None or 1 <= one.rh_pct <= 100
        assert not (retained and one.clock == "arrival")
    return bool(found) or bool(reason)


FUZZ = settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
ZONES = st.sampled_from(["UTC", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe"])


@pytest.mark.slow
@FUZZ
@given(DOCUMENTS, st.sampled_from(READINGS), st.booleans(), st.sampled_from("CFK"), ZONES)
def test_fuzzed_documents(document, reading, retained, unit, zone):
    body = cbor2.dumps(document) if reading.shape == "senml-cbor" else json.dumps(document).encode()
    assert survives(body, reading, retained, unit, zone)
    propose("shop/bench/temperature", [body])


@FUZZ
@given(st.binary(max_size=200), st.sampled_from(READINGS), st.booleans())
def test_fuzzed_bytes(body, reading, retained):
    assert survives(body, reading, retained, "C", "UTC")
    propose("shop/bench", [body])


@FUZZ
@given(st.text(alphabet=string.digits + '.,-+eE"°CFK %nau{}[]:tTZ', max_size=30), st.sampled_from(READINGS))
def test_fuzzed_numbers_and_times(text, reading):
    assert survives(text.encode(), reading, False, "C", "UTC")
    assert survives(
        json.dumps({"t": text, "h": text, "ts": text}).encode(), FLAT, False, "C", "Europe/Berlin"
    )
