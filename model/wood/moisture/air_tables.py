"""What the moisture solver needs to know of the air, tabulated row by row."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.errors import BadInput
from model.wood.moisture import kernel
from model.wood.moisture.diffusion import (
    ACTIVATION_J_MOL,
    ACTIVATION_PER_PCT_J_MOL,
    CELL_WALL_M2_S,
    GAS_CONSTANT,
    KELVIN,
)

Floats = NDArray[np.float64]

COLDEST_C, WARMEST_C = -40.0, 60.0
"""Where the sorption curve still rises with humidity; below -1 °C it is extrapolated."""


@dataclass(frozen=True)
class AirTables:
    """Air that has been checked: every value there, finite and within range."""

    temperature_c: Floats
    rh_pct: Floats

    @classmethod
    def checked(cls, temperature_c: ArrayLike, rh_pct: ArrayLike) -> "AirTables":
        """Refuse gaps and impossible values, naming the row and column."""
        columns = []
        for what, values, low, high, unit in (
            ("temperature_c", temperature_c, COLDEST_C, WARMEST_C, "°C"),
            ("rh_pct", rh_pct, 0.0, 100.0, "%"),
        ):
            air = np.asarray(values, dtype=np.float64)
            if air.ndim != 2:
                raise BadInput("air", what, "must have shape (steps, airs)", air.shape)
            good = (air >= low) & (air <= high)
            if not np.all(good):
                row, column = np.argwhere(~good)[0]
                got = float(air[row, column])
                rule = f"must lie in {low:g} to {high:g} {unit}" + (
                    " and have no gaps" if np.isnan(got) else ""
                )
                raise BadInput(f"air row {row}, column {column}", what, rule, got)
            columns.append(air)
        if columns[0].shape != columns[1].shape:
            raise BadInput(
                "air", "rh_pct", f"must have the shape of temperature_c, {columns[0].shape}", columns[1].shape
            )
        return cls(*columns)

    @property
    def steps(self) -> int:
        """Rows of air."""
        return int(self.temperature_c.shape[0])

    @property
    def airs(self) -> int:
        """Columns of air."""
        return int(self.temperature_c.shape[1])


def sorption_constants(temperature_c: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Constants of Wood Handbook eq. 4-5 at a temperature [°C]: 1800/W, K, K1 and K1 K2."""
    t = temperature_c
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    return 1800.0 / (349.0 + 1.29 * t + 0.0135 * t**2), 0.805 + 0.000736 * t - 0.00000273 * t**2, k1, k1 * k2


def tables(air: AirTables, pairs: NDArray[np.int64], first: int, last: int) -> tuple[Floats, Floats]:
    """Flat tables of the air and of the wood between two airs, for rows `first` to `last`.

    Parameters
    ----------
    air : AirTables
    pairs : (pairs, 2) int64
        Columns of the airs that stand on the two sides of some member.
    """
    temperature, h = air.temperature_c[first:last], air.rh_pct[first:last] / 100.0
    scale, k, k1, k12 = sorption_constants(temperature)
    table = np.empty((*temperature.shape, kernel.AIR_COLUMNS))
    table[..., kernel.HUMIDITY] = h
    table[..., kernel.SATURATION] = saturation_vapour_pressure(temperature)
    table[..., kernel.SORPTION_SCALE] = scale
    table[..., kernel.SORPTION_K] = k
    table[..., kernel.SORPTION_K1] = k1
    table[..., kernel.SORPTION_K1_K2] = k12
    x = k * h
    hydrate = (k1 + 2.0 * k12 * x) * x / (1.0 + k1 * x + k12 * x * x)
    table[..., kernel.SETTLED] = scale * (x / (1.0 - x) + hydrate)
    between = 0.5 * (temperature[:, pairs[:, 0]] + temperature[:, pairs[:, 1]])
    energy = GAS_CONSTANT * (between + KELVIN)
    wood = np.empty((*between.shape, kernel.WOOD_COLUMNS))
    wood[..., kernel.WOOD_FACTOR] = CELL_WALL_M2_S * np.exp(-ACTIVATION_J_MOL / energy)
    wood[..., kernel.WOOD_RISE] = ACTIVATION_PER_PCT_J_MOL / energy
    return table.ravel(), wood.ravel()
