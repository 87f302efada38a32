"""A sensor just accepted is not called silent; one that never spoke, or fell silent, is."""

from datetime import UTC, datetime

import pytest

from dashboard.pages.sensors.sensors import headline
from model.records.queries.answers import Judgement
from model.records.queries.sensing import SensorNow

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def _sensor(last_at: datetime | None, judgement: Judgement) -> SensorNow:
    return SensorNow(
        id=1,
        name="by the bench",
        place_id=1,
        place="Shop",
        zone="shop",
        topics=("shop/bench",),
        last_at=last_at,
        temperature_c=18.0,
        rh_pct=50.0,
        battery_pct=None,
        presence=None,
        judgement=judgement,
        retired_at=None,
    )


@pytest.mark.parametrize(
    ("last_at", "judgement", "expected"),
    [
        (NOON, Judgement(), "A new sensor is heard; no verdict on it yet."),
        (None, Judgement(), "1 sensor is silent."),
        (NOON, Judgement("unknown", evaluated_at=NOON), "1 sensor is silent."),
        (NOON, Judgement("clear", evaluated_at=NOON), "Every sensor is heard."),
    ],
)
def test_only_a_sensor_that_is_not_heard_is_called_silent(
    last_at: datetime | None, judgement: Judgement, expected: str
) -> None:
    told = headline((_sensor(last_at, judgement),), [])
    assert told.replace("One ", "1 ") == expected
