"""Margins of each limit of each fit, hour by hour, and their standings.

Margins come from the fit's own arithmetic at the members' moisture. A re-measured width is a new pair of
width and moisture from its hour on; a re-measured gap is the fit's new gap at the moisture its members had
then. What was learned of a member's movement holds from its hour on, back to what the fit was measured at.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from model.watch.air.climate import Climate, Floats
from model.watch.state.hysteresis import CLEAR_BY_PCT, Flags, History, Standing, near_below, standings
from model.watch.state.piecewise_linear import Straight
from model.watch.state.roster import Assembly, FitOnBook, SolverMember
from model.watch.state.states import Run
from model.wood.errors import BadInput
from model.wood.fits import Fit, Limit
from model.wood.material.member import Member

MoistureThen = Callable[[int, int], float]
"""Mean moisture content of a body (by id) at a kept hour."""


_Change = tuple[int, str, SolverMember | None, float]
"""A measurement on a fit: its hour, width or gap, whose width, and how much [mm]."""


@dataclass
class Resumed:
    """How the limits of a fit stood at the hour a run goes on from."""

    names: tuple[str, ...]
    standing: Standing


@dataclass
class FitHours:
    """A fit through consecutive hours: arrays are limits by hours."""

    owner: Assembly
    fit: FitOnBook
    first: int
    limits: tuple[
        Limit, ...
    ]  # as first asked, for names and words; their margins are those of the first hours
    margin_mm: Floats
    margin_toward_limit_mm: Floats
    margin_at_emc_mm: Floats
    play_mm: Floats
    unknown: Flags  # (hours,)
    before: Resumed | None
    history: History | None = None
    changed: bool = True  # whether the standing of a limit ever became another

    @property
    def last(self) -> int:
        return self.first + self.margin_mm.shape[1] - 1

    @property
    def standing(self) -> Standing:
        """How its limits stand at the last hour."""
        assert self.history is not None
        return self.history.at(-1)

    def rest(self) -> bool:
        """Stand as before the hour, which it was settled for already; false where that isn't on record."""
        if self.before is None:
            return False
        at = self.before.standing
        self.history = History(at.level[:, None], at.since[:, None], at.improving[:, None])
        self.changed = False
        return True

    def near_mm(self, column: int) -> Floats:
        """Below which margin each limit is near at one of the hours."""
        return near_below(self.play_mm, self.margin_mm[:, column], self.margin_toward_limit_mm[:, column])


def fits_through(
    owner: Assembly,
    run: Run,
    rows: Mapping[str, int],
    resumed_hour: int | None,
    resumed: Mapping[int, Resumed],
    until: int,
    climates: Mapping[int, Climate],
    moisture_then: MoistureThen,
) -> list[FitHours]:
    """Each fit of a piece through the hours a run computed; standings are still to come.

    Parameters
    ----------
    rows : mapping of member name to row of the run
    resumed_hour : int, optional
        The hour the run went on from; None from the start.
    resumed : mapping of fit id to Resumed
        At that hour.
    until : int
        The last hour.
    """
    last = min(until, owner.until)
    bodies = {body.name: body for body in owner.bodies}
    found = []
    air: dict[int, tuple[Flags, Floats]] = {}
    for fit in owner.fits:
        members = [bodies[member.name] for member in fit.fit.members]
        first = max(body.start_hour for body in members)
        if resumed_hour is not None:
            first = max(first, resumed_hour + 1)
        if first > last:
            continue
        if first not in air:
            air[first] = _air_through(owner, first, last, climates)
        unknown, emc_pct = air[first]
        columns = slice(first - run.first, last + 1 - run.first)
        mc = {body.name: run.mc_pct[rows[body.name], columns] for body in members}
        parts = [
            _part(
                version,
                fit.straight if version is fit.fit else None,
                {name: values[start - first : end - first] for name, values in mc.items()},
                emc_pct[start - first : end - first],
            )
            for version, start, end in versions(fit, members, first, last + 1, moisture_then)
        ]
        limits = parts[0][0]
        margin_mm, toward_limit_mm, at_emc_mm = (
            np.concatenate([part[1][which] for part in parts], axis=1) for which in range(3)
        )
        before = resumed.get(fit.id)
        if before is not None and before.names != fit.limit_names:
            before = None
        found.append(
            FitHours(
                owner, fit, first, limits, margin_mm, toward_limit_mm, at_emc_mm, fit.play_mm, unknown, before
            )
        )
    return found


def settle(fits: Sequence[FitHours]) -> None:
    """Work out how every limit of these fits stands at each hour."""
    groups: dict[tuple[int, int], list[FitHours]] = {}
    for fit in fits:
        groups.setdefault((fit.first, fit.last), []).append(fit)
    for (first, _), group in groups.items():
        before = [
            fit.before.standing if fit.before is not None else Standing.first(len(fit.limits), fit.first)
            for fit in group
        ]
        counts = np.array([len(fit.limits) for fit in group])
        was = Standing(*(np.concatenate(column) for column in zip(*before, strict=True)))
        history = standings(
            was,
            first,
            np.concatenate([fit.margin_mm for fit in group]),
            np.concatenate([fit.margin_toward_limit_mm for fit in group]),
            np.concatenate([fit.margin_at_emc_mm for fit in group]),
            np.concatenate([fit.play_mm for fit in group]),
            np.repeat(np.array([fit.unknown for fit in group]), counts, axis=0),
        )
        changed = (history.level != was.level[:, None]).any(axis=1).tolist()
        row = 0
        for fit in group:
            own = slice(row, row + len(fit.limits))
            fit.changed = any(changed[own])
            fit.history = History(history.level[own], history.since[own], history.improving[own])
            row += len(fit.limits)


def _air_through(
    owner: Assembly, first: int, last: int, climates: Mapping[int, Climate]
) -> tuple[Flags, Floats]:
    """At each hour from first to last: whether the air is unknown, and its EMC [%]."""
    begin = owner.start_hour
    unknown = np.ones(last - first + 1, dtype=bool)
    emc_pct = np.full(last - first + 1, np.nan)
    for stay in owner.stays:
        # An instant speaks of the place where the hour before it was spent; the first of where it begins.
        since = max(first, stay.since if stay.since == begin else stay.since + 1)
        until = min(last, stay.until)
        climate = climates.get(stay.place_id)
        if climate is None or since > until:
            continue
        here = climate.through(since, until)
        if (since, until) == (first, last):
            return here
        span = slice(since - first, until + 1 - first)
        unknown[span], emc_pct[span] = here
    return unknown, emc_pct


def _part(
    fit: Fit, straight: Straight | None, mc: Mapping[str, Floats], emc_pct: Floats
) -> tuple[tuple[Limit, ...], Sequence[Floats]]:
    """A fit's limits over some hours, and its margins now, nearer the limit, and when settled."""
    if straight is not None:
        return straight.limits, straight.margins(mc, emc_pct, CLEAR_BY_PCT)
    n = len(emc_pct)
    asked = {}
    for name, values in mc.items():
        asked[name] = four = np.empty(4 * n)
        four[:n] = values
        np.add(values, CLEAR_BY_PCT, out=four[n : 2 * n])
        np.maximum(values - CLEAR_BY_PCT, 0.0, out=four[2 * n : 3 * n])
        four[3 * n :] = emc_pct
    limits = fit.limits(asked)
    table = np.empty((len(limits), 4, n))
    toward_limit = np.empty((len(limits), n))
    for row, limit in enumerate(limits):
        table[row] = np.reshape(limit.margin_mm, (4, n))
        toward_limit[row] = table[row, 1 if limit.direction == "swelling" else 2]
    return tuple(limits), [table[:, 0], toward_limit, table[:, 3]]


def versions(
    fit: FitOnBook, members: Sequence[SolverMember], first: int, end: int, moisture_then: MoistureThen
) -> list[tuple[Fit, int, int]]:
    """A fit as it was known over spans of hours, each measurement of its parts making it new."""
    changes: list[_Change] = []
    for body in members:
        changes += [(hour, "width", body, value) for hour, value in body.widths]
    changes += [(hour, "gap", None, value) for hour, value in fit.gaps]
    changes.sort(key=lambda change: change[:2])
    learned = {step.hour for body in members for step in body.steps}

    def known_at(hour: int) -> Fit:
        """The fit as its parts move, from its beginning."""
        before = [change for change in changes if change[0] <= hour]
        return _taken_up(_moving(fit.fit, members, hour), before, members, moisture_then)

    found: list[tuple[Fit, int, int]] = []
    now, since = known_at(first), first
    for hour in sorted({change[0] for change in changes} | learned):
        if not first < hour < end:
            continue
        if hour in learned:
            new = known_at(hour)
        else:
            new = _taken_up(now, [change for change in changes if change[0] == hour], members, moisture_then)
        if new is not now:
            found.append((now, since, hour))
            now, since = new, hour
    return [*found, (now, since, end)]


def _moving(fit: Fit, members: Sequence[SolverMember], hour: int) -> Fit:
    """A fit whose parts move as was learned of each up to an hour."""
    learned = {body.name: body.learned_by(hour) for body in members}
    if not any(learned.values()):
        return fit

    def moved(member: Member) -> Member:
        known = learned[member.name]
        return member if known is None else member.moving_by(known.moves)

    return fit.with_members(moved)


def _taken_up(
    fit: Fit, changes: Sequence[_Change], members: Sequence[SolverMember], moisture_then: MoistureThen
) -> Fit:
    """A fit after some measurements of width or gap, in order."""
    for hour, _, measured, value in changes:
        mc = {
            body.name: moisture_then(body.id, hour) for body in (members if measured is None else [measured])
        }
        with suppress(BadInput):  # a fit without a gap that can be measured stays as it was
            fit = _measured(fit, measured, value, mc)
    return fit


def fit_then(fit: FitOnBook, members: Sequence[SolverMember], hour: int, moisture_then: MoistureThen) -> Fit:
    """A fit as it was known at an hour."""
    return versions(fit, members, hour, hour + 1, moisture_then)[-1][0]


def _measured(fit: Fit, body: SolverMember | None, value_mm: float, mc: Mapping[str, float]) -> Fit:
    """A fit after the width of a member, or else its gap, was measured."""
    if body is not None:
        return fit.re_measured(body.name, value_mm, mc[body.name])
    return fit.with_gap(value_mm, mc)
