"""How sure a size is: the doubt of each source carried to it, the largest told apart, and what shrinks it.

A doubt (±) is half of the way from the 10th to the 90th percentile, of every figure; a meter's ± 1 point is
read the same way. Doubts go through a formula as standard uncertainties do: each by the difference it makes,
then all in the root of the sum of their squares [1]_.

Sources: `start`, the moisture content at which a part was measured; `moisture`, what it holds now beyond
that; `movement`, how far boards of one wood differ, or what is left of that once it was learned; `size`, the
rule it was measured with.

References
----------
.. [1] JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 5.1.2 and 5.1.3, note 2.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.wood.fits import Fit
from model.wood.material.instruments import METER_UNCERTAINTY_PCT, OVEN_DOUBT_PCT
from model.wood.material.member import Member
from model.wood.reason import Reason
from model.wood.units import MM_PER_INCH

TEN_PERCENT_SD = 1.2816
"""Standard deviations from the middle of a normal distribution to its 10th and 90th percentile."""
ASSUMED_DOUBT_PCT = 2.0
"""Of a moisture content that nobody metered [points] (common practice, no source)."""
SIZE_DOUBT_MM = MM_PER_INCH / 64.0
"""Of a size read off a rule (common practice, no source)."""
OFFCUT_SHARE = 0.25
"""What is left of the movement's doubt once an offcut was measured at two moisture contents 5 points apart:
5 % of it, against the 20 % by which boards of one wood differ (common practice, no source)."""
WORTH_SAYING = 0.9
"""A measurement is told only where it brings the doubt below this share of what it is, by a 64th at least."""

_ORDER = ("movement", "start", "moisture", "size")


@dataclass(frozen=True)
class DoubtBySource:
    """The doubt of one figure, by source, each in the figure's own unit and as a ±."""

    by: Mapping[str, float]

    @property
    def total(self) -> float:
        """The ± of the figure."""
        return math.hypot(*self.by.values())

    @property
    def largest(self) -> str:
        """The source that makes most of it."""
        return max(_ORDER, key=lambda source: self.by.get(source, 0.0))


def effects(
    figure: Callable[[Mapping[str, float]], Any], inputs: Mapping[str, tuple[float, float]]
) -> dict[str, NDArray[np.float64]]:
    """How far each input's doubt moves a figure, or an array of them: half of the way between its ends.

    Positive where the figure rises with the input.

    Parameters
    ----------
    figure : callable
        Of the inputs by name.
    inputs : mapping of name to (value, doubt)
        Independent of each other.

    Examples
    --------
    >>> {k: float(v) for k, v in effects(lambda x: 2 * x["a"] + x["b"], {"a": (1, 3), "b": (0, 4)}).items()}
    {'a': 6.0, 'b': 4.0}
    """
    middle = {name: value for name, (value, _) in inputs.items()}
    return {
        name: 0.5
        * (
            np.asarray(figure(middle | {name: value + doubt}), dtype=np.float64)
            - np.asarray(figure(middle | {name: value - doubt}), dtype=np.float64)
        )
        for name, (value, doubt) in inputs.items()
    }


@dataclass(frozen=True)
class Knowledge:
    """How well a part's moisture is known.

    Attributes
    ----------
    mc_pct : float
        What it holds now [%].
    start_doubt_pct : float
        Of the moisture content at which it was measured [points].
    shared : float
        How much of that is still in `mc_pct`: 1 when it was just measured, 0 once it has settled since.
    other_doubt_pct : float
        Of `mc_pct`, by all else: air, sensors, sorption [points].
    movement_doubt : float, optional
        Of its movement, as a share of it, where more is known than the scatter of its wood.
    """

    mc_pct: float
    start_doubt_pct: float
    shared: float = 0.0
    other_doubt_pct: float = 0.0
    movement_doubt: float | None = None

    @property
    def mc_doubt_pct(self) -> float:
        """The ± of what it holds now [points]."""
        return math.hypot(self.shared * self.start_doubt_pct, self.other_doubt_pct)


def start_doubt_pct(member: Member) -> float:
    """The doubt of the moisture content at which a part was measured [points]: as said, else by its basis."""
    if member.mc_doubt_pct is not None:
        return member.mc_doubt_pct
    return METER_UNCERTAINTY_PCT if member.mc_basis == "measured" else ASSUMED_DOUBT_PCT


def as_measured(member: Member, mc_pct: float | None = None) -> Knowledge:
    """A part as it was measured, or settled at a moisture content that is asked about."""
    if mc_pct is None:
        return Knowledge(member.mc_pct, start_doubt_pct(member), shared=1.0)
    return Knowledge(mc_pct, start_doubt_pct(member))


def _shifted(member: Member, known: Knowledge, x: Mapping[str, float]) -> Member:
    """A part whose starting moisture content and movement are out by the inputs' doubts."""
    start = member.mc_pct + x["start"] * known.start_doubt_pct
    factor = member.movement_factor * (1.0 + x.get(f"movement of {member.name}", 0.0))
    return replace(member, mc_pct=_possible(member, start), movement_factor=factor)


def _possible(member: Member, mc_pct: float) -> float:
    return min(max(mc_pct, 0.0), member.fibre_saturation_pct)


def _now(
    known: Mapping[str, Knowledge], members: tuple[Member, ...], x: Mapping[str, float]
) -> dict[str, Any]:
    return {
        member.name: _possible(
            member,
            known[member.name].mc_pct
            + x["start"] * known[member.name].shared * known[member.name].start_doubt_pct
            + x["moisture"] * known[member.name].other_doubt_pct,
        )
        for member in members
    }


def _inputs(members: tuple[Member, ...], known: Mapping[str, Knowledge]) -> dict[str, tuple[float, float]]:
    """Shifts in doubts: parts of a piece share meter and air, and each board has its own movement."""
    scatter = {}
    for member in members:
        low, high = member.movement_band()
        learned = known[member.name].movement_doubt
        scatter[f"movement of {member.name}"] = (0.0, (high - low) / 2.0 if learned is None else learned)
    return {"start": (0.0, 1.0), "moisture": (0.0, 1.0), **scatter}


def _by_source(
    found: Mapping[str, NDArray[np.float64]], size_mm: float, count: int
) -> tuple[dict[str, float], ...]:
    moved = np.sqrt(sum(v**2 for name, v in found.items() if name.startswith("movement of ")))
    columns = {"start": found["start"], "moisture": found["moisture"], "movement": moved}
    return tuple(
        {name: abs(float(np.broadcast_to(v, count)[at])) for name, v in columns.items()} | {"size": size_mm}
        for at in range(count)
    )


def _size_mm(members: Iterable[Member]) -> float:
    """The ± of a size read off a rule, with how far sheet goods among the parts may be out [mm]."""
    return math.hypot(SIZE_DOUBT_MM, *(member.sheet_doubt_mm for member in members))


def width_doubt(member: Member, known: Knowledge) -> DoubtBySource:
    """The doubt of a part's width now [mm]."""
    return DoubtBySource(_by_source(_width_effects(member, known), _size_mm([member]), 1)[0])


def _width_effects(member: Member, known: Knowledge) -> dict[str, NDArray[np.float64]]:
    def width(x: Mapping[str, float]) -> float:
        mc = _now({member.name: known}, (member,), x)[member.name]
        return float(_shifted(member, known, x).width_at(mc))

    return effects(width, _inputs((member,), {member.name: known}))


def margin_doubts(fit: Fit, known: Mapping[str, Knowledge]) -> dict[str, DoubtBySource]:
    """The doubt of what is left before each limit of a fit [mm], by the limit's name."""
    names = [way.name for way in fit.ways(fit.references())]

    def margins(shifted: Fit, mc: Mapping[str, Any]) -> list[float]:
        return [float(way.margin_mm) for way in shifted.ways(mc)]

    return dict(zip(names, _of_sizes(fit, known, margins, len(names)), strict=True))


def gap_doubt(fit: Fit, known: Mapping[str, Knowledge]) -> DoubtBySource:
    """The doubt of what a feeler gauge would measure at a fit that has a gap [mm]."""

    def gap(shifted: Fit, mc: Mapping[str, Any]) -> list[float]:
        return [float(shifted.gap_now(mc) or 0.0)]

    return _of_sizes(fit, known, gap, 1)[0]


def _of_sizes(
    fit: Fit,
    known: Mapping[str, Knowledge],
    sizes: Callable[[Fit, Mapping[str, Any]], list[float]],
    count: int,
) -> list[DoubtBySource]:
    """The doubts of some sizes of a fit [mm], of its parts as last measured and what they hold now."""

    def figure(x: Mapping[str, float]) -> NDArray[np.float64]:
        changed = fit.with_members(lambda member: _shifted(member, known[member.name], x))
        if fit.mc_pct is not None:
            worst = max(known[member.name].start_doubt_pct for member in fit.members)
            object.__setattr__(changed, "mc_pct", max(fit.mc_pct + x["start"] * worst, 0.0))
        return np.array(sizes(changed, _now(known, fit.members, x)))

    found = effects(figure, _inputs(fit.members, known))
    return [DoubtBySource(by) for by in _by_source(found, _size_mm(fit.members), count)]


def advice_at_the_saw(doubt: DoubtBySource, known: Knowledge) -> Reason | None:
    """Which doubt of a size not yet cut is the largest, and what measuring an offcut would bring."""
    share = {"movement": OFFCUT_SHARE, "start": OVEN_DOUBT_PCT / max(known.start_doubt_pct, OVEN_DOUBT_PCT)}
    kept = share.get(doubt.largest, 1.0)
    return _advice(doubt, DoubtBySource({**doubt.by, doubt.largest: doubt.by[doubt.largest] * kept}))


def advice_now(member: Member, known: Knowledge) -> Reason | None:
    """Which doubt of a built part's width is the largest, and what measuring it today would bring."""
    doubt = width_doubt(member, known)
    if doubt.largest == "moisture":
        return _advice(doubt, metered_now(member, known), "now")
    return _advice(doubt, DoubtBySource({"size": _size_mm([member])}), "now")


def metered_now(member: Member, known: Knowledge) -> DoubtBySource:
    """The doubt of a part's width [mm] once a hand meter was put to it today.

    The meter tells of all that is not known of its moisture, and so of what it was measured at too:
    linear least squares, `u² - (g·h)² / (h·h + 1)`, with g what start and moisture do to the width
    and h what they do to the moisture content.
    """
    found = _width_effects(member, known)
    by_start, by_other = known.shared * known.start_doubt_pct, known.other_doubt_pct
    told = float(found["start"]) * by_start + float(found["moisture"]) * by_other
    less = told**2 / (by_start**2 + by_other**2 + METER_UNCERTAINTY_PCT**2)
    total = width_doubt(member, known).total
    return DoubtBySource({"all": math.sqrt(max(total**2 - less, 0.0))})


def _advice(doubt: DoubtBySource, then: DoubtBySource, when: str = "") -> Reason | None:
    marked, then_marked = (math.ceil(one.total / SIZE_DOUBT_MM - 1e-9) for one in (doubt, then))
    if then.total > WORTH_SAYING * doubt.total or then_marked >= marked:
        return None
    values = {"how": f"{doubt.largest} {when}".strip(), "doubt_mm": doubt.total, "then_mm": then.total}
    return Reason("doubt", values)


def doubt_document(doubt: DoubtBySource, shrink: Reason | None) -> dict[str, Any]:
    """A doubt as JSON: the share of each source, the largest, and what measuring it brings."""
    then_mm = None if shrink is None else shrink.values["then_mm"]
    return {"largest": doubt.largest, "by_source_mm": dict(doubt.by), "measured_better_mm": then_mm}
