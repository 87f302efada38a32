"""The place rule: a place's air on steel, graduated in RH on one edge and in EMC on the other.

Under it stand brackets, one for each piece or stack there, over the humidity it can take.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite

import numpy as np

from dashboard.figures.drawing import Shape, picture, shape, ticks
from dashboard.figures.scale import Scale, bracket, humidity_edge, index, steel_body
from dashboard.say.sentences import emc_of
from model.wood.air.sorption import relative_humidity_for
from model.words import display as say

LOW_RH_PCT, HIGH_RH_PCT = 0.0, 100.0
EDGE, TOP, BOTTOM = 14, 34, 88
EMC_MARKS = (4, 6, 8, 10, 12, 14, 16, 20)


@dataclass(frozen=True)
class Bracket:
    """The humidity something can take; an end without a limit is None.

    `nothing` is set where no humidity suits it; `what` names a range other than the comfortable one.
    """

    name: str
    rh_low_pct: float | None
    rh_high_pct: float | None
    href: str = ""
    what: str = ""
    nothing: bool = False

    @property
    def says(self) -> str:
        """The range in words."""
        if self.nothing:
            return "no humidity suits all of it"
        told = say.humidity_range(self.rh_low_pct, self.rh_high_pct)
        return f"{self.what} {told}" if self.what else told

    @property
    def width_pct(self) -> float:
        """How much of the scale it covers; the least is the most exacting."""
        if self.nothing:
            return 0.0
        low = LOW_RH_PCT if self.rh_low_pct is None else self.rh_low_pct
        return (HIGH_RH_PCT if self.rh_high_pct is None else self.rh_high_pct) - low


def place_rule(
    name: str,
    temperature_c: float | None,
    rh_pct: float | None,
    brackets: Sequence[Bracket] = (),
    width: int = 720,
) -> Shape:
    """A place's rule as a drawing.

    Parameters
    ----------
    name : str
        The place.
    temperature_c, rh_pct : float or None
        Its air now [°C, %]; without it the rule is drawn for 20 °C and carries no index.
    brackets : sequence of Bracket
        What stands there.
    width : int
        Width of the drawing in its own units; a phone's is 360.
    """
    x = Scale(LOW_RH_PCT, HIGH_RH_PCT, EDGE, width - EDGE)
    known = rh_pct is not None and temperature_c is not None and isfinite(rh_pct) and isfinite(temperature_c)
    at_c = temperature_c if known and temperature_c is not None else 20.0
    top, bottom = TOP, BOTTOM
    parts: list[Shape] = [*_steel(width, round(at_c))]
    label = f"{name}: no air known"
    if known and rh_pct is not None:
        emc_pct = emc_of(at_c, rh_pct)
        here = x.held(rh_pct)
        parts += [
            *index(here, top, bottom + 9),
            _kept_inside(f"{say.rh(rh_pct)} RH", here, 18, width, "strong"),
        ]
        label = f"{name}: {say.rh(rh_pct)} relative humidity"
        if emc_pct is not None:
            parts.append(
                _kept_inside(f"wood settles at {say.mc(emc_pct)}", here, bottom + 23, width, "strong")
            )
            label += f", wood settles at {say.mc(emc_pct)}"
    y = bottom + 42
    for own in brackets:
        parts.append(_bracket(own, x, y, width))
        label += f"; {own.name}, {own.says}"
        y += 34
    return picture(width, y - (10 if brackets else 14), *parts, label=label, class_="place-rule")


@lru_cache(maxsize=256)
def _steel(width: int, temperature_c: int) -> tuple[Shape, ...]:
    """The rule itself, which is the same for every place as warm: nothing may change what is shared."""
    x = Scale(LOW_RH_PCT, HIGH_RH_PCT, EDGE, width - EDGE)
    right = {"x": width - EDGE - 2, "y": TOP + 31, "text_anchor": "end"}
    return (
        steel_body(1, TOP, width - 2, BOTTOM - TOP),
        shape("text", "RH %", class_="soft-text", font_size=12, **right),
        shape("text", "EMC %", x=EDGE + 2, y=BOTTOM - 22, class_="soft-text", font_size=12),
        *humidity_edge(x, TOP, width, (15, 10, 6)),
        *_moisture_edge(x, BOTTOM, temperature_c, width),
    )


def _moisture_edge(x: Scale, bottom: float, temperature_c: int, width: int) -> list[Shape]:
    whole, half, numbers = [], [], []
    for mc_pct, rh_pct in _graduations(temperature_c):
        if mc_pct % 1:
            half.append((x(rh_pct), bottom - 7, bottom))
            continue
        whole.append((x(rh_pct), bottom - 12, bottom))
        if mc_pct in EMC_MARKS and (width >= 500 or mc_pct in (4, 8, 12, 20)):
            at = {"x": x(rh_pct), "y": bottom - 15}
            numbers.append(shape("text", f"{mc_pct:g}", text_anchor="middle", font_size=13, **at))
    return [ticks(whole, "tick"), ticks(half, "tick-small"), *numbers]


@lru_cache(maxsize=128)
def _graduations(temperature_c: int) -> tuple[tuple[float, float], ...]:
    """Half points of moisture content and the humidity each settles at, at a whole degree."""
    mc_pct = np.arange(0.5, 26.5, 0.5)
    rh_pct = np.asarray(relative_humidity_for(np.full_like(mc_pct, temperature_c), mc_pct))
    inside = (rh_pct > LOW_RH_PCT) & (rh_pct < HIGH_RH_PCT)
    return tuple(zip(mc_pct[inside].tolist(), rh_pct[inside].tolist(), strict=True))


def _bracket(own: Bracket, x: Scale, y: float, width: int) -> Shape:
    low = x.held(own.rh_low_pct) if own.rh_low_pct is not None else x.start
    high = x.held(own.rh_high_pct) if own.rh_high_pct is not None else x.end
    text = _kept_inside(f"{own.name} · {own.says}", (low + high) / 2, y + 15, width, "")
    ends = own.rh_low_pct is not None, own.rh_high_pct is not None
    parts = [*([] if own.nothing else bracket(low, high, y, ends)), text]
    return shape("a", *parts, href=own.href) if own.href else shape("g", *parts)


def _kept_inside(words: str, x: float, y: float, width: int, class_: str) -> Shape:
    """A text centred at `x`, moved in so far that it doesn't run off the drawing."""
    half = len(words) * 3.5
    return shape(
        "text",
        words,
        x=min(max(x, half + 2), width - half - 2),
        y=y,
        text_anchor="middle",
        font_size=14,
        class_=class_ or None,
    )
