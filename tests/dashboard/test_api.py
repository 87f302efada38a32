"""Other programs ask the pages' address for JSON: who may, what they get, and why they get nothing."""

import csv
import json
from datetime import UTC, datetime, timedelta

import pytest
from jsonschema import Draft202012Validator

from dashboard.api import tokens
from dashboard.shell.app import build_app
from model.records.schema.tables import Hanging, Place, Reading, Sensor
from model.records.store import Store

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
PROBLEM = "application/problem+json"


@pytest.fixture
def client(store: Store):
    return build_app(store, lambda: NOW).server.test_client()


def test_readings_come_as_lines_or_as_a_table_by_place_sensor_and_time(store: Store, client) -> None:
    with store.session() as session:
        shop, flat = (
            Place(name=name, kind=kind, zone="UTC") for name, kind in (("Shop", "shop"), ("Flat", "home"))
        )
        sensor = Sensor(name="=bench", accepted_at=NOW)
        session.add_all([shop, flat, sensor])
        session.flush()
        moved = NOW - timedelta(hours=2)
        session.add_all(
            [
                Hanging(
                    sensor_id=sensor.id, place_id=shop.id, since_at=NOW - timedelta(days=9), until_at=moved
                ),
                Hanging(sensor_id=sensor.id, place_id=flat.id, since_at=moved),
            ]
        )
        for back_h in range(30):
            at = NOW - timedelta(hours=back_h)
            session.add(Reading(sensor_id=sensor.id, observed_at=at, received_at=at, rh_pct=40.0 + back_h))

    def lines(asked: str) -> list[float]:
        text = client.get(f"/api/readings?{asked}").get_data(as_text=True)
        return [json.loads(line)["rh_pct"] for line in text.splitlines()]

    assert lines("place=Flat") == [42.0, 41.0]
    assert lines("place=Shop&from=2026-03-02T07:00Z&until=2026-03-02T10:30:00%2B01:00") == [45.0, 44.0, 43.0]
    assert len(lines("sensor==bench")) == 24
    assert len(lines("from=2026-02-01")) == 29
    table = client.get("/api/readings?format=csv&place=Flat&until=2026-03-02T12:01:00Z")
    assert table.mimetype == "text/csv"
    rows = list(csv.DictReader(table.get_data(as_text=True).splitlines()))
    assert [(row["timestamp_utc"], row["sensor"], row["rh_pct"]) for row in rows] == [
        (f"2026-03-02T{hour}:00:00Z", "'=bench", humidity)
        for hour, humidity in ((10, "42.0"), (11, "41.0"), (12, "40.0"))
    ]


@pytest.mark.parametrize(
    ("asked", "status", "why"),
    [
        ("/api/nothing", 404, "lists what there is"),
        ("/api/pieces/7", 404, "nothing at /api/pieces/7"),
        ("/api/readings?from=yesterday", 400, "from must be a date or an instant"),
        ("/api/readings?from=2026-03-03&until=2026-03-02", 400, "from must be before until"),
        ("/api/readings?place=Attic", 404, "place must be one that is recorded"),
        ("/api/readings?form=csv", 400, "form must be one of from, until"),
    ],
)
def test_a_question_that_has_no_answer_is_told_why(client, asked: str, status: int, why: str) -> None:
    answer = client.get(asked)
    assert (answer.status_code, answer.mimetype) == (status, PROBLEM)
    assert why in answer.get_json(force=True)["detail"]


def test_nothing_is_written_and_no_stranger_is_answered(client) -> None:
    refused = client.post("/api/state")
    assert (refused.status_code, refused.mimetype) == (405, PROBLEM)
    stranger = client.get("/api/state", headers={"Host": "shop.example"})
    assert (stranger.status_code, stranger.mimetype) == (403, PROBLEM)


def test_behind_a_password_a_token_opens_until_it_is_taken_back(store: Store) -> None:
    client = build_app(store, lambda: NOW, password="four words in a row").server.test_client()

    def ask(token: str = "") -> int:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        answer = client.get("/api/state", headers=headers)
        assert answer.mimetype == ("application/json" if answer.status_code == 200 else PROBLEM)
        return answer.status_code

    token, other = tokens.give(store, "hub"), tokens.give(store, "lamp")
    assert [ask(), ask("guessed"), ask(token), ask(other)] == [401, 401, 200, 200]
    assert [one.name for one in tokens.given(store)] == ["hub", "lamp"]
    tokens.take_back(store, "hub")
    assert [ask(token), ask(other)] == [401, 200]
    # A token is for programs: it opens no page.
    assert client.get("/", headers={"Authorization": f"Bearer {other}"}).status_code == 302


def test_the_document_is_openapi_and_each_of_its_schemas_a_schema(client) -> None:
    document = client.get("/api/openapi.json").get_json()
    assert document["openapi"].startswith("3.1")
    schemas = document["components"]["schemas"]
    for schema in schemas.values():
        Draft202012Validator.check_schema(schema)
    said = json.dumps(document)
    used = {name for name in schemas if f'"#/components/schemas/{name}"' in said}
    assert set(schemas) - used == {"OnlineRecord"}  # what MQTT alone is told
