"""Links for clients: each shows one piece, read-only, and can be taken back.

A link carries the piece's id and a serial number, signed. The book keeps the serial that is good; taking a
link back forgets it, and a new one has another.
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

    def make(self, session: Session, piece_id: int) -> str:
        """A new link's token; one that was given before is good no more."""
        serial = secrets.token_hex(8)
        session.merge(Preference(name=_name(piece_id), value={"serial": serial}))
        return str(self._signer().dumps([piece_id, serial]))

    def good(self, session: Session, piece_id: int) -> str | None:
        """The token of the link that is good for a piece; none when there is none."""
        kept = session.get(Preference, _name(piece_id))
        return None if kept is None else str(self._signer().dumps([piece_id, kept.value["serial"]]))

    def piece_of(self, session: Session, token: str) -> int | None:
        """The piece a token shows; none when it is forged, taken back or no token."""
        if len(token) > LONGEST:
            return None
        try:
            piece_id, serial = self._signer().loads(token)
        except (BadSignature, ValueError, TypeError):
            return None
        kept = session.get(Preference, _name(piece_id))
        if kept is None or not secrets.compare_digest(str(kept.value["serial"]), str(serial)):
            return None
        return int(piece_id)

    def take_back(self, session: Session, piece_id: int) -> None:
        """No link is good for a piece any more."""
        kept = session.get(Preference, _name(piece_id))
        if kept is not None:
            session.delete(kept)


def _name(piece_id: int) -> str:
    return LINK.format(piece_id)
