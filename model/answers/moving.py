"""After the van: moving a piece to another home, and storing it in a garage."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from model.answers.annual_range import Closest, HomeYear, Start, constant_air, run_through
from model.wood.air.sorption import equilibrium_moisture_content, relative_humidity_for
from model.wood.design.design_range import Span, design_range
from model.wood.errors import BadInput
from model.wood.piece import Piece
from model.wood.reason import Reason
from model.words.limits import limit_said

if TYPE_CHECKING:
    import pandas as pd

GARAGE_C, GARAGE_RH_PCT = 5.0, 70.0
"""An unheated garage where nothing is recorded: 65 to 75 % (common practice, no source)."""
SHOCK_PCT = 3.0
UNWRAP = Reason("unwrap")


@dataclass(frozen=True)
class Passed:
    """A limit that a piece would pass at one end of a home's year."""

    fit: str
    limit: str
    severity: str
    says: str
    margin_mm: float
    end: Literal["dry", "wet"]


@dataclass(frozen=True)
class Move:
    """A piece before and after a move.

    Attributes
    ----------
    answer : str
        "suits" (nothing passes a limit there), "shows", "harms".
    before, after : HomeYear
    change_mm : mapping of member name to (float, float)
        Width at the new home's dry and wet end less that at the old one's [mm].
    passed : tuple of Passed
    settles_days : (float, float)
        Until nine tenths of the change has happened, of the quickest and the slowest member.
    span : Span
        The piece's design range.
    reasons, advice : tuple of Reason
    """

    answer: Literal["suits", "shows", "harms"]
    before: HomeYear
    after: HomeYear
    change_mm: Mapping[str, tuple[float, float]]
    passed: tuple[Passed, ...]
    settles_days: tuple[float, float]
    span: Span
    reasons: tuple[Reason, ...]
    advice: tuple[Reason, ...]


def passed_in(piece: Piece, year: HomeYear) -> tuple[Passed, ...]:
    """Every limit that a piece is past at the dry or the wet end of a home's year, the harmful ones first."""
    found: list[Passed] = []
    ends: tuple[tuple[Literal["dry", "wet"], Mapping[str, float]], ...] = (
        ("dry", year.mc_low_pct),
        ("wet", year.mc_high_pct),
    )
    for end, mc in ends:
        for name, fit in piece.fits.items():
            for limit in fit.limits(mc):
                margin_mm = float(limit.margin_mm)
                if margin_mm < 0.0:
                    found.append(Passed(name, limit.name, limit.severity, limit_said(limit), margin_mm, end))
    return tuple(sorted(found, key=lambda limit: (limit.severity != "harms", limit.margin_mm)))


def moving_home(piece: Piece, mc_now: Start, before: HomeYear, after: HomeYear) -> Move:
    """What a move from one home to another does to a piece: it moves once, over months, and settles."""
    passed = passed_in(piece, after)
    change = {
        name: (
            float(member.width_at(after.mc_low_pct[name])) - float(member.width_at(before.mc_low_pct[name])),
            float(member.width_at(after.mc_high_pct[name]))
            - float(member.width_at(before.mc_high_pct[name])),
        )
        for name, member in piece.members.items()
    }
    low, high = after.ends_pct
    middle = (low + high) / 2.0
    settles = _settles(piece, mc_now, middle, after.temperature_c)
    harms = [limit for limit in passed if limit.severity == "harms"]
    answer: Literal["suits", "shows", "harms"] = "harms" if harms else ("shows" if passed else "suits")
    widest = max(change, key=lambda name: max(map(abs, change[name])))
    dry_mm, wet_mm = change[widest]
    there = after.place or "the new home"
    reasons = [
        Reason("past-at-end", {"seen": limit.says, "margin_mm": limit.margin_mm, "end": limit.end})
        for limit in passed
    ]
    part = piece.members[widest].called
    reasons.append(Reason("width-change", {"part": part, "dry_mm": dry_mm, "wet_mm": wet_mm}))
    before_low, before_high = before.ends_pct
    reasons.append(
        Reason(
            "home-year",
            {
                "place": there,
                "low_pct": low,
                "high_pct": high,
                "basis": after.says,
                "before_low_pct": before_low,
                "before_high_pct": before_high,
                "before_basis": before.says,
            },
        )
    )
    low_days, high_days = (max(days, 7.0) for days in settles)
    advice = [Reason("settles-once", {"low_days": low_days, "high_days": high_days}), UNWRAP]
    if harms:
        advice.insert(0, Reason("ease-before-it-goes"))
    span = design_range(piece, after.temperature_c).span
    return Move(answer, before, after, change, passed, settles, span, tuple(reasons), tuple(advice))


def _settles(piece: Piece, start: Start, target_pct: float, temperature_c: float) -> tuple[float, float]:
    rh = float(relative_humidity_for(temperature_c, target_pct))
    run = run_through(piece, start, constant_air(temperature_c, rh, 730.0))
    days = []
    for name, values in run.mc_pct.items():
        left = np.abs(values - target_pct)
        whole = abs(start[name] - target_pct)
        there = np.flatnonzero(left <= max(0.1 * whole, 0.05))
        days.append(float(there[0]) / 24.0 if len(there) else 730.0)
    return min(days), max(days)


@dataclass(frozen=True)
class Storage:
    """A piece stored somewhere unheated and brought back.

    Attributes
    ----------
    mc_on_return_pct : mapping of member name to float
    now_pct, return_pct : float
        Means over the members [%].
    in_storage, after : tuple of Closest
        How near each limit comes while stored, and in the weeks after its return, the tightest first.
    harmed : bool
    reasons, advice : tuple of Reason
    """

    mc_on_return_pct: Mapping[str, float]
    now_pct: float
    return_pct: float
    in_storage: tuple[Closest, ...]
    after: tuple[Closest, ...]
    harmed: bool
    reasons: tuple[Reason, ...]
    advice: tuple[Reason, ...]


STORE_SO = Reason("store-how"), Reason("store-until-spring")


def storage(
    piece: Piece,
    mc_now: Start,
    days: float,
    home_temperature_c: float = 20.0,
    home_rh_pct: float = 35.0,
    garage: "pd.DataFrame | None" = None,
    weeks_after: float = 8.0,
) -> Storage:
    """What storage in a garage does to a piece, and what its return does.

    Parameters
    ----------
    mc_now : mapping of member name to float
        Moisture content of each member when it goes in [%].
    days : float
        How long it stays there, 1 to 3650.
    home_temperature_c, home_rh_pct : float
        Air of the room it comes back to.
    garage : DataFrame, optional
        Air there as `recorded_air` gives it, or outdoor air; else 70 % at 5 °C, which is usual.
    weeks_after : float
        How long to look after its return.
    """
    if not 1.0 <= days <= 3650.0:
        raise BadInput("", "days", "must lie in 1 to 3650", days)
    assumed = garage is None or garage.empty
    air = constant_air(GARAGE_C, GARAGE_RH_PCT, days)
    if garage is not None and not garage.empty:
        air = garage[["temperature_c", "rh_pct"]].iloc[: round(days * 24) + 1]
    stored = run_through(piece, mc_now, air)
    back = run_through(
        piece, stored.profile, constant_air(home_temperature_c, home_rh_pct, weeks_after * 7.0)
    )
    now_pct, return_pct = (float(np.mean(list(mc.values()))) for mc in (mc_now, stored.end_pct))
    in_storage, after = (tuple(sorted(r.smallest, key=lambda at: at.margin_mm)) for r in (stored, back))
    change_pct = return_pct - now_pct
    reasons = [Reason("stored", {"days": days, "return_pct": return_pct, "change_pct": change_pct})]
    if assumed:
        reasons.append(Reason("garage-assumed", {"rh_pct": GARAGE_RH_PCT, "temperature_c": GARAGE_C}))
    harmed = False
    for how, found in (("stored", in_storage), ("returned", after)):
        for limit in found:
            if limit.margin_mm < 0.0 and limit.severity == "harms":
                harmed = True
                values = {"seen": limit.says, "margin_mm": limit.margin_mm, "how": how}
                reasons.append(Reason("past-in-storage", values))
    home = float(equilibrium_moisture_content(home_temperature_c, home_rh_pct))
    if return_pct - home > SHOCK_PCT:
        reasons.append(Reason("storage-shock", {"drop_pct": return_pct - home}))
    return Storage(stored.end_pct, now_pct, return_pct, in_storage, after, harmed, tuple(reasons), STORE_SO)
