"""What the watch asks of the outlook, and what it expects back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np

from model.watch.bridge import Air
from model.watch.margins import MoistureThen
from model.watch.roster import Owner


@dataclass(frozen=True)
class OutlookRequest:
    """One daily evaluation of a piece for which the outlook is asked.

    Attributes
    ----------
    owner : Owner
    hour : int
        Midnight UTC, hours since 1970; nothing of the air from this hour on may be used.
    place_id : int
    profiles : mapping of member name to (cells,) array
        Moisture at that hour [%].
    airs : mapping of place id to Air
    variances : mapping of member name to float
        Of the mean moisture content at that hour [%²].
    moisture_then : callable
        Mean moisture content of a body (by id) at a kept hour up to that one.
    """

    owner: Owner
    hour: int
    place_id: int
    profiles: Mapping[str, np.ndarray[Any, np.dtype[np.float64]]]
    airs: Mapping[int, Air]
    variances: Mapping[str, float] = field(default_factory=dict)
    moisture_then: MoistureThen | None = None


class OutlookProvider(Protocol):
    """Foresees, for each request, which limits the 50th percentile crosses within 30 days.

    The answer must follow from the request alone. A crossing is a document with `days` (to the 50th
    percentile), `low_days`, `high_days`, and what else a page may say of it.
    """

    def __call__(
        self, requests: Sequence[OutlookRequest]
    ) -> Sequence[Mapping[tuple[str, str], Mapping[str, Any]]]: ...
