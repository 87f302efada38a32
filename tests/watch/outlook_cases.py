"""Two pieces in a dry and a damp room, asked what comes."""

from datetime import UTC, datetime
from typing import Any

import numpy as np

from model.watch.air.gap_fill import HourlyAir
from model.watch.state.outlook_request import OutlookRequest
from model.watch.state.roster import FOREVER, Assembly, FitOnBook, PlacedSpan, PlaceOnBook, SolverMember
from model.wood.moisture import solver as moisture
from model.wood.piece import moisture_batch, read_piece

HOUR = int(datetime(2026, 1, 20, tzinfo=UTC).timestamp()) // 3600


# A panel of black cherry, 14-1/2 in. wide between grooves 3/8 in. deep, built at 8 %: the trade's own case.
CHERRY = """
[piece]
name = "Cherry door"
[part.panel]
species = "black cherry"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = 8.0
thickness = "3/4in"
finish = { face = "oil-modified urethane varnish", coats = 2 }
[fit.panel]
kind = "panel-in-groove"
part = "panel"
held = "free"
sight_width = "14in"
groove_depth = "3/8in"
finished = "before assembly"
"""


def asked(text: str, mc_pct: float, temperature_c: float, rh_pct: float, days: int = 60) -> OutlookRequest:
    """A piece settled at one moisture content in a room that has held this air for some time."""
    piece = read_piece(text)
    members = list(piece.members.values())
    constants = moisture_batch(members).constants()
    bodies = tuple(
        SolverMember(
            id=k + 1, name=member.name, member=member, start_hour=HOUR - 24 * days,
            start_mc_pct=mc_pct, start_variance_pct2=0.25, constants=constants[k], finished_hour=0,
        )
        for k, member in enumerate(members)
    )  # fmt: skip
    fits = tuple(FitOnBook(k + 1, name, fit) for k, (name, fit) in enumerate(piece.fits.items()))
    owner = Assembly("piece", 1, piece.name, bodies, fits, (PlacedSpan(0, FOREVER, 1),))
    hours = 24 * days
    air = HourlyAir(HOUR - hours, np.full(hours, temperature_c), np.full(hours, rh_pct), np.full(hours, 1))
    profile = moisture.uniform_profile([mc_pct])[0]
    return OutlookRequest(
        owner, HOUR, 1, {body.name: profile for body in bodies}, {1: air}, {b.name: 0.25 for b in bodies}
    )


def place(climate: dict[str, Any] | None = None) -> PlaceOnBook:
    return PlaceOnBook(1, "flat", "home", climate)
