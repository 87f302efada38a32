"""A rule graduated in relative humidity: a piece's comfortable range under it, the house's ceilings above."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from dashboard.paper.page import FIGURES, TIDE
from model.words.display import Display

if TYPE_CHECKING:
    from dashboard.paper.pdf import Paper

LOWEST, HIGHEST = 10, 80
FLAGS_MM, TICKS_MM, BRACKET_MM = 9.0, 7.4, 6.2


def rule_height_mm() -> float:
    return FLAGS_MM + TICKS_MM + BRACKET_MM


def draw_humidity_rule(
    paper: "Paper",
    x: float,
    y: float,
    width: float,
    low_pct: float | None,
    high_pct: float | None,
    outdoors: Sequence[tuple[float, int]],
    display: Display,
) -> None:
    """Draw the rule in a box of `rule_height_mm`.

    Parameters
    ----------
    low_pct, high_pct : float or None
        The comfortable range, whole percents; none where nothing is comfortable.
    outdoors : sequence of (°C, %)
        Outdoor temperatures with the highest humidity to keep indoors.
    """

    def at(rh_pct: float) -> float:
        inset = 3.0
        share = (min(max(rh_pct, LOWEST), HIGHEST) - LOWEST) / (HIGHEST - LOWEST)
        return x + inset + share * (width - 2.0 * inset)

    base = y + FLAGS_MM
    paper.set_line_width(0.35)
    paper.line(at(LOWEST), base, at(HIGHEST), base)
    paper.set_line_width(0.15)
    for rh in range(LOWEST, HIGHEST + 1):
        tick = 3.2 if rh % 10 == 0 else (2.4 if rh % 5 == 0 else 1.4)
        paper.line(at(rh), base, at(rh), base + tick)
        if rh % 10 == 0:
            paper.line_of(at(rh), base + 6.8, f"{rh} %", 9.5, FIGURES, "", "middle")
    _flags(paper, at(LOWEST), y, base, sorted((at(rh), c) for c, rh in outdoors), display)
    _bracket(paper, base + TICKS_MM + 1.0, at, low_pct, high_pct)


def _flags(
    paper: "Paper", left: float, y: float, base: float, flags: Sequence[tuple[float, float]], display: Display
) -> None:
    for x, outdoor_c in flags:
        paper.set_line_width(0.3)
        paper.line(x, base, x, base - 4.0)
        paper.polygon([(x - 1.0, base - 1.9), (x + 1.0, base - 1.9), (x, base)], style="F")
        paper.line_of(x, base - 5.0, f"{_degrees(display, outdoor_c)}", 9.5, FIGURES, "", "middle")
    if flags:
        last = max(x for x, _ in flags)
        words = f"{display.temperature_unit} outside: no higher indoors"
        paper.line_of(last + 7.0, base - 5.0, words, 9.5)
    paper.set_line_width(0.2)


def _degrees(display: Display, temperature_c: float) -> str:
    return display.temperature(temperature_c).split("\u00a0")[0]


def _bracket(paper: "Paper", y: float, at, low_pct: float | None, high_pct: float | None) -> None:  # type: ignore[no-untyped-def]
    if low_pct is None or high_pct is None:
        return
    paper.set_fill_color(*TIDE)
    paper.rect(at(low_pct), y, max(at(high_pct) - at(low_pct), 0.4), 2.2, style="DF")
    paper.set_fill_color(34, 32, 28)
    for end in (low_pct, high_pct):
        paper.line(at(end), y - 0.8, at(end), y + 3.0)
