"""Reasons as sentences, in a viewer's units. The sentences are data, in `sentences.toml`, which says how."""

import tomllib
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any

from model.wood.reason import Reason
from model.words import display as say
from model.words import times
from model.words.display import Display

METRIC = Display("metric")
SENTENCES: Mapping[str, str] = tomllib.loads(
    files("model.words").joinpath("sentences.toml").read_text(encoding="utf-8")
)
HAIR_MM = 0.2
HERE = {"shop": "this shop", "storage": "this store", "home": "this house"}


def clause(reason: Reason, display: Display = METRIC) -> str:
    """A reason as a clause: no capital letter, no full stop.

    >>> clause(Reason("air-silent", {"place": "the flat", "age_h": 72}))
    'no reading from the flat for 3 days'
    """
    values = reason.values
    names = (
        f"{reason.key} {values.get('how')}",
        reason.key,
        f"{values.get('direction')} {values.get('severity')}",
        "unsaid",
    )
    words = next(SENTENCES[name] for name in names if name in SENTENCES)
    return words.format_map(_Slots(values, display))


def in_sentences(reasons: Reason | Iterable[Reason], display: Display = METRIC) -> str:
    """Reasons in sentences, each behind what it is `about`, and followed by what it says `also`."""
    lines = []
    for reason in (reasons,) if isinstance(reasons, Reason) else reasons:
        about = reason.values.get("about")
        line = f"{about}: {clause(reason, display)}" if about else clause(reason, display)
        lines += [say.sentence(line), in_sentences(reason.values.get("also", ()), display)]
    return " ".join(filter(None, lines))


class _Slots(dict[str, Any]):
    """A reason's values, each ready to be put into a sentence."""

    def __init__(self, values: Mapping[str, Any], display: Display) -> None:
        super().__init__({name: _Value(name, value, display) for name, value in values.items()})
        if "parts" in values:
            self.update(_limit_slots(values))
        if values.get("low_days") is not None:
            self["when"] = _when(values["low_days"], values.get("high_days"))
        if "stock_mc_pct" in values:
            self["stock"] = moisture_said(values["stock_mc_pct"], values["mc_doubt_pct"])
            self["year"] = f"{_tenths(values['dry_pct'])} to {_tenths(values['wet_pct'])}{say.NBSP}%"

    def __missing__(self, name: str) -> "_Value":
        return _Value(name, None, METRIC)  # a warning of an older version lacks what is spoken of since


class _Value:
    def __init__(self, name: str, value: Any, display: Display) -> None:
        self.name, self.value, self.display = name, value, display

    def __format__(self, how: str) -> str:
        value = self.value
        if value is None:
            return say.NOTHING
        unit = "pct" if "_pct" in self.name else self.name.rsplit("_", 1)[-1]
        if "|" in how:
            one, other = how.split("|")
            return one if (value == 1 if unit == "count" else value > 0) else other
        if isinstance(value, Reason):
            return clause(value, self.display)
        if isinstance(value, tuple) and value and isinstance(value[0], Reason):
            *others, last = (clause(one, self.display) for one in value)
            return f"{', '.join(others)}, and {last}" if others else last
        if isinstance(value, tuple):
            most = int(how or len(value))
            named = [f"{_Value('', one, self.display)}" for one in value[:most]]
            return say.joined([*named, f"{len(value) - most} more"] if len(value) > most else named)
        if unit == "day":
            return times.day(datetime.fromisoformat(value).replace(tzinfo=UTC), "UTC", self.display.units)
        if isinstance(value, str):
            return HERE.get(value, "this place") if how == "here" else value
        return _QUANTITIES.get(unit, _number)(self, how)


def _limit_slots(values: Mapping[str, Any]) -> dict[str, str]:
    """The names of parts that a limit's sentence has room for."""
    part = " and ".join(dict.fromkeys(values["parts"]))
    across = f"the {values['across']}" if values["across"] else part
    return {
        "part": part,
        "across": across,
        "screws": _own(across, "screws"),
        "lip": _own(part, "lip"),
        "lock": _own(part, "lock"),
        "overhang": _own(part, "front overhang"),
    }


def _own(owner: str, thing: str) -> str:
    """`the lid's screws`, `the screws of the panel of each door`."""
    return f"the {thing} of {owner}" if " of " in owner or owner.endswith("s") else f"{owner}'s {thing}"


def _when(low_days: float, high_days: float | None) -> str:
    if high_days is None:
        return f"not before {_days(low_days)} from now"
    return times.lead_time(low_days, high_days)


def _days(days: float) -> str:
    """A number of days in weeks or months where they are many."""
    return times.lead_time(max(days, 1.0), max(days, 1.0)).removeprefix("in about ")


def _length(slot: _Value, how: str) -> str:
    """`left` is a margin, rounded down, `over` and `hair` how far past and `up` a size needed, rounded up.

    `doubt` is how far a size may be out, never nothing; `fine` is to the nearest 64th; `mark` too, with its
    sign, and `bare` without its unit; `seen` goes up to the next 32nd.
    """
    if how == "doubt":
        return f"±{say.NBSP}{slot.display.doubt(slot.value)}"
    if how == "bare":
        return slot.display.bare_length(slot.value, "nearest", 64)
    if how == "seen":
        return slot.display.length(slot.value, "up", 32)
    if how == "fine":
        return slot.display.length(abs(slot.value), "nearest", 64)
    if how == "left":
        return slot.display.margin(max(slot.value, 0.0))
    if how == "hair" and slot.value > -HAIR_MM:
        return "a hair"
    if how in ("over", "hair"):
        return slot.display.overrun(slot.value)
    return slot.display.length(slot.value, "up" if how == "up" else "nearest", 64 if how else 32)


def _percent(slot: _Value, how: str) -> str:
    if how == "points":
        return say.points(slot.value)
    if how == "chance":
        return say.chance(slot.value)
    if how in ("short", "whole"):
        return f"{_tenths(slot.value) if how == 'short' else f'{slot.value:.0f}'}{say.NBSP}%"
    if how == "tenth":
        return say.mc(slot.value)
    told = say.rh(slot.value) if slot.name.endswith("rh_pct") else say.mc(slot.value)
    return told.removesuffix(f"{say.NBSP}%") if how == "bare" else told


def _tenths(percent: float) -> str:
    """A moisture content as a maker says it: `5.4`, `11`."""
    return f"{percent:.1f}".removesuffix(".0")


def moisture_said(mc_pct: float, doubt_pct: float) -> str:
    """A metered moisture content with its doubt: `9 ± 1 %`."""
    doubt = f" ± {_tenths(doubt_pct)}" if doubt_pct else ""
    return f"{_tenths(mc_pct)}{doubt}{say.NBSP}%"


def _hours(hours: int) -> str:
    return f"{hours} hours" if hours < 48 else f"{hours // 24} days"


def _number(slot: _Value, how: str) -> str:
    return f"{slot.value:g}"


_QUANTITIES: Mapping[str, Callable[[_Value, str], str]] = {
    "mm": _length,
    "pct": _percent,
    "c": lambda slot, how: slot.display.temperature(slot.value),
    "days": lambda slot, how: _days(slot.value),
    "h": lambda slot, how: _hours(slot.value),
    "count": lambda slot, how: say.counted(slot.value, how),
}
