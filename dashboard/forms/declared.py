"""A form of the book, declared once: laid out, read in the viewer's units, and told what is wrong with it.

    Form("stack-edit", "Correct it", (Asked("name", "Name"), Asked("thickness", "Thickness", "length")))

`Form.laid_out` draws it with what is on record, `Form.read` gives what was typed in SI, and `Form.answers`
lets its button do an act; a fault is said at the head of the page and beside its field.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from dash import Dash, html, set_props
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers
from dashboard.forms.recorded_draft import length_text, plain_number
from dashboard.shell.view import Context, View
from model.wood.errors import BadInput
from model.words import display as say

Kind = Literal[
    "text", "number", "numbers", "length", "thickness", "temperature",
    "difference", "day", "date", "choice", "flag", "place",
]  # fmt: skip
Options = Sequence[tuple[str, str]]
KEYS = {"number": "decimal", "numbers": "text"}
"""The keys a phone offers: a number pad has none to part several numbers with."""


@dataclass(frozen=True)
class Asked:
    """One field of a form.

    Attributes
    ----------
    key : str
        Its name in the form.
    label : str
    kind : str
        How it is read: a `difference` is one of temperature; a `day` begins at the place chosen in the same
        form, else at the one the form is about; today is now. A `date` may be left out. `numbers` are one
        or several, a `thickness` takes a yard's quarters too, and a `flag` whose first option is empty may
        stay unsaid.
    hint : str
        ``{degrees}`` stands for the viewer's unit of temperature.
    stored : str
        Its key in the record; `key` where it is the same.
    what : str
        As a refusal names it; the label in small letters where it is the same.
    unit : str
        Of a number, which may be typed after it.
    needed : bool
        Whether a number may not be left out; read as None then.
    options : sequence of (value, label)
        Of a choice; those of a form that changes are given to `laid_out`.
    usual : any
        What stands there where nothing is on record.
    folded : bool
        Whether it stands under "Optional details", which are open where any is on record.
    """

    key: str
    label: str
    kind: Kind = "text"
    hint: str = ""
    stored: str = ""
    what: str = ""
    unit: str = "%"
    needed: bool = True
    options: Options = ()
    usual: Any = None
    list: str = ""
    placeholder: str = ""
    className: str = ""
    folded: bool = False

    @property
    def into(self) -> str:
        return self.stored or self.key

    @property
    def said(self) -> str:
        return self.what or self.label.lower()


@dataclass(frozen=True)
class Form:
    """A form by its name, with the words on its button and its fields.

    Attributes
    ----------
    whose : str
        What the button's number is of: piece, stack, place, sensor.
    """

    name: str
    button: str
    fields: tuple[Asked, ...]
    whose: str = "number"
    is_first: bool = False

    # ------------------------------------------------------------ laying out

    def laid_out(
        self,
        view: View,
        number: int = 0,
        record: Mapping[str, Any] | None = None,
        *,
        options: Mapping[str, Options] | None = None,
        zone: str = "UTC",
        more: Sequence[Any] = (),
        button: str = "",
        names: Sequence[str] = (),
        error: BadInput | None = None,
    ) -> html.Div:
        """The form.

        Parameters
        ----------
        number : int
            Whose record it is.
        record : mapping, optional
            What stands in it, in SI, by the keys of the record.
        options : mapping, optional
            Choices by field that are not the same for ever.
        zone : str
            Of the days.
        more : sequence
            Other buttons beside its own.
        names : sequence of str
            Of clients, to choose from while typing.
        error : BadInput, optional
            What was wrong when it was read last.
        """
        record = record or {}
        laid = self.laid(view, record, options=options, zone=zone, error=error)
        shown = [field for one, field in zip(self.fields, laid, strict=True) if not one.folded]
        more_shown = [field for one, field in zip(self.fields, laid, strict=True) if one.folded]
        is_open = any(record.get(one.into) not in (None, "", one.usual) for one in self.fields if one.folded)
        lists = {one.list for one in self.fields}
        press = html.Button(
            button or self.button,
            id={"act": self.name, self.whose: number},
            className="first" if self.is_first else None,
        )
        return html.Div(
            [
                html.Div(shown, className="fields"),
                html.Details(
                    [html.Summary("Optional details"), html.Div(more_shown, className="fields")], open=is_open
                )
                if more_shown
                else None,
                forms.zone_names() if "zones" in lists else None,
                forms.species_names() if "species-names" in lists else None,
                forms.names_to_choose("client-names", names) if "client-names" in lists else None,
                html.Div([press, *more], className="buttons") if more else press,
            ]
        )

    def laid(
        self,
        view: View,
        record: Mapping[str, Any],
        *,
        options: Mapping[str, Options] | None = None,
        zone: str = "UTC",
        error: BadInput | None = None,
    ) -> list[html.Div]:
        """Its fields alone, for a form that is laid out in parts, with what is on record, or was typed."""
        options = options or {}
        faults = self.faults(error) if error is not None else {}
        return [
            forms.with_fault(
                self._field(
                    one, record.get(one.into, one.usual), options.get(one.key, one.options), zone, view
                ),
                {"fault": self.name, "key": one.key},
                faults.get(one.key),
            )
            for one in self.fields
        ]

    def _field(self, one: Asked, value: Any, options: Options, zone: str, view: View) -> html.Div:
        id, hint = {"form": self.name, "key": one.key}, one.hint.format(degrees=view.display.temperature_unit)
        match one.kind:
            case "day":
                shown = forms.day_field(one.label, id, value or view.now, zone)
            case "date":
                shown = forms.field(one.label, forms.Line(id, value or "", kind="date"), hint)
            case "choice" | "place" | "flag":
                chosen = "" if value is None else ("yes" if value else "no") if one.kind == "flag" else value
                first = options[0][0] if options and value is None else ""
                shown = forms.choice_field(one.label, id, options, str(chosen) or first, hint, one.className)
            case _:
                if one.kind == "thickness":
                    hint = f"4/4, 5/4, or {'inches' if view.units == 'inch' else 'mm'}"
                if one.kind == "length" and not hint:
                    hint = "inches: 1-3/16, 5/8" if view.units == "inch" else "mm"
                more = {"list": one.list, "placeholder": one.placeholder}
                if one.kind in KEYS:
                    more["mode"] = KEYS[one.kind]
                text = _text(one.kind, value, view)
                shown = forms.text_field(one.label, id, text, hint, one.className, **more)
        return shown

    # ------------------------------------------------------------ reading

    def read(
        self, typed: Mapping[str, Any], view: View, session: Session | None = None, zone: str = "UTC"
    ) -> dict[str, Any]:
        """What was typed, in SI, by the keys of the record.

        Raises
        ------
        forms.Faulty
            With everything that can't be read.
        """
        found: dict[str, Any] = {}
        faults: dict[str, BadInput] = {}
        # A day begins at the place that is chosen beside it.
        for one in sorted(self.fields, key=lambda one: one.kind == "day"):
            try:
                found[one.into] = value = _read(one, typed.get(one.key), view, session, zone)
                if one.kind == "place" and value is not None and one.needed:
                    zone = value.zone
            except BadInput as error:
                faults[one.key] = error
        if faults:
            raise forms.Faulty({one.key: faults[one.key] for one in self.fields if one.key in faults})
        return found

    # ------------------------------------------------------------ answering

    def answers(
        self,
        app: Dash,
        context: Context,
        act: Callable[[Any, dict[Any, Any], View], Act],
    ) -> None:
        """Let the button do an act; see `dashboard.forms.acts.answers`."""

        def told(whose: Any, typed: dict[Any, Any], view: View) -> Act:
            try:
                return act(whose, typed, view)
            except BadInput as error:
                self.mark(error)
                raise

        answers(app, context, self.name, told, which=self.whose)

    def mark(self, error: BadInput) -> None:
        """Say what is wrong beside each field that it is wrong with, and nothing beside the others."""
        faults = self.faults(error)
        for one in self.fields:
            said = say.sentence(forms.in_words(faults[one.key])) if one.key in faults else ""
            set_props({"fault": self.name, "key": one.key}, {"children": said})

    def faults(self, error: BadInput) -> dict[str, BadInput]:
        """What is wrong, by field."""
        if isinstance(error, forms.Faulty):
            return error.faults
        for one in self.fields:
            if error.what in (one.key, one.into, one.said) or error.what.endswith(
                (f" {one.key}", f".{one.key}")
            ):
                return {one.key: error}
        return {}


def _text(kind: str, value: Any, view: View) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    match kind:
        case "numbers" if isinstance(value, list | tuple):
            return ", ".join(map(plain_number, value))
        case "temperature":
            return plain_number(round(value * 1.8 + 32.0 if view.units == "inch" else value, 2))
        case "length" | "thickness":
            return length_text(value, view.display)
        case "difference":
            return plain_number(value * 1.8 if view.units == "inch" else value)
        case _:
            return plain_number(value)


def _read(one: Asked, text: Any, view: View, session: Session | None, zone: str) -> Any:
    empty = str(text if text is not None else "").strip() == ""
    match one.kind:
        case "number":
            return None if empty and not one.needed else forms.number_typed(text, one.said, one.unit)
        case "numbers":
            return forms.numbers_typed(text, one.said, one.unit)
        case "length" if empty and not one.needed:
            return None
        case "length" | "thickness":
            return forms.length_typed(text, view.units, one.said, takes_quarters=one.kind == "thickness")
        case "date":
            return forms.date_typed(text, one.said)
        case "temperature" if empty and not one.needed:
            return None
        case "temperature":
            return forms.temperature_typed(text, view.units, one.said)
        case "difference":
            value = forms.number_typed(text if not empty else "0", one.said, "")
            return value / 1.8 if view.units == "inch" else value
        case "day":
            day: datetime = forms.day_typed(text, zone, one.said, view.now)
            return day
        case "place":
            assert session is not None
            return None if empty and not one.needed else forms.chosen_place(session, text, one.said)
        case "flag":
            return one.usual if text is None else None if empty else text == "yes"
        case _:
            return str(text or "").strip()
