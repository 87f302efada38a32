"""Reasons as sentences, in a viewer's units.

Every reason's key has one sentence here, with a slot for each value it speaks of. What a slot holds is known
from its name: `margin_mm` is a length, `rh_pct` a humidity, any other `_pct` a moisture content. After a
colon stands how it is said: `{margin_mm:left}` rounded down, `{off_pct:points}` as points, and
`{off_pct:wet|dry}` by its sign (of a `_count`: one, or several). `{pieces:4}` names four at most.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from model.wood.reason import Reason
from model.words import display as say
from model.words.at_home import AT_HOME
from model.words.display import Display
from model.words.in_shop import IN_SHOP
from model.words.limit_table import ELSE, LIMITS, limit_slots
from model.words.watched import WATCHED

METRIC = Display("metric")
SENTENCES: Mapping[str, str] = {**LIMITS, **WATCHED, **IN_SHOP, **AT_HOME}

HAIR_MM = 0.2
HERE = {"shop": "this shop", "storage": "this store", "home": "this house"}


def clause(reason: Reason, display: Display = METRIC) -> str:
    """A reason as a clause: no capital letter, no full stop.

    >>> clause(Reason("air-silent", {"place": "the flat", "age_h": 72}))
    'no reading from the flat for 3 days'
    """
    values = reason.values
    words = SENTENCES.get(f"{reason.key} {values.get('how')}") or SENTENCES.get(reason.key)
    if words is None:
        words = ELSE.get((values.get("direction"), values.get("severity")), "no reason is recorded")
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
            self.update(limit_slots(values))
        if values.get("low_days") is not None:
            self["when"] = _when(values["low_days"], values.get("high_days"))


class _Value:
    def __init__(self, name: str, value: Any, display: Display) -> None:
        self.name, self.value, self.display = name, value, display

    def __format__(self, how: str) -> str:
        value = self.value
        unit = "pct" if "_pct" in self.name else self.name.rsplit("_", 1)[-1]
        if "|" in how:
            one, other = how.split("|")
            return one if (value == 1 if unit == "count" else value > 0) else other
        if isinstance(value, Reason):
            return clause(value, self.display)
        if isinstance(value, tuple):
            most = int(how or len(value))
            named = [f"{_Value('', one, self.display)}" for one in value[:most]]
            return say.joined([*named, f"{len(value) - most} more"] if len(value) > most else named)
        if value is None:
            return say.NOTHING
        if isinstance(value, str):
            return HERE.get(value, "this place") if how == "here" else value
        return _QUANTITIES.get(unit, _number)(self, how)


def _when(low_days: float, high_days: float | None) -> str:
    if high_days is None:
        return f"not before {_days(low_days)} from now"
    return say.lead_time(low_days, high_days)


def _days(days: float) -> str:
    """A number of days in weeks or months where they are many."""
    return say.lead_time(max(days, 1.0), max(days, 1.0)).removeprefix("in about ")


def _length(slot: _Value, how: str) -> str:
    """`left` is a margin, rounded down; `over` and `hair` how far past, `up` a gap needed, rounded up."""
    if how == "left":
        return slot.display.margin(max(slot.value, 0.0))
    if how == "hair" and slot.value > -HAIR_MM:
        return "a hair"
    if how in ("over", "hair"):
        return slot.display.overrun(slot.value)
    return slot.display.length(abs(slot.value), "up" if how == "up" else "nearest", 64 if how else 32)


def _percent(slot: _Value, how: str) -> str:
    if how == "points":
        return say.points(slot.value)
    if how == "chance":
        return say.chance(slot.value)
    return say.rh(slot.value) if slot.name.endswith("rh_pct") else say.mc(slot.value)


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
