"""Secret links: each shows one thing, read-only, and can be taken back.

A client's shows one piece; the shop's own show what is coming, as a calendar or a feed. A link carries what
it shows and a serial number, signed. The book keeps the serial that is good; taking a link back forgets it,
and a new one has another.
"""

import secrets
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Literal
from urllib.parse import urlsplit

from itsdangerous import BadSignature, URLSafeSerializer
from sqlalchemy.orm import Session

from model.records.acts.clients import LINK
from model.records.schema.tables import Preference

SALT = "client link"
Shown = int | Literal["calendar", "feed"]
"""What a link shows: a piece by its id, or what is coming."""
LONGEST = 200  # a longer token is none of ours


def reach(url: str) -> Literal["device", "network", "anywhere"]:
    """From where an address can be followed: on the device it names alone, in its own network, or anywhere.

    A name tells nothing of where it leads, so one that is not ``localhost`` counts as anywhere.
    """
    name = (urlsplit(url).hostname or "").rstrip(".")
    try:
        host = ip_address(name)
    except ValueError:
        return "device" if name == "localhost" or name.endswith(".localhost") else "anywhere"
    if host.is_loopback or host.is_unspecified:
        return "device"
    return "network" if host.is_private or host.is_link_local else "anywhere"


@dataclass(frozen=True)
class Links:
    """Makes, reads and takes back links with one signing key."""

    key: str

    def _signer(self) -> URLSafeSerializer:
        return URLSafeSerializer(self.key, salt=SALT)

    def make(self, session: Session, shows: Shown) -> str:
        """A new link's token; one that was given before is good no more."""
        serial = secrets.token_hex(8)
        session.merge(Preference(name=_name(shows), value={"serial": serial}))
        return str(self._signer().dumps([shows, serial]))

    def good(self, session: Session, shows: Shown) -> str | None:
        """The token of the link that is good for a thing; none when there is none."""
        kept = session.get(Preference, _name(shows))
        return None if kept is None else str(self._signer().dumps([shows, kept.value["serial"]]))

    def shown(self, session: Session, token: str) -> Shown | None:
        """What a token shows; none when it is forged, taken back or no token."""
        if len(token) > LONGEST:
            return None
        try:
            shows, serial = self._signer().loads(token)
        except (BadSignature, ValueError, TypeError):
            return None
        kept = session.get(Preference, _name(shows))
        good = kept is not None and secrets.compare_digest(str(kept.value["serial"]), str(serial))
        return shows if good else None

    def piece_of(self, session: Session, token: str) -> int | None:
        """The piece a token shows; none when it shows none."""
        shows = self.shown(session, token)
        return shows if isinstance(shows, int) else None

    def take_back(self, session: Session, shows: Shown) -> None:
        """No link to a thing is good any more."""
        kept = session.get(Preference, _name(shows))
        if kept is not None:
            session.delete(kept)


def _name(shows: Shown) -> str:
    return LINK.format(shows) if isinstance(shows, int) else f"shop link {shows}"
