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
from dataclasses import dataclass
from functools import cache
from math import exp, isnan, log, nan
from types import MappingProxyType

from model.wood.errors import BadInput
from model.wood.material.species_tables import rows

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

_ALSO_CALLED: Mapping[str, str] = {
    "": BARE,
    "bare": BARE,
    "unfinished": BARE,
    "no finish": BARE,
    "boiled linseed oil": "linseed oil",
    "raw linseed oil": "linseed oil",
    "oil": "tung oil",
    "wax": "paste furniture wax",
    "paste wax": "paste furniture wax",
    "furniture wax": "paste furniture wax",
    "beeswax": "paste furniture wax",
    "paraffin": "paraffin wax, brushed",
    "paraffin wax": "paraffin wax, brushed",
    "dewaxed shellac": "shellac, wax-free",
    "soap": BARE,
    "soap finish": BARE,
    "oil and wax": "wax over oil",
    "waterborne polyurethane": "water-based polyurethane",
    "waterborne lacquer": "water-based lacquer",
    "pre-cat lacquer": "precatalysed lacquer",
    "precatalyzed lacquer": "precatalysed lacquer",
    "catalyzed lacquer": "catalysed lacquer",
    "post-cat lacquer": "catalysed lacquer",
    "postcatalysed lacquer": "catalysed lacquer",
    "postcatalyzed lacquer": "catalysed lacquer",
    "solvent lacquer": "nitrocellulose lacquer",
    "spray lacquer": "nitrocellulose lacquer",
    "alkyd varnish": "spar varnish",
    "marine varnish": "spar varnish",
    "soya alkyd varnish": "spar varnish",
    "urethane varnish": "oil-modified urethane varnish",
    "oil-modified urethane": "oil-modified urethane varnish",
    "oil-modified polyurethane": "oil-modified urethane varnish",
    "oil-based polyurethane": "oil-modified urethane varnish",
    "polyurethane varnish": "oil-modified urethane varnish",
    "two-part polyurethane": "two-part clear polyurethane",
    "two-component polyurethane": "two-part clear polyurethane",
    "catalysed polyurethane": "two-part clear polyurethane",
    "catalyzed polyurethane": "two-part clear polyurethane",
    "two-part polyurethane paint": "two-part polyurethane gloss paint",
    "epoxy finish": "two-part epoxy",
    "two-component epoxy": "two-part epoxy",
    "gloss enamel": "alkyd gloss enamel",
    "enamel": "alkyd gloss enamel",
    "satin enamel": "alkyd satin enamel",
    "floor seal": "phenolic tung-oil floor seal",
    "aluminium-flake urethane varnish": "aluminum-flake urethane varnish",
    "latex paint": "acrylic latex flat house paint",
    "acrylic paint": "acrylic latex flat house paint",
    "oil paint": "oil-based house paint",
}


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
    residual_1day_pct, residual_7day_pct, residual_14day_pct : float
        Effectiveness by the solver less the published one [points]; NaN where none is printed or the
        permeance lies between two rows.
    film : bool
        False for oils, waxes and others that keep out less than 10 % for a week: nearly bare wood.
    source, provenance, note : str
        Where the published figures come from, how they were read (`read`, `read_secondary`, `memory`, or
        `assumed` where nothing is published of such a finish), and what to know of them.
    doubt_factor : float
        By how much the permeance may be more, or less.
    """

    name: str
    coats: int
    permeance: float
    residual_1day_pct: float
    residual_7day_pct: float
    residual_14day_pct: float
    film: bool
    source: str
    provenance: str
    note: str
    doubt_factor: float = 2.0

    @property
    def caution(self) -> str:
        """What has to be said beside anything reckoned with this finish, as a sentence; often nothing."""
        if self.provenance == "assumed":
            _, nothing, so = self.note.partition("nothing is published of it; ")
            return f"{self.name[:1].upper()}{self.name[1:]}: {nothing}{so.split(';')[0]}."
        if "memory" in self.provenance:
            return f"What {self.name} keeps out is from memory, unverified."
        return ""


_NO_FILM = FinishFilm(BARE, 0, nan, nan, nan, nan, False, "", "", "bare wood")


@cache
def _table() -> Mapping[str, Mapping[int, FinishFilm]]:
    found: dict[str, dict[int, FinishFilm]] = {}
    for row in rows("finish_permeance"):
        film = FinishFilm(
            row["name"],
            int(row["coats"]),
            float(row["permeance_kg_m2_s_pa"]),
            float(row["residual_1day_pct"] or "nan"),
            float(row["residual_7day_pct"] or "nan"),
            float(row["residual_14day_pct"] or "nan"),
            row["film"] == "yes",
            row["source"],
            row["provenance"],
            row["note"],
        )
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
        note = (
            f"nothing is published of it; taken as {film.coats} coat{'s' if film.coats > 1 else ''} of "
            f"{film.name}, right to a factor of {factor:g}; {row['note']}"
        )
        found[coats] = FinishFilm(
            row["name"], coats, film.permeance, nan, nan, nan, film.film, film.source, "assumed", note, factor
        )
    return found


_HOUSE_PAINT = re.compile(r"paint|enamel|primer|stain|sealer|natural finish|repellent|paraffin")


def finish_names() -> list[str]:
    """Every finish there is: "none", then those of makers, then those of house painters, each by name."""
    return [BARE, *sorted(_table(), key=lambda name: (bool(_HOUSE_PAINT.search(name)), name.lower()))]


def resolve(name: str) -> str:
    """A finish's name in the table from a trade name, a synonym or a class in words.

    Raises
    ------
    BadInput
        If it is none of these; the sentence offers near matches and the classes.
    """
    asked = " ".join(name.lower().replace("_", " ").split())
    modern = {known.lower(): known for known in _table()}
    for candidate in (asked, asked.replace("two part", "two-part").replace("oil modified", "oil-modified")):
        known = _ALSO_CALLED.get(candidate, CLASSES.get(candidate, modern.get(candidate, candidate)))
        if known == BARE or known in _table():
            return known
    near = difflib.get_close_matches(asked, [*finish_names(), *_ALSO_CALLED], n=3, cutoff=0.6)
    near = list(dict.fromkeys(_ALSO_CALLED.get(one, one) for one in near))
    perhaps = f"perhaps {' or '.join(near)}; " if near else ""
    rule = f"is not in the table ({perhaps}or say its class: {', '.join(CLASSES)}, or none for bare wood)"
    raise BadInput("", "finish", rule, name)


def permeance_of(name: str, coats: int = 1) -> FinishFilm:
    """Permeance of a finish on one face.

    Between two numbers of coats that were tested the permeance is interpolated geometrically, so that each
    further coat divides by the same; more coats than were tested count as the most that were; fewer than
    were tested are refused.

    Parameters
    ----------
    name : str
        A finish of `finish_names`, a common other name for one ("polyurethane varnish"), a class in words
        ("lacquer"), or "none".
    coats : int
        Coats applied, 1 to 20; not looked at for a bare face.

    Returns
    -------
    FinishFilm

    Raises
    ------
    BadInput
        If the finish is unknown or the number of coats can't be answered.

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
        top = rows[most]
        note = f"{most} coats were the most tested; more are not credited"
        return _as(top, coats, top.permeance, note, top.provenance)
    below, above = max(c for c in rows if c < coats), min(c for c in rows if c > coats)
    part = (coats - below) / (above - below)
    between = exp((1.0 - part) * log(rows[below].permeance) + part * log(rows[above].permeance))
    provenance = " and ".join(dict.fromkeys((rows[below].provenance, rows[above].provenance)))
    return _as(
        rows[above], coats, between, f"between {below} and {above} coats, which were tested", provenance
    )


def _as(row: FinishFilm, coats: int, permeance: float, note: str, provenance: str) -> FinishFilm:
    note = f"{note}; {row.note}" if row.note else note
    return FinishFilm(row.name, coats, permeance, nan, nan, nan, row.film, row.source, provenance, note)


def is_bare(film: FinishFilm) -> bool:
    """Whether this is no finish at all."""
    return isnan(film.permeance)
