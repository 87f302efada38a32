"""From published moisture-excluding effectiveness to the permeance of each finish.

The published test [1]_: ponderosa pine sapwood, some pieces finished and some bare, brought to equilibrium
with 30 % RH at 80 °F, weighed, moved to 90 % RH at the same temperature, and weighed again after 1, 7 and 14
days. Effectiveness is `100 (1 - gain finished / gain bare)`. Here that test is run on a box of the specimens'
size (`calibrate_shapes`: moisture comes in through edges and ends as well), and each finish gets the one
permeance whose three figures come nearest in the sense of least squares.

Oils, waxes and other finishes below 10 % at 7 days are hardly films: their permeance follows from the one-day
figure alone, is good to a factor of two, and is near that of bare wood.

The diffusion scale, with which all of it is run, is chosen in `calibrate_evidence`.

``python -m tests.oracles.calibrate`` writes `data/finish_permeance.csv` again and prints what the fit leaves.

References
----------
.. [1] Wood Handbook (FPL-GTR-190, 2010) Table 16-3; tests of Feist, Little and Wennesheimer, 1985.
"""

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from importlib import resources
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize_scalar

from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.moisture.blocks import cores
from model.wood.moisture.diffusion import DIFFUSION_SCALE
from model.wood.units import fahrenheit_to_celsius
from tests.oracles.calibrate_shapes import box_means

Floats = NDArray[np.float64]

DAYS = (1, 7, 14)
SPECIMEN_MM = (16.0, 76.0, 127.0)
"""5/8 x 3 x 5 in: thickness, width, length along the grain. From memory of FPL-462, unverified; a resin
maker who repeats the method states the same size."""
PINE_SPECIFIC_GRAVITY = 0.40  # ponderosa pine at 12 % MC, Wood Handbook Table 5-3, read in a secondary source
TEST_TEMPERATURE_C = float(fahrenheit_to_celsius(80.0))
BEFORE_RH_PCT, AFTER_RH_PCT = 30.0, 90.0
FILM_AT_7_DAYS_PCT = 10.0
"""A finish that keeps out at least this much for a week counts as a film."""
CHAMBER_PERMEANCE_KG_M2_S_PA = 5e-8
"""Of the air at the bare specimens [kg/(m2 s Pa)]. Humidity rooms move their air: by the Lewis relation
some 7 W/(m2 K), against 3 in the still air of `AIR_PERMEANCE_KG_M2_S_PA`. The test can't tell a faster wood
from livelier air; chosen with the diffusion scale in `calibrate_evidence`."""

# Of film and air together, for which the box is run; between them the gain is interpolated.
_TOTAL = np.exp(np.linspace(np.log(2e-12), np.log(1.2e-7), 24))
_LOG_PERMEANCE = np.linspace(np.log(2.5e-12), np.log(1e-6), 400)


class Exclusion(NamedTuple):
    """One row of the published table."""

    name: str
    coats: int
    mee_pct: tuple[float, float, float]  # at 1, 7 and 14 days; NaN where not printed
    printed_name: str
    source: str
    provenance: str
    note: str

    @property
    def film(self) -> bool:
        """Whether it counts as a film; a row with only a 14-day figure does if that is high enough."""
        week = self.mee_pct[1] if np.isfinite(self.mee_pct[1]) else self.mee_pct[2]
        return bool(week >= FILM_AT_7_DAYS_PCT)


class Fitted(NamedTuple):
    """The permeance of one row and what it leaves: model less printed [points]."""

    row: Exclusion
    permeance_kg_m2_s_pa: float
    residual_pct: tuple[float, float, float]


def published() -> list[Exclusion]:
    """Rows of `data/finish_exclusion.csv`."""
    text = resources.files("model.wood").joinpath("data/finish_exclusion.csv").read_text(encoding="utf-8")
    return [_exclusion(row) for row in csv.DictReader(text.splitlines())]


def _exclusion(row: Mapping[str, str]) -> Exclusion:
    one, seven, fourteen = (float(row[f"mee_{day}day_pct"] or "nan") for day in DAYS)
    return Exclusion(
        row["name"],
        int(row["coats"]),
        (one, seven, fourteen),
        row["printed_name"],
        row["source"],
        row["provenance"],
        row["note"],
    )


@cache
def _log_gain(diffusion_scale: float) -> CubicSpline:
    """Logarithm of what the specimen gains in 1, 7 and 14 days, by the logarithm of the permeance."""

    def gained(permeance: float) -> Floats:
        means = box_means(
            SPECIMEN_MM,
            PINE_SPECIFIC_GRAVITY,
            permeance,
            TEST_TEMPERATURE_C,
            BEFORE_RH_PCT,
            AFTER_RH_PCT,
            DAYS[-1],
            diffusion_scale,
        )
        return means[[day - 1 for day in DAYS]]

    with ThreadPoolExecutor(cores()) as pool:
        means = np.array(list(pool.map(gained, _TOTAL)))
    start = equilibrium_moisture_content(TEST_TEMPERATURE_C, BEFORE_RH_PCT)
    return CubicSpline(np.log(_TOTAL), np.log(means - start), axis=0)


def effectiveness(
    permeance_kg_m2_s_pa: ArrayLike,
    diffusion_scale: float = DIFFUSION_SCALE,
    air_kg_m2_s_pa: float = CHAMBER_PERMEANCE_KG_M2_S_PA,
) -> Floats:
    """What the published test gives for films of these permeances.

    Parameters
    ----------
    permeance_kg_m2_s_pa : (n,)
        Of the finish alone, on all faces, 2.5e-12 or more.
    diffusion_scale : float
    air_kg_m2_s_pa : float
        Of the air at the specimens, 2e-11 to 1.2e-7.

    Returns
    -------
    (3, n)
        Moisture-excluding effectiveness at 1, 7 and 14 days [%].
    """
    films = np.atleast_1d(np.asarray(permeance_kg_m2_s_pa, dtype=np.float64))
    log_gain = _log_gain(float(diffusion_scale))
    total = films * air_kg_m2_s_pa / (films + air_kg_m2_s_pa)
    bare = log_gain(np.log(air_kg_m2_s_pa))
    return np.asarray(100.0 * (1.0 - np.exp(log_gain(np.log(total)) - bare)).T)


def fit(
    rows: Iterable[Exclusion],
    diffusion_scale: float = DIFFUSION_SCALE,
    air_kg_m2_s_pa: float = CHAMBER_PERMEANCE_KG_M2_S_PA,
) -> list[Fitted]:
    """Permeance of each row, to three digits, and what the fit then leaves."""
    rows = list(rows)

    def reached(permeance: ArrayLike) -> Floats:
        return effectiveness(permeance, diffusion_scale, air_kg_m2_s_pa)

    permeances = [_nearest(reached, np.array(row.mee_pct)) for row in rows]
    found = reached(permeances)
    fitted = []
    for at, (row, permeance) in enumerate(zip(rows, permeances, strict=True)):
        one, seven, fourteen = (float(x) for x in found[:, at] - np.array(row.mee_pct))
        fitted.append(Fitted(row, permeance, (one, seven, fourteen)))
    return fitted


def predicted(
    rows: Iterable[Exclusion],
    diffusion_scale: float = DIFFUSION_SCALE,
    air_kg_m2_s_pa: float = CHAMBER_PERMEANCE_KG_M2_S_PA,
) -> Floats:
    """Each figure of each row from its other two alone, less the printed one, (rows, 3) [points]."""
    known = np.array([row.mee_pct for row in rows if np.isfinite(row.mee_pct).all()])

    def reached(permeance: ArrayLike) -> Floats:
        return effectiveness(permeance, diffusion_scale, air_kg_m2_s_pa)

    left = np.empty_like(known)
    for row, printed in enumerate(known):
        for day in range(len(DAYS)):
            others = np.where(np.arange(len(DAYS)) == day, np.nan, printed)
            left[row, day] = reached([_nearest(reached, others)])[day, 0] - printed[day]
    return left


def _nearest(reached: Callable[[ArrayLike], Floats], printed: Floats) -> float:
    known = np.isfinite(printed)

    def miss(log_permeance: ArrayLike) -> Floats:
        apart = reached(np.exp(log_permeance))[known] - printed[known, None]
        return np.asarray(np.sum(apart**2, axis=0))

    start = _LOG_PERMEANCE[int(np.argmin(miss(_LOG_PERMEANCE)))]
    step = 2.0 * (_LOG_PERMEANCE[1] - _LOG_PERMEANCE[0])
    found = minimize_scalar(
        lambda x: float(miss(x)[0]), bounds=(start - step, start + step), method="bounded"
    )
    return float(f"{np.exp(found.x):.2e}")


def left_over(fitted: Iterable[Fitted]) -> tuple[float, float]:
    """Root mean square and largest of the residuals [points]."""
    residuals = np.array([one.residual_pct for one in fitted])
    return float(np.sqrt(np.nanmean(residuals**2))), float(np.nanmax(np.abs(residuals)))


def as_csv(fitted: Iterable[Fitted]) -> str:
    """The text of `data/finish_permeance.csv`."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow(
        [
            "name",
            "coats",
            "permeance_kg_m2_s_pa",
            *(f"residual_{day}day_pct" for day in DAYS),
            "film",
            "source",
            "provenance",
            "note",
        ]
    )
    for one in fitted:
        write.writerow(
            [
                one.row.name,
                one.row.coats,
                f"{one.permeance_kg_m2_s_pa:.2e}",
                *("" if np.isnan(x) else f"{x:.1f}".replace("-0.0", "0.0") for x in one.residual_pct),
                "yes" if one.row.film else "no",
                one.row.source,
                one.row.provenance,
                one.row.note,
            ]
        )
    return out.getvalue()


def _print_fit(fitted: Sequence[Fitted]) -> None:
    print(f"{'finish':38s} coats  permeance    printed 1/7/14 d     left over")
    for one in fitted:
        printed = "/".join("-" if np.isnan(x) else f"{x:.0f}" for x in one.row.mee_pct)
        left = " ".join("    -" if np.isnan(x) else f"{x:+5.1f}" for x in one.residual_pct)
        row, mark = one.row, "" if one.row.film else "  no film"
        permeance = f"{one.permeance_kg_m2_s_pa:.2e}"
        print(f"{row.name:38s} {row.coats:5d}  {permeance} {printed:>16s}   {left}{mark}")
    films = [one for one in fitted if one.row.film]
    for what, some in (
        ("all films", films),
        ("without those from memory", [one for one in films if one.row.provenance != "memory"]),
        ("read on the handbook's page", [one for one in films if one.row.provenance == "read"]),
    ):
        rms, worst = left_over(some)
        print(f"{what}: rms {rms:.2f}, worst {worst:.1f} points over {len(some)} rows")


def main() -> None:
    """Write the permeances and print what is left."""
    fitted = fit(published())
    target = resources.files("model.wood").joinpath("data/finish_permeance.csv")
    with open(str(target), "w", encoding="utf-8", newline="") as file:
        file.write(as_csv(fitted))
    _print_fit(fitted)


if __name__ == "__main__":
    main()
