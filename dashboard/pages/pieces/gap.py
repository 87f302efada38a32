"""A gap reported: was it expected, how big, when does it close; and the letter read off the gap strip."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import aside, listed, noted, num, part, prose, sheet, table
from dashboard.pages.pieces.predicted import foretold_part
from dashboard.paper.gap_strip import LETTERS, letter_for
from dashboard.paper.sheet import read_letter
from dashboard.say import piece_view as woodwork
from dashboard.say import piece_words, sentences
from dashboard.shell.view import Context, Route, View, address
from model.answers.annual_range import HomeYear, home_year, recorded_air, usual_year
from model.answers.validation import agreement, as_measured
from model.records.acts import measured
from model.records.queries import overview as queries
from model.records.queries import series
from model.records.queries.overview import PieceNow
from model.records.schema.tables import FitRow, PieceRow
from model.records.schema.types import from_epoch_ms
from model.watch.questions import piece_wood
from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.fits.seen import NOTHING_MM
from model.wood.piece import Piece
from model.words import display as say
from model.words import times
from model.words.display import Units

STRIPS = (("inch", "in sixty-fourths of an inch"), ("metric", "in millimetres"))
FORM = Form(
    "gap-letter",
    "Record the letter",
    (
        Asked("fit", "Where", "choice"),
        Asked("letter", "Letter", hint=f"{LETTERS[0]} to {LETTERS[-1]}"),
        Asked("strip", "The strip is", "choice", options=STRIPS),
        Asked("at", "Read on", "day"),
    ),
    whose="piece",
)
MONTH_DAYS = 365


@dataclass(frozen=True)
class GapNow:
    """One gap or line of a piece that a client can see.

    Attributes
    ----------
    fit, what : str
        The fit's name, and what a client would call the place.
    built_mm, now_mm, dry_mm, damp_mm : float
        As built, as foretold for now, and at the dry and the damp end of the year [mm].
    closes_at : datetime or None
        When the middle of the years that may come has it back to what it was built with.
    narrowest_at : datetime or None
        When it is narrowest in that year.
    doubt_mm : float
        How far `now_mm` may be out, either way.
    """

    fit: str
    what: str
    built_mm: float
    now_mm: float
    dry_mm: float
    damp_mm: float
    closes_at: datetime | None
    narrowest_at: datetime | None
    doubt_mm: float = 0.0

    @property
    def opened_mm(self) -> float:
        """How much wider it is now than it was built."""
        return self.now_mm - self.built_mm

    @property
    def is_open(self) -> bool:
        return self.opened_mm >= NOTHING_MM

    @property
    def within_year(self) -> bool:
        """Whether it is no wider than a year there makes it."""
        return self.now_mm <= max(self.dry_mm, self.damp_mm) + NOTHING_MM


def layout(view: View, piece_id: int) -> html.Main | None:
    """The page of a piece's gaps; none when there is no such piece."""
    with view.store.session() as session:
        piece = queries.piece(session, piece_id, view.now)
        if piece is None:
            return None
        back = html.A(piece.name, href=address("piece", piece_id))
        try:
            year, gaps = gaps_of(piece, session, view)
        except BadInput as error:
            return sheet(piece.name, forms.problem(error), dateline=back)
        found = agreement(session, view.now, piece_id)
    zone = piece.place.zone if piece.place else "UTC"
    troubles = [trouble(piece, gap, view) for gap in gaps]
    return sheet(
        headline(gaps, troubles),
        listed(
            [
                noted("near" if why else "clear", *prose(sentence_of(gap, why, zone, view)))
                for gap, why in zip(gaps, troubles, strict=True)
            ],
            html.P("Nothing on it opens or closes where a client can see it."),
            "note",
        ),
        html.P(prose(whole)) if (whole := rest_of(piece, view.now)) else None,
        gap_table(gaps, view) if gaps else None,
        html.P(
            [
                f"The year it is counted on: {year.says}. ",
                html.A("The client sheet", href=address("piece", piece_id, "sheet.pdf"), target="_blank"),
                " says the same.",
            ],
            className="soft",
        ),
        *[html.P(line, className="soft") for line in woodwork.remembered_of(piece, view.display)],
        letter_part(piece, zone, view),
        foretold_part(found, zone, view),
        dateline=back,
    )


def headline(gaps: list[GapNow], troubles: list[str]) -> str:
    """The answer to the client in one line: normal, or come and see."""
    opened = [gap for gap in gaps if gap.is_open]
    for gap, why in zip(gaps, troubles, strict=True):
        if why:
            return f"Come and see: a gap at the {gap.what.split(',')[0]} may not be normal."
    if not opened:
        return "No gap is expected now: if there is one, come and see."
    widest = max(opened, key=lambda gap: gap.opened_mm)
    return f"A gap at the {widest.what.split(',')[0]} is normal now."


def trouble(piece: PieceNow, gap: GapNow, view: View) -> str:
    """Why a gap can't be called normal; empty where it can.

    It is normal where its fit has room left, is likely to keep it through the year, kept it through the year
    behind it, and all that is known.
    """
    now = view.now
    fit = piece_words.of_fit(piece, next(one for one in piece.fits if one.name == gap.fit))
    if fit.judgement.verdict != "clear":
        return sentences.reason(fit.judgement, view.display)
    if strained := piece_words.history(fit, now, harms_only=True):
        return strained
    if fit.next is None:
        return piece_words.prospect(fit, now)
    coming = piece_words.likely(fit)
    if coming is not None:
        return piece_words.said_of(coming, now)
    return "" if gap.within_year else "it is wider than a year there makes it"


def rest_of(piece: PieceNow, now: datetime) -> str:
    """How the whole piece stands, where that isn't well: a gap answered for says nothing of the rest."""
    if piece_words.mark_of(piece) == "clear" and not piece_words.history(piece, now):
        return ""
    told = [f"The whole piece: {piece_words.stands(piece, now)}.", piece_words.prospect(piece, now)]
    return " ".join(filter(None, [*told, piece_words.history(piece, now)]))


def sentence_of(gap: GapNow, why: str, zone: str, view: View) -> str:
    """One gap: how big now, how wide it gets, when it closes; or `why` it can't be called normal."""
    display = view.display
    size = display.with_doubt(gap.now_mm, gap.doubt_mm, finest=64)
    if not gap.is_open:
        wide = display.length(max(gap.dry_mm, gap.damp_mm), "up", 32)
        told = f"{say.sentence(gap.what)[:-1]}: no wider than it was built now; up to {wide} in a year."
        return f"{told} {say.sentence(why)}" if why else told
    told = f"{say.sentence(gap.what)[:-1]}: about {size} now"
    built = "" if gap.built_mm < NOTHING_MM else f", built with {display.length(gap.built_mm, finest=64)}"
    most = display.length(max(gap.dry_mm, gap.damp_mm), "up", 32)
    if why:
        return f"{told}{built}; a year there takes it to {most}. Come and see. {why.rstrip('.')}."
    told += f"{built}. That is normal; a year there takes it to {most}."
    if gap.closes_at is not None:
        return f"{told} It closes by itself by about {month(gap.closes_at, zone)}."
    if gap.narrowest_at is not None:
        narrowest = month(gap.narrowest_at, zone)
        return f"{told} It does not close wholly in the coming year; it is narrowest about {narrowest}."
    return f"{told} It closes when the heating stops."


def month(at: datetime, zone: str) -> str:
    return f"{at.astimezone(times.zone_of(zone)):%B}"


def gap_table(gaps: list[GapNow], view: View) -> html.Div:
    """The same in numbers, with the letter a strip would show now."""
    display = view.display
    rows = [
        (
            gap.what,
            *(
                num(display.length(max(value, 0.0), finest=64))
                for value in (gap.built_mm, gap.now_mm, gap.dry_mm, gap.damp_mm)
            ),
            letter_for(max(gap.now_mm, 0.0), view.units),
        )
        for gap in gaps
    ]
    sizes = ("As built", "Now", "At the driest", "At the dampest")
    return table("Gaps", ("Where", *sizes, "Letter now"), rows, right=sizes)


# ---------------------------------------------------------------- what is foretold


def gaps_of(piece: PieceNow, session: Session, view: View) -> tuple[HomeYear, list[GapNow]]:
    """Every gap or line of a piece, from its record and what was measured since; the widest opened first."""
    wood = as_measured(session, piece.id, view.now)
    year = usual_year(wood)
    if piece.place is not None and piece.place.kind == "home":
        year = home_year(wood, recorded_air(session, piece.place.id, view.now), piece.place.name)
    now_pct = {
        member.name: member.moisture.mc_mean_pct if member.moisture else member.start_mc_pct
        for member in piece.members
    }
    ahead = {member.name: series.outlook(session, "member", member.id, "mc_pct") for member in piece.members}
    found = [gap for fit in wood.fits.values() if (gap := _gap(fit, wood, year, now_pct, ahead)) is not None]
    sure = piece_wood.doubts_of(piece)
    if sure is not None:
        found = [replace(gap, doubt_mm=sure.of_fit(gap.fit)) for gap in found]
    return year, sorted(found, key=lambda gap: -gap.opened_mm)


def _gap(
    fit: Fit,
    wood: Piece,
    year: HomeYear,
    now_pct: Mapping[str, float],
    ahead: Mapping[str, series.YearSpread | None],
) -> GapNow | None:
    whole = fit.seen(year.mc_low_pct, year.mc_high_pct)
    if whole is None or whole.gap_mm is None or abs(whole.gap_mm[0] - whole.gap_mm[1]) < NOTHING_MM:
        return None

    def at(mc: Mapping[str, float]) -> float:
        seen = fit.seen(mc, mc)
        return seen.gap_mm[0] if seen is not None and seen.gap_mm is not None else 0.0

    built = at(
        {**wood.references(), **fit.references()} if fit.as_built is None else fit.as_built.references()
    )
    spreads = [ahead.get(member.name) for member in fit.members]
    closes_at = narrowest_at = None
    known = [spread for spread in spreads if spread is not None]
    if known and len(known) == len(spreads):
        days = min(len(spread.at) for spread in known)
        sizes = np.array(
            [
                at({m.name: float(s.p50[day]) for m, s in zip(fit.members, known, strict=True)})
                for day in range(min(days, MONTH_DAYS))
            ]
        )
        closed = np.flatnonzero(sizes - built < NOTHING_MM)
        if closed.size:
            closes_at = _instant(known[0].at[closed[0]])
        narrowest_at = _instant(known[0].at[int(np.argmin(sizes))])
    what = ", ".join(filter(None, (say.said(fit.name), whole.where)))
    return GapNow(fit.name, what, built, at(now_pct), *whole.gap_mm, closes_at, narrowest_at)


def _instant(at: np.datetime64) -> datetime:
    return from_epoch_ms(int(at.astype("datetime64[ms]").astype(np.int64)))


# ---------------------------------------------------------------- the letter


def letter_part(piece: PieceNow, zone: str, view: View) -> html.Section | None:
    """Where the letter that a client read is written down."""
    with view.store.session() as session:
        fits = as_measured(session, piece.id, view.now).fits
    where = [(str(row.id), say.said(row.name)) for row in piece.fits if fits[row.name].takes_strip]
    if not where:
        return None

    return part(
        "They read the gap strip",
        aside(
            "The strip lies at the foot of the client sheet. What it reads becomes the new reference: "
            "everything after it is worked out from there."
        ),
        FORM.laid_out(view, piece.id, {"strip": view.units}, options={"fit": where}, zone=zone),
        className="no-print",
    )


def record_letter(piece_id: int, typed: Mapping[str, Any], view: View) -> Act:
    """A letter becomes a measurement: of the gap, or of the panel beside its line."""
    strip: Units = "metric" if typed.get("strip") == "metric" else "inch"
    read = read_letter(str(typed.get("letter") or ""), strip)
    with doing(view, "measurement") as (session, revision):
        row = session.get_one(PieceRow, piece_id)
        fit_row: FitRow | None = next((fit for fit in row.fits if str(fit.id) == str(typed.get("fit"))), None)
        if fit_row is None:
            raise BadInput("", "where", "must be a fit of this piece", "nothing")
        fit = as_measured(session, piece_id, view.now).fits[fit_row.name]
        member = next(one for one in row.members if one.name == fit.members[0].name)
        zone = row.stays[-1].place.zone if row.stays else "UTC"
        at = max(forms.day_typed(typed.get("at"), zone, "read on", view.now), member.start_at)
        if at.date() == view.now.date():
            # Of today: now, so that it comes after what is known of today.
            at = max(at, view.now)
        quantity, value_mm, doubt_mm = fit.strip_reading(read.gap_mm, read.uncertainty_mm)
        of_fit = fit_row if quantity == "gap_mm" else None
        measured.record_measurement(
            session, member, quantity, value_mm, at, doubt_mm, fit=of_fit, how="gap strip"
        )
        size = view.display.length(read.gap_mm, finest=64)
        said = f"{str(typed['letter']).strip().upper()} is {size} at {say.said(fit_row.name)}; recorded."
        return done(revision, said, "The reading counts for nothing now.", address("piece", piece_id, "gap"))


def register(app: Dash, context: Context) -> None:
    """The letter's answer."""

    FORM.answers(app, context, record_letter)


ROUTES = [Route("/piece/<piece_id>/gap", layout, live=False)]
