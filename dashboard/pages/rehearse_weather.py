"""A weather file from the viewer's machine: read as outdoor air and kept in the book."""

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from dash.development.base_component import Component

from dashboard.pages import rehearse_asked
from dashboard.view import View
from model.records.tables import Preference
from model.wood.epw import read_epw
from model.wood.errors import BadInput
from model.wood.outdoor import OutdoorClimate

FORGET = "weather file"


class TextFile(Component):
    """A text file chosen on the viewer's machine: the browser's own element.

    Parameters
    ----------
    id : str
    accept : str
        Endings and types it offers.
    file : dict
        Set when one is chosen: `name`, `text`, `size` in bytes; the text is empty when it is too large.
    """

    _children_props: list[str] = []  # noqa: RUF012
    _base_nodes = ["children"]  # noqa: RUF012
    _namespace = "paneltide"
    _type = "TextFile"
    _prop_names = ["id", "accept", "file"]  # noqa: RUF012
    _valid_wildcard_attributes: list[str] = []  # noqa: RUF012
    available_properties = _prop_names
    available_wildcard_properties: list[str] = []  # noqa: RUF012

    def __init__(self, id: str, accept: str = "") -> None:
        super().__init__(id=id, accept=accept)


def read_weather(file: Mapping[str, Any], view: View) -> tuple[OutdoorClimate, int]:
    """Read a chosen file and keep it; gives its climate and its number in the book.

    Raises
    ------
    BadInput
        For a file that is no weather file, naming its line.
    """
    name, text = str(file.get("name") or "the file"), str(file.get("text") or "")
    if not text:
        raise BadInput(name, "weather file", "must hold text, at most 8 MB", f"{file.get('size')} bytes")
    climate = read_epw(text, name)
    # The same file read again is the same file.
    number = int(sha256(text.encode()).hexdigest()[:7], 16)
    with view.store.session() as session:
        rehearse_asked.keep_weather(session, climate, number)
    return climate, number


def forget(view: View, number: int) -> str:
    """Take a weather file out of the book again."""
    with view.store.session() as session:
        kept = session.get(Preference, f"weather {number}")
        if kept is None:
            raise BadInput("", "weather file", "must be one that was read", number)
        session.delete(kept)
    return "The weather file is forgotten."
