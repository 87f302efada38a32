"""How long a board takes to come to a new climate."""

import numpy as np

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.air.sorption import sorption_slope
from model.wood.moisture.diffusion import permeance_in_series, transverse_diffusion
from model.wood.moisture.solver import Constants


def time_constant_h(board: Constants) -> float:
    """About how long a board takes to come within 37 % of a new climate at 20 °C and 45 % [h].

    Resistance of faces and wood in sum, l/S + h²/(π²D), with h the way moisture travels: the thickness
    where both faces let it pass alike, twice that where one is closed. For bands and lead times only.
    """
    temperature_c, rh_pct, mc_pct = 20.0, 45.0, 8.0
    thickness_m = board.thickness_mm / 1000.0
    face, back = (float(permeance_in_series(film)) for film in (board.face_permeance, board.back_permeance))
    # Vapour pressure for one unit of moisture (kg/kg) more; the slope is in % MC for RH from 0 to 1.
    pressure = 100.0 * saturation_vapour_pressure(temperature_c) / sorption_slope(temperature_c, rh_pct)
    surface_s = thickness_m * board.oven_dry_density_kg_m3 / ((face + back) * pressure)
    diffusion = board.diffusion_scale * transverse_diffusion(temperature_c, mc_pct, board.specific_gravity)
    travel_m = thickness_m * (2.0 - min(face, back) / max(face, back))
    return float((surface_s + travel_m**2 / (np.pi**2 * diffusion)) / 3600.0)
