"""How fast wood is: three lines of evidence for the diffusion scale, and times of stacks for their air.

1. *The exclusion tests* of finishes, run on the specimens' real shape (`calibrate`): what a fit leaves
[points]. 2. *A weighed dowel* outdoors, in spells without rain: swing of a day by the model over that
measured. 3. *Published coefficients* of spruce over Siau's form times the scale.

The first two are of small specimens in moving air, so that livelier air looks like faster wood. Both are
therefore looked at for several permeances of the air. `misfit` adds the three lines up, each by what it can
tell: 1.5 points of exclusion, a quarter of a swing, a factor of two of a coefficient; these weights are ours.

===== ======================= ======================= ======================= =======================
scale exclusion, rms          swing of the stick      misfit                  spruce, model/published
air   1e-8  2e-8  3e-8  5e-8  1e-8  2e-8  3e-8  5e-8  1e-8  2e-8  3e-8  5e-8  0.94, 1.00, 1.10e-10
===== ======================= ======================= ======================= =======================
1.0   5.1   4.0   3.6   3.3   0.75  0.87  0.93  0.99  14.7  8.9   7.2   6.0   0.49  0.47  0.42
1.5   3.7   2.7   2.3   1.9   0.86  1.02  1.10  1.19  7.0   3.4   2.8   2.6   0.74  0.70  0.63
2.0   2.9   1.9   1.6   1.4   0.96  1.15  1.25  1.36  3.9   2.05  2.2   2.8   0.99  0.93  0.85
2.5   2.4   1.5   1.3   1.3   1.04  1.27  1.38  1.51  2.7   2.2   3.0   4.2   1.24  1.16  1.06
3.0   2.1   1.3   1.3   1.3   1.12  1.37  1.51  1.65  2.4   3.0   4.3   6.1   1.48  1.40  1.27
===== ======================= ======================= ======================= =======================

The least misfit is at **scale 2.0 and air of 2e-8**, which is also what the Lewis relation gives for still
air: both are in use. The exclusion test alone would take 2.5 to 3.5, the stick alone 1 to 2. The chamber of
the exclusion test is taken to move its air (`calibrate.CHAMBER_PERMEANCE_KG_M2_S_PA`): only finishes feel
that. One board may still be twice as fast or half as fast (`diffusion.DOUBT_FACTOR`).

Then the air of a stack is fitted: to how long stock takes to come to its shop, and green lumber to dry. At
9e-10 the eleven times below are met to a factor of 1.3, with no lean either way (5e-10: 1.7, 2e-9: 1.9).

``python -m tests.oracles.calibrate_evidence STICK.csv.gz`` prints all of it; the weighed stick lies in
`tests/published/data`.
"""

import sys
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.wood.moisture.diffusion import (
    AIR_PERMEANCE_KG_M2_S_PA,
    DIFFUSION_SCALE,
    STICKERED_PERMEANCE_KG_M2_S_PA,
    transverse_diffusion,
)
from model.wood.moisture.solver import Batch, advance, uniform_profile
from tests.oracles import calibrate

Floats = NDArray[np.float64]

SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 3.5)
AIRS_KG_M2_S_PA = (1e-8, 2e-8, 3e-8, 5e-8, 8e-8)

# --- the weighed stick -----------------------------------------------------------------------------------

STICK_MM = 13.0
STICK_SPECIFIC_GRAVITY = 0.40
"""Of pine; not stated of this stick: assumed."""
DRY_BEFORE_H = 72
SHORTEST_SPELL_H = 48
FORGOTTEN_H = 24


class StickDays(NamedTuple):
    """Whole days of the weighed stick, a value each [% MC]: daily mean, and highest less lowest hour."""

    modelled_mean_pct: Floats
    measured_mean_pct: Floats
    modelled_swing_pct: Floats
    measured_swing_pct: Floats

    @property
    def mean_rms_pct(self) -> float:
        """Root mean square of the daily means' differences [points]."""
        return float(np.sqrt(np.mean((self.modelled_mean_pct - self.measured_mean_pct) ** 2)))

    @property
    def swing_ratio(self) -> float:
        """Swing of all days by the model over that measured."""
        return float(self.modelled_swing_pct.sum() / self.measured_swing_pct.sum())


def read_stick(path: str) -> pd.DataFrame:
    """The weighed stick's file: hourly temperature_c, rh_pct, rain_mm and measured_mc_pct."""
    return pd.read_csv(path, index_col="timestamp_local_standard", parse_dates=True)


def stick_days(
    stick: pd.DataFrame,
    diffusion_scale: float = DIFFUSION_SCALE,
    air_kg_m2_s_pa: float = AIR_PERMEANCE_KG_M2_S_PA,
) -> StickDays:
    """The weighed stick by the solver, in spells of two days and more that follow three without rain.

    Assumed, and not fitted: a slab of half the stick's diameter, which has its surface to its volume, so
    that a swing too short to reach the core is that of the cylinder; specific gravity 0.40; the air's own
    temperature and humidity, without sun or wind on the wood. A spell begins with the moisture content
    measured then, right through; its first day is left out.
    """
    dry = (stick["rain_mm"].rolling(DRY_BEFORE_H).sum() <= 0.0).to_numpy()
    edges = np.flatnonzero(np.diff(np.concatenate([[0], dry.astype(int), [0]])))
    density = 1000.0 * STICK_SPECIFIC_GRAVITY * AIR_PERMEANCE_KG_M2_S_PA / air_kg_m2_s_pa
    # Density only divides what a face lets in: so livelier air is put in.
    values = STICK_MM / 2.0, STICK_SPECIFIC_GRAVITY, density, np.nan, np.nan, diffusion_scale
    batch = Batch(*(np.array([value]) for value in values))
    days = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if last - first < SHORTEST_SPELL_H:
            continue
        spell = stick.iloc[first:last]
        air = spell["temperature_c"].to_numpy()[:-1, None], spell["rh_pct"].to_numpy()[:-1, None]
        run = advance(uniform_profile(spell["measured_mc_pct"].iloc[0]), batch, *air, 0, 0)
        both = pd.DataFrame(
            {"model": run.mc_mean_pct[:, 0], "measured": spell["measured_mc_pct"].to_numpy()[1:]},
            index=spell.index[1:],
        ).iloc[FORGOTTEN_H:]
        for _, day in both.groupby(pd.DatetimeIndex(both.index).floor("D")):
            if len(day) == 24:
                swing = day.max() - day.min()
                days.append((*day.mean(), *swing))
    return StickDays(*np.array(days).T)


# --- published coefficients --------------------------------------------------------------------------------

SPRUCE_SPECIFIC_GRAVITY = 0.43
PUBLISHED_SPRUCE_M2_S = {
    "radial, by sorption (Sánchez-Ferrer and Engelhardt, Scientific Reports 2026, abstract)": 0.94e-10,
    "tangential, by sorption (the same)": 1.00e-10,
    "timber engineering, 8e-11 exp(4u) at 8 % (Toratti 1992, from memory)": 1.10e-10,
}


def spruce_ratios(diffusion_scale: float = DIFFUSION_SCALE) -> dict[str, float]:
    """Model over published coefficient of spruce at 21 °C and 8 %, by where it was published."""
    ours = diffusion_scale * float(transverse_diffusion(21.0, 8.0, SPRUCE_SPECIFIC_GRAVITY))
    return {where: ours / published for where, published in PUBLISHED_SPRUCE_M2_S.items()}


def misfit(exclusion_rms_pct: float, swing_ratio: float, ratios: Sequence[float]) -> float:
    """The three lines added up, each squared over what it can tell."""
    coefficients = np.mean((np.log(ratios) / np.log(2.0)) ** 2)
    return float((exclusion_rms_pct / 1.5) ** 2 + (np.log(swing_ratio) / np.log(1.25)) ** 2 + coefficients)


# --- stacks ------------------------------------------------------------------------------------------------


class StackTime(NamedTuple):
    """How long a stickered stack takes: from one mean moisture content to another in steady air."""

    what: str
    specific_gravity: float
    thickness_mm: float
    from_pct: float
    to_pct: float
    temperature_c: float
    rh_pct: float
    days: float
    source: str


_TRADE = "the trade's hand reckoning, tau = h²/(π² 4e-11 m²/s)"
_GREEN = "air drying, middle of the handbook's range (from memory, unverified); air of 15 °C and 70 % assumed"
STACK_TIMES = (
    StackTime("red oak 3/4 in, 11 % to a point off 40 %", 0.63, 19.05, 11.0, 8.72, 20.0, 40.0, 13.0, _TRADE),
    StackTime("red oak 1 in, the same", 0.63, 25.4, 11.0, 8.72, 20.0, 40.0, 22.6, _TRADE),
    StackTime("red oak 2 in, the same", 0.63, 50.8, 11.0, 8.72, 20.0, 40.0, 90.0, _TRADE),
    StackTime(
        "cherry 1 in, 11.5 to 8.5 %", 0.50, 25.4, 11.5, 8.5, 20.0, 40.0, 17.5, "two to three weeks, a maker"
    ),
    StackTime("red oak 1 in, green to 20 %", 0.63, 25.4, 70.0, 20.0, 15.0, 70.0, 118.0, _GREEN),
    StackTime("white oak 1 in, green to 20 %", 0.68, 25.4, 70.0, 20.0, 15.0, 70.0, 141.0, _GREEN),
    StackTime("sugar maple 1 in, green to 20 %", 0.63, 25.4, 70.0, 20.0, 15.0, 70.0, 100.0, _GREEN),
    StackTime("white ash 1 in, green to 20 %", 0.60, 25.4, 45.0, 20.0, 15.0, 70.0, 110.0, _GREEN),
    StackTime("black walnut 1 in, green to 20 %", 0.55, 25.4, 80.0, 20.0, 15.0, 70.0, 118.0, _GREEN),
    StackTime("yellow-poplar 1 in, green to 20 %", 0.42, 25.4, 80.0, 20.0, 15.0, 70.0, 77.0, _GREEN),
    StackTime(
        "red oak 4/4, stacked in spring, to 13 %", 0.63, 25.4, 70.0, 14.0, 15.0, 65.0, 105.0, "a sawyer"
    ),
)
"""Green moisture contents are from memory. The sawyer's 12 to 14 % is taken at its wet end: his air is
unknown."""
_STEP_D, _LONGEST_D = 0.5, 600


def stack_days(times: Sequence[StackTime], permeance_kg_m2_s_pa: float, diffusion_scale: float) -> Floats:
    """Days of each by the solver, with this permeance between boards and shop; infinite beyond 600."""
    found = []
    for one in times:
        values = one.thickness_mm, one.specific_gravity, 1000.0 * one.specific_gravity
        batch = Batch(*(np.array([x]) for x in (*values, *2 * [permeance_kg_m2_s_pa], diffusion_scale)))
        steps = int(_LONGEST_D / _STEP_D)
        air = np.full((steps, 1), one.temperature_c), np.full((steps, 1), one.rh_pct)
        run = advance(uniform_profile(one.from_pct), batch, *air, 0, 0, step_s=_STEP_D * 86_400.0)
        means = np.concatenate([[one.from_pct], run.mc_mean_pct[:, 0]])
        below = np.flatnonzero(means <= one.to_pct)
        if not len(below):
            found.append(np.inf)
            continue
        at = int(below[0])
        found.append(_STEP_D * (at - (one.to_pct - means[at]) / (means[at - 1] - means[at])))
    return np.array(found)


def print_evidence(stick_path: str) -> None:
    """Print the three lines by scale and air, then the stacks."""
    rows = [row for row in calibrate.published() if row.film and np.isfinite(row.mee_pct[1])]
    stick = read_stick(stick_path)
    print("scale  air [1e-8]  exclusion rms  worst  predicted rms 1/7/14 d   stick: means  swing   misfit")
    for scale in SCALES:
        ratios = list(spruce_ratios(scale).values())
        for air in AIRS_KG_M2_S_PA:
            rms, worst = calibrate.left_over(calibrate.fit(rows, scale, air))
            ahead = np.sqrt(np.mean(calibrate.predicted(rows, scale, air) ** 2, axis=0))
            days = stick_days(stick, scale, air)
            total = misfit(rms, days.swing_ratio, ratios)
            told = "/".join(f"{x:.2f}" for x in ahead)
            print(
                f"{scale:5.1f}  {air * 1e8:10.0f}  {rms:13.2f}  {worst:5.1f}  {told:>22s}"
                f"  {days.mean_rms_pct:12.2f}  {days.swing_ratio:5.2f}  {total:7.2f}"
            )
        print(f"{'':7s}spruce, model over published: " + ", ".join(f"{x:.2f}" for x in ratios))
    print(
        f"\nStacks at scale {DIFFUSION_SCALE:g}: days by the solver for permeances [1e-10], and as published"
    )
    permeances = np.array([5.0, 6.5, 8.0, 9.0, 10.0, 12.0, 15.0, 20.0]) * 1e-10
    table = np.column_stack([stack_days(STACK_TIMES, w, DIFFUSION_SCALE) for w in permeances])
    print(f"{'':42s}" + "".join(f"{w * 1e10:7.1f}" for w in permeances) + "  published")
    for one, days in zip(STACK_TIMES, table, strict=True):
        print(f"{one.what:42s}" + "".join(f"{x:7.1f}" for x in days) + f"  {one.days:g} ({one.source})")
    off = np.log(table / np.array([[one.days] for one in STACK_TIMES]))
    print(
        f"{'typical factor off':42s}" + "".join(f"{x:7.2f}" for x in np.exp(np.sqrt(np.mean(off**2, axis=0))))
    )
    print(f"chosen: {STICKERED_PERMEANCE_KG_M2_S_PA * 1e10:g}e-10")


if __name__ == "__main__":
    print_evidence(sys.argv[1])
