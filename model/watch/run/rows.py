"""Computed results as rows of their tables; instants still in milliseconds since 1970."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple
from typing import Any

import msgspec
import numpy as np

from model.watch.air.air_hours import HOUR_MS
from model.watch.state.hysteresis import STANDINGS
from model.watch.state.margins import FitHours
from model.watch.state.roster import Assembly
from model.watch.state.states import Run
from model.watch.tell.verdicts import Judged
from model.wood.material.movement import Movement, width_at

Row = tuple[Any, ...]
Widths = Mapping[int, Sequence[tuple[int, float, float]]]


def checkpoint_rows(done: Run, re_measured: Widths, is_stack: Sequence[bool]) -> list[Row]:
    """Rows of `checkpoint` in the order of `ledger.CHECKPOINT`.

    Parameters
    ----------
    done : Run
    re_measured : mapping of the run's row to (hour, width_mm, mc_pct)
        New pairs of width and moisture, in order.
    is_stack : (n,)
        Bodies without a width of their own.
    """
    members = [body.member for body in done.bodies]
    width_mm = np.array([member.width_mm for member in members])
    mc_pct = np.array([member.mc_pct for member in members])
    coefficient, slope, saturation = (
        np.array([getattr(member.movement, name) for member in members])
        for name in ("coefficient_per_pct", "shrinkage_slope_per_pct", "fibre_saturation_pct")
    )
    rows: list[Row] = []
    is_learned = any(body.steps for body in done.bodies)
    for record in done.records:
        at = record.rows
        movement: Any = Movement(coefficient[at], slope[at], saturation[at])  # type: ignore[arg-type]
        if is_learned:
            known = [done.bodies[row].learned_by(record.hour) for row in at.tolist()]
            movement = movement.scaled(np.array([1.0 if one is None else one.moves for one in known]))
        pair_width, pair_mc = width_mm[at], mc_pct[at]
        if re_measured:
            for k, row in enumerate(at.tolist()):
                for hour, width, moisture in re_measured.get(row, ()):
                    if hour <= record.hour:
                        pair_width[k], pair_mc[k] = width, moisture
        then = record.states
        widths = np.asarray(width_at(pair_width, pair_mc, then.outline[:, 0], movement)).tolist()
        profiles = np.ascontiguousarray(then.profile, dtype="<f8")
        columns = zip(
            at.tolist(), profiles, *then.outline.T.tolist(), widths, then.estimated_hours.tolist(),
            then.variance_pct2.tolist(), strict=True,
        )  # fmt: skip
        ms = record.hour * HOUR_MS
        rows += [
            (done.bodies[row].id, ms, profile.tobytes(), mean, face, core, back,
             None if is_stack[row] else width, estimated, variance)
            for row, profile, mean, face, core, back, width, estimated, variance in columns
        ]  # fmt: skip
    return rows


def learned_rows(owner: Assembly, since: int) -> list[Row]:
    """Rows of `learned` of an owner's bodies from an hour on, in the order of `ledger.LEARNED`."""
    return [
        (body.id, step.hour * HOUR_MS, *astuple(step.learned))
        for body in owner.bodies
        for step in body.steps
        if step.hour >= since
    ]


def margin_rows(fit: FitHours, kept_hours: Iterable[int]) -> list[Row]:
    """Rows of `margin` in the order of `ledger.MARGIN`: at midnights, kept hours and the last hour."""
    history = fit.history
    assert history is not None
    first, last = fit.first, fit.last
    hours = {hour for hour in kept_hours if first <= hour < last} | {last}
    columns = [hour - first for hour in sorted(hours | set(range(-(-first // 24) * 24, last, 24)))]
    margins, levels, since, improving = (
        values[:, columns].tolist()
        for values in (fit.margin_mm, history.level, history.since, history.improving)
    )
    return [
        (fit.fit.id, limit.name, (first + column) * HOUR_MS, limit.direction, limit.severity,
         margins[number][place], play_mm, STANDINGS[levels[number][place]],
         since[number][place] * HOUR_MS, improving[number][place])
        for number, (limit, play_mm) in enumerate(zip(fit.limits, fit.play_mm.tolist(), strict=True))
        for place, column in enumerate(columns)
    ]  # fmt: skip


def as_json(document: Mapping[str, Any]) -> str:
    """A document as every database takes it: what is not known is null, never NaN."""
    return _ENCODER.encode(document).decode()


def _plain(value: Any) -> Any:
    """A number of numpy's as a plain one."""
    return value.item()


# A tenth of the time that the standard library takes, and a verdict an hour is written for every fit.
_ENCODER = msgspec.json.Encoder(enc_hook=_plain)


def verdict_row(
    subject_kind: str, subject_id: int, judged: Judged, hour: int, state_hour: int | None = None
) -> Row:
    """A row of `verdict` in the order of `ledger.VERDICT`; drawn from the state at an hour, where one was."""
    return (
        subject_kind, subject_id, judged.verdict, judged.since_hour * HOUR_MS, hour * HOUR_MS,
        (hour if state_hour is None else state_hour) * HOUR_MS, as_json(judged.reason.document()),
    )  # fmt: skip
