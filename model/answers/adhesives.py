"""Adhesives as their labels give them: the temperatures and moisture they want.

The maker's own list is kept in the book, with the figures of the labels in the shop. The few known from the
start are what such adhesives usually say (common practice, no source): they are marked so, and the answer
that rests on one asks to read the label.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy.orm import Session

from model.records.schema.tables import Preference
from model.wood.errors import BadInput

NAME = "adhesives"
USUAL = "yellow glue"
LABEL = "label"


@dataclass(frozen=True)
class Adhesive:
    """What one adhesive wants.

    Attributes
    ----------
    name : str
    least_c, most_c : float
        Of wood, air and glue [°C].
    most_mc_pct : float
        Wettest wood it takes [%].
    most_rh_pct : float, optional
        Dampest air while clamped [%].
    clamp_h : float
        How long the clamps usually stay on [h].
    source : str
        "label", or how else the figures are known.
    """

    name: str
    least_c: float
    most_c: float = 32.0
    most_mc_pct: float = 12.0
    most_rh_pct: float | None = None
    clamp_h: float = 1.0
    source: str = "common practice, no source: read the label"

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("adhesive", "name", "must be given", self.name)
        where = f"adhesive {self.name}"
        for key, low, high in (
            ("least_c", -20.0, 60.0),
            ("most_c", self.least_c, 80.0),
            ("most_mc_pct", 4.0, 40.0),
            ("most_rh_pct", 20.0, 100.0),
            ("clamp_h", 0.0, 240.0),
        ):
            value = getattr(self, key)
            if value is None and key == "most_rh_pct":
                continue
            if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
                raise BadInput(where, key, f"must be a number in {low:g} to {high:g}", value)

    def document(self) -> dict[str, Any]:
        return asdict(self)


def adhesive_from_document(document: Mapping[str, Any]) -> Adhesive:
    """An adhesive from its document; a missing, unknown or senseless key is named."""
    known = set(Adhesive.__dataclass_fields__)
    where = f"adhesive {document.get('name', '')}".strip()
    for key in document:
        if key not in known:
            raise BadInput(where, key, f"must be one of {', '.join(sorted(known))}", document[key])
    for key in ("name", "least_c"):
        if document.get(key) is None:
            raise BadInput(where, key, "must be given", document.get(key))
    return Adhesive(**document)


KNOWN: Mapping[str, Adhesive] = {
    one.name: one
    for one in (
        Adhesive("yellow glue", least_c=10.0, clamp_h=1.0),
        Adhesive("white glue", least_c=12.8, clamp_h=1.0),
        Adhesive("polyurethane glue", least_c=10.0, most_mc_pct=20.0, clamp_h=6.0),
        Adhesive("epoxy", least_c=13.0, most_mc_pct=15.0, clamp_h=24.0),
        Adhesive("hide glue", least_c=18.0, most_mc_pct=12.0, most_rh_pct=75.0, clamp_h=12.0),
        Adhesive("urea resin glue", least_c=20.0, most_mc_pct=15.0, clamp_h=12.0),
    )
}


def adhesives(session: Session) -> dict[str, Adhesive]:
    """Every adhesive by name: the maker's own, and those known from the start that have no label yet."""
    row = session.get(Preference, NAME)
    own = [adhesive_from_document(document) for document in (row.value.get("list", []) if row else [])]
    return {**KNOWN, **{one.name: one for one in own}}


def adhesive_named(session: Session, name: str | None = None) -> Adhesive:
    """The adhesive of a name, or the shop's usual one.

    Raises
    ------
    BadInput
        If there is none of that name, with the names there are.
    """
    row = session.get(Preference, NAME)
    wanted = name or (str(row.value.get("usual") or USUAL) if row else USUAL)
    found = adhesives(session)
    by_word = {known.casefold(): one for known, one in found.items()}
    if wanted.casefold() not in by_word:
        raise BadInput("glue-up", "adhesive", f"must be one of {', '.join(sorted(found))}", wanted)
    return by_word[wanted.casefold()]


def keep_adhesive(session: Session, adhesive: Adhesive, usual: bool = False) -> None:
    """Keep an adhesive of the maker's, with its label's figures; another of its name is replaced."""
    row = session.get(Preference, NAME)
    value = dict(row.value) if row else {}
    others = [one for one in value.get("list", []) if one.get("name") != adhesive.name]
    value["list"] = [*others, adhesive.document()]
    if usual:
        value["usual"] = adhesive.name
    session.merge(Preference(name=NAME, value=value))


def make_usual_adhesive(session: Session, name: str) -> Adhesive:
    """Let a known adhesive be the one that is asked about when none is named; BadInput for an unknown one."""
    found = adhesive_named(session, name)
    row = session.get(Preference, NAME)
    session.merge(Preference(name=NAME, value={**(row.value if row else {}), "usual": found.name}))
    return found
