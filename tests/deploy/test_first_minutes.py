"""The first minutes after a sensor was accepted: its air is there, and nothing is alarmed about."""

import json
import math
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from deploy.wiring import evaluate_once
from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.recognise.accept import accept
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.schema.tables import Doubt, Verdict, Warning

ACCEPTED_AT = datetime(2026, 1, 20, 15, 7, tzinfo=UTC)


@pytest.mark.parametrize(("minutes", "every"), [(12, 1), (240, 5), (600, 15)])
def test_no_false_alarm_right_after_an_accept(store, minutes: int, every: int) -> None:
    clock = [ACCEPTED_AT]
    writer, registry = Writer(store, Limits()), Registry()
    registry.refresh(writer.bulk)
    intake = Intake(registry, Limits(), lambda: clock[0])
    for before in range(minutes, -1, -every):
        clock[0] = ACCEPTED_AT - timedelta(minutes=before)
        said = {"temperature": round(18 + 2 * math.sin(before / 70), 1), "humidity": 38 + before % 7}
        intake.take("shop/air", json.dumps(said).encode())
    writer.write(intake.new_batch())
    writer.drop()
    done = accept(store, "shop/air", now=lambda: ACCEPTED_AT, place="Shop", place_kind="shop")
    assert done.readings == minutes // every + 1
    for later in (20, 600):
        evaluate_once(store, ACCEPTED_AT + timedelta(seconds=later))
    with store.session() as session:
        assert session.scalar(select(func.count()).select_from(Warning)) == 0
        assert session.scalar(select(func.count()).select_from(Doubt)) == 0
        heard = session.scalar(select(Verdict.verdict).where(Verdict.subject_kind == "sensor"))
        assert heard == "clear"
