"""Dask's workers (extra `fleet`): what is handed to them comes back as from this process, to the last bit."""

import logging
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from model.wood.errors import ServiceMissing

if TYPE_CHECKING:
    from distributed import Client

log = logging.getLogger(__name__)

TASKS_AHEAD = 2
"""Tasks handed out for each worker at a time, so that neither they nor their results pile up."""
ANSWER_WAIT_S = 10
TRY_AGAIN_S = 600.0
"""How long this process does the work itself after the workers failed it."""


@contextmanager
def connected(scheduler: str = "", workers: int = 0) -> Iterator["Client | None"]:
    """A scheduler's workers, or so many processes on this machine; none where neither is asked for.

    Raises
    ------
    ServiceMissing
        If Dask isn't installed, or no scheduler answers.
    """
    if not workers and not scheduler:
        yield None
        return
    dask = _distributed()
    if scheduler:
        with _client_of(scheduler) as client:
            yield client
        return
    with (
        dask.LocalCluster(
            n_workers=workers, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
        ) as cluster,
        dask.Client(cluster) as client,
    ):
        yield client


def _client_of(scheduler: str) -> "Client":
    try:
        return _distributed().Client(scheduler, timeout=ANSWER_WAIT_S)
    except (OSError, ValueError) as error:
        raise ServiceMissing(f"no Dask scheduler answers at {scheduler}: {error}") from error


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise ServiceMissing(
            "workers need Dask distributed, which isn't installed: pip install 'paneltide[fleet]', "
            "or leave workers and scheduler out"
        ) from None
    return distributed


def spread(client: "Client", work: Callable[..., Any], given: Iterable[Sequence[Any]]) -> Iterator[Any]:
    """What a function makes of each of some lists of arguments, on the workers, in no order of their own."""
    from distributed import as_completed

    at_once = TASKS_AHEAD * count(client)
    coming = as_completed()
    for number, arguments in enumerate(given):
        # Handed to a worker directly: megabytes of air have no business in the scheduler.
        held = client.scatter(tuple(arguments), hash=False)
        coming.add(client.submit(_done_with, work, held, pure=False))
        if number + 1 >= at_once:
            yield _taken(next(coming))
    for future in coming:
        yield _taken(future)


def count(client: "Client") -> int:
    """How many workers there are, at least one."""
    return max(1, len(client.scheduler_info(n_workers=-1)["workers"]))


def _done_with(work: Callable[..., Any], held: Sequence[Any]) -> Any:
    return work(*held)


def _taken(future: Any) -> Any:
    """What a worker found, which it may forget."""
    found = future.result()
    future.release()
    return found


class Helpers:
    """The workers of a scheduler, called when there is work; where they fail, this process does it.

    Parameters
    ----------
    scheduler : str
        tcp://host:port.
    """

    def __init__(self, scheduler: str) -> None:
        self._scheduler = scheduler
        self._client: Client | None = None
        self._away_until_s = 0.0

    def count(self) -> int:
        """How many can work now: none while they are away."""
        if self._client is None and time.monotonic() >= self._away_until_s:
            try:
                self._client = _client_of(self._scheduler)
            except ServiceMissing as error:
                self._lost(error)
        try:
            return 0 if self._client is None else count(self._client)
        except Exception as error:  # whatever the network made of it
            self._lost(error)
            return 0

    def each(self, work: Callable[..., Any], given: Sequence[Sequence[Any]]) -> Iterator[Any]:
        """What a function makes of each; what the workers failed to give is left out, and said."""
        assert self._client is not None
        try:
            yield from spread(self._client, work, given)
        except Exception as error:  # of the workers, the network, or the work itself
            self._lost(error)

    def close(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.close()

    def _lost(self, error: Exception) -> None:
        log.warning("Dask's workers can't be used: %s; the watch computes coming years itself", error)
        self._away_until_s = time.monotonic() + TRY_AGAIN_S
        self.close()
