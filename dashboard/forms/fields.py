"""What every form is made of: a field under its label, a choice, and what was typed, read in its unit."""

import json
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import available_timezones

from dash import html
from sqlalchemy.orm import Session

from dashboard.figures.element import Element
from model.records.schema.tables import Place
from model.wood.errors import BadInput
from model.wood.material.species import all_species
from model.wood.units import parse_length_mm, parse_temperature_c, parse_thickness_mm
from model.words import display as say
from model.words import times
from model.words.display import Display

Id = str | dict[str, Any]
DAY = timedelta(days=1)
LONGEST_MM = 3000.0
"""No part is wider, no groove deeper: what is typed beyond it is asked back."""
DECIMAL = ("%", "°C", "°F", "mm", "grams", "hours", "days", "degrees")
"""Hints that begin so ask for a plain number. A number pad has no key for the fractions of an inch."""
COMMA = re.compile(r"(\d+),(\d{3})(?!\d)")
NARROW = 19
"""Letters of a choice that a field of usual width shows whole."""


class Choice(Element):
    """A choice from a list: the browser's own select element.

    Parameters
    ----------
    id : str or dict
    options : sequence of (value, label)
    value : str
    label : str, optional
        Its name for those who don't see it, where it stands without a label.
    name : str, optional
        What a plain form sends it as.
    """

    PROPS = ("id", "options", "value", "label", "name")

    def __init__(
        self,
        id: Id,
        options: Sequence[tuple[str, str]],
        value: str = "",
        label: str | None = None,
        name: str | None = None,
    ) -> None:
        listed = [{"value": given, "label": words} for given, words in options]
        more = {key: given for key, given in (("label", label), ("name", name)) if given is not None}
        super().__init__(id=id, options=listed, value=value, **more)


class Line(Element):
    """A line to type on, or several; its value is told when typing pauses.

    Parameters
    ----------
    id : str or dict
    value : str
    kind : str
        An input's type: text, date, password.
    list : str, optional
        The id of a datalist.
    rows : int, optional
        A text of several lines.
    name : str, optional
        What a plain form sends it as.
    mode : str, optional
        Which keys a phone offers: decimal for a number.
    entered : float
        When Enter was pressed in it.
    """

    PROPS = (
        *("id", "value", "kind", "list", "placeholder"),
        *("rows", "name", "mode", "entered"),
    )

    def __init__(self, id: Id, value: str = "", **more: Any) -> None:
        super().__init__(id=id, value=value, **{key: given for key, given in more.items() if given})


class Upload(Element):
    """A file to choose, sent to an address at once.

    Parameters
    ----------
    id : str or dict
    to : str
        Takes the file as the body of a POST with its name in the query; answers with what becomes the value.
    accept : str
        File name endings to offer.
    most : int
        Bytes.

    Attributes
    ----------
    value, problem : str
        What the address answered: the value where it took the file, else the problem.
    """

    PROPS = ("id", "to", "accept", "most", "value", "problem", "name")

    def __init__(self, id: Id, to: str, accept: str, most: int) -> None:
        super().__init__(id=id, to=to, accept=accept, most=most, value="", problem="", name="")


def dom_id(id: Id) -> str:
    """The identity of a component as the browser knows it."""
    return id if isinstance(id, str) else json.dumps(id, sort_keys=True, separators=(",", ":"))


def field(
    label: str,
    control: Any,
    hint: str = "",
    className: str = "",
) -> html.Div:
    """A control under its label, with a hint below it."""
    return html.Div(
        [
            html.Label(label, htmlFor=dom_id(control.id)),
            control,
            html.Span(hint, className="hint") if hint else None,
        ],
        className=f"field {className}".strip(),
    )


def text_field(
    label: str, id: Id, value: str = "", hint: str = "", className: str = "", **more: Any
) -> html.Div:
    """A line to type on under its label; `more` is for `Line`. A plain number gets a phone's number pad."""
    if hint.startswith(DECIMAL) and "else in" not in hint:
        more.setdefault("mode", "decimal")
    return field(label, Line(id, value, **more), hint, className)


def day_field(label: str, id: Id, at: datetime, zone: str) -> html.Div:
    """A day at a place under its label."""
    return field(label, Line(id, day_value(at, zone), kind="date"))


def choice_field(
    label: str,
    id: Id,
    options: Sequence[tuple[str, str]],
    value: str = "",
    hint: str = "",
    className: str = "",
    name: str | None = None,
) -> html.Div:
    """A choice under its label, twice as wide where what is chosen would be cut off."""
    if any(len(words) > NARROW for _, words in options):
        className = f"{className} broad".strip()
    return field(label, Choice(id, options, value, name=name), hint, className)


def zone_names() -> html.Datalist:
    """The time zones there are, to choose from while typing."""
    return names_to_choose("zones", sorted(available_timezones()))


def species_names() -> html.Datalist:
    """The woods that are known, to choose from while typing."""
    return names_to_choose("species-names", [wood.name for wood in all_species()])


def names_to_choose(id: str, names: Sequence[str]) -> html.Datalist:
    """What a line offers while one types on it."""
    return html.Datalist([html.Option(value=name) for name in names], id=id)


# ---------------------------------------------------------------- what was typed


def with_unit(text: Any, units: str) -> Any:
    """A length as typed with the unit of the form it was typed on, where it carries none of its own."""
    if not isinstance(text, str) or not text.strip():
        return text
    typed = text.strip()
    if any(letter.isalpha() or letter in "\"'”″" for letter in typed):
        return typed
    # Nobody writes 14 1/2 mm: such a fraction is asked back.
    if units != "inch" and "/" in typed:
        return typed
    return f"{typed} {'in' if units == 'inch' else 'mm'}"


def length_typed(text: Any, units: str, what: str, takes_quarters: bool = False) -> float:
    """A length as typed [mm]; BadInput says which field and what was got."""
    if text in (None, ""):
        raise BadInput("", what, "must be given", "nothing")
    two_ways = COMMA.search(text) if isinstance(text, str) else None
    if two_ways is not None:
        whole, part = two_ways.groups()
        raise BadInput("", what, f"can be read two ways: is {whole}{part} meant, or {whole}.{part}?", text)
    parse = parse_thickness_mm if takes_quarters else parse_length_mm
    length_mm = parse(text, what=what, bare="in" if units == "inch" else "mm")
    if length_mm > LONGEST_MM:
        meant_mm = length_mm
        while meant_mm > LONGEST_MM:
            meant_mm /= 100.0
        meant = Display("inch" if units == "inch" else "metric").length(meant_mm)
        rule = f"of {length_mm / 1000.0:.1f} m is longer than any part: was {meant} meant?"
        raise BadInput("", what, rule, text)
    return length_mm


def temperature_typed(text: Any, units: str, what: str) -> float:
    """A temperature as typed [°C]."""
    if text in (None, ""):
        raise BadInput("", what, "must be given", "nothing")
    return parse_temperature_c(str(text), what=what, bare="F" if units == "inch" else "C")


def number_typed(text: Any, what: str, unit: str = "%") -> float:
    """A plain number as typed; a unit after it is let be."""
    typed = str(text if text is not None else "").strip().removesuffix(unit).strip().replace(",", ".")
    try:
        number = float(typed)
    except ValueError:
        raise BadInput("", what, "must be a number", text if text not in (None, "") else "nothing") from None
    if unit == "%" and 0.0 < number < 1.0:
        raise BadInput("", what, f"is under 1 %: was {number * 100.0:g} % meant?", text)
    return number


def numbers_typed(text: Any, what: str, unit: str = "%") -> list[float]:
    """One number as typed, or several, with commas, semicolons or spaces between.

    >>> numbers_typed("8.1, 8.4, 9 %", "moisture content"), numbers_typed("8,1 8,4", "moisture content")
    ([8.1, 8.4, 9.0], [8.1, 8.4])
    """
    found: list[str] = []
    for one in re.split(r"(?:,|;|\band\b)?\s+|;", str(text if text is not None else "").replace(unit, " ")):
        # Between digits a comma is a decimal one, unless there are more or a point beside it.
        found += one.split(",") if one.count(",") > 1 or "." in one else [one.strip(",")]
    typed = [one for one in found if one.strip()]
    return [number_typed(one, what, unit) for one in typed] or [number_typed("", what, unit)]


def date_typed(text: Any, what: str) -> str:
    """A date as a date field gives it, `2026-03-12`; empty where none was chosen."""
    typed = str(text or "").strip()
    try:
        return date.fromisoformat(typed).isoformat() if typed else ""
    except ValueError:
        raise BadInput("", what, "must be a date", text) from None


def day_typed(text: Any, zone: str, what: str, now: datetime | None = None) -> datetime:
    """A day as a date field gives it, at its beginning at a place; aware UTC. Of today, `now`."""
    try:
        typed = datetime.fromisoformat(str(text))
    except ValueError:
        raise BadInput("", what, "must be a date", text if text not in (None, "") else "nothing") from None
    if now is not None and str(text) == day_value(now, zone):
        return now
    if typed.tzinfo is None:
        typed = typed.replace(tzinfo=times.zone_of(zone))
    return typed.astimezone(UTC)


def day_value(at: datetime, zone: str) -> str:
    """An instant as a date field takes it."""
    return at.astimezone(times.zone_of(zone)).strftime("%Y-%m-%d")


def chosen_place(session: Session, value: Any, what: str) -> Place:
    """The place chosen in a form."""
    text = str(value or "")
    place = session.get(Place, int(text)) if text.isdigit() else None
    if place is None:
        raise BadInput("", what, "must be one of the places", "nothing")
    return place


# ---------------------------------------------------------------- what it came to


class Faulty(BadInput):
    """What is wrong with a form: the first fault, and all of them by field."""

    def __init__(self, faults: Mapping[str, BadInput]) -> None:
        first = next(iter(faults.values()))
        super().__init__(first.where, first.what, first.rule, first.got)
        self.faults = dict(faults)


def with_fault(field: html.Div, id: Id, error: BadInput | None = None) -> html.Div:
    """The same field with what is wrong there beside it, or room for it."""
    said = None if error is None else say.sentence(in_words(error))
    field.children.append(html.Span(said, id=id, className="fault"))
    return field


def problem(error: BadInput | str) -> html.P:
    """What is wrong, in one sentence, said to those who don't see it too."""
    return html.P(say.sentence(in_words(error)), className="problem", role="alert")


def in_words(error: BadInput | str) -> str:
    """A broken rule for people: which field, which rule, what was got."""
    if isinstance(error, str):
        return error
    what = error.what.replace(".", " ").replace("_", " ")
    got = error.got
    shown = "" if got in ("nothing", "", None) or repr(got) == "nothing" else f" (got {got!r})"
    return f"{what} {error.rule}{shown}"


def done(*children: Any) -> html.P:
    """What was done."""
    return html.P(list(children), className="done", role="status")
