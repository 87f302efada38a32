"""A large invented book: 10 million readings, 200 pieces, 1,000 members, a year of states and margins.

Run as ``python -m tests.bench.big_book FILE``: it is written straight into the tables, in a few minutes, for
`bench_pages`. Nothing in it is computed by the watch, so that how long that takes has no part in it.
"""

import argparse
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import insert

from model.records.acts import book
from model.records.schema.tables import (
    AirHour,
    Binding,
    Checkpoint,
    FitRow,
    Hanging,
    Margin,
    Outlook,
    Place,
    Pulse,
    Sensor,
    Verdict,
)
from model.records.store import Store
from model.wood.piece import read_piece
from tests.bench.smoke import parsed

NOW = datetime(2026, 2, 10, 15, 0, tzinfo=UTC)
DAYS = 365
PIECES, READINGS, PLACES, CLIENTS = 200, 10_000_000, 20, 60
PANEL = """
[part.panel_{n}]
species = "{wood}"
cut = "flat-sawn"
width = "368mm"
mc_pct = 8.0
thickness = "16mm"
finish = {{ face = "oil-modified urethane varnish", coats = 3, back = "none" }}

[fit.panel_{n}]
kind = "panel-in-groove"
part = "panel_{n}"
held = "centre"
sight_width = "356mm"
groove_depth = "9.5mm"
finished = "before assembly"
"""
WOODS = ("black walnut", "white ash", "hard maple", "sycamore")


def build(file: Path, days: int = DAYS, pieces: int = PIECES, readings: int = READINGS) -> None:
    """Write the book."""
    store = Store(f"sqlite:///{file}")
    store.bring_up_to_date()
    since = NOW - timedelta(days=days)
    with store.session() as session:
        places = [
            Place(name=f"House {n}" if n else "Shop", kind="home" if n else "shop", zone="Europe/Vienna")
            for n in range(PLACES)
        ]
        session.add_all(places)
        session.flush()
        for n, place in enumerate(places):
            sensor = Sensor(name=f"sensor {n}", accepted_at=since)
            sensor.bindings.append(Binding(topic=f"valley/{n}", payload={"shape": "json"}))
            sensor.hangings.append(Hanging(place_id=place.id, since_at=since))
            session.add(sensor)
        session.add_all(Pulse(part=part, at=datetime.now(UTC), detail={}) for part in ("ingest", "watch"))
        for n in range(pieces):
            panels = "".join(PANEL.format(n=k, wood=WOODS[(n + k) % 4]) for k in range(5))
            named = f'[piece]\nname = "Cabinet {n}"\nclient = "Client {n % CLIENTS}"\n'
            piece = read_piece(named + panels, "book")
            book.add_piece(session, piece, places[n % PLACES], since)
        session.flush()
        ids = [place.id for place in places]
    _readings(store, since, days, readings // PLACES)
    _computed(store, since, ids, days)
    with store.engine.connect() as connection:
        connection.exec_driver_sql("ANALYZE")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()


def _readings(store: Store, since: datetime, days: int, each: int) -> None:
    step = int(days * 86_400_000 / each)
    at = int(since.timestamp() * 1000) + step * np.arange(each)
    for number in range(1, PLACES + 1):
        hours = at / 3_600_000.0
        temperature = np.round(20.0 + np.sin(hours * 2.0 * math.pi / 24.0), 1)
        rh = np.round(45.0 - 12.0 * np.cos(hours * 2.0 * math.pi / 8766.0) + np.sin(hours), 1)
        rows = zip([number] * each, at.tolist(), at.tolist(), temperature.tolist(), rh.tolist(), strict=True)
        with store.engine.begin() as connection:
            connection.connection.driver_connection.executemany(  # type: ignore[union-attr]
                "INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct, clock) "
                "VALUES (?, ?, ?, ?, ?, 'device')",
                rows,
            )


def _computed(store: Store, since: datetime, places: list[int], days: int) -> None:
    with store.session() as session:
        for place_id in places:
            session.execute(
                insert(AirHour),
                [
                    {
                        "place_id": place_id,
                        "hour_at": since + timedelta(hours=h),
                        "temperature_c": 20.0,
                        "rh_pct": 45.0,
                        "n_readings": 60,
                        "basis": "measured",
                    }
                    for h in range(days * 24)
                ],
            )
        profile = np.full(16, 8.0).tobytes()
        bodies = [row[0] for row in session.execute(FitRow.__table__.select().with_only_columns(FitRow.id))]
        members = session.connection().exec_driver_sql("SELECT id FROM member").scalars().all()
        for body_id in members:
            session.execute(
                insert(Checkpoint),
                [
                    {
                        "body_id": body_id,
                        "at": since + timedelta(days=day),
                        "profile_pct": profile,
                        "mc_mean_pct": 8.0 + math.sin(day / 58.0),
                        "mc_face_pct": 8.0,
                        "mc_core_pct": 8.0,
                        "mc_back_pct": 8.0,
                        "width_mm": 368.0 + math.sin(day / 58.0),
                        "estimated_hours": 0,
                    }
                    for day in range(1, days + 1)
                ],
            )
        for fit_id in bodies:
            for limit, direction in (("groove-bottom", "swelling"), ("leaves-groove", "shrinking")):
                is_past = fit_id % 25 == 3 and direction == "shrinking"
                session.execute(
                    insert(Margin),
                    [
                        {
                            "fit_id": fit_id,
                            "limit_name": limit,
                            "at": since + timedelta(days=day),
                            "direction": direction,
                            "severity": "harms",
                            "margin_mm": 3.0 - 4.0 * is_past,
                            "play_mm": 6.0,
                            "standing": "past" if is_past else "clear",
                            "standing_since_at": since,
                        }
                        for day in range(1, days + 1)
                    ],
                )
        verdicts = ("clear", "clear", "near", "past", "unknown")
        pieces = session.connection().exec_driver_sql("SELECT id FROM piece").scalars().all()
        session.execute(insert(Outlook), [_outlook(number) for number in pieces])
        rows = [("fit", k) for k in bodies] + [("piece", k) for k in pieces] + [("place", k) for k in places]
        session.execute(
            insert(Verdict),
            [
                {
                    "subject_kind": kind,
                    "subject_id": number,
                    "verdict": "clear" if kind == "place" else verdicts[number % 5],
                    "since_at": NOW,
                    "evaluated_at": NOW,
                    "detail": {
                        "key": "clear",
                        "seen": {"key": "told", "text": "the tongue bottoms in its groove"},
                        "margin_mm": 3.0,
                        "play_mm": 6.0,
                    },
                }
                for kind, number in rows
            ],
        )


def _outlook(piece_id: int) -> dict[str, Any]:
    """What the coming year may bring a piece, as the watch stores it: three limits, some of them likely."""
    ahead = [
        {
            "fit": f"panel_{k}",
            "limit": "leaves-groove",
            "direction": "shrinking",
            "severity": "harms",
            "seen": {"key": "told", "text": "its panel leaves its groove"},
            "chance_pct": 20.0 + (piece_id * 7 + k) % 70,
            "low_days": 5 + (piece_id * 11 + k) % 250,
            "high_days": 40 + (piece_id * 11 + k) % 300,
            "lever": None,
        }
        for k in range(3)
    ]
    curve = np.zeros(365, np.float32).tobytes()
    return {
        "subject_kind": "piece",
        "subject_id": piece_id,
        "quantity": "rh_pct",
        "piece_id": piece_id,
        "at": NOW.replace(hour=0),
        "p10": curve,
        "p50": curve,
        "p90": curve,
        "detail": {"next": ahead, "place_id": (piece_id - 1) % PLACES + 1},
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--days", type=int, default=DAYS)
    parser.add_argument("--pieces", type=int, default=PIECES)
    parser.add_argument("--readings", type=int, default=READINGS)
    given = parsed(parser, days=3, pieces=3, readings=2_000)
    build(given.file, given.days, given.pieces, given.readings)


if __name__ == "__main__":
    main()
