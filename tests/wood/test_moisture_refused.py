"""Moisture through the thickness: bad input, a sentence each."""

import numpy as np
import pytest

from model.wood.errors import BadInput
from model.wood.moisture import solver as moisture

BARE = np.nan


def batch_of(rows):
    """Rows of thickness, specific gravity, face and back permeance."""
    table = np.array(rows, dtype=float)
    return moisture.Batch(table[:, 0], table[:, 1], 1000.0 * table[:, 1], table[:, 2], table[:, 3])


def ask(profile=None, temperature=None, rh=None, batch=None, face=0, back=0, **options):
    batch = batch if batch is not None else batch_of([[19.0, 0.5, BARE, BARE]])
    return moisture.advance(
        profile if profile is not None else moisture.uniform_profile(np.full(len(batch), 8.0)),
        batch,
        temperature if temperature is not None else np.full((5, 2), 20.0),
        rh if rh is not None else np.full((5, 2), 50.0),
        face,
        back,
        **options,
    )


def with_value(value, row=3, column=1):
    air = np.full((5, 2), 20.0)
    air[row, column] = value
    return air


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (
            {"rh": with_value(np.nan)},
            "air row 3, column 1: rh_pct must lie in 0 to 100 % and have no gaps, got nan",
        ),
        ({"rh": with_value(101.0)}, "air row 3, column 1: rh_pct must lie in 0 to 100 %, got 101.0"),
        ({"rh": with_value(np.inf)}, "air row 3, column 1: rh_pct must lie in 0 to 100 %, got inf"),
        (
            {"temperature": with_value(np.nan)},
            "air row 3, column 1: temperature_c must lie in -40 to 60 °C and have no gaps, got nan",
        ),
        ({"temperature": with_value(-41.0)}, "temperature_c must lie in -40 to 60 °C, got -41.0"),
        ({"rh": np.full(5, 50.0)}, "air: rh_pct must have shape (steps, airs), got (5,)"),
        (
            {"rh": np.full((4, 2), 50.0)},
            "air: rh_pct must have the shape of temperature_c, (5, 2), got (4, 2)",
        ),
        ({"face": 2}, "member 0: face_air must be a column of the air, 0 to 1, got 2"),
        ({"back": -1}, "member 0: back_air must be a column of the air, 0 to 1, got -1"),
        ({"profile": np.full((1, 12), 8.0)}, "profile must have shape (1, 16), got (1, 12)"),
        (
            {"profile": np.where(np.arange(16) == 5, np.nan, 8.0)[None, :]},
            "member 0, layer 5: profile must lie in 0 to 200 % MC, got nan",
        ),
        ({"step_s": 0.0}, "step_s must be above 0 and at most 40 days, got 0.0"),
        ({"step_s": np.nan}, "step_s must be above 0 and at most 40 days, got nan"),
        ({"every": 0}, "every must be at least 1, got 0"),
    ],
)
def test_bad_input_to_a_run_is_refused_in_a_sentence(options, sentence):
    with pytest.raises(BadInput) as refused:
        ask(**options)
    assert sentence in str(refused.value)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ([0.0, 0.5, BARE, BARE], "member 0: thickness_mm must lie in 0 to 1000, got 0.0"),
        ([np.nan, 0.5, BARE, BARE], "member 0: thickness_mm must lie in 0 to 1000, got nan"),
        ([19.0, 0.05, BARE, BARE], "member 0: specific_gravity must lie in 0.1 to 1.4, got 0.05"),
        (
            [19.0, 0.5, -1e-9, BARE],
            "face_permeance must lie in 0 to inf or be NaN for a bare face, got -1e-09",
        ),
    ],
)
def test_impossible_members_are_refused_in_a_sentence(row, sentence):
    with pytest.raises(BadInput) as refused:
        batch_of([row])
    assert sentence in str(refused.value)


def test_a_batch_of_unequal_lengths_is_refused():
    with pytest.raises(BadInput, match="specific_gravity must hold 2 values, one a member"):
        moisture.Batch(
            np.full(2, 19.0), np.full(1, 0.5), np.full(2, 500.0), np.full(2, BARE), np.full(2, BARE)
        )


def test_moisture_below_nothing_is_refused():
    with pytest.raises(BadInput, match="profile must lie in 0 to 200 % MC, got -3"):
        moisture.uniform_profile(-3.0)
