"""A small book written straight into the tables: two places, one stack, two pieces, a fortnight of tide."""

import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from dashboard.shell.view import Context, View
from model.records.schema.tables import (
    AirHour,
    Binding,
    Checkpoint,
    FitRow,
    Hanging,
    Margin,
    MemberRow,
    PieceRow,
    Place,
    Pulse,
    Reading,
    Sensor,
    Stack,
    Stay,
    Verdict,
)
from model.records.store import Store
from model.words.display import Display

NOW = datetime(2026, 2, 10, 15, 0, tzinfo=UTC)
DAYS = 14


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture(scope="session")
def small_book(
    new_book: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, dict[str, int]]:
    """The file of the small book, written once, and the ids of what is in it."""
    path = tmp_path_factory.mktemp("small") / "book.sqlite"
    store = new_book(path)
    ids = _write(store)
    store.close()
    return path, ids


@pytest.fixture
def book(store: Store, small_book: tuple[Path, dict[str, int]]) -> SimpleNamespace:
    """The small book, whose parts are alive, and the ids of what is in it."""
    path, ids = small_book
    shutil.copy(path, str(store.url.database))
    with store.session() as session:
        session.add(Pulse(part="ingest", at=datetime.now(UTC), detail={"broker_connected": True}))
        session.add(Pulse(part="watch", at=datetime.now(UTC), detail={}))
    return SimpleNamespace(store=store, **ids)


@pytest.fixture
def view(book: SimpleNamespace, now: datetime) -> View:
    """What a page is asked with, in inches."""
    return View(Context(book.store, lambda: now), Display("inch"), now)


def _write(store: Store) -> dict[str, int]:
    start = NOW - timedelta(days=DAYS)
    with store.session() as session:
        shop = Place(name="Shop", kind="shop", zone="America/New_York")
        flat = Place(name="Dry flat", kind="home", zone="America/New_York")
        session.add_all([shop, flat])
        session.flush()
        for place, sensor_name, rh in ((shop, "bench", 47.0), (flat, "flat shelf", 24.0)):
            sensor = Sensor(name=sensor_name, accepted_at=start)
            sensor.bindings.append(Binding(topic=f"valley/{sensor_name}", payload={"kind": "json"}))
            sensor.hangings.append(Hanging(place_id=place.id, since_at=start))
            session.add(sensor)
            session.flush()
            for hour in range(DAYS * 24):
                at = start + timedelta(hours=hour)
                wave = float(np.sin(hour / 24 * 2 * np.pi))
                session.add(
                    Reading(
                        sensor_id=sensor.id,
                        observed_at=at,
                        received_at=at,
                        temperature_c=19.0 + wave,
                        rh_pct=rh + 2 * wave,
                    )
                )
                session.add(
                    AirHour(
                        place_id=place.id,
                        hour_at=at,
                        temperature_c=19.0 + wave,
                        rh_pct=rh + 2 * wave,
                        n_readings=1,
                        basis="estimated" if 100 <= hour < 130 else "measured",
                    )
                )
        stack = Stack(
            name="Maple, spring batch",
            document={"species": "hard maple", "thickness_mm": 25.4, "mc_pct": 9.5},
            start_at=start,
            start_mc_pct=9.5,
            destination_id=flat.id,
        )
        stack.stays.append(Stay(place_id=shop.id, since_at=start))
        bench = _piece("Hall bench", shop.id, start, 368.3)
        chest = _piece("Walnut <b>chest</b>", flat.id, start, 290.0)
        session.add_all([stack, bench, chest])
        session.flush()
        for body, drift, width_mm in (
            (bench.members[0], 0.0, 368.3),
            (chest.members[0], -0.12, 290.0),
            (stack, -0.05, None),
        ):
            for day in range(DAYS + 1):
                mc_pct = 8.0 + drift * day
                session.add(
                    Checkpoint(
                        body_id=body.id,
                        at=start + timedelta(days=day),
                        profile_pct=np.full(16, mc_pct).tobytes(),
                        mc_mean_pct=mc_pct,
                        mc_face_pct=mc_pct - 0.2,
                        mc_core_pct=mc_pct + 0.2,
                        mc_back_pct=mc_pct,
                        width_mm=width_mm and width_mm * (1 + 0.0027 * (mc_pct - 8.0)),
                        estimated_hours=24 if day in (5, 6) else 0,
                    )
                )
        for piece, verdict, margin_mm, seen in (
            (bench, "clear", 2.1, "the tongue of back bottoms in its groove"),
            (chest, "past", -0.4, "the tongue of back leaves its groove"),
        ):
            fit = piece.fits[0]
            detail = {
                "key": {"clear": "clear"}.get(verdict, verdict),
                "seen": {"key": "told", "text": seen},
                "margin_mm": margin_mm,
                "play_mm": 6.35,
            }
            for name, direction, left_mm in (
                ("groove-bottom", "swelling", 6.0 if verdict == "past" else margin_mm),
                ("leaves-groove", "shrinking", margin_mm if verdict == "past" else 6.0),
            ):
                for day in range(DAYS + 1):
                    session.add(
                        Margin(
                            fit_id=fit.id,
                            limit_name=name,
                            at=start + timedelta(days=day),
                            direction=direction,
                            severity="harms",
                            margin_mm=left_mm,
                            play_mm=6.35,
                            standing="past" if left_mm < 0 else "clear",
                        )
                    )
            session.add_all(
                [
                    _verdict("fit", fit.id, verdict, detail),
                    _verdict("piece", piece.id, verdict, {**detail, "fit": "back_panel"}),
                ]
            )
        session.add_all(
            [
                _verdict("place", shop.id, "clear", {"key": "told", "text": "the air is measured"}),
                _verdict("place", flat.id, "unknown", {"key": "told", "text": "no reading for 36 hours"}),
                _verdict("stack", stack.id, "near", {"key": "told", "text": "settling: two weeks more"}),
            ]
        )
        session.flush()
        return {
            "shop": shop.id,
            "flat": flat.id,
            "bench": bench.id,
            "chest": chest.id,
            "stack": stack.id,
            "bench_panel": bench.members[0].id,
            "chest_panel": chest.members[0].id,
        }


def _piece(name: str, place_id: int, at: datetime, width_mm: float) -> PieceRow:
    piece = PieceRow(name=name, document={"name": name}, recorded_at=at)
    piece.members.append(
        MemberRow(
            name="back",
            document={
                "species": "white ash",
                "cut": "flat-sawn",
                "width": width_mm,
                "mc_pct": 8.0,
                "thickness": 15.875,
                "finish": {"face": "oil-modified urethane varnish", "coats": 3, "back": "none"},
            },
            start_at=at,
            start_mc_pct=8.0,
        )
    )
    piece.fits.append(
        FitRow(
            name="back_panel",
            kind="panel-in-groove",
            document={
                "kind": "panel-in-groove",
                "part": "back",
                "held": "centre",
                "sight_width": width_mm - 12.7,
                "groove_depth": 9.525,
                "finished": "before assembly",
            },
        )
    )
    piece.stays.append(Stay(place_id=place_id, since_at=at))
    return piece


def _verdict(kind: str, subject_id: int, verdict: str, detail: dict) -> Verdict:
    return Verdict(
        subject_kind=kind,
        subject_id=subject_id,
        verdict=verdict,
        since_at=NOW - timedelta(days=2),
        evaluated_at=NOW,
        detail=detail,
    )
