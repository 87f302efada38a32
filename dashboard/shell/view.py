"""What every page is asked with, and what it may reach."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

import flask
from dash.development.base_component import Component

from dashboard.shell.links import Links
from dashboard.shell.ports import NoticeDoor, SensorDoor
from dashboard.shell.sessions import Sessions
from model.records.clock import Now
from model.records.store import Store
from model.wood.material.species import NORTH_AMERICA, Region
from model.words.display import Display, Units


@dataclass(frozen=True)
class Context:
    """What `build_app` was given: the book, its clock, what is shown until a viewer chooses, and doors."""

    store: Store
    now: Now
    units: Units = "inch"
    region: Region = NORTH_AMERICA
    zone: str = "UTC"
    sensors: SensorDoor | None = None
    notices: NoticeDoor | None = None
    links: Links | None = None
    public_url: str = ""
    sessions: Sessions | None = None
    sample: bool = False
    guide: Path | None = None  # the folder of the guide's files


@dataclass(frozen=True)
class View:
    """One look at one page: by whom, in what units, when, and with what in the address."""

    context: Context
    display: Display
    now: datetime
    query: Mapping[str, str] = field(default_factory=dict)

    @property
    def units(self) -> Units:
        return self.display.units

    @property
    def store(self) -> Store:
        return self.context.store


UNITS_COOKIE = "paneltide_units"


def view_of(context: Context, href: str = "") -> View:
    """One look, from an address and from what the browser keeps: units by address, cookie, then setting."""
    query = dict(parse_qsl(urlsplit(href).query))
    kept = flask.request.cookies.get(UNITS_COOKIE) if flask.has_request_context() else None
    wanted = query.get("units") or kept
    units: Units = {"inch": "inch", "metric": "metric"}.get(wanted or "", context.units)  # type: ignore[assignment]
    return View(context, Display(units), context.now().astimezone(UTC), query)


HIGHEST_NUMBER = 999_999_999
"""More rows than a shop will ever have, and within every database's integer."""


def number_in(name: str) -> str:
    """A row's number in an address that answers with a file."""
    return f"<int(max={HIGHEST_NUMBER}):{name}>"


NUMBER = number_in("piece_id")

Build = Callable[..., Component | None]


@dataclass(frozen=True)
class Route:
    """An address and the page that answers it.

    Parameters
    ----------
    template : str
        The path, with `<name>` for a whole number that the page is asked with.
    build : callable
        `build(view, **numbers)` gives the page, or None when what it speaks of does not exist.
    live : bool
        Whether the page is drawn again as time goes on. A page that is being written on must not be.
    """

    template: str
    build: Build
    live: bool = True

    def match(self, path: str) -> dict[str, int] | None:
        """The numbers in a path, or None when it is another page's."""
        wanted, got = self.template.strip("/").split("/"), path.strip("/").split("/")
        if len(wanted) != len(got):
            return None
        numbers: dict[str, int] = {}
        for want, have in zip(wanted, got, strict=True):
            if want.startswith("<"):
                if not (have.isascii() and have.isdigit() and len(have) <= len(str(HIGHEST_NUMBER))):
                    return None
                numbers[want[1:-1]] = int(have)
            elif want != have:
                return None
        return numbers


def address(*parts: object, **query: Any) -> str:
    """An address inside the dashboard; query values that are None are left out.

    >>> address("piece", 3, member=7, since=None)
    '/piece/3?member=7'
    """
    path = "/" + "/".join(quote(str(part), safe="") for part in parts)
    asked = {name: value for name, value in query.items() if value is not None}
    return f"{path}?{urlencode(asked)}" if asked else path
