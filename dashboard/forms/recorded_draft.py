"""A recorded piece as a draft again, and a draft in the other units."""

from collections.abc import Mapping
from typing import Any

from dashboard.forms.drafts import EXACT_MM, KEPT, Draft
from dashboard.forms.fields import with_unit
from model.wood.fits import kind_named
from model.wood.units import MM_PER_INCH
from model.words.display import Display, Units


def draft_of(document: Mapping[str, Any], units: Units) -> Draft:
    """A draft of a piece's document, as its form shows it."""
    display = Display(units)
    piece = {
        key: value if key == "case" else str(value) for key, value in dict(document.get("piece", {})).items()
    }
    return {
        "units": units,
        "piece": piece,
        "members": [_member_row(name, table, display) for name, table in document.get("part", {}).items()],
        "fits": [_fit_row(name, table, display) for name, table in document.get("fit", {}).items()],
    }


def _member_row(name: str, table: Mapping[str, Any], display: Display) -> dict[str, Any]:
    row: dict[str, Any] = {"name": name, **{key: table[key] for key in KEPT if key in table}}
    row["grain"] = next((key for key in ("on_sheet", "figured") if table.get(key)), "")
    for key in ("species", "cut"):
        if key in table:
            row[key] = table[key]
    for key in ("width", "thickness"):
        row[key] = length_text(table.get(key), display)
    row["mc_pct"] = plain_number(table.get("mc_pct"))
    finish = table.get("finish") or {}
    if isinstance(finish, Mapping):
        row["face"] = str(finish.get("face", "none"))
        row["back"] = str(finish.get("back", ""))
        row["coats"] = plain_number(finish.get("coats"))
        row["back_coats"] = plain_number(finish.get("back_coats"))
    return row


def _fit_row(name: str, table: Mapping[str, Any], display: Display) -> dict[str, Any]:
    row: dict[str, Any] = {"name": name, "kind": table.get("kind")}
    for own in kind_named(table.get("kind")).fields():
        value = table.get(own.key)
        if own.key == "parts" and value is None and "part" in table:
            value = table["part"]
        if own.unit == "choice":
            row[own.key] = value or own.default or own.choices[0]
        elif own.unit == "flag":
            row[own.key] = "yes" if (own.default if value is None else value) else "no"
        elif value is None:
            continue
        elif own.unit == "mm":
            row[own.key] = length_text(value, display)
        elif own.unit == "members":
            row[own.key] = ", ".join(value) if isinstance(value, list) else str(value)
        elif own.unit in ("%", "degrees"):
            row[own.key] = plain_number(value)
        else:
            row[own.key] = str(value)
    return row


def length_text(value: Any, display: Display) -> str:
    """A recorded length as the form shows it, losing nothing: a fraction only where it is one."""
    if isinstance(value, str):
        return value
    if not isinstance(value, int | float) or isinstance(value, bool):
        return ""
    if display.units == "inch":
        sixty_fourths = float(value) / MM_PER_INCH * 64
        if abs(sixty_fourths - round(sixty_fourths)) * MM_PER_INCH / 64 < EXACT_MM:
            return display.bare_length(float(value), finest=64).replace("\u2212", "-")
        return f"{float(value):.6g} mm"
    return f"{float(value):.6g}"


def plain_number(value: Any) -> str:
    """A number as a field shows it; nothing when there is none."""
    return (
        f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value or "")
    )


def in_units(draft: Draft, units: Units) -> Draft:
    """The same draft on a form of other units: what was typed keeps the unit it was typed in."""
    was = draft.get("units", units)
    if was == units:
        return draft
    members = [
        {key: with_unit(value, was) if key in ("width", "thickness") else value for key, value in row.items()}
        for row in draft.get("members", ())
    ]
    fits = []
    for row in draft.get("fits", ()):
        lengths = {own.key for own in kind_named(row.get("kind")).fields() if own.unit == "mm"}
        fits.append({key: with_unit(value, was) if key in lengths else value for key, value in row.items()})
    return {**draft, "units": units, "members": members, "fits": fits}
