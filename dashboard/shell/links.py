"""Secret links: each shows one thing, read-only, and can be taken back.

A client's shows one piece, or all of theirs; the shop's own show what is coming, as a calendar or a feed. A
link carries what it shows and a serial number, signed. The book keeps the serial that is good; taking a link
back forgets it, and a new one has another.
"""

import secrets
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Literal
from urllib.parse import urlsplit

from itsdangerous import BadSignature, URLSafeSerializer
from sqlalchemy.orm import Session

from model.records.acts.clients import CLIENTS_LINK, LINK
from model.records.schema.tables import Preference

SALT = "client link"
Shown = int | str
"""A piece by its id, all pieces of a client (`of_client`), or what is coming ("calendar", "feed")."""
THEIRS = "client "
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

    def take_back(self, session: Session, shows: Shown) -> None:
        """No link to a thing is good any more."""
        kept = session.get(Preference, _name(shows))
        if kept is not None:
            session.delete(kept)


def of_client(client_id: int) -> Shown:
    """All pieces of a client, as a link shows them."""
    return f"{THEIRS}{client_id}"


def client_of(shows: Shown | None) -> int | None:
    """The client whose pieces a link shows; none where it shows something else."""
    is_theirs = isinstance(shows, str) and shows.startswith(THEIRS)
    return int(str(shows).removeprefix(THEIRS)) if is_theirs else None


def _name(shows: Shown) -> str:
    if isinstance(shows, int):
        return LINK.format(shows)
    client_id = client_of(shows)
    return f"shop link {shows}" if client_id is None else CLIENTS_LINK.format(client_id)
