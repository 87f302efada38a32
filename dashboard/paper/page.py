"""What every sheet of paper has in common: sizes, types, colours, and true fractions."""

import re
from typing import Literal

PaperSize = Literal["a4", "letter", "a6", "card"]
SIZES_MM: dict[PaperSize, tuple[float, float]] = {
    "a4": (210.0, 297.0),
    "letter": (215.9, 279.4),
    "a6": (148.0, 105.0),
    "card": (152.4, 101.6),
}
WORDS, FIGURES = "words", "figures"
FONT_FILES = {
    (WORDS, ""): "vollkorn-print-400.ttf",
    (WORDS, "B"): "vollkorn-print-600.ttf",
    (FIGURES, ""): "alegreya-sans-print-400.ttf",
    (FIGURES, "B"): "alegreya-sans-print-700.ttf",
}
INK, LINE = (34, 32, 28), (150, 143, 128)
TIDE, WOOD = (47, 108, 143), (138, 90, 43)
MM_PER_POINT = 25.4 / 72.0
LEADING = 1.22

_VULGAR = {
    (1, 2): "½", (1, 4): "¼", (3, 4): "¾", (1, 8): "⅛", (3, 8): "⅜", (5, 8): "⅝", (7, 8): "⅞",
}  # fmt: skip
_NUMERATOR = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_DENOMINATOR = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")
_INCHES = re.compile(r"(?<![\d/.])(?:(\d+)-)?(\d{1,2})/(2|4|8|16|32|64)(?![\d/])")


def true_fractions(text: str) -> str:
    """Inch fractions set as fractions: `14-1/2 in` as `14½ in`; lumber in quarters (5/4) stays as it is.

    >>> true_fractions("14-1/2 in, 3/32 in, 5/4")
    '14½ in, ³⁄₃₂ in, 5/4'
    """

    def one(found: re.Match[str]) -> str:
        whole, over, under = found[1] or "", int(found[2]), int(found[3])
        if not 0 < over < under:
            return found[0]
        small = _VULGAR.get((over, under))
        if small is None:
            small = f"{found[2].translate(_NUMERATOR)}⁄{found[3].translate(_DENOMINATOR)}"
        return whole + small

    return _INCHES.sub(one, text)
