"""The Sensors page says what is typed into a sensor, or why none can reach the broker yet."""

import re

from dashboard.shell.app import build_app
from dashboard.shell.ports import BrokerAddress, SensorDoor

OPEN = BrokerAddress(
    ("192.168.1.20", "10.0.0.7"), 1883, "sensors", "walnut-42", ("Any topic will do.",), "Heard 41 messages."
)
CLOSED = BrokerAddress((), 1883, "", "", ("This computer only: `paneltide open-broker` opens it.",), "")


def page(store, now, address):
    door = SensorDoor(list, None, None, None, 500, broker=lambda: address)
    return (
        build_app(store, lambda: now, sensors=door)
        .server.test_client()
        .get("/sensors")
        .get_data(as_text=True)
    )


def test_the_address_is_told_as_it_is_typed_and_the_password_after_a_press(store, now):
    told = page(store, now, OPEN)
    words = " ".join(re.sub(r"<[^>]+>", " ", told).split())
    assert "broker 192.168.1.20 or 10.0.0.7 port 1883 user sensors password Show it walnut-42" in words
    assert "Heard 41 messages." in words
    assert told.count("walnut-42") == 1
    behind = re.search(r"<details(?P<given>[^>]*)><summary[^>]*>Show it</summary>\s*<b[^>]*>walnut-42", told)
    assert behind is not None
    assert "open" not in behind["given"]


def test_a_closed_broker_says_so_first_and_how_to_open_it(store, now):
    words = page(store, now, CLOSED)
    assert re.search(r"This computer only: <code[^>]*>paneltide open-broker</code> opens it\.", words)
    assert "Show it" not in words


def test_where_sensors_are_known_the_address_is_folded_away(book, now):
    told = page(book.store, now, OPEN)
    block = re.search(r"<details([^>]*)><summary[^>]*>Let a sensor talk", told)
    assert block is not None
    assert "open" not in block[1]
