"""A sheet of paper: bundled fonts, ink, true fractions, and blocks of text that know how tall they are.

Everything is black on white in hairlines, so that it prints on anything; colour only fills marks. Positions
are in mm from the top left corner, type sizes in points. Import this where a sheet is made: what it needs
takes 30 MB, which the pages do without.
"""

import unicodedata
from collections.abc import Sequence
from datetime import datetime
from functools import cached_property
from importlib.resources import as_file, files
from typing import Literal

import segno
from fpdf import FPDF
from fpdf.enums import MethodReturnValue, XPos, YPos
from fpdf.fonts import TTFFont

from dashboard.paper.page import (
    FIGURES,
    FONT_FILES,
    INK,
    LEADING,
    LINE,
    MM_PER_POINT,
    SIZES_MM,
    WORDS,
    PaperSize,
    true_fractions,
)


class Paper(FPDF):
    """One document.

    Parameters
    ----------
    size : str
        "a4", "letter"; "a6" and "card" (4 by 6 in) lie on their side.
    title, author : str
    made_at : datetime
        For the document's own date; aware.
    margin_mm : float
    """

    def __init__(
        self, size: PaperSize, title: str, made_at: datetime, author: str = "", margin_mm: float = 15.0
    ) -> None:
        width, height = SIZES_MM[size]
        super().__init__(unit="mm", format=(width, height))
        self.set_auto_page_break(False)
        self.set_margin(margin_mm)
        self.c_margin = 0.0
        for (family, style), name in FONT_FILES.items():
            with as_file(files("dashboard.assets.fonts") / name) as path:
                self.add_font(family, style, path)
        self.set_title(self.printable(title))
        if author:
            self.set_author(self.printable(author))
        self.set_lang("en")
        self.set_creation_date(made_at)
        self.set_text_color(*INK)
        self.set_draw_color(*INK)
        self.set_fill_color(*INK)
        self.set_line_width(0.2)

    @property
    def left(self) -> float:
        return float(self.l_margin)

    @property
    def right(self) -> float:
        return float(self.w - self.r_margin)

    @property
    def bottom(self) -> float:
        return float(self.h - self.b_margin)

    @property
    def across(self) -> float:
        return self.right - self.left

    # ------------------------------------------------------------ text

    @cached_property
    def known_characters(self) -> frozenset[int]:
        """Characters that every one of its fonts has."""
        return frozenset.intersection(
            *(frozenset(font.cmap) for font in self.fonts.values() if isinstance(font, TTFFont))
        )

    def printable(self, text: str) -> str:
        """Text in letters the fonts have: others lose their accents, or become a question mark."""
        known, out = self.known_characters, []
        for letter in text:
            if ord(letter) in known or letter == "\n":
                out.append(letter)
                continue
            plain = "".join(c for c in unicodedata.normalize("NFKD", letter) if ord(c) in known)
            # A mark or a control character without a glyph is left out; a letter is missed and says so.
            unseen = unicodedata.category(letter)[0] in "MC"
            out.append(plain or ("" if unseen else "?"))
        return "".join(out)

    def block(
        self,
        x: float,
        y: float,
        width: float,
        text: str,
        size: float,
        family: str = FIGURES,
        style: str = "",
        align: Literal["L", "R"] = "L",
        dry: bool = False,
    ) -> float:
        """Set text in a column; returns the y below it. `dry` only measures."""
        if not text:
            return y
        self.set_font(family, style, size)
        self.set_xy(x, y)
        height = self.multi_cell(
            width,
            size * MM_PER_POINT * LEADING,
            self.printable(true_fractions(text)),
            align=align,
            dry_run=dry,
            output=MethodReturnValue.HEIGHT,
            new_x=XPos.LEFT,
            new_y=YPos.NEXT,
        )
        return y + float(height)  # type: ignore[arg-type]

    def line_of(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        family: str = FIGURES,
        style: str = "",
        align: Literal["left", "middle", "right"] = "left",
    ) -> float:
        """Set one line with its baseline at y; returns its width."""
        self.set_font(family, style, size)
        said = self.printable(true_fractions(text))
        width = float(self.get_string_width(said))
        start = {"left": x, "middle": x - width / 2.0, "right": x - width}[align]
        self.text(start, y, said)
        return width

    def width_of(self, text: str, size: float, family: str = FIGURES, style: str = "") -> float:
        self.set_font(family, style, size)
        return float(self.get_string_width(self.printable(true_fractions(text))))

    def fitted(
        self,
        texts: Sequence[str],
        room: float,
        size: float,
        least: float,
        family: str = WORDS,
    ) -> float:
        """The largest bold type in which each text finds room, from `size` down to `least` [points]."""
        while size > least and any(self.width_of(text, size, family, "B") > room for text in texts):
            size = max(size - 0.5, least)
        return size

    def hairline(
        self, y: float, x: float | None = None, to: float | None = None, weight: float = 0.2
    ) -> None:
        self.set_draw_color(*(INK if weight > 0.25 else LINE))
        self.set_line_width(weight)
        self.line(self.left if x is None else x, y, self.right if to is None else to, y)
        self.set_draw_color(*INK)
        self.set_line_width(0.2)

    def bytes(self) -> bytes:
        return bytes(self.output() or b"")

    def qr(self, x: float, y: float, size_mm: float, text: str) -> None:
        """A QR code as squares of ink."""
        matrix = [list(row) for row in segno.make(text, micro=False).matrix]
        step = size_mm / len(matrix)
        for row, cells in enumerate(matrix):
            for column, dark in enumerate(cells):
                if dark:
                    self.rect(x + column * step, y + row * step, step, step, style="F")
