"""What is told of a place from its hours: water, cold iron, and silence."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from model.watch.air.air_hours import HOUR_MS, Hung
from model.watch.air.climate import Climate
from model.watch.state.hysteresis import EASY, NEAR, PAST, STANDINGS
from model.watch.tell.verdicts import UNKNOWN
from model.watch.tell.warnings import Episode
from model.wood.air.cold_iron import iron_temperature, is_wet, lag_h
from model.wood.air.psychrometrics import dew_point

SILENT, WATER, COLD_IRON = "silent", "water", "cold-iron"

# Water where there should be none: damper by fifteen points and in dew point by three degrees within an
# hour, and then at 85 % or more (common practice, no source). An hour's mean tells of a rise within it only
# in part, so the rise is looked for over two. It has to last for three: what is over sooner is a shower, wet
# sanding or a glue-up in a cold shop.
RISE_RH_PCT, RISE_DEW_C, RISE_H = 15.0, 3.0, 2
WET_RH_PCT, WET_H = 85.0, 3
DRY_RH_PCT = 75.0

# How long that cast iron became wet stays worth saying after it could dry, so that the next morning hears of
# it, and of a wet week once (common practice, no source). Its temperature is known after three lags of air.
IRON_NEWS_H = 24
IRON_KNOWN_AFTER_H = math.ceil(3.0 * lag_h())


def water_events(climate: Climate, is_used: Callable[[int], bool]) -> list[Episode]:
    """The water events of a place in which anything of wood stood at the time."""
    air = climate.air
    wet = (air.rh_pct >= WET_RH_PCT) & air.measured
    begins: list[int] = np.flatnonzero(np.diff(wet.astype(np.int8), prepend=0) == 1).tolist()
    found: list[Episode] = []
    dry_from = -1
    for row in begins:
        if row < dry_from or row < RISE_H or not wet[row : row + WET_H].all() or row + WET_H > len(wet):
            continue
        before = row - RISE_H + int(np.argmin(air.rh_pct[row - RISE_H : row]))
        if not air.measured[before] or air.rh_pct[row] - air.rh_pct[before] < RISE_RH_PCT:
            continue
        rows = [before, row]
        dew = dew_point(air.temperature_c[rows], np.maximum(air.rh_pct[rows], 1.0)).tolist()
        told = air.first + row + WET_H
        if dew[1] - dew[0] < RISE_DEW_C or not is_used(told):
            continue
        dry = np.flatnonzero((air.rh_pct[row:] < DRY_RH_PCT) & air.measured[row:])
        dry_from = row + int(dry[0]) if len(dry) else len(wet)
        found.append(_water(climate, row, before, dew, told, air.first + dry_from + 1 if len(dry) else None))
    return found


def _water(
    climate: Climate, row: int, before: int, dew: Sequence[float], told: int, dry: int | None
) -> Episode:
    air, name = climate.air, climate.place.name
    detail = {
        "key": WATER, "place": name, "before_rh_pct": float(air.rh_pct[before]),
        "rh_pct": float(air.rh_pct[row]), "before_dew_c": dew[0], "dew_point_c": dew[1],
    }  # fmt: skip
    return Episode(
        "place", climate.place.id, WATER, "now", STANDINGS[EASY], STANDINGS[PAST], detail,
        told * HOUR_MS, closed_ms=None if dry is None else dry * HOUR_MS,
    )  # fmt: skip


def iron_wet(climate: Climate) -> NDArray[np.bool_]:
    """Whether cast iron at a place stood below the dew point in each hour of its air, as far as known."""
    air = climate.air
    if not climate.place.has_iron or len(air) == 0:
        return np.zeros(len(air), dtype=bool)
    last_unmeasured = np.maximum.accumulate(np.where(air.measured, -1, np.arange(len(air))))
    known = np.arange(len(air)) - last_unmeasured > IRON_KNOWN_AFTER_H
    return np.asarray(known & is_wet(air.temperature_c, air.rh_pct))


def cold_iron(climate: Climate) -> list[Episode]:
    """The times at which cast iron stood below the dew point at a place that has some."""
    air, name = climate.air, climate.place.name
    wet: list[int] = np.flatnonzero(iron_wet(climate)).tolist()
    found: list[Episode] = []
    for position, row in enumerate(wet):
        if position == 0 or row - wet[position - 1] > IRON_NEWS_H:
            iron_c = float(iron_temperature(air.temperature_c)[row])
            dew_c = float(dew_point(air.temperature_c[row], max(float(air.rh_pct[row]), 1.0)))
            detail = {"key": COLD_IRON, "place": name, "iron_c": iron_c, "dew_point_c": dew_c}
            opened_ms = (air.first + row + 1) * HOUR_MS
            found.append(
                Episode(
                    "place", climate.place.id, COLD_IRON, "morning", STANDINGS[EASY], STANDINGS[NEAR],
                    {**detail, "basis": "estimated"}, opened_ms,
                )
            )  # fmt: skip
        ends = air.first + row + 1 + IRON_NEWS_H
        found[-1] = replace(found[-1], closed_ms=ends * HOUR_MS if ends <= air.end else None)
    return found


def place_silences(
    climate: Climate, hour: int, hangings: Sequence[Hung], silences: Mapping[int, Sequence[Episode]]
) -> list[Episode]:
    """The silences of a place that no single silent sensor tells of already.

    Parameters
    ----------
    hangings : sequence of Hung
        Of all sensors.
    silences : mapping of sensor id to Episode
    """
    measured, name = climate.air.measured_hours, climate.place.name
    allowed = climate.silent_after_h
    found: list[Episode] = []
    if len(measured) == 0:
        return found
    edges = [*np.flatnonzero(np.diff(measured) > allowed + 1).tolist(), len(measured) - 1]
    for position in edges:
        last = int(measured[position])
        opened = last + 1 + allowed
        back = int(measured[position + 1]) if position + 1 < len(measured) else None
        if opened >= hour if back is None else opened >= back:
            continue
        hung = [
            one for one in hangings
            if one.place_id == climate.place.id and one.since_ms <= last * HOUR_MS + HOUR_MS - 1
            and one.until_ms > opened * HOUR_MS
        ]  # fmt: skip
        if not hung or (len(hung) == 1 and _is_told(silences.get(hung[0].sensor_id, ()), opened)):
            continue
        detail = {"key": "place-silent", "place": name, "sensors": len(hung), "allowed_h": allowed}
        found.append(
            Episode(
                "place", climate.place.id, SILENT, "morning", STANDINGS[EASY], UNKNOWN, detail,
                opened * HOUR_MS, closed_ms=None if back is None else (back + 1) * HOUR_MS,
            )
        )  # fmt: skip
    return found


def _is_told(silences: Sequence[Episode], opened: int) -> bool:
    """Whether a silence of the one sensor there begins with the place's own."""
    return any(abs(one.opened_ms - opened * HOUR_MS) <= HOUR_MS for one in silences)
