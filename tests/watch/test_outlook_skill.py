"""The scores by which the outlook is judged, held to closed forms, and the command that prints them."""

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import norm

from tests.bench import bench_outlook, outlook_skill
from tests.bench.outlook_backtest import harmonics_of


@pytest.mark.parametrize("truth", [-1.5, 0.0, 0.4, 3.0])
def test_the_score_of_many_draws_is_that_of_the_normal_distribution(truth: float) -> None:
    # Gneiting and Raftery, Journal of the American Statistical Association 102 (2007), eq. 21 with sigma 1:
    # z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi), formula from memory. 2,000 even quantiles miss it by 0.001.
    quantiles = ndtri((np.arange(2000) + 0.5) / 2000)
    closed = truth * (2.0 * norm.cdf(truth) - 1.0) + 2.0 * norm.pdf(truth) - 1.0 / np.sqrt(np.pi)
    assert outlook_skill.crps(quantiles, truth) == pytest.approx(closed, abs=0.002)


def test_one_value_scores_its_error() -> None:
    assert outlook_skill.crps(np.array([7.0]), 8.5) == pytest.approx(1.5)


def test_blocks_that_differ_widen_the_interval_of_a_mean() -> None:
    alike = outlook_skill.interval(["a"] * 50 + ["b"] * 50, np.tile([0.0, 1.0], 50))
    apart = outlook_skill.interval(["a"] * 50 + ["b"] * 50, np.repeat([0.0, 1.0], 50))
    assert alike == (0.5, 0.5)
    assert apart == (0.0, 1.0)


def test_harmonics_carry_a_year_on() -> None:
    day = np.arange(730.0)
    ensemble = harmonics_of(9.0 + 2.0 * np.cos(2.0 * np.pi * day / 365.25))(180)
    assert ensemble == pytest.approx(9.0 + 2.0 * np.cos(2.0 * np.pi * 909.0 / 365.25), abs=1e-6)


def test_the_command_prints_every_score(capsys: pytest.CaptureFixture[str]) -> None:
    outlook_skill.main(["--smoke"])
    said = capsys.readouterr().out
    for column in ("coverage", "width", "bias", "CRPS", "persistence", "climatology", "harmonics", "passed"):
        assert column in said


@pytest.mark.slow
def test_the_cost_of_an_outlook_is_measured_beside_the_solver(capsys: pytest.CaptureFixture[str]) -> None:
    bench_outlook.main(["--smoke"])
    assert "whole / solver" in capsys.readouterr().out
