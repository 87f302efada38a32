"""Reads back what the watch stored of bodies and fits, to go on from: states, and how limits stood."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from model.records.bulk import Bulk
from model.watch.air.air_hours import HOUR_MS
from model.watch.run import watch_sql as ledger
from model.watch.state.hysteresis import STANDINGS, Standing
from model.watch.state.margins import Resumed
from model.watch.state.roster import Assembly, FitOnBook, LearnedStep
from model.watch.state.states import NOT_STARTED, States
from model.wood.learning import Learned
from model.wood.moisture import solver as moisture


def last_hours(bulk: Bulk) -> dict[int, int]:
    """The last recorded hour of each body that has one."""
    at = bulk.instant_of("(SELECT MAX(at) FROM checkpoint WHERE body_id = body.id)")
    return {
        body: int(ms) // HOUR_MS
        for body, ms in bulk.rows(f"SELECT id, {at} FROM body ORDER BY id")
        if ms is not None
    }


def read_states(bulk: Bulk, at: Mapping[int, Sequence[int]]) -> dict[tuple[int, int], tuple[Any, ...]]:
    """Stored states, by body id and hour: profile, variance, estimated hours, and mean, face, core, back.

    Parameters
    ----------
    at : mapping of hour to body ids
    """
    found: dict[tuple[int, int], tuple[Any, ...]] = {}
    for hour, bodies in at.items():
        for ids in ledger.in_portions(bodies):
            for body, profile, *others in bulk.rows(
                "SELECT body_id, profile_pct, variance_pct2, estimated_hours, mc_mean_pct, mc_face_pct, "
                "mc_core_pct, mc_back_pct FROM checkpoint "
                f"WHERE at = ? AND body_id IN ({', '.join('?' * len(ids))})",
                (bulk.instant(hour * HOUR_MS), *ids),
            ):
                values = np.frombuffer(profile, dtype="<f8").astype(np.float64)
                if len(values) == moisture.CELLS:
                    found[body, hour] = values, *others
    return found


def states_at(owner: Assembly, hour: int, stored: Mapping[tuple[int, int], tuple[Any, ...]]) -> States | None:
    """An owner's states at an hour; none when a body that had started by then has no record of it."""
    states = States.blank(len(owner.bodies))
    for row, body in enumerate(owner.bodies):
        found = stored.get((body.id, hour))
        if found is None:
            if body.start_hour <= hour:
                return None
            continue
        states.hour[row] = hour
        states.profile[row], states.variance_pct2[row], states.estimated_hours[row] = found[:3]
        states.outline[row] = found[3:]
    return states if (states.hour != NOT_STARTED).any() else None


def read_learned(bulk: Bulk, owners: Sequence[Assembly]) -> dict[int, list[LearnedStep]]:
    """What was learned of the bodies of some owners, by body id and in order; of those measured on."""
    found: dict[int, list[LearnedStep]] = {}
    measured = [body.id for owner in owners for body in owner.bodies if body.on_wood]
    at = bulk.instant_of("at")
    for ids in ledger.in_portions(measured):
        for body, ms, *learned in bulk.rows(
            f"SELECT body_id, {at}, movement_factor, movement_doubt, rate_factor, rate_doubt, "
            f"settles_pct, settles_doubt_pct, count "
            f"FROM learned WHERE body_id IN ({', '.join('?' * len(ids))}) ORDER BY body_id, {at}",
            tuple(ids),
        ):
            found.setdefault(body, []).append(LearnedStep(ms // HOUR_MS, Learned(*learned)))
    return found


def as_learned(owner: Assembly, hour: int, stored: Mapping[int, Sequence[LearnedStep]]) -> Assembly:
    """An owner as what was measured up to an hour has taught of it."""
    known = {}
    for body in (body for body in owner.bodies if body.id in stored):
        taught = replace(body, steps=tuple(stored[body.id])).learned_by(hour)
        if taught is not None:
            known[body.id] = taught
    return owner.as_learned(known)


def learned_at(
    owner: Assembly, hour: int, stored: Mapping[int, Sequence[LearnedStep]]
) -> dict[int, LearnedStep] | None:
    """What was learned of an owner's bodies last up to an hour; none when a measurement isn't on record."""
    found = {}
    for body in owner.bodies:
        steps = [step for step in stored.get(body.id, ()) if step.hour <= hour]
        if {one.hour for one in body.on_wood if one.hour <= hour} - {step.hour for step in steps}:
            return None
        if steps:
            found[body.id] = steps[-1]
    return found


def read_resumed(bulk: Bulk, at: Mapping[int, Sequence[FitOnBook]]) -> dict[int, dict[str, tuple[Any, ...]]]:
    """How limits stood at an hour, by fit id and limit name."""
    found: dict[int, dict[str, tuple[Any, ...]]] = {}
    since = bulk.instant_of("standing_since_at")
    for hour, fits in at.items():
        for ids in ledger.in_portions([fit.id for fit in fits]):
            for fit, limit, standing, since_ms, improving in bulk.rows(
                f"SELECT fit_id, limit_name, standing, {since}, eased FROM margin "
                f"WHERE at = ? AND fit_id IN ({', '.join('?' * len(ids))})",
                (bulk.instant(hour * HOUR_MS), *ids),
            ):
                found.setdefault(fit, {})[limit] = (
                    STANDINGS.index(standing),
                    since_ms // HOUR_MS,
                    bool(improving),
                )
    return found


def resumed_from(names: Sequence[str], rows: Mapping[str, tuple[Any, ...]] | None) -> Resumed | None:
    """How a fit's limits stood, in the order of their names; none when one is not on record."""
    if rows is None or set(rows) != set(names):
        return None
    columns = list(zip(*(rows[name] for name in names), strict=True))
    standing = Standing(
        np.array(columns[0], dtype=np.int64),
        np.array(columns[1], dtype=np.int64),
        np.array(columns[2], dtype=bool),
    )
    return Resumed(tuple(names), standing)
