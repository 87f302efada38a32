"""The cut card: one card for the saw, with the sizes large and the reasons small."""

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from dashboard.paper.page import FIGURES, WORDS, PaperSize
from model.wood.units import MM_PER_INCH
from model.words.display import Display, said
from model.words.limits import cut_said
from model.words.reasons import moisture_said

if TYPE_CHECKING:
    from dashboard.paper.pdf import Paper

Figure = tuple[str, str]

SMALLEST_PT = 8.5
"""Of the sentences on a card; its sizes are far larger."""


def cut_card(
    document: Mapping[str, Any],
    display: Display,
    made_at: datetime,
    home: str = "",
    size: PaperSize | None = None,
) -> bytes:
    """A card from cutting advice, as PDF of one page.

    Parameters
    ----------
    document : mapping
        What `model.wood.design.cutting.cut_document` gives.
    display : Display
    made_at : datetime
        Aware; the day is not printed, the moisture content is what counts.
    home : str
        What the home is called.
    size : 'card' or 'a6', optional
        4 by 6 in where inches are read, else A6.
    """
    from dashboard.paper.pdf import Paper

    points = 11.0
    while True:
        card = Paper(
            size or ("card" if display.units == "inch" else "a6"),
            f"{document['piece']}: {said(document['fit'])}",
            made_at,
            margin_mm=8.0,
        )
        card.add_page()
        left = _draw(card, document, display, home, points)
        if left >= 0.0 or points <= SMALLEST_PT:
            return card.bytes()
        points -= 0.5


def card_figures(document: Mapping[str, Any], display: Display) -> list[Figure]:
    """What to set out, label and size, most needed first: at most four."""
    found = [
        (label, value if isinstance(value, str) else display.length(value, toward, 64))
        for label, value, toward in document["figures"]
    ]
    return found[:4]


def _draw(card: "Paper", document: Mapping[str, Any], display: Display, home: str, points: float) -> float:
    top = card.t_margin
    card.hairline(top, weight=0.7)
    title = f"{document['piece']}: {said(document['fit'])}"
    size = card.fitted([title], card.across, 17.0, 10.0)
    card.line_of(card.left, top + 7.6, title, size, WORDS, "B")
    dry, wet = document["range_mc_pct"]
    where = f"{home}, " if home else ""
    metered = moisture_said(document["stock_mc_pct"], document["mc_doubt_pct"])
    stock = f"{said(document['member'])}: stock at {metered} today; "
    y = card.block(card.left, top + 9.6, card.across, f"{stock}{where}{dry:.1f} to {wet:.1f} % there", 10.5)
    figures = card_figures(document, display)
    y += 3.0
    each = card.across / max(len(figures), 1)
    large = card.fitted([value for _, value in figures], each - 3.0, 23.0, 11.0, family=FIGURES)
    for at, (label, value) in enumerate(figures):
        x = card.left + at * each
        if at:
            card.set_draw_color(150, 143, 128)
            card.line(x - 2.0, y, x - 2.0, y + 14.0)
            card.set_draw_color(34, 32, 28)
        card.line_of(x, y + 8.0, value, large, FIGURES, "B")
        card.line_of(x, y + 13.4, label, 9.5)
    y += 18.0
    for told in cut_said(document, display):
        y = card.block(card.left, y, card.across, told, points) + 0.6
    foot = card.bottom - 4.0
    _bench_rule(card, foot, display)
    return foot - 1.0 - y


def _bench_rule(card: "Paper", y: float, display: Display) -> None:
    """A true rule along the foot of the card, to check the printer by and to measure with."""
    unit, parts, long_every = (10.0, 10, 10) if display.units == "metric" else (MM_PER_INCH, 16, 16)
    units = int(card.across // unit)
    card.set_line_width(0.3)
    card.line(card.left, y, card.left + units * unit, y)
    card.set_line_width(0.15)
    for part in range(units * parts + 1):
        tick = 3.4 if part % long_every == 0 else (2.4 if part % (long_every // 2) == 0 else 1.4)
        at = card.left + part * unit / parts
        card.line(at, y, at, y + tick)
    card.set_line_width(0.2)
