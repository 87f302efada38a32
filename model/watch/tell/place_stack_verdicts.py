"""Places, stacks and sensors: what is judged of them after the wood has been followed.

What follows from whole days is computed once a day, and again when something changed before the last
midnight; what it follows from is only what is stored, so both come to the same.
"""

from collections.abc import Mapping, Sequence
from functools import partial

from model.records.bulk import Bulk
from model.watch.air.air_hours import read_hangings
from model.watch.air.climate import Climate
from model.watch.air.daily import DAY_H, Days, days_of
from model.watch.air.places import air_then, place_now
from model.watch.questions.ready import Window
from model.watch.run.rows import Row, verdict_row
from model.watch.state import read_back as resume
from model.watch.state.hysteresis import EASY
from model.watch.state.margins import fit_then
from model.watch.state.roster import Assembly, Roster
from model.watch.tell.place_days import MOVING, SEASON, PlaceHistory, place_history
from model.watch.tell.place_warnings import COLD_IRON, SILENT, WATER, cold_iron, place_silences, water_events
from model.watch.tell.sensors import sensors_now
from model.watch.tell.stacks import (
    StackHistory,
    stack_as_it_is,
    stack_history,
    stack_now,
    stack_windows,
)
from model.watch.tell.warnings import Changes, Episode, Stored, read_stored, reconcile

OF_PLACES = {MOVING, SEASON, SILENT, WATER, COLD_IRON}
"""The warnings of places that are written here; others speak of glue-ups."""
DRY_END_PCT = 1.0


class Around:
    """Judges places, stacks and sensors, and keeps what follows from their days."""

    def __init__(self) -> None:
        self._midnight = -1
        self._places: dict[int, PlaceHistory] = {}
        self._stacks: dict[int, StackHistory] = {}
        self._windows: dict[int, tuple[tuple[int, int], Window | None]] = {}

    def changed_from(self, hour: int) -> None:
        """Air or wood changed from an hour on."""
        if hour < self._midnight:
            self._midnight = -1

    def judge(
        self,
        bulk: Bulk,
        roster: Roster,
        hour: int,
        climates: Mapping[int, Climate],
        marks: Sequence[tuple[int, int, int]],
        trusted_until: Mapping[int, int],
    ) -> tuple[list[Row], list[Changes]]:
        """Rows of the verdicts of all of them at an hour, and what to write so that their warnings are right.

        They follow from what is stored; wood rests where air is trusted no more.
        """
        stacks = [
            owner
            for owner in roster.owners
            if owner.kind == "stack" and owner.bodies and owner.start_hour <= hour
        ]
        if self._midnight != hour // DAY_H * DAY_H:
            self._look_back(bulk, roster, stacks, hour, climates)
        hangings = read_hangings(bulk)
        verdicts, changes, silences = sensors_now(bulk, roster.places, hangings, hour, marks)
        stored = read_stored(bulk, "place", 0)
        for id_ in sorted(roster.places):
            climate, history = climates[id_], self._places[id_]
            verdicts.append(verdict_row("place", id_, place_now(climate, hour, history), hour))
            told = [
                *history.episodes,
                *water_events(climate, partial(_is_used, roster.owners, id_)),
                *cold_iron(climate),
                *place_silences(climate, hour, hangings, silences),
            ]
            own = [one for one in stored.get(id_, []) if one.episode.limit_name in OF_PLACES]
            changes += _changes(own, told)
        stored = read_stored(bulk, "stack", 0)
        for owner in stacks:
            changes += _changes(stored.get(owner.id, []), self._stacks[owner.id].episodes)
        verdicts += self._ready(
            bulk, [owner for owner in stacks if owner.until > hour], hour, climates, trusted_until
        )
        return verdicts, changes

    def _ready(
        self,
        bulk: Bulk,
        owners: Sequence[Assembly],
        hour: int,
        climates: Mapping[int, Climate],
        trusted_until: Mapping[int, int],
    ) -> list[Row]:
        """The verdict of each stack; its days ahead are asked once a day, and when it was metered."""
        airs = {owner.id: air_then(owner, hour, climates) for owner in owners}
        found = {
            owner.id: stack_as_it_is(
                bulk, owner, hour, climates, not airs[owner.id].unknown, self._stacks[owner.id]
            )
            for owner in owners
        }
        due = {}
        for owner in owners:
            one = found[owner.id]
            if one is None or airs[owner.id].unknown or one.standing.level == EASY:
                self._windows.pop(owner.id, None)
            elif owner.id not in self._windows or self._windows[owner.id][0] != (one.from_hour, one.place_id):
                due[owner.id] = owner, one
        windows = stack_windows(due, hour, climates)
        self._windows |= {
            id_: ((one.from_hour, one.place_id), windows.get(id_)) for id_, (_, one) in due.items()
        }
        rows = []
        for owner in owners:
            _, window = self._windows.get(owner.id, (None, None))
            judged = stack_now(owner, found[owner.id], window, airs[owner.id], climates)
            state_hour = owner.followed_until(trusted_until, hour)
            rows.append(verdict_row("stack", owner.id, judged, hour, state_hour))
        return rows

    def _look_back(
        self,
        bulk: Bulk,
        roster: Roster,
        stacks: Sequence[Assembly],
        hour: int,
        climates: Mapping[int, Climate],
    ) -> None:
        days = {id_: days_of(climate.air, hour) for id_, climate in climates.items()}
        self._places = {
            id_: place_history(
                climates[id_].place,
                days[id_],
                hour,
                partial(_is_used, roster.owners, id_),
                partial(dry_pieces, bulk, roster.owners, id_),
            )
            for id_ in sorted(roster.places)
        }
        known: dict[int, Days] = {id_: own for id_, own in days.items() if len(own.emc_pct)}
        self._windows = {}
        self._stacks = {o.id: stack_history(bulk, o, hour, climates, known) for o in stacks}
        self._midnight = hour // DAY_H * DAY_H


def _changes(stored: Sequence[Stored], told: Sequence[Episode]) -> list[Changes]:
    change = reconcile(stored, told)
    return [change] if len(change) else []


def _is_used(owners: Sequence[Assembly], place_id: int, hour: int) -> bool:
    """Whether anything of wood stood at a place at an hour."""
    return any(_stood(owner, place_id, hour) for owner in owners)


def _stood(owner: Assembly, place_id: int, hour: int) -> bool:
    before = max(hour - 1, owner.start_hour)
    return owner.start_hour <= hour < owner.until and owner.place_at(before) == place_id


def dry_pieces(bulk: Bulk, owners: Sequence[Assembly], place_id: int, midnight: int) -> list[str]:
    """Names of the pieces at a place that would pass a limit if they became a point drier, at a midnight."""
    pieces = [o for o in owners if o.kind == "piece" and o.fits and _stood(o, place_id, midnight)]
    asked: dict[int, list[int]] = {}
    for owner in pieces:
        for at in {midnight, *owner.kept_hours}:
            if at <= midnight:
                asked.setdefault(at, []).extend(body.id for body in owner.bodies)
    mean_pct = {key: float(values[3]) for key, values in resume.read_states(bulk, asked).items()}

    def moisture_then(body_id: int, hour: int) -> float:
        return mean_pct[body_id, hour]

    found = []
    for owner in pieces:
        drier = {
            body.name: max(mean_pct[body.id, midnight] - DRY_END_PCT, 0.0)
            for body in owner.bodies
            if (body.id, midnight) in mean_pct
        }
        bodies = {body.name: body for body in owner.bodies}
        for fit in owner.fits:
            members = [bodies[member.name] for member in fit.fit.members]
            if not all(member.name in drier for member in members):
                continue
            limits = fit_then(fit, members, midnight, moisture_then).limits(drier)
            if any(limit.direction == "shrinking" and limit.margin_mm < 0.0 for limit in limits):
                found.append(owner.name)
                break
    return found
