"""Case patterns, one file each: a drawn case to choose, from whose sizes parts, fits and drawings follow.

Every module of this folder is imported, and every `CasePattern` in it is known by its key.
"""

import importlib
import pkgutil
from collections.abc import Mapping
from functools import cache

from model.wood.design.patterns.base import Case, CaseChoice, CasePattern, CaseSize, CaseWood, Outline
from model.wood.errors import BadInput
from model.wood.piece_table import near_matches, plain_word

__all__ = [
    "Case",
    "CaseChoice",
    "CasePattern",
    "CaseSize",
    "CaseWood",
    "Outline",
    "pattern_named",
    "patterns",
]


@cache
def _registry() -> dict[str, CasePattern]:
    found: dict[str, CasePattern] = {}
    for module in sorted(info.name for info in pkgutil.iter_modules(__path__)):
        for thing in vars(importlib.import_module(f"{__name__}.{module}")).values():
            if isinstance(thing, CasePattern) and found.setdefault(thing.key, thing) is not thing:
                raise TypeError(f"two case patterns are called {thing.key}")
    return found


def patterns() -> Mapping[str, CasePattern]:
    """Every case pattern by its key."""
    return dict(_registry())


def pattern_named(word: object, where: str = "") -> CasePattern:
    """The pattern a word means; BadInput with near matches when there is none."""
    plain = plain_word(word).replace("-", " ") if isinstance(word, str) else ""
    if plain in _registry():
        return _registry()[plain]
    known = near_matches(plain, _registry()) or f" (one of: {', '.join(sorted(_registry()))})"
    raise BadInput(where, "case.pattern", f"must be a case pattern{known}", word)
