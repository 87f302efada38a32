"""How wrong an answer may be, source by source, and which source matters most.

Each source of error is worked through the same formula as the answer, one at a time, and the sources are
added as independent ones are: by the root of the sum of their squares, below and above the answer apart.
Half widths are of the kind that holds for most boards, not for all. Rounding is left to whoever shows the
number.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .errors import BadInput
from .movement import Movement, coefficient_band, movement_of, width_at
from .ring_angle import RING_ANGLE
from .sorption import equilibrium_moisture_content, hysteresis_bounds
from .units import Range

if TYPE_CHECKING:
    from .member import Member
    from .species import Species

SPECIES, METER, SENSOR, HYSTERESIS, ANGLE = "species scatter", "meter", "sensor", "hysteresis", "ring angle"
METER_PCT = 1.0
"""Points of a hand meter: Wood Handbook ch. 13 (as repeated elsewhere)."""
SENSOR_RH_PCT = 2.0
"""Percent of humidity of a good sensor; a cheap one 5."""
HYSTERESIS_SHARE = 2.0 / 3.0
"""Of the way from the mean curve to its two bounds: the bounds are reached only by wood that comes from
bone-dry or soaked, and wood indoors keeps between. About 0.7 point near 50 % (common practice, no source)."""
ANGLE_OF_A_CUT_DEG, ANGLE_MEASURED_DEG = 30.0, 10.0
"""How far the ring angle may be out when a board is only called flat-sawn, and when it was measured (common
practice, no source)."""

SOURCES = {
    SPECIES: "boards of one species scatter by some 20 % (common practice, no source)",
    METER: "a hand meter is good to about a point (Wood Handbook ch. 13, as repeated elsewhere)",
    SENSOR: "accuracy of the hygrometer through the slope of the sorption curve (Wood Handbook eq. 4-5)",
    HYSTERESIS: "wood that has been drier stays drier: bounds of the sorption curve, from memory, unverified",
    ANGLE: "ring angle judged by eye (common practice, no source)",
}
"""What stands behind each source of error, in words."""


@dataclass(frozen=True)
class Term:
    """One source of error.

    Attributes
    ----------
    name : str
    below, above : float
        How far it may carry the answer down and up, zero or more, in the answer's unit.
    source : str
        What the size rests on.
    """

    name: str
    below: float
    above: float
    source: str = ""

    def __post_init__(self) -> None:
        if not (0.0 <= self.below < math.inf and 0.0 <= self.above < math.inf):
            raise BadInput("", self.name, "must reach a finite way down and up", (self.below, self.above))


@dataclass(frozen=True)
class Band:
    """An answer with what it may be.

    Attributes
    ----------
    low, central, high : float
    terms : tuple of Term
        The budget, in the order given.
    """

    low: float
    central: float
    high: float
    terms: tuple[Term, ...]

    @property
    def dominant(self) -> Term | None:
        """The source that matters most; None without any."""
        return max(self.terms, key=_reach, default=None)

    def share(self, name: str) -> float:
        """Share of a source in the whole, 0 to 1, by squares: the shares of all sources add up to one."""
        whole = sum(_reach(term) ** 2 for term in self.terms)
        one = sum(_reach(term) ** 2 for term in self.terms if term.name == name)
        return one / whole if whole > 0.0 else 0.0


def _reach(term: Term) -> float:
    return math.hypot(term.below, term.above)


def combine(central: float, terms: Iterable[Term]) -> Band:
    """An answer with independent errors, added by squares.

    Examples
    --------
    >>> band = combine(10.0, [Term("a", 3.0, 3.0), Term("b", 4.0, 0.0)])
    >>> band.low, band.high, band.dominant.name
    (5.0, 13.0, 'a')
    """
    budget = tuple(terms)
    below = math.sqrt(sum(term.below**2 for term in budget))
    above = math.sqrt(sum(term.above**2 for term in budget))
    return Band(central - below, central, central + above, budget)


def term_between(
    name: str, answer: Callable[[float], float], central: float, ends: tuple[float, float]
) -> Term:
    """The term of a source that may lie anywhere between two ends, through the formula that gives the answer.

    Parameters
    ----------
    name : str
    answer : callable
        The answer as a function of the uncertain quantity.
    central : float
        The answer as given.
    ends : (float, float)
        Of the uncertain quantity.
    """
    found = [answer(end) for end in ends]
    below, above = central - min(found), max(found) - central
    return Term(name, max(below, 0.0), max(above, 0.0), SOURCES.get(name, ""))


# --- moisture content of the air ---------------------------------------------------------------------


def moisture_band(
    temperature_c: float, rh_pct: float, sensor_rh_pct: float = SENSOR_RH_PCT, hysteresis: bool = True
) -> Band:
    """Moisture content that wood settles to in measured air, with its band [%].

    Parameters
    ----------
    temperature_c, rh_pct : float
        The air as measured; ranges as `sorption.equilibrium_moisture_content`.
    sensor_rh_pct : float
        Accuracy of the sensor, 0 to 20 [% of humidity].
    hysteresis : bool
        Whether the wood's past is unknown.

    Examples
    --------
    >>> band = moisture_band(20.0, 50.0)
    >>> round(band.low, 1), round(band.central, 1), round(band.high, 1), band.dominant.name
    (8.5, 9.3, 10.0, 'hysteresis')
    """
    central = equilibrium_moisture_content(temperature_c, rh_pct)
    accuracy = float(Range("sensor_rh_pct", 0.0, 20.0, "%").check(sensor_rh_pct))
    ends = max(rh_pct - accuracy, 0.0), min(rh_pct + accuracy, 100.0)
    terms = [term_between(SENSOR, lambda rh: equilibrium_moisture_content(temperature_c, rh), central, ends)]
    if hysteresis:
        terms.append(term_between(HYSTERESIS, lambda mc: mc, central, _hysteresis_ends(central)))
    return combine(central, terms)


def _hysteresis_ends(mc_pct: float) -> tuple[float, float]:
    bounds = hysteresis_bounds(mc_pct)
    return (
        mc_pct + HYSTERESIS_SHARE * (bounds.adsorbing_pct - mc_pct),
        mc_pct + HYSTERESIS_SHARE * (bounds.desorbing_pct - mc_pct),
    )


# --- change of a width -------------------------------------------------------------------------------


def width_change_band(
    species: "Species",
    width_mm: float,
    ring_angle_deg: float,
    mc_from_pct: float,
    mc_to_pct: float,
    *,
    figured: bool = False,
    movement_factor: float = 1.0,
    meter_pct: float = METER_PCT,
    moisture_to: Band | None = None,
    ring_angle_within_deg: float = ANGLE_OF_A_CUT_DEG,
) -> Band:
    """Change of a width from one moisture content to another, with its band [mm].

    Parameters
    ----------
    species : Species
    width_mm, ring_angle_deg : float
        Of the board [mm, degrees].
    mc_from_pct, mc_to_pct : float
        Moisture content when the width was measured, and that asked about [%].
    figured : bool
        Burl, crotch or wild grain: the coefficient's band takes the place of scatter and ring angle.
    movement_factor : float
        Of this board against its species' table. A board whose own movement was measured (a factor other
        than 1) is given half the scatter.
    meter_pct : float
        How sure `mc_from_pct` is [points]; 0 leaves it out.
    moisture_to : Band, optional
        Band of `mc_to_pct`, from `moisture_band`; its sensor and hysteresis are carried over. If left out
        `mc_to_pct` is taken as said.
    ring_angle_within_deg : float
        How far out the ring angle may be [degrees].

    Returns
    -------
    Band

    Raises
    ------
    BadInput
        If a number lies outside its range.
    """
    angle = float(RING_ANGLE.check(ring_angle_deg))
    within = float(Range("ring_angle_within_deg", 0.0, 90.0, "degrees").check(ring_angle_within_deg))
    meter = float(Range("meter_pct", 0.0, 10.0, "points").check(meter_pct))
    movement = movement_of(species, 45.0 if figured else angle).scaled(movement_factor)

    def change(by: Movement, start: float, end: float) -> float:
        return width_at(width_mm, start, end, by) - width_mm

    central = change(movement, mc_from_pct, mc_to_pct)
    band = coefficient_band(species, angle, figured)
    scatter = 1.0 if movement_factor == 1.0 else 0.5
    low = 1.0 + scatter * (band.low / band.central - 1.0)
    high = 1.0 + scatter * (band.high / band.central - 1.0)
    terms = [
        term_between(
            SPECIES, lambda by: change(movement.scaled(by), mc_from_pct, mc_to_pct), central, (low, high)
        )
    ]
    if not figured:
        ends = max(angle - within, 0.0), min(angle + within, 90.0)
        terms.append(
            term_between(
                ANGLE,
                lambda at: change(movement_of(species, at).scaled(movement_factor), mc_from_pct, mc_to_pct),
                central,
                ends,
            )
        )
    if meter > 0.0:
        ends = max(mc_from_pct - meter, 0.0), mc_from_pct + meter
        terms.append(term_between(METER, lambda mc: change(movement, mc, mc_to_pct), central, ends))
    for term in moisture_to.terms if moisture_to is not None else ():
        ends = max(mc_to_pct - term.below, 0.0), mc_to_pct + term.above
        terms.append(term_between(term.name, lambda mc: change(movement, mc_from_pct, mc), central, ends))
    return combine(central, terms)


def member_change_band(member: "Member", mc_to_pct: float, moisture_to: Band | None = None) -> Band:
    """Change of a member's width since it was measured, with its band [mm]; see `width_change_band`.

    A member whose moisture content was assumed and not metered is given two points instead of one; one
    whose ring angle is that of a named cut the wider doubt.
    """
    named_cut = member.ring_angle_deg in (0.0, 45.0, 90.0)
    return width_change_band(
        member.species,
        member.width_mm,
        member.ring_angle_deg,
        member.mc_pct,
        mc_to_pct,
        figured=member.figured,
        movement_factor=member.movement_factor,
        meter_pct=METER_PCT if member.mc_basis == "measured" else 2.0 * METER_PCT,
        moisture_to=moisture_to,
        ring_angle_within_deg=ANGLE_OF_A_CUT_DEG if named_cut else ANGLE_MEASURED_DEG,
    )
