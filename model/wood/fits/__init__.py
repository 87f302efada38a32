"""The kinds of fit, one file each. A new kind is a new file here: nothing else changes.

Every module of this folder is imported, and every `Fit` in it that has a `kind` is known by that word.
"""

import importlib
import pkgutil
from collections.abc import Mapping
from functools import cache

from model.wood.errors import BadInput
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import Field
from model.wood.fits.limit import Limit, Way
from model.wood.material.member import Member
from model.wood.piece_table import Table, in_present_words, near_matches, plain_word

__all__ = [
    "Field",
    "Fit",
    "Limit",
    "Part",
    "Section",
    "Space",
    "Way",
    "fit_from_document",
    "kind_named",
    "kinds",
]


@cache
def _registry() -> dict[str, type[Fit]]:
    found: dict[str, type[Fit]] = {}
    for module in sorted(info.name for info in pkgutil.iter_modules(__path__)):
        for thing in vars(importlib.import_module(f"{__name__}.{module}")).values():
            if isinstance(thing, type) and issubclass(thing, Fit) and thing.kind:
                other = found.setdefault(thing.kind, thing)
                if other is not thing:
                    raise TypeError(f"two kinds of fit are called {thing.kind}: {other} and {thing}")
    return found


def kinds() -> Mapping[str, type[Fit]]:
    """Every kind of fit by its word."""
    return dict(_registry())


def kind_named(word: object, where: str = "", what: str = "kind") -> type[Fit]:
    """The kind of fit a word means; BadInput with near matches when there is none."""
    plain = plain_word(word).replace(" ", "-") if isinstance(word, str) else ""
    try:
        return _registry()[plain]
    except KeyError:
        known = near_matches(plain, _registry()) or f" (one of: {', '.join(sorted(_registry()))})"
        raise BadInput(where, what, f"must be a kind of fit{known}", word) from None


def fit_from_document(name: str, table: object, members: Mapping[str, Member], where: str) -> Fit:
    """A fit of whatever kind its table says."""
    table = in_present_words(table)
    reader = Table(table, where, f"fit.{name}", "a fit")
    kind = reader.take("kind", f"one of: {', '.join(sorted(_registry()))}")
    return kind_named(kind, where, reader.key("kind")).from_document(name, table, members, where)
