"""How places, stacks and pieces stand, read from the book into the typed records that are given out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

import numpy as np
from sqlalchemy.orm import Session

from model.answers import records
from model.answers.document import JsonDocument
from model.answers.doubts import PieceDoubts
from model.answers.worth_measuring import WorthMeasuring
from model.records.queries import overview
from model.records.queries.answers import Coming, FitNow, Judgement, MarginNow, MemberNow, Moisture, Ready
from model.watch.questions.measure_next import measure_now, worth_measuring
from model.watch.questions.piece_wood import comfort_of_piece, doubts_of, wood_piece
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.design.cautions import provenance
from model.wood.design.comfort import Comfort
from model.wood.doubt import doubt_document
from model.wood.learning import Learned
from model.wood.reason import Reason
from model.words.display import Display, plain
from model.words.reasons import in_sentences

NO_RANGE = records.ComfortRecord(low_rh_pct=None, high_rh_pct=None, reason=None)


@dataclass(frozen=True)
class Standings:
    """The book as of an instant, its reasons in the units of `display`."""

    session: Session
    now: datetime
    display: Display

    # ------------------------------------------------------------ everything

    def state(self) -> records.StateRecord:
        """Everything, with the warnings that are open."""
        pieces = self._pieces()
        known = overview.places(self.session, self.now)
        stacks = overview.stacks(self.session, self.now, known=known)
        return records.StateRecord(
            at=self.now,
            places=[self.place(place, pieces) for place in known],
            stacks=[self.stack(stack) for stack in stacks],
            pieces=[self.piece(piece) for piece in pieces],
            warnings=[self._warning(warning) for warning in overview.warnings(self.session)],
            measure=self.measure(),
        )

    def places(self, only: int | None = None) -> list[records.PlaceRecord]:
        """Every place, or the one with that id."""
        pieces = overview.pieces(self.session, self.now, at=only)
        return [self.place(place, pieces) for place in overview.places(self.session, self.now, only)]

    def stacks(self, only: int | None = None) -> list[records.StackRecord]:
        """Every stack in use, or the one with that id."""
        found = overview.stacks(self.session, self.now, only)
        return [self.stack(stack) for stack in found if stack.retired_at is None]

    def pieces(self, only: int | None = None) -> list[records.PieceRecord]:
        """Every piece that is followed, or the one with that id."""
        return [self.piece(piece) for piece in self._pieces(only)]

    def coming(self) -> records.ComingRecord:
        """What the coming year may bring, of every piece."""
        known = overview.pieces(self.session, self.now, parts=False)
        found = [
            _made(records.PieceNextRecord, piece_id=piece.id, piece=piece.name, **self._next_values(one))
            for piece in known
            for one in piece.next or ()
        ]
        return records.ComingRecord(
            at=self.now,
            next=sorted(found, key=lambda one: (one.severity != "harms", one.from_at, one.piece)),
            not_known=[piece.name for piece in known if piece.next is None],
        )

    def measure(self) -> list[records.MeasureRecord]:
        """What is worth measuring, what matters most first."""
        worth = worth_measuring(self.session, self.now)
        asked = measure_now(self.session, self.now, worth)
        return [self._measure(one, one is asked) for one in worth]

    def _measure(self, one: WorthMeasuring, is_asked: bool) -> records.MeasureRecord:
        names = ("part", "fit", "act", "quantity", "decides", "from_at", "until_at")
        sizes = ("doubt_mm", "then_mm", "doubt_pct", "then_pct")
        return _made(
            records.MeasureRecord,
            about=one.kind,
            id=one.subject_id,
            name=one.subject,
            is_asked=is_asked,
            **self._reasoned(one.reason),
            **{name: getattr(one, name) for name in names},
            **{name: one.reason.values.get(name) for name in sizes},
        )

    def _pieces(self, only: int | None = None) -> list[overview.PieceNow]:
        """With all that is known of each."""
        listed = [only]
        if only is None:
            listed = [piece.id for piece in overview.pieces(self.session, self.now, parts=False)]
        found = (overview.piece(self.session, number, self.now) for number in listed if number is not None)
        return [piece for piece in found if piece is not None and piece.retired_at is None]

    # ------------------------------------------------------------ one of each

    def place(self, place: overview.PlaceNow, pieces: Sequence[overview.PieceNow]) -> records.PlaceRecord:
        """One place; of the pieces those count that stand there."""
        air = place.air
        there = [piece for piece in pieces if piece.place is not None and piece.place.id == place.id]
        emc_pct = None
        if air is not None:  # as arrays: what the curve doesn't cover is no number then
            emc_pct = equilibrium_moisture_content(np.array([air.temperature_c]), np.array([air.rh_pct]))[0]
        return _made(
            records.PlaceRecord,
            id=place.id,
            name=place.name,
            kind=place.kind,
            **self._judged(place.judgement),
            hour_at=air.hour_at if air else None,
            temperature_c=air.temperature_c if air else None,
            rh_pct=air.rh_pct if air else None,
            emc_pct=emc_pct,
            basis=air.basis if air else None,
            last_reading_at=place.last_reading_at,
            range=self._range_of_all(there),
        )

    def stack(self, stack: overview.StackNow) -> records.StackRecord:
        """One stack."""
        judged = self._judged(stack.judgement)
        return _made(
            records.StackRecord,
            id=stack.id,
            name=stack.name,
            place=_name(stack.place),
            **{"for": _name(stack.destination)},
            ready=self.ready(stack.ready),
            **{name: judged[name] for name in judged if name != "now"},
            **_moisture(stack.moisture),
            intake=self._intake(stack),
            **_learned(stack.learned),
        )

    def ready(self, ready: Ready) -> records.ReadyRecord:
        """Whether a stack is ready."""
        names = ("is_ready", "never_here", "from_at", "until_at", "target_mc_pct")
        return _made(
            records.ReadyRecord,
            **self._reasoned(ready.reason),
            **{name: getattr(ready, name) for name in names},
        )

    def stack_ready(self, stack: overview.StackNow) -> records.StackReadyRecord:
        """Whether a stack is ready, and where it lies and goes."""
        where = {"stack": stack.name, "place": _name(stack.place), "for": _name(stack.destination)}
        return _made(records.StackReadyRecord, **where, ready=self.ready(stack.ready))

    def next(self, one: Coming) -> records.NextRecord:
        """One entry of `next`."""
        return _made(records.NextRecord, **self._next_values(one))

    def piece(self, piece: overview.PieceNow) -> records.PieceRecord:
        """One piece, as `overview.piece` has it."""
        wood, sure = wood_piece(piece), doubts_of(piece)
        return _made(
            records.PieceRecord,
            id=piece.id,
            name=piece.name,
            place=_name(piece.place),
            **self._judged(piece.judgement),
            next=None if piece.next is None else [self.next(one) for one in piece.next],
            next_reason=self._said([piece.next_reason]) if piece.next_reason else None,
            since=[records.SinceRecord.model_validate(one) for one in piece.since],
            range=self._range(comfort_of_piece(piece, self.now)),
            parts=[self._part(member, sure) for member in piece.members],
            fits=[self._fit(fit, sure) for fit in piece.fits],
            provenance=None if wood is None else dict(provenance(wood.members.values())),
        )

    # ------------------------------------------------------------ parts of them

    def _part(self, member: MemberNow, sure: PieceDoubts | None) -> records.PartRecord:
        doubted: dict[str, Any] = {"width_doubt_mm": None, "doubt": None}
        if sure is not None and member.moisture is not None:
            doubt, shrink = sure.widths[member.name], sure.advice.get(member.name)
            said = None if shrink is None else self._said([shrink])
            doubted = {
                "width_doubt_mm": doubt.total,
                "doubt": doubt_document(doubt, shrink) | {"reason": said},
            }
        learned = _learned(member.learned, "movement_factor", "movement_doubt")
        return _made(records.PartRecord, name=member.name, **_moisture(member.moisture), **doubted, **learned)

    def _fit(self, fit: FitNow, sure: PieceDoubts | None) -> records.FitRecord:
        return _made(
            records.FitRecord,
            name=fit.name,
            kind=fit.kind,
            **self._judged(fit.judgement),
            limits=[_limit(fit, margin, sure) for margin in fit.margins],
        )

    def _intake(self, stack: overview.StackNow) -> records.IntakeRecord | None:
        lumber = stack.lumber
        if lumber is None:
            return None
        metered = lumber.metered
        told = () if metered is None else metered.told()
        return _made(
            records.IntakeRecord,
            mc_pct=lumber.mc_pct,
            mc_doubt_pct=lumber.mc_doubt_pct,
            doubt_by_pct=None if metered is None else dict(metered.doubt_by),
            correction_pct=None if metered is None else metered.correction_pct,
            wood_correction_pct=None if metered is None else metered.wood_correction_pct,
            readings_pct=None if metered is None else list(metered.readings_pct),
            **{
                name: getattr(lumber, name)
                for name in ("wood_c", "set_for_wood", "booklet_pct", "sealed_ends")
            },
            **{
                name: getattr(lumber, name) or None
                for name in ("how", "depth", "set_for", "prongs", "rest_until")
            },
            reason=self._said([*told, *lumber.cautions]),
        )

    def _warning(self, warning: overview.WarningNow) -> records.WarningRecord:
        return _made(
            records.WarningRecord,
            about=warning.subject_kind,
            **{"from": warning.from_verdict},
            to=warning.to_verdict,
            **self._reasoned(warning.reason),
            **{
                name: getattr(warning, name) for name in ("tier", "opened_at", "acknowledged_at", "trade_act")
            },
        )

    def _next_values(self, one: Coming) -> dict[str, Any]:
        names = (
            *("fit", "limit", "direction", "severity"),
            *("chance_pct", "from_at", "until_at", "said_at", "prevent"),
        )
        return {name: getattr(one, name) for name in names} | self._reasoned(one.seen)

    def _range(self, comfort: Comfort | None) -> records.ComfortRecord:
        if comfort is None:
            return NO_RANGE
        said = self._said(comfort.reasons) or None
        return records.ComfortRecord(
            low_rh_pct=comfort.rh_low_pct, high_rh_pct=comfort.rh_high_pct, reason=said
        )

    def _range_of_all(self, pieces: Sequence[overview.PieceNow]) -> records.ComfortRecord:
        """What suits every piece of a place: the highest low end and the lowest high end."""
        found = [(piece, comfort_of_piece(piece, self.now)) for piece in pieces]
        bounds = []
        for piece, comfort in found:
            if comfort is None:
                continue
            if comfort.rh_low_pct is None or comfort.rh_high_pct is None:
                return self._range(comfort)
            bounds.append((piece.name, comfort.rh_low_pct, comfort.rh_high_pct))
        if not bounds:
            return NO_RANGE
        damp, low, _ = max(bounds, key=lambda one: one[1])
        dry, _, high = min(bounds, key=lambda one: one[2])
        if low <= high:
            return records.ComfortRecord(low_rh_pct=low, high_rh_pct=high, reason=None)
        quarrel = {"how": "", "dry_fit": damp, "wet_fit": dry, "low_rh_pct": low, "high_rh_pct": high}
        return NO_RANGE.model_copy(update={"reason": self._said([Reason("comfort-quarrel", quarrel)])})

    def _judged(self, judgement: Judgement) -> dict[str, Any]:
        return {
            "now": judgement.verdict,
            **self._reasoned(judgement.reason),
            "since_at": judgement.since_at,
            "is_current": judgement.is_current,
        }

    def _reasoned(self, reason: Reason) -> dict[str, str]:
        return {"reason": self._said([reason]), "reason_key": reason.key}

    def _said(self, reasons: Iterable[Reason]) -> str:
        return plain(in_sentences(reasons, self.display))


Made = TypeVar("Made", bound=JsonDocument)


def _made(record: type[Made], /, **values: Any) -> Made:
    """A record from values as the book has them; what a record doesn't allow is refused."""
    return record.model_validate(values)


def _limit(fit: FitNow, margin: MarginNow, sure: PieceDoubts | None) -> records.LimitRecord:
    doubt = None if sure is None else sure.margins.get((fit.name, margin.limit_name))
    clears = None
    if margin.clears is not None:
        clears = records.WindowRecord(from_at=margin.clears[0], until_at=margin.clears[1])
    return _made(
        records.LimitRecord,
        name=margin.limit_name,
        now="unknown" if fit.judgement.verdict == "unknown" else margin.standing,
        margin_doubt_mm=None if doubt is None else doubt.total,
        clears=clears,
        **{name: getattr(margin, name) for name in ("direction", "severity", "margin_mm", "play_mm")},
    )


def _learned(learned: Learned | None, *names: str) -> dict[str, float | None]:
    names = (*names, "rate_factor", "rate_doubt", "settles_pct", "settles_doubt_pct")
    return {name: None if learned is None else getattr(learned, name) for name in names}


def _moisture(moisture: Moisture | None) -> dict[str, Any]:
    names = records.MoistureRecord.model_fields
    return {name: None if moisture is None else getattr(moisture, name) for name in names}


def _name(place: overview.PlaceNow | None) -> str | None:
    return None if place is None else place.name
