"""Reads the roster from the book.

A body starts with the hour of its record, a move counts from the next full hour, a measurement speaks of its
own hour.
"""

import json
import math
from collections.abc import Collection, Sequence
from typing import Any

from model.records.acts.learning_switch import KEPT_AS as LEARNING
from model.records.acts.lumber import lumber_from_document
from model.records.bulk import Bulk
from model.watch.air.air_hours import HOUR_MS
from model.watch.state.roster import (
    FOREVER,
    Assembly,
    FitOnBook,
    OnWood,
    PlacedSpan,
    PlaceOnBook,
    Raw,
    Roster,
    SolverMember,
)
from model.watch.state.states import MODEL_SD_PCT
from model.wood.doubt import TEN_PERCENT_SD, start_doubt_pct
from model.wood.errors import BadInput
from model.wood.material.member import Member
from model.wood.material.species import find_species
from model.wood.material.wood_sensor import shared_variances
from model.wood.moisture import solver as moisture
from model.wood.moisture.diffusion import STICKERED_PERMEANCE_KG_M2_S_PA
from model.wood.piece import moisture_batch, piece_from_document

# A dead-piled stack takes up moisture at its outside only. Closed-shed storage gains about 0.3 % a month
# (Wood Handbook ch. 13, from memory, unverified); a 25.4 mm board of 500 kg/m3 at 8 % in air of 20 °C
# and 65 % does so through 1.4e-11 kg/(m2 s Pa) on each face: 0.003 x 500 x 0.0254 / (30 d x 538 Pa) / 2.
DEAD_PILED_PERMEANCE = 1.4e-11


def read_places(bulk: Bulk) -> dict[int, PlaceOnBook]:
    """Every place, by id."""
    return {
        id_: PlaceOnBook(id_, name, kind, None if climate is None else _loaded(climate), bool(has_iron))
        for id_, name, kind, climate, has_iron in bulk.rows(
            "SELECT id, name, kind, climate, has_iron FROM place ORDER BY id"
        )
    }


class RosterReader:
    """Reads the roster, and reads a piece's or stack's documents again only when they changed."""

    def __init__(self) -> None:
        self._read: dict[tuple[str, int], tuple[Any, Assembly]] = {}

    def read(self, bulk: Bulk) -> Roster:
        """The roster as the book is now."""
        ms = bulk.instant_of
        places = read_places(bulk)
        pieces = bulk.rows(f"SELECT id, name, document, {ms('retired_at')} FROM piece ORDER BY id")
        stacks = bulk.rows(
            f"SELECT stack.id, name, document, {ms('start_at')}, start_mc_pct, start_basis, destination_id, "
            f"{ms('retired_at')} FROM stack JOIN body ON body.id = stack.id ORDER BY stack.id"
        )
        members = _grouped(
            bulk.rows(
                f"SELECT piece_id, member.id, name, document, {ms('start_at')}, start_mc_pct, start_basis "
                "FROM member JOIN body ON body.id = member.id ORDER BY member.id"
            )
        )
        fits = _grouped(bulk.rows("SELECT piece_id, id, name, document FROM fit ORDER BY id"))
        stays: dict[tuple[str, int], list[tuple[int, int | None, int]]] = {}
        for piece, stack, place, since, until in bulk.rows(
            f"SELECT piece_id, stack_id, place_id, {ms('since_at')}, {ms('until_at')} FROM stay "
            f"ORDER BY {ms('since_at')}"
        ):
            key = ("piece", piece) if piece is not None else ("stack", stack)
            stays.setdefault(key, []).append((since, until, place))
        measured = _grouped(
            bulk.rows(
                f"SELECT body_id, id, fit_id, {ms('at')}, quantity, value, uncertainty, sensor_id "
                f"FROM measurement WHERE undone_at IS NULL ORDER BY {ms('at')}, id"
            )
        )
        chosen = bulk.rows("SELECT value FROM preference WHERE name = ?", (LEARNING,))
        learns = not chosen or bool(_loaded(chosen[0][0])["on"])
        owners = []
        for id_, name, document, retired in pieces:
            own = members.get(id_, [])
            of_piece = (
                name, document, retired, own, fits.get(id_, []), stays.get(("piece", id_), []),
                [measured.get(row[0], []) for row in own], learns,
            )  # fmt: skip
            owners.append(self._known(("piece", id_), of_piece, _piece_owner))
        for row in stacks:
            of_stack = (row, stays.get(("stack", row[0]), []), measured.get(row[0], []), learns)
            owners.append(self._known(("stack", row[0]), of_stack, _stack_owner))
        return Roster(places, tuple(owners))

    def _known(self, key: tuple[str, int], signature: Any, make: Any) -> Assembly:
        known = self._read.get(key)
        if known is not None and known[0] == signature:
            return known[1]
        owner: Assembly = make(key[1], signature)
        self._read[key] = (signature, owner)
        return owner


def _grouped(rows: Sequence[tuple[Any, ...]]) -> dict[int, list[tuple[Any, ...]]]:
    """Rows by their first column, which is dropped."""
    groups: dict[int, list[tuple[Any, ...]]] = {}
    for first, *rest in rows:
        groups.setdefault(first, []).append(tuple(rest))
    return groups


def _piece_owner(piece_id: int, signature: Any) -> Assembly:
    name, document, retired, members, fits, stays, measured, learns = signature
    spans = _spans(stays)
    until = FOREVER if retired is None else retired // HOUR_MS
    fit_ids = tuple(row[0] for row in fits)
    try:
        piece = piece_from_document(
            {
                "piece": _loaded(document),
                "part": {row[1]: _loaded(row[2]) for row in members},
                "fit": {row[1]: _loaded(row[2]) for row in fits},
            },
            f"piece {name}",
        )
        constants = moisture_batch(list(piece.members.values())).constants()
    except BadInput as problem:
        return Assembly("piece", piece_id, name, (), (), spans, until, fit_ids=fit_ids, problem=str(problem))
    with_gap = {
        (row[0], member.name)
        for row in fits
        if piece.fits[row[1]].takes_strip
        for member in piece.fits[row[1]].members
    }
    bodies = tuple(
        _body(
            row[0],
            piece.members[row[1]],
            row[3],
            row[4],
            start_doubt_pct(piece.members[row[1]]),
            one,
            own,
            learns,
            with_gap,
        )
        for row, one, own in zip(members, constants, measured, strict=True)
    )
    gaps: dict[int, list[tuple[int, float]]] = {}
    for own in measured:
        for _, fit_id, at, quantity, value, _, _ in own:
            if quantity == "gap_mm":
                gaps.setdefault(fit_id, []).append((at // HOUR_MS, value))
    on_book = tuple(
        FitOnBook(row[0], row[1], piece.fits[row[1]], tuple(sorted(gaps.get(row[0], [])))) for row in fits
    )
    return Assembly("piece", piece_id, name, bodies, on_book, spans, until, fit_ids=fit_ids)


def _stack_owner(stack_id: int, signature: Any) -> Assembly:
    (_, name, document, start, start_mc, _, destination, retired), stays, measured, learns = signature
    spans = _spans(stays)
    until = FOREVER if retired is None else retired // HOUR_MS
    try:
        lumber = lumber_from_document(_loaded(document), f"stack {name}")
        board = Member(
            name=name,
            species=find_species(lumber.species),
            ring_angle_deg=45.0,
            width_mm=lumber.width_mm or 150.0,
            mc_pct=lumber.mc_pct,
            thickness_mm=lumber.thickness_mm,
        )
        (constants,) = moisture_batch([board]).constants()
    except BadInput as problem:
        return Assembly("stack", stack_id, name, (), (), spans, until, destination, problem=str(problem))
    between = STICKERED_PERMEANCE_KG_M2_S_PA if lumber.stickered else DEAD_PILED_PERMEANCE
    constants = constants._replace(face_permeance=between, back_permeance=between)
    body = _body(stack_id, board, start, start_mc, lumber.mc_doubt_pct, constants, measured, learns)
    return Assembly("stack", stack_id, name, (body,), (), spans, until, destination, lumber=lumber)


def _body(
    body_id: int,
    member: Member,
    start_ms: int,
    start_mc_pct: float,
    doubt_pct: float,
    constants: moisture.Constants,
    measured: Sequence[tuple[Any, ...]],
    learns: bool,
    with_gap: Collection[tuple[int, str]] = (),
) -> SolverMember:
    sd = doubt_pct / TEN_PERCENT_SD
    finished = member.finished_at
    moistures = _moistures(measured)
    sd_of = {("mc_pct", hour, value): math.sqrt(variance) for hour, value, variance in moistures}
    return SolverMember(
        id=body_id,
        name=member.name,
        member=member,
        start_hour=start_ms // HOUR_MS,
        start_mc_pct=start_mc_pct,
        start_variance_pct2=sd * sd,
        constants=constants,
        finished_hour=0 if finished is None else int(finished.timestamp()) // 3600,
        moistures=tuple(moistures),
        widths=tuple((at // HOUR_MS, v) for _, _, at, q, v, _, _ in measured if q == "width_mm"),
        on_wood=tuple(
            OnWood(at // HOUR_MS, q, fit_id, v, sd_of.get((q, at // HOUR_MS, v), u / TEN_PERCENT_SD))
            for _, fit_id, at, q, v, u, _ in measured
            if learns
            and at // HOUR_MS >= start_ms // HOUR_MS
            and (q != "gap_mm" or (fit_id, member.name) in with_gap)
        ),
    )


def _moistures(measured: Sequence[tuple[Any, ...]]) -> list[tuple[int, float, float]]:
    """Hour, moisture content and variance of each measurement of it.

    Those of one sensor share its error, and are widened for that.
    """
    own: dict[int | None, list[tuple[int, float, float]]] = {}
    for _, _, at, quantity, value, doubt, sensor in measured:
        if quantity == "mc_pct":
            own.setdefault(sensor, []).append((at // HOUR_MS, value, (doubt / TEN_PERCENT_SD) ** 2))
    found = own.pop(None, [])
    for of_sensor in own.values():
        hours, values, variances = (list(column) for column in zip(*of_sensor, strict=True))
        wider = shared_variances(hours, variances, MODEL_SD_PCT**2)
        found += zip(hours, values, wider, strict=True)
    return sorted(found, key=lambda one: one[0])


def _spans(stays: Sequence[tuple[int, int | None, int]]) -> tuple[PlacedSpan, ...]:
    """Stays in whole hours: the first from the hour it began in, a move from the next full hour."""
    spans = []
    for position, (since, until, place) in enumerate(stays):
        first = since // HOUR_MS if position == 0 else -(-since // HOUR_MS)
        spans.append(PlacedSpan(first, FOREVER if until is None else -(-until // HOUR_MS), place))
    return tuple(spans)


def _loaded(document: Any) -> Raw:
    loaded: Raw = json.loads(document) if isinstance(document, str) else document
    return loaded
