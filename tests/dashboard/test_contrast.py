"""Ink on paper, by day, by night and printed: contrast by WCAG 2.2's definition of relative luminance.

Source: W3C, Web Content Accessibility Guidelines 2.2 (2023), "relative luminance" and "contrast ratio"; 4.5
for text (1.4.3), 3 for what is drawn (1.4.11).
"""

import re
from itertools import product
from pathlib import Path

import pytest

from dashboard.figures import plot

CSS = (Path(plot.__file__).parents[1] / "assets" / "paper.css").read_text(encoding="utf-8")
GROUNDS = ("paper", "sunk")
TEXT = ("ink", "soft")
DRAWN = ("tide", "wood", "steel", "ink")


def inks(beginning: str) -> dict[str, str]:
    """The inks that a rule of the sheet sets, over those of the day."""
    rule = CSS[CSS.index(beginning) :]
    named = re.findall(r"--([a-z-]+): (#[0-9a-f]+);", rule[: rule.index("}")])
    return (inks(":root {") if beginning != ":root {" else {}) | dict(named)


WAYS = {
    "day": inks(":root {"),
    "night": inks(':root[data-theme="night"]'),
    "asked of the system": inks(':root:not([data-theme="day"]) {'),
    "printed": inks(':root, :root:not([data-theme="day"])'),
}


def luminance(ink: str) -> float:
    if len(ink) == 4:
        ink = "#" + "".join(2 * digit for digit in ink[1:])
    parts = [int(ink[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_is_twenty_one_and_a_colour_on_itself_one():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#2f6c8f", "#2f6c8f") == 1.0
    # The grey that just passes on white, as the W3C's own understanding document has it.
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("way", WAYS)
def test_text_can_be_read_on_either_ground(way):
    found = {(ink, on): contrast(WAYS[way][ink], WAYS[way][on]) for ink, on in product(TEXT, GROUNDS)}
    assert {pair: round(value, 2) for pair, value in found.items() if value < 4.5} == {}


@pytest.mark.parametrize("way", WAYS)
def test_lines_of_drawings_and_charts_can_be_seen(way):
    found = {ink: contrast(WAYS[way][ink], WAYS[way]["paper"]) for ink in DRAWN}
    assert {ink: round(value, 2) for ink, value in found.items() if value < 3.0} == {}


def test_both_nights_are_the_same_and_charts_are_sent_in_the_days_ink():
    assert WAYS["night"] == WAYS["asked of the system"]
    sent = {name.lower(): getattr(plot, name) for name in ("PAPER", "SUNK", "INK", "SOFT", "LINE", "STEEL")}
    sent |= {"tide": plot.TIDE, "wood": plot.WOOD}
    assert sent == {name: WAYS["day"][name] for name in sent}
