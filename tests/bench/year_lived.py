"""A year lived: how often the product warns in time, too late, or of nothing, against a truth that is known.

    python -m tests.bench.year_lived [FILE ...] [--sensor S ...] [--homes N] [--days D] [--every H]
                                     [--processes P] [--seed S] [--smoke]

FILE has the columns ``timestamp_utc,sensor,temperature_c,rh_pct``: each sensor with record enough, or each
of those named, is a home. N simulated homes come to them. In every home stands a chest, and stacks come and
go. Their true wood moves and follows the air otherwise than the tables say (`year_world`). Messages go hour
by hour through ingest's intake and writer; then the watch judges every hour, the outlook of the day is drawn,
and notices are planned as in the service.

Counted (`year_counts`):

* missed: a limit that harms is truly passed, and no warning of what comes was open a day before;
* false: a warning of what comes whose limit is not truly passed by the last `until_at` it told;
* lead: days from such a warning's opening to the first true passing, median and quartiles;
* notices planned;
* of stacks: days from when one is truly ready to when it is called so.

The air of files is real; wood, sensors and simulated homes are invented.
"""

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import select

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts import book, hangings, places
from model.records.schema.tables import Binding, Place, Sensor, Stack, Verdict
from model.records.store import Store
from model.watch.run.evaluation import Watch
from model.watch.state.outlook_store import Outlooks
from model.watch.tell.notices import plan
from model.wood.moisture.blocks import cores
from tests.bench.smoke import parsed
from tests.bench.year_counts import Answer, Counts, count, table
from tests.bench.year_world import (
    BEFORE_DAYS,
    HOUR,
    STACK_EVERY_DAYS,
    Chest,
    Home,
    Lot,
    chest_in,
    homes_of_file,
    lots_in,
    messages_of,
    side_by_side,
    simulated_home,
)

ADDRESS = "json://127.0.0.1:9"
WINDOW_AFTER_DAYS = 3
"""A stack's first window is read so many days after it came."""
SAID_EVERY_DAYS = 20


@dataclass
class Life:
    """One book: its homes with what stands in them, lived side by side from the same instant."""

    store: Store
    homes: Sequence[Home]
    chests: Sequence[Chest]
    lots: Sequence[Sequence[Lot]]
    sent: Sequence[dict[int, list[tuple[int, float, float]]]]
    answers: dict[str, Answer] = field(default_factory=dict)

    @property
    def start_at(self) -> datetime:
        return self.homes[0].start_at

    def at(self, hour: int) -> datetime:
        return self.start_at + hour * HOUR

    def live(self, days: int, every: int) -> None:
        """Replay every home, hour by hour; the watch looks each so many hours."""
        clock = [self.start_at]
        self._hang_sensors()
        registry, writer = Registry(), Writer(self.store, Limits())
        registry.refresh(writer.bulk)
        intake = Intake(registry, Limits(), lambda: clock[0])
        watch, outlooks = Watch(self.store), Outlooks(self.store)
        for hour in range(24 * (days + BEFORE_DAYS)):
            clock[0] = self.at(hour + 1)
            for number, by_hour in enumerate(self.sent):
                for spoken, temperature_c, rh_pct in by_hour.get(hour, ()):
                    at = (self.at(spoken) + 0.5 * HOUR).isoformat()
                    said = {"t": round(temperature_c, 2), "h": round(rh_pct, 1), "at": at}
                    intake.take(f"homes/{number}", json.dumps(said).encode())
            self._arrivals(hour)
            if (hour + 1) % every == 0:
                writer.write(intake.new_batch())
                watch.bring_up_to_date(clock[0])
                if hour >= 24 * BEFORE_DAYS:
                    while outlooks.refresh(clock[0]):
                        pass
                    plan(self.store, clock[0], [ADDRESS])
                    self._hear(hour + 1)
            if hour % (24 * SAID_EVERY_DAYS) == 0:
                print(f"day {hour // 24} of {days + BEFORE_DAYS}", file=sys.stderr, flush=True)
        writer.drop()

    def _hang_sensors(self) -> None:
        with self.store.session() as session:
            for number in range(len(self.homes)):
                place = places.add_place(session, f"Home {number}", "home")
                sensor = Sensor(name=f"s{number}", accepted_at=self.start_at)
                paths = {"shape": "json", "temperature": "/t", "rh": "/h", "time": "/at"}
                sensor.bindings.append(Binding(topic=f"homes/{number}", payload=paths))
                session.add(sensor)
                session.flush()
                hangings.hang_sensor(session, sensor, session.get_one(Place, place.id), self.start_at)

    def _arrivals(self, hour: int) -> None:
        """Chests and stacks that come at an hour, and stacks that go."""
        came = [
            (number, lot) for number, lots in enumerate(self.lots) for lot in lots if lot.came_hour == hour
        ]
        gone = [
            lot.name
            for lots in self.lots
            for lot in lots
            if lot.came_hour + 24 * (STACK_EVERY_DAYS - 1) == hour
        ]
        if hour != 24 * BEFORE_DAYS and not came and not gone:
            return
        with self.store.session() as session:
            if hour == 24 * BEFORE_DAYS:
                for number, chest in enumerate(self.chests):
                    place = session.get_one(Place, number + 1)
                    book.add_piece(session, chest.recorded, place, self.at(hour))
            for number, lot in came:
                place = session.get_one(Place, number + 1)
                home = place if lot.for_home else None
                book.add_stack(session, lot.name, lot.document, place, self.at(hour), home)
                self.answers[lot.name] = Answer()
            for stack in session.scalars(select(Stack).where(Stack.name.in_(gone))):
                book.retire(session, stack, self.at(hour))

    def _hear(self, hour: int) -> None:
        """What is said of each stack at an hour."""
        came = {lot.name: lot.came_hour for lots in self.lots for lot in lots}
        with self.store.session() as session:
            for name, verdict in session.execute(
                select(Stack.name, Verdict)
                .join(Verdict, (Verdict.subject_id == Stack.id) & (Verdict.subject_kind == "stack"))
                .where(Stack.retired_at.is_(None))
            ):
                answer, ready = self.answers[name], verdict.reason.values["ready"]
                if ready["is_ready"] and answer.said_hour is None:
                    answer.said_hour = hour
                ends = ready["from_at"], ready["until_at"]
                if hour - came[name] == 24 * WINDOW_AFTER_DAYS and None not in ends:
                    low, high = (datetime.fromisoformat(end) for end in ends)
                    answer.window = low, high, self.at(hour)


def live(homes: Sequence[tuple[int, Home]], days: int, every: int, seed: int) -> Counts:
    """Live one book's homes, each with its own chance, and count."""
    chance = [np.random.default_rng([seed, number]) for number, _ in homes]
    both = list(zip(homes, chance, strict=True))
    chests = [chest_in(home, number, random) for (number, home), random in both]
    lots = [lots_in(home, number, days, random) for (number, home), random in both]
    sent = [messages_of(home, random) for (_, home), random in both]
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{folder}/book.sqlite")
        store.bring_up_to_date()
        life = Life(store, [home for _, home in homes], chests, lots, sent)
        life.live(days, every)
        end_at = life.at(24 * (days + BEFORE_DAYS))
        stacks = [(lot, life.answers[lot.name]) for own in lots for lot in own]
        counts = count(store, chests, stacks, life.start_at, end_at)
        store.close()
    return counts


def homes_asked(
    files: Sequence[Path], sensors: Sequence[str], simulated: int, days: int, seed: int
) -> tuple[list[Home], int]:
    """All homes, cut to one span, and how many of them are recorded."""
    recorded = [home for file in files for home in homes_of_file(file, days, sensors)]
    start = max((home.start_at for home in recorded), default=datetime(2025, 7, 1, tzinfo=UTC))
    start = start.replace(hour=0, minute=0, second=0)
    homes = side_by_side(recorded, start + timedelta(days=1), days)
    start = homes[0].start_at if homes else start
    chance = [np.random.default_rng([seed, 1000 + number]) for number in range(simulated)]
    invented = [simulated_home(number, start, days, random) for number, random in enumerate(chance)]
    return homes + invented, len(homes)


def main(arguments: Sequence[str] | None = None) -> None:
    """Live the year and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("files", nargs="*", type=Path, help="recorded rooms")
    parser.add_argument(
        "--sensor", action="append", default=[], help="one sensor of the files; may be repeated"
    )
    parser.add_argument("--homes", type=int, default=10, help="simulated homes beside those of the files")
    parser.add_argument("--days", type=int, default=365, help="days that each chest lives")
    parser.add_argument("--every", type=int, default=24, help="hours between two looks of the watch")
    parser.add_argument("--processes", type=int, default=cores(), help="books lived side by side")
    parser.add_argument("--seed", type=int, default=1)
    asked = parsed(parser, arguments, homes=1, days=4, every=24, processes=1)
    homes, real = homes_asked(asked.files, asked.sensor, asked.homes, asked.days, asked.seed)
    if not homes:
        raise SystemExit("no home: no file has a record long enough, and --homes is 0")
    numbered = list(enumerate(homes))
    shares = [numbered[k :: asked.processes] for k in range(min(asked.processes, len(homes)))]
    counts = Counts()
    if len(shares) == 1:
        counts.join(live(shares[0], asked.days, asked.every, asked.seed))
    else:
        with ProcessPoolExecutor(len(shares)) as pool:
            for waiting in [
                pool.submit(live, share, asked.days, asked.every, asked.seed) for share in shares
            ]:
                counts.join(waiting.result())
    years = counts.chests * asked.days / 365.0
    print(
        f"{counts.chests} chests, {real} in recorded homes, "
        f"from {homes[0].start_at:%Y-%m-%d}: {years:.1f} piece-years"
    )
    print(table(counts, years))


if __name__ == "__main__":
    main()
