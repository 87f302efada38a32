"""When a notice is due: by the tier of its warning, the maker's hours, and the night."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.schema.tables import Place, Preference
from model.wood.errors import BadInput

NAME = "notices"
TIERS = ("now", "morning", "week", "season")
DIGESTS = {"single": None, "day": "morning", "week": "week"}
"""How what can wait comes: each tier at its own hour, or all of it at the hour of one of them."""


@dataclass(frozen=True)
class Hours:
    """When the maker wants to hear.

    Attributes
    ----------
    zone : str
        IANA time zone of the hours.
    morning_at : str
        When the day's notices come, together ("07:00").
    week_day : int
        On which day those of the week come; 0 is Monday.
    quiet_from, quiet_until : str
        The night: nothing is sent in it.
    now_at_night : bool
        Whether what can't wait may come at night all the same.
    clear_again : bool
        Whether it is told, too, when a warning that was told is over.
    digest : str
        single, or one message a day or week of what can wait, with what stands open still.
    addresses : tuple of str
        Besides those of the settings.
    tiers : mapping of address to tiers
        Which tiers an address gets, named as it is or masked; every one where it isn't named.
    """

    zone: str = "UTC"
    morning_at: str = "07:00"
    week_day: int = 0
    quiet_from: str = "21:00"
    quiet_until: str = "06:30"
    now_at_night: bool = False
    clear_again: bool = False
    digest: str = "single"
    addresses: tuple[str, ...] = ()
    tiers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        try:
            ZoneInfo(self.zone)
        except (ZoneInfoNotFoundError, ValueError) as error:
            raise BadInput(NAME, "zone", "must be a time zone like Europe/Brussels", self.zone) from error
        for key in ("morning_at", "quiet_from", "quiet_until"):
            _time(key, getattr(self, key))
        if isinstance(self.week_day, bool) or self.week_day not in range(7):
            raise BadInput(NAME, "week_day", "must be 0 (Monday) to 6", self.week_day)
        if self.digest not in DIGESTS:
            raise BadInput(NAME, "digest", f"must be one of {', '.join(DIGESTS)}", self.digest)
        for address, tiers in self.tiers.items():
            for tier in tiers:
                if tier not in TIERS:
                    raise BadInput(NAME, f"tiers of {address}", f"must be of {', '.join(TIERS)}", tier)

    def wants(self, address: str, tier: str, mask: str = "") -> bool:
        """Whether an address gets notices of a tier; what was kept under its mask comes first."""
        return tier in self.tiers.get(mask, self.tiers.get(address, TIERS))

    def due_at(self, tier: str, at: datetime, not_before: datetime | None = None) -> datetime:
        """When a notice of a tier that comes up at an instant is to be sent, and not before another."""
        due = self._due_at(tier, at)
        if not_before is None or due >= not_before:
            return due
        if tier == "now" and self.now_at_night:
            return not_before
        return self._out_of_the_night(not_before.astimezone(ZoneInfo(self.zone))).astimezone(UTC)

    def _due_at(self, tier: str, at: datetime) -> datetime:
        here = at.astimezone(ZoneInfo(self.zone))
        if tier == "now":
            return at if self.now_at_night else self._out_of_the_night(here).astimezone(UTC)
        tier = DIGESTS[self.digest] or tier
        morning = _time("morning_at", self.morning_at)
        due = _on(here, morning)
        if due <= here:
            due = _on(here + timedelta(days=1), morning)
        if tier in ("week", "season"):
            due = _on(due + timedelta(days=(self.week_day - due.weekday()) % 7), morning)
        return self._out_of_the_night(due).astimezone(UTC)

    def _out_of_the_night(self, here: datetime) -> datetime:
        begins, ends = _time("quiet_from", self.quiet_from), _time("quiet_until", self.quiet_until)
        now = here.time()
        if begins <= ends:
            quiet = begins <= now < ends
            return _on(here, ends) if quiet else here
        if now >= begins:
            return _on(here + timedelta(days=1), ends)
        return _on(here, ends) if now < ends else here

    def document(self) -> dict[str, Any]:
        return {
            **asdict(self),
            "addresses": list(self.addresses),
            "tiers": {address: list(tiers) for address, tiers in self.tiers.items()},
        }


def hours_from_document(document: Mapping[str, Any]) -> Hours:
    """The maker's hours from their document; an unknown or senseless key is named."""
    for key in document:
        if key not in Hours.__dataclass_fields__:
            rule = f"must be one of {', '.join(sorted(Hours.__dataclass_fields__))}"
            raise BadInput(NAME, key, rule, document[key])
    given = dict(document)
    given["addresses"] = tuple(given.get("addresses", ()))
    given["tiers"] = {address: tuple(tiers) for address, tiers in given.get("tiers", {}).items()}
    return Hours(**given)


def read_hours(session: Session) -> Hours:
    """The maker's hours as kept in the book; those of the shop's zone while none are kept."""
    row = session.get(Preference, NAME)
    if row is not None:
        return hours_from_document(row.value)
    zone = session.scalars(select(Place.zone).order_by(Place.kind != "shop", Place.id).limit(1)).first()
    return Hours() if zone is None else Hours(zone=zone)


def keep_hours(session: Session, hours: Hours) -> None:
    """Keep the maker's hours."""
    session.merge(Preference(name=NAME, value=hours.document()))


def _time(key: str, words: str) -> time:
    try:
        return time.fromisoformat(words)
    except (TypeError, ValueError) as error:
        raise BadInput(NAME, key, "must be a time of day like 07:00", words) from error


def _on(day: datetime, at: time) -> datetime:
    return day.replace(hour=at.hour, minute=at.minute, second=0, microsecond=0)
