"""A book of many situations: the sample shop, and beside it houses of every sort of air with their wood.

Written once, evaluated once. What changes after the evaluation (an edit, a measurement, late readings) is
left unanswered on purpose. Everything is invented.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import tomli_w
from sqlalchemy import select, text
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.orm import Session

from deploy import sample_shop, wiring
from model.records.acts import book, measured, trusted
from model.records.acts.hangings import hang_sensor
from model.records.acts.places import add_place
from model.records.schema.tables import PieceRow, Place, Reading, Sensor, Stack
from model.records.store import Store
from model.wood.piece import read_piece
from tests.wood.fit_examples import EXAMPLES

NOW = sample_shop.STORY_START_AT
HOURS = 50 * 24
FROM = NOW - timedelta(hours=HOURS)
HOUR = timedelta(hours=1)

MARK = text(
    "INSERT INTO stale_hour (sensor_id, hour_at, revision) VALUES (:sensor, :hour, 1) "
    "ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1"
)


@dataclass(frozen=True)
class House:
    """A place with its air: `rh_pct` by hour from `FROM`, NaN where nothing was sent."""

    name: str
    rh_pct: Callable[[np.ndarray], np.ndarray]
    temperature_c: float = 20.0
    kind: str = "home"
    zone: str = "America/New_York"
    pieces_say: str = ""
    """How every piece there must be spoken of, where its air leaves no choice."""
    climate: dict[str, Any] = field(default_factory=dict)


def _even(rh_pct: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda hours: np.full(len(hours), rh_pct)


def _turning(first_pct: float, last_pct: float, from_day: int = 0) -> Callable[[np.ndarray], np.ndarray]:
    return lambda hours: np.interp(hours, [from_day * 24, HOURS], [first_pct, last_pct])


def _without(first_day: float, last_day: float, rh_pct: float = 44.0) -> Callable[[np.ndarray], np.ndarray]:
    """Even air with a stretch in which nothing came, in days before now."""
    since, until = HOURS - 24 * first_day, HOURS - 24 * last_day
    return lambda hours: np.where((hours >= since) & (hours < until), np.nan, rh_pct)


LATE_DAYS = 12, 10
HOUSES = (
    House("Cold Hill", _even(21.0), 21.0),
    House("Marsh End", _even(76.0), 26.0, zone="Australia/Sydney"),
    House("Turning house", _turning(52.0, 26.0)),
    House("Airing house", lambda hours: np.where(hours < HOURS - 12 * 24, 18.0, 46.0)),
    House("Gap house", _without(20, 14)),
    House("Mute house", _without(5, 0), pieces_say="unknown"),
    House("Post house", _without(*LATE_DAYS), pieces_say="working"),
    House("Wet cloth house", _even(45.0), pieces_say="unknown"),
    House("Mast house", _even(45.0), pieces_say="unknown"),
    House("New house", _without(HOURS / 24, 1 / 24), pieces_say="unknown"),
    House("Even house", _even(45.0)),
    House("Hay loft", _turning(45.0, 66.0), 8.0, kind="storage"),
)
WOODS = (
    ("white ash", "flat-sawn"),
    ("black walnut", "flat-sawn"),
    ("hard maple", "rift"),
    ("American sycamore", "quarter-sawn"),
)
FINISHES: tuple[Any, ...] = (
    "none",
    {"face": "oil-modified urethane varnish", "coats": 2},
    {"face": "shellac", "coats": 3, "back": "none"},
)
WIDTHS = {"panel": "368mm", "side": "500mm", "left": "57mm", "right": "60mm", "edge": "19mm"}


def piece_text(name: str, example: str, number: int, mc_pct: float = 8.2, **changes: Any) -> str:
    """A piece file with one fit of a kind, its woods and finish by number."""
    fit = {**EXAMPLES[example], **changes}
    parts = {
        part: {
            "species": WOODS[(number + at) % len(WOODS)][0],
            "cut": WOODS[(number + at) % len(WOODS)][1],
            "width": width,
            "mc_pct": mc_pct,
            "thickness": "12mm" if number % 3 else "19mm",
            "finish": FINISHES[number % len(FINISHES)],
        }
        for at, (part, width) in enumerate(WIDTHS.items())
        if part in _parts_of(fit)
    }
    return tomli_w.dumps({"piece": {"name": name}, "part": parts, "fit": {example.replace(" ", "_"): fit}})


def _parts_of(fit: dict[str, Any]) -> set[str]:
    return {
        one
        for key in ("part", "parts", "opening", "widens")
        for one in ([fit[key]] if isinstance(fit.get(key), str) else fit.get(key, ()))
    }


@dataclass(frozen=True)
class Built:
    """A piece of this book: where it stands, and how it must be spoken of where that is certain."""

    name: str
    house: str
    document: str
    says: str = ""
    since_at: datetime = FROM


QUARREL = {"gap": 0.5, "widest_gap": 0.6, "opening_size": 369.0}


def pieces() -> tuple[Built, ...]:
    """Every kind and shape of fit, each in a house or two, and pieces in a state of their own."""
    found = []
    for number, example in enumerate(EXAMPLES):
        for house in (HOUSES[number % len(HOUSES)], HOUSES[(5 * number + 3) % len(HOUSES)])[: 1 + number % 2]:
            name = f"{example.capitalize()} {len(found) + 1}"
            found.append(Built(name, house.name, piece_text(name, example, number), house.pieces_say))
    late = NOW - timedelta(days=20)
    own = (
        ("Short slot chest", "drawer bottom", "Even house", {"slot_length": 8.0, "screw_at": 4.0}, ""),
        ("Tight door", "slab door", "Even house", {"gap": 0.1, "opening_size": 368.2}, ""),
        (
            "Wide quarrel",
            "slab door",
            "Even house",
            {"gap": 0.5, "widest_gap": 0.6, "opening_size": 369.0},
            "",
        ),
        ("Edited case", "panel centred", "Even house", {}, "working"),
        ("Metered lid", "lid", "Even house", {}, "working"),
        ("Carried case", "framed door", "Even house", {}, "working"),
        ("Moved case", "drawer bottom", "Airing house", {}, ""),
    )
    for number, (name, example, house, changes, says) in enumerate(own):
        since_at = late if name == "Moved case" else FROM
        found.append(Built(name, house, piece_text(name, example, number, **changes), says, since_at))
    bare = '[piece]\nname = "Plain board"\n[part.board]\nspecies = "white ash"\ncut = "flat-sawn"\n'
    found.append(
        Built("Plain board", "Even house", f'{bare}width = "300mm"\nmc_pct = 8\nthickness = "19mm"\n')
    )
    return tuple(found)


STACKS: tuple[tuple[str, str, str | None, dict[str, Any]], ...] = (
    ("Walnut for the hill", "Shop", "Cold Hill", {"mc_pct": 4.7}),
    ("Walnut, wet", "Shop", "Cold Hill", {"mc_pct": 14.0, "thickness_mm": 50.8}),
    ("Sycamore, settled", "Even house", "Even house", {"mc_pct": 8.4}),
    ("Sycamore, a year off", "Hay loft", "Even house", {"mc_pct": 20.0, "stickered": False}),
    ("Ash for the marsh", "Even house", "Marsh End", {"mc_pct": 8.7}),
    ("Maple, nowhere bound", "Even house", None, {"mc_pct": 8.5}),
    ("Maple, unheard", "Mute house", "Even house", {"mc_pct": 9.0}),
    ("Maple, no air", "Mast house", None, {"mc_pct": 9.0}),
    ("Ash, late", "Post house", "Even house", {"mc_pct": 9.6}),
    ("Ash, metered today", "Even house", "Even house", {"mc_pct": 9.0}),
    ("Ash, guessed", "Shop", "Mast house", {"mc_pct": 10.0, "mc_basis": "assumed"}),
)
NOT_ANSWERED = ("Ash, late", "Ash, metered today")
SPECIES = {
    "Walnut": "black walnut",
    "Sycamore": "American sycamore",
    "Ash": "white ash",
    "Maple": "hard maple",
}


def write_book(store: Store) -> None:
    """The sample shop, the houses, their pieces and stacks, evaluated at `NOW`, and what came after that."""
    sample_shop.load_history(store)
    late: dict[int, list[tuple[datetime, float, float]]] = {}
    with store.session() as session:
        for house in HOUSES:
            place = add_place(session, house.name, house.kind, zone=house.zone)
            if house.name == "Mast house":  # nothing hangs there
                continue
            sensor = Sensor(name=f"{house.name} shelf", accepted_at=FROM)
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, place, FROM)
            hours = np.arange(HOURS)
            if house.name == "New house":  # twenty minutes in all
                send(session, sensor.id, [(NOW + k * HOUR / 12, 20.0, 44.0) for k in range(5)])
                continue
            rh_pct = house.rh_pct(hours) + 0.4 * np.sin(2.3 * hours)
            temperature_c = house.temperature_c + 0.2 * np.sin(1.9 * hours)
            heard = np.isfinite(rh_pct)
            rows = [
                (FROM + (hour + 0.5) * HOUR, t, rh)
                for hour, t, rh in zip(
                    hours[heard].tolist(), temperature_c[heard].tolist(), rh_pct[heard].tolist(), strict=True
                )
            ]
            send(session, sensor.id, rows)
            if house.name == "Wet cloth house":
                since = NOW - timedelta(days=6)
                trusted.doubt_span(session, sensor, since, None, "a wet cloth hung on it", NOW)
            if house.name == "Post house":
                first, last = (NOW - timedelta(days=days) for days in LATE_DAYS)
                count = round((last - first) / HOUR)
                late[sensor.id] = [(first + (k + 0.5) * HOUR, 20.0, 66.0) for k in range(count)]
        places = {place.name: place for place in session.scalars(select(Place))}
        for built in pieces():
            row = book.add_piece(session, read_piece(built.document), places[built.house], built.since_at)
            if built.name == "Moved case":
                book.move(session, row, places["Cold Hill"], NOW - timedelta(days=9))
        for name, place, home, document in STACKS:
            wood = SPECIES[name.split(",")[0].split()[0]]
            book.add_stack(
                session,
                name,
                {"species": wood, "thickness_mm": 25.4, **document},
                places[place],
                FROM + timedelta(days=20),
                None if home is None else places[home],
            )
    wiring.evaluate_once(store, NOW)
    with store.session() as session:
        for sensor_id, rows in late.items():
            send(session, sensor_id, rows)
        named = {row.name: row for row in session.scalars(select(PieceRow))}
        changed = piece_text("Edited case", "panel centred", 3, mc_pct=9.5)
        book.replace_piece(session, named["Edited case"], read_piece(changed))
        (lid,) = named["Metered lid"].members
        measured.record_measurement(session, lid, "mc_pct", 10.5, NOW - timedelta(days=3))
        places = {place.name: place for place in session.scalars(select(Place))}
        book.move(session, named["Carried case"], places["Cold Hill"], NOW - timedelta(days=2))
        ash = session.scalars(select(Stack).where(Stack.name == "Ash, metered today")).one()
        measured.record_measurement(session, ash, "mc_pct", 8.2, NOW - timedelta(days=3))


def send(session: Session, sensor_id: int, rows: list[tuple[datetime, float, float]]) -> None:
    """Readings as ingest stores them: each once, and a mark on its hour."""
    session.execute(
        insert(Reading).on_conflict_do_nothing(),
        [
            {
                "sensor_id": sensor_id,
                "observed_at": at,
                "received_at": at,
                "temperature_c": temperature_c,
                "rh_pct": rh_pct,
                "clock": "device",
            }
            for at, temperature_c, rh_pct in rows
        ],
    )
    hours = {int(at.timestamp()) // 3600 * 3_600_000 for at, *_ in rows}
    session.execute(MARK, [{"sensor": sensor_id, "hour": hour} for hour in sorted(hours)])
