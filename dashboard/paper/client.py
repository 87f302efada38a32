"""The client sheet: what a piece does through the year, where it likes to stand, what to tell the maker."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import floor
from typing import TYPE_CHECKING

from dashboard.paper import client_words as words
from dashboard.paper.case_outline import draw_case
from dashboard.paper.client_rows import SeenRow, seen_rows
from dashboard.paper.cut_through import draw_cut_through
from dashboard.paper.gap_strip import Marked, draw_strip, strip_height_mm
from dashboard.paper.humidity_rule import draw_humidity_rule, rule_height_mm
from dashboard.paper.page import FIGURES, WORDS, PaperSize
from model.answers.annual_range import HomeYear
from model.answers.moving import passed_in
from model.watch.state.humidity import SHEET_OUTDOOR_C, ceilings
from model.wood.air.condensation import HIGHEST_ROOM_RH_PCT
from model.wood.design.comfort import comfort_of
from model.wood.design.design_range import DesignRange
from model.wood.design.patterns.request import request_from_document
from model.wood.fits import Fit
from model.wood.material.finish import BARE
from model.wood.piece import Piece
from model.words.display import Display, joined, sentence
from model.words.limits import comfort_for_client, limit_said
from model.words.reasons import in_sentences
from model.words.times import season

if TYPE_CHECKING:
    from dashboard.paper.pdf import Paper

SMALLEST_PT, LARGEST_PT = 9.5, 11.0
STEP_PT = 0.25
GUTTER_MM = 7.0
MOST_MARKS = 3
QR_MM = 15.0
PICTURE_ACROSS_MM, PICTURE_HIGHEST_MM = 58.0, 14.0
CASE_LEAST_ROWS = 2


@dataclass(frozen=True)
class Contact:
    """Who to call: the maker's name, a line to reach them by, and an address on the web for a QR code."""

    name: str = ""
    line: str = ""
    link: str = ""


@dataclass(frozen=True)
class ClientFacts:
    """What a client sheet tells of.

    Attributes
    ----------
    piece : Piece
    design : DesignRange
        At the temperature of its room.
    year : HomeYear
        What the piece comes to where it stands.
    place : str
        Where that is; empty when nobody said.
    zone : str
        IANA time zone of the place, for its seasons.
    latitude_deg : float or None
        South is negative; the zone decides when it isn't known.
    contact : Contact
    made_at : datetime
        When the sheet was made; not printed, as it would pass.
    """

    piece: Piece
    design: DesignRange
    year: HomeYear
    place: str = ""
    zone: str = "UTC"
    latitude_deg: float | None = None
    contact: Contact = field(default_factory=Contact)
    made_at: datetime = datetime(2026, 1, 1, tzinfo=UTC)
    harms: tuple[tuple[str, str], ...] | None = None
    """What is harmed there now or likely to be within the year, each with its direction; none where the book
    doesn't know, so that the ends of the year decide."""

    @property
    def trouble(self) -> tuple[str, str] | None:
        """What is harmed first within a year there, and in which direction; none where nothing is."""
        harms = self.harms
        if harms is None:
            harms = tuple(
                (limit.says, "shrinking" if limit.end == "dry" else "swelling")
                for limit in passed_in(self.piece, self.year)
                if limit.severity == "harms"
            )
        return harms[0] if harms else None

    @property
    def dry_season(self) -> str:
        """When the piece is driest, in words: a season, or the heating season where nothing is recorded."""
        if self.year.dry_at is None:
            return "the heating season"
        return season(self.year.dry_at, self.zone, self.latitude_deg)

    @property
    def damp_season(self) -> str:
        if self.year.wet_at is None:
            return "the damp season"
        return season(self.year.wet_at, self.zone, self.latitude_deg)


def client_sheet(facts: ClientFacts, display: Display, paper: PaperSize | None = None) -> bytes:
    """The client sheet as a PDF of one page.

    Parameters
    ----------
    facts : ClientFacts
    display : Display
        The units it is told in.
    paper : 'a4' or 'letter', optional
        Letter where inches are read, else A4.

    Returns
    -------
    bytes
        The PDF. Type is made as large as fits, never under 9.5 points; rows of the table that find no room
        at that size are left out, the least visible first. The fit that gives out first is shown cut through
        where that costs no row; a case is drawn, and may cost rows, where two are left.
    """
    size: PaperSize = paper or ("letter" if display.units == "inch" else "a4")
    rows = seen_rows(facts.piece, facts.year, display)

    def at(points: float, some: Sequence[SeenRow], picture: Fit | None) -> tuple["Paper", bool]:
        from dashboard.paper.pdf import Paper

        sheet = Paper(size, f"{facts.piece.name}: how it lives", facts.made_at, facts.contact.name, 14.0)
        sheet.add_page()
        return sheet, _draw(sheet, facts, display, some, points, picture) >= 0.0

    # A case drawn is the piece's face and may cost rows; a fit cut through may not.
    ways = [(governing_fit(facts), CASE_LEAST_ROWS if facts.piece.case else len(rows)), (None, 1)]
    tries = [
        (rows[:count], shown)
        for shown, fewest in ways
        for count in range(len(rows), min(fewest, len(rows)) - 1, -1)
    ]
    for kept in tries:
        sheet, fits = at(SMALLEST_PT, *kept)
        if fits:
            break
    if not fits:
        # Only a name or a contact line beyond all measure comes here; what is over runs into the strip.
        return sheet.bytes()
    small, large = 0, round((LARGEST_PT - SMALLEST_PT) / STEP_PT)
    while small < large:
        middle = (small + large + 1) // 2
        tried, fits = at(SMALLEST_PT + middle * STEP_PT, *kept)
        if fits:
            sheet, small = tried, middle
        else:
            large = middle - 1
    return sheet.bytes()


def governing_fit(facts: ClientFacts) -> Fit | None:
    """The fit that gives out first: in drier air, else in damper; None where nothing ever does."""
    end = facts.design.span.low or facts.design.span.high
    return None if end is None else facts.piece.fits.get(end.fit)


def _draw(
    sheet: "Paper",
    facts: ClientFacts,
    display: Display,
    rows: Sequence[SeenRow],
    points: float,
    picture: Fit | None,
) -> float:
    """Draw the page at a type size; returns what is left above the strip [mm], negative when too much."""
    y = _head(sheet, facts, display, points, picture)
    y = sheet.block(sheet.left, y, sheet.across, f"{words.WHY} {_room(facts)}", points, WORDS) + 2.4
    y = _range(sheet, facts, display, y, points)
    y = _table(sheet, facts, display, rows, y, points)
    marks = [
        Marked(_short(sheet, row.what), *row.gap_mm)
        for row in rows
        if row.gap_mm is not None and max(row.gap_mm) > 0.0
    ][:MOST_MARKS]
    foot = sheet.bottom - 7.0
    strip_top = foot - strip_height_mm(len(marks)) - 2.0
    y = _columns(sheet, facts, display, y, points)
    left = strip_top - y
    draw_strip(sheet, sheet.left, strip_top, marks, display.units, facts.dry_season, facts.damp_season)
    _foot(sheet, facts, foot, points)
    return left


def _room(facts: ClientFacts) -> str:
    """That all that moves has room to; or what will be harmed in the course of a year there."""
    trouble = facts.trouble
    if trouble is None:
        return words.ROOM
    says, direction = trouble
    season = facts.dry_season if direction == "shrinking" else facts.damp_season
    return words.TROUBLE.format(says=says.replace("_", " ").rstrip("."), season=season)


def _short(sheet: "Paper", name: str) -> str:
    """A name that fits beside the strip's marks, cut where it still ends in a thing."""
    name = name.removeprefix("the ")
    while (sheet.width_of(name, 9.5) > 38.0 or name.split()[-1] in ("of", "the", "each")) and " " in name:
        name = name.rsplit(" ", 1)[0].rstrip(",")
    return name


def _head(sheet: "Paper", facts: ClientFacts, display: Display, points: float, picture: Fit | None) -> float:
    piece, top = facts.piece, sheet.t_margin
    sheet.hairline(top, weight=0.8)
    room, below = sheet.across, top
    if picture is not None:
        room -= PICTURE_ACROSS_MM + GUTTER_MM
        beside = sheet.right - PICTURE_ACROSS_MM
        room_for = (beside, top + 2.4, PICTURE_ACROSS_MM, PICTURE_HIGHEST_MM)
        called = sentence(picture.called).rstrip(".")
        if piece.case:
            case = request_from_document(piece.case).case()
            end = draw_case(sheet, case, *room_for, marked={member.name for member in picture.members})
            caption = f"To watch: {called[:1].lower()}{called[1:]}"
        else:
            end = draw_cut_through(sheet, *room_for, picture, display)
            caption = f"{called}, cut through as built"
        below = sheet.block(beside, end + 0.6, PICTURE_ACROSS_MM, caption, SMALLEST_PT, align="R")
    size = sheet.fitted([piece.name], room, 24.0, 13.0)
    sheet.line_of(sheet.left, top + 10.0, piece.name, size, WORDS, "B")
    y = sheet.block(sheet.left, top + 13.0, room, _of_what(facts), points, FIGURES)
    return max(y, below) + 1.8


def _of_what(facts: ClientFacts) -> str:
    """What it is of, who for and when, in a sentence or two."""
    piece = facts.piece
    woods = joined(list(dict.fromkeys(member.species.name for member in piece.members.values())))
    finishes = dict.fromkeys(
        name for m in piece.members.values() for name in (m.finish.face, m.finish.back) if name != BARE
    )
    told = woods[:1].upper() + woods[1:]
    told += f", finished with {joined(list(finishes))}" if finishes else ", left bare"
    details = [piece.details.get("client") or facts.place, piece.details.get("built", "")]
    made = ", ".join(detail for detail in details if detail)
    maker = piece.details.get("maker") or facts.contact.name
    if made:
        told += f". Made for {made}"
    if maker:
        told += f", by {maker}" if made else f". Made by {maker}"
    return f"{told}."


def _range(sheet: "Paper", facts: ClientFacts, display: Display, y: float, points: float) -> float:
    comfort = comfort_of(facts.piece, facts.design)
    low, high = comfort.rh_low_pct, comfort.rh_high_pct
    sheet.line_of(sheet.left, y + 4.6, "The air it likes", points + 3.0, WORDS, "B")
    y += 6.4
    told = f"{comfort_for_client(comfort)} {words.STEADY}"
    if not comfort.why:
        told += _beyond(facts)
    y = sheet.block(sheet.left, y, sheet.across, told, points) + 1.0
    outdoors = ceilings(SHEET_OUTDOOR_C if display.units == "metric" else None)
    draw_humidity_rule(sheet, sheet.left, y, sheet.across, low, high, outdoors, display)
    y += rule_height_mm() + 0.6
    examples = joined([f"{rh} % at {display.temperature(at_c)}" for at_c, rh in outdoors[1::2]])
    caution = words.CEILING.format(highest=floor(HIGHEST_ROOM_RH_PCT), examples=examples)
    coldest = [rh for _, rh in outdoors]
    likes = facts.design.span.rh_low_pct
    if not comfort.why and likes is not None and likes > min(coldest):
        caution += f" {words.TOO_DRY}"
    return sheet.block(sheet.left, y, sheet.across, caution, points) + 2.4


def _beyond(facts: ClientFacts) -> str:
    """What gives out first at each end of its range."""
    told = []
    limits = {(at.fit, at.limit.name): at.limit for fit in facts.design.fits.values() for at in fit.limits}
    for end, when in ((facts.design.span.low, "drier"), (facts.design.span.high, "damper")):
        if end is None:
            continue
        limit = limits[(end.fit, end.limit)]
        told.append(f"weeks much {when}, and {limit_said(limit)}")
    return f" {sentence('; '.join(told))}" if told else ""


def _table(
    sheet: "Paper", facts: ClientFacts, display: Display, rows: Sequence[SeenRow], y: float, points: float
) -> float:
    doubt_mm = max((row.doubt_mm for row in rows), default=0.0)
    sure = f", give or take {display.doubt(doubt_mm)}" if doubt_mm else ""
    sheet.line_of(sheet.left, y + 4.6, f"What is normal{sure}", points + 3.0, WORDS, "B")
    y += 6.6
    if not rows:
        told = "All that moves in it does so out of sight; you should see nothing change through the year."
        return sheet.block(sheet.left, y, sheet.across, told, points) + 2.0
    first, other = 0.26 * sheet.across, 0.37 * sheet.across
    at = (sheet.left, sheet.left + first, sheet.left + first + other)
    heads = ("", f"In {facts.dry_season}", f"In {facts.damp_season}")
    if facts.year.dry_at is not None:
        heads = ("", f"{heads[1]}, the dry end", f"{heads[2]}, the damp end")
    for x, head in zip(at, heads, strict=True):
        sheet.line_of(x, y + 3.4, head, points, FIGURES, "B")
    y += 4.8
    for row in rows:
        sheet.hairline(y)
        cells = (sentence(row.what).rstrip("."), row.dry, row.damp)
        widths = (first - 3.0, other - 3.0, sheet.right - at[2])
        y = 0.8 + max(
            sheet.block(x, y + 0.5, width, cell, points)
            for x, cell, width in zip(at, cells, widths, strict=True)
        )
    sheet.hairline(y)
    basis = "" if facts.year.basis == "recorded" else f" {sentence(_basis(facts))}"
    woods = dict.fromkeys(member.species for member in facts.piece.members.values())
    known = in_sentences(
        caution for wood in woods for caution in wood.cautions if caution.key == "wood-remembered"
    )
    told = f"{words.COMES_BACK}{basis} {known}".rstrip()
    return sheet.block(sheet.left, y + 0.8, sheet.across, told, points) + 2.4


def _basis(facts: ClientFacts) -> str:
    if facts.year.basis == "usual":
        return "sizes count on the air usual in heated homes, as yours has not been measured"
    if facts.year.basis == "partly recorded":
        return "sizes count on what was measured in your home so far and on the air usual in homes"
    return "sizes count on the humidities you gave us"


def _columns(sheet: "Paper", facts: ClientFacts, display: Display, y: float, points: float) -> float:
    """The short chapters in two columns, split where the taller column is least tall."""
    width = (sheet.across - GUTTER_MM) / 2.0
    chapters = words.chapters(facts.piece, display)
    high = [6.6 + sheet.block(0.0, 0.0, width, text, points, dry=True) for _, text in chapters]
    split = min(range(1, len(chapters)), key=lambda at: max(sum(high[:at]), sum(high[at:])))
    below = y
    for x, these in ((sheet.left, chapters[:split]), (sheet.left + width + GUTTER_MM, chapters[split:])):
        at = y
        for title, text in these:
            sheet.line_of(x, at + 3.8, title, points + 1.5, WORDS, "B")
            at = sheet.block(x, at + 5.0, width, text, points) + 1.6
        below = max(below, at)
    return below


def _foot(sheet: "Paper", facts: ClientFacts, y: float, points: float) -> None:
    contact = facts.contact
    sheet.hairline(y, to=sheet.right - (QR_MM + 3.0 if contact.link else 0.0))
    if contact.name or contact.line:
        told = ", ".join(bit for bit in (contact.name, contact.line) if bit)
    else:
        told = "Your maker: " + "_" * 48
    room = sheet.across - (QR_MM + 3.0 if contact.link else 0.0)
    told = f"Ask us before you do anything to it. {told}"
    size = sheet.fitted([told], room, points, SMALLEST_PT, family=FIGURES)
    sheet.line_of(sheet.left, y + 4.8, told, size, FIGURES, "B")
    if contact.link:
        sheet.qr(sheet.right - QR_MM, sheet.bottom - QR_MM, QR_MM, contact.link)
