"""Sensors from the command line: accepted by hand, dismissed, hung since long ago."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from deploy.settings import load_settings
from model.records.clock import machine_now
from model.records.schema.tables import HeardMessage
from model.records.store import Store
from tests.ran import answer


@pytest.fixture
def heard(paneltide) -> None:
    """A box whose fields say nothing, a pump, and two sensors that are plain, some hours long."""
    assert paneltide("migrate")[0] == 0
    store = Store(load_settings().database)
    now = machine_now()
    with store.session() as session:
        for hour in range(6):
            at = now - timedelta(hours=hour)
            for topic, document in (
                ("loft/box", {"data": {"t": 70.7, "h": 0.41}}),
                ("garage/pump", {"watts": 310}),
                ("bench/air", {"temperature": 20.0, "humidity": 48, "time": at.isoformat()}),
                ("flat/air", {"temperature": 20.0, "humidity": 27, "time": at.isoformat()}),
            ):
                body = json.dumps(document).encode()
                session.add(HeardMessage(topic=topic, payload=body, received_at=at))
    store.close()


def test_a_field_said_by_hand_is_shown_and_then_kept(paneltide, heard: None) -> None:
    fields = ("--temperature", "/data/t", "--humidity", "/data/h", "--unit", "F", "--humidity-unit", "ratio")
    shown = answer(paneltide("sensors", "accept", "loft/box", *fields, "--show", "--json"))
    assert (round(shown["reads"][0]["temperature_c"], 1), shown["reads"][0]["rh_pct"]) == (21.5, 41.0)
    waiting = {topic["topic"]: topic for topic in answer(paneltide("sensors", "--json"))["unknown_topics"]}
    assert waiting["loft/box"]["fields"] == [
        {"at": "/data/t", "value": "70.7"},
        {"at": "/data/h", "value": "0.41"},
    ]
    status, out, _ = paneltide("sensors", "accept", "loft/box", *fields, "--place", "Loft", "--kind", "home")
    assert status == 0
    assert "The last message reads 70.7 °F 41 %" in out  # as the settings have it
    assert "loft box hangs at Loft, a new place, since" in out


def test_a_topic_is_dismissed_for_good_and_brought_back(paneltide, heard: None) -> None:
    assert paneltide("sensors", "dismiss", "garage/pump")[0] == 0
    document = answer(paneltide("sensors", "--json"))
    assert "garage/pump" not in [topic["topic"] for topic in document["unknown_topics"]]
    assert document["dismissed_topics"] == ["garage/pump"]
    assert "Dismissed: garage/pump. List one again with" in paneltide("sensors")[1]
    assert paneltide("sensors", "bring-back", "garage/pump")[0] == 0
    document = answer(paneltide("sensors", "--json"))
    assert "garage/pump" in [topic["topic"] for topic in document["unknown_topics"]]
    assert document["dismissed_topics"] == []


def test_sensors_of_two_houses_in_one_place_are_asked_about(paneltide, heard: None) -> None:
    for topic in ("bench/air", "flat/air"):
        assert paneltide("sensors", "accept", topic, "--place", "Shop", "--kind", "shop")[0] == 0
    [pair] = answer(paneltide("sensors", "--json"))["two_rooms"]
    assert (pair["place"], pair["sensors"], round(pair["apart_pct"])) == ("Shop", ["bench", "flat"], 21)
    out = paneltide("sensors")[1]
    assert "Two rooms? bench reads 21 points of humidity above flat at the same temperature" in out


def test_readings_that_belong_to_no_place_are_said_with_the_command_that_mends_it(
    paneltide, heard: None, tmp_path: Path
) -> None:
    assert paneltide("place", "add", "Shop", "--kind", "shop")[0] == 0
    assert paneltide("sensors", "accept", "bench/air", "--name", "bench", "--place", "Shop")[0] == 0
    air = tmp_path / "air.csv"
    air.write_text(
        "timestamp_utc,rh_pct\n" + "".join(f"2026-01-{day:02d}T00:00Z,45\n" for day in range(1, 11))
    )
    status, out, _ = paneltide("import-readings", air, "--sensor", "bench")
    assert status == 0
    assert "10 readings belong to no place: bench hangs at Shop only since" in out
    assert 'paneltide sensors hang "bench" --place "Shop" --since DATE' in out
    status, out, _ = paneltide("sensors", "hang", "bench", "--place", "Shop", "--since", "2026-01-01")
    assert status == 0
    assert "belong to no place" not in out
    again = answer(paneltide("import-readings", air, "--sensor", "bench", "--json"))
    assert again["belong_to_no_place"] == []


def test_a_place_nobody_recorded_is_made_of_the_kind_one_says_and_of_no_other(paneltide, heard: None) -> None:
    """A home's air is judged otherwise than a shop's, so nothing is taken for a home because nobody said."""
    words = ("sensors", "accept", "bench/air", "--place", "Bench room")
    status, out, err = paneltide(*words)
    assert (status, out) == (2, "")
    assert "place Bench room: kind must be given" in err
    assert "shop, storage or home (--kind)" in err
    assert err.count("\n") == 1
    assert "bench/air" in [
        topic["topic"] for topic in answer(paneltide("sensors", "--json"))["unknown_topics"]
    ]
    assert paneltide(*words, "--kind", "shop")[0] == 0
    [place] = answer(paneltide("state", "--json"))["places"]
    assert (place["name"], place["kind"]) == ("Bench room", "shop")
    # Of one that is there the kind is known.
    assert paneltide("sensors", "accept", "flat/air", "--place", "Bench room")[0] == 0


def test_a_file_makes_no_place_of_a_kind_nobody_said(paneltide, tmp_path: Path) -> None:
    air = tmp_path / "air.csv"
    air.write_text("timestamp_utc,temperature_c,rh_pct\n2026-01-01T00:00Z,20,45\n")
    words = ("import-readings", air, "--sensor", "hall", "--place", "Lake house")
    status, out, err = paneltide(*words)
    assert (status, out) == (2, "")
    assert "place Lake house: kind must be given" in err
    assert answer(paneltide(*words, "--kind", "home", "--json"))["accepted"] == 1
