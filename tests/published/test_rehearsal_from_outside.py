"""A rehearsal repeated by an outsider from nothing but its printed parameters and the air file.

The equations are written out here again from their sources and share no code with the model: sorption
from Wood Handbook FPL-GTR-190 eq. 4-5, saturation pressure from PsychroLib (ASHRAE), the diffusion
coefficient in Siau's simplified form (Siau, Transport Processes in Wood, 1984; constants from memory),
faces by permeances in series. A stiff integrator of scipy runs them on a grid five times as fine.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import psychrolib
import pytest
from scipy.integrate import solve_ivp

from deploy.cli.commands import main

pytestmark = pytest.mark.slow

PIECE = """
[piece]
name = "Hall bench"
[part.back]
species = "white ash"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = 8.0
thickness = "5/8in"
finish = { face = "oil-modified urethane varnish", coats = 3, back = "none" }
[part.slat]
species = "sycamore"
cut = "quarter-sawn"
width = "90mm"
mc_pct = 9.5
thickness = "8mm"
finish = { face = "none", coats = 0, back = "none" }
[fit.back_panel]
kind = "panel-in-groove"
part = "back"
held = "centre"
sight_width = "14in"
groove_depth = "3/8in"
finished = "before assembly"
"""


def sorption_pct(temperature_c: float, h: np.ndarray) -> np.ndarray:
    t = temperature_c
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    return 1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))


def diffusion_m2_s(mc_pct: np.ndarray, temperature_c: float, gravity: float, scale: float) -> np.ndarray:
    wall = 7e-6 * np.exp(-(38500 - 290 * mc_pct) / (8.314 * (temperature_c + 273.15)))
    a2 = 1 - gravity * (0.667 + 0.01 * mc_pct)
    return scale * wall / ((1 - a2) * (1 - np.sqrt(a2)))


class Board:
    """One member, taken from the printed parameters, on a grid of its own."""

    def __init__(self, parameters: dict[str, Any], member: dict[str, Any], cells: int = 81) -> None:
        self.scale = member["diffusion_scale"]
        self.gravity = member["specific_gravity"]
        self.density = member["oven_dry_density_kg_m3"]
        air = parameters["air_permeance_kg_m2_s_pa"]
        self.permeances = []
        for face in ("face", "back"):
            film = member[f"{face}_permeance_kg_m2_s_pa"]
            self.permeances.append(air if film is None else 1 / (1 / air + 1 / film))
        thickness = member["thickness_mm"] / 1000
        edges = 0.5 * (1 - np.cos(np.linspace(0, np.pi, cells + 1))) * thickness
        self.sizes = np.diff(edges)
        self.between = 0.5 * (self.sizes[1:] + self.sizes[:-1])

    def run(self, mc_pct: float, air: pd.DataFrame) -> np.ndarray:
        profile = np.full(len(self.sizes), mc_pct)
        means = [mc_pct]
        for temperature_c, rh_pct in air[["temperature_c", "rh_pct"]].to_numpy()[:-1]:
            rate = self.rate(temperature_c, rh_pct / 100)
            solved = solve_ivp(
                rate, (0, 3600), profile, method="LSODA", lband=1, uband=1, rtol=1e-6, atol=1e-7
            )
            profile = solved.y[:, -1]
            means.append(float(profile @ self.sizes / self.sizes.sum()))
        return np.array(means)

    def rate(self, temperature_c: float, h_air: float) -> Callable[[float, np.ndarray], np.ndarray]:
        saturation = psychrolib.GetSatVapPres(temperature_c)
        grid = np.linspace(0, 1, 4001)
        settled = sorption_pct(temperature_c, grid)

        def face_flux(mc_pct: float, permeance: float) -> float:
            """Into the wood [kg/(m2 s)]; the outermost cell is microns thick and stands for the surface."""
            return permeance * saturation * (h_air - float(np.interp(mc_pct, settled, grid)))

        def rate(_t: float, mc: np.ndarray) -> np.ndarray:
            d = diffusion_m2_s(mc, temperature_c, self.gravity, self.scale)
            across = (self.sizes[1:] + self.sizes[:-1]) / (self.sizes[1:] / d[1:] + self.sizes[:-1] / d[:-1])
            flow = across * np.diff(mc) / self.between
            change = np.zeros_like(mc)
            change[:-1] += flow
            change[1:] -= flow
            change[0] += 100 / self.density * face_flux(mc[0], self.permeances[0])
            change[-1] += 100 / self.density * face_flux(mc[-1], self.permeances[1])
            return change / self.sizes

        return rate


def rough_air(hours: int) -> pd.DataFrame:
    """Air as rough as a lived-in room's, from a fixed seed: slow swings, a daily one and hourly noise."""
    random = np.random.default_rng(20260203)
    hour = np.arange(hours)
    walk = np.cumsum(random.normal(0, 1.2, hours))
    walk -= np.linspace(walk[0], walk[-1], hours)
    rh = 42 + walk + 5 * np.sin(2 * np.pi * hour / 24) + random.normal(0, 2.5, hours)
    temperature = 19 + 3 * np.sin(2 * np.pi * (hour - 9) / 24) + random.normal(0, 0.5, hours)
    return pd.DataFrame(
        {"temperature_c": temperature.round(2), "rh_pct": rh.clip(8, 95).round(2)},
        index=pd.date_range("2026-01-01", periods=hours, freq="h", tz="UTC"),
    )


def write_air(air: pd.DataFrame, path: Path) -> None:
    table = air.copy()
    table.index = pd.Index(table.index.strftime("%Y-%m-%dT%H:%M:%SZ"), name="timestamp_utc")
    table.to_csv(path)


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], pd.DataFrame]:
    folder = tmp_path_factory.mktemp("rehearsal")
    (folder / "bench.toml").write_text(PIECE)
    air = rough_air(24 * 10)
    write_air(air, folder / "air.csv")
    printed: list[str] = []
    arguments = ["rehearse", str(folder / "bench.toml"), str(folder / "air.csv"), "--json"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("builtins.print", lambda *words, **_options: printed.append(" ".join(map(str, words))))
        with pytest.raises(SystemExit) as ended:
            main(arguments)
    assert ended.value.code == 0
    return json.loads("\n".join(printed)), air


@pytest.mark.parametrize("name", ["back", "slat"])
def test_mean_moisture_is_what_an_outsider_computes(
    name: str, rehearsed: tuple[dict[str, Any], pd.DataFrame]
) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    document, air = rehearsed
    parameters = document["parameters"]
    rows = document["parts"][name]
    board = Board(parameters, parameters["parts"][name])
    expected = board.run(rows[0]["mc_mean_pct"], air)
    printed = np.array([row["mc_mean_pct"] for row in rows])
    assert printed.max() - printed.min() > 0.3, "air too calm to tell anything"
    assert np.abs(printed - expected).max() < 0.05


def test_each_part_has_the_speed_of_its_own_ring_angle(
    rehearsed: tuple[dict[str, Any], pd.DataFrame],
) -> None:
    """Through the flat-sawn back moisture goes along the rays, through the slat along the rings."""
    members = rehearsed[0]["parameters"]["parts"]
    assert members["back"]["diffusion_scale"] == pytest.approx(2.18, abs=0.005)
    assert members["slat"]["diffusion_scale"] == pytest.approx(1.82, abs=0.005)


@pytest.mark.parametrize("name", ["back", "slat"])
def test_width_follows_from_the_mean_and_the_printed_coefficient(
    name: str, rehearsed: tuple[dict[str, Any], pd.DataFrame]
) -> None:
    """Wood Handbook eq. 13-2 on the printed coefficient; between 6 and 14 % it is off by second order."""
    document, _ = rehearsed
    member = document["parameters"]["parts"][name]
    for row in document["parts"][name]:
        change = member["coefficient_per_pct"] * (row["mc_mean_pct"] - member["reference_mc_pct"])
        assert row["width_mm"] == pytest.approx(member["reference_width_mm"] * (1 + change), abs=0.02)


def test_first_row_is_the_reference(rehearsed: tuple[dict[str, Any], pd.DataFrame]) -> None:
    document, air = rehearsed
    assert document["piece"] == "Hall bench"
    assert document["parameters"]["filled_hours"] == 0
    first = document["parts"]["back"][0]
    assert first["at"] == "2026-01-01T00:00:00Z"
    assert first["mc_mean_pct"] == first["mc_face_pct"] == first["mc_core_pct"] == 8.0
    assert first["width_mm"] == pytest.approx(368.3)
    assert len(document["parts"]["back"]) == len(air)


def test_smallest_margin_is_the_smallest_of_all_hours(
    rehearsed: tuple[dict[str, Any], pd.DataFrame],
) -> None:
    """Clear at the groove's bottom, held at centre: twice the groove less what the panel has in it."""
    document, _ = rehearsed
    widths = [row["width_mm"] for row in document["parts"]["back"]]
    groove = next(
        limit for limit in document["fits"]["back_panel"]["limits"] if limit["name"] == "groove-bottom"
    )
    assert groove["margin_mm_min"] == pytest.approx(14 * 25.4 + 2 * 9.525 - max(widths), abs=1e-6)
    widest = document["parts"]["back"][int(np.argmax(widths))]["at"]
    assert groove["at"] == widest
