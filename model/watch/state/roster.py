"""Reads pieces and stacks from the book: their bodies, fits, stays and measurements.

Instants become whole hours since 1970 UTC: a body starts with the hour of its record, a move counts from the
next full hour, a measurement speaks of its own hour.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from model.records.acts.lumber import lumber_from_document
from model.records.bulk import Bulk
from model.watch.air.air_hours import HOUR_MS
from model.watch.state.fit_on_book import FitOnBook
from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.air.sorption import sorption_slope
from model.wood.errors import BadInput
from model.wood.material.member import Member
from model.wood.material.species import find_species
from model.wood.moisture import solver as moisture
from model.wood.moisture.diffusion import (
    STICKERED_PERMEANCE_KG_M2_S_PA,
    permeance_in_series,
    transverse_diffusion,
)
from model.wood.piece import moisture_batch, piece_from_document

FOREVER = 1 << 40
"""An hour that never comes."""


# One standard deviation of the first moisture content: a hand meter is good to one point at two deviations
# (Wood Handbook ch. 13); an assumed one may be a point and a half off (common practice, no source).
MEASURED_SD_PCT = 0.5
ASSUMED_SD_PCT = 1.5

# A dead-piled stack takes up moisture at its outside only. Closed-shed storage gains about 0.3 % a month
# (Wood Handbook ch. 13, from memory, unverified); a 25.4 mm board of 500 kg/m3 at 8 % in air of 20 °C
# and 65 % does so through 1.4e-11 kg/(m2 s Pa) on each face: 0.003 x 500 x 0.0254 / (30 d x 538 Pa) / 2.
DEAD_PILED_PERMEANCE = 1.4e-11

Raw = Mapping[str, Any]


@dataclass(frozen=True)
class Body:
    """A member or stack as it is followed.

    Attributes
    ----------
    member : Member
        As recorded; for a stack a board of it, whose width may be nominal.
    constants : Constants
        For the solver; of a stack, the air between its boards is the finish.
    finished_hour : int
        From when the finish is on; bare before.
    moistures, widths : (hour, mc_pct, variance), (hour, width_mm)
        Metered moisture contents and re-measured widths, in order.
    """

    id: int
    name: str
    member: Member
    start_hour: int
    start_mc_pct: float
    start_variance_pct2: float
    constants: moisture.Constants
    finished_hour: int
    moistures: tuple[tuple[int, float, float], ...] = ()
    widths: tuple[tuple[int, float], ...] = ()

    @cached_property
    def time_constant_h(self) -> float:
        """About how long it takes to come within 37 % of a new climate at 20 °C and 45 % [h].

        Resistance of faces and wood in sum, l/S + h²/(π²D), with h the way moisture travels: the thickness
        where both faces let it pass alike, twice that where one is closed. For bands and lead times only.
        """
        board = self.constants
        temperature_c, rh_pct, mc_pct = 20.0, 45.0, 8.0
        thickness_m = board.thickness_mm / 1000.0
        face, back = (
            float(permeance_in_series(film)) for film in (board.face_permeance, board.back_permeance)
        )
        # Vapour pressure for one unit of moisture (kg/kg) more; the slope is in % MC for RH from 0 to 1.
        pressure = 100.0 * saturation_vapour_pressure(temperature_c) / sorption_slope(temperature_c, rh_pct)
        surface_s = thickness_m * board.oven_dry_density_kg_m3 / ((face + back) * pressure)
        diffusion = board.diffusion_scale * transverse_diffusion(
            temperature_c, mc_pct, board.specific_gravity
        )
        travel_m = thickness_m * (2.0 - min(face, back) / max(face, back))
        return float((surface_s + travel_m**2 / (np.pi**2 * diffusion)) / 3600.0)


@dataclass(frozen=True)
class PlacedSpan:
    """From which hour to which (not included) at which place."""

    since: int
    until: int
    place_id: int


@dataclass(frozen=True)
class Assembly:
    """A piece or a stack: bodies that stand and move together.

    Attributes
    ----------
    kind : str
        piece or stack.
    problem : str
        Why its record can't be read; empty when it can. Then it has no bodies and no fits.
    until : int
        The hour from which it is followed no more.
    """

    kind: str
    id: int
    name: str
    bodies: tuple[Body, ...]
    fits: tuple[FitOnBook, ...]
    stays: tuple[PlacedSpan, ...]
    until: int = FOREVER
    destination_id: int | None = None
    fit_ids: tuple[int, ...] = ()
    problem: str = ""

    @property
    def key(self) -> tuple[str, int]:
        return self.kind, self.id

    @cached_property
    def kept_hours(self) -> frozenset[int]:
        """Hours whose state stays on record besides each midnight: starts, re-measured widths and gaps."""
        hours = {body.start_hour for body in self.bodies}
        hours |= {hour for body in self.bodies for hour, _ in body.widths}
        return frozenset(hours | {hour for fit in self.fits for hour, _ in fit.gaps})

    @cached_property
    def start_hour(self) -> int:
        return min((body.start_hour for body in self.bodies), default=FOREVER)

    @cached_property
    def rows_of_fit(self) -> dict[int, tuple[int, ...]]:
        """Which of the bodies each fit rests on."""
        names = [{member.name for member in fit.fit.members} for fit in self.fits]
        return {
            fit.id: tuple(row for row, body in enumerate(self.bodies) if body.name in own)
            for fit, own in zip(self.fits, names, strict=True)
        }

    def followed_until(self, trusted_until: Mapping[int, int], hour: int) -> int:
        """The hour up to which it is followed: beyond trusted air only where it moved on to such air since.

        Parameters
        ----------
        trusted_until : mapping of place id to int
            The hour up to which the air of a place is trusted; a place never heard is left out.
        hour : int
            The present.
        """
        end = min(self.until, hour)
        last_start = min(max(body.start_hour for body in self.bodies), end)
        for stay in reversed(self.stays):
            reached = min(stay.until, trusted_until.get(stay.place_id, 0), end)
            if reached > max(stay.since, self.start_hour):
                return max(reached, last_start)
        return last_start

    def stood_at(self, place_id: int) -> bool:
        """Whether it ever stood at a place."""
        return any(stay.place_id == place_id for stay in self.stays)

    def place_at(self, hour: int) -> int | None:
        """Where it stands from this hour to the next; none where nobody said."""
        for stay in self.stays:
            if stay.since <= hour < stay.until:
                return stay.place_id
        return None


@dataclass(frozen=True)
class PlaceOnBook:
    """A place as the watch needs it; `climate` is its document, where there is one."""

    id: int
    name: str
    kind: str
    climate: Raw | None = None
    has_iron: bool = False

    @classmethod
    def all(cls, bulk: Bulk) -> "dict[int, PlaceOnBook]":
        """Every place, by id."""
        return {
            id_: cls(id_, name, kind, None if climate is None else _loaded(climate), bool(has_iron))
            for id_, name, kind, climate, has_iron in bulk.rows(
                "SELECT id, name, kind, climate, has_iron FROM place ORDER BY id"
            )
        }


@dataclass(frozen=True)
class Roster:
    """Everything that is followed."""

    places: Mapping[int, PlaceOnBook]
    owners: tuple[Assembly, ...]

    def first_needed(self) -> dict[int, int]:
        """The earliest hour of each place's air that a body needs."""
        first: dict[int, int] = {}
        for owner in self.owners:
            for stay in owner.stays:
                hour = max(stay.since, owner.start_hour)
                first[stay.place_id] = min(first.get(stay.place_id, FOREVER), hour)
        return first

    def last_needed(self, trusted_until: Mapping[int, int], hour: int) -> dict[int, int]:
        """The hour after the last of each place's air that is trusted, or that a body needs.

        Parameters
        ----------
        trusted_until : mapping of place id to int
            As in `Assembly.followed_until`.
        hour : int
            The present.
        """
        last = {place_id: min(until, hour) for place_id, until in trusted_until.items()}
        for owner in self.owners:
            if owner.bodies and owner.start_hour <= hour:
                end = owner.followed_until(trusted_until, hour)
                for stay in owner.stays:
                    if stay.since < end:
                        last[stay.place_id] = max(last.get(stay.place_id, 0), min(stay.until, end))
        return last


class RosterReader:
    """Reads the roster, and reads a piece's or stack's documents again only when they changed."""

    def __init__(self) -> None:
        self._read: dict[tuple[str, int], tuple[Any, Assembly]] = {}

    def read(self, bulk: Bulk) -> Roster:
        """The roster as the book is now."""
        ms = bulk.instant_of
        places = PlaceOnBook.all(bulk)
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
                f"SELECT body_id, id, fit_id, {ms('at')}, quantity, value, uncertainty FROM measurement "
                f"WHERE undone_at IS NULL ORDER BY {ms('at')}, id"
            )
        )
        owners = []
        for id_, name, document, retired in pieces:
            own = members.get(id_, [])
            of_piece = (
                name, document, retired, own, fits.get(id_, []), stays.get(("piece", id_), []),
                [measured.get(row[0], []) for row in own],
            )  # fmt: skip
            owners.append(self._known(("piece", id_), of_piece, _piece_owner))
        for row in stacks:
            of_stack = (row, stays.get(("stack", row[0]), []), measured.get(row[0], []))
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
    name, document, retired, members, fits, stays, measured = signature
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
    bodies = tuple(
        _body(row[0], piece.members[row[1]], row[3], row[4], row[5], one, own)
        for row, one, own in zip(members, constants, measured, strict=True)
    )
    gaps: dict[int, list[tuple[int, float]]] = {}
    for own in measured:
        for _, fit_id, at, quantity, value, _ in own:
            if quantity == "gap_mm":
                gaps.setdefault(fit_id, []).append((at // HOUR_MS, value))
    on_book = tuple(
        FitOnBook(row[0], row[1], piece.fits[row[1]], tuple(sorted(gaps.get(row[0], [])))) for row in fits
    )
    return Assembly("piece", piece_id, name, bodies, on_book, spans, until, fit_ids=fit_ids)


def _stack_owner(stack_id: int, signature: Any) -> Assembly:
    (_, name, document, start, start_mc, basis, destination, retired), stays, measured = signature
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
    body = _body(stack_id, board, start, start_mc, basis, constants, measured)
    return Assembly("stack", stack_id, name, (body,), (), spans, until, destination)


def _body(
    body_id: int,
    member: Member,
    start_ms: int,
    start_mc_pct: float,
    basis: str,
    constants: moisture.Constants,
    measured: Sequence[tuple[Any, ...]],
) -> Body:
    sd = MEASURED_SD_PCT if basis == "measured" else ASSUMED_SD_PCT
    finished = member.finished_at
    return Body(
        id=body_id,
        name=member.name,
        member=member,
        start_hour=start_ms // HOUR_MS,
        start_mc_pct=start_mc_pct,
        start_variance_pct2=sd * sd,
        constants=constants,
        finished_hour=0 if finished is None else int(finished.timestamp()) // 3600,
        moistures=tuple((at // HOUR_MS, v, u * u) for _, _, at, q, v, u in measured if q == "mc_pct"),
        widths=tuple((at // HOUR_MS, v) for _, _, at, q, v, _ in measured if q == "width_mm"),
    )


def is_dead_piled(body: Body) -> bool:
    """Whether a stack lies board on board, so that air reaches its outside only."""
    return body.constants.face_permeance == DEAD_PILED_PERMEANCE


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
