"""The gap strip is true to size on paper, and its letters read back as the gaps they stand for."""

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image

from dashboard.paper import gap_strip
from dashboard.paper.sheet import (
    client_sheet,
    letter_for,
    read_letter,
)
from model.wood.errors import BadInput
from model.words.display import Display, Units
from tests.dashboard.papers import facts_of, needs_poppler, poppler, sample


def picture_of(pdf: bytes, dpi: int = 300) -> np.ndarray:
    """The first page as it prints: true where there is ink."""
    png = poppler("pdftoppm", pdf, "-r", str(dpi), "-gray", "-png", "-singlefile", "-")
    return np.asarray(Image.open(io.BytesIO(png)).convert("L")) < 128


def _runs(row: np.ndarray) -> list[tuple[int, int]]:
    """Where a row of the picture has ink: starts and ends of each run."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


@pytest.mark.slow
@needs_poppler
@pytest.mark.parametrize(("units", "paper"), [("inch", "letter"), ("metric", "a4")])
def test_the_strip_is_true_to_size_on_paper(units: Units, paper: Any) -> None:
    """At 300 dpi a dot is 0.085 mm: every bar within 0.2 mm of its width, the rule of its length."""
    dpi = 300
    ink = picture_of(client_sheet(facts_of(sample("chest_of_drawers")), Display(units), paper), dpi)
    mm = 25.4 / dpi
    left = 14.0 + gap_strip.NAMES_MM + gap_strip.PITCH_MM / 2.0
    right = left + 12.0 * gap_strip.PITCH_MM
    window = ink[:, round(left / mm) : round(right / mm)]
    expected = gap_strip.step_widths_mm(units)
    found = None
    starts = (np.diff(window.astype(np.int8), axis=1) == 1).sum(axis=1)
    for number in np.flatnonzero(starts == 12):
        runs = _runs(window[number])
        widths = [(end - start) * mm for start, end in runs]
        if len(runs) == 12 and widths == sorted(widths) and widths[-1] > 5.0:
            found = runs
            break
    assert found is not None, "no row of twelve widening bars on the page"
    for (start, end), width_mm in zip(found, expected, strict=True):
        assert (end - start) * mm == pytest.approx(width_mm, abs=0.2)
    middles = [(start + end) / 2.0 * mm for start, end in found]
    assert np.diff(middles) == pytest.approx(gap_strip.PITCH_MM, abs=0.2)
    length_mm = gap_strip.RULE_MM[units]
    rows = ink[(ink.sum(axis=1) * mm > length_mm - 0.5) & (ink.sum(axis=1) * mm < length_mm + 60.0)]
    longest = [max(end - start for start, end in _runs(row)) * mm for row in rows]
    assert any(length == pytest.approx(length_mm, abs=0.2) for length in longest)


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_a_letter_reads_back_as_the_gap_it_stands_for(units: Units) -> None:
    for letter, width in zip(gap_strip.LETTERS, gap_strip.step_widths_mm(units), strict=True):
        assert letter_for(width, units) == letter
        reading = read_letter(letter.lower(), units)
        assert reading.gap_mm == width
        assert 0.0 < reading.uncertainty_mm < 0.6
    assert letter_for(0.0, units) == "–"
    assert letter_for(30.0, units) == "+"
    for gap_mm in np.linspace(0.3, 6.0, 200):
        letter = letter_for(float(gap_mm), units)
        # An even spread of a bar's own room lies within the root of three deviations of it.
        reading = read_letter(letter, units)
        assert abs(reading.gap_mm - gap_mm) <= 3.0 * reading.uncertainty_mm


@pytest.mark.parametrize("letter", ["I", "Z", "", "AB", "3"])
def test_a_letter_no_bar_has_is_refused(letter: str) -> None:
    with pytest.raises(BadInput, match="letter"):
        read_letter(letter, "inch")
