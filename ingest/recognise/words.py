"""Tells what the name of a field or topic level means: a quantity, a time, or a look-alike.

The vocabulary is data, in `vocabulary.toml`: plain language, and no name of a product.
"""

import re
import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Literal, NamedTuple

Quantity = Literal["temperature", "rh", "battery", "time"]
MEASURED = ("temperature", "rh", "battery")

_SPLIT = re.compile(r"[^\W\d_a-zß-ÿ]+(?![a-zß-ÿ])|[^\W\d_a-zß-ÿ]?[^\W\d_A-Z]+|[0-9]+|%")

_VOCABULARY = tomllib.loads(files("ingest").joinpath("vocabulary.toml").read_text(encoding="utf-8"))


def _bag(key: str) -> frozenset[str]:
    return frozenset(_VOCABULARY[key].split())


TEMPERATURE_WORDS, RH_WORDS, BATTERY_WORDS, TIME_WORDS = (
    _bag(k) for k in ("temperature", "rh", "battery", "time")
)
SHORT_WORDS, _NOT_TIME, _NOT_CHARGE, _COMMANDS = (
    _bag(key) for key in ("short", "not_time", "not_battery_charge", "command")
)
_VALUES, _NOISE, _INSIDE = (_bag(key) for key in ("value", "noise", "unlike_inside"))
_QUANTITIES = TEMPERATURE_WORDS | RH_WORDS | BATTERY_WORDS
PLUMBING, PRESENCE_LEVELS, SWITCH_WORDS = (_bag(key) for key in ("plumbing", "presence_level", "switch"))
ONLINE, OFFLINE = (_bag(key) for key in ("online", "offline"))
NAME_KEYS, KIND_KEYS, DEVICE_KEYS = (tuple(_VOCABULARY[key].split()) for key in ("name", "kind", "device"))
_UNLIKE = {reason: frozenset(text.split()) for reason, text in _VOCABULARY["unlike"].items()}
_UNIT_OF = {word: unit for unit, text in _VOCABULARY["unit"].items() for word in text.split()}


_ON_WOOD = {quantity: frozenset(text.split()) for quantity, text in _VOCABULARY["wood"].items()}
_WOOD_UNIT_OF = {
    word: (quantity, unit)
    for quantity, units in _VOCABULARY["wood_unit"].items()
    for unit, text in units.items()
    for word in text.split()
}
_NOT_OF_WOOD = _bag("not_of_wood")


def wood_named(name: str) -> tuple[str, str | None] | None:
    """What the name of a field or level says of wood, with the unit that it names; None when nothing.

    Examples
    --------
    >>> wood_named("board_weight_g"), wood_named("wood_moisture"), wood_named("soilMoisture")
    (('weight', 'g'), ('moisture', None), None)
    """
    told = words_of(name)
    if not _NOT_OF_WOOD.isdisjoint(told):
        return None
    found = [quantity for quantity, bag in _ON_WOOD.items() if not bag.isdisjoint(told)]
    if len(found) != 1:
        return None
    units = [_WOOD_UNIT_OF[word] for word in told if word in _WOOD_UNIT_OF]
    return found[0], next((unit for quantity, unit in units if quantity == found[0]), None)


class Meaning(NamedTuple):
    """What a name says.

    `quantity` is None when it says nothing, `short` when only one or two letters say it, and `unlike` the
    reason why it does not speak of the air of a place.
    """

    quantity: Quantity | None
    unit: str | None
    short: bool
    unlike: str | None


@lru_cache(maxsize=8192)
def words_of(name: str) -> tuple[str, ...]:
    """The words of a name, in lower case.

    Examples
    --------
    >>> words_of("tempC"), words_of("relative_humidity"), words_of("SHT3X-1")
    (('temp', 'c'), ('relative', 'humidity'), ('sht', '3', 'x', '1'))
    """
    return tuple(word.lower() for word in _SPLIT.findall(name[:200]))


@lru_cache(maxsize=8192)
def meaning_of(name: str) -> Meaning:
    """What the name of one field or one topic level says.

    Examples
    --------
    >>> meaning_of("temp_f")[:2], meaning_of("dewPoint").unlike
    (('temperature', 'F'), 'is a dew point')
    """
    words = words_of(name)
    unlike = next((why for why, bag in _UNLIKE.items() if not bag.isdisjoint(words)), None)
    bag = set(words)
    if bag & BATTERY_WORDS:
        return Meaning(None if bag & _NOT_CHARGE else "battery", None, False, None)
    rh, temperature = bag & RH_WORDS, bag & TEMPERATURE_WORDS
    if rh and temperature:
        # "temp_humidity" names a device, not a quantity; a letter beside a whole word is a unit or an index.
        rh, temperature = rh - SHORT_WORDS, temperature - SHORT_WORDS
        if rh and temperature:
            return Meaning(None, None, False, unlike)
    if rh:
        return Meaning("rh", None, rh <= SHORT_WORDS, unlike)
    if temperature:
        unit = next((_UNIT_OF[word] for word in reversed(words) if word in _UNIT_OF), None)
        return Meaning("temperature", unit, temperature <= SHORT_WORDS, unlike)
    if bag & TIME_WORDS and not bag & _NOT_TIME:
        return Meaning("time", None, False, None)
    return Meaning(None, None, False, unlike)


def ago_unit(name: str) -> str | None:
    """The unit of a name that says how long ago something was measured; None when it says no such thing.

    Examples
    --------
    >>> ago_unit("age"), ago_unit("ms_ago"), ago_unit("ageMinutes"), ago_unit("average")
    ('s-ago', 'ms-ago', 'min-ago', None)
    """
    words = set(words_of(name))
    if words.isdisjoint({"age", "ago"}):
        return None
    if not words.isdisjoint({"ms", "millis", "milliseconds"}):
        return "ms-ago"
    return "min-ago" if not words.isdisjoint({"min", "mins", "minutes"}) else "s-ago"


def unlike_inside(name: str) -> str | None:
    """Why nothing inside an object of this name is the air of a place; None when nothing says so."""
    inside = _INSIDE.intersection((*words_of(name), name.lower()))
    return f"stands in {min(inside)!r}" if inside else None


def is_value(name: str) -> bool:
    """Whether a key only says that it holds a value."""
    return name.lower() in _VALUES


def is_charge(names: list[str]) -> bool:
    """Whether the names on the way to a battery's value speak of its charge, not of its voltage or state."""
    return all(_NOT_CHARGE.isdisjoint(words_of(name)) for name in names)


def is_unit_key(name: str) -> bool:
    """Whether a key holds the unit of something."""
    return not {"unit", "units", "uom", "unitcode", "tempunit"}.isdisjoint((*words_of(name), name.lower()))


def which_of(name: str) -> tuple[str, ...]:
    """What a name says beyond the quantity and its unit: which of several sensors is meant.

    Examples
    --------
    >>> which_of("indoor_temp_c"), which_of("relative_humidity_2"), which_of("value")
    (('indoor',), ('2',), ())
    """
    found = words_of(name)
    drop = TEMPERATURE_WORDS | RH_WORDS | BATTERY_WORDS | _NOISE | _VALUES | {"%"}
    kept = [word for word in found if word not in drop and word not in _UNIT_OF]
    return tuple(kept)


def is_command(topic: str) -> bool:
    """Whether a topic carries something sent to a device, by one of its levels.

    Examples
    --------
    >>> is_command("shop/heater/set"), is_command("shop/bench-2/climate")
    (True, False)
    """
    levels = [level.lower().lstrip("$") for level in topic[:1000].split("/")]
    return "events" not in levels and not _COMMANDS.isdisjoint(levels)


def stem_of(name: str) -> str:
    """A name without its last part when that part names a quantity: the name of the sensor itself.

    Examples
    --------
    >>> stem_of("shop1/s3/temp_c"), stem_of("urn:dev:ow:10e2073a01080063"), stem_of("rack/airTemperature")
    ('shop1/s3', 'urn:dev:ow:10e2073a01080063', 'rack')
    """
    tail = max(len(name) - 80, 0)
    found = [(match[0].lower(), tail + match.start()) for match in _SPLIT.finditer(name[tail:])]
    while found and (found[-1][0] in _UNIT_OF or found[-1][0] in _NOISE) and found[-1][0] not in _QUANTITIES:
        found.pop()
    if not found or found[-1][0] not in _QUANTITIES:
        return name
    _, cut = found.pop()
    while found and found[-1][0] in _NOISE:
        _, cut = found.pop()
    return name[:cut].rstrip("/:._- ")
