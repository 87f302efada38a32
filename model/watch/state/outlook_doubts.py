"""What is not known of a body in the coming year: as of any of its wood, or as was learned of it."""

import numpy as np
from numpy.typing import NDArray

from model.watch.state.roster import SolverMember
from model.watch.state.states import MODEL_SD_PCT
from model.wood.air.sorption import SETTLES_SD_PCT
from model.wood.doubt import TEN_PERCENT_SD
from model.wood.learning import Learned
from model.wood.moisture.diffusion import DOUBT_FACTOR

Floats = NDArray[np.float64]


def moves_doubt(body: SolverMember) -> float:
    """The ± of a body's movement, as a share of what is computed for it."""
    learned = None if body.learned is None else body.learned.moves_doubt_share
    if learned is not None:
        return learned
    low, high = body.member.movement_band()
    return (high - low) / 2.0


def rate_doubt(body: SolverMember) -> float:
    """The factor by which a body may be quicker or slower than computed."""
    return DOUBT_FACTOR if body.learned is None else body.learned.rate_doubt


def settles_pct(body: SolverMember, scores: Floats) -> Floats:
    """How far above equation 4-5 a body settles [points], by scores of chance."""
    if body.learned is None:
        return SETTLES_SD_PCT * scores
    return body.learned.settles_pct + body.learned.settles_doubt_pct / TEN_PERCENT_SD * scores


def wanders_pct(body: SolverMember, learned: Learned, days: int) -> Floats:
    """How much further off the model wood goes again by each day after a reading, beyond where it may settle.

    Known better by all else, its band would be too narrow in the first weeks without.
    """
    left = np.exp(-24.0 * np.arange(1, days + 1) / body.time_constant_h)
    settles_sd = learned.settles_doubt_pct / TEN_PERCENT_SD * (1.0 - left)
    return np.asarray(np.hypot(settles_sd, MODEL_SD_PCT * np.sqrt(1.0 - left**2)) - settles_sd)
