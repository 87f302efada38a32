"""The moisture through a board's thickness: face, core and back over a drawn section of it."""

from dashboard.figures.drawing import Shape, end_grain, picture, shape
from dashboard.figures.scale import Scale
from model.words import display as say


def profile_drawing(face_pct: float, core_pct: float, back_pct: float, width: int = 520) -> Shape:
    """A board's section with its moisture drawn through it.

    Parameters
    ----------
    face_pct, core_pct, back_pct : float
        Moisture content at the two surfaces and in the middle [%].
    width : int
        Width of the drawing in its own units.
    """
    left, right, top, bottom = 70.0, width - 80.0, 34.0, 168.0
    values = (face_pct, core_pct, back_pct)
    low, high = min(values) - 0.75, max(values) + 0.75
    x = Scale(low, high, left + 26, right - 26)
    uid = f"profile-{width}"
    middle = (top + bottom) / 2
    places = ((face_pct, top, "face"), (core_pct, middle, "core"), (back_pct, bottom, "back"))
    curve = (
        f"M{x(face_pct):.1f} {top}Q{x(core_pct):.1f} {(top + middle) / 2:.1f} {x(core_pct):.1f} {middle}"
        f"Q{x(core_pct):.1f} {(middle + bottom) / 2:.1f} {x(back_pct):.1f} {bottom}"
    )
    drawn = [
        end_grain(uid),
        shape("rect", x=left, y=top, width=right - left, height=bottom - top, class_="cut-frame"),
        shape("rect", x=left, y=top, width=right - left, height=bottom - top, fill=f"url(#{uid})"),
        shape("path", d=curve, class_="tide-line"),
    ]
    for value, y, name in places:
        drawn += [
            shape("circle", cx=x(value), cy=y, r=5, class_="index-fill"),
            shape("text", name, x=left - 10, y=y + 5, text_anchor="end", font_size=14),
            shape("text", say.mc(value), x=right + 12, y=y + 5, font_size=15, class_="strong"),
        ]
    words = ", ".join(f"{name} {say.mc(value)}" for value, _, name in places)
    return picture(
        width, bottom + 20, *drawn, label=f"Moisture through the thickness: {words}.", class_="profile"
    )
