"""A record of fact as plain text for people, in a viewer's units."""

from collections.abc import Mapping
from math import comb
from typing import Any

from model.wood.units import MM_PER_INCH
from model.words import display as say
from model.words.display import NBSP, Display, counted, number_word, plain, said

METRIC = Display("metric")


def record_text(record: Mapping[str, Any], display: Display = METRIC) -> str:
    """A record of fact as plain text; the dates stay in UTC, as they were written."""
    warnings = [
        f"{one['opened_at']}: {said(one['fit'] or 'piece')}, from {one['from']} to {one['to']}. "
        f"{one['reason']} "
        + (f"Closed {one['closed_at']}." if one["closed_at"] else "Still open.")
        for one in record["predictions"]["warnings"]
    ]  # fmt: skip
    ahead = [
        f"{one['made_at']}: {said(one['fit'])}, {said(one['limit'])}: {say.chance(100.0 * one['chance'])}"
        for one in record["predictions"]["year_ahead"]
        if one["chance"]
    ]
    done = [
        f"{one['at']}: {one['act']}, {said(one['fit'] or 'piece')} ({one['of']})" for one in record["advice"]
    ]
    parts = {
        "AS BUILT": [*_built_lines(record, display), "", _range_line(record["design_range"])],
        "THE AIR WHERE IT STOOD": [
            line for stand in record["stands"] for line in _stand_lines(stand, display)
        ],
        "THE WOOD": [_wood_line(name, ends) for name, ends in record["wood"].items()],
        "MEASURED": [_measured_line(one, display) for one in record["measurements"]]
        or ["Nothing since it was built."],
        "PREDICTED AND MEASURED": _predicted_lines(record["foretold"], display) or ["Nothing yet."],
        "WARNED OF": warnings or ["Nothing."],
        "PREDICTED FOR THE YEAR AHEAD": ahead or ["Nothing."],
        "SAID AND DONE": done or ["Nothing is recorded."],
    }
    head = [
        f"Record of fact: {record['piece']}",
        f"Made {record['made_at']}; recorded {record['recorded_at']}. All times are UTC.",
    ]
    return plain(
        "\n".join(head + [line for name, lines in parts.items() for line in ("", name, *lines)]) + "\n"
    )


def _built_lines(record: Mapping[str, Any], display: Display) -> list[str]:
    lines = []
    for name, part in record["built"]["part"].items():
        start = record["moisture_at_start"][name]
        cut = part.get("cut") or f"rings at {part.get('ring_angle_deg', 0):g} degrees"
        wide, thick = (display.length(part[size], finest=64) for size in ("width", "thickness"))
        lines.append(
            f"{said(name)}: {part['species']}, {cut}, {wide} wide and {thick} thick "
            f"at {say.mc(part['mc_pct'])} ({start['basis']}, {start['at']})"
        )
    for name, fit in record["built"]["fit"].items():
        rest = [f"{said(key)} {_fact(key, value, display)}" for key, value in fit.items() if key != "kind"]
        lines.append(f"{said(name)}: {'; '.join([said(fit['kind']), *rest])}")
    return lines


def _fact(key: str, value: Any, display: Display) -> str:
    if isinstance(value, float):
        return say.mc(value) if key.endswith("_pct") else display.length(value, finest=64)
    if isinstance(value, Mapping):
        return ", ".join(f"{said(name)} {_fact(name, one, display)}" for name, one in value.items())
    return ", ".join(map(said, value)) if isinstance(value, list) else said(str(value))


def _wood_line(name: str, ends: Mapping[str, Any] | None) -> str:
    if ends is None:
        return f"{said(name)}: not followed yet."
    (dry, wet) = (
        f"{say.mc(one['mc_mean_pct'])} on {one['at'][:10]}" for one in (ends["driest"], ends["wettest"])
    )
    return f"{said(name)}: driest {dry}, wettest {wet}."


def _stand_lines(stand: Mapping[str, Any], display: Display) -> list[str]:
    hours = (
        f"{stand['place']}, {stand['since_at']} to {stand['until_at'] or 'now'}: {stand['hours']} hours, "
        f"{stand['hours_measured']} measured, {stand['hours_bridged']} estimated, "
        f"{stand['hours_missing']} without air."
    )
    if "mean_rh_pct" not in stand:
        return [hours]
    found = (
        f"  {stand['hours_below_range']} hours drier than its range, {stand['hours_above_range']} damper. "
        f"Mean {say.rh(stand['mean_rh_pct'])} at {display.temperature(stand['mean_temperature_c'])}."
    )
    if stand["driest_day"] is not None:
        found += (
            f" Driest day {stand['driest_day']} ({say.rh(stand['driest_day_rh_pct'])}), "
            f"dampest {stand['dampest_day']} ({say.rh(stand['dampest_day_rh_pct'])})."
        )
    return [hours, found]


def _measured_line(one: Mapping[str, Any], display: Display) -> str:
    value = quantity_said(one["quantity"], one["value"], display)
    told = f"{one['at']}: {value} ± {difference_said(one['quantity'], one['uncertainty'], display)}"
    undone = f" (taken back {one['undone_at']})" if one["undone_at"] else ""
    return f"{told} {one['how']}".rstrip() + undone


NAMES = {"width_mm": "width", "gap_mm": "gap", "mc_pct": "moisture"}


def quantity_said(quantity: str, value: float, display: Display) -> str:
    """A measured quantity with its name: `width 14-1/2 in`."""
    size = say.mc(value) if quantity == "mc_pct" else display.length(value, finest=64)
    return f"{NAMES[quantity]} {size}"


def difference_said(quantity: str, size: float, display: Display) -> str:
    """A difference of a quantity or its doubt; a length finer than a rule, in a feeler's thousandths."""
    if quantity == "mc_pct":
        return say.points(size)
    return f"{size / MM_PER_INCH:.3f}{NBSP}in" if display.units == "inch" else f"{size:.2f}{NBSP}mm"


def _predicted_lines(found: Mapping[str, Any], display: Display) -> list[str]:
    lines = []
    for one in found["compared"]:
        quantity, predicted = one["quantity"], one["predicted"]
        before = "nothing" if predicted is None else quantity_said(quantity, predicted, display)
        if one["doubt"] is not None:
            before += f" ± {difference_said(quantity, one['doubt'], display)}"
        measured = quantity_said(quantity, one["measured"], display)
        lines.append(
            f"{one['at']}: {said(one['fit'] or one['member'])}: predicted {before}, measured {measured}"
        )
    lines += [spread_sentence(spread, display) for spread in found["overall"]]
    return [*lines, *coverage_sentences(found["coverage"])]


def coverage_sentences(coverage: Mapping[str, int]) -> list[str]:
    """How many readings lay within their band, how many should, and how many clients' letters are among them.

    A share that chance alone brings in fewer than one of twenty such rows of readings is said to be too low.
    """
    count, within = coverage["count"], coverage["within"]
    letters, inside = coverage["letters"], coverage["letters_within"]
    if not count:
        return []
    if count == 1:
        lay = f"One reading lay {'within' if within else 'outside'}"
    else:
        lay = f"{f'All {count}' if within == count else f'{within} of {count}'} readings lay within"
    told = [f"{lay} the band that 8 in 10 should lie in."]
    if _chance_of_so_few(within, count) < 0.05:
        told.append("That is too few: sizes are less sure than they are said to be.")
    if letters == 1:
        told.append(f"One is a client's letter; it lay {'within' if inside else 'outside'} its band.")
    elif letters:
        told.append(f"{number_word(letters).capitalize()} are clients' letters, {inside} of them within.")
    return told


def _chance_of_so_few(within: int, count: int, share: float = 0.8) -> float:
    """That at most so many of some readings lie within a band in which a share of them should."""
    return sum(
        comb(count, number) * share**number * (1.0 - share) ** (count - number)
        for number in range(within + 1)
    )


def spread_sentence(spread: Mapping[str, Any], display: Display = METRIC) -> str:
    """Bias and spread of some predictions in words."""
    quantity, bias, about = spread["quantity"], spread["bias"], spread["spread"]
    name = {"width_mm": "Widths", "gap_mm": "Gaps", "mc_pct": "Moisture"}[quantity]
    if bias is None:
        return f"{name}: nothing predicted."
    off = f"{difference_said(quantity, abs(bias), display)} {'too large' if bias > 0 else 'too small'}"
    give = "" if about is None else f", give or take {difference_said(quantity, about, display)}"
    return f"{name}: {counted(spread['count'], 'prediction')}, on average {off}{give}."


def _range_line(design: Mapping[str, Any]) -> str:
    low, high = design["comfort_rh_low_pct"], design["comfort_rh_high_pct"]
    told = design["comfort_reason"] or f"Comfortable at {low:.0f} to {high:.0f} % relative humidity."
    ends = (
        "no limit" if end is None else say.mc(end) for end in (design["mc_low_pct"], design["mc_high_pct"])
    )
    return f"{told} Design range: {' to '.join(ends)} moisture content."
