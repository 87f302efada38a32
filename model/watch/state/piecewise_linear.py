"""A fit's margins as straight lines between the moistures at which its members' movement bends.

Members move in straight lines between few knots (`model.wood.material.movement`), and nearly every limit is
a sum of what its members do. Such a fit is asked once, at the knots; its margins at any hour then cost a few
multiplications, where the fit's own arithmetic costs a thousand times that when it is asked for one hour.

Whether a fit is such a sum is not taken on trust: it is asked at every corner and inside every cell of the
grid that the knots make. A limit that is the least or the greatest of several such sums is convex or concave,
and one that agrees there agrees everywhere. A fit that doesn't agree is always asked itself. What is
computed depends on the fit alone, so it is the same whether an hour is computed by itself or among others.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numba
import numpy as np
from numpy.typing import NDArray

from model.wood.fits import Fit, Limit
from model.wood.material.movement import COEFFICIENT_HIGH_PCT, COEFFICIENT_LOW_PCT

Floats = NDArray[np.float64]

MOST_MEMBERS = 4
BEYOND_PCT = 10.0
INSIDE = (0.29, 0.5, 0.83)
"""Where a cell is looked into, as shares of its sides."""
AGREES_MM = 1e-9


@dataclass(frozen=True)
class Straight:
    """Margins of a fit as sums of straight lines.

    Attributes
    ----------
    limits : tuple of Limit
        As built; for names, words and directions.
    names : tuple of str
        Members.
    knots_pct : (members, knots)
        Rising moisture contents; above the last nothing changes.
    built_mm : (limits,)
        Margins with every member at its first knot.
    more_mm : (limits, members, knots)
        What each member at each of its knots adds to that.
    slope_mm_per_pct : (limits, members, knots)
        From each knot to the next.
    swelling : (limits,)
        Whether a limit is met in damp air.
    """

    limits: tuple[Limit, ...]
    names: tuple[str, ...]
    knots_pct: Floats
    built_mm: Floats
    more_mm: Floats
    slope_mm_per_pct: Floats
    swelling: NDArray[np.bool_]

    def margins(
        self, mc: Mapping[str, Floats], emc_pct: Floats, nearer_pct: float
    ) -> tuple[Floats, Floats, Floats]:
        """Margins at some hours [mm]: now, further toward each limit, and with all members settled.

        Parameters
        ----------
        mc : mapping of member name to (hours,)
            Mean moisture content [%].
        emc_pct : (hours,)
            Moisture content that all would settle to; NaN where not known.
        nearer_pct : float
            Points of moisture toward each limit for the second.

        Returns
        -------
        (limits, hours) each
        """
        shape = len(self.limits), len(emc_pct)
        found = np.empty(shape), np.empty(shape), np.empty(shape)
        members = np.empty((len(self.names), shape[1]))
        for row, name in enumerate(self.names):
            members[row] = mc[name]
        _margins(
            self.knots_pct, self.built_mm, self.more_mm, self.slope_mm_per_pct, self.swelling,
            members, emc_pct, nearer_pct, *found,
        )  # fmt: skip
        return found


def straight_of(fit: Fit) -> Straight | None:
    """The straight lines of a fit; none when it bends elsewhere, or rests on more than four members."""
    members = fit.members
    if not 0 < len(members) <= MOST_MEMBERS:
        return None
    knots = [(0.0, COEFFICIENT_LOW_PCT, COEFFICIENT_HIGH_PCT, m.fibre_saturation_pct) for m in members]
    if any(own[-1] <= own[-2] for own in knots):
        return None
    names = tuple(member.name for member in members)
    limits = tuple(fit.limits(fit.references()))
    # Each member by itself from knot to knot, the others at their first.
    count = len(knots[0])
    points = [[own[0] for own in knots] for _ in range(len(knots) * count)]
    for row, own in enumerate(knots):
        for knot in range(count):
            points[row * count + knot][row] = own[knot]
    found = _asked(fit, names, limits, points)
    if found is None:
        return None
    built = found[:, 0].copy()
    more = found.reshape(len(limits), len(knots), count) - built[:, None, None]
    steps = np.diff(np.array(knots), axis=1)
    slope = np.zeros_like(more)
    slope[:, :, :-1] = np.diff(more, axis=2) / steps
    swelling = np.array([limit.direction == "swelling" for limit in limits])
    straight = Straight(limits, names, np.array(knots), built, more, slope, swelling)
    return straight if _agrees(straight, fit) else None


def _asked(
    fit: Fit, names: Sequence[str], limits: Sequence[Limit], points: Sequence[Sequence[float]]
) -> Floats | None:
    """A fit's margins at some points, limits by points; none where it has others than as built."""
    table = np.array(points, dtype=np.float64)
    asked = fit.limits({name: np.ascontiguousarray(table[:, row]) for row, name in enumerate(names)})
    if [limit.name for limit in asked] != [limit.name for limit in limits]:
        return None
    return np.array([np.broadcast_to(limit.margin_mm, len(table)) for limit in asked])


def _agrees(straight: Straight, fit: Fit) -> bool:
    corners = [[*own, own[-1] + BEYOND_PCT] for own in straight.knots_pct.tolist()]
    points = list(product(*corners))
    for share in INSIDE:
        points += product(*([a + share * (b - a) for a, b in pairwise(own)] for own in corners))
    asked = _asked(fit, straight.names, straight.limits, points)
    table = np.array(points, dtype=np.float64)
    mc = {name: np.ascontiguousarray(table[:, row]) for row, name in enumerate(straight.names)}
    now, _, _ = straight.margins(mc, np.zeros(len(table)), 0.0)
    return asked is not None and bool(np.all(np.abs(now - asked) <= AGREES_MM))


@numba.njit(cache=True)
def _margins(  # type: ignore[no-untyped-def]
    knots, built, more, slope, swelling, mc, settling, nearer, now_out, nearer_out, settled_out
):  # fmt: skip
    for k in range(mc.shape[1]):
        for i in range(built.shape[0]):
            now, near, settled = built[i], built[i], built[i]
            for m in range(mc.shape[0]):
                here = mc[m, k]
                there = here + nearer if swelling[i] else max(here - nearer, 0.0)
                now += _line(knots[m], more[i, m], slope[i, m], here)
                near += _line(knots[m], more[i, m], slope[i, m], there)
                settled += _line(knots[m], more[i, m], slope[i, m], settling[k])
            now_out[i, k], nearer_out[i, k], settled_out[i, k] = now, near, settled


@numba.njit(cache=True, inline="always")
def _line(knots, more, slope, at):  # type: ignore[no-untyped-def]
    j = 0
    while j + 1 < len(knots) and at >= knots[j + 1]:
        j += 1
    return more[j] + slope[j] * (at - knots[j])
