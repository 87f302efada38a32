"""What a moisture meter said of some boards: corrected where a correction is printed, and how sure it is.

Every doubt is a ±, half of the way from the 10th to the 90th percentile, as in `instruments`.

References
----------
.. [1] Forest Products Laboratory, "Wood Handbook", ch. 13: a pin meter's reading rises by half a point for
       each 10 °F that the wood is below 70 °F, and falls by as much above.
.. [2] Shupe, Wu and Hartley, "Calibration of moisture meters for southern hardwoods", a technical note: it
       quotes Wengert and Bois (1997), by whom readings seldom are more than 2 points off the oven's.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from model.wood.errors import BadInput
from model.wood.material.instruments import METER_UNCERTAINTY_PCT, OVEN_DOUBT_PCT
from model.wood.material.meter_resistance import LEAST_DOUBT_PCT, moisture_in
from model.wood.reason import Reason
from model.wood.units import MM_PER_INCH

PIN, PINLESS, OVEN = "pin meter", "pinless meter", "oven"
HOW = (PIN, PINLESS, OVEN, "witness board")
PINS_IN, SURFACE = "pins in", "surface"
"""Pins a quarter of the thickness in, which read about its mean (Wood Handbook ch. 13), or the shell."""

CORRECTION_PCT_PER_C = 0.5 * 1.8 / 10.0
"""What a pin meter's reading lacks for each °C that the wood is below `NEUTRAL_C` [1]_."""
NEUTRAL_C = (70.0 - 32.0) / 1.8
CORRECTION_DOUBT = 0.5
"""Of the correction, the share that may be wrong: a rule for every wood and meter (common practice, no
source). One smooth fit to pine and spruce, from memory, is off it by a fifth to two fifths."""
UNSET_DOUBT_PCT = 2.0
"""Of a meter that isn't set for the wood, in place of `METER_UNCERTAINTY_PCT` [2]_, where neither its booklet
nor `meter_resistance` gives a correction."""
MOST_BOOKLET_PCT = 5.0
SURFACE_DOUBT_PCT_PER_MM = 1.0 / MM_PER_INCH
"""What the shell leaves unsaid of the mean: a point for each inch of thickness (common practice,
no source)."""
TENTH = 0.9


@dataclass(frozen=True)
class Metered:
    """Readings of several boards of one stack, as the meter showed them.

    Attributes
    ----------
    readings_pct : tuple of float
        One a board, at least one [%].
    thickness_mm : float
        Of a board.
    how : str
        One of `HOW`; empty when nobody said.
    depth : str
        `PINS_IN`, `SURFACE`; empty when nobody said.
    wood_c : float, optional
        Temperature of the wood [°C].
    set_for_wood : bool, optional
        Whether the meter was set for the wood, or its own table was applied.
    wood : str
        Of the boards, as `find_species` names it; empty when nobody said.
    set_for : str
        The wood that the meter was set for instead, named so too; a pin meter is corrected for it.
    booklet_pct : float, optional
        The correction that the meter's booklet gives for the wood at such a reading [points].

    Examples
    --------
    >>> cold = Metered((8.1, 8.4, 9.0), 25.4, PIN, PINS_IN, wood_c=10.0)
    >>> round(cold.mc_pct, 2), round(cold.doubt_pct, 2)
    (9.5, 1.22)
    """

    readings_pct: tuple[float, ...]
    thickness_mm: float
    how: str = ""
    depth: str = ""
    wood_c: float | None = None
    set_for_wood: bool | None = None
    wood: str = ""
    set_for: str = ""
    booklet_pct: float | None = None

    def __post_init__(self) -> None:
        if self.booklet_pct is not None and not abs(self.booklet_pct) <= MOST_BOOKLET_PCT:
            rule = f"must be a number in -{MOST_BOOKLET_PCT:g} to {MOST_BOOKLET_PCT:g} points"
            raise BadInput("", "booklet_pct", rule, self.booklet_pct)
        if self.set_for_wood and self.set_for not in ("", self.wood):
            raise BadInput(
                "", "set_for", "must be left out of a meter that was set for the wood", self.set_for
            )
        for what, value, known in (("how", self.how, HOW), ("depth", self.depth, (PINS_IN, SURFACE))):
            if value and value not in known:
                raise BadInput("", what, f"must be one of {', '.join(known)}", value)

    @property
    def correction_pct(self) -> float:
        """What is added to each reading for the wood's temperature [points]; 0 of all but a pin meter."""
        return self._cold_pct if self.how == PIN else 0.0

    @property
    def _cold_pct(self) -> float:
        return 0.0 if self.wood_c is None else CORRECTION_PCT_PER_C * (NEUTRAL_C - self.wood_c)

    @property
    def boards_pct(self) -> tuple[float, ...]:
        """Each board, corrected [%]: first for its temperature, then for its wood."""
        warm = (max(reading + self.correction_pct, 0.0) for reading in self.readings_pct)
        if self.is_by_booklet:
            return tuple(max(reading + (self.booklet_pct or 0.0), 0.0) for reading in warm)
        return self._by_resistance or tuple(warm)

    @property
    def is_by_booklet(self) -> bool:
        """Whether its booklet's correction is made."""
        return self.how != OVEN and self.booklet_pct is not None

    @property
    def _by_resistance(self) -> tuple[float, ...] | None:
        """Each board by the resistance of its wood and of that which the meter was set for, if known."""
        if self.how != PIN or not self.set_for or self.is_by_booklet:
            return None
        found = [
            moisture_in(self.wood, self.set_for, reading + self.correction_pct)
            for reading in self.readings_pct
        ]
        boards = tuple(one for one in found if one is not None)
        return boards if len(boards) == len(found) else None

    @property
    def wood_correction_pct(self) -> float:
        """What the wood's own correction adds to the mean of the readings [points]."""
        return self.mc_pct - math.fsum(self.readings_pct) / len(self.readings_pct) - self.correction_pct

    @property
    def is_unset(self) -> bool:
        """Whether the meter wasn't set for the wood, and nothing corrects it for that."""
        was_set = self.set_for_wood if not self.set_for else self.set_for == self.wood
        return was_set is False and not self.is_by_booklet and self._by_resistance is None

    @property
    def mc_pct(self) -> float:
        """Mean of the boards [%]."""
        return math.fsum(self.boards_pct) / len(self.boards_pct)

    @property
    def doubt_by(self) -> Mapping[str, float]:
        """The doubt of the mean by source [points]: meter, wood, temperature, surface and boards.

        That of the boards is what their spread leaves of their mean's: Student's t at the 10th and 90th
        percentile, s / √n (JCGM 100:2008, 4.2.3 and G.3).
        """
        if self.how == OVEN:
            found = {"meter": OVEN_DOUBT_PCT}
        else:
            found = {"meter": UNSET_DOUBT_PCT if self.is_unset else METER_UNCERTAINTY_PCT}
            if self._by_resistance is not None and self.set_for != self.wood:
                found["wood"] = max(LEAST_DOUBT_PCT, abs(self.wood_correction_pct) * CORRECTION_DOUBT)
            if self.how in (PIN, PINLESS):
                found["temperature"] = abs(self._cold_pct) * (CORRECTION_DOUBT if self.how == PIN else 1.0)
            if self.depth == SURFACE:
                found["surface"] = SURFACE_DOUBT_PCT_PER_MM * self.thickness_mm
        count = len(self.readings_pct)
        if count > 1:
            from scipy.special import stdtrit  # here: half a second of every start otherwise

            off = math.fsum((board - self.mc_pct) ** 2 for board in self.boards_pct)
            deviation = math.sqrt(off / (count - 1))
            found["boards"] = float(stdtrit(count - 1, TENTH)) * deviation / math.sqrt(count)
        return found

    @property
    def doubt_pct(self) -> float:
        """The ± of the mean [points]."""
        return math.hypot(*self.doubt_by.values())

    def unsure(self) -> Reason:
        """What makes most of the doubt."""
        by = self.doubt_by
        largest = max(by, key=by.__getitem__)
        keys = {"temperature": ("metered-corrected", "metered-uncorrected"), "boards": ("metered-boards",),
                "wood": ("metered-resistance",)}  # fmt: skip
        wanted = keys.get(largest, (f"metered-{'unset' if largest == 'meter' else largest}",))
        found = [reason for reason in self.told() if reason.key in wanted]
        return found[0] if found else Reason("metered-by-hand")

    def told(self) -> list[Reason]:
        """What was done to the readings, and what makes their mean less sure than a meter's is."""
        values: dict[str, Any] = {
            "wood_c": self.wood_c, "species": self.wood, "thickness_mm": self.thickness_mm,
            "set_for": self.set_for, "wood_correction_pct": self.wood_correction_pct,
            "correction_pct": self.correction_pct, "low_pct": min(self.boards_pct),
            "high_pct": max(self.boards_pct), "readings_count": len(self.readings_pct),
        }  # fmt: skip
        found = []
        if len(self.readings_pct) > 1:
            found.append(Reason("metered-boards", values))
        if abs(self.correction_pct) >= 0.05:
            found.append(Reason("metered-corrected", values))
        elif self.doubt_by.get("temperature", 0.0) >= 0.05:
            found.append(Reason("metered-uncorrected", values))
        if "wood" in self.doubt_by:
            found.append(Reason("metered-resistance", values))
        elif self.is_by_booklet and self.booklet_pct:
            found.append(Reason("metered-booklet", values))
        elif self.is_unset and self.how != OVEN:
            found.append(Reason("metered-unset", values))
        if "surface" in self.doubt_by:
            found.append(Reason("metered-surface", values))
        return found
