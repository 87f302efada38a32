"""What a payload's description may be, and bodies as small firmware writes them."""

from datetime import UTC, datetime

import pytest

from ingest.payload.bodies import LARGEST
from ingest.payload.decode import read, reader
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


# ---------------------------------------------------------------- the description itself


def test_a_reading_survives_its_document():
    reading = PayloadReading(
        shape="json",
        each="/values",
        name_at="/type",
        value_at="/v",
        temperature_names=("temp", "t2"),
        rh_unit="ratio",
    )
    document = reading.to_document()
    assert PayloadReading.from_document(document) == reading
    assert "time" not in document  # what is default is not written


@pytest.mark.parametrize(
    "document",
    [
        {"shape": "xml"},
        {"shape": "json"},
        {"shape": "json", "temperature": "t"},
        {"shape": "json", "temperature": "/~2"},
        {"shape": "json", "temperature": 3},
        {"shape": "json", "temperature": "/t", "colour": "red"},
        {"shape": "json", "temperature": "/t", "temperature_unit": "R"},
        {"shape": "json", "each": "/l", "name_at": "/n"},
        {"shape": "number"},
        {},
    ],
)
def test_a_document_that_describes_nothing_is_refused(document):
    with pytest.raises(ValueError, match=r"\S"):
        PayloadReading.from_document(document)


@pytest.mark.parametrize(
    "settings", [{"zone": "Mars/Olympus"}, {"zone": "../../etc"}, {"temperature_unit": "R"}]
)
def test_a_setting_that_is_none_is_refused(settings):
    with pytest.raises(ValueError, match="must be"):
        read(TOPIC, b"{}", FLAT, NOW, **settings)


def test_a_compiled_reading_is_kept():
    assert reader(FLAT) is reader(PayloadReading.from_document(FLAT.to_document()))


# ---------------------------------------------------------------- bodies


@pytest.mark.parametrize(
    "body", [b'\xef\xbb\xbf{"t":21.5}', b'{"t":21.5}\x00', b'\n{"t":21.5}\r\n\x00\x00', b'{"t":21.5,"h":nan}']
)
def test_habits_of_small_firmware_are_understood(body):
    assert one(body).temperature_c == 21.5


def test_a_name_that_stands_twice_is_refused():
    assert refusal('{"t":21.5,"t":22.5}').field == "t"
    assert refusal('{"t":21.5,"\\u0074":22.5}').field == "t"
    assert one('{"t":21.5,"x":1,"x":2}').temperature_c == 21.5  # not in use: nothing hangs on it
    assert one('{"t":21.5,"x":{"t":3}}').temperature_c == 21.5  # twice, but not in one object


def test_a_body_above_the_limit_is_not_looked_into():
    error = refusal(b'{"t":21.5,"pad":"' + b"x" * LARGEST + b'"}')
    assert "must have at most 262144 bytes" in str(error)


def test_a_topic_cannot_forge_a_line_of_the_log():
    with pytest.raises(BadPayload) as caught:
        read("a\nERROR b\x1b[31m", b'{"t":"\\u001b[2J\\nx"}', FLAT, NOW)
    assert str(caught.value).isprintable()
