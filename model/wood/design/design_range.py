"""The air a piece is built for: where each limit lies, and which fit gives out first at each end.

Every member is taken as settled at one moisture content, as in air that has held long enough. The margin
of a limit then depends on that one number, and its limit lies where the margin is zero.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.wood.air.sorption import equilibrium_moisture_content, relative_humidity_for
from model.wood.fits import Fit, Limit
from model.wood.material.member import Member
from model.wood.piece import Piece

# Two limits nearer to each other than this are told as a tie: no meter would part them.
TIE_PCT = 0.01
_SEARCH_STEP_PCT = 0.25
_REFINED_TIMES, _REFINED_BY = 3, 64


@dataclass(frozen=True)
class Governing:
    """The limit that ends a design range, and those that tie with it (itself included), by name."""

    fit: str
    limit: str
    tied: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Span:
    """Moisture contents, and at a temperature humidities, between which every margin is positive.

    None where no limit exists below fibre saturation or above 0 %, or in any air. Where a margin is
    negative at every moisture content, the span ends at the far end and holds nothing: low above high.
    """

    mc_low_pct: float | None
    mc_high_pct: float | None
    rh_low_pct: float | None
    rh_high_pct: float | None
    low: Governing | None
    high: Governing | None
    past_everywhere: bool = False

    @property
    def empty(self) -> bool:
        """Whether there is no moisture content with every margin positive, or hardly one."""
        if self.past_everywhere:
            return True
        return (
            self.mc_low_pct is not None
            and self.mc_high_pct is not None
            and self.mc_low_pct >= self.mc_high_pct - TIE_PCT
        )


@dataclass(frozen=True)
class LimitAt:
    """A limit and the moisture content of all members at which its margin is zero; None when never."""

    fit: str
    limit: Limit
    mc_at_limit_pct: float | None
    past_everywhere: bool = False


@dataclass(frozen=True)
class FitRange:
    """Design range of one fit: of all its limits, and of those that show and that harm apart."""

    span: Span
    shows: Span
    harms: Span
    limits: tuple[LimitAt, ...]


@dataclass(frozen=True)
class DesignRange:
    """Design range of a piece, the intersection of its fits, at one temperature."""

    temperature_c: float
    span: Span
    shows: Span
    harms: Span
    fits: Mapping[str, FitRange]


def settled(members: Iterable[Member], mc_pct: float | NDArray[np.float64]) -> dict[str, Any]:
    """Every member at the same moisture content, for `Fit.limits`."""
    return {member.name: mc_pct for member in members}


def limits_of(fit: Fit) -> list[LimitAt]:
    """Each limit of a fit with the moisture content at which it is reached, its members settled alike.

    Returns
    -------
    list of LimitAt
        `limit.margin_mm` is the margin as built. A limit already past as built has the moisture content
        at which it would be met again on the way back; past everywhere, the end of the scale.
    """
    built = fit.limits(fit.references())
    saturation = max((member.fibre_saturation_pct for member in fit.members), default=30.0)
    grid = np.linspace(0.0, saturation, round(saturation / _SEARCH_STEP_PCT) + 1)
    start = float(np.mean(list(fit.references().values())))
    found = []
    for position, limit in enumerate(built):

        def margins_at(mc_pct: NDArray[np.float64], position: int = position) -> NDArray[np.float64]:
            margin_mm = fit.limits(settled(fit.members, mc_pct))[position].margin_mm
            return np.broadcast_to(np.asarray(margin_mm, dtype=np.float64), mc_pct.shape)

        margins = margins_at(grid)
        at_pct = _zero_of(margins_at, grid, margins, limit.direction, start)
        found.append(LimitAt(fit.name, limit, at_pct, past_everywhere=bool((margins < 0.0).all())))
    return found


def _zero_of(
    margins_at: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    grid: NDArray[np.float64],
    margins: NDArray[np.float64],
    direction: str,
    start: float,
) -> float | None:
    """Where a margin crosses zero: going damper for swelling, drier for shrinking, nearest to `start`."""
    inside = margins >= 0.0
    # Seen in the direction of its movement, a margin goes from positive to negative.
    if direction == "swelling":
        crossings = np.flatnonzero(inside[:-1] & ~inside[1:])
        past_everywhere = grid[0]
    else:
        crossings = np.flatnonzero(~inside[:-1] & inside[1:])
        past_everywhere = grid[-1]
    if crossings.size == 0:
        return None if inside.all() else float(past_everywhere)
    nearest = crossings[np.argmin(np.abs(grid[crossings] - start))]
    # Each time the step in which the sign changes is parted again; what is left of it is straight.
    at, values = grid[nearest : nearest + 2], margins[nearest : nearest + 2]
    for _ in range(_REFINED_TIMES):
        at = np.linspace(at[0], at[1], _REFINED_BY + 1)
        values = margins_at(at)
        step = int(np.flatnonzero((values[:-1] >= 0.0) != (values[1:] >= 0.0))[0])
        at, values = at[step : step + 2], values[step : step + 2]
    return float(at[0] - values[0] * (at[1] - at[0]) / (values[1] - values[0]))


def _span(limits: Iterable[LimitAt], temperature_c: float) -> Span:
    limits = list(limits)
    low, low_by = _end([at for at in limits if at.limit.direction == "shrinking"], max)
    high, high_by = _end([at for at in limits if at.limit.direction == "swelling"], min)
    return Span(
        mc_low_pct=low,
        mc_high_pct=high,
        rh_low_pct=_humidity(temperature_c, low),
        rh_high_pct=_humidity(temperature_c, high),
        low=low_by,
        high=high_by,
        past_everywhere=any(at.past_everywhere for at in limits),
    )


def _end(
    limits: list[LimitAt], tightest: Callable[[list[float]], float]
) -> tuple[float | None, Governing | None]:
    at = {
        (limit.fit, limit.limit.name): limit.mc_at_limit_pct
        for limit in limits
        if limit.mc_at_limit_pct is not None
    }
    if not at:
        return None, None
    value = tightest(list(at.values()))
    tied = tuple(sorted(key for key, mc_pct in at.items() if abs(mc_pct - value) <= TIE_PCT))
    return value, Governing(*tied[0], tied=tied)


def _humidity(temperature_c: float, mc_pct: float | None) -> float | None:
    """The humidity at which wood settles to this moisture content; None when no air takes it there."""
    if mc_pct is None or mc_pct > equilibrium_moisture_content(temperature_c, 100.0):
        return None
    return float(relative_humidity_for(temperature_c, mc_pct))


def design_range(piece: Piece, temperature_c: float = 20.0) -> DesignRange:
    """The moisture contents and humidities within which every margin of a piece is positive.

    Parameters
    ----------
    piece : Piece
    temperature_c : float
        Room temperature, for the humidities [°C].

    Returns
    -------
    DesignRange
        For the piece and for each fit: of all limits, and of those that show and those that harm apart.
    """
    by_fit = {name: limits_of(fit) for name, fit in piece.fits.items()}

    def spans(limits: list[LimitAt]) -> tuple[Span, Span, Span]:
        return (
            _span(limits, temperature_c),
            _span((at for at in limits if at.limit.severity == "shows"), temperature_c),
            _span((at for at in limits if at.limit.severity == "harms"), temperature_c),
        )

    fits = {name: FitRange(*spans(limits), tuple(limits)) for name, limits in by_fit.items()}
    everything = [at for limits in by_fit.values() for at in limits]
    return DesignRange(temperature_c, *spans(everything), fits=fits)


def design_band(piece: Piece, temperature_c: float = 20.0) -> tuple[DesignRange, DesignRange]:
    """The design range if this wood moves as much as its kind may, and if it moves as little.

    A plain board scatters by 20 % about its table; figured wood runs from its radial coefficient to
    above its tangential one. The first is the narrower range.
    """
    most = piece.with_members(lambda member: member.moving_by(member.movement_band()[1]))
    least = piece.with_members(lambda member: member.moving_by(member.movement_band()[0]))
    return design_range(most, temperature_c), design_range(least, temperature_c)
