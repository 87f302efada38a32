"""A fit as the book has it, with what follows from that alone kept."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.watch.straight import Straight, straight_of
from model.wood.fits import Fit as WoodFit
from model.wood.fits import Limit

VERSIONS_KEPT = 64
"""Of one fit: late readings make new ones of the same measurements."""


@dataclass(frozen=True)
class FitOnBook:
    """A fit of a piece and its re-measured gaps (hour, gap_mm), in order."""

    id: int
    name: str
    fit: WoodFit
    gaps: tuple[tuple[int, float], ...] = ()

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

    def straight(self, version: WoodFit) -> Straight | None:
        """The straight lines of the fit, or of a version of it that a measurement made; kept."""
        known = self._straights.get(id(version))
        if known is None or known[0] is not version:
            if len(self._straights) >= VERSIONS_KEPT:
                self._straights.clear()
            # With the version itself, so that its identity stays its own.
            known = self._straights[id(version)] = version, straight_of(version)
        return known[1]

    def version(self, key: tuple[Any, ...], make: Callable[[], WoodFit]) -> WoodFit:
        """The version of the fit that measurements made; `key` tells all that it follows from. Kept."""
        known = self._versions.get(key)
        if known is None:
            if len(self._versions) >= VERSIONS_KEPT:
                self._versions.clear()
            known = self._versions[key] = make()
        return known

    @cached_property
    def _straights(self) -> dict[int, tuple[WoodFit, Straight | None]]:
        return {}

    @cached_property
    def _versions(self) -> dict[tuple[Any, ...], WoodFit]:
        return {}
