"""Measured isotherms of ten woods beside equation 4-5, which is one curve for all.

Source: "Sorption of moisture and dimensional change of wood species used in historic objects" (Firenze
University Press proceedings), Table 1, read: MC = vm c k h / ((1 - k h)(1 - k h + c k h)), wetting and drying
apart. Sycamore and pine of the same table are left out, their constants being implausible.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from model.wood.air.sorption import SETTLES_SD_PCT, equilibrium_moisture_content

ROWS = pd.read_csv(Path(__file__).parent / "data" / "isotherms.csv")
RH_PCT = np.arange(30.0, 71.0, 10.0)
P10_TO_P90_SD = 1.2816


def branch(name):
    """Moisture content of each wood at each humidity, (woods, humidities)."""
    rows = ROWS[ROWS["branch"] == name]
    vm, c, k = (rows[key].to_numpy()[:, None] for key in ("vm_pct", "c", "k"))
    kh = k * RH_PCT / 100.0
    return vm * c * kh / ((1.0 - kh) * (1.0 - kh + c * kh))


def test_the_loop_is_one_to_three_points_wide():
    loop = (branch("drying") - branch("wetting")).mean(axis=0)
    assert loop == pytest.approx([1.2, 1.6, 1.9, 2.1, 2.3], abs=0.1)


def test_equation_4_5_is_the_middle_of_these_woods():
    middle = (branch("drying") + branch("wetting")) / 2.0
    assert np.median(middle - equilibrium_moisture_content(20.0, RH_PCT)) == pytest.approx(0.0, abs=0.2)


def test_the_outlook_doubts_where_wood_settles_by_what_these_woods_differ():
    # Wood in a house goes to and fro within its loop: anywhere between the branches, equally likely.
    share = np.linspace(0.0, 1.0, 21)[:, None, None]
    anywhere = branch("wetting") + share * (branch("drying") - branch("wetting"))
    off = np.abs(anywhere - equilibrium_moisture_content(20.0, RH_PCT))
    # Between the 10th and 90th percentile of the outlook, of which lime and mahogany lie outside.
    held = (off <= P10_TO_P90_SD * SETTLES_SD_PCT).mean()
    assert 0.6 < held < 0.9
