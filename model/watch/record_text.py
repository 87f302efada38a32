"""A record of fact as plain text for people."""

import json
from typing import Any

from model.watch.agreement import Spread


def record_text(record: dict[str, Any]) -> str:
    """A record of fact as plain text for people, in mm and percent."""
    design = record["design_range"]
    lines = [
        f"Record of fact: {record['piece']}",
        f"Made {record['made_at']}; recorded {record['recorded_at']}. All instants are UTC.",
        "",
        "AS BUILT",
        *_built_lines(record),
        "",
        _range_line(design),
        "",
        "THE AIR WHERE IT STOOD",
    ]
    for stand in record["stands"]:
        lines += _stand_lines(stand)
    lines += ["", "THE WOOD"]
    for name, ends in record["wood"].items():
        if ends is None:
            lines.append(f"{name}: not followed yet.")
            continue
        dry, wet = ends["driest"], ends["wettest"]
        lines.append(
            f"{name}: driest {dry['mc_mean_pct']:.1f} % on {dry['at'][:10]}, "
            f"wettest {wet['mc_mean_pct']:.1f} % on {wet['at'][:10]}."
        )
    lines += ["", "MEASURED"]
    lines += [
        f"{one['at']}: {one['quantity']} {one['value']:g} ± {one['uncertainty']:g} {one['how']}".rstrip()
        + (f" (taken back {one['undone_at']})" if one["undone_at"] else "")
        for one in record["measurements"]
    ] or ["Nothing since it was built."]
    lines += ["", "FORETOLD AGAINST MEASURED"]
    lines += _foretold_lines(record["foretold"])
    lines += ["", "WARNED OF"]
    lines += [
        f"{one['opened_at']}: {one['fit'] or 'piece'}, from {one['from']} to {one['to']}: {one['reason']}"
        + (f"; closed {one['closed_at']}" if one["closed_at"] else "; still open")
        for one in record["predictions"]["warnings"]
    ] or ["Nothing."]
    lines += ["", "FORESEEN FOR THE YEAR AHEAD"]
    lines += [
        f"{one['made_at']}: {one['fit']}, {one['limit']}, in {100.0 * one['chance']:.0f} of 100 years"
        for one in record["predictions"]["year_ahead"]
        if one["chance"]
    ] or ["Nothing."]
    lines += ["", "SAID AND DONE"]
    lines += [
        f"{one['at']}: {one['act']}, {one['fit'] or 'piece'} ({one['of']})" for one in record["advice"]
    ] or ["Nothing is recorded."]
    return "\n".join(lines) + "\n"


def _built_lines(record: dict[str, Any]) -> list[str]:
    lines = []
    for name, member in record["built"]["member"].items():
        start = record["moisture_at_start"][name]
        cut = member.get("cut") or f"rings at {member.get('ring_angle_deg', 0):g} degrees"
        lines.append(
            f"{name}: {member['species']}, {cut}, {member['width']:g} mm wide and {member['thickness']:g} mm "
            f"thick at {member['mc_pct']:g} % ({start['basis']}, {start['at']})"
        )
    for name, fit in record["built"]["fit"].items():
        rest = {key: value for key, value in fit.items() if key != "kind"}
        lines.append(f"{name}: {fit['kind']}, {json.dumps(rest, ensure_ascii=False)}")
    return lines


def _stand_lines(stand: dict[str, Any]) -> list[str]:
    head = f"{stand['place']}, {stand['since_at']} to {stand['until_at'] or 'now'}: "
    counted = (
        f"{stand['hours']} hours, {stand['hours_measured']} measured, {stand['hours_bridged']} bridged, "
        f"{stand['hours_missing']} without air."
    )
    if "mean_rh_pct" not in stand:
        return [head + counted]
    found = (
        f"  {stand['hours_below_range']} hours drier than its range, {stand['hours_above_range']} damper. "
        f"Mean {stand['mean_rh_pct']:.0f} % at {stand['mean_temperature_c']:.0f} °C."
    )
    if stand["driest_day"] is not None:
        found += (
            f" Driest day {stand['driest_day']} ({stand['driest_day_rh_pct']:.0f} %), "
            f"dampest {stand['dampest_day']} ({stand['dampest_day_rh_pct']:.0f} %)."
        )
    return [head + counted, found]


def _foretold_lines(found: dict[str, Any]) -> list[str]:
    lines = [
        f"{one['at']}: {one['fit'] or one['member']} {one['quantity']}, foretold "
        f"{'nothing' if one['predicted'] is None else format(one['predicted'], '.2f')}, "
        f"measured {one['measured']:.2f}"
        for one in found["compared"]
    ]
    return [*lines, *(spread_sentence(Spread(**spread)) for spread in found["overall"])] or ["Nothing yet."]


def spread_sentence(spread: Spread) -> str:
    """Bias and spread in words, in the quantity's own unit."""
    what, unit = {
        "width_mm": ("widths", " mm"),
        "gap_mm": ("gaps", " mm"),
        "mc_pct": ("moisture", " points"),
    }[spread.quantity]
    if spread.bias is None:
        return f"{what}: nothing foretold."
    about = "" if spread.spread is None else f", give or take {spread.spread:.2f}{unit}"
    way = "too large" if spread.bias > 0 else "too small"
    return f"{what}: {spread.count} foretold, on average {abs(spread.bias):.2f}{unit} {way}{about}."


def _range_line(design: dict[str, Any]) -> str:
    low, high = design["comfort_rh_low_pct"], design["comfort_rh_high_pct"]
    told = design["comfort_reason"] or f"Comfortable at {low:.0f} to {high:.0f} % relative humidity."
    window = f"{_pct(design['mc_low_pct'])} to {_pct(design['mc_high_pct'])} moisture content"
    return f"{told} Design range: {window}."


def _pct(value: float | None, digits: int = 1) -> str:
    return "no limit" if value is None else f"{value:.{digits}f} %"
