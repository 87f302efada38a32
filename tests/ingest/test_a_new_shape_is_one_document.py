"""A payload shape is one document: a message nobody wrote code for is listed, accepted and read.

The first is our own and in none of the files of `shapes/`; the others are the first of each such file.
"""

import json
import tomllib
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.recognise.accept import accept
from ingest.recognise.listing import unbound_topics
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.schema.tables import Reading, Sensor
from model.records.store import Store

OURS = """
name = "air in a box of its own, charge and age beside it"
topic = "valley/loft/window-seat"
at = 2026-02-03T12:00:00Z
payload = '''
{"box": {"airTemp": {"val": 64.4, "unit": "degF"}, "relHumidity": 51.5}, "batt_pct": 64, "ageSeconds": 30}
'''

[[expect]]
part = ""
temperature_c = 18.0
rh_pct = 51.5
battery_pct = 64.0
observed_at = 2026-02-03T11:59:30Z
"""
FILES = sorted((Path(__file__).parent / "shapes").glob("*.json"))
SHAPES = [tomllib.loads(OURS), *(json.loads(file.read_text(encoding="utf-8"))[0] for file in FILES)]


def instant(told: str | datetime) -> datetime:
    return told if isinstance(told, datetime) else datetime.fromisoformat(told)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape["name"])
def test_a_documented_message_is_listed_accepted_and_read_with_no_code_of_its_own(
    shape: dict[str, Any], store: Store
) -> None:
    at = instant(shape["at"])
    clock = [at]
    writer, registry = Writer(store, Limits()), Registry()
    registry.refresh(writer.bulk)
    intake = Intake(registry, Limits(), lambda: clock[0])
    payload = shape["payload"] if isinstance(shape["payload"], str) else json.dumps(shape["payload"])

    intake.take(shape["topic"], payload.encode())
    writer.write(intake.new_batch())
    [listed] = unbound_topics(store)
    assert listed.proposal is not None, "nothing is recognised"
    accepted = accept(store, listed.topic, now=lambda: at, place="Loft", place_kind="home")
    assert (accepted.readings, accepted.rejected) == (len(shape["expect"]), 0)
    with store.session() as session:
        rows = session.scalars(select(Reading).order_by(Reading.observed_at)).all()
        told = [(row.observed_at, row.temperature_c, row.rh_pct) for row in rows]
    wanted = [
        (instant(one["observed_at"] or at), one["temperature_c"], one["rh_pct"]) for one in shape["expect"]
    ]
    assert told == sorted(wanted)
    assert not unbound_topics(store)

    registry.refresh(writer.bulk)
    clock[0] = at + timedelta(hours=1)
    intake.take(shape["topic"], payload.encode())
    writer.write(intake.new_batch())
    writer.drop()
    with store.session() as session:
        charge = session.scalars(select(Sensor.battery_pct)).first()
    assert charge == shape["expect"][0]["battery_pct"]
    assert not unbound_topics(store)
