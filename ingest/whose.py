"""Which sensor each line of a file speaks of, and where that sensor hung."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from ingest.accept import place_named
from ingest.cells import as_meant
from ingest.columns import ColumnGuess
from ingest.imported import FirstRow, ImportReport
from ingest.quantities import plain
from model.records.clock import Now
from model.records.hangings import hang_since, readings_nowhere
from model.records.store import Store
from model.records.tables import Binding, Place, Sensor
from model.records.types import from_epoch_ms
from model.wood.errors import BadInput

FIRST_ROWS = 5
UNMADE = 1 << 40  # numbers no sensor has, for those that are not made yet


class Names:
    """Which sensor a line speaks of; makes those that may be made."""

    def __init__(
        self,
        store: Store,
        report: ImportReport,
        now: Now,
        where: str,
        create: Mapping[str, str] | str | None,
        place_kind: str,
        zone: str,
        keep: bool,
    ) -> None:
        self._store, self._report, self._now, self._where = store, report, now, where
        self._keep = keep
        self._create, self._place_kind, self._zone = create, place_kind, zone
        self._first_ms: dict[int, int] = {}
        self._fixed: int | None = None
        self.rule = "sensor must be one that is known"
        with store.session() as session:
            self._ids = {name: number for number, name in session.execute(select(Sensor.id, Sensor.name))}
            bound = session.execute(select(Binding.topic, Binding.sensor_id))
            self._topics = {row.topic: row.sensor_id for row in bound}

    def settle(self, sensor: str | None, topic: str | None) -> None:
        """Take every line for one sensor's, if one is named."""
        if sensor is not None:
            self._fixed = self._ids.get(sensor)
            if self._fixed is None and self._place_of(sensor) is None:
                raise BadInput(self._where, "sensor", "must be one that is known", plain(sensor))
            if self._fixed is None:
                self._fixed = self._make(sensor)
        elif topic is not None:
            self._fixed = self._topics.get(topic)
            if self._fixed is None:
                raise BadInput(self._where, "topic", "must be one that a sensor is bound to", plain(topic))

    def of(self, frame: pd.DataFrame, guess: ColumnGuess) -> tuple[NDArray[np.int64], "pd.Series[Any]"]:
        """The sensor's number for every line, -1 where there is none; and what the line says of it."""
        if self._fixed is not None:
            return np.full(len(frame), self._fixed, dtype=np.int64), pd.Series("", index=frame.index)
        if guess.sensor is None and guess.topic is None:
            raise BadInput(
                self._where, "columns", "name no sensor: say whose readings these are", ", ".join(guess.names)
            )
        column = guess.sensor or guess.topic
        assert column is not None
        codes, distinct = pd.factorize(frame[column].str.strip())
        numbers = np.array(
            [self._number(as_meant(str(name)), guess) for name in distinct] + [-1], dtype=np.int64
        )
        ids = numbers[codes]
        if guess.sensor is not None and guess.topic is not None and (ids < 0).any():
            codes, distinct = pd.factorize(frame[guess.topic].str.strip())
            by_topic = np.array(
                [self._topics.get(as_meant(str(name)), -1) for name in distinct] + [-1], dtype=np.int64
            )
            ids = np.where(ids < 0, by_topic[codes], ids)
        return ids, frame[column]

    def _number(self, name: str, guess: ColumnGuess) -> int:
        if guess.sensor is None:
            return self._topics.get(name, -1)
        number = self._ids.get(name)
        if number is None and name and self._place_of(name) is not None:
            number = self._make(name)
        return -1 if number is None else number

    def _place_of(self, name: str) -> str | None:
        return (
            self._create if self._create is None or isinstance(self._create, str) else self._create.get(name)
        )

    def _make(self, name: str) -> int:
        self._report.created.append(name)
        if not self._keep:
            self._ids[name] = number = UNMADE - len(self._report.created)
            return number
        with self._store.session() as session:
            made = Sensor(name=name, zone=self._zone, accepted_at=self._now())
            session.add(made)
            session.flush()
            self._ids[name] = number = made.id
        return number

    def first_rows(self, table: pd.DataFrame) -> list[FirstRow]:
        """The first rows of a piece, for people."""
        names = {number: name for name, number in self._ids.items()}
        columns = ("sensor_id", "observed_ms", "temperature_c", "rh_pct")
        rows = zip(*(table[column].head(FIRST_ROWS).tolist() for column in columns), strict=True)
        return [
            FirstRow(names.get(sensor_id, ""), from_epoch_ms(at_ms), *(None if v != v else v for v in air))
            for sensor_id, at_ms, *air in rows
        ]

    def seen(self, table: pd.DataFrame) -> None:
        """Note the readings of each sensor, and its first."""
        by_sensor = table.groupby("sensor_id")["observed_ms"].agg(["size", "min"])
        names = {number: name for name, number in self._ids.items()}
        for number, count, first_ms in by_sensor.itertuples():
            self._report.sensors[names.get(number, "")] += int(count)
            self._first_ms[number] = min(int(first_ms), self._first_ms.get(number, int(first_ms)))

    def hang(self) -> None:
        """Hang each sensor of the file at its place since its first reading; count what belongs to none."""
        names = {number: name for name, number in self._ids.items()}
        for number, first_ms in self._first_ms.items():
            name, first_at = names[number], from_epoch_ms(first_ms)
            wanted = self._place_of(name)
            if not self._keep:
                if wanted:
                    self._report.hung[name] = (wanted, first_at)
                continue
            with self._store.session() as session:
                sensor = session.get_one(Sensor, number)
                if wanted:
                    place = place_named(session, wanted, self._place_kind, self._zone)
                    self._hang(session, sensor, place, first_at)
                left = readings_nowhere(session, sensor)
                if left.count:
                    place_name = left.place.name if left.place else None
                    self._report.nowhere[name] = left.count, place_name, left.since_at

    def _hang(self, session: Session, sensor: Sensor, place: Place, first_at: datetime) -> None:
        covering = [one for one in sensor.hangings if one.since_at <= first_at]
        if not covering:
            first = min(sensor.hangings, key=lambda one: one.since_at, default=None)
            if first is None or first.place_id == place.id:
                hang_since(session, sensor, place, first_at)
        here = [one for one in sensor.hangings if one.place_id == place.id]
        if here:
            self._report.hung[sensor.name] = (place.name, min(one.since_at for one in here))
