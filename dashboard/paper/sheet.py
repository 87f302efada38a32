"""Paper from the book: a piece's client sheet, its cut cards, its job sheet.

The pages themselves are pure functions in `paper`; here they are given what the book knows. A page or a
command calls `sheet_of_piece`, `cut_card`, `job_sheet_of_piece` and hands on the bytes.
"""

from dataclasses import replace
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.paper.cards import cut_card as cut_card
from dashboard.paper.client import ClientFacts as ClientFacts
from dashboard.paper.client import Contact as Contact
from dashboard.paper.client import client_sheet as client_sheet
from dashboard.paper.gap_strip import letter_for as letter_for
from dashboard.paper.gap_strip import read_letter as read_letter
from dashboard.paper.page import PaperSize
from dashboard.say import piece_words
from dashboard.shell.links import reach
from model.answers.annual_range import home_year, recorded_air, usual_year
from model.records.acts.book import load_piece
from model.records.queries import overview as queries
from model.records.schema.tables import PieceRow, Place, Preference, Stay
from model.wood.design.design_range import design_range
from model.wood.errors import BadInput
from model.words.display import Display

CONTACT = "contact"
"""Name of the preference that holds who to call: ``{"name", "line", "link"}``, texts."""
LINKS = ("https://", "http://", "mailto:", "tel:")


def contact_of(session: Session) -> Contact:
    """Who to call, as the maker set it; empty when nobody did."""
    row = session.get(Preference, CONTACT)
    value = row.value if row is not None else {}
    contact = Contact(*(str(value.get(key) or "") for key in ("name", "line", "link")))
    # Kept before such links were refused; a code that leads nowhere is not printed.
    return replace(contact, link="") if _leads_nowhere(contact.link) else contact


def keep_contact(session: Session, name: str, line: str = "", link: str = "") -> None:
    """Set who to call, as every client sheet prints it.

    Raises
    ------
    BadInput
        For a link that is none, or one without a name or a line beside it.
    """
    if link and not link.startswith(LINKS):
        raise BadInput("", "link", "must begin with https://, http://, mailto: or tel:", link)
    if _leads_nowhere(link):
        raise BadInput("", "link", "must not lead to this machine alone: no client could follow it", link)
    if link and not (name or line):
        raise BadInput("", "name", "must be given beside a link", "nothing")
    session.merge(Preference(name=CONTACT, value={"name": name, "line": line, "link": link}))


def _leads_nowhere(link: str) -> bool:
    return link.startswith("http") and reach(link) == "device"


def piece_row(session: Session, name_or_id: str | int) -> PieceRow:
    """A recorded piece by its name or id.

    Raises
    ------
    BadInput
        With the names there are.
    """
    found: PieceRow | None
    if isinstance(name_or_id, int):
        found = session.get(PieceRow, name_or_id)
    else:
        found = session.scalar(select(PieceRow).where(PieceRow.name == name_or_id))
    if found is None:
        known = ", ".join(session.scalars(select(PieceRow.name).order_by(PieceRow.name))) or "none yet"
        raise BadInput("", "piece", f"must be one that is recorded ({known})", name_or_id)
    return found


def client_facts(session: Session, name_or_id: str | int, now: datetime) -> ClientFacts:
    """What the book knows for a piece's client sheet, at a home if it stands at one, else of a usual home."""
    row = piece_row(session, name_or_id)
    piece = load_piece(session, row)
    place = session.scalar(
        select(Place)
        .join(Stay)
        .where(
            Stay.piece_id == row.id,
            Stay.since_at <= now,
            (Stay.until_at.is_(None)) | (Stay.until_at > now),
        )
    )
    # While it is still in the shop, the shop's air says nothing of its home.
    if place is None or place.kind != "home":
        year, harms = usual_year(piece), None
        zone, name, climate = (place.zone if place else "UTC"), "", None
    else:
        year = home_year(piece, recorded_air(session, place.id, now), place.name)
        known = queries.piece(session, row.id, now)
        harms = piece_words.harms(known) if known is not None else None
        zone, name, climate = place.zone, place.name, place.climate
    latitude = (climate or {}).get("latitude_deg")
    return ClientFacts(
        piece=piece,
        design=design_range(piece),
        year=year,
        place=name,
        zone=zone,
        latitude_deg=float(latitude) if isinstance(latitude, int | float) else None,
        contact=contact_of(session),
        made_at=now,
        harms=harms,
    )


def sheet_of_piece(
    session: Session, name_or_id: str | int, now: datetime, display: Display, paper: PaperSize | None = None
) -> bytes:
    """A recorded piece's client sheet, as PDF."""
    return client_sheet(client_facts(session, name_or_id, now), display, paper)


def job_sheet_of_piece(
    session: Session, name_or_id: str | int, now: datetime, display: Display, paper: PaperSize | None = None
) -> bytes:
    """A recorded piece's job sheet, as PDF; cut again for where it stands."""
    from dashboard.paper.job import JobFacts, job_sheet

    facts = client_facts(session, name_or_id, now)
    row = piece_row(session, name_or_id)
    return job_sheet(
        JobFacts(facts.piece, facts.year, facts.place, row.recorded_at, facts.zone, now), display, paper
    )
