"""A weather file from the viewer's machine: read as outdoor air and kept in the book."""

from collections.abc import Callable, Mapping
from hashlib import sha256
from typing import Any

from dash.development.base_component import Component

from dashboard.forms.acts import Act, doing, done
from dashboard.pages.plans import rehearse_asked
from dashboard.shell.view import View
from model.wood.climate.epw import read_epw
from model.wood.errors import BadInput


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


def read_weather(file: Mapping[str, Any], view: View, href: Callable[[str], str] = str) -> Act:
    """Read a chosen file and keep it.

    Parameters
    ----------
    href : callable
        From the air's key to the page that shows it.

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
    with doing(view, "weather file") as (session, revision):
        rehearse_asked.keep_weather(session, climate, number)
        said = f"The weather of {climate.name} is read."
        return done(revision, said, "The weather file is forgotten.", href(f"w{number}"))
