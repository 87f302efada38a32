"""The gap strip as a picture, for a page: its bars are larger than life, and the paper's alone are true."""

from collections.abc import Sequence

from dashboard.figures.drawing import Shape, picture, shape
from dashboard.paper.gap_strip import LETTERS, step_widths_mm
from model.words.display import Units

PITCH, SCALE, TOP, BAR = 26.0, 2.6, 4.0, 26.0


def strip_drawing(units: Units, letters: Sequence[str] = ()) -> Shape:
    """The strip with its letters; under those that gaps should read now stands a mark."""
    width = PITCH * (len(LETTERS) + 1)
    drawn = [
        shape("rect", x=0.5, y=0.5, width=width - 1, height=72, class_="cut-away", stroke_dasharray="4 3")
    ]
    for at, (letter, width_mm) in enumerate(zip(LETTERS, step_widths_mm(units), strict=True), 1):
        x, across = at * PITCH, width_mm * SCALE
        drawn.append(shape("rect", x=x - across / 2, y=TOP, width=across, height=BAR, class_="cut-steel"))
        class_ = "strong" if letter in letters else None
        drawn.append(
            shape("text", letter, x=x, y=TOP + BAR + 17, text_anchor="middle", font_size=15, class_=class_)
        )
        if letter in letters:
            drawn.append(shape("path", d=f"M{x - 5} {TOP + BAR + 34}h10l-5 -9z", class_="index-fill"))
    told = f", about {', '.join(sorted(set(letters)))} now" if letters else ""
    return picture(width, 73, *drawn, label=f"The gap strip{told}", class_="strip-drawing")
