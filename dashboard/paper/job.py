"""The maker's job sheet: a piece as built, what governs it, and how to cut it again for where it stands."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor

from dashboard.paper.case_outline import draw_case
from dashboard.paper.cut_list import fit_dimensions, gaps_by_month, widths_that_work, wood_in_all
from dashboard.paper.page import FIGURES, WORDS, PaperSize
from dashboard.paper.pdf import Paper
from model.answers.annual_range import HomeYear
from model.wood.design.cautions import cautions
from model.wood.design.check import end_doubts
from model.wood.design.comfort import comfort_of
from model.wood.design.cut_list import cut_list, drawer_gaps
from model.wood.design.cutting import cut_document
from model.wood.design.design_range import DesignRange, Governing, design_range
from model.wood.design.gap_table import MONTHS
from model.wood.design.patterns.request import request_from_document
from model.wood.material.finish import BARE
from model.wood.material.member import Member
from model.wood.material.ring_angle import RING_ANGLE_OF_CUT
from model.wood.piece import Piece
from model.wood.reason import Reason
from model.words.display import Display, humidity_range, mc, said, sentence
from model.words.limits import comfort_range, comfort_reason
from model.words.reasons import in_sentences
from model.words.times import day

POINTS = 10.0


@dataclass(frozen=True)
class JobFacts:
    """What a job sheet tells of.

    Attributes
    ----------
    piece : Piece
    year : HomeYear
        Of where it stands, for cutting it again.
    place : str
    recorded_at, made_at : datetime
        Aware; when it was recorded, and when the sheet is made.
    zone : str
        For dates.
    """

    piece: Piece
    year: HomeYear
    place: str
    recorded_at: datetime
    zone: str
    made_at: datetime


CASE_HIGHEST_MM = 60.0


class _Job(Paper):
    """A job sheet that goes on to another page when one is full."""

    def __init__(self, size: PaperSize, facts: JobFacts) -> None:
        super().__init__(size, f"{facts.piece.name}: job sheet", facts.made_at)
        self.name, self.y_now = facts.piece.name, 0.0
        self.turn()

    def turn(self) -> None:
        self.add_page()
        self.hairline(self.t_margin, weight=0.8)
        self.y_now = self.t_margin + 4.0
        if self.page_no() > 1:
            self.line_of(self.left, self.y_now + 2.0, f"{self.name}, page {self.page_no()}", POINTS)
            self.y_now += 6.0

    def room(self, height: float) -> None:
        if self.y_now + height > self.bottom:
            self.turn()

    def heading(self, text: str) -> None:
        self.room(20.0)
        self.line_of(self.left, self.y_now + 5.0, text, 13.5, WORDS, "B")
        self.y_now += 7.6

    def says(self, text: str, style: str = "") -> None:
        self.room(self.block(0.0, 0.0, self.across, text, POINTS, FIGURES, style, dry=True))
        self.y_now = self.block(self.left, self.y_now, self.across, text, POINTS, FIGURES, style) + 0.8

    def row(self, cells: Sequence[str], shares: Sequence[float], style: str = "") -> None:
        widths = [share * self.across - 2.5 for share in shares]
        height = max(
            self.block(0.0, 0.0, width, cell, POINTS, FIGURES, style, dry=True)
            for cell, width in zip(cells, widths, strict=True)
        )
        self.room(height + 1.4)
        x, below = self.left, self.y_now
        self.hairline(self.y_now)
        for cell, width, share in zip(cells, widths, shares, strict=True):
            below = max(below, self.block(x, self.y_now + 0.6, width, cell, POINTS, FIGURES, style))
            x += share * self.across
        self.y_now = below + 0.8


def job_sheet(facts: JobFacts, display: Display, paper: PaperSize | None = None) -> bytes:
    """The maker's job sheet as PDF, of as many pages as it takes.

    Parameters
    ----------
    facts : JobFacts
    display : Display
    paper : 'a4' or 'letter', optional
    """
    sheet = _Job(paper or ("letter" if display.units == "inch" else "a4"), facts)
    design = design_range(facts.piece)
    _head(sheet, facts, design, display)
    _members(sheet, facts.piece, display)
    _fits(sheet, facts.piece, design, display)
    _cut_list(sheet, facts, display)
    _drawer_gaps(sheet, facts, display)
    _cuts(sheet, facts, display)
    return sheet.bytes()


def _head(sheet: _Job, facts: JobFacts, design: DesignRange, display: Display) -> None:
    piece = facts.piece
    sheet.line_of(sheet.left, sheet.y_now + 6.0, piece.name, 22.0, WORDS, "B")
    sheet.y_now += 9.5
    told = [f"{key} {value}" for key, value in piece.details.items()]
    told.append(f"recorded {day(facts.recorded_at, facts.zone, display.units, facts.made_at)}")
    if facts.place:
        told.append(f"stands at {facts.place}")
    sheet.says(sentence("; ".join(told)))
    if piece.note:
        sheet.says(sentence(piece.note))
    span = design.span
    comfort = comfort_of(piece, design)
    sheet.says(comfort_reason(comfort) or f"Comfortable at {comfort_range(comfort)} RH.", "B")
    if not span.empty:
        sure = end_doubts(piece, design)
        ends = humidity_range(span.rh_low_pct, span.rh_high_pct, sure.rh_low_pct, sure.rh_high_pct)
        words = f"Design range {ends} RH"
        if span.mc_low_pct is not None or span.mc_high_pct is not None:
            words += f" ({mc(span.mc_low_pct, 'up')} to {mc(span.mc_high_pct, 'down')} moisture content)"
        for end, name in ((span.low, "dry end"), (span.high, "wet end")):
            if end is not None:
                words += f"; {name}: {_governs(end)}"
        sheet.says(f"{words}.")
    sheet.y_now += 1.5
    if piece.case:
        case = request_from_document(piece.case).case()
        sheet.room(CASE_HIGHEST_MM + 4.0)
        room = (sheet.left, sheet.y_now, sheet.across, CASE_HIGHEST_MM)
        first = span.low or span.high
        marked = {member.name for member in piece.fits[first.fit].members} if first is not None else set()
        sheet.y_now = draw_case(sheet, case, *room, with_side=True, marked=marked, at_left=True) + 1.0
        if first is not None:
            sheet.says(f"Drawn heavy: {piece.fits[first.fit].called}, the first to run out of room.")
        grain = case.grain()
        if grain is not None:
            sheet.says(in_sentences(grain.reasons, display))
        sheet.y_now += 3.0


def _governs(governing: Governing) -> str:
    return f"{said(governing.fit)}, {said(governing.limit)}"


def _cut_words(member: Member) -> str:
    cut = next((word for word, angle in RING_ANGLE_OF_CUT.items() if angle == member.ring_angle_deg), None)
    return cut or f"rings at {member.ring_angle_deg:g}°"


def _finish_words(member: Member) -> str:
    finish = member.finish

    def face(name: str, coats: int) -> str:
        return "bare" if name == BARE else f"{coats} × {name}"

    front, back = face(finish.face, finish.face_coats), face(finish.back, finish.back_coats)
    return front if front == back else f"{front}; back {back}"


def _members(sheet: _Job, piece: Piece, display: Display) -> None:
    sheet.heading("As built")
    shares = (0.2, 0.24, 0.12, 0.12, 0.12, 0.2)
    sheet.row(("part", "wood", "width", "thick", "at", "finish"), shares, "B")
    for name, member in piece.members.items():
        sheet.row(
            (
                _named(name, member),
                f"{member.species.name}, {_cut_words(member)}",
                display.length(member.width_mm, "nearest", 64),
                display.length(member.thickness_mm, "nearest", 64),
                mc(member.mc_pct) + (", assumed" if member.mc_basis == "assumed" else ""),
                _finish_words(member),
            ),
            shares,
        )
    sheet.hairline(sheet.y_now)
    for caution in cautions(piece.members.values()):
        sheet.says(in_sentences(caution, display))
    sheet.y_now += 2.5


def _named(name: str, member: Member) -> str:
    """A part by its name and role, and how many are alike; by its role alone where that holds its name."""
    called, role = said(name), member.role
    if role:
        called = role if {*called.split()} <= {*role.split()} else f"{called}: {role}"
    return f"{called} × {member.alike}" if member.alike > 1 else called


def _fits(sheet: _Job, piece: Piece, design: DesignRange, display: Display) -> None:
    if not piece.fits:
        return
    sheet.heading("Fits, and what gives out first")
    shares = (0.18, 0.38, 0.16, 0.28)
    sheet.row(("fit", "as built", "design range", "limits, and what was left as built"), shares, "B")
    for name, fit in piece.fits.items():
        found = design.fits[name]
        limits = "; ".join(f"{said(at.limit.name)} {display.margin(at.limit.play_mm)}" for at in found.limits)
        members = ", ".join(said(member.name) for member in fit.members)
        sheet.row(
            (
                f"{said(name)} ({said(fit.kind)}, of {members})",
                fit_dimensions(fit, display),
                f"{humidity_range(found.span.rh_low_pct, found.span.rh_high_pct)} RH",
                limits,
            ),
            shares,
        )
    sheet.hairline(sheet.y_now)
    sheet.y_now += 2.5


def _ends(facts: JobFacts) -> tuple[float, float]:
    """Dry and wet end of where it stands, to a tenth of a per cent, outward: nobody meters finer."""
    low, high = facts.year.ends_pct
    return floor(low * 10.0) / 10.0, ceil(high * 10.0) / 10.0


def _cut_list(sheet: _Job, facts: JobFacts, display: Display) -> None:
    """Each part once, with the widths that will work there from stock as it was."""
    ends = _ends(facts)
    rows = cut_list(facts.piece, ends, display.steps) if ends[0] < ends[1] else ()
    if not rows:
        return
    sheet.heading("What to cut")
    shares = (0.28, 0.2, 0.12, 0.18, 0.12, 0.1)
    sheet.row(("part", "wood", "wide", "will work", "long", "thick"), shares, "B")
    for row in rows:
        sheet.row(
            (
                f"{row.role}{f' × {row.alike}' if row.alike > 1 else ''}",
                row.species,
                display.length(row.width_mm, "nearest", 64),
                widths_that_work(row, display),
                display.length(row.length_mm),
                display.length(row.thickness_mm),
            ),
            shares,
        )
    sheet.hairline(sheet.y_now)
    sheet.says(wood_in_all(rows, display))
    sheet.y_now += 2.5


def _drawer_gaps(sheet: _Job, facts: JobFacts, display: Display) -> None:
    """The gap above each drawer front by the month it is fitted."""
    ends = _ends(facts)
    rows = drawer_gaps(facts.piece, ends, display.steps) if ends[0] < ends[1] else ()
    if not rows:
        return
    sheet.heading("Gap above each front, by the month it is fitted")
    shares = (0.16, *[0.07] * 12)
    sheet.row(("opening", *MONTHS), shares, "B")
    for row in rows:
        sheet.row(gaps_by_month(row, display), shares)
    sheet.hairline(sheet.y_now)
    sheet.y_now += 2.5


def _cuts(sheet: _Job, facts: JobFacts, display: Display) -> None:
    """Cutting advice for each fit, from stock as the members were."""
    ends = _ends(facts)
    if not facts.piece.fits or ends[0] >= ends[1]:
        return
    sheet.heading(f"Cut again for {facts.place or 'a usual home'}, {ends[0]:.1f} to {ends[1]:.1f} %")
    for name, fit in facts.piece.fits.items():
        stock = max(member.mc_pct for member in fit.members)
        advice = cut_document(facts.piece, name, stock, ends, display.steps)
        told = in_sentences(map(Reason.of, advice["reasons"]), display)
        # A name never stands alone at the foot of a page.
        sheet.room(6.0 + sheet.block(0.0, 0.0, sheet.across, told, POINTS, dry=True))
        sheet.says(sentence(said(name)).rstrip("."), "B")
        sheet.says(told)
