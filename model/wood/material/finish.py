"""What a finish does to a face: it slows vapour, and never stops it.

Each finish and number of coats of the published moisture-excluding table has one permeance, fitted by running
the solver under the published test (`tests/oracles/calibrate.py`). A finish changes how fast wood follows its
air and not where it ends [1]_. Films were tested new, from dry to damp air; in the drier air of a house they
pass somewhat less, and cracked or worn ones more: take a factor of two either way.

References
----------
.. [1] Wood Handbook (FPL-GTR-190, 2010) ch. 16 and Table 16-3.
"""

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import exp, log, nan
from types import MappingProxyType

from model.wood.errors import BadInput
from model.wood.material.species_tables import rows
from model.wood.reason import Reason

BARE = "none"
MOST_COATS = 20

CLASSES: Mapping[str, str] = MappingProxyType(
    {
        "oil or wax": "tung oil",
        "lacquer": "nitrocellulose lacquer",
        "shellac": "shellac",
        "varnish": "spar varnish",
        "polyurethane": "oil-modified urethane varnish",
        "two-part": "two-part clear polyurethane",
        "epoxy": "two-part epoxy",
    }
)
"""Class in words, for a finish the table doesn't know, and the row that stands for it."""


@dataclass(frozen=True)
class FinishFilm:
    """A finish on one face.

    Attributes
    ----------
    name : str
        As the table here calls it; "none" for a bare face.
    coats : int
    permeance : float
        Of the film alone [kg/(m2 s Pa)]; NaN for a bare face.
    provenance : str
        How the published figures were read (`read`, `read_secondary`, `memory`), or `assumed` where nothing
        is published of such a finish.
    like, like_coats, doubt_factor : str, int, float
        What an assumed finish is taken as, and by how much its permeance may be more, or less.
    """

    name: str
    coats: int
    permeance: float
    provenance: str
    like: str = ""
    like_coats: int = 0
    doubt_factor: float = 2.0

    @property
    def caution(self) -> Reason | None:
        """What has to be said beside anything reckoned with this finish; often nothing."""
        if self.like:
            taken = {"finish": self.like, "coat_count": self.like_coats, "factor": self.doubt_factor}
            return Reason("finish-assumed", {"about": self.name, **taken})
        return Reason("finish-remembered", {"finish": self.name}) if "memory" in self.provenance else None


_NO_FILM = FinishFilm(BARE, 0, nan, "")


@cache
def _table() -> Mapping[str, Mapping[int, FinishFilm]]:
    found: dict[str, dict[int, FinishFilm]] = {}
    for row in rows("finish_permeance"):
        permeance = float(row["permeance_kg_m2_s_pa"])
        film = FinishFilm(row["name"], int(row["coats"]), permeance, row["provenance"])
        found.setdefault(film.name, {})[film.coats] = film
    for row in rows("modern_finishes"):
        found[row["name"]] = _assumed(row, found[row["like"]])
    return {name: dict(sorted(by_coats.items())) for name, by_coats in sorted(found.items())}


def _assumed(row: Mapping[str, str], like: Mapping[int, FinishFilm]) -> dict[int, FinishFilm]:
    """A finish of which nothing is published, as so many coats of one of which something is."""
    of, factor = int(row["like_coats"]), float(row["doubt_factor"])
    usual = int(row["usual_coats"] or 0)
    found = {}
    for coats in range(1, (max(like) + usual - of if usual > of else MOST_COATS) + 1):
        # Fewer coats than the usual stand for fewer of the other, within what was tested; where sessions say
        # nothing of the film's thickness they are not counted.
        film = like[min(max(coats + of - usual, min(like)), max(like)) if usual else of]
        found[coats] = FinishFilm(
            row["name"], coats, film.permeance, "assumed", film.name, film.coats, factor
        )
    return found


_HOUSE_PAINT = re.compile(r"paint|enamel|primer|stain|sealer|natural finish|repellent|paraffin")


def finish_names() -> list[str]:
    """Every finish there is: "none", then those of makers, then those of house painters, each by name."""
    return [BARE, *sorted(_table(), key=lambda name: (bool(_HOUSE_PAINT.search(name)), name.lower()))]


@cache
def _by_any_name() -> Mapping[str, str]:
    """Every name in lower case, and the finish of the table it means; the table's own name goes first."""
    also = {row["also_called"]: row["name"] for row in rows("finish_names")}
    return {"": BARE, **{name.lower(): name for name in finish_names()}, **CLASSES, **also}


def resolve(name: str) -> str:
    """A finish's name in the table from a trade name, a synonym or a class in words.

    Raises
    ------
    BadInput
        If it is none of these; the sentence offers near matches and the classes.
    """
    asked, known = " ".join(name.lower().replace("_", " ").split()), _by_any_name()
    for candidate in (asked, asked.replace("two part", "two-part").replace("oil modified", "oil-modified")):
        if candidate in known:
            return known[candidate]
    near = list(dict.fromkeys(known[one] for one in difflib.get_close_matches(asked, known, n=3, cutoff=0.6)))
    perhaps = f"perhaps {' or '.join(near)}; " if near else ""
    rule = f"is not in the table ({perhaps}or say its class: {', '.join(CLASSES)}, or none for bare wood)"
    raise BadInput("", "finish", rule, name)


def permeance_of(name: str, coats: int = 1) -> FinishFilm:
    """Permeance of a finish, by any of its names, on one face; BadInput if it or its coats can't be answered.

    Between two numbers of coats that were tested the permeance is interpolated geometrically, so that each
    further coat divides by the same; more coats than were tested count as the most that were; fewer than
    were tested are refused. Coats, 1 to 20, are not looked at for a bare face.

    Examples
    --------
    >>> permeance_of("polyurethane varnish", 3).name
    'oil-modified urethane varnish'
    """
    known = resolve(name)
    if known == BARE:
        return _NO_FILM
    rows = _table()[known]
    fewest, most = min(rows), max(rows)
    if not 1 <= coats <= MOST_COATS:
        raise BadInput("", f"coats of {known}", f"must lie in 1 to {MOST_COATS}", coats)
    if coats in rows:
        return rows[coats]
    if coats < fewest:
        rule = f"must be at least {fewest}, the fewest that were tested"
        raise BadInput("", f"coats of {known}", rule, coats)
    if coats > most:
        return replace(rows[most], coats=coats)
    below, above = max(c for c in rows if c < coats), min(c for c in rows if c > coats)
    part = (coats - below) / (above - below)
    between = exp((1.0 - part) * log(rows[below].permeance) + part * log(rows[above].permeance))
    provenance = " and ".join(dict.fromkeys((rows[below].provenance, rows[above].provenance)))
    return replace(rows[above], coats=coats, permeance=between, provenance=provenance)
