"""A fit as the book has it, and as measurements made it since."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.watch.state.piecewise_linear import Straight, straight_of
from model.wood.fits import Fit as WoodFit
from model.wood.fits import Limit

VERSIONS_KEPT = 64
"""Of one fit: late readings make new ones of the same measurements."""


@dataclass(frozen=True)
class FitVersion:
    """A fit as it was known over a span of hours."""

    fit: WoodFit

    @cached_property
    def straight(self) -> Straight | None:
        return straight_of(self.fit)


@dataclass(frozen=True)
class FitOnBook:
    """A fit of a piece and its re-measured gaps (hour, gap_mm), in order."""

    id: int
    name: str
    fit: WoodFit
    gaps: tuple[tuple[int, float], ...] = ()
    _versions: dict[tuple[Any, ...], FitVersion] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def limits_as_built(self) -> tuple[Limit, ...]:
        return tuple(self.fit.limits(self.fit.references()))

    @cached_property
    def limit_names(self) -> tuple[str, ...]:
        return tuple(limit.name for limit in self.limits_as_built)

    @cached_property
    def play_mm(self) -> NDArray[np.float64]:
        """The play designed before each limit."""
        return np.array([limit.play_mm for limit in self.limits_as_built])

    def version(self, key: tuple[Any, ...] = (), make: Callable[[], WoodFit] | None = None) -> FitVersion:
        """The fit that measurements made; `key` tells all that it follows from, nothing the fit as built."""
        known = self._versions.get(key)
        if known is None:
            if len(self._versions) >= VERSIONS_KEPT:
                self._versions.clear()
            known = self._versions[key] = FitVersion(self.fit if make is None else make())
        return known
