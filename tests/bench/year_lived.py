"""A year lived: how often the product warns in time, too late, or of nothing, against a truth that is known.

    python -m tests.bench.year_lived [FILE ...] [--homes N] [--days D] [--every H] [--seed S] [--smoke]

FILE has the columns ``timestamp_utc,sensor,temperature_c,rh_pct``: each sensor with record enough is a
home. N simulated homes come to them. In every home stands a chest whose true wood moves and follows the air
otherwise than the tables say: movement by a normal spread of 15 % (a fifth from the middle to the 90th
percentile), rate by a log-normal spread of a factor of two either way, a meter off by a point. Its sensor
is off by 1.5 % and drifts, is silent for spells of days, and hands half of them in late. Messages go hour
by hour through ingest's intake and writer; then the watch, the outlook of the day and the planning of
notices run as in the service.

Counted:

* missed: a limit that harms is truly passed, and no warning of what comes was open a day before;
* false: a warning of what comes whose limit is not truly passed by the last `until_at` it told;
* lead: days from such a warning's opening to the first true passing, median and quartiles;
* notices planned.

The air of files is real; wood, sensors and simulated homes are invented.
"""

import argparse
import json
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import func, select

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts import book, hangings, places
from model.records.schema.tables import (
    Binding,
    Fit,
    Notice,
    Piece,
    Place,
    Sensor,
    Statement,
    Warning,
)
from model.records.store import Store
from model.watch.run.evaluation import Watch
from model.watch.state.outlook_store import Outlooks
from model.watch.tell.notices import plan
from model.watch.tell.prospect_warnings import NEXT
from model.wood.material.member import Member
from model.wood.moisture import solver as moisture
from model.wood.piece import Piece as WoodPiece
from model.wood.piece import moisture_batch, read_piece
from sample_readings.climate import hours_since_year_zero, outdoors
from tests.bench.smoke import parsed

Floats = NDArray[np.float64]
HOUR = timedelta(hours=1)
ADDRESS = "json://127.0.0.1:9"
P10_TO_P90 = 2.0 * 1.2816  # standard deviations of a normal spread
MOVEMENT_SD = 0.15
RATE_SD = np.log(2.0 / 0.5) / P10_TO_P90
METER_SD = 2.0 / P10_TO_P90
SENSOR_SD_PCT, DRIFT_SD_PCT_A_YEAR = 1.5, 1.0
SPELLS_A_YEAR, LONGEST_SPELL_DAYS = 6, 6
BEFORE_DAYS = 42  # the sensor hangs there six weeks before the piece comes

CHEST = """
[piece]
name = "Chest {number}"
[part.side]
species = "{species}"
cut = "flat-sawn"
width = "368mm"
mc_pct = {mc}
thickness = "19mm"
finish = {{ face = "oil-modified urethane varnish", coats = 2 }}
[part.front]
species = "{species}"
cut = "flat-sawn"
width = "200mm"
mc_pct = {mc}
thickness = "19mm"
finish = {{ face = "shellac", coats = 2, back = "none" }}
[part.top]
species = "{species}"
cut = "quarter-sawn"
width = "480mm"
mc_pct = {mc}
thickness = "22mm"
finish = {{ face = "oil-modified urethane varnish", coats = 3 }}
[fit.side_panel]
kind = "panel-in-groove"
part = "side"
held = "centre"
sight_width = "356mm"
groove_depth = "{groove}mm"
finished = "before assembly"
[fit.drawer]
kind = "front-in-opening"
parts = ["front"]
construction = "slab"
gap = "{gap}mm"
[fit.runner]
kind = "cross-grain-fixing"
part = "side"
distance = "330mm"
slot_length = "{slot}mm"
screw_diameter = "4mm"
"""
SPECIES = ("black walnut", "white ash", "hard maple", "sycamore")


@dataclass(frozen=True)
class Home:
    """A home's true air by the hour, from its sensor's first hour on."""

    name: str
    start_at: datetime
    temperature_c: Floats
    rh_pct: Floats


@dataclass
class Lived:
    """One chest: what is true of it."""

    home: Home
    recorded: WoodPiece
    first_past: dict[tuple[str, str], int | None]  # hour of the home's record, of limits that harm or show
    severity: dict[tuple[str, str], str]


def homes_of_file(path: Path, days: int) -> Iterator[Home]:
    """Each sensor of a file whose record is long enough, gaps of the record filled by straight lines."""
    frame = pd.read_csv(path, parse_dates=["timestamp_utc"])
    for name, rows in frame.groupby("sensor"):
        hours = rows.set_index("timestamp_utc")[["temperature_c", "rh_pct"]].resample("1h").mean()
        if len(hours) < 24 * (days + BEFORE_DAYS) or hours["temperature_c"].quantile(0.05) < 5.0:
            continue
        filled = hours.interpolate(limit_direction="both")
        air = filled["temperature_c"].to_numpy(), filled["rh_pct"].to_numpy()
        yield Home(f"{path.stem.split('.')[0]} {name}", filled.index[0].to_pydatetime(), *air)


def side_by_side(homes: Sequence[Home], start: datetime, days: int) -> list[Home]:
    """The records cut to one span; a home whose record doesn't hold it is left out."""
    found = []
    for home in homes:
        first = round((start - home.start_at) / HOUR)
        span = slice(first, first + 24 * (days + BEFORE_DAYS))
        if first >= 0 and span.stop <= len(home.rh_pct):
            found.append(Home(home.name, start, home.temperature_c[span], home.rh_pct[span]))
    return found


def simulated_home(number: int, start: datetime, days: int, random: np.random.Generator) -> Home:
    """A home heated to about 20 °C in an invented valley, with moisture of its own and weeks that differ."""
    count = 24 * (days + BEFORE_DAYS)
    offset = hours_since_year_zero(start)
    out = outdoors(offset + np.arange(count, dtype=float))
    inside_c = np.maximum(random.normal(20.0, 1.0), out.temperature_c * 0.7 + 6.0)
    weeks = np.repeat(random.normal(0.0, 90.0, count // 168 + 1), 168)[:count]
    smooth = np.convolve(np.r_[weeks[:84], weeks, weeks[-84:]], np.ones(168) / 168.0, "same")[84:-84]
    pressure = out.vapour_pressure_pa + random.uniform(150.0, 500.0) + smooth
    saturated = 610.94 * np.exp(17.625 * inside_c / (inside_c + 243.04))
    return Home(f"home {number}", start, inside_c, np.clip(100.0 * pressure / saturated, 8.0, 90.0))


def chest(number: int, random: np.random.Generator, mc_pct: float) -> WoodPiece:
    """A chest whose fits have usual sizes, some too tight."""
    return read_piece(
        CHEST.format(
            number=number,
            species=SPECIES[number % len(SPECIES)],
            mc=round(mc_pct, 2),
            groove=round(random.uniform(8.0, 11.0), 1),
            gap=round(random.uniform(0.6, 2.4), 1),
            slot=round(random.uniform(5.5, 10.0), 1),
        )
    )


def truth_of(home: Home, recorded: WoodPiece, mc_pct: float, random: np.random.Generator) -> Lived:
    """Run the true wood through the true air, from the day the chest comes."""
    movement = float(np.clip(random.normal(1.0, MOVEMENT_SD), 0.5, 1.6))
    rate = float(np.exp(random.normal(0.0, RATE_SD)))

    def true(member: Member) -> Member:
        changed = member.__class__(**{**vars_of(member), "mc_pct": mc_pct})
        return changed.__class__(**{**vars_of(changed), "movement_factor": movement})

    piece = recorded.with_members(true)
    members = list(piece.members.values())
    batch = moisture_batch(members)
    batch = batch.__class__(**{**vars_of(batch), "diffusion_scale": batch.diffusion_scale * rate})
    since = 24 * BEFORE_DAYS
    faces = np.zeros(len(members), dtype=np.intp)
    run = moisture.advance(
        moisture.uniform_profile([mc_pct] * len(members)), batch,
        home.temperature_c[since:, None], home.rh_pct[since:, None], faces, faces,
    )  # fmt: skip
    mc = {member.name: run.mc_mean_pct[:, k] for k, member in enumerate(members)}
    first: dict[tuple[str, str], int | None] = {}
    severity = {}
    for name, fit in piece.fits.items():
        for limit in fit.limits(mc):
            past = np.flatnonzero(np.broadcast_to(limit.margin_mm, (len(run.mc_mean_pct),)) < 0.0)
            first[name, limit.name] = int(past[0]) + since if len(past) else None
            severity[name, limit.name] = limit.severity
    return Lived(home, recorded, first, severity)


def vars_of(thing: Any) -> dict[str, Any]:
    """The fields that a dataclass is made with."""
    return {name: getattr(thing, name) for name, own in thing.__dataclass_fields__.items() if own.init}


def messages_of(home: Home, random: np.random.Generator) -> dict[int, list[tuple[int, float, float]]]:
    """By the hour they arrive: the hour they speak of, temperature and humidity as the sensor has them."""
    count = len(home.rh_pct)
    years = np.arange(count) / 8760.0
    off = random.normal(0.0, SENSOR_SD_PCT) + random.normal(0.0, DRIFT_SD_PCT_A_YEAR) * years
    rh = np.clip(home.rh_pct + off + random.normal(0.0, 0.3, count), 0.0, 100.0)
    arrives: list[int | None] = list(range(count))
    for _ in range(int(SPELLS_A_YEAR * count / 8760)):
        first = int(random.integers(24 * BEFORE_DAYS, count))
        last = min(first + int(random.integers(6, 24 * LONGEST_SPELL_DAYS)), count)
        arrives[first:last] = [last if random.random() < 0.5 else None] * (last - first)
    found: dict[int, list[tuple[int, float, float]]] = {}
    for hour, at in enumerate(arrives):
        if at is not None:
            found.setdefault(at, []).append((hour, float(home.temperature_c[hour]), float(rh[hour])))
    return found


def live(
    store: Store, homes: Sequence[Home], days: int, every: int, random: np.random.Generator
) -> list[Lived]:
    """Replay every home side by side, the hours of their records counted from the same instant."""
    start = homes[0].start_at
    lived: list[Lived] = []
    sent = []
    since = start + timedelta(days=BEFORE_DAYS)
    with store.session() as session:
        for number, home in enumerate(homes):
            place = places.add_place(session, f"Home {number}", "home")
            sensor = Sensor(name=f"s{number}", accepted_at=start)
            paths = {"shape": "json", "temperature": "/t", "rh": "/h", "time": "/at"}
            sensor.bindings.append(Binding(topic=f"homes/{number}", payload=paths))
            session.add(sensor)
            session.flush()
            hangings.hang_sensor(session, sensor, session.get_one(Place, place.id), start)
            sent.append(messages_of(home, random))
    clock = [start]
    registry, writer = Registry(), Writer(store, Limits())
    registry.refresh(writer.bulk)
    intake = Intake(registry, Limits(), lambda: clock[0])
    watch, outlooks = Watch(store), Outlooks(store)
    came = False
    for hour in range(24 * (days + BEFORE_DAYS)):
        clock[0] = start + (hour + 1) * HOUR
        for number, by_hour in enumerate(sent):
            for spoken, temperature, rh in by_hour.get(hour, ()):
                at = (start + (spoken + 0.5) * HOUR).isoformat()
                said = {"t": round(temperature, 2), "h": round(rh, 1), "at": at}
                intake.take(f"homes/{number}", json.dumps(said).encode())
        if hour == 24 * BEFORE_DAYS:
            came = True
            with store.session() as session:
                for number, home in enumerate(homes):
                    meter = random.normal(0.0, METER_SD)
                    recorded = chest(number, random, 8.0)
                    lived.append(truth_of(home, recorded, float(np.clip(8.0 + meter, 5.0, 12.0)), random))
                    book.add_piece(session, recorded, session.get_one(Place, number + 1), since)
        if (hour + 1) % every == 0:
            writer.write(intake.new_batch())
            watch.bring_up_to_date(clock[0])
            if came:
                while outlooks.refresh(clock[0]):
                    pass
                plan(store, clock[0], [ADDRESS])
    writer.drop()
    return lived


@dataclass(frozen=True)
class Counts:
    """What was counted over all chests."""

    harms: int
    missed: int
    missed_at_all: int
    told: int
    false: int
    leads: Floats
    notices: int


def counted(store: Store, lived: Sequence[Lived], start: datetime, end_at: datetime) -> Counts:
    """Warnings against the truth."""
    harms = missed = missed_at_all = told = false = 0
    leads = []
    with store.session() as session:
        for number, chest_lived in enumerate(lived):
            fits = {
                fit.name: fit.id
                for fit in session.scalars(select(Fit).join(Piece).where(Piece.name == f"Chest {number}"))
            }
            for (fit, limit), hour in chest_lived.first_past.items():
                rows = list(
                    session.scalars(
                        select(Warning).where(
                            Warning.subject_kind == "fit",
                            Warning.subject_id == fits[fit],
                            Warning.limit_name.in_((limit, NEXT + limit)),
                        )
                    )
                )
                past_at = None if hour is None else start + (hour + 1) * HOUR
                coming = [row for row in rows if row.limit_name.startswith(NEXT)]
                if past_at is not None and chest_lived.severity[fit, limit] == "harms":
                    harms += 1
                    day_before = past_at - timedelta(days=1)
                    missed += not any(open_at(row, day_before) for row in coming)
                    missed_at_all += not any(open_at(row, day_before) for row in rows)
                for row in coming:
                    told += 1
                    if past_at is not None and row.opened_at <= past_at:
                        leads.append((past_at - row.opened_at) / timedelta(days=1))
                    until = session.scalar(
                        select(func.max(Statement.until_at)).where(
                            Statement.fit_id == fits[fit],
                            Statement.limit_name == limit,
                            Statement.said_at >= row.opened_at,
                            Statement.said_at <= (row.closed_at or end_at),
                        )
                    )
                    if until is not None and until <= end_at:
                        false += past_at is None or past_at > until
        notices = session.scalar(select(func.count()).select_from(Notice)) or 0
    return Counts(harms, missed, missed_at_all, told, false, np.array(leads), notices)


def open_at(row: Warning, at: datetime) -> bool:
    return row.opened_at <= at and (row.closed_at is None or row.closed_at > at)


def main(arguments: Sequence[str] | None = None) -> None:
    """Live the year and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("files", nargs="*", type=Path, help="recorded rooms")
    parser.add_argument("--homes", type=int, default=12, help="simulated homes beside those of the files")
    parser.add_argument("--days", type=int, default=365, help="days that each chest lives")
    parser.add_argument("--every", type=int, default=1, help="hours between two looks of the watch")
    parser.add_argument("--seed", type=int, default=1)
    asked = parsed(parser, arguments, homes=1, days=8, every=12)
    random = np.random.default_rng(asked.seed)
    recorded = [home for file in asked.files for home in homes_of_file(file, asked.days)]
    start = max((home.start_at for home in recorded), default=datetime(2025, 7, 1, tzinfo=UTC))
    start = start.replace(hour=0, minute=0)
    homes = side_by_side(recorded, start + timedelta(days=1), asked.days)
    start = homes[0].start_at if homes else start
    homes += [simulated_home(number, start, asked.days, random) for number in range(asked.homes)]
    if not homes:
        raise SystemExit("no home: no file has a record long enough, and --homes is 0")
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{folder}/book.sqlite")
        store.bring_up_to_date()
        lived = live(store, homes, asked.days, asked.every, random)
        end_at = start + timedelta(days=asked.days + BEFORE_DAYS)
        found = counted(store, lived, start, end_at)
        store.close()
    years = len(homes) * asked.days / 365.0
    real = len(homes) - asked.homes
    print(f"{len(homes)} chests, {real} in recorded homes, from {start:%Y-%m-%d}: {years:.1f} piece-years")
    print(f"harms truly passed          {found.harms}")
    share = 100.0 * found.missed / found.harms if found.harms else float("nan")
    print(f"missed                      {found.missed} ({share:.0f} %; aim 5 % at most)")
    print(f"  with no warning at all    {found.missed_at_all}")
    print(f"warnings of what comes      {found.told}")
    print(
        f"false                       {found.false} ({found.false / years:.2f} a piece-year; aim 1 at most)"
    )
    if len(found.leads):
        low, middle, high = np.quantile(found.leads, (0.25, 0.5, 0.75))
        print(f"lead                        {middle:.0f} days ({low:.0f} to {high:.0f}; aim 10 at least)")
    print(f"notices planned             {found.notices} ({found.notices / years:.1f} a piece-year)")


if __name__ == "__main__":
    main()
