"""Tells which sensor each line of a file speaks of, and hangs that sensor."""

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from ingest.files.columns import ColumnGuess
from ingest.files.imported import FirstRow, ImportReport
from ingest.payload.quantities import plain
from ingest.recognise.accept import place_named, require_kind
from model.records.acts.hangings import hang_since, readings_nowhere
from model.records.schema.tables import Binding, Place, Sensor
from model.records.schema.types import from_epoch_ms
from model.records.store import Store
from model.wood.errors import BadInput
from model.words.cells import as_meant

FIRST_ROWS = 5
UNMADE = 1 << 40  # numbers no sensor has, for those that are not made yet


class Names:
    """Tells which sensor a line of a file speaks of; makes those that may be made."""

    def __init__(
        self,
        store: Store,
        report: ImportReport,
        now: datetime,
        where: str,
        create: str | None,
        place_kind: str | None,
        zone: str,
        keep: bool,
    ) -> None:
        self._store, self._report, self._now, self._where = store, report, now, where
        self._create, self._place_kind, self._zone, self._keep = create, place_kind, zone, keep
        self._first_ms: dict[int, int] = {}
        self._only: int | None = None  # the one sensor that every line speaks of
        self.rule = "sensor must be one that is known"
        with store.session() as session:
            if create is not None:
                require_kind(session, create, place_kind)
            self._ids = {name: number for number, name in session.execute(select(Sensor.id, Sensor.name))}
            bound = session.execute(select(Binding.topic, Binding.sensor_id))
            self._topics = {row.topic: row.sensor_id for row in bound}

    def take_all_for(self, sensor: str) -> None:
        """Take every line for this sensor's."""
        number = self._named(sensor)
        if number < 0:
            raise BadInput(self._where, "sensor", "must be one that is known", plain(sensor))
        self._only = number

    def of(self, frame: pd.DataFrame, guess: ColumnGuess) -> tuple[NDArray[np.int64], "pd.Series[Any]"]:
        """The sensor's number for every line, -1 where there is none; and what the line says of it."""
        if self._only is not None:
            return np.full(len(frame), self._only, dtype=np.int64), pd.Series("", index=frame.index)
        told = guess.sensor or guess.topic
        if told is None:
            raise BadInput(
                self._where, "columns", "name no sensor: say whose readings these are", ", ".join(guess.names)
            )
        ids = np.full(len(frame), -1, dtype=np.int64)
        for column, number_of in ((guess.sensor, self._named), (guess.topic, self._bound)):
            if column is not None and (ids < 0).any():
                codes, distinct = pd.factorize(frame[column].str.strip())
                numbers = np.array([*(number_of(as_meant(str(name))) for name in distinct), -1], np.int64)
                ids = np.where(ids < 0, numbers[codes], ids)
        return ids, frame[told]

    def _bound(self, topic: str) -> int:
        return self._topics.get(topic, -1)

    def _named(self, name: str) -> int:
        number = self._ids.get(name)
        if number is None:
            number = self._ids[name] = self._make(name) if name and self._create is not None else -1
        return number

    def _make(self, name: str) -> int:
        self._report.created.append(name)
        if not self._keep:
            return UNMADE - len(self._report.created)
        with self._store.session() as session:
            made = Sensor(name=name, zone=self._zone, accepted_at=self._now)
            session.add(made)
            session.flush()
            return made.id

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
            first_at = from_epoch_ms(first_ms)
            if not self._keep:
                if self._create is not None:
                    self._report.hung[names[number]] = (self._create, first_at)
                continue
            with self._store.session() as session:
                sensor = session.get_one(Sensor, number)
                if self._create is not None:
                    place = place_named(session, self._create, self._place_kind, self._zone)
                    self._hang(session, sensor, place, first_at)
                left = readings_nowhere(session, sensor)
                if left.count:
                    place_name = left.place.name if left.place else None
                    self._report.nowhere[sensor.name] = left.count, place_name, left.since_at

    def _hang(self, session: Session, sensor: Sensor, place: Place, first_at: datetime) -> None:
        covering = [one for one in sensor.hangings if one.since_at <= first_at]
        if not covering:
            first = min(sensor.hangings, key=lambda one: one.since_at, default=None)
            if first is None or first.place_id == place.id:
                hang_since(session, sensor, place, first_at)
        here = [one for one in sensor.hangings if one.place_id == place.id]
        if here:
            self._report.hung[sensor.name] = (place.name, min(one.since_at for one in here))
